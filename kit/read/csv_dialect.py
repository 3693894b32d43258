"""From the bytes of a CSV file to a table of texts with the line numbers an editor shows.

Accepted: UTF-8 with or without byte order mark; ``,`` ``;`` or tab between cells (found from the
heading); LF, CRLF or CR line ends; quoted cells with separators, doubled quotes and line breaks
in them; a first line ``sep=;`` as some spreadsheets write it; blank lines. Nothing is interpreted
here: every cell is text.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.read.cells import Collector, quoted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from kit.errors import Finding

__all__ = ["SEPARATORS", "RawTable", "decoded", "read_table", "separator_of"]

SEPARATORS = (",", ";", "\t")
SEPARATOR_NAMES = {",": "comma", ";": "semicolon", "\t": "tab"}

DENSE_BYTES = 100_000
"""From this size on the compiled parser of pandas is faster than the csv module."""

FIRST_COLUMN = "(first column)"
"""Name of a first column without a heading, as over the names of rows."""

LONGEST_HEADING = 1_000_000
SAMPLE_CHARS = 20_000
SAMPLE_ROWS = 20


@dataclass(frozen=True, kw_only=True)
class RawTable:
    """A table of texts.

    Parameters
    ----------
    file
        Name of the file as the user gave it.
    frame
        One categorical column of ``str`` for each heading; "" for a blank cell.
    lines
        Line in the file of every row, shape (rows,), header = 1 if it is the first line.
    header_line
        Line of the heading.
    separator
        ``","``, ``";"`` or a tab.
    """

    file: str
    frame: pd.DataFrame
    lines: NDArray[np.int64]
    header_line: int
    separator: str


def read_table(data: bytes, file: str) -> tuple[RawTable | None, tuple[Finding, ...]]:
    r"""Read the bytes of a CSV file.

    Returns
    -------
    table
        ``None`` when the file is so broken that there is no table.
    findings
        All that is wrong with the file as a table.

    Examples
    --------
    >>> data = b'event;device\r\nreading;a\r\n\r\nreading;"b\nc"\r\n'
    >>> table, findings = read_table(data, "x.csv")
    >>> table.frame["device"].tolist(), table.lines.tolist(), findings
    (['a', 'b\nc'], [2, 4], ())
    """
    notes = Collector(file)
    text = decoded(data, notes)
    if text is None:
        return None, tuple(notes.findings)
    body, first_line, separator = _start(text)
    header, rest = _header(body, separator, notes, first_line)
    if header is None:
        return None, tuple(notes.findings)
    header_line = first_line
    first_line += body[: len(body) - len(rest)].count("\n")
    columns, lines = _rows(rest, separator, len(header), first_line, notes)
    table = _named(header, header_line, columns, lines, separator, notes)
    return table, tuple(notes.findings)


def decoded(data: bytes, notes: Collector) -> str | None:
    """Return the text of a file with LF line ends; ``None``, and a finding, if it is no UTF-8."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        _refuse(
            notes,
            "file-encoding",
            "a file in UTF-16",
            "text in UTF-8",
            1,
            "Save it again as 'CSV UTF-8' (in a text editor: encoding UTF-8).",
        )
        return None
    at = data.find(b"\0")
    if at >= 0:
        _refuse(
            notes,
            "file-nul",
            "a NUL byte (this is no text file, or a damaged one)",
            "text in UTF-8",
            data.count(b"\n", 0, at) + 1,
            "Save the table again as CSV from the program it was kept in.",
        )
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        guess = data[error.start : error.start + 1].decode("cp1252", errors="replace")
        _refuse(
            notes,
            "file-encoding",
            f"byte 0x{data[error.start]:02x}, which is no UTF-8 (in an old Windows "
            f"encoding it would be {quoted(guess)})",
            "text in UTF-8",
            line,
            "Save the table again as 'CSV UTF-8'.",
        )
        return None
    if not text.strip():
        _refuse(
            notes,
            "file-empty",
            "an empty file",
            "a heading and one row for each observation",
            1,
            "Check that the right file was saved; docs/record-format.md shows one.",
        )
        return None
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text


