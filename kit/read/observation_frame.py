"""From some rows of a log to one of the observation frames of a session."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.session import FRAME_COLUMNS, column_dtype

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from kit.read.log import Log

__all__ = ["DENSE_ROWS", "observation_frame"]

DENSE_ROWS = 10_000
"""Frames with more rows keep their texts as categories."""


def observation_frame(
    name: str, log: Log, rows: NDArray[np.intp], given: Mapping[str, object]
) -> pd.DataFrame:
    """Return an observation frame of some rows: given columns, the others from the log."""
    columns: dict[str, object] = {}
    for column in FRAME_COLUMNS[name]:
        if column in given:
            values = given[column]
        elif column == "line":
            values = log.lines[rows]
        elif column in ("run", "order", "soc_pct", "temperature_c", "duration_min"):
            values = getattr(log, column)[rows]
        else:
            values = log.rows(column, rows)
        if isinstance(values, pd.Categorical):
            columns[column] = _texts(values)
        else:
            columns[column] = pd.Series(values, dtype=column_dtype(column))
    return pd.DataFrame(columns, columns=list(FRAME_COLUMNS[name]))


def _texts(values: pd.Categorical) -> pd.Series:
    if len(values) > DENSE_ROWS:
        return pd.Series(values.remove_unused_categories())
    return pd.Series(np.asarray(values, dtype=object), dtype=object)
