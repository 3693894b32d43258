"""What of a chain follows from the percentages: full starts, busiest rates, levels at the end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.gauge import FULL_PCT
from kit.session import columns_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.boundary_readings import Observations
    from kit.drain.readings import Observed
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
    """Return the conditions of one device: the session's, with the device's exceptions.

    Examples
    --------
    >>> from kit.session import Device
    >>> from tests.helpers.builders import make_session
    >>> dim = Device(id="a", label="a", conditions={"brightness_pct": 40})
    >>> s = make_session(devices=[dim], conditions={"brightness_pct": 60, "network": "off",
    ...                                             "dimming": "not recorded"})
    >>> device_conditions(s, 0)
    {'brightness_pct': 40, 'network': 'off'}
    """
    merged = {**session.conditions, **session.devices[device].conditions}
    return {k: v for k, v in merged.items() if v != "not recorded"}


def logged_ends(session: Session) -> tuple[Ints, Floats]:
    """Return phase (−1: none) and percentage noted for each unit's power-off.

    Examples
    --------
    a in the second phase at 1 %, b nowhere:

    >>> from tests.helpers.builders import make_session
    >>> s = make_session(devices=["a", "b"], phases={"p1": 60, "p2": 60},
    ...     power_offs={"a": {"noted_min": 99, "phase": "p2", "soc_pct": 1}})
    >>> phase, pct = logged_ends(s)
    >>> phase.tolist(), pct.tolist()
    ([1, -1], [1.0, nan])
    """
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

    Examples
    --------
    a shows 100 %; b shows 99 %; c was not read, and nothing is stated of its start:

    >>> from kit.drain.chains import build_chains
    >>> from tests.helpers.builders import make_session
    >>> first = {"a": [100, 90], "b": [99, 90], "c": [None, 90]}
    >>> s = make_session(phases={"p1": 60}, readings=first)
    >>> started_full(s, build_chains(s).observations, np.arange(3)).tolist()
    [True, False, False]

    With a start at 100 % stated c is full as well, and b is what was read:

    >>> s = make_session(phases={"p1": 60}, readings=first, conditions={"start_charge_pct": 100})
    >>> started_full(s, build_chains(s).observations, np.arange(3)).tolist()
    [True, False, True]
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

    Examples
    --------
    12 pp in 1 h and 18 pp in ½ h: 36 pp/h, times 1.15 = 41.4 pp/h. The second unit has no reading
    and gets the same:

    >>> levels = np.array([[100.0, 88.0, 88.0, 70.0], [np.nan] * 4])
    >>> busiest_rates(levels, np.array([[1.0, 0.5], [1.0, 0.5]]), 1.15).round(1).tolist()
    [41.4, 41.4]

    Five minutes are too short to count: of 12 pp/h and 4 pp in 5 min the first is taken:

    >>> levels = np.array([[100.0, 88.0, 88.0, 84.0]])
    >>> busiest_rates(levels, np.array([[1.0, 5 / 60]]), 1.0).tolist()
    [12.0]
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
    """Return when each unit was last read before it was off, and which observation that is.

    Examples
    --------
    Read at 0 and 60 min and once more, by mistake, at 120; off by 100: the second reading counts:

    >>> from kit.drain.readings import observed
    >>> from tests.helpers.builders import make_session
    >>> obs = observed(make_session(phases={"p1": 60, "p2": 60}, readings={"a": [100, 40, 35]}))
    >>> at, which = last_read(np.array([100.0]), obs)
    >>> at.tolist(), which.tolist()
    ([60.0], [1])
    """
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

    Examples
    --------
    3 % last seen at 290 min, off by 300: 0 to 3 %. 40 % last seen 12 minutes before, busiest rate
    20 pp/h: the fastest drain takes 2.5 × 20 × 12/60 = 10 pp, and a reading may be one point high,
    so at least 40 − 1 − 10 = 29 % were left, well above 5:

    >>> nan = np.array([np.nan, np.nan])
    >>> seen = LastLevel(low=nan, high=np.array([300.0, 300.0]), noted_pct=nan,
    ...     read_at=np.array([290.0, 288.0]), read_pct=np.array([3.0, 40.0]))
    >>> off_percentages(5.0, seen, np.array([20.0, 20.0])).tolist()
    [[0.0, 3.0], [29.0, 40.0]]
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
