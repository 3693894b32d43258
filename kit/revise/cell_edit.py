"""One cell of a CSV file replaced; every other byte stays: separator, quotes, line ends, mark."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.errors import UsageError
from kit.read.cells import hint, quoted
from kit.read.csv_dialect import read_table
from kit.read.log_columns import plain_name

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["EditedCell", "edited"]

_MARK = "\ufeff"


@dataclass(frozen=True, kw_only=True)
class EditedCell:
    """A file with one cell replaced.

    Parameters
    ----------
    data
        The whole file.
    column
        The heading of the cell's column, as it stands in the file.
    old
        What stood in the cell.
    """

    data: bytes
    column: str
    old: str


def edited(data: bytes, *, file: str, line: int, column: str, to: str) -> EditedCell:
    r"""Return the file with another text in one cell.

    The new text is set in quotation marks if the old one was, or if it needs them. A row that
    ends before the column is filled up with blank cells.

    Parameters
    ----------
    data, file
        The CSV file and its name, for messages.
    line
        Line as a text editor counts it; any line of a row whose cells hold line breaks.
    column
        Heading of the column, as in the file or as the kit names it.
    to
        New text; empty for a blank cell.

    Raises
    ------
    UsageError
        If there is no such row or column, the cell already holds the text, or the text holds a
        character that a cell cannot.

    Examples
    --------
    >>> edited(b'event;soc_pct\r\nreading;"78"\r\n', file="log.csv", line=2,
    ...        column="soc_pct", to="87").data
    b'event;soc_pct\r\nreading;"87"\r\n'
    """
    if re.search(r"[\x00-\x08\x0b-\x1f\x7f]", to):
        message = "the new text holds a control character, which no cell can hold"
        raise UsageError(message)
    table, findings = read_table(data, file)
    if table is None:
        message = findings[-1].sentence
        raise UsageError(message)
    text = data.decode("utf-8")
    rows = list(_rows(text, table.separator))
    heading = next((r for r in rows if r.first <= table.header_line <= r.last), None)
    if heading is None:
        message = f"{file} has no heading"
        raise UsageError(message)
    names = [name.strip() for name in heading.texts(text, table.separator)]
    place = _column(names, column, file)
    row = next((r for r in rows if r.first <= line <= r.last and r.first > heading.last), None)
    if row is None or not any(row.texts(text, table.separator)):
        last = max((r.last for r in rows if any(r.texts(text, table.separator))), default=0)
        message = (
            f"{file} has no observation on line {line}; they stand on lines {heading.last + 1} to "
            f"{last}, and blank lines hold none"
        )
        raise UsageError(message)
    cells = row.texts(text, table.separator)
    old = cells[place] if place < len(cells) else ""
    if old == to:
        message = f"{file}, line {line}, column {names[place]} already holds {quoted(to)}"
        raise UsageError(message)
    if place < len(cells):
        start, end = row.spans[place]
        was_quoted = text[start:end].startswith('"')
    else:
        start = end = row.spans[-1][1]
        was_quoted = False
    cell = _written(to, table.separator, was_quoted=was_quoted)
    gap = table.separator * max(place - len(cells) + 1, 0)
    made = text[:start] + gap + cell + text[end:]
    return EditedCell(data=made.encode("utf-8"), column=names[place], old=old)


def _column(names: list[str], wanted: str, file: str) -> int:
    for key in (str, plain_name):
        found = [i for i, name in enumerate(names) if name and key(name) == key(wanted.strip())]
        if len(found) == 1:
            return found[0]
    known = ", ".join(name for name in names if name)
    message = f"{file} has no column {quoted(wanted)}{hint(wanted, names)}; it has {known}"
    raise UsageError(message)


def _written(text: str, separator: str, *, was_quoted: bool) -> str:
    """Return a text as a cell of a file."""
    needs = any(char in text for char in (separator, '"', "\n", "\r")) or text != text.strip()
    return '"' + text.replace('"', '""') + '"' if needs or was_quoted else text


@dataclass(frozen=True)
class _Row:
    """Where the cells of one row stand in the text, and its lines."""

    first: int
    last: int
    spans: tuple[tuple[int, int], ...]

    def texts(self, text: str, separator: str) -> list[str]:
        """Return what the cells hold."""
        whole = text[self.spans[0][0] : self.spans[-1][1]]
        reader = csv.reader(io.StringIO(whole, newline=""), delimiter=separator, strict=True)
        return next(reader, [""])


def _rows(text: str, separator: str) -> Iterator[_Row]:
    """Yield every row of a file, blank ones too."""
    other = rf"[^{re.escape(separator)}\r\n]*"
    # a quotation mark means something at the start of a cell only
    cell = re.compile(rf'((?:"(?:[^"]|"")*"{other})|{other})({re.escape(separator)}|\r\n|\r|\n|\Z)')
    at = len(_MARK) if text.startswith(_MARK) else 0
    first = last = 1
    spans: list[tuple[int, int]] = []
    for found in cell.finditer(text, at):
        if found.start() == len(text) and not spans:
            return  # the last line ends with a line break
        spans.append(found.span(1))
        if '"' in found[1]:
            last += len(re.findall(r"\r\n|\r|\n", found[1]))
        if found[2] != separator:
            yield _Row(first, last, tuple(spans))
            spans = []
            first = last = last + 1
        if not found[2]:
            return
