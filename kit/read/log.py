"""A log whose cells are read: one entry for each row, nothing placed in time yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from kit.read.cells import distinct_texts
from kit.read.clock import TimeCells

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

__all__ = ["Log"]


@dataclass(frozen=True, kw_only=True)
class Log:
    """A log whose cells are read, one entry for each row; nothing is placed in time yet.

    Parameters
    ----------
    file
        Name of the file as the user gave it.
    frame
        All columns of the schema as categoricals of texts, "" for blank or faulty.
    filled
        Column → which rows have any text in it, faulty or not.
    lines
        Line of every row in the file.
    origin
        For a scorecard: the heading of the column in which the value of each row stands.
    run, order
        Numbers; run 1 and order 0 where none is written.
    soc_pct, temperature_c, duration_min
        Numbers, NaN where none is written.
    clock, elapsed
        Times; the date column is already merged into ``clock``.
    limits
        The distinct times of the columns ``last_on`` and ``first_off``; see :meth:`limit`.
    """

    file: str
    form: Literal["long", "wide"]
    frame: pd.DataFrame
    filled: dict[str, NDArray[np.bool_]]
    lines: NDArray[np.int64]
    origin: Sequence[str] | None
    run: NDArray[np.int64]
    order: NDArray[np.int64]
    soc_pct: NDArray[np.float64]
    temperature_c: NDArray[np.float64]
    duration_min: NDArray[np.float64]
    clock: TimeCells
    elapsed: TimeCells
    limits: Mapping[str, TimeCells]

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.frame)

    def is_event(self, *names: str) -> NDArray[np.bool_]:
        """Return which rows are of one of these events."""
        return self.holds("event", *names)

    def holds(self, column: str, *texts: str) -> NDArray[np.bool_]:
        """Return which rows have one of these texts in a column."""
        values = self.frame[column].cat
        wanted = [i for i, c in enumerate(values.categories) if c in texts]
        held: NDArray[np.bool_] = np.isin(values.codes.to_numpy(), wanted)
        return held

    def rows(self, column: str, rows: NDArray[np.intp]) -> pd.Categorical:
        """Return the texts of some rows."""
        values = self.frame[column].cat
        return pd.Categorical.from_codes(
            values.codes.to_numpy()[rows], categories=values.categories
        )

    def limit(self, column: str, rows: NDArray[np.intp]) -> TimeCells:
        """Return the times in ``last_on`` or ``first_off`` of some rows."""
        return self.limits[column].take(self.frame[column].cat.codes.to_numpy()[rows])

    def text(self, column: str, row: int) -> str:
        """Return the text of one cell."""
        return str(self.frame[column].iat[row])

    def names(self, column: str) -> tuple[str, ...]:
        """Return the distinct texts of a column in the order in which they first stand."""
        texts = distinct_texts(self.frame[column])
        codes = pd.unique(self.frame[column].cat.codes.to_numpy())
        return tuple(texts[c] for c in codes.tolist() if texts[c])
