"""From the bytes of a CSV file to a grid of texts.

Encoding and separator are found as `kit.read.csv_dialect` finds them; here titles may stand above
the heading, and text in UTF-16, as spreadsheets save "Unicode text", is taken as well.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from kit.importing.archive import RefusedError
from kit.importing.grid import Grid, tell
from kit.read.cells import Collector
from kit.read.csv_dialect import SEPARATORS, decoded, separator_of

if TYPE_CHECKING:
    from kit.errors import Finding
    from kit.importing.mapping import Decisions

__all__ = ["read_text_table"]

MOST_TITLES = 30
"""So many lines may stand above the heading."""

SAMPLE_CHARS = 20_000
LONGEST_CELL = 100_000
DECLARED = re.compile(r"\s*sep=(.)\n", re.IGNORECASE)


def read_text_table(
    data: bytes, file: str, decisions: Decisions
) -> tuple[Grid | None, tuple[Finding, ...]]:
    """Read the bytes of a CSV file; the grid is ``None`` if it is no table.

    Raises
    ------
    RefusedError
        If the file is in an encoding that the mapping file does not name.
    """
    notes = Collector(file)
    text = _text(data, decisions.encoding, notes)
    if text is None:
        return None, tuple(_encoding_hint(f) for f in notes.findings)
    separator, above = _separator(text, decisions.separator)
    body = text if not above else text.split("\n", above)[above]
    rows: list[list[str]] = []
    lines: list[int] = []
    reader = csv.reader(io.StringIO(body, newline=""), delimiter=separator)
    start = above + 1
    try:
        for row in reader:
            if any(row):
                rows.append(row)
                lines.append(start)
            start = above + 1 + reader.line_num
    except csv.Error as error:
        raise RefusedError(
            rule="file-quotes",
            found=f"a row from line {start} on that cannot be read ({error})",
            expected="cells in quotation marks that are closed",
            remedy="Close the quotation mark.",
        ) from error
    width = max((_filled(r) for r in rows), default=0)
    grid = Grid(
        file=file,
        sheet=Path(file).stem,
        kind="text",
        rows=[[*r[:width], *[""] * (width - len(r))] for r in rows],
        lines=lines,
    )
    return grid, (*notes.findings, *_uneven(grid, separator))


def _encoding_hint(finding: Finding) -> Finding:
    """Return a finding on the encoding with what the mapping file can do about it."""
    if finding.rule != "file-encoding":
        return finding
    more = ' Or write encoding = "cp1252" (or another) under [file] of the mapping file.'
    return replace(finding, remedy=finding.remedy + more)


def _text(data: bytes, encoding: str, notes: Collector) -> str | None:
    if not encoding and data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        encoding = "utf-16"
    if encoding and encoding != "utf-8":
        try:
            data = data.decode(encoding).removeprefix("\ufeff").encode()
        except UnicodeDecodeError as error:
            raise RefusedError(
                rule="file-encoding",
                found=f"bytes that are not {encoding}",
                expected="text in the encoding that the file or the mapping file names",
                remedy="Correct file.encoding in the mapping file, or save the table as CSV UTF-8.",
            ) from error
    text = decoded(data, notes)
    if text is None or not any(len(line) > LONGEST_CELL for line in text.split("\n")):
        return text
    raise RefusedError(
        rule="import-too-large",
        found=f"a line of more than {LONGEST_CELL} characters",
        expected="one row of a table on each line",
        remedy="Check that this is the right file; a quotation mark may be missing.",
    )


def _separator(text: str, given: str) -> tuple[str, int]:
    """Return the separator and how many lines stand before the table, which do not have it."""
    declared = DECLARED.match(text)
    if declared and declared[1] in SEPARATORS:
        return declared[1], text[: declared.end()].count("\n")
    if given:
        return given, 0
    sample = text[:SAMPLE_CHARS]
    best = (0, ",")
    for _ in range(MOST_TITLES):
        candidate = separator_of(sample) if sample.strip() else ","
        heading = next(csv.reader(io.StringIO(sample), delimiter=candidate), [])
        best = max(best, (sum(1 for c in heading if c.strip()), candidate), key=lambda b: b[0])
        _, _, sample = sample.partition("\n")
        if not sample.strip():
            break
    return best[1], 0


def _filled(row: list[str]) -> int:
    """Return the width of a row without its blank end."""
    width = len(row)
    while width and not row[width - 1].strip():
        width -= 1
    return width


def _uneven(grid: Grid, separator: str) -> list[Finding]:
    """Tell rows in which another separator stands where the rest has several cells."""
    others = [s for s in SEPARATORS if s != separator]
    found: list[Finding] = []
    for row, cells in enumerate(grid.rows):
        first = str(cells[0])
        alone = grid.width > 2 and not any(cells[1:])
        if alone and any(first.count(s) >= grid.width - 1 for s in others):
            found.append(
                tell(
                    grid,
                    "import-separator",
                    row=row,
                    column=0,
                    expected="the same separator in every row "
                    f"(here {'a tab' if separator == chr(9) else separator!r})",
                    remedy="Correct the row, or save the table again.",
                )
            )
    return found
