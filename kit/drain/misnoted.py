"""What the windows of power-offs would be if single noted times were others."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.off_times import bounds_of, compared_bounds, lead_roundings, off_record

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from kit.drain.off_times import OffNote
    from kit.session import Session

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = ["Misnoted", "misnoted"]


@dataclass(frozen=True, kw_only=True)
class Misnoted:
    """Windows for D alternatives of one run with n devices.

    Parameters
    ----------
    possible
        Shape (D,). Whether the alternative leaves a window for its device at all.
    order_low, order_high
        Shape (D, n). As in `kit.drain.off_times.OffTimes`.
    least_lead
        Shape (D, n, n). As there.
    """

    possible: Bools
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
    possible = np.ones(len(changes), dtype=bool)
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
            possible = ends[0][each, device] <= ends[1][each, device]
        found[rounding] = compared_bounds(session, number, ends[0], ends[1], rounding)
    leads = [
        low[:, :, None] - high[:, None, :]
        for low, high in (found[rounding] for rounding in lead_roundings(session))
    ]
    return Misnoted(
        possible=possible,
        order_low=found[asked][0],
        order_high=found[asked][1],
        least_lead=np.asarray(np.min(leads, axis=0), dtype=np.float64),
    )
