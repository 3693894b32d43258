"""From the rows of a log to the frames of temperatures, incidents, turns and charges."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.read.observation_frame import observation_frame

if TYPE_CHECKING:
    from kit.read.cells import Collector
    from kit.read.log import Log
    from kit.read.runs import LogTimes

__all__ = ["charges", "incidents", "temperatures", "turns"]


def temperatures(log: Log, times: LogTimes) -> pd.DataFrame:
    """Return the frame of temperatures, also those noted in rows of other events."""
    with_value = np.isfinite(log.temperature_c)
    rows = np.flatnonzero(with_value & log.filled["event"])
    return observation_frame("temperatures", log, rows, {"t_min": times.t_min[rows]})


def incidents(log: Log, times: LogTimes) -> pd.DataFrame:
    """Return the frame of incidents."""
    rows = np.flatnonzero(log.is_event("incident"))
    return observation_frame("incidents", log, rows, {"t_min": times.t_min[rows]})


def turns(log: Log, times: LogTimes) -> pd.DataFrame:
    """Return the frame of turns: who really did which part of a split phase."""
    rows = np.flatnonzero(log.is_event("turn"))
    start = times.t_min[rows]
    return observation_frame(
        "turns",
        log,
        rows,
        {
            "activity": log.rows("part", rows),
            "start_min": start,
            "end_min": start + log.duration_min[rows],
        },
    )


def charges(log: Log, times: LogTimes, notes: Collector) -> pd.DataFrame:
    """Return the frame of charges: each start with the next end of the same device.

    The percentage is that at the end, or where none was noted, that at the start.
    """
    rows = np.flatnonzero(log.is_event("charge_start", "charge_end") & log.filled["device"])
    t_min = times.t_min[rows]
    is_end = log.is_event("charge_end")
    open_at: dict[tuple[int, str], int] = {}
    first: list[int] = []
    span: list[list[float]] = []
    for row, t in zip(rows.tolist(), t_min.tolist(), strict=True):
        key = int(log.run[row]), log.text("device", row)
        if is_end[row] and key in open_at:
            at = open_at.pop(key)
            span[at][1] = t
            if np.isfinite(log.soc_pct[row]):
                span[at][2] = float(log.soc_pct[row])
            if t < span[at][0]:
                notes.add(
                    "charge-order",
                    row=row,
                    column="event",
                    device=key[1],
                    run=key[0],
                    found="a charge that ends before it starts",
                    expected=f"an end after the start in line {log.lines[first[at]]}",
                    remedy="Correct one of the two times.",
                )
            continue
        if is_end[row]:
            span.append([np.nan, t, float(log.soc_pct[row])])
        else:
            open_at[key] = len(span)
            span.append([t, np.nan, float(log.soc_pct[row])])
        first.append(row)
    values = np.array(span, dtype=float).reshape(-1, 3)
    return observation_frame(
        "charges",
        log,
        np.array(first, dtype=np.intp),
        {"start_min": values[:, 0], "end_min": values[:, 1], "soc_pct": values[:, 2]},
    )
