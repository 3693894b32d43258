"""Columns of many rows, handled by their distinct values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from kit.importing.grid import Grid, Value

__all__ = ["Distinct", "distinct"]


LISTED = 5_000
"""In a column of at most so many rows every cell counts by itself, so that each is told that is
open; in a longer one equal cells are told once, where the first of them stands."""


@dataclass(frozen=True)
class Distinct:
    """The distinct values of one column.

    Parameters
    ----------
    values
        Distinct values; a value that is formatted as a percentage counts apart from the same plain.
    places
        Where each first stands, (row, column) in the grid.
    codes
        For each row the number of its value, shape (rows,).
    """

    values: list[Value]
    places: list[tuple[int, int]]
    codes: NDArray[np.intp]

    def spread(self, texts: Sequence[str]) -> NDArray[np.object_]:
        """Return the text of each row from that of each distinct value."""
        spread: NDArray[np.object_] = np.array(texts, dtype=object)[self.codes]
        return spread


def distinct(grid: Grid, rows: Sequence[int], column: int) -> Distinct:
    """Return the distinct values of a column of the grid."""
    if len(rows) <= LISTED:
        places = [(r, column) for r in rows]
        return Distinct([grid.rows[r][column] for r in rows], places, np.arange(len(rows)))
    values = np.empty(len(rows), dtype=object)
    values[:] = [grid.rows[r][column] for r in rows]
    codes, _ = pd.factorize(values)
    marked = {r for r, c in (*grid.percent, *grid.percent_sign, *grid.faults) if c == column}
    if marked:
        codes = codes * 2 + np.isin(np.array(rows), np.array(sorted(marked)))
    _, first, codes = np.unique(codes, return_index=True, return_inverse=True)
    places = [(rows[i], column) for i in first.tolist()]
    return Distinct([grid.rows[r][c] for r, c in places], places, codes)
