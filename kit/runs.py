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

from kit.cells import quoted
from kit.clock import DAY_S, ClockTime, TimeCells, moment, time_cells
from kit.errors import Finding
from kit.session import Run
from kit.timeline import PROBLEMS, RunClock, near_time, resolve_times, utc_offsets

if TYPE_CHECKING:
    from datetime import tzinfo

    from numpy.typing import NDArray

    from kit.cells import Collector
    from kit.session_csv import Log
    from kit.setup_file import RunSetup, Setup
    from kit.timeline import Problem

__all__ = ["TELL", "RunTimes", "log_times"]

MIDNIGHT_SLACK_MIN = 120.0
"""A stop without a date is the first one not more than this before the last row."""


@dataclass(frozen=True, kw_only=True)
class RunTimes:
    """One run: its clock, and the times of its rows (rows of other runs are NaN).

    Parameters
    ----------
    rows
        Which rows of the log belong to it.
    t_min, resolution_min, source
        As in :class:`kit.timeline.RowTimes`, for all rows of the log.
    """

    run: Run
    clock: RunClock
    rows: NDArray[np.bool_]
    t_min: NDArray[np.float64]
    resolution_min: NDArray[np.float64]
    source: NDArray[np.int8]
    stop_resolution_min: float = 0.0


def log_times(
    setup: Setup, log: Log, notes: Collector, *, setup_file: str
) -> tuple[list[RunTimes], list[Finding]]:
    """Place all rows of a log.

    Parameters
    ----------
    setup_file
        Name of the setup file; "" if there is none.

    Returns
    -------
    runs
        One entry for each run, by number.
    findings
        What is wrong in the setup file; what is wrong in the log goes to ``notes``.
    """
    findings: list[Finding] = []
    given = {r.number: r for r in setup.runs}
    found = sorted(pd.unique(log.run).tolist())
    if setup.numbered_runs:
        for number in found:
            if number not in given:
                rows = np.flatnonzero((log.run == number) & log.filled["run"])
                at = int(rows[0]) if rows.size else int(np.flatnonzero(log.run == number)[0])
                notes.add(
                    "run-unknown",
                    row=at,
                    column="run",
                    run=number,
                    found=f"run {number}{'' if rows.size else ' (the cell is blank)'}",
                    expected=f"a run of [[runs]] in {setup_file}: "
                    f"{', '.join(map(str, sorted(given)))}",
                    remedy="Correct the number, or add the run to the setup file.",
                )
    runs = []
    for number in sorted({*given, *found} if setup.numbered_runs else set(found) or {1}):
        ours = log.run == number
        said = given.get(number)
        if said is None:
            said = replace(setup.runs[0], start=None, stop=None, stated_elapsed_min=None)
        runs.append(_one_run(number, said, setup, log, ours, notes, setup_file, findings))
    return runs, findings


def _one_run(
    number: int,
    said: RunSetup,
    setup: Setup,
    log: Log,
    rows: NDArray[np.bool_],
    notes: Collector,
    setup_file: str,
    findings: list[Finding],
) -> RunTimes:
    clock = _run_clock(number, said, setup, log, rows, notes, setup_file, findings)
    index = np.flatnonzero(rows)
    clocks, elapsed = log.clock, log.elapsed
    if index.size < len(log):
        clocks, elapsed = clocks.take(index), elapsed.take(index)
    times = resolve_times(clocks, elapsed, clock)
    _tell_problems(times.problem, index, log, clock, number, notes)
    tolerance = times.resolution_min + log.elapsed.resolution_min[index] + clock.resolution_min
    _tell_disagreement(times.disagreement_min, tolerance, index, log, number, notes)
    full = {
        "t_min": np.full(len(log), np.nan),
        "resolution_min": np.full(len(log), np.nan),
    }
    full["t_min"][index] = times.t_min
    full["resolution_min"][index] = times.resolution_min
    source = np.zeros(len(log), dtype=np.int8)
    source[index] = times.source
    stop = _stop(said, clock, times.t_min)
    run = Run(
        number=number,
        start=clock.start,
        stop_min=stop,
        stated_elapsed_min=said.stated_elapsed_min,
    )
    return RunTimes(
        run=run,
        clock=clock,
        rows=rows,
        source=source,
        **full,
        stop_resolution_min=0.0 if said.stop is None else said.stop.resolution_min,
    )


