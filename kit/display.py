"""What a report cell shows: tables, prose, pictures, and the results for machines.

A notebook cell of a report ends in one of these objects (or a tuple of them handed to
``show``). Each carries two forms in its MIME bundle: HTML for a notebook viewer, and plain data
from which the HTML report and the PDF are set. All texts are plain: no markup has a meaning in
them, and each is escaped where it meets a markup language, nowhere else.

::

    Table       application/vnd.rundown.table+json     caption, columns, rows of strings, notes
    Prose       application/vnd.rundown.prose+json     paragraphs, bullets, leads, cautions
    Picture     application/vnd.rundown.picture+json   one SVG with alternative text and caption
    DataBundle  application/vnd.rundown.results+json   results for results.json and tables/*.csv
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from kit.safe_text import displayable, displayable_lines, escape_html

__all__ = [
    "PICTURE_MIME",
    "PROSE_MIME",
    "RESULTS_MIME",
    "TABLE_MIME",
    "Block",
    "BlockKind",
    "Column",
    "DataBundle",
    "Picture",
    "Prose",
    "Table",
    "show",
]

TABLE_MIME = "application/vnd.rundown.table+json"
PROSE_MIME = "application/vnd.rundown.prose+json"
PICTURE_MIME = "application/vnd.rundown.picture+json"
RESULTS_MIME = "application/vnd.rundown.results+json"

BlockKind = Literal["paragraph", "bullet", "lead", "caution", "heading"]

_ID = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")


def _require_id(value: str) -> None:
    """Refuse an id that could not stand in an anchor or a file name."""
    if not _ID.fullmatch(value):
        message = f"id {value!r}: expected lower-case words joined by '-', such as 'phase-drain'"
        raise ValueError(message)


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    name
        Heading, plain text.
    unit
        Unit set smaller beside the heading; empty for none.
    align
        ``"right"`` for numbers, ``"left"`` for words.
    numeric_sort
        Offer in the HTML report to sort by the number that each cell starts with.
    """

    name: str
    unit: str = ""
    align: Literal["left", "right"] = "left"
    numeric_sort: bool = False

    @property
    def heading(self) -> str:
        """Return name and unit as one text.

        Examples
        --------
        >>> Column(name="Drain", unit="pp").heading
        'Drain (pp)'
        """
        return f"{self.name} ({self.unit})" if self.unit else self.name


