"""Time zero of each run, and the rows of the log placed on its time axis.

Time zero is the start in the setup file; without one, the clock time noted for the start of the
first phase; in a log without a setup file, the first clock time in it (which is told as a note).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta, timezone
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from kit.read.cells import MOST_ALIKE, quoted
from kit.read.clock import DAY_S, ClockTime, time_cells
from kit.read.run_dates import MEASURED, tell_dates
from kit.read.setup_file import RunSetup
from kit.read.timeline import PROBLEMS, RunClock, near_time, resolve_times, utc_offsets
from kit.session import Run

if TYPE_CHECKING:
    from datetime import tzinfo

    from numpy.typing import NDArray

    from kit.read.cells import Collector
    from kit.read.log import Log
    from kit.read.setup_file import Setup
    from kit.read.timeline import Problem
    from kit.read.toml_table import Notes

__all__ = ["TELL", "LogTimes", "RunTimes", "log_times"]

SLACK_MIN = 120.0
"""Observations may lie so long outside start and stop before a time is taken as wrong (min)."""


@dataclass(frozen=True, kw_only=True)
class RunTimes:
    """One run: its clock and the numbers of its rows.

    Parameters
    ----------
    stop_resolution_min
        How finely the stop was noted.
    """

    run: Run
    clock: RunClock
    rows: NDArray[np.intp]
    stop_resolution_min: float = 0.0


@dataclass(frozen=True, kw_only=True)
class LogTimes:
    """The rows of a log on the time axes of their runs.

    Parameters
    ----------
    runs
        In the order of their numbers.
    t_min, resolution_min, source
        As in :class:`kit.read.timeline.RowTimes`, for all rows of the log.
    """

    runs: tuple[RunTimes, ...]
    t_min: NDArray[np.float64]
    resolution_min: NDArray[np.float64]
    source: NDArray[np.int8]


@dataclass(frozen=True, kw_only=True)
class _Context:
    """What all steps look at or write to."""

    setup: Setup
    log: Log
    notes: Collector
    setup_notes: Notes


def log_times(setup: Setup, log: Log, notes: Collector, setup_notes: Notes) -> LogTimes:
    """Place all rows of a log; what is wrong goes to the notes of the log or the setup file."""
    at = _Context(setup=setup, log=log, notes=notes, setup_notes=setup_notes)
    given = {r.number: r for r in setup.runs}
    found = sorted(pd.unique(log.run).tolist())
    if setup.numbered_runs:
        _tell_unknown_runs([n for n in found if n not in given], sorted(given), at)
    elif found:
        given = {n: r for n, r in given.items() if n in found}
    t_min = np.full(len(log), np.nan)
    resolution = np.full(len(log), np.nan)
    source = np.zeros(len(log), dtype=np.int8)
    runs = []
    for number in sorted({*given, *found}):
        rows = np.flatnonzero(log.run == number)
        said = given.get(number, RunSetup(number=number))
        clock = _run_clock(number, said, rows, at)
        every = rows.size == len(log)
        times = resolve_times(
            log.clock if every else log.clock.take(rows),
            log.elapsed if every else log.elapsed.take(rows),
            clock,
        )
        _tell_problems(times.problem, rows, number, at)
        tolerance = times.resolution_min + log.elapsed.resolution_min[rows] + clock.resolution_min
        _tell_disagreement(times.disagreement_min, tolerance, rows, number, at)
        t_min[rows], resolution[rows], source[rows] = (
            times.t_min,
            times.resolution_min,
            times.source,
        )
        stop = _stop(said, clock, times.t_min)
        if not tell_dates(
            said, clock, times, rows,
            setup=setup, log=log, notes=notes, setup_notes=setup_notes,
        ):  # fmt: skip
            _tell_outside(times.t_min, rows, number, stop, at)
        run = Run(
            number=number,
            start=clock.start,
            stop_min=stop,
            stated_elapsed_min=said.stated_elapsed_min,
        )
        noted = 0.0 if said.stop is None else said.stop.resolution_min
        runs.append(RunTimes(run=run, clock=clock, rows=rows, stop_resolution_min=noted))
    return LogTimes(runs=tuple(runs), t_min=t_min, resolution_min=resolution, source=source)


def _tell_unknown_runs(unknown: list[int], known: list[int], at: _Context) -> None:
    for number in unknown:
        row = int(np.flatnonzero(at.log.run == number)[0])
        blank = " (the cell is blank)" if not at.log.filled["run"][row] else ""
        at.notes.add(
            "run-unknown",
            row=row,
            column="run",
            run=number,
            found=f"run {number}{blank}",
            expected=f"a run of [[runs]] in {at.setup_notes.file}: {', '.join(map(str, known))}",
            remedy="Correct the number, or add the run to the setup file.",
        )


def _run_clock(number: int, said: RunSetup, rows: NDArray[np.intp], at: _Context) -> RunClock:
    setup = at.setup
    zone: tzinfo | None = ZoneInfo(setup.timezone) if setup.timezone else None
    start = said.start or _start_from_log(number, rows, at)
    if start is None:
        return RunClock()
    day = start.day
    date = said.date or (setup.date if number == 1 else None)
    if day is None and date is not None:
        day = date.toordinal()
    if day is None:
        day = _day_from_log(start.second, rows, at.log)
    if zone is None and start.offset_s is not None:
        zone = timezone(timedelta(seconds=start.offset_s))
    clock = RunClock(
        day=day or 1,
        second=start.second,
        zone=zone if day else None,
        resolution_min=start.resolution_min,
    )
    if clock.zone is not None and said.start is not None:
        clock = _checked_zone(clock, clock.zone, start, number, at)
    if said.stop is not None and said.stop.day is not None:
        latest = resolve_times(time_cells([said.stop]), time_cells([None]), clock).t_min[0]
        clock = replace(clock, latest_min=None if np.isnan(latest) else float(latest))
    return clock


def _checked_zone(
    clock: RunClock, zone: tzinfo, start: ClockTime, number: int, at: _Context
) -> RunClock:
    """Settle a start near a change of the clocks, or tell that it cannot be."""
    wall = clock.day * DAY_S + start.second
    early, late = (float(offset[0]) for offset in utc_offsets(np.array([wall]), zone))
    if start.offset_s is not None:
        if start.offset_s in (early, late):
            return replace(clock, fold=int(start.offset_s != early))
        found = f"an offset of {_hours(start.offset_s)} from UTC"
        expected = f"{_hours(early)}, as {at.setup.timezone} has it then"
    elif late > early:
        found = "a time that did not exist: the clocks were put forward over it"
        expected = f"a time that was shown in {at.setup.timezone}"
    elif late < early:
        found = "a time that came twice: the clocks were put back"
        expected = f"the offset from UTC with it, {_hours(early)} or {_hours(late)}"
    else:
        return clock
    place = next((i for i, r in enumerate(at.setup.runs, start=1) if r.number == number), 1)
    at.setup_notes.add(
        "start-zone",
        f"runs[{place}].start" if at.setup.numbered_runs else "session.start",
        found=found,
        expected=expected,
        remedy="Write date, time and offset, in the manner of 2026-05-16T08:00+01:00.",
        run=number,
    )
    return clock


def _hours(offset_s: float) -> str:
    sign = "−" if offset_s < 0 else "+"
    minutes = round(abs(offset_s) / 60)
    return f"{sign}{minutes // 60:02d}:{minutes % 60:02d}"


def _start_from_log(number: int, rows: NDArray[np.intp], at: _Context) -> ClockTime | None:
    """Return the start as the log has it; ``None`` if it has none or needs none."""
    log, setup = at.log, at.setup
    by_clock = np.isfinite(log.clock.second[rows])
    if not (by_clock & np.isnan(log.elapsed.elapsed_min[rows])).any():
        return None
    first = (setup.phases[0].id,) if setup.phases else log.names("phase")[:1]
    begins = by_clock & (log.is_event("phase_start") & log.holds("phase", *first))[rows]
    if begins.any():
        row = int(rows[begins][0])
        known_by = "the start of the first phase"
    elif at.setup_notes.file:
        return None
    else:
        row = int(rows[by_clock][0])
        known_by = "the first clock time of the log"
    at.notes.add(
        "start-from-log",
        row=row,
        column="clock",
        severity="note",
        run=number,
        found=f"{quoted(log.text('clock', row))} as {known_by}",
        expected="the start of the run in a setup file",
        remedy="Times count from here; state the start in session.toml if it was another.",
    )
    day, offset = log.clock.day[row], log.clock.offset_s[row]
    return ClockTime(
        second=float(log.clock.second[row]),
        resolution_min=float(log.clock.resolution_min[row]),
        day=None if np.isnan(day) else int(day),
        offset_s=None if np.isnan(offset) else float(offset),
    )


def _day_from_log(second: float, rows: NDArray[np.intp], log: Log) -> int | None:
    """Return the day of a start without a date from the first dated row after it."""
    dated = rows[np.isfinite(log.clock.day[rows]) & np.isfinite(log.clock.second[rows])]
    if not dated.size:
        return None
    row = dated[0]
    before = log.clock.second[row] < second - SLACK_MIN * 60
    return max(1, int(log.clock.day[row]) - int(before))


def _stop(said: RunSetup, clock: RunClock, t_min: NDArray[np.float64]) -> float | None:
    if said.stop is None or clock.second is None:
        return None
    cells = time_cells([said.stop])
    stop = near_time(cells, np.array([np.nan]), clock).t_min[0]
    timed = np.isfinite(t_min)
    if said.stop.day is None and timed.any():
        over = float(t_min[timed].max()) - SLACK_MIN - stop
        days = np.ceil(over / (DAY_S / 60)) if over > 0 else 0
        stop = near_time(cells, np.array([stop + days * DAY_S / 60]), clock).t_min[0]
    return None if np.isnan(stop) else float(stop)


TELL: dict[Problem, tuple[str, str, str]] = {
    "no_start": (
        "clock-no-start",
        "the start of the session by the clock, since rows have clock times",
        'State it in session.toml: start = "08:00" under [session] (or in [[runs]]).',
    ),
    "no_zone": (
        "clock-no-zone",
        "a date and time zone of the session, since this time has an offset from UTC",
        "State date and timezone in session.toml under [session], or write the time without "
        "offset.",
    ),
    "which_day": (
        "clock-which-day",
        "a date, since this time may be of either of two days",
        "Write the date of this row in the date column.",
    ),
    "skipped_hour": (
        "clock-skipped",
        "a time that was shown: the clocks were put forward over this one",
        "Correct the time, or write it with its offset from UTC as 2026-03-29T02:30+01:00.",
    ),
    "repeated_hour": (
        "clock-repeated",
        "which of two: the clocks were put back and this time came twice",
        "Write it with date and offset from UTC as 2026-10-25T02:30+02:00, or add the elapsed "
        "minutes.",
    ),
}


def _tell_problems(
    problem: NDArray[np.int8], rows: NDArray[np.intp], number: int, at: _Context
) -> None:
    for name, (rule, expected, remedy) in TELL.items():
        ours = rows[problem == PROBLEMS.index(name)]
        if not ours.size:
            continue
        texts = [at.log.text("clock", int(r)) for r in ours[:MOST_ALIKE]]
        if name in ("no_start", "no_zone"):
            more = f" and {ours.size - 1} more clock times" if ours.size > 1 else ""
            at.notes.add(
                rule,
                row=int(ours[0]),
                column="clock",
                found=quoted(texts[0]) + more,
                expected=expected,
                remedy=remedy,
                run=number,
            )
        else:
            at.notes.add_rows(rule, ours, texts, column="clock", expected=expected, remedy=remedy)


def _tell_disagreement(
    difference: NDArray[np.float64],
    tolerance: NDArray[np.float64],
    rows: NDArray[np.intp],
    number: int,
    at: _Context,
) -> None:
    """Tell once for a run that clock and elapsed times do not agree."""
    off = np.flatnonzero(np.abs(difference) > tolerance + 1e-9)
    if not off.size:
        return
    worst = off[np.argmax(np.abs(difference[off]))]
    row = int(rows[worst])
    more = f"; {off.size - 1} more rows disagree" if off.size > 1 else ""
    sign = "later" if difference[worst] > 0 else "earlier"
    at.notes.add(
        "clock-elapsed",
        row=row,
        column="elapsed_min",
        severity="caution",
        run=number,
        found=f"{quoted(at.log.text('elapsed_min', row))} beside the clock time "
        f"{quoted(at.log.text('clock', row))}, which is {abs(difference[worst]):.3g} min "
        f"{sign}{more}",
        expected="clock and elapsed time that agree as far as they were noted",
        remedy="The clock time is used; correct the wrong one, or the start of the session.",
    )


def _tell_outside(
    t_min: NDArray[np.float64],
    rows: NDArray[np.intp],
    number: int,
    stop: float | None,
    at: _Context,
) -> None:
    """Tell observations long before the start or long after the stop: a wrong date, mostly."""
    measured = at.log.is_event(*MEASURED)[rows]
    late = np.inf if stop is None else stop + SLACK_MIN
    for outside, what, key in (
        (measured & (t_min < -SLACK_MIN), "before the start", "start"),
        (measured & (t_min > late), "after the stop", "stop"),
    ):
        ours = rows[outside]
        if not ours.size:
            continue
        row = int(ours[0])
        column = "clock" if at.log.filled["clock"][row] else "elapsed_min"
        limit = 0.0 if stop is None or key == "start" else stop
        more = f"; {ours.size - 1} more rows are" if ours.size > 1 else ""
        at.notes.add(
            "time-outside",
            row=row,
            column=column,
            run=number,
            found=f"{quoted(at.log.text(column, row))}, which is "
            f"{abs(t_min[outside][0] - limit):.0f} min {what}{more}",
            expected="times between the start and the stop of the run",
            remedy=f"Correct the date or time, or the {key} of the run.",
        )