def _run_clock(
    number: int,
    said: RunSetup,
    setup: Setup,
    log: Log,
    rows: NDArray[np.bool_],
    notes: Collector,
    setup_file: str,
    findings: list[Finding],
) -> RunClock:
    zone: tzinfo | None = ZoneInfo(setup.timezone) if setup.timezone else None
    start = said.start
    if start is None:
        start = _start_from_log(number, setup, log, rows, notes, has_setup=bool(setup_file))
        if start is None:
            return RunClock()
    day = start.day
    date = said.date or (setup.date if number == 1 or not setup.numbered_runs else None)
    if day is None and date is not None:
        day = date.toordinal()
    if day is None:
        day = _day_from_log(start.second, log, rows)
    if zone is None and start.offset_s is not None:
        zone = timezone(timedelta(seconds=start.offset_s))
    clock = RunClock(
        day=day or 1,
        second=start.second,
        zone=zone if day else None,
        resolution_min=start.resolution_min,
    )
    if clock.zone is not None and said.start is not None:
        clock = _checked_zone(clock, start, number, setup, setup_file, findings)
    if said.stop is not None and said.stop.day is not None:
        latest = resolve_times(time_cells([said.stop]), _blank(1), clock).t_min[0]
        clock = replace(clock, latest_min=None if np.isnan(latest) else float(latest))
    return clock


def _checked_zone(
    clock: RunClock,
    start: ClockTime,
    number: int,
    setup: Setup,
    setup_file: str,
    findings: list[Finding],
) -> RunClock:
    """Settle a start near a change of the clocks, or tell that it cannot be."""
    assert clock.zone is not None
    assert clock.second is not None
    early, late = utc_offsets(np.array([clock.day * DAY_S + clock.second]), clock.zone)
    if start.offset_s is not None:
        if start.offset_s == late[0]:
            return replace(clock, fold=1 if late[0] != early[0] else 0)
        if start.offset_s == early[0]:
            return clock
        found = f"an offset of {_hours(start.offset_s)} from UTC"
        expected = f"{_hours(early[0])}, as {setup.timezone} has it then"
    elif late[0] > early[0]:
        found = "a time that did not exist: the clocks were put forward over it"
        expected = f"a time that was shown in {setup.timezone}"
    elif late[0] < early[0]:
        found = "a time that came twice: the clocks were put back"
        expected = "the offset from UTC with it"
    else:
        return clock
    key = f"runs[{number}].start" if setup.numbered_runs else "session.start"
    findings.append(
        Finding(
            rule="start-zone",
            severity="error",
            file=setup_file,
            column=key,
            found=found,
            expected=expected,
            remedy="Write date, time and offset: "
            f'"{moment(clock.day, clock.second):%Y-%m-%dT%H:%M}+01:00".',
        )
    )
    return clock


def _hours(offset_s: float) -> str:
    sign = "−" if offset_s < 0 else "+"
    minutes = round(abs(offset_s) / 60)
    return f"{sign}{minutes // 60:02d}:{minutes % 60:02d}"


