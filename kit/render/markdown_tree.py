"""Markdown of a notebook's text cells as a small tree of plain data.

Both pages are set from this tree, the HTML report by a Jinja template and the PDF by a Typst
template, so a text cell looks alike in both and no raw HTML passes: of inline HTML only
``<sub>``, ``<sup>`` and ``<br>`` mean something, the rest is shown as the text it is.

Blocks::

    {"kind": "heading", "level": 2, "inlines": [...], "text": "…"}
    {"kind": "paragraph", "inlines": [...]}
    {"kind": "list", "ordered": bool, "start": 1, "items": [[block, …], …]}
    {"kind": "quote", "blocks": [...]}
    {"kind": "code", "text": "…"}
    {"kind": "grid", "align": ["left"|"right"|"center", …], "head": [inlines, …],
     "rows": [[inlines, …], …]}
    {"kind": "rule"}

Inlines::

    {"kind": "text"|"code", "text": "…"}
    {"kind": "strong"|"emphasis"|"strike"|"sub"|"sup", "inlines": [...]}
    {"kind": "link", "url": "https://…", "inlines": [...]}
    {"kind": "break"}
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Any

from kit.safe_text import displayable, displayable_lines

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

__all__ = ["markdown_blocks", "plain_text"]

Node = dict[str, Any]

_SAFE_URL = re.compile(r"(https?://|mailto:)[^\s\"'<>\\]+", re.IGNORECASE)
_FOLDED = re.compile(r"<(/?)(sub|sup)>", re.IGNORECASE)
_BREAK = re.compile(r"<br\s*/?>", re.IGNORECASE)
_WRAPPERS = {"strong": "strong", "emphasis": "emphasis", "strikethrough": "strike"}


@cache
def _parser() -> Callable[[str], list[Node]]:
    """Return the Markdown parser; made once, because making it takes longer than a cell."""
    import mistune

    return mistune.create_markdown(  # type: ignore[no-any-return]  # mistune is not followed
        renderer="ast", plugins=["table", "strikethrough"]
    )


def markdown_blocks(source: str) -> list[Node]:
    """Return the blocks of a Markdown text.

    Examples
    --------
    >>> markdown_blocks("## Set *up*")
    [{'kind': 'heading', 'level': 2, 'inlines': [{'kind': 'text', 'text': 'Set '}, \
{'kind': 'emphasis', 'inlines': [{'kind': 'text', 'text': 'up'}]}], 'text': 'Set up'}]
    >>> markdown_blocks("<script>x</script>")
    [{'kind': 'paragraph', 'inlines': [{'kind': 'text', 'text': '<script>x</script>'}]}]
    """
    return list(_blocks(_parser()(source)))


def plain_text(inlines: Iterable[Node]) -> str:
    """Return the text of inlines without their marks.

    Examples
    --------
    >>> plain_text([{"kind": "strong", "inlines": [{"kind": "text", "text": "a"}]}])
    'a'
    """
    return "".join(
        " " if node["kind"] == "break" else node.get("text") or plain_text(node.get("inlines", ()))
        for node in inlines
    )


def _blocks(nodes: Iterable[Node]) -> Iterator[Node]:
    """Yield the blocks of parser nodes."""
    for node in nodes:
        kind = node["type"]
        if kind == "heading":
            inlines = _inlines(node["children"])
            level = node["attrs"]["level"]
            yield {
                "kind": "heading",
                "level": level,
                "inlines": inlines,
                "text": plain_text(inlines),
            }
        elif kind in ("paragraph", "block_text"):
            yield {"kind": "paragraph", "inlines": _inlines(node["children"])}
        elif kind == "list":
            yield {
                "kind": "list",
                "ordered": node["attrs"]["ordered"],
                "start": node["attrs"].get("start", 1),
                "items": [list(_blocks(item["children"])) for item in node["children"]],
            }
        elif kind == "block_quote":
            yield {"kind": "quote", "blocks": list(_blocks(node["children"]))}
        elif kind == "block_code":
            yield {"kind": "code", "text": displayable_lines(node["raw"].rstrip("\n"))}
        elif kind == "table":
            yield _grid(node)
        elif kind == "thematic_break":
            yield {"kind": "rule"}
        elif kind == "block_html":
            text = {"kind": "text", "text": displayable(node["raw"].strip())}
            yield {"kind": "paragraph", "inlines": [text]}


def _grid(node: Node) -> Node:
    """Return a Markdown table."""
    head, body = node["children"]
    return {
        "kind": "grid",
        "align": [cell["attrs"]["align"] or "left" for cell in head["children"]],
        "head": [_inlines(cell["children"]) for cell in head["children"]],
        "rows": [
            [_inlines(cell["children"]) for cell in row["children"]] for row in body["children"]
        ],
    }


def _inlines(nodes: list[Node]) -> list[Node]:
    """Return inlines, with what stands between ``<sub>`` or ``<sup>`` tags folded into one."""
    found: list[Node] = []
    opened: list[tuple[str, list[Node]]] = []
    for node in nodes:
        tag = _FOLDED.fullmatch(node.get("raw", "")) if node["type"] == "inline_html" else None
        if tag and not tag[1]:
            opened.append((tag[2].lower(), found))
            found = []
        elif tag and opened and opened[-1][0] == tag[2].lower():
            kind, outer = opened.pop()
            outer.append({"kind": kind, "inlines": found})
            found = outer
        else:
            found.append(_inline(node))
    while opened:  # a tag that was never closed is text
        kind, outer = opened.pop()
        found = [*outer, {"kind": "text", "text": f"<{kind}>"}, *found]
    return found


def _inline(node: Node) -> Node:
    """Return one inline; what is not known is its text."""
    kind = node["type"]
    if kind in _WRAPPERS:
        return {"kind": _WRAPPERS[kind], "inlines": _inlines(node["children"])}
    if kind == "link":
        inlines = _inlines(node["children"])
        url = node["attrs"]["url"]
        if _SAFE_URL.fullmatch(url):
            return {"kind": "link", "url": url, "inlines": inlines}
        return {"kind": "text", "text": plain_text(inlines)}
    if kind == "image":  # a report makes no request: an image's words stand for it
        return {"kind": "text", "text": plain_text(_inlines(node["children"]))}
    if kind == "codespan":
        return {"kind": "code", "text": displayable(node["raw"])}
    if kind == "linebreak" or (kind == "inline_html" and _BREAK.fullmatch(node["raw"])):
        return {"kind": "break"}
    if kind == "softbreak":
        return {"kind": "text", "text": " "}
    return {"kind": "text", "text": displayable(node.get("raw", ""))}
