"""From times as written to minutes since the start of the run.

Wall-clock times without a date are placed by the rows before them: a log is kept in the order of
the day, so each is taken on the day that brings it nearest to the time of the row before. Where
that leaves two days possible, nothing is guessed; the row is told as ambiguous. With a time zone,
time is counted in UTC, so that a session may run through a change of the clocks; a time in the
repeated hour is settled by an offset, by an elapsed time beside it or by the one step back in the
order of rows, and is told if nothing settles it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.read.clock import DAY_S, TimeCells, moment

if TYPE_CHECKING:
    from datetime import tzinfo

    from numpy.typing import NDArray

__all__ = [
    "PROBLEMS",
    "SOURCES",
    "Problem",
    "RowTimes",
    "RunClock",
    "near_time",
    "resolve_times",
    "utc_offsets",
]

SOURCES: tuple[Literal["", "clock", "elapsed"], ...] = ("", "clock", "elapsed")
"""Names of the codes in ``RowTimes.source``."""

Problem = Literal["", "no_start", "no_zone", "which_day", "skipped_hour", "repeated_hour"]
PROBLEMS: tuple[Problem, ...] = (
    "",
    "no_start",
    "no_zone",
    "which_day",
    "skipped_hour",
    "repeated_hour",
)
"""Names of the codes in ``RowTimes.problem``."""

LONGEST_JUMP_S = 6 * 3600
"""A step between rows that is longer may be one to another day."""

BEFORE_START_S = 2 * 3600
"""Undated times up to so long before the start are possible (charging, room temperature)."""

AFTER_STOP_S = 2 * 3600
"""Undated times up to so long after a stop that is known to the day are possible."""


@dataclass(frozen=True, kw_only=True)
class RunClock:
    """Where time zero of a run lies on the wall clock.

    Parameters
    ----------
    day, second
        Day number and second of that day; ``second`` is ``None`` when no start is known. A day
        of 1 (the first of the calendar) stands for a date that was not recorded.
    zone
        Time zone or fixed offset; ``None`` when none is known: then a change of the clocks is
        not seen.
    fold
        1 if the start is in the second of two repeated hours.
    resolution_min
        How finely the start was noted.
    latest_min
        No time of the run is later (min since start), where that is known.
    """

    day: int = 1
    second: float | None = None
    zone: tzinfo | None = None
    fold: int = 0
    resolution_min: float = 0.0
    latest_min: float | None = None

    @property
    def dated(self) -> bool:
        """Whether the date of the start is known."""
        return self.day > 1

    @property
    def start(self) -> datetime | None:
        """Return time zero as a datetime, aware if the zone is known."""
        if self.second is None:
            return None
        return moment(self.day, self.second).replace(tzinfo=self.zone, fold=self.fold)

    @property
    def start_offset_s(self) -> float:
        """Return the offset from UTC at time zero (s)."""
        start = self.start
        offset = None if start is None else start.utcoffset()
        return 0.0 if offset is None else offset.total_seconds()


@dataclass(frozen=True, kw_only=True)
class RowTimes:
    """Times of the rows of one run, each of shape (rows,).

    Parameters
    ----------
    t_min
        Minutes since the start; NaN where none was noted or it could not be settled.
    resolution_min
        How finely it was noted; NaN where there is no time.
    source
        Codes of ``SOURCES``.
    problem
        Codes of ``PROBLEMS``.
    disagreement_min
        Where clock and elapsed time are both noted: clock minus elapsed (min), else NaN.
    """

    t_min: NDArray[np.float64]
    resolution_min: NDArray[np.float64]
    source: NDArray[np.int8]
    problem: NDArray[np.int8]
    disagreement_min: NDArray[np.float64]


def resolve_times(clock: TimeCells, elapsed: TimeCells, run: RunClock) -> RowTimes:
    """Place the rows of one run, in the order of the log, on its time axis.

    Parameters
    ----------
    clock, elapsed
        One entry for each row. ``clock.day`` holds the date of the cell or of the date column.

    Examples
    --------
    From 22:30 on, over midnight:

    >>> from kit.read.clock import parse_times
    >>> run = RunClock(second=22.5 * 3600)
    >>> blank = parse_times([""] * 3, bare="elapsed")
    >>> resolve_times(parse_times(["22:45", "23:59", "00:10"], bare="clock"), blank, run).t_min
    array([ 15.,  89., 100.])
    """
    n = clock.second.size
    by_elapsed = np.isfinite(elapsed.elapsed_min)
    t_min = np.where(by_elapsed, elapsed.elapsed_min, np.nan)
    source = np.where(by_elapsed, 2, 0).astype(np.int8)
    resolution = np.where(by_elapsed, elapsed.resolution_min, np.nan)
    problem = np.zeros(n, dtype=np.int8)
    disagreement = np.full(n, np.nan)
    by_clock = np.isfinite(clock.second)
    if not by_clock.any():
        pass
    elif run.second is None:
        problem[by_clock & ~by_elapsed] = PROBLEMS.index("no_start")
    else:
        seconds, problem = _clock_seconds(clock, elapsed.elapsed_min, run, run.second)
        settled = by_clock & (problem == 0)
        from_clock = seconds / 60
        both = settled & by_elapsed
        disagreement[both] = from_clock[both] - t_min[both]
        t_min = np.where(settled, from_clock, t_min)
        source[settled] = 1
        resolution = np.where(settled, clock.resolution_min, resolution)
    return RowTimes(
        t_min=t_min,
        resolution_min=resolution,
        source=source,
        problem=problem,
        disagreement_min=disagreement,
    )


def _clock_seconds(
    clock: TimeCells, elapsed_min: NDArray[np.float64], run: RunClock, start_second: float
) -> tuple[NDArray[np.float64], NDArray[np.int8]]:
    """Return seconds since the start by the clock (NaN where none), and the problems."""
    wall, which_day = _wall_seconds(clock, elapsed_min, run, start_second)
    problem = np.where(which_day, PROBLEMS.index("which_day"), 0).astype(np.int8)
    with_offset = np.isfinite(clock.offset_s)
    if run.zone is None or not run.dated:
        problem[with_offset] = PROBLEMS.index("no_zone")
        return wall, problem
    seconds = wall.copy()
    start_offset = run.start_offset_s
    rows = np.flatnonzero(np.isfinite(wall) & ~with_offset)
    absolute = wall[rows] + start_second + run.day * DAY_S
    early, late = utc_offsets(absolute, run.zone)
    problem[rows[late > early]] = PROBLEMS.index("skipped_hour")
    offset = early.copy()
    twice = np.flatnonzero(early > late)
    if twice.size:
        fold = _folds(
            absolute[twice],
            (wall[rows] - early + start_offset)[twice],
            (wall[rows] - late + start_offset)[twice],
            elapsed_min[rows][twice] * 60,
        )
        offset[twice] = np.where(fold == 1, late[twice], early[twice])
        problem[rows[twice[np.isnan(fold)]]] = PROBLEMS.index("repeated_hour")
    seconds[rows] = wall[rows] - (offset - start_offset)
    seconds[with_offset] = wall[with_offset] - (clock.offset_s[with_offset] - start_offset)
    return seconds, problem


def _wall_seconds(
    clock: TimeCells, elapsed_min: NDArray[np.float64], run: RunClock, start_second: float
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return wall-clock seconds since the start, and which rows may lie on two days."""
    since = clock.second - start_second
    wall = np.where(np.isfinite(clock.day), since + (clock.day - run.day) * DAY_S, np.nan)
    guided = np.isfinite(since) & np.isnan(wall) & np.isfinite(elapsed_min)
    wall[guided] = _nearest_day(since[guided], elapsed_min[guided] * 60)
    undated = np.isfinite(since) & np.isnan(wall)
    doubtful = np.zeros(wall.size, dtype=bool)
    if undated.any():
        known = np.where(np.isfinite(wall), wall, elapsed_min * 60)
        wall[undated], doubtful[undated] = _unwrap(since, known, undated, run.latest_min)
    return wall, doubtful


