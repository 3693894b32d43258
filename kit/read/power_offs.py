"""From the rows of a log to the frame of power-offs and of devices still on.

Everything that contradicts itself or the setup file is told here; whether an observation is
plausible as a measurement is for :mod:`kit.checks`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.read.cells import quoted
from kit.read.observation_frame import observation_frame

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.read.cells import Collector
    from kit.read.log import Log
    from kit.read.runs import LogTimes, RunTimes

__all__ = ["power_offs"]


def power_offs(log: Log, times: LogTimes, notes: Collector) -> pd.DataFrame:
    """Return the frame of power-offs and of devices still on at the stop."""
    from kit.read.timeline import near_time

    rows = np.flatnonzero(log.is_event("power_off", "still_on") & log.filled["device"])
    t_min, resolution = times.t_min[rows], times.resolution_min[rows]
    still_on = log.is_event("still_on")[rows]
    noted = np.where(still_on, np.nan, t_min)
    limits = {"last_on": np.full(rows.size, np.nan), "first_off": np.full(rows.size, np.nan)}
    finest = np.full(rows.size, np.nan)
    number = log.run[rows]
    for run in times.runs:
        ours = np.flatnonzero(number == run.run.number)
        reference = _reference(run, times.t_min, rows[ours])
        for name in ("first_off", "last_on"):
            found = near_time(log.limit(name, rows[ours]), reference, run.clock)
            limits[name][ours] = found.t_min
            finest[ours] = np.fmax(finest[ours], found.resolution_min)
            reference = np.where(np.isfinite(reference), reference, found.t_min)
            _tell_limits(log, name, rows[ours], found.problem, run, notes)
        stop = run.run.stop_min
        on = ours[still_on[ours]]
        seen = np.where(np.isfinite(t_min[on]), t_min[on], np.nan if stop is None else stop)
        limits["last_on"][on] = np.fmax(seen, limits["last_on"][on])
        unknown = on[np.isnan(resolution[on]) & np.isfinite(limits["last_on"][on])]
        resolution[unknown] = run.stop_resolution_min
    resolution = np.where(np.isnan(resolution), finest, resolution)
    frame = observation_frame(
        "power_offs",
        log,
        rows,
        {
            "still_on": still_on,
            "noted_min": noted,
            "last_on_min": limits["last_on"],
            "first_off_min": limits["first_off"],
            "t_resolution_min": resolution,
        },
    )
    _tell_order(log, rows, noted, limits["last_on"], limits["first_off"], notes)
    _tell_off_twice(log, rows, notes)
    return frame


def _reference(
    run: RunTimes, t_min: NDArray[np.float64], rows: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Return for each row its own time, or that of the last timed row of the run before it."""
    timed = run.rows[np.isfinite(t_min[run.rows])]
    if not timed.size:
        return np.full(rows.size, np.nan)
    last = np.searchsorted(timed, rows, side="right") - 1
    return np.where(last >= 0, t_min[timed[np.maximum(last, 0)]], np.nan)


def _tell_limits(
    log: Log,
    column: str,
    rows: NDArray[np.intp],
    problem: NDArray[np.int8],
    run: RunTimes,
    notes: Collector,
) -> None:
    from kit.read.runs import TELL
    from kit.read.timeline import PROBLEMS

    for row, code in zip(rows.tolist(), problem.tolist(), strict=True):
        if code:
            rule, expected, remedy = TELL[PROBLEMS[code]]
            notes.add(
                rule,
                row=row,
                column=column,
                found=quoted(log.text(column, row)),
                expected=expected,
                remedy=remedy,
                run=run.run.number,
            )


def _tell_order(
    log: Log,
    rows: NDArray[np.intp],
    noted: NDArray[np.float64],
    last_on: NDArray[np.float64],
    first_off: NDArray[np.float64],
    notes: Collector,
) -> None:
    """Tell times of a power-off that cannot all be true."""
    for name, early, late, words in (
        ("last_on", last_on, first_off, ("last seen on", "first seen off")),
        ("last_on", last_on, noted, ("last seen on", "noted off")),
    ):
        for at in np.flatnonzero(early > late).tolist():
            row = int(rows[at])
            other = "first_off" if late is first_off else "clock"
            if other == "clock" and not log.filled["clock"][row]:
                other = "elapsed_min"
            notes.add(
                "off-order",
                row=row,
                column=name,
                device=log.text("device", row),
                run=int(log.run[row]),
                found=f"{words[0]} at {quoted(log.text(name, row))}, {words[1]} at "
                f"{quoted(log.text(other, row))}",
                expected=f"{words[0]} no later than {words[1]}",
                remedy="Correct one of the two times.",
            )


def _tell_off_twice(log: Log, rows: NDArray[np.intp], notes: Collector) -> None:
    first: dict[tuple[int, str], int] = {}
    for row in rows.tolist():
        key = int(log.run[row]), log.text("device", row)
        if key in first:
            notes.add(
                "off-twice",
                row=row,
                column="event",
                device=key[1],
                run=key[0],
                found=f"a second {log.text('event', row)} of {quoted(key[1])} in run {key[0]}",
                expected="one power_off or still_on for each device; the first stands in line "
                f"{log.lines[first[key]]}",
                remedy="Delete the one that is wrong.",
            )
        else:
            first[key] = row