@dataclass(frozen=True, kw_only=True)
class Table:
    """A table of display strings.

    Parameters
    ----------
    id
        Lower-case words joined by ``-``, unique in a report; anchor of the table.
    caption
        What the table shows, one sentence.
    columns, rows
        Headings, and rows of as many strings; the first column names its row. Two rows in a
        row with the same first cell belong together; the page shows that.
    notes
        Remarks set under the table.
    writing
        Whether it is to be printed and filled in by hand: rows high enough to write in, and
        lines between the columns.

    Raises
    ------
    ValueError
        If the id is malformed or a row does not have one cell per column.

    Examples
    --------
    >>> table = Table(
    ...     id="drain",
    ...     caption="Drain",
    ...     columns=(Column(name="Device"), Column(name="Drain", unit="pp", align="right")),
    ...     rows=(("Limpet 10", "12 ± 1"),),
    ... )
    >>> print(table.text)
    Drain
    Device     Drain (pp)
    Limpet 10      12 ± 1
    """

    id: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()
    writing: bool = False

    def __post_init__(self) -> None:
        _require_id(self.id)
        for number, row in enumerate(self.rows, start=1):
            if len(row) != len(self.columns):
                message = (
                    f"table {self.id!r}, row {number}: {len(row)} cells for "
                    f"{len(self.columns)} columns"
                )
                raise ValueError(message)

    @property
    def text(self) -> str:
        """Return the table as aligned plain text."""
        lines = [[c.heading for c in self.columns], *map(list, self.rows)]
        cells = [[displayable(cell) for cell in line] for line in lines]
        widths = [max(len(line[i]) for line in cells) for i in range(len(self.columns))]
        right = [c.align == "right" for c in self.columns]
        body = (
            "  ".join(
                cell.rjust(width) if flush_right else cell.ljust(width)
                for cell, width, flush_right in zip(line, widths, right, strict=True)
            ).rstrip()
            for line in cells
        )
        return "\n".join((displayable(self.caption), *body, *map(displayable, self.notes)))

    def data(self) -> dict[str, Any]:
        """Return the table as plain data, texts made displayable."""
        return {
            "id": self.id,
            "caption": displayable(self.caption),
            "columns": [
                {
                    "name": displayable(c.name),
                    "unit": displayable(c.unit),
                    "align": c.align,
                    "numeric_sort": c.numeric_sort,
                }
                for c in self.columns
            ],
            "rows": [[displayable(cell) for cell in row] for row in self.rows],
            "notes": [displayable(note) for note in self.notes],
            **({"writing": True} if self.writing else {}),
        }

    @property
    def html(self) -> str:
        """Return the table as HTML for a notebook viewer."""
        style = [
            ' style="text-align:right"' if c.align == "right" else ' style="text-align:left"'
            for c in self.columns
        ]
        head = "".join(
            f'<th scope="col"{s}>{escape_html(c.heading)}</th>'
            for c, s in zip(self.columns, style, strict=True)
        )
        body = "".join(
            "<tr>"
            + "".join(
                f'<th scope="row"{s}>{escape_html(cell)}</th>'
                if i == 0
                else f"<td{s}>{escape_html(cell)}</td>"
                for i, (cell, s) in enumerate(zip(row, style, strict=True))
            )
            + "</tr>"
            for row in self.rows
        )
        notes = "".join(f"<p><small>{escape_html(note)}</small></p>" for note in self.notes)
        return (
            f"<table><caption>{escape_html(self.caption)}</caption>"
            f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{notes}"
        )

    def _repr_mimebundle_(
        self,
        include: object = None,
        exclude: object = None,
    ) -> dict[str, Any]:
        return {"text/plain": self.text, "text/html": self.html, TABLE_MIME: self.data()}


@dataclass(frozen=True, kw_only=True)
class Block:
    """One piece of prose: plain text of one kind.

    Parameters
    ----------
    kind
        ``"lead"`` opens a section in larger type, ``"caution"`` is set off as a warning,
        ``"heading"`` is a heading below the section's own; consecutive ``"bullet"`` blocks make
        one list.
    text
        Plain text.
    """

    kind: BlockKind = "paragraph"
    text: str


_PROSE_TAGS: Mapping[BlockKind, tuple[str, str]] = {
    "paragraph": ("<p>", "</p>"),
    "lead": ("<p><strong>", "</strong></p>"),
    "caution": ("<blockquote><p>", "</p></blockquote>"),
    "heading": ("<h3>", "</h3>"),
    "bullet": ("<li>", "</li>"),
}


@dataclass(frozen=True, kw_only=True)
class Prose:
    """Running text made from results.

    Examples
    --------
    >>> Prose(blocks=(Block(kind="bullet", text="a < b"),)).html
    '<ul><li>a &lt; b</li></ul>'
    """

    blocks: tuple[Block, ...]

    @property
    def text(self) -> str:
        """Return the blocks as plain text, one a line."""
        return "\n".join(
            ("- " if block.kind == "bullet" else "") + displayable(block.text)
            for block in self.blocks
        )

    def data(self) -> dict[str, Any]:
        """Return the blocks as plain data, texts made displayable."""
        return {"blocks": [{"kind": b.kind, "text": displayable(b.text)} for b in self.blocks]}

    @property
    def html(self) -> str:
        """Return the blocks as HTML for a notebook viewer."""
        parts: list[str] = []
        listing = False
        for block in self.blocks:
            if (block.kind == "bullet") != listing:
                listing = not listing
                parts.append("<ul>" if listing else "</ul>")
            opening, closing = _PROSE_TAGS[block.kind]
            parts.append(f"{opening}{escape_html(block.text)}{closing}")
        if listing:
            parts.append("</ul>")
        return "".join(parts)

    def _repr_mimebundle_(
        self,
        include: object = None,
        exclude: object = None,
    ) -> dict[str, Any]:
        return {"text/plain": self.text, "text/html": self.html, PROSE_MIME: self.data()}


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A figure as SVG, at its natural size.

    Parameters
    ----------
    id
        Lower-case words joined by ``-``, unique in a report; anchor of the figure.
    svg
        A whole SVG document. Near-black ink, white ground and the text colour follow the page's
        theme in the HTML report; every other colour stays.
    alt
        What the figure says, for those who cannot see it.
    caption
        What the figure shows, one sentence.

    Raises
    ------
    ValueError
        If the id is malformed or the alternative text is empty.
    """

    id: str
    svg: str
    alt: str
    caption: str

    def __post_init__(self) -> None:
        _require_id(self.id)
        if not self.alt.strip():
            message = f"picture {self.id!r} needs an alternative text"
            raise ValueError(message)

    def data(self) -> dict[str, Any]:
        """Return the texts as plain data; the drawing itself is the bundle's SVG."""
        return {
            "id": self.id,
            "alt": displayable(self.alt),
            "caption": displayable(self.caption),
        }

    def _repr_mimebundle_(
        self,
        include: object = None,
        exclude: object = None,
    ) -> dict[str, Any]:
        return {
            "text/plain": displayable(f"{self.caption}\n{self.alt}"),
            "image/svg+xml": displayable_lines(self.svg),
            PICTURE_MIME: self.data(),
        }