def _refuse(notes: Collector, rule: str, found: str, expected: str, line: int, remedy: str) -> None:
    notes.lines = np.array([line])
    notes.add(rule, row=0, found=found, expected=expected, remedy=remedy)


def _start(text: str) -> tuple[str, int, str]:
    """Return the text from the heading on, its line, and the separator."""
    stripped = text.lstrip("\n")
    line = 1 + len(text) - len(stripped)
    while (end := stripped.find("\n")) >= 0 and not stripped[:end].strip():
        stripped, line = stripped[end + 1 :], line + 1
    declared = re.match(r"sep=(.)\n", stripped, re.IGNORECASE)
    if declared and declared[1] in SEPARATORS:
        return stripped[declared.end() :], line + 1, declared[1]
    return stripped, line, separator_of(stripped[:SAMPLE_CHARS])


def separator_of(sample: str) -> str:
    """Return the separator that makes the most even table of the first rows."""

    def score(separator: str) -> tuple[bool, int]:
        rows = csv.reader(io.StringIO(sample), delimiter=separator)
        heading, *below = [len(row) for row in islice(rows, SAMPLE_ROWS)]
        even = 2 * sum(n == heading for n in below) >= len(below)
        return heading > 1 and even, heading

    return max(SEPARATORS, key=score)


def _header(body: str, separator: str, notes: Collector, line: int) -> tuple[list[str] | None, str]:
    """Return the heading's cells and the text after it."""
    stream = io.StringIO(body[:LONGEST_HEADING])
    reader = csv.reader(iter(stream.readline, ""), delimiter=separator, strict=True)
    try:
        cells = next(reader)
    except (csv.Error, StopIteration) as error:
        _refuse(
            notes,
            "file-quotes",
            f"a heading that cannot be read ({error})",
            "names of columns",
            line,
            "Check the quotation marks in the heading.",
        )
        return None, ""
    return [c.strip() for c in cells], body[stream.tell() :]


def _rows(
    text: str, separator: str, width: int, first_line: int, notes: Collector
) -> tuple[list[pd.Categorical], NDArray[np.int64]]:
    if len(text) >= DENSE_BYTES:
        found = _rows_dense(text, separator, width, first_line)
        if found is not None:
            return found
    return _rows_plain(text, separator, width, first_line, notes)


def _rows_dense(
    text: str, separator: str, width: int, first_line: int
) -> tuple[list[pd.Categorical], NDArray[np.int64]] | None:
    """Read many rows with the compiled parser; ``None`` if any row is not as wide as it should."""
    import warnings

    names = [str(i) for i in range(width + 1)]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            frame = pd.read_csv(
                io.StringIO(text),
                sep=separator,
                header=None,
                names=names,
                dtype=object,
                na_filter=False,
                skip_blank_lines=False,
                index_col=False,
                low_memory=False,
                engine="c",
            )
    except (pd.errors.ParserError, pd.errors.EmptyDataError, pd.errors.ParserWarning):
        return None
    rows = len(frame)
    columns = [_factorized(frame.pop(name).to_numpy(dtype=object)) for name in names]
    if list(columns[-1].categories) != [""]:
        return None
    lines = np.arange(first_line, first_line + rows, dtype=np.int64)
    if '"' in text:
        found = _lines_with_quotes(text, separator, rows, first_line)
        if found is None:
            return None
        lines = found
    blank = np.ones(rows, dtype=bool)
    for column in columns:
        empty = [i for i, c in enumerate(column.categories) if not c]
        blank &= np.isin(column.codes, empty)
    kept = columns[:-1]
    if blank.any():
        kept, lines = [c[~blank] for c in kept], lines[~blank]
    return kept, lines


def _factorized(texts: NDArray[np.object_]) -> pd.Categorical:
    codes, distinct = pd.factorize(texts)
    return pd.Categorical.from_codes(codes, categories=pd.Index(distinct, dtype=object))


