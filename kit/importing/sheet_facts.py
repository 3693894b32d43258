"""What is known of the cells of a sheet besides their values, and how far they reach."""

from __future__ import annotations

from dataclasses import dataclass, field

from kit.importing.archive import RefusedError

__all__ = ["MOST_CELLS", "MOST_COLUMNS", "BoundsError", "Facts", "refuse_bounds"]

MOST_CELLS = 12_000_000
"""A million rows of a log with a dozen columns; a sheet is laid out as a whole rectangle."""

MOST_COLUMNS = 2_000


SPARSE_CELLS = 1_000_000
SPARSE_SHARE = 0.05
"""Of a rectangle of more than so many cells at least this share must be filled: a table that was
kept is dense, one stray cell in the last row is not."""


class BoundsError(Exception):
    """A cell lies so far out that the sheet cannot be laid out."""

    def __init__(self, row: int, column: int) -> None:
        self.row, self.column = row, column
        super().__init__(row, column)


def refuse_bounds(sheet: str, cell: str) -> RefusedError:
    """Return the refusal of a sheet whose cells reach too far."""
    return RefusedError(
        rule="import-too-large",
        found=f"a cell {cell} of the sheet {sheet!r}, so far out that the sheet has too many cells",
        expected=f"at most {MOST_COLUMNS} columns and {MOST_CELLS} cells",
        remedy="Delete what stands there, or copy the table into a new sheet.",
    )


@dataclass
class Facts:
    """Facts of one sheet; (row, column) count from 0.

    Parameters
    ----------
    percent, percent_sign, faults, merged, hidden_rows, hidden_columns
        As in :class:`kit.importing.grid.Grid`.
    formulas
        Formulas whose result should be a number; the reader of values says whether one is stored.
    """

    percent: set[tuple[int, int]] = field(default_factory=set)
    percent_sign: set[tuple[int, int]] = field(default_factory=set)
    formulas: set[tuple[int, int]] = field(default_factory=set)
    faults: dict[tuple[int, int], str] = field(default_factory=dict)
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    last_row: int = -1
    last_column: int = -1
    filled: int = 0

    def hide_columns(self, first: int, last: int) -> None:
        """Note columns that are not shown; what is said of columns beyond all tables is not kept.

        Examples
        --------
        >>> facts = Facts()
        >>> facts.hide_columns(1, 2)
        >>> facts.hide_columns(5, 16_383)
        >>> len(facts.hidden_columns) == 2 + MOST_COLUMNS - 5
        True
        """
        self.hidden_columns.update(range(first, min(last + 1, MOST_COLUMNS)))

    def check_density(self) -> None:
        """Refuse a large rectangle that is almost empty.

        Raises
        ------
        BoundsError
            With the last row and column.
        """
        cells = (self.last_row + 1) * (self.last_column + 1)
        if cells > SPARSE_CELLS and self.filled < SPARSE_SHARE * cells:
            raise BoundsError(self.last_row, self.last_column)

    def reach(self, row: int, column: int, cells: int = 1) -> None:
        """Note a cell with content; it may stand for several, of which it is the last.

        Raises
        ------
        BoundsError
            If the rectangle from A1 to it is too large.
        """
        self.filled += cells
        if row <= self.last_row and column <= self.last_column:
            return
        self.last_row = max(self.last_row, row)
        self.last_column = max(self.last_column, column)
        area = (self.last_row + 1) * (self.last_column + 1)
        if self.last_column >= MOST_COLUMNS or area > MOST_CELLS:
            raise BoundsError(row, column)
