"""Whether the log has the dates that the setup file says.

Clock times of a log are placed by their dates. Where those are not of the day that the setup file
names, every runtime is a day or more too long, and nothing else in the record shows it.
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.read.clock import DAY_S
from kit.read.timeline import SOURCES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.read.cells import Collector
    from kit.read.log import Log
    from kit.read.setup_file import RunSetup, Setup
    from kit.read.timeline import RowTimes, RunClock
    from kit.read.toml_table import Notes

__all__ = ["MEASURED", "OTHER_DAY_MIN", "dates_apart", "tell_dates"]

MEASURED = ("reading", "tick", "power_off", "still_on", "phase_start", "phase_end", "turn")
"""Events that belong between start and stop; charging and notes may come before or after."""

OTHER_DAY_MIN = 12 * 60.0
"""What begins so far from a time of day began nearer to that time on another day (min)."""

NO_EFFECT = "No runtime hangs on it, but the report shows it."


class _Said(NamedTuple):
    """A day that the setup file says, and the key under which it stands."""

    day: int
    key: str


class _Began(NamedTuple):
    """The row with which a run began.

    ``surely``: it is the start of the first phase, not only the first reading that there is.
    """

    row: int
    day: int
    t_min: float
    by_clock: bool
    surely: bool


def dates_apart(planned: date, began: date, *, what: str = "the first phase") -> str:
    """Return in words that a session began on another day than was written down; "" if not.

    Examples
    --------
    >>> dates_apart(date(2026, 5, 16), date(2026, 5, 17))
    '2026-05-16, the first phase started on 2026-05-17'
    >>> dates_apart(date(2026, 5, 16), date(2026, 5, 16))
    ''
    """
    return "" if planned == began else f"{planned}, {what} started on {began}"


def tell_dates(
    said: RunSetup,
    clock: RunClock,
    times: RowTimes,
    rows: NDArray[np.intp],
    *,
    setup: Setup,
    log: Log,
    notes: Collector,
    setup_notes: Notes,
) -> bool:
    """Tell that a run began on another day than the setup file says.

    Parameters
    ----------
    said
        What the setup file says of the run.
    clock
        Its start, as it was taken.
    times
        Of its rows, as they were placed.
    rows
        Its rows in the log.
    setup, log
        All that both files say.
    notes, setup_notes
        The finding goes to those of the setup file; those of the log name the row.

    Returns
    -------
    bool
        Whether the times of the run are wrong because of it: then an error was told.
    """
    dated, start = _dates_said(said, setup)
    if dated is not None and start is not None and dated.day != start.day:
        setup_notes.add(
            "date-differs",
            dated.key,
            severity="caution",
            found=f"{_date(dated.day)}, beside a start on {_date(start.day)}",
            expected="the day of the start",
            remedy="Times count from the start, and the report shows the date: correct the "
            "wrong one.",
            run=said.number,
        )
    told = start or dated
    began = None if told is None else _began(times, rows, setup, log)
    if told is None or began is None:
        return False
    shifted = began.by_clock and abs(began.t_min) >= OTHER_DAY_MIN
    if shifted:
        day = told.day
    elif began.by_clock and said.start is not None:
        return False
    else:
        day = told.day + int(((clock.second or 0.0) + 60.0 * began.t_min) // DAY_S)
    what = "the first phase" if began.surely else "the log"
    found = dates_apart(_date(day), _date(began.day), what=what)
    if not found:
        return False
    wrong = shifted and began.surely
    setup_notes.add(
        "date-differs",
        told.key,
        severity="error" if wrong else "caution",
        found=f"{found} ({notes.file}, line {notes.lines[began.row]})",
        expected="the day on which the log begins",
        remedy=f"If the session was on {_date(began.day)}, correct the date here, otherwise the "
        f"dates in the log. {_effect(began.t_min) if shifted else NO_EFFECT}",
        run=said.number,
    )
    return wrong


def _dates_said(said: RunSetup, setup: Setup) -> tuple[_Said | None, _Said | None]:
    """Return the date of a run and that of its start, each ``None`` if it was not stated."""
    table = "session"
    if setup.numbered_runs:
        place = next((i for i, r in enumerate(setup.runs, start=1) if r is said), 1)
        table = f"runs[{place}]"
    dated = None
    if said.date is not None:
        dated = _Said(said.date.toordinal(), f"{table}.date")
    elif setup.date is not None and said.number == 1:
        dated = _Said(setup.date.toordinal(), "session.date")
    if said.start is None or said.start.day is None:
        return dated, None
    return dated, _Said(said.start.day, f"{table}.start")


def _began(times: RowTimes, rows: NDArray[np.intp], setup: Setup, log: Log) -> _Began | None:
    """Return the row with which a run began; ``None`` if it has no date or there is none."""
    days = log.clock.day[rows]
    if np.isnan(days).all():
        return None
    names = (setup.phases[0].id,) if setup.phases else log.names("phase")[:1]
    first = log.holds("phase", *names)
    starts = (log.is_event("phase_start") | log.holds("point", "start")) & first
    timed = np.isfinite(times.t_min)
    at = np.flatnonzero(timed & starts[rows])
    surely = at.size > 0
    if not surely:
        at = np.flatnonzero(timed & log.is_event(*MEASURED)[rows])
    if not at.size:
        return None
    nearest = int(at[np.argmin(np.abs(times.t_min[at]))])  # a slip in one row is told at that row
    row = int(rows[nearest])
    # a power-off or a later phase, if nothing before it was noted, may be long after the start
    early = log.is_event("reading", "tick")[row] and not log.text("phase", row)
    early = early and times.t_min[nearest] >= 0
    if np.isnan(days[nearest]) or not (surely or early):
        return None
    return _Began(
        row=row,
        day=int(days[nearest]),
        t_min=float(times.t_min[nearest]),
        by_clock=SOURCES[times.source[nearest]] == "clock",
        surely=surely,
    )


def _date(day: int) -> date:
    return date.fromordinal(day)


def _effect(t_min: float) -> str:
    """Return what a wrong day does to the times of a run."""
    hours = 24 * round(abs(t_min) * 60.0 / DAY_S)
    if t_min < 0:
        return f"As it stands, the log begins {hours} h before the start."
    return f"As it stands, every runtime is {hours} h too long."