def _lines_with_quotes(
    text: str, separator: str, rows: int, first_line: int
) -> NDArray[np.int64] | None:
    """Return the line on which each row starts when quoted cells may hold line breaks."""
    ends = text.count("\n") + (not text.endswith("\n"))
    if ends == rows:
        return np.arange(first_line, first_line + rows, dtype=np.int64)
    quoted_cell = re.compile(rf'(?:^|(?<=[\n{separator}]))"(?:[^"]|"")*"')
    inner = [
        match.start() + at.start()
        for match in quoted_cell.finditer(text)
        if "\n" in match[0]
        for at in re.finditer("\n", match[0])
    ]
    if ends - len(inner) != rows:
        return None
    extra = np.zeros(rows + 1, dtype=np.int64)
    seen = position = 0
    for i, at in enumerate(inner, start=1):
        seen += text.count("\n", position, at + 1)
        position = at + 1
        extra[seen - i + 1] += 1  # breaks so far less those inside cells = rows ended so far
    return first_line + np.arange(rows, dtype=np.int64) + np.cumsum(extra)[:rows]


def _rows_plain(
    text: str, separator: str, width: int, first_line: int, notes: Collector
) -> tuple[list[pd.Categorical], NDArray[np.int64]]:
    """Read rows with the csv module, telling every row that is wider than the heading."""
    columns: list[list[str]] = [[] for _ in range(width)]
    lines: list[int] = []
    wide: list[tuple[int, int]] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    start = first_line
    broken = ""
    try:
        for row in reader:
            line, start = start, first_line + reader.line_num
            if not any(row):
                continue
            if len(row) > width and any(row[width:]):
                wide.append((line, len(row)))
            lines.append(line)
            for i, column in enumerate(columns):
                column.append(row[i] if i < len(row) else "")
    except csv.Error as error:
        broken = str(error)
    every = Collector(notes.file, np.array([*(n for n, _ in wide), start], dtype=np.int64))
    for i, (_, cells) in enumerate(wide):
        every.add(
            "row-width",
            row=i,
            found=f"{cells} cells",
            expected=f"at most {width}, as many as "
            f"the heading names (separator: {SEPARATOR_NAMES[separator]})",
            remedy="Put a cell that holds the separator in quotation marks, or remove the "
            "cells too many.",
        )
    if broken:
        every.add(
            "file-quotes",
            row=len(wide),
            found=f"a row that cannot be read ({broken})",
            expected="a cell in quotation marks to be closed before the next separator",
            remedy='Close the quotation mark; write a quotation mark inside a cell twice ("").',
        )
    notes.findings.extend(every.findings)
    return [_categorical(c) for c in columns], np.array(lines, dtype=np.int64)


def _categorical(texts: Sequence[str]) -> pd.Categorical:
    codes: dict[str, int] = {}
    numbers = [codes.setdefault(t, len(codes)) for t in texts]
    return pd.Categorical.from_codes(
        np.array(numbers, dtype=np.int32), categories=pd.Index(list(codes), dtype=object)
    )


def _named(
    header: list[str],
    line: int,
    columns: list[pd.Categorical],
    lines: NDArray[np.int64],
    separator: str,
    notes: Collector,
) -> RawTable | None:
    """Put names on the columns; one without name and cells is left out."""
    every = Collector(notes.file, np.array([line]))
    frame: dict[str, pd.Categorical] = {}
    for i, (name, column) in enumerate(zip(header, columns, strict=True)):
        if not name and not any(column.categories):
            continue
        if not name and i > 0:
            every.add(
                "column-unnamed",
                row=0,
                found=f"no name over column {i + 1}, which has cells",
                expected="a name over every column",
                remedy="Name the column or delete it.",
            )
        elif name in frame:
            every.add(
                "column-twice",
                row=0,
                column=name,
                found="this name over two columns",
                expected="every column once",
                remedy="Delete or rename one of them.",
            )
        else:
            frame[name or FIRST_COLUMN] = column
    if not frame:
        every.add(
            "file-empty",
            row=0,
            found="a table without names and cells",
            expected="a heading and one row for each observation",
            remedy="Check that the right file was saved; docs/record-format.md shows one.",
        )
    notes.findings.extend(every.findings)
    if not frame:
        return None
    return RawTable(
        file=notes.file,
        frame=pd.DataFrame(frame),
        lines=lines,
        header_line=line,
        separator=separator,
    )
