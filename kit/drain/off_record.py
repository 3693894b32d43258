"""What a record says of power-offs, and the window of time that it leaves for each.

A device was on whenever a percentage could be read from it, and at "last seen on"; it was off
at "first seen off", or at the minute noted for its power-off. The power-off lies between the
two, widened by how a clock shows minutes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.drain.last_seen import MINUTE, boundary_times, last_seen, seen_on
from kit.session import columns_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kit.drain.last_seen import LastSeen, Seen
    from kit.session import Run, Session

__all__ = [
    "OffBound",
    "OffNote",
    "OffRecord",
    "RuntimeStatus",
    "bounds_of",
    "clock_margins",
    "off_record",
]

RuntimeStatus = Literal["observed", "still_on", "not_recorded"]
LastLook = Literal["reading", "change of the display"]
"""What was last read off a display: a reading, or a change that was noted as it happened."""


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
class OffBound:
    """The window of one power-off (min), and how it is known."""

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
) -> OffBound:
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
    return OffBound(
        low=min(low, high), high=high, status="observed", basis=f"{since}; {until}", ramp=ramp
    )


def _not_off(
    note: OffNote | None,
    last: float,
    last_margin: float,
    stop: float,
    rounding: str,
    what: LastLook,
) -> OffBound:
    """Return the lower bound of a device that was not seen to power off."""
    reading = last - clock_margins(rounding, last_margin)[0]
    if note is None:
        if np.isnan(reading):
            return OffBound(
                low=np.nan, high=np.nan, status="not_recorded", basis="nothing recorded"
            )
        text = f"no power-off recorded; on at the last {what}"
        return OffBound(low=max(reading, 0.0), high=np.inf, status="not_recorded", basis=text)
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
        return OffBound(low=np.nan, high=np.nan, status=status, basis=f"{text}; no time recorded")
    return OffBound(low=max(low, 0.0), high=np.inf, status=status, basis=text)


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
    ) -> OffBound:
        """Return the window of one power-off, the device last read at ``t`` ± ``margin``."""
        end = self.ends.get((run.number, note.phase), float("nan")) if note else float("nan")
        if note and not note.still_on and not (np.isnan(note.off) and np.isnan(end)):
            return _observed(note, t, margin, end, self.session, rounding, what)
        stop = float("nan") if run.stop_min is None else run.stop_min
        return _not_off(note, t, margin, stop, rounding, what)


def bounds_of(record: OffRecord, run: Run, units: range, rounding: str) -> list[OffBound]:
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