def _start_from_log(
    number: int,
    setup: Setup,
    log: Log,
    rows: NDArray[np.bool_],
    notes: Collector,
    *,
    has_setup: bool,
) -> ClockTime | None:
    """Return the start as the log has it; ``None`` if it has none or needs none."""
    with_clock = rows & np.isfinite(log.clock.second)
    needed = with_clock & ~np.isfinite(log.elapsed.elapsed_min)
    if not needed.any():
        return None
    first_phase = (setup.phases[0].id,) if setup.phases else log.names("phase")[:1]
    begins = with_clock & log.is_event("phase_start") & log.holds("phase", *first_phase)
    if begins.any():
        row = int(np.flatnonzero(begins)[0])
        known_by = "the start of the first phase"
    elif has_setup:
        return None
    else:
        row = int(np.flatnonzero(with_clock)[0])
        known_by = "the first clock time of the log"
    notes.add(
        "start-from-log",
        row=row,
        column="clock",
        severity="note",
        run=number,
        found=f"{quoted(log.text('clock', row))} as {known_by}",
        expected="the start of the run in a setup file",
        remedy="Times count from here; state the start in session.toml if it was another.",
    )
    return ClockTime(
        second=float(log.clock.second[row]),
        resolution_min=float(log.clock.resolution_min[row]),
        day=_whole(log.clock.day[row]),
        offset_s=None if np.isnan(log.clock.offset_s[row]) else float(log.clock.offset_s[row]),
    )


def _whole(value: float) -> int | None:
    return None if np.isnan(value) else int(value)


def _day_from_log(second: float, log: Log, rows: NDArray[np.bool_]) -> int | None:
    """Return the day of a start without a date from the first dated row after it."""
    dated = np.flatnonzero(rows & np.isfinite(log.clock.day) & np.isfinite(log.clock.second))
    if not dated.size:
        return None
    row = dated[0]
    before = log.clock.second[row] < second - MIDNIGHT_SLACK_MIN * 60
    return int(log.clock.day[row]) - int(before)


def _blank(size: int) -> TimeCells:
    nan = np.full(size, np.nan)
    return TimeCells(
        second=nan,
        day=nan,
        offset_s=nan,
        elapsed_min=nan,
        resolution_min=nan,
        bad=np.zeros(size, dtype=bool),
    )


def _stop(said: RunSetup, clock: RunClock, t_min: NDArray[np.float64]) -> float | None:
    if said.stop is None or clock.second is None:
        return None
    last = float(np.nanmax(t_min)) if np.isfinite(t_min).any() else np.nan
    cells = time_cells([said.stop])
    stop = near_time(cells, np.array([np.nan]), clock).t_min[0]
    if said.stop.day is None and last - MIDNIGHT_SLACK_MIN > stop:
        days = np.ceil((last - MIDNIGHT_SLACK_MIN - stop) / (DAY_S / 60))
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
    problem: NDArray[np.int8],
    index: NDArray[np.intp],
    log: Log,
    clock: RunClock,
    number: int,
    notes: Collector,
) -> None:
    for name, (rule, expected, remedy) in TELL.items():
        rows = index[problem == PROBLEMS.index(name)]
        if not rows.size:
            continue
        texts = [log.text("clock", int(r)) for r in rows]
        if name in ("no_start", "no_zone"):
            more = f" and {rows.size - 1} more clock times" if rows.size > 1 else ""
            notes.add(
                rule,
                row=int(rows[0]),
                column="clock",
                found=quoted(texts[0]) + more,
                expected=expected,
                remedy=remedy,
                run=number,
            )
        else:
            notes.add_rows(rule, rows, texts, column="clock", expected=expected, remedy=remedy)


def _tell_disagreement(
    difference: NDArray[np.float64],
    tolerance: NDArray[np.float64],
    index: NDArray[np.intp],
    log: Log,
    number: int,
    notes: Collector,
) -> None:
    """Tell once for a run that clock and elapsed times do not agree."""
    off = np.flatnonzero(np.abs(difference) > tolerance + 1e-9)
    if not off.size:
        return
    worst = off[np.argmax(np.abs(difference[off]))]
    row = int(index[worst])
    more = f"; {off.size - 1} more rows disagree" if off.size > 1 else ""
    sign = "later" if difference[worst] > 0 else "earlier"
    notes.add(
        "clock-elapsed",
        row=row,
        column="elapsed_min",
        severity="caution",
        run=number,
        found=f"{quoted(log.text('elapsed_min', row))} beside the clock time "
        f"{quoted(log.text('clock', row))}, which is {abs(difference[worst]):.3g} min {sign}{more}",
        expected="clock and elapsed time that agree as far as they were noted",
        remedy="The clock time is used; correct the wrong one, or the start of the session.",
    )
