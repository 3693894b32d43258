"""Hard bounds of power-off times and of runtimes, by run, and who surely ran longer.

The windows are those of `kit.drain.off_record`, taken against the start as it was noted.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.charged import charged_in_run
from kit.drain.last_seen import MINUTE, tail_min
from kit.drain.off_record import bounds_of, clock_margins, off_record
from kit.stats.order import least_lead, p_longer, surely_above
from kit.stats.uncertainty import u_between

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from kit.drain.off_record import OffBound, OffRecord, RuntimeStatus
    from kit.session import Run, Session

    Flags = NDArray[np.bool_]
    Floats = NDArray[np.float64]

__all__ = ["OffTimes", "common_start_min", "compared_bounds", "lead_roundings", "off_times"]

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
    charged
        Shape (n,). Whether it was charged in the run: a runtime that is compared with no other.
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
    charged: Flags
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
        """Return lower bounds for comparing devices: a start common to all is left out.

        NaN for a device that was charged.
        """
        low = self.runtime_low if self.own_start else self.low
        return np.where(self.charged, np.nan, low)

    @property
    def order_high(self) -> Floats:
        """Return upper bounds for comparing devices: a start common to all is left out.

        NaN for a device that was charged.
        """
        high = self.runtime_high if self.own_start else self.high
        return np.where(self.charged, np.nan, high)

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

    Both are NaN for a device that was charged in the run: as if nothing were known of its runtime.

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
    charged = charged_in_run(session, run.number, high)
    if charged.any():
        low, high = (np.where(charged, np.nan, bound) for bound in (low, high))
    offsets, own_start = _start_offsets(session)
    if own_start:
        early, late = clock_margins(rounding, _start_resolution(run))
        return np.maximum(low - (offsets + late), 0.0), high - (offsets - early)
    return low, high


def common_start_min(session: Session) -> float:
    """Return the width (min) of the window of a start that cancels between all runtimes.

    0 where devices started by themselves, and of several runs, whose starts differ.

    Examples
    --------
    Started at 08:00 by a clock that drops the seconds:

    >>> from datetime import datetime
    >>> from kit.session import Assumptions
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(start=datetime(2026, 5, 16, 8), assumptions=Assumptions(
    ...     clock_rounding="floor"))
    >>> common_start_min(s), common_start_min(make_session(start=None))
    (1.0, 0.0)
    """
    if len(session.runs) > 1 or _start_offsets(session)[1]:
        return 0.0
    resolution = _start_resolution(session.runs[0])
    return float(sum(clock_margins(session.assumptions.clock_rounding, resolution)))


def _least_lead(record: OffRecord, run: Run, units: range, found: Sequence[OffBound]) -> Floats:
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
    high = np.array([b.high for b in bounds])
    soc = np.array([record.notes[u].soc if u in record.notes else np.nan for u in units])
    return OffTimes(
        run=run.number,
        low=np.array([b.low for b in bounds]),
        high=high,
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
        charged=charged_in_run(session, run.number, high),
        status=tuple(b.status for b in bounds),
        basis=tuple(b.basis for b in bounds),
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
