"""The rows of very many readings, written column by column.

The same texts as `kit.read.log_writer` makes row by row; what it cannot say as quickly (times that
the clock cannot say, an unknown date, a night in which the clocks change) it leaves to that.
"""

from __future__ import annotations

from datetime import UTC
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from kit.session import Run

__all__ = ["DENSE", "reading_columns"]

DENSE = 2_000
"""From so many readings on they are written column by column."""

TEXTS = ("phase", "point", "device", "by", "evidence", "note")
SLACK_S = 6e-5
"""A time is one of whole seconds within 1e-6 min, as in `kit.read.log_writer`."""


def reading_columns(
    readings: pd.DataFrame, runs: Mapping[int, Run], number: Callable[[object], str]
) -> dict[str, NDArray[np.object_]] | None:
    """Return the columns of a log for all readings, in the order of their rows.

    Parameters
    ----------
    number
        Turns a number into its text.

    Returns
    -------
    dict or None
        Column → texts, shape (readings,); ``None`` where rows must be written one by one.
    """
    run = readings["run"].to_numpy()
    t_min = readings["t_min"].to_numpy(dtype=np.float64)
    resolution = readings["t_resolution_min"].to_numpy(dtype=np.float64)
    date = np.full(run.size, "", dtype=object)
    clock = np.full(run.size, "", dtype=object)
    for key in np.unique(run).tolist():
        rows = run == key
        found = _wall(t_min[rows], resolution[rows], runs[key])
        if found is None:
            return None
        date[rows], clock[rows] = found
    columns = {
        "event": readings["kind"].to_numpy(dtype=object),
        "run": run.astype(str).astype(object),
        "date": date,
        "clock": clock,
        "soc_pct": _numbers(readings["soc_pct"].to_numpy(dtype=np.float64), number),
        **{name: readings[name].astype(object).to_numpy() for name in TEXTS},
    }
    order = readings["order"].to_numpy()
    columns["order"] = np.where(order == 0, "", order.astype(str).astype(object))
    return columns


def _wall(
    t_min: NDArray[np.float64], resolution: NDArray[np.float64], run: Run
) -> tuple[NDArray[np.object_], NDArray[np.object_]] | None:
    """Return dates and times of day; ``None`` where the clock cannot say all of them."""
    if run.start is None or run.start.year == 1 or np.isnan(t_min).any():
        return None
    seconds = np.round(t_min * 60)
    to_minute = resolution == 1.0
    exact = np.where(to_minute, t_min == np.trunc(t_min), np.abs(t_min * 60 - seconds) < SLACK_S)
    if not exact.all() or not (to_minute | (resolution == 1 / 60)).all():
        return None
    start, zone = run.start, run.start.tzinfo
    first = (start if zone is None else start.astimezone(UTC)).replace(tzinfo=None)
    stamps = np.datetime64(first, "s") + seconds.astype(np.int64).astype("timedelta64[s]")
    if zone is not None:
        placed = pd.DatetimeIndex(stamps).tz_localize("UTC").tz_convert(zone)
        wall = placed.tz_localize(None).to_numpy().astype("datetime64[s]")
        if len(np.unique(wall - stamps)) > 1:
            return None
        stamps = wall
    if first.microsecond:
        return None
    text = np.datetime_as_string(stamps, unit="s")
    day = text.astype("U10").astype(object)
    full = np.array([t[11:] for t in text.tolist()], dtype=object)
    if to_minute.any():
        full = np.where(to_minute, np.array([t[:5] for t in full.tolist()], dtype=object), full)
    return day, full


def _numbers(values: NDArray[np.float64], number: Callable[[object], str]) -> NDArray[np.object_]:
    distinct, codes = np.unique(values, return_inverse=True)
    texts: NDArray[np.object_] = np.array([number(v) for v in distinct.tolist()], dtype=object)
    return texts[codes]
