"""What is left of a session that is not over: phases, hours, and who powers off next.

From the log so far the rates of this very day are taken (`kit.plan.earlier.session_rates`), from
the setup file what is still to come, and every device is followed from its last percentage on as
`kit.plan.predict` follows it from 100 %. On part of the way the errors of its gauge do not cancel:
its last percentage is taken as anything within the stated ± A of its charge, and so are the ends of
the drains that its rates come from. That it is still on is known: a power-off before its last
percentage is left out, P(T ≤ t | T > t₀) = (F(t) − F(t₀))/(1 − F(t₀)). Derived in
docs/planning.md; the coverage of the windows is tested on simulated days.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot, isfinite, sqrt
from typing import TYPE_CHECKING

import numpy as np

from kit.plan.earlier import pooled, session_rates
from kit.plan.predict import Course, Rate, between, course
from kit.plan.timetable import BETWEEN, Activity

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.plan.earlier import Rates
    from kit.session import Phase, Session

    Floats = NDArray[np.float64]

__all__ = ["Expected", "PhaseLeft", "RestOfDay", "rest_of_day"]

COVERAGE = 0.9
READING_U_PCT = 1.0 / sqrt(12.0)
"""Standard uncertainty of a whole percentage."""
BEGUN = ("clock", "elapsed", "reading")
NEW_ACTIVITY_U = 0.2
"""Relative standard uncertainty of the rate of an activity that was not measured yet, at least
(common practice, no source)."""
NOTED = ("clock", "elapsed")
NAN = float("nan")
ALMOST_SURE = 0.99
"""A device that is on although it was surely expected off is followed all the same."""


@dataclass(frozen=True, kw_only=True)
class PhaseLeft:
    """A phase that is not over; ``minutes`` are those still planned, ``None`` = open end."""

    phase: str
    running: bool
    minutes: float | None


@dataclass(frozen=True, kw_only=True)
class Expected:
    """When a device that is on is expected to power off (min since the start of the run).

    Parameters
    ----------
    soc_pct, seen_min
        Its last percentage, and when it was read.
    expected_min, low_min, high_min
        Median and central window; NaN when no rate is known yet, infinite beyond a week.
    p_next
        Chance that it is the next to power off.
    """

    device: str
    soc_pct: float
    seen_min: float
    expected_min: float
    low_min: float
    high_min: float
    p_next: float


@dataclass(frozen=True, kw_only=True)
class RestOfDay:
    """What is left of the run that is going on.

    Parameters
    ----------
    now_min
        The last observation (min since the start).
    phases
        In order, the running one first.
    devices
        Those not known to be off, the one expected to go first first.
    last
        When the last of them is expected to be off; ``None`` when a device has no forecast.
    """

    run: int
    now_min: float
    coverage: float
    phases: tuple[PhaseLeft, ...]
    devices: tuple[Expected, ...]
    last: Expected | None

    @property
    def planned_min(self) -> float:
        """Return the minutes of all phases left that have a planned length."""
        return sum(p.minutes for p in self.phases if p.minutes is not None)


def rest_of_day(session: Session, *, coverage: float = COVERAGE) -> RestOfDay | None:
    """Return what is left of a session; ``None`` when it is over.

    It is going on while a device is neither off nor seen on at the stop, no stop is stated, and a
    phase of the setup file has not ended.

    Parameters
    ----------
    coverage
        Probability of the windows.
    """
    if not session.has_setup or not session.phases:
        return None
    spans = session.spans[session.spans["start_source"].isin(BEGUN)]
    if spans.empty:
        return None
    run = int(spans["run"].max())
    if any(r.number == run and r.stop_min is not None for r in session.runs):
        return None
    ended = set(session.power_offs.loc[session.power_offs["run"] == run, "device"])
    on = [d.id for d in session.devices if d.id not in ended]
    now = _now(session, run)
    left = _left(session, run, now)
    if not on or not left or not isfinite(now):
        return None
    rates = session_rates(session, measurand="true_charge")
    seen = {d: _last_reading(session, run, d) for d in on}
    found = {d: _course(session, run, d, seen[d], left, now, rates) for d in on}
    known = {d: c for d, c in found.items() if c is not None}
    grid = _grid(known.values())
    off = {d: np.interp(grid, c.t_min, c.p_off, left=0.0) for d, c in known.items()}
    next_ = _chances_first(off)
    devices = [
        _expected(d, seen[d], found[d], p_next=next_.get(d, NAN), coverage=coverage) for d in on
    ]
    devices.sort(key=lambda e: (not isfinite(e.expected_min), e.expected_min))
    last = None
    if len(known) == len(on):
        level = np.full(grid.size, NAN)
        everyone = np.prod(np.stack(list(off.values())), axis=0)
        course_ = Course(device="", t_min=grid, soc_pct=level, soc_u_pct=level, p_off=everyone)
        last = _expected("", (NAN, now), course_, p_next=NAN, coverage=coverage)
    return RestOfDay(
        run=run, now_min=now, coverage=coverage, phases=left, devices=tuple(devices), last=last
    )


def _now(session: Session, run: int) -> float:
    """Return the time of the last observation (min since the start), NaN if none has any."""
    spans = session.spans[(session.spans["run"] == run)]
    noted = [
        *spans.loc[spans["start_source"].isin(BEGUN), "start_min"],
        *spans.loc[spans["end_source"].isin(NOTED), "end_min"],
        *session.readings.loc[session.readings["run"] == run, "t_min"],
        *session.temperatures.loc[session.temperatures["run"] == run, "t_min"],
        *session.power_offs.loc[session.power_offs["run"] == run, "noted_min"],
    ]
    return max((float(t) for t in noted if isfinite(t)), default=NAN)


def _left(session: Session, run: int, now: float) -> tuple[PhaseLeft, ...]:
    """Return the phases that have not ended: the last that was begun, and those after it."""
    spans = session.spans[session.spans["run"] == run].set_index("phase")
    begun = [p.id for p in session.phases if _source(spans, p.id, "start_source") in BEGUN]
    last = session.phases[[p.id for p in session.phases].index(begun[-1])] if begun else None
    found: list[PhaseLeft] = []
    if last is not None and not _over(session, run, spans, last):
        minutes: float | None = None
        if last.planned_min is not None:
            minutes = max(0.0, _time(spans, last.id, "start_min") + last.planned_min - now)
        found.append(PhaseLeft(phase=last.id, running=True, minutes=minutes))
    after = session.phases[session.phases.index(last) + 1 :] if last else session.phases
    found += [PhaseLeft(phase=p.id, running=False, minutes=p.planned_min) for p in after]
    return tuple(found)


def _source(spans: pd.DataFrame, phase: str, column: str) -> str:
    return str(spans.at[phase, column]) if phase in spans.index else ""


def _time(spans: pd.DataFrame, phase: str, column: str) -> float:
    times = spans[column].to_numpy(dtype=np.float64)[spans.index == phase]
    return float(times[0]) if times.size else NAN


def _over(session: Session, run: int, spans: pd.DataFrame, phase: Phase) -> bool:
    """Whether the end of a phase was noted, or read."""
    frame = session.readings
    read = (frame["run"] == run) & (frame["phase"] == phase.id) & (frame["point"] == "end")
    return _source(spans, phase.id, "end_source") in NOTED or bool(read.any())


def _last_reading(session: Session, run: int, device: str) -> tuple[float, float]:
    """Return the last percentage of a device, and when it was read; NaN if there is none."""
    frame = session.readings
    mine = frame[(frame["run"] == run) & (frame["device"] == device) & frame["soc_pct"].notna()]
    times, socs = (mine[c].to_numpy(dtype=np.float64) for c in ("t_min", "soc_pct"))
    if np.isnan(times).all():
        return NAN, NAN
    at = int(np.nanargmax(times))
    return float(socs[at]), float(times[at])


# ------------------------------------------------------------------ the course


def _course(
    session: Session, run: int, device: str, seen: tuple[float, float],
    left: Sequence[PhaseLeft], now: float, rates: Rates,
) -> Course | None:  # fmt: skip
    """Return the course of a device from its last percentage on, on the clock of the run."""
    soc, since = seen
    own = {a: pooled(v) for (d, a), v in rates.items() if d == device}
    if not own or not isfinite(soc):
        return None
    known = {a: Rate(pp_per_h=r, u_pp_per_h=u, source="session") for a, (r, u) in own.items()}
    measured = [rate for rate, _ in own.values()]
    dark = {p.activity or p.id for p in session.phases if p.screen_on is False}
    stretches = tuple(_from(_stretches(session, run, device, left, now), since))
    names = {s.name for s in stretches} - {BETWEEN}
    made = course(
        stretches,
        {
            n: known[n]
            if n in known
            else between(0.0, min(measured))
            if n in dark
            else _new_activity(measured)
            for n in names
        },
        device=device,
        cv=session.assumptions.run_unit_cv,
        gap_rate_factor=session.assumptions.gap_rate_factor,
        off_pct_max=session.assumptions.off_pct_max,
        start_pct=soc,
        start_u_pct=hypot(READING_U_PCT, session.assumptions.gauge_error_pp / sqrt(3.0)),
    )
    before = min(float(made.p_off[0]), ALMOST_SURE)
    return replace(made, t_min=made.t_min + since, p_off=(made.p_off - before) / (1.0 - before))


def _new_activity(rates: Sequence[float]) -> Rate:
    """Return what can be expected of an activity that was not measured yet.

    Notes
    -----
    The mean of the others, with the standard uncertainty of one more of their kind, s·√(1 + 1/n),
    and at least `NEW_ACTIVITY_U` of the mean.

    Examples
    --------
    10 and 20 pp/h: 15 pp/h, s = 7.07, u = 7.07 × 1.225 = 8.66.

    >>> found = _new_activity([10.0, 20.0])
    >>> found.pp_per_h, round(found.u_pp_per_h, 2)
    (15.0, 8.66)
    """
    n, mean = len(rates), float(np.mean(rates))
    scatter = float(np.std(rates, ddof=1)) * sqrt(1.0 + 1.0 / n) if n > 1 else 0.0
    return Rate(
        pp_per_h=mean, u_pp_per_h=max(scatter, NEW_ACTIVITY_U * mean), source="session"
    )  # fmt: skip


def _stretches(
    session: Session, run: int, device: str, left: Sequence[PhaseLeft], now: float
) -> Iterator[Activity]:
    """Yield what a device did and will do, in order; the last stretch has an open end."""
    spans = session.spans[session.spans["run"] == run].set_index("phase")
    rest = {p.phase: p for p in left}
    at = 0.0
    for number, phase in enumerate(session.phases, start=1):
        if phase.id in rest and not rest[phase.id].running:
            start = max(at, now)
        else:
            start = _time(spans, phase.id, "start_min")
        if not isfinite(start):
            continue
        if start > at:
            yield Activity(start_min=at, end_min=start, name=BETWEEN)
        if phase.id in rest:
            minutes = rest[phase.id].minutes
            end = None if minutes is None else max(start, now) + minutes
            end = end if rest[phase.id].running or minutes is None else start + minutes
        else:
            end = _time(spans, phase.id, "end_min")
        is_last = number == len(session.phases)
        yield from _within(phase, device, start, None if is_last else end)
        if end is None:
            return
        at = max(at, end)


def _within(phase: Phase, device: str, start: float, end: float | None) -> Iterator[Activity]:
    """Yield what a device does in one phase."""
    if not phase.is_split or phase.parts is None or end is None:
        name = phase.parts[1] if phase.is_split and phase.parts else phase.activity
        yield Activity(start_min=start, end_min=end, name=name or phase.id, phase=phase.id)
        return
    first, second = phase.parts
    half = start + (end - start) / 2.0
    if phase.kind == "crossover" and not phase.planned_turns:
        limited = [(start, half) if device in phase.first_half else (half, end)]
    elif phase.planned_turns:
        limited = [
            (start + t.start_min, min(start + t.end_min, end))
            for t in phase.planned_turns
            if device in t.devices and start + t.start_min < end
        ]
    else:  # when its turn is, is not known: in the middle
        turn = min(phase.turn_min or 0.0, end - start)
        limited = [(half - turn / 2.0, half + turn / 2.0)]
    at = start
    for begin, finish in limited:
        if begin > at:
            yield Activity(start_min=at, end_min=begin, name=second, phase=phase.id)
        yield Activity(start_min=begin, end_min=finish, name=first, phase=phase.id)
        at = finish
    if end > at:
        yield Activity(start_min=at, end_min=end, name=second, phase=phase.id)


def _from(stretches: Iterator[Activity], since: float) -> Iterator[Activity]:
    """Yield what is left of the stretches after a time, on a clock that begins there."""
    for s in stretches:
        end = None if s.end_min is None else s.end_min - since
        if end is None or end > 0.0:
            yield replace(s, start_min=max(s.start_min - since, 0.0), end_min=end)


# ------------------------------------------------------------------ who is next


def _grid(courses: Iterable[Course]) -> Floats:
    """Return the minutes from the first to the last time of some courses."""
    spans = [(float(c.t_min[0]), float(c.t_min[-1])) for c in courses]
    low, high = min((a for a, _ in spans), default=0.0), max((b for _, b in spans), default=0.0)
    return np.arange(np.floor(low), np.ceil(high) + 1.0)


def _chances_first(off: Mapping[str, Floats]) -> dict[str, float]:
    """Return the chance of each device to power off before all others, taken as independent.

    Notes
    -----
    P(i first) = Σ_t (F_i(t) − F_i(t − 1))·Π_{j≠i}(1 − (F_j(t) + F_j(t − 1))/2); two in the same
    minute come either way.
    """
    middle = {d: np.append(1.0 - p[0], 1.0 - (p[1:] + p[:-1]) / 2.0) for d, p in off.items()}
    return {
        d: float(
            np.sum(
                np.diff(p, prepend=0.0)
                * np.prod([m for other, m in middle.items() if other != d], axis=0)
            )
        )
        for d, p in off.items()
    }


def _expected(
    device: str, seen: tuple[float, float], found: Course | None, *, p_next: float, coverage: float
) -> Expected:
    wanted = (0.5, (1.0 - coverage) / 2.0, (1.0 + coverage) / 2.0)
    middle, low, high = (NAN,) * 3 if found is None else found.quantiles(wanted).tolist()
    return Expected(
        device=device, soc_pct=seen[0], seen_min=seen[1], expected_min=middle, low_min=low,
        high_min=high, p_next=p_next,
    )  # fmt: skip
