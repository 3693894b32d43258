"""Hard bounds of power-off times, from what was noted.

A device was on whenever a percentage could be read from it, and at "last seen on"; it was off
at "first seen off", or at the minute noted for its power-off. The power-off lies between the
two, widened by how a clock shows minutes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.drain.last_seen import MINUTE, boundary_times, last_seen, seen_on, tail_min
from kit.session import columns_of
from kit.stats.order import least_lead, p_longer, surely_above
from kit.stats.uncertainty import u_between

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from kit.drain.last_seen import LastSeen, Seen
    from kit.session import Run, Session

    Flags = NDArray[np.bool_]
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = [
    "OffNote",
    "OffRecord",
    "OffTimes",
    "bounds_of",
    "clock_margins",
    "compared_bounds",
    "lead_roundings",
    "off_record",
    "off_times",
]

RuntimeStatus = Literal["observed", "still_on", "not_recorded"]
LastLook = Literal["reading", "change of the display"]
"""What was last read off a display: a reading, or a change that was noted as it happened."""

_ROUNDINGS = ("floor", "nearest")
"""What an unknown rounding of the clock may be."""


@dataclass(frozen=True, kw_only=True)
class OffTimes:
    """Bounds of the power-off of every device in one run, in session order.

    Parameters
    ----------
    run
        Number of the run.
    low, high
        Shape (n,), minutes since the run's start as the record counts them; ``high = inf``:
        not seen off; both NaN: nothing known.
    ramp
        Shape (n,). How uncertain the looks are that bound the power-off (min).
    start_low, start_high
        Shape (n,). Bounds (min) of the true start of each device on the same scale.
    own_start
        Whether starts differ by device, so that their errors do not cancel between devices.
    tail
        Shape (n,). Minutes that a device not seen off can still run; NaN for the others.
    last_soc
        Shape (n,). Percentage last seen (%), NaN if none.
    least_lead
        Shape (n, n). ``least_lead[i, j]``: i ran at least this much longer than j (min),
        whatever the notes leave open; see :func:`kit.stats.order.least_lead`.
    status, basis
        Length n. ``observed``, ``still_on`` or ``not_recorded``, and how it is known, in words.
    """

    run: int
    low: Floats
    high: Floats
    ramp: Floats
    start_low: Floats
    start_high: Floats
    own_start: bool
    tail: Floats
    last_soc: Floats
    least_lead: Floats
    status: tuple[RuntimeStatus, ...]
    basis: tuple[str, ...]

    @property
    def runtime_low(self) -> Floats:
        """Return the lower bounds of the runtimes (min)."""
        return np.maximum(self.low - self.start_high, 0.0)

    @property
    def runtime_high(self) -> Floats:
        """Return the upper bounds of the runtimes (min); inf = right-censored."""
        return self.high - self.start_low

    @property
    def order_low(self) -> Floats:
        """Return lower bounds for comparing devices: a start common to all is left out."""
        return self.runtime_low if self.own_start else self.low

    @property
    def order_high(self) -> Floats:
        """Return upper bounds for comparing devices: a start common to all is left out."""
        return self.runtime_high if self.own_start else self.high

    @cached_property
    def p_longer(self) -> Floats:
        """Return P(i ran longer than j), if power-offs are independent, shape (n, n)."""
        return p_longer(self.order_low, self.order_high, tail=self.tail, ramp=self.ramp)

    @cached_property
    def later(self) -> Flags:
        """Return which device surely ran longer than which: the one rule to claim an order by."""
        return surely_above(self.least_lead)

    @property
    def variance(self) -> Floats:
        """Return u² of the runtimes (min²): uniform windows of power-off and start."""
        return np.asarray(
            u_between(self.low, self.high) ** 2 + u_between(self.start_low, self.start_high) ** 2
        )


def clock_margins(rounding: str, resolution_min: float) -> tuple[float, float]:
    """Return how far before and after a noted time the true time can lie (min).

    Parameters
    ----------
    rounding
        ``floor``: a digital clock, 14:03 is shown from 14:03:00 to 14:03:59; ``nearest``;
        ``unknown``: either.
    resolution_min
        Step of the noted time (min).

    Raises
    ------
    ValueError
        For another name of a rounding.

    Examples
    --------
    >>> clock_margins("floor", 1.0), clock_margins("nearest", 1.0), clock_margins("unknown", 1.0)
    ((0.0, 1.0), (0.5, 0.5), (0.5, 1.0))
    """
    half = resolution_min / 2.0
    if rounding == "floor":
        return 0.0, resolution_min
    if rounding == "nearest":
        return half, half
    if rounding == "unknown":
        return half, resolution_min
    msg = f"clock rounding must be 'floor', 'nearest' or 'unknown', got {rounding!r}"
    raise ValueError(msg)


def _start_resolution(run: Run) -> float:
    """Return the step (min) to which the common start was noted; 0 for a stopwatch."""
    if run.start is None:
        return 0.0
    if run.start.second or run.start.microsecond:
        return MINUTE / 60.0
    return MINUTE


def _start_offsets(session: Session) -> tuple[Floats, bool]:
    """Return each device's own start (min after the run's), and whether any was recorded."""
    given = [device.conditions.get("start_offset_min") for device in session.devices]
    offsets = np.array([float(v) if isinstance(v, (int, float)) else 0.0 for v in given])
    return offsets, any(isinstance(v, (int, float)) for v in given)


def _first(*values: float) -> float:
    """Return the first value that is a number."""
    return next((v for v in values if not np.isnan(v)), float("nan"))


@dataclass(frozen=True, kw_only=True)
class OffNote:
    """What one row says of the power-off of one unit (min)."""

    phase: str
    still_on: bool
    noted: float
    last_on: float
    first_off: float
    resolution: float
    soc: float

    @property
    def off(self) -> float:
        """Return the time first seen off, else the one noted; NaN: none."""
        return _first(self.first_off, self.noted)

    @property
    def latest(self) -> float:
        """Return the time after which no reading can show the device on; inf: none known."""
        return math.inf if self.still_on or np.isnan(self.off) else self.off


def _notes(
    session: Session, devices: Mapping[str, int], runs: Mapping[int, int]
) -> dict[int, OffNote]:
    frame = session.power_offs
    columns = columns_of(
        frame, "run", "device", "phase", "still_on", "noted_min", "last_on_min", "first_off_min",
        "t_resolution_min", "soc_pct",
    )  # fmt: skip
    notes: dict[int, OffNote] = {}
    for run, device, phase, still_on, noted, on, off, resolution, soc in zip(
        *(column.tolist() for column in columns), strict=True
    ):
        if device in devices and run in runs:
            notes[runs[run] * len(devices) + devices[device]] = OffNote(
                phase=str(phase), still_on=bool(still_on), noted=noted, last_on=on, first_off=off,
                resolution=_first(resolution, MINUTE), soc=soc,
            )  # fmt: skip
    return notes


@dataclass(frozen=True, kw_only=True)
class _Bound:
    low: float
    high: float
    status: RuntimeStatus
    basis: str
    ramp: float = 0.0


def _observed(
    note: OffNote,
    last: float,
    last_margin: float,
    phase_end: float,
    session: Session,
    rounding: str,
    what: LastLook,
) -> _Bound:
    """Return the window of a power-off whose time, or at least whose phase, was noted."""
    before, after = clock_margins(rounding, note.resolution)
    watch = session.assumptions.off_check_min
    slope = before + after
    early, late = clock_margins(rounding, last_margin)
    candidates = [
        (note.last_on - before, slope, "last seen on"),
        (last - early, early + late, f"last {what}"),
        (-before, 0.0, "on at the start"),
    ]
    # what was noted of this very device goes before what is promised of all
    if watch is not None and not np.isnan(note.off) and np.isnan(note.last_on):
        words = f"looked at every {watch:g} min"
        candidates.append((note.off - watch - before, slope, words))
    low, ramp, since = max((c for c in candidates if not np.isnan(c[0])), key=lambda c: c[0])
    if np.isnan(note.off):
        high, until = phase_end + after + session.assumptions.reading_delay_min, "phase noted only"
        ramp = 0.0
    else:
        high = note.off + after
        until = "minute noted off" if np.isnan(note.first_off) else "first seen off"
        ramp = min(ramp, slope)
    return _Bound(
        low=min(low, high), high=high, status="observed", basis=f"{since}; {until}", ramp=ramp
    )


def _not_off(
    note: OffNote | None,
    last: float,
    last_margin: float,
    stop: float,
    rounding: str,
    what: LastLook,
) -> _Bound:
    """Return the lower bound of a device that was not seen to power off."""
    reading = last - clock_margins(rounding, last_margin)[0]
    if note is None:
        if np.isnan(reading):
            return _Bound(low=np.nan, high=np.nan, status="not_recorded", basis="nothing recorded")
        text = f"no power-off recorded; on at the last {what}"
        return _Bound(low=max(reading, 0.0), high=np.inf, status="not_recorded", basis=text)
    before = clock_margins(rounding, note.resolution)[0]
    seen = [v for v in (note.noted - before, note.last_on - before, reading) if not np.isnan(v)]
    if note.still_on:
        text = "still on when the session was stopped"
        low = max(seen) if seen else stop - before
        status: RuntimeStatus = "still_on"
    else:
        text = f"power-off logged without a time; on at the last {what}"
        low = max(seen) if seen else 0.0
        status = "not_recorded"
    if np.isnan(low):
        return _Bound(low=np.nan, high=np.nan, status=status, basis=f"{text}; no time recorded")
    return _Bound(low=max(low, 0.0), high=np.inf, status=status, basis=text)


@dataclass(frozen=True, kw_only=True)
class OffRecord:
    """What the record says of power-offs, gathered once for all runs."""

    session: Session
    notes: Mapping[int, OffNote]
    seen: Seen
    last: LastSeen
    ends: Mapping[tuple[int, str], float]

    def bound(
        self,
        run: Run,
        note: OffNote | None,
        t: float,
        margin: float,
        rounding: str,
        what: LastLook = "reading",
    ) -> _Bound:
        """Return the window of one power-off, the device last read at ``t`` ± ``margin``."""
        end = self.ends.get((run.number, note.phase), float("nan")) if note else float("nan")
        if note and not note.still_on and not (np.isnan(note.off) and np.isnan(end)):
            return _observed(note, t, margin, end, self.session, rounding, what)
        stop = float("nan") if run.stop_min is None else run.stop_min
        return _not_off(note, t, margin, stop, rounding, what)


def bounds_of(record: OffRecord, run: Run, units: range, rounding: str) -> list[_Bound]:
    """Return the windows of the power-offs of some units.

    Examples
    --------
    Last seen on at 300, first seen off at 303. A digital clock shows a minute that has begun, so
    it was on at 300 and off before 304; rounded minutes reach half a minute further down:

    >>> from tests.helpers.builders import make_session, seen
    >>> s = make_session(devices=["a"], phases={"p1": 600}, power_offs={"a": seen(300, 303)})
    >>> for rounding in ("floor", "nearest", "unknown"):
    ...     bound, = bounds_of(off_record(s), s.runs[0], range(1), rounding)
    ...     print(bound.low, bound.high, bound.basis)
    300.0 304.0 last seen on; first seen off
    299.5 303.5 last seen on; first seen off
    299.5 304.0 last seen on; first seen off
    """
    return [
        record.bound(
            run, record.notes.get(unit), float(record.last.t[unit]),
            float(record.last.margin[unit]), rounding,
            "change of the display" if record.last.change[unit] else "reading",
        )
        for unit in units
    ]  # fmt: skip


def lead_roundings(session: Session) -> tuple[str, ...]:
    """Return the ways in which all times of a run may have been noted.

    Where it is not known which, a lead is the lesser of what either leaves: no clock shows one
    note half a minute late and another up to a whole one early.

    Examples
    --------
    >>> from kit.session import Assumptions
    >>> from tests.helpers.builders import make_session
    >>> lead_roundings(make_session(assumptions=Assumptions(clock_rounding="unknown")))
    ('floor', 'nearest')
    >>> lead_roundings(make_session(assumptions=Assumptions(clock_rounding="nearest")))
    ('nearest',)
    """
    known = session.assumptions.clock_rounding
    return _ROUNDINGS if known == "unknown" else (known,)


def compared_bounds(
    session: Session, run: Run, low: Floats, high: Floats, rounding: str
) -> tuple[Floats, Floats]:
    """Return bounds (…, n) by which devices are compared: a start common to all is left out.

    Examples
    --------
    Started together: the power-offs are compared as they are. b started 10 minutes after a, both
    by a digital clock (0 to 1 minute later than shown): a ran at least 300 − 1 = 299 and at most
    304 − 0, b at least 310 − 11 = 299 and at most 314 − 10 = 304:

    >>> from kit.session import Device
    >>> from tests.helpers.builders import make_session
    >>> off = np.array([300.0, 310.0]), np.array([304.0, 314.0])
    >>> s = make_session(devices=["a", "b"])
    >>> [bound.tolist() for bound in compared_bounds(s, s.runs[0], *off, "floor")]
    [[300.0, 310.0], [304.0, 314.0]]
    >>> b = Device(id="b", label="b", conditions={"start_offset_min": 10})
    >>> s = make_session(devices=[Device(id="a", label="a"), b])
    >>> [bound.tolist() for bound in compared_bounds(s, s.runs[0], *off, "floor")]
    [[299.0, 299.0], [304.0, 304.0]]
    """
    offsets, own_start = _start_offsets(session)
    if own_start:
        early, late = clock_margins(rounding, _start_resolution(run))
        return np.maximum(low - (offsets + late), 0.0), high - (offsets - early)
    return low, high


def _least_lead(record: OffRecord, run: Run, units: range, found: Sequence[_Bound]) -> Floats:
    """Return by how much each device surely ran longer than each other one."""
    session = record.session
    leads = []
    for rounding in lead_roundings(session):
        same = rounding == session.assumptions.clock_rounding
        bounds = found if same else bounds_of(record, run, units, rounding)
        low, high = np.array([b.low for b in bounds]), np.array([b.high for b in bounds])
        leads.append(least_lead(*compared_bounds(session, run, low, high, rounding)))
    return np.asarray(np.min(leads, axis=0), dtype=np.float64)


def _one_run(record: OffRecord, run: Run, first_unit: int) -> OffTimes:
    session = record.session
    rounding = session.assumptions.clock_rounding
    units = range(first_unit, first_unit + len(session.devices))
    bounds = bounds_of(record, run, units, rounding)
    early, late = clock_margins(rounding, _start_resolution(run))
    offsets, own_start = _start_offsets(session)
    soc = np.array([record.notes[u].soc if u in record.notes else np.nan for u in units])
    return OffTimes(
        run=run.number,
        low=np.array([b.low for b in bounds]),
        high=np.array([b.high for b in bounds]),
        ramp=np.array([b.ramp for b in bounds]),
        start_low=offsets - early,
        start_high=offsets + late,
        own_start=own_start,
        tail=np.array(
            [
                tail_min(record.seen, unit, b.low) if np.isinf(b.high) else np.nan
                for unit, b in zip(units, bounds, strict=True)
            ]
        ),
        last_soc=np.where(np.isnan(soc), record.last.soc[first_unit : units.stop], soc),
        least_lead=_least_lead(record, run, units, bounds),
        status=tuple(b.status for b in bounds),
        basis=tuple(b.basis for b in bounds),
    )


def off_record(session: Session) -> OffRecord:
    """Return what a session says of power-offs, gathered once.

    Examples
    --------
    Noted off at 303, and read twice before that; what is read later than that is not the device on:

    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60, "p2": 300}, readings={"a": [100, 80, 9]},
    ...                  power_offs={"a": 303})
    >>> record = off_record(s)
    >>> record.notes[0].off, record.last.t.tolist(), record.ends[1, "p2"]
    (303.0, [60.0], 360.0)
    """
    devices = {device.id: i for i, device in enumerate(session.devices)}
    runs = {run.number: i for i, run in enumerate(session.runs)}
    notes = _notes(session, devices, runs)
    seen = seen_on(session, devices, runs)
    limit = np.full(len(devices) * len(runs), np.inf)
    for unit, note in notes.items():
        limit[unit] = note.latest
    return OffRecord(
        session=session,
        notes=notes,
        seen=seen,
        last=last_seen(seen, limit),
        ends={key: end for key, (_, end) in boundary_times(session).items()},
    )


def off_times(session: Session) -> tuple[OffTimes, ...]:
    """Return the bounds of all power-offs, one element per run.

    Parameters
    ----------
    session
        A record that passed its checks.

    Returns
    -------
    tuple of OffTimes

    Notes
    -----
    With m_on the latest time at which the device was seen on (last seen on, or a reading made
    later) and m_off the time at which it was first seen off, else the minute noted:
    ``T ∈ [m_on, m_off + 1)`` for a digital clock, ``[m_on − ½, m_off + ½]`` for a rounded one,
    ``[m_on − ½, m_off + 1]`` when that is unknown (½ and 1 scale with the step of the noted
    time). A start noted by the clock has the same width of its own: ``[0, 1)`` min, and so on.
    A power-off logged
    with its phase but without a time lies before that phase's end (plus the reading delay).
    ``start_offset_min`` among a device's conditions is its own start after the run's.

    Examples
    --------
    Seen on at 300 and off at 303 by a digital clock, the start noted the same way: off between 300
    and 304, a runtime of 300 − 1 to 304 − 0 min:

    >>> from tests.helpers.builders import make_session, seen
    >>> s = make_session(devices=["a"], phases={"p1": 600}, power_offs={"a": seen(300, 303)})
    >>> found, = off_times(s)
    >>> float(found.low[0]), float(found.high[0])
    (300.0, 304.0)
    >>> float(found.runtime_low[0]), float(found.runtime_high[0])
    (299.0, 304.0)
    """
    record = off_record(session)
    n = len(session.devices)
    return tuple(_one_run(record, run, place * n) for place, run in enumerate(session.runs))
