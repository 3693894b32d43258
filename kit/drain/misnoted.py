"""What the power-offs would be, and all that follows, if single noted times were others."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.chain_levels import LastLevel, off_percentages
from kit.drain.chains import Chains
from kit.drain.off_phases import ends_of
from kit.drain.off_record import bounds_of, off_record
from kit.drain.off_times import compared_bounds, lead_roundings
from kit.read.phase_times import phase_times, unplaced_gaps

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from kit.drain.off_record import OffNote
    from kit.drain.readings import Observed
    from kit.session import Session

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]

__all__ = ["Misnoted", "misnoted", "misnoted_chains"]


@dataclass(frozen=True, kw_only=True)
class Misnoted:
    """Windows for D alternatives of one run with n devices.

    Parameters
    ----------
    possible
        Shape (D,). Whether the alternative leaves a window for its device at all.
    low, high
        Shape (D,). Bounds of the power-off of the device whose time it is (min); as in
        `kit.drain.off_times.OffTimes`.
    order_low, order_high
        Shape (D, n). As in `kit.drain.off_times.OffTimes`.
    least_lead
        Shape (D, n, n). As there.
    """

    possible: Bools
    low: Floats
    high: Floats
    order_low: Floats
    order_high: Floats
    least_lead: Floats


def _changed(note: OffNote, column: str, value: float) -> OffNote:
    if column == "last_on_min":
        return replace(note, last_on=value)
    if column == "first_off_min":
        return replace(note, first_off=value)
    return replace(note, noted=value)


def misnoted(session: Session, run: int, changes: Sequence[tuple[int, str, float]]) -> Misnoted:
    """Return the windows of one run for alternatives of one noted time each.

    Parameters
    ----------
    session
        The record as it is.
    run
        Position of the run, from 0.
    changes
        Position of the device, column of its row in ``power_offs``, and the time in its place
        (min).

    Examples
    --------
    A off at 847 instead of 846, B as it was: A's window is [843, 848), its lead still −1.

    >>> from tests.helpers.builders import make_session
    >>> s = make_session(devices=["A", "B"], phases={"day": 1000}, power_offs={
    ...     "A": {"last_on_min": 843.0, "first_off_min": 846.0},
    ...     "B": {"last_on_min": 840.0, "first_off_min": 843.0}})
    >>> other = misnoted(s, 0, [(0, "first_off_min", 847.0), (0, "last_on_min", 844.0)])
    >>> other.order_high[0].tolist(), other.least_lead[:, 0, 1].tolist()
    ([848.0, 844.0], [-1.0, 0.0])
    """
    record = off_record(session)
    n = len(session.devices)
    number = session.runs[run]
    asked = session.assumptions.clock_rounding
    notes = [
        _changed(record.notes[run * n + device], column, value) for device, column, value in changes
    ]
    device = np.array([d for d, _, _ in changes], dtype=np.int64)
    read = [
        record.seen.last_of(run * n + d, note.latest)
        for d, note in zip(device.tolist(), notes, strict=True)
    ]
    found: dict[str, tuple[Floats, Floats]] = {}
    mine = np.zeros(len(changes)), np.zeros(len(changes))
    each = np.arange(len(changes))
    for rounding in dict.fromkeys((asked, *lead_roundings(session))):
        base = bounds_of(record, number, range(run * n, run * n + n), rounding)
        other = [
            record.bound(number, note, t, margin, rounding)
            for note, (t, margin) in zip(notes, read, strict=True)
        ]
        ends = []
        for side in ("low", "high"):
            values = np.tile(np.array([getattr(b, side) for b in base]), (len(changes), 1))
            values[each, device] = [getattr(b, side) for b in other]
            ends.append(values)
        if rounding == asked:
            mine = ends[0][each, device], ends[1][each, device]
        found[rounding] = compared_bounds(session, number, ends[0], ends[1], rounding)
    leads = [
        low[:, :, None] - high[:, None, :]
        for low, high in (found[rounding] for rounding in lead_roundings(session))
    ]
    return Misnoted(
        possible=mine[0] <= mine[1],
        low=mine[0],
        high=mine[1],
        order_low=found[asked][0],
        order_high=found[asked][1],
        least_lead=np.asarray(np.min(leads, axis=0), dtype=np.float64),
    )


def misnoted_chains(chains: Chains, unit: Ints, low: Floats, high: Floats) -> Chains:
    """Return the chains of units whose power-offs have other bounds.

    Parameters
    ----------
    chains
        Of the record as it is.
    unit, low, high
        Shape (D,). Which unit, and the bounds of its power-off (min); as those of `misnoted`.

    Returns
    -------
    Chains
        With D units, one for each alternative, in which all that follows from the moment of a
        power-off is as if the other time had been noted. ``off_times`` are those of the record.

    Examples
    --------
    A powers off in the second hour; 10 minutes later it would have been in the third:

    >>> from kit.drain.chains import build_chains
    >>> from tests.helpers.builders import make_session
    >>> chains = build_chains(make_session(
    ...     phases={"p1": 60, "p2": 60, "p3": 60}, readings={"a": [100, 60]},
    ...     power_offs={"a": {"last_on_min": 112.0, "first_off_min": 115.0}}))
    >>> later = np.array([122.0]), np.array([126.0])
    >>> other = misnoted_chains(chains, np.array([0]), *later)
    >>> chains.death.tolist(), other.death.tolist()
    ([1], [2])
    """
    session = chains.session
    spans = phase_times(session)
    unplaced = unplaced_gaps(session, spans)
    start = spans.start + unplaced.shift
    shifted = replace(spans, start=start, end=spans.end + unplaced.shift)
    ends = ends_of(session, shifted, unit, low, high)
    length = chains.length_h[unit]
    phases = np.arange(length.shape[1])
    dying = phases == ends.death[:, None]
    moved = np.where(dying, unplaced.shift_u[unit], 0.0).sum(axis=1)
    obs = chains.observed
    read = [_last_before(obs, u, t) for u, t in zip(unit.tolist(), high.tolist(), strict=True)]
    seen = LastLevel(
        low=low, high=high, noted_pct=ends.noted_pct,
        read_at=np.array([t for t, _ in read]), read_pct=np.array([pct for _, pct in read]),
    )  # fmt: skip
    return replace(
        chains.of(unit),
        death=ends.death,
        gone=ends.gone,
        off_u_h=np.hypot(ends.u, moved) / 60.0,
        off_pct=off_percentages(session.assumptions.off_pct_max, seen, chains.busiest[unit]),
        exposure_h=np.where(dying, (ends.middle[:, None] - start[unit]) / 60.0, length),
    )


def _last_before(obs: Observed, unit: int, high: float) -> tuple[float, float]:
    """Return when a unit was last read before it was off, and the percentage; −inf, NaN: never."""
    limit = np.inf if np.isnan(high) else high
    mine = np.flatnonzero((obs.unit == unit) & (obs.t <= limit))
    if not mine.size:
        return -np.inf, np.nan
    latest = float(obs.t[mine].max())
    return latest, float(obs.soc[mine[np.flatnonzero(obs.t[mine] == latest)[-1]]])
