"""An executed notebook as a document: title, sections, numbered tables and figures.

`document_of` reads a notebook once; the HTML and the PDF are both set from what it returns, so
they say the same, in the same order, under the same numbers.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from kit.display import PICTURE_MIME, PROSE_MIME, RESULTS_MIME, TABLE_MIME
from kit.errors import RenderError
from kit.render.markdown_tree import markdown_blocks
from kit.safe_text import displayable, displayable_lines

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from nbformat import NotebookNode

__all__ = ["Document", "Section", "document_of"]

Item = dict[str, Any]

DEFAULT_KIND = "Methods and results"
_ANSI = re.compile(r"\x1b\[[0-9;]*[A-Za-z]")


@dataclass(frozen=True, kw_only=True)
class Section:
    """One part of a report.

    Parameters
    ----------
    id, title
        Anchor and heading; the part before the first heading has neither.
    items
        What stands in it, each with a ``"type"``: ``"text"`` (``blocks`` of
        `kit.render.markdown_tree`), ``"table"``, ``"prose"``, ``"picture"`` (the data of
        `kit.display`, numbered), ``"code"``, or from other libraries ``"plain"``, ``"html"``
        and ``"image"``.
    """

    id: str
    title: str
    items: tuple[Item, ...]


@dataclass(frozen=True, kw_only=True)
class Document:
    """A report ready to be set.

    Parameters
    ----------
    kind, title
        What sort of document it is (the notebook's own title) and the session's title.
    session
        The ``"session"`` entry of the results, texts displayable.
    sections
        The first one may be without heading.
    results
        What the notebook's `DataBundle` holds, unchanged.
    """

    kind: str
    title: str
    session: Mapping[str, Any]
    sections: tuple[Section, ...]
    results: Mapping[str, Any]


def document_of(notebook: NotebookNode) -> Document:
    """Return the document that an executed report notebook makes.

    A heading of level 2 opens a section; the first heading of level 1 names the kind of
    document and is not repeated as a section. Levels below a section never skip one.

    Raises
    ------
    RenderError
        If no cell shows a `DataBundle`.
    """
    reader = _Reader()
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            reader.read_text(cell.source)
        elif cell.cell_type == "code":
            reader.read_code(cell)
    if reader.results is None:
        message = "The notebook shows no DataBundle, so there are no results to write."
        raise RenderError(message)
    session = {
        key: displayable(value) if isinstance(value, str) else value
        for key, value in reader.results["session"].items()
    }
    return Document(
        kind=reader.kind or DEFAULT_KIND,
        title=str(session["title"]) or "Untitled session",
        session=session,
        sections=tuple(reader.sections()),
        results=reader.results,
    )


def slug(text: str) -> str:
    """Return text as an anchor: lower-case ASCII words joined by ``-``.

    Examples
    --------
    >>> slug("State of charge, over time"), slug("漢字")
    ('state-of-charge-over-time', 'section')
    """
    ascii_text = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return "-".join(re.findall(r"[a-z0-9]+", ascii_text)) or "section"


@dataclass
class _Reader:
    """What has been read so far."""

    kind: str = ""
    results: Mapping[str, Any] | None = None
    parts: list[tuple[str, str, list[Item]]] = field(default_factory=lambda: [("", "", [])])
    level: int = 2
    counts: dict[str, int] = field(default_factory=lambda: {"table": 0, "picture": 0})
    anchors: dict[str, int] = field(default_factory=dict)

    def sections(self) -> Iterator[Section]:
        """Yield the parts that hold something."""
        for anchor, title, items in self.parts:
            if title or items:
                yield Section(id=anchor, title=title, items=tuple(items))

    def anchor(self, wish: str) -> str:
        """Return ``wish``, or ``wish-2`` and so on if it is taken."""
        count = self.anchors[wish] = self.anchors.get(wish, 0) + 1
        return wish if count == 1 else self.anchor(f"{wish}-{count}")

    def add(self, item: Item) -> None:
        """Put an item into the section being read."""
        self.parts[-1][2].append(item)

    def read_text(self, source: str) -> None:
        """Read a Markdown cell."""
        pending: list[Item] = []
        for block in markdown_blocks(source):
            if block["kind"] == "heading" and block["level"] <= 2:
                self.flush(pending)
                if block["level"] == 1 and not self.kind:
                    self.kind = block["text"]
                else:
                    title = block["text"]
                    self.parts.append((self.anchor(slug(title)), title, []))
                    self.level = 2
            elif block["kind"] == "heading":
                self.level = min(block["level"], self.level + 1)
                anchor = self.anchor(slug(block["text"]))
                pending.append({**block, "level": self.level, "id": anchor})
            else:
                pending.append(block)
        self.flush(pending)

    def flush(self, pending: list[Item]) -> None:
        """Put the blocks read so far into the section."""
        if pending:
            self.add({"type": "text", "blocks": tuple(pending)})
            pending.clear()

    def read_code(self, cell: NotebookNode) -> None:
        """Read a code cell: what it showed, then its source.

        Sources of cells that show nothing are gathered with those that follow.
        """
        for output in cell.outputs:
            if output.output_type in ("display_data", "execute_result"):
                self.read_bundle(output.data)
            elif output.output_type == "stream" and output.name == "stdout":
                self.add({"type": "plain", "text": _lines(output.text)})
        if cell.source.strip():
            items = self.parts[-1][2]
            before = items.pop()["cells"] if items and items[-1]["type"] == "code" else ()
            source = displayable_lines(cell.source.rstrip())
            self.add({"type": "code", "cells": (*before, (cell.execution_count, source))})

    def read_bundle(self, data: Mapping[str, Any]) -> None:
        """Read one thing shown, in the richest form that is known."""
        if RESULTS_MIME in data:
            self.results = data[RESULTS_MIME]
        elif TABLE_MIME in data:
            self.add(self.numbered("table", data[TABLE_MIME]))
        elif PROSE_MIME in data:
            self.add({"type": "prose", "blocks": tuple(self.prose(data[PROSE_MIME]["blocks"]))})
        elif PICTURE_MIME in data:
            item = self.numbered("picture", data[PICTURE_MIME])
            self.add({**item, "svg": data["image/svg+xml"]})
        elif "text/html" in data:
            self.add({"type": "html", "html": data["text/html"]})
        elif "image/png" in data:
            self.add({"type": "image", "png": data["image/png"].replace("\n", "")})
        elif "text/plain" in data:
            self.add({"type": "plain", "text": _lines(data["text/plain"])})

    def numbered(self, kind: str, data: Mapping[str, Any]) -> Item:
        """Return the data of a table or picture with its number and anchor."""
        self.counts[kind] += 1
        prefix = "figure" if kind == "picture" else kind
        anchor = self.anchor(f"{prefix}-{data['id']}")
        return {**data, "type": kind, "number": self.counts[kind], "anchor": anchor}

    def prose(self, blocks: list[Mapping[str, str]]) -> Iterator[Item]:
        """Yield prose blocks, consecutive bullets gathered, headings with an anchor."""
        bullets: list[str] = []
        for block in [*blocks, {"kind": "", "text": ""}]:
            if block["kind"] == "bullet":
                bullets.append(block["text"])
                continue
            if bullets:
                yield {"kind": "bullets", "texts": tuple(bullets)}
                bullets = []
            if block["kind"] == "heading":
                self.level = 3
                yield {**block, "id": self.anchor(slug(block["text"]))}
            elif block["kind"]:
                yield dict(block)


def _lines(text: str) -> str:
    """Return printed text, displayable line by line, without terminal colours."""
    return displayable_lines(_ANSI.sub("", text).rstrip())
