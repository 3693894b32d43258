"""A sheet of cells as it was stored, and findings that name a cell of it."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Literal

from kit.errors import Finding
from kit.read.cells import quoted
from kit.safe_text import displayable

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kit.errors import Severity

__all__ = ["CellFinding", "Grid", "Value", "at", "column_letters", "column_number", "shown", "tell"]

Value = str | float | date | datetime | time | timedelta
"""What a cell holds; "" for a blank one. Numbers are floats, as spreadsheets keep them; what was
true or false is the text TRUE or FALSE."""

CELL = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6})")


@dataclass(frozen=True, kw_only=True)
class Grid:
    """One sheet, or one CSV file.

    Parameters
    ----------
    file
        Name of the file as the user gave it.
    sheet
        Name of the sheet; of a CSV file its name without ending.
    kind
        Where the cells are from; only a spreadsheet has types besides text.
    rows
        Cells from A1 on, all rows of one width; "" for a blank cell.
    percent
        (row, column) of cells whose format multiplies by a hundred: 0.83 is shown as 83 %.
    percent_sign
        (row, column) of cells whose format only adds the sign: 83 is shown as 83 %.
    faults
        (row, column) → what is wrong with a cell that has no value (an error, a formula without a
        stored result).
    merged
        (first row, first column, last row, last column) of merged cells.
    lines
        Number of every row as an editor or spreadsheet counts it.
    hidden
        Whether the sheet is hidden.
    hidden_rows, hidden_columns
        Those that the program does not show.
    serials_1904
        Whether day numbers count from 1904; ``None`` where the file does not say.
    """

    file: str
    sheet: str
    kind: Literal["text", "xlsx", "ods"]
    rows: list[list[Value]]
    percent: frozenset[tuple[int, int]] = frozenset()
    percent_sign: frozenset[tuple[int, int]] = frozenset()
    faults: Mapping[tuple[int, int], str] = field(default_factory=dict)
    merged: tuple[tuple[int, int, int, int], ...] = ()
    lines: list[int]
    hidden: bool = False
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    serials_1904: bool | None = None

    @property
    def width(self) -> int:
        """Return the number of columns."""
        return len(self.rows[0]) if self.rows else 0

    @property
    def name(self) -> str:
        """Return how the sheet is called in a sentence."""
        return self.file if self.kind == "text" else f"{self.file}, sheet {quoted(self.sheet)}"


@dataclass(frozen=True, kw_only=True)
class CellFinding(Finding):
    """A finding on a cell of a sheet.

    Parameters
    ----------
    sheet
        Name of the sheet; "" for a CSV file.
    cell
        Reference such as ``C7``; the row is ``line``, the letters are ``column``.
    decide
        Key of the mapping file that decides what the cell means; "" where none does.
    """

    sheet: str = ""
    cell: str = ""
    decide: str = ""

    @property
    def where(self) -> str:
        """Return ``day.xlsx, sheet 'Run 1', cell C7`` with the parts that are known.

        Examples
        --------
        >>> CellFinding(rule="x", severity="error", file="day.xlsx", sheet="Run 1", cell="C7",
        ...     found="", expected="", remedy="").where
        "day.xlsx, sheet 'Run 1', cell C7"
        """
        parts = [self.file]
        if self.sheet:
            parts.append(f"sheet {quoted(self.sheet)}")
        if self.cell:
            parts.append(f"cell {self.cell}")
        elif self.line is not None:
            parts.append(f"row {self.line}")
        elif self.column:
            parts.append(f"column {self.column}")
        return ", ".join(parts)


def column_letters(column: int) -> str:
    """Return the letters of a column counted from 0.

    Examples
    --------
    >>> [column_letters(c) for c in (0, 25, 26, 701, 702)]
    ['A', 'Z', 'AA', 'ZZ', 'AAA']
    """
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def column_number(letters: str) -> int:
    """Return the column, counted from 0, that has these letters.

    Examples
    --------
    >>> [column_number(c) for c in ("A", "Z", "AA", "AAA")]
    [0, 25, 26, 702]
    """
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number - 1


def at(grid: Grid, row: int, column: int) -> str:
    """Return the reference of a cell, such as ``C7``."""
    return f"{column_letters(column)}{grid.lines[row]}"


def shown(value: Value, *, percent: bool = False) -> str:
    """Return a value as it stands in a message.

    Examples
    --------
    >>> shown(0.83), shown(0.83, percent=True), shown("off"), shown(time(8, 5)), shown(83.0)
    ('0.83', '0.83, formatted as a percentage', "'off'", '08:05', '83')
    """
    if isinstance(value, str):
        return quoted(displayable(value))
    if isinstance(value, float):
        return f"{value:.10g}" + (", formatted as a percentage" if percent else "")
    if isinstance(value, timedelta):
        minutes = round(value.total_seconds() / 60)
        return f"{minutes // 60}:{minutes % 60:02d} (a duration)"
    if isinstance(value, time):
        return f"{value:%H:%M:%S}" if value.second else f"{value:%H:%M}"
    return value.isoformat()


def tell(
    grid: Grid,
    rule: str,
    *,
    row: int | None = None,
    column: int | None = None,
    found: str = "",
    expected: str,
    remedy: str,
    severity: Severity = "error",
    decide: str = "",
    device: str = "",
) -> CellFinding:
    """Return a finding on a cell, row or column of a sheet, with what stands there."""
    cell = ""
    if row is not None and column is not None:
        cell = at(grid, row, column)
        found = found or shown(grid.rows[row][column], percent=(row, column) in grid.percent)
    return CellFinding(
        rule=rule,
        severity=severity,
        file=grid.file,
        line=None if row is None else grid.lines[row],
        column="" if column is None else column_letters(column),
        sheet="" if grid.kind == "text" else displayable(grid.sheet),
        cell=cell,
        found=found,
        expected=expected,
        remedy=remedy,
        decide=decide,
        device=device,
    )