def _nearest_day(since: NDArray[np.float64], target: NDArray[np.float64]) -> NDArray[np.float64]:
    moved: NDArray[np.float64] = since + np.round((target - since) / DAY_S) * DAY_S
    return moved


def _unwrap(
    since: NDArray[np.float64],
    known: NDArray[np.float64],
    undated: NDArray[np.bool_],
    latest_min: float | None,
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Choose the day of undated times from the rows before them.

    Rows that follow each other without a long step keep their distance; only where a stretch
    begins is a day to be chosen, so that a dense log has few choices.
    """
    rows = np.flatnonzero(undated | np.isfinite(known))
    free = undated[rows]
    value = np.where(free, since[rows], known[rows])
    step = np.diff(value, prepend=0.0)
    step = np.where(free, (step + DAY_S / 2) % DAY_S - DAY_S / 2, step)
    begins = ~free | (np.abs(step) > LONGEST_JUMP_S)
    begins[0] = True
    begins[1:] |= ~free[:-1]
    starts = np.flatnonzero(begins)
    ends = np.append(starts[1:], rows.size)
    place = np.empty(rows.size)
    doubtful = np.zeros(rows.size, dtype=bool)
    before = 0.0
    latest = np.inf if latest_min is None else latest_min * 60 + AFTER_STOP_S
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        first = float(value[start])
        if free[start]:
            first, doubtful[start] = _choose_day(first, before, latest)
        place[start:end] = first
        place[start + 1 : end] += np.cumsum(step[start + 1 : end])
        before = float(place[end - 1])
    return place[free], doubtful[free]


def _choose_day(since: float, before: float, latest: float) -> tuple[float, bool]:
    """Return the possible time nearest to that of the row before, and whether another is as good.

    Examples
    --------
    >>> hour = 3600
    >>> _choose_day(1 * hour, 14 * hour, float("inf"))    # 13 h back, or 11 h on: undecided
    (90000.0, True)
    >>> _choose_day(1 * hour, 14 * hour, 14 * hour)       # the session was over by then
    (3600.0, False)
    """
    nearest = since + round((before - since) / DAY_S) * DAY_S
    around = (nearest, nearest - DAY_S, nearest + DAY_S)
    possible = [c for c in around if -BEFORE_START_S <= c <= latest]
    if not possible:
        return float(since % DAY_S), False
    possible.sort(key=lambda c: abs(c - before))
    best = possible[0]
    other_side = any((c - before) * (best - before) < 0 for c in possible[1:])
    return float(best), abs(best - before) > LONGEST_JUMP_S and other_side


def near_time(cells: TimeCells, reference_min: NDArray[np.float64], run: RunClock) -> RowTimes:
    """Place times of their own (last seen on, first seen off) nearest to a time of their row.

    ``reference_min`` is the time of the row, or NaN: then the day is chosen from the start on.
    """
    guide = np.where(np.isfinite(reference_min), reference_min, np.nan)
    none = np.full(cells.second.size, np.nan)
    by_clock = np.isfinite(cells.second)
    blank = TimeCells(
        second=none,
        day=none,
        offset_s=none,
        elapsed_min=cells.elapsed_min,
        resolution_min=cells.resolution_min,
        bad=cells.bad,
    )
    day = cells.day.copy()
    if run.second is not None:
        since = cells.second - run.second
        choose = by_clock & np.isnan(day)
        placed = np.where(
            np.isfinite(guide), _nearest_day(since, np.nan_to_num(guide) * 60), since % DAY_S
        )
        day[choose] = run.day + np.round((placed - since)[choose] / DAY_S)
    clock = TimeCells(
        second=cells.second,
        day=day,
        offset_s=cells.offset_s,
        elapsed_min=none,
        resolution_min=cells.resolution_min,
        bad=cells.bad,
    )
    return resolve_times(clock, blank, run)


def utc_offsets(
    wall_s: NDArray[np.float64], zone: tzinfo
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the offsets from UTC (s) of wall-clock times, taken as the earlier and the later.

    Both are equal but around a change of the clocks: in a repeated hour the first is greater, in
    a skipped hour the second.

    Parameters
    ----------
    wall_s
        Day number × 86 400 + second of the day, shape (times,).

    Examples
    --------
    >>> from datetime import date
    >>> from zoneinfo import ZoneInfo
    >>> night = date(2026, 10, 25).toordinal() * 86400.0
    >>> utc_offsets(np.array([night + 2.5 * 3600]), ZoneInfo("Europe/Brussels"))
    (array([7200.]), array([3600.]))
    """
    if not wall_s.size:
        return np.zeros(0), np.zeros(0)
    low, high = float(wall_s.min()), float(wall_s.max())
    if (high - low) / 3600 + 48 < wall_s.size:
        hours = np.arange(low - DAY_S, high + DAY_S + 3600, 3600.0)
        if len({_offsets(h, zone) for h in hours.tolist()}) == 1:
            early, late = _offsets(low, zone)
            return np.full(wall_s.size, early), np.full(wall_s.size, late)
    distinct, back = np.unique(wall_s, return_inverse=True)
    pairs = np.array([_offsets(w, zone) for w in distinct.tolist()])
    return pairs[back, 0], pairs[back, 1]


def _offsets(wall_s: float, zone: tzinfo) -> tuple[float, float]:
    try:
        wall = moment(wall_s // DAY_S, wall_s % DAY_S).replace(tzinfo=zone)
    except (OverflowError, ValueError):
        return 0.0, 0.0
    early, late = (wall.replace(fold=f).utcoffset() or timedelta(0) for f in (0, 1))
    return early.total_seconds(), late.total_seconds()


def _folds(
    wall: NDArray[np.float64],
    early: NDArray[np.float64],
    late: NDArray[np.float64],
    guide: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return 0 or 1 for times in a repeated hour, NaN where nothing settles it.

    Times of one night, in the order of rows: an elapsed time (``guide``) settles its own row; one
    single step back of the clock settles all; what comes before a time of the first hour is of
    the first, what comes after one of the second is of the second.
    """
    fold = np.full(wall.size, np.nan)
    night = np.floor(wall / DAY_S)
    for one in np.unique(night):
        rows = np.flatnonzero(night == one)
        given = np.isfinite(guide[rows])
        nearer = np.abs(late[rows] - guide[rows]) < np.abs(early[rows] - guide[rows])
        found = np.where(given, nearer.astype(float), np.nan)
        back = np.flatnonzero(np.diff(wall[rows]) < 0)
        if back.size == 1 and not given.any():
            found = (np.arange(rows.size) > back[0]).astype(float)
        elif back.size <= 1:
            ones = np.flatnonzero(found == 1)
            zeros = np.flatnonzero(found == 0)
            if ones.size:
                found[ones[0] :] = np.where(given[ones[0] :], found[ones[0] :], 1.0)
            if zeros.size:
                found[: zeros[-1]] = np.where(given[: zeros[-1]], found[: zeros[-1]], 0.0)
        fold[rows] = found
    return fold
