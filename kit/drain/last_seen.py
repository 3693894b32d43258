"""When a device was last seen on: the readings that show it, and what it had left then."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.readings import codes_of
from kit.session import columns_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from kit.session import Session

    Flags = NDArray[np.bool_]
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = ["MINUTE", "LastSeen", "Seen", "boundary_times", "last_seen", "seen_on", "tail_min"]

MINUTE = 1.0
"""Resolution (min) of a time noted without seconds."""

_RATE_STEP_MIN = 30.0
"""Stretch of a log over which the rate of a survivor is taken (min)."""


@dataclass(frozen=True, kw_only=True)
class Seen:
    """Readings with a percentage, each with the earliest time it can have been made.

    ``change``: it is a noted change of the display, seen as it happened.
    """

    unit: Ints  # run position × devices + device position
    t: Floats
    soc: Floats
    margin: Floats
    change: Flags

    def last_of(self, unit: int, limit: float) -> tuple[float, float]:
        """Return time and margin of a unit's last reading not later than ``limit``; NaN, 0."""
        mine = np.flatnonzero((self.unit == unit) & (self.t <= limit))
        if not mine.size:
            return float("nan"), 0.0
        t = self.t[mine]
        last = mine[np.flatnonzero(t == t.max())[-1]]
        return float(self.t[last]), float(self.margin[last])


def boundary_times(session: Session) -> dict[tuple[int, str], tuple[float, float]]:
    """Return start and end (min) of every phase, by number of the run and id of the phase.

    Examples
    --------
    >>> from tests.helpers.builders import make_session
    >>> boundary_times(make_session(phases={"p1": 60, "p2": 30}, gaps={"p2": 5}))
    {(1, 'p1'): (0.0, 60.0), (1, 'p2'): (65.0, 95.0)}
    """
    columns = columns_of(session.spans, "run", "phase", "start_min", "end_min")
    return {
        (int(run), str(phase)): (float(start), float(end))
        for run, phase, start, end in zip(*(c.tolist() for c in columns), strict=True)
    }


def seen_on(session: Session, devices: Mapping[str, int], runs: Mapping[int, int]) -> Seen:
    """Return the readings that show a device was on, timed by clock or by their boundary.

    Examples
    --------
    Readings without a time of their own count at their boundary, exactly:

    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [100, 88]}, timed=False,
    ...     more_readings=[{"device": "a", "kind": "tick", "t_min": 75, "soc_pct": 84}])
    >>> found = seen_on(s, {"a": 0}, {1: 0})
    >>> found.t.tolist(), found.soc.tolist(), found.margin.tolist(), found.change.tolist()
    ([0.0, 60.0, 75.0], [100.0, 88.0, 84.0], [0.0, 0.0, 1.0], [False, False, True])
    """
    run_of, device_of, phase_of, point_of, t_of, soc_of, step, kind_of = columns_of(
        session.readings, "run", "device", "phase", "point", "t_min", "soc_pct",
        "t_resolution_min", "kind",
    )  # fmt: skip
    code = codes_of(device_of, devices)
    run_number = np.asarray(run_of, dtype=np.int64)
    place = np.full(run_number.shape, -1)
    for number, position in runs.items():
        place[run_number == number] = position
    t = np.array(t_of, dtype=np.float64)
    soc = np.asarray(soc_of, dtype=np.float64)
    resolution = np.asarray(step, dtype=np.float64)
    untimed = np.flatnonzero(np.isnan(t) & ~np.isnan(soc))
    if untimed.size:
        bounds = boundary_times(session)
        rows = (np.asarray(column)[untimed].tolist() for column in (run_of, phase_of, point_of))
        nowhere = (np.nan, np.nan)
        t[untimed] = [
            bounds.get((int(run), str(phase)), nowhere)[1 if point == "end" else 0]
            for run, phase, point in zip(*rows, strict=True)
        ]
    keep = (code >= 0) & (place >= 0) & ~np.isnan(t) & ~np.isnan(soc)
    return Seen(
        unit=(place * len(devices) + code)[keep],
        t=t[keep],
        soc=soc[keep],
        margin=np.where(np.isnan(resolution), 0.0, resolution)[keep],
        change=np.asarray(kind_of == "tick", dtype=bool)[keep],
    )


@dataclass(frozen=True, kw_only=True)
class LastSeen:
    """The last reading of every unit; shape (K,).

    Minute, percentage, margin of the minute, and whether all that was read in that minute is a
    change of the display.
    """

    t: Floats
    soc: Floats
    margin: Floats
    change: Flags


def last_seen(seen: Seen, limit: Floats) -> LastSeen:
    """Return each unit's last reading not later than ``limit``.

    Examples
    --------
    Of readings at 0, 60 and 120 min the second is the last by minute 100:

    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60, "p2": 60}, readings={"a": [100, 88, 70]})
    >>> found = last_seen(seen_on(s, {"a": 0}, {1: 0}), np.array([100.0]))
    >>> found.t.tolist(), found.soc.tolist(), found.change.tolist()
    ([60.0], [88.0], [False])
    """
    inside = seen.t <= limit[seen.unit]
    unit, t = seen.unit[inside], seen.t[inside]
    last = np.full(limit.shape, -np.inf)
    np.maximum.at(last, unit, t)
    is_last = t == last[unit]
    soc = np.full(limit.shape, np.nan)
    margin = np.zeros(limit.shape)
    soc[unit[is_last]] = seen.soc[inside][is_last]
    margin[unit[is_last]] = seen.margin[inside][is_last]
    change = np.zeros(limit.shape, dtype=bool)
    change[unit[is_last]] = True
    change[unit[is_last & ~seen.change[inside]]] = False
    return LastSeen(t=np.where(np.isinf(last), np.nan, last), soc=soc, margin=margin, change=change)


def tail_min(seen: Seen, unit: int, at: float) -> float:
    """Return the minutes that a device can still run after ``at``, at its busiest rate.

    The rate is the steepest fall over any stretch of about half an hour of the log.

    Examples
    --------
    100, 88 and 70 % at 0, 60 and 120 min: the steeper hour fell 0.3 pp a minute, so 70 % last
    70/0.3 = 233.3 minutes, 203.3 of them after minute 150:

    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60, "p2": 60}, readings={"a": [100, 88, 70]})
    >>> found = seen_on(s, {"a": 0}, {1: 0})
    >>> round(tail_min(found, 0, 120.0), 1), round(tail_min(found, 0, 150.0), 1)
    (233.3, 203.3)
    """
    mine = np.flatnonzero(seen.unit == unit)
    mine = mine[np.argsort(seen.t[mine], kind="stable")]
    t, soc = seen.t[mine], seen.soc[mine]
    if t.size < 2:
        return float("nan")
    grid = np.arange(t[-1], t[0] - _RATE_STEP_MIN, -_RATE_STEP_MIN)
    picks = np.maximum(np.searchsorted(t, grid, side="right") - 1, 0)[::-1]
    step = t[picks][1:] - t[picks][:-1]
    fall = soc[picks][:-1] - soc[picks][1:]
    usable = step >= _RATE_STEP_MIN / 2.0
    if not usable.any() or fall[usable].max() <= 0.0:
        return float("nan")
    rate = float((fall[usable] / step[usable]).max())
    return max(float(soc[-1]) / rate - max(at - float(t[-1]), 0.0), MINUTE)
