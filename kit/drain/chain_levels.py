"""What of a chain follows from the percentages: full starts, busiest rates, levels at the end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.readings import FULL_PCT
from kit.session import columns_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.readings import Observations, Observed
    from kit.session import Session

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

__all__ = [
    "LastLevel",
    "busiest_rates",
    "device_conditions",
    "last_read",
    "logged_ends",
    "off_percentages",
    "started_full",
]

_FAST = 2.5
"""A phase of power-off is not taken to drain faster than this × the device's busiest rate."""

_MIN_RATE_PHASE_H = 10.0 / 60.0
"""Shorter phases do not count for a device's busiest rate (h)."""


def device_conditions(session: Session, device: int) -> dict[str, object]:
    """Return the conditions of one device: the session's, with the device's exceptions."""
    merged = {**session.conditions, **session.devices[device].conditions}
    return {k: v for k, v in merged.items() if v != "not recorded"}


def logged_ends(session: Session) -> tuple[Ints, Floats]:
    """Return phase (−1: none) and percentage noted for each unit's power-off."""
    n = len(session.devices)
    logged = np.full(len(session.runs) * n, -1, dtype=np.int64)
    pct = np.full(logged.shape, np.nan)
    devices = {d.id: i for i, d in enumerate(session.devices)}
    phases = {p.id: i for i, p in enumerate(session.phases)}
    runs = {run.number: i for i, run in enumerate(session.runs)}
    frame = session.power_offs
    columns = columns_of(frame, "run", "device", "phase", "still_on", "soc_pct")
    for run, device, phase, on, soc in zip(*(c.tolist() for c in columns), strict=True):
        if run in runs and device in devices and not on:
            unit = runs[run] * n + devices[device]
            logged[unit], pct[unit] = phases.get(phase, -1), soc
    return logged, pct


def started_full(session: Session, observations: Observations, device: Ints) -> Bools:
    """Return which units, of the devices given, started at a known full charge.

    The first reading shows 100 %; or there is none and the conditions state a start at 100 %.
    """
    n = len(session.devices)
    if not observations.level.shape[1]:
        return np.zeros(observations.level.shape[0], dtype=bool)
    level, node = observations.level[:, 0], observations.node[:, 0]
    stated = np.array(
        [device_conditions(session, i).get("start_charge_pct") == FULL_PCT for i in range(n)],
        dtype=bool,
    )
    shown = (node == 0) & (level == FULL_PCT) & (observations.weight[:, 0] > 0.0)
    assumed = (node != 0) & stated[device]
    return np.asarray(shown | assumed, dtype=bool)


def busiest_rates(levels: Floats, length_h: Floats, factor: float) -> Floats:
    """Return the highest rate to allow for in a gap; of all units where a unit has none.

    ``levels`` of shape (…, K, 2P).
    """
    if not length_h.size:
        return np.zeros(levels.shape[:-1])
    usable = length_h >= _MIN_RATE_PHASE_H
    rate = np.where(
        usable, (levels[..., 0::2] - levels[..., 1::2]) / np.where(usable, length_h, 1.0), np.nan
    )
    best = np.where(np.isnan(rate), -np.inf, rate).max(axis=-1)
    common = best.max(axis=-1, keepdims=True, initial=0.0)
    return np.asarray(np.where(best > 0.0, best, common) * factor)


def last_read(high: Floats, obs: Observed) -> tuple[Floats, Ints]:
    """Return when each unit was last read before it was off, and which observation that is."""
    last_t = np.full(high.size, -np.inf)
    last = np.full(high.size, -1, dtype=np.int64)
    timed = ~np.isnan(obs.t) & (obs.t <= np.where(np.isnan(high), np.inf, high)[obs.unit])
    np.maximum.at(last_t, obs.unit[timed], obs.t[timed])
    latest = np.flatnonzero(timed & (obs.t == last_t[obs.unit]))
    last[obs.unit[latest]] = latest
    return last_t, last


@dataclass(frozen=True, kw_only=True)
class LastLevel:
    """Bounds of the power-offs (min), and the percentages last seen; shape (K,)."""

    low: Floats
    high: Floats
    noted_pct: Floats
    read_at: Floats
    read_pct: Floats


def off_percentages(most: float, seen: LastLevel, busiest: Floats) -> Floats:
    """Return bounds of the percentage shown at the power-off, shape (K, 2).

    0 to ``most``, and not above the percentage last seen; but if not even a very fast drain could
    have taken the device there since it was last seen, what is left by that.
    """
    noted = ~np.isnan(seen.noted_pct)
    pct = np.where(noted, seen.noted_pct, seen.read_pct)
    since = np.where(noted, seen.low, seen.read_at)
    known = ~np.isnan(pct) & np.isfinite(seen.high)
    with np.errstate(invalid="ignore"):
        left = pct - 1.0 - _FAST * busiest * (seen.high - since) / 60.0
    far = known & (left > most) & (noted | (busiest > 0.0))
    high = np.where(far, pct, np.where(known, np.minimum(pct, most), most))
    return np.stack([np.where(far, left, 0.0), high], axis=1)