@dataclass(frozen=True)
class DataBundle:
    """All results for machines; the last cell of a report notebook shows one.

    The renderer writes ``results`` to ``results.json``, each entry of ``results["tables"]`` to
    ``tables/<name>.csv``, and takes the running header of the PDF from ``results["session"]``.

    Parameters
    ----------
    results
        Plain data (mappings, lists, strings, finite numbers, booleans, ``None`` for what could
        not be had; NaN is turned into ``None``). Required keys:

        ``"session"``
            ``{"id", "title", "revision", "fingerprint", "date"}`` (``date`` ISO text or
            ``None``) and what else describes the session.
        ``"tables"``
            name → ``{"columns": [str, …], "rows": [[value, …], …]}``; a name is lower-case
            words joined by ``_``.

    Raises
    ------
    ValueError
        If a required key is missing or a table is not rectangular.
    TypeError
        If a value has no plain form in JSON.

    Examples
    --------
    >>> DataBundle({"session": {"id": "s", "title": "S", "revision": 1, "fingerprint": "0a",
    ...     "date": None}, "tables": {"runtimes": {"columns": ["device"], "rows": [["a"]]}}})
    DataBundle: session 's', 1 table
    """

    results: Mapping[str, Any]

    def __post_init__(self) -> None:
        session = self.results.get("session", {})
        missing = [
            k for k in ("id", "title", "revision", "fingerprint", "date") if k not in session
        ]
        if missing or "tables" not in self.results:
            absent = ", ".join(f"session.{k}" for k in missing) or "tables"
            message = f"results lack {absent}"
            raise ValueError(message)
        for name, table in self.results["tables"].items():
            width = len(table["columns"])
            if not re.fullmatch(r"[a-z][a-z0-9_]*", name):
                message = f"table name {name!r}: expected lower-case words joined by '_'"
                raise ValueError(message)
            if any(len(row) != width for row in table["rows"]):
                message = f"table {name!r}: not every row has {width} cells"
                raise ValueError(message)
        json.dumps(_without_nan(self.results), allow_nan=False)

    def __repr__(self) -> str:
        count = len(self.results["tables"])
        word = "table" if count == 1 else "tables"
        return f"DataBundle: session {self.results['session']['id']!r}, {count} {word}"

    def _repr_mimebundle_(
        self,
        include: object = None,
        exclude: object = None,
    ) -> dict[str, Any]:
        return {"text/plain": repr(self), RESULTS_MIME: _without_nan(self.results)}


def _without_nan(value: Any) -> Any:
    """Return plain data in which each NaN or infinite number is ``None``."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: _without_nan(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(item) for item in value]
    return value


Shown = Table | Prose | Picture | DataBundle


def show(*items: Shown | tuple[Shown, ...]) -> None:
    """Show display objects, or tuples of them, from one notebook cell, in order."""
    from IPython.display import display

    for item in items:
        if isinstance(item, tuple):
            show(*item)
        else:
            display(item)  # type: ignore[no-untyped-call]  # IPython's display is not annotated
