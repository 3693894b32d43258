"""Where two HTML reports differ: table, row and column of every cell, section of every text."""

from __future__ import annotations

from difflib import SequenceMatcher
from html.parser import HTMLParser
from typing import TYPE_CHECKING, NamedTuple

from kit.revise.difference import Difference, cut_both

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

__all__ = ["carried_links", "html_differences"]

CARRIED = "carried"
"""Class of the links that hold the data of a report (``html_template/``)."""

Attributes = list[tuple[str, str | None]]


class _Event(NamedTuple):
    """One thing in a page: what it is, where, and its content."""

    kind: str
    content: str
    place: str


class _Reader(HTMLParser):
    """Reads a page as a row of events, each with its place in words."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.events: list[_Event] = []
        self.links: dict[str, str] = {}
        self.open: list[str] = []
        self.section = ""
        self.table = ""
        self.figure = ""
        self.heads: list[str] = []
        self.row: list[str] = []
        self.reading = ""

    def handle_starttag(self, tag: str, attrs: Attributes) -> None:
        found = dict(attrs)
        if tag == "a" and found.get("class") == CARRIED:
            name, href = found.get("download") or "", found.get("href") or ""
            if name in self.links:
                self.add("link", f"a second link to {name}")
            self.links[name] = href
            # the data are looked at elsewhere; what a browser is to take them for, here
            attrs = [(k, href.partition(",")[0] if k == "href" else v) for k, v in attrs]
        if tag not in ("meta", "link", "br", "hr", "img", "input", "path", "use", "rect"):
            self.open.append(tag)
        if tag == "table":
            self.table, self.heads, self.row = (found.get("id") or "table"), [], []
        elif tag == "figure":
            self.figure = found.get("id") or self.figure
        elif tag == "tr":
            self.row = []
        elif tag in ("th", "td"):
            self.row.append("")
        self.reading = tag if tag in ("h1", "h2") else self.reading
        if self.reading == tag:
            self.section = ""
        shown = " ".join(f'{name}="{value}"' for name, value in attrs)
        self.add("tag", f"<{tag} {shown}>" if shown else f"<{tag}>")

    def handle_startendtag(self, tag: str, attrs: Attributes) -> None:
        self.add("tag", f"<{tag} {' '.join(f'{n}={v!r}' for n, v in attrs)}/>")

    def handle_endtag(self, tag: str) -> None:
        if self.open and self.open[-1] == tag:
            self.open.pop()
        if tag == "tr" and not self.heads:
            self.heads = list(self.row)
        if tag == "table":
            self.table = ""
        if tag == "figure":
            self.figure = ""
        if tag == self.reading:
            self.reading = ""
        self.add("tag", f"</{tag}>")

    def handle_data(self, data: str) -> None:
        text = " ".join(data.split())
        if not text:
            return
        if self.reading:
            self.section = f"{self.section} {text}".strip()
        if self.table and self.row:
            self.row[-1] = f"{self.row[-1]} {text}".strip()
        inside = self.open[-1] if self.open else ""
        kind = inside if inside in ("script", "style", "title") else "text"
        if self.table and self.row:
            kind = "cell"
        self.add(kind, text)

    def handle_comment(self, data: str) -> None:
        self.add("comment", data)

    def handle_decl(self, decl: str) -> None:
        self.add("tag", f"<!{decl}>")

    def unknown_decl(self, data: str) -> None:
        self.add("tag", f"<![{data}]>")

    def handle_pi(self, data: str) -> None:
        self.add("tag", f"<?{data}>")

    def add(self, kind: str, content: str) -> None:
        self.events.append(_Event(kind, content, self.place(kind)))

    def place(self, kind: str) -> str:
        if kind in ("script", "style"):
            return f"the page's {kind}"
        if kind == "title" and not self.figure:
            return "the title of the window"
        if self.table:
            column = self.heads[len(self.row) - 1] if 0 < len(self.row) <= len(self.heads) else ""
            parts = [f"table {self.table.removeprefix('table-')}"]
            if self.heads and self.row:
                parts.append(f"row {self.row[0] or '1st cell'}")
                parts.append(f"column {column}" if column else "")
            return ", ".join(p for p in parts if p)
        if self.figure:
            return f"figure {self.figure.removeprefix('figure-')}"
        if "head" in self.open:
            return "the head of the page"
        if "nav" in self.open:
            return "the contents"
        if "footer" in self.open:
            return "the foot of the page"
        return f"section {self.section}" if self.section else "the page"


def carried_links(page: str) -> dict[str, str]:
    """Return the links of a page that hold its data: file name → address."""
    return _read(page).links


def html_differences(
    found: str,
    expected: str,
    *,
    file: str,
    texts_only: bool = False,
    reworded: Callable[[str], str] = str,
) -> Iterator[Difference]:
    """Yield every place in which two pages differ; one entry for each place.

    Parameters
    ----------
    found, expected
        The pages.
    file
        Name of the page.
    texts_only
        Compare cells and texts only, not how they are set (for another version of the kit).
    reworded
        Changes a text of the expected page to what the found one should have; it is given the
        text of a cell behind that of its row.
    """
    a, b = (_read(page).events for page in (found, expected))
    if texts_only:
        a, b = ([e for e in events if e.kind in ("cell", "text")] for events in (a, b))
        pairs = zip([None, *b], b, strict=False)
        b = [e._replace(content=_reworded(e, before, reworded)) for before, e in pairs]
    seen: dict[str, int] = {}
    for one, other in _unequal(a, b):
        place = (other or one)[0].place
        seen[place] = seen.get(place, 0) + 1
        if seen[place] == 1:
            found_text, text = cut_both(_content(one), _content(other))
            yield Difference(file=file, place=place, found=found_text, expected=text)


def _reworded(event: _Event, before: _Event | None, reworded: Callable[[str], str]) -> str:
    """Return the text of an event in other words; a cell is looked at with the one before."""
    if event.kind == "cell" and before is not None and before.kind == "cell":
        return reworded(f"{before.content} {event.content}").removeprefix(f"{before.content} ")
    return reworded(event.content)


def _read(page: str) -> _Reader:
    reader = _Reader()
    reader.feed(page)
    reader.close()
    return reader


def _unequal(
    a: Sequence[_Event], b: Sequence[_Event]
) -> Iterator[tuple[list[_Event], list[_Event]]]:
    """Yield the stretches in which two rows of events differ."""
    first = [event[:2] for event in a]
    second = [event[:2] for event in b]
    size = min(len(a), len(b))
    head = next((i for i in range(size) if first[i] != second[i]), size)
    rest = size - head
    tail = next((i for i in range(rest) if first[-1 - i] != second[-1 - i]), rest)
    one, other = first[head : len(a) - tail], second[head : len(b) - tail]
    if len(one) == len(other):
        steps = [(i, i + 1, i, i + 1) for i in range(len(one)) if one[i] != other[i]]
    else:
        matcher = SequenceMatcher(None, one, other, autojunk=len(one) > 2000)
        steps = [(i, j, k, n) for tag, i, j, k, n in matcher.get_opcodes() if tag != "equal"]
    for i, j, k, n in steps:
        yield list(a[head + i : head + j]), list(b[head + k : head + n])


def _content(events: Sequence[_Event]) -> str | None:
    return " ".join(e.content for e in events) if events else None
