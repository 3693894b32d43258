"""Drains between boundary states, with every source of uncertainty kept apart.

The formulas are derived in docs/measurement.md.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.chains import device_conditions
from kit.drain.states import gauge_covariance, states, time_variance
from kit.stats.uncertainty import Resolution, resolution

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from kit.drain.chains import Chains
    from kit.drain.states import States
    from kit.results import Measurand

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

__all__ = [
    "HELD_FULL_HALF_WIDTH_PP",
    "HELD_FULL_LONG_MIN",
    "SOURCES",
    "Drains",
    "drains",
    "full_hold_moments",
    "saturated",
]

SOURCES = (
    "resolution",
    "rounding",
    "reading_time",
    "gauge",
    "gap",
    "full_start",
    "full_hold",
    "off_percentage",
    "wake",
    "phase_length",
)
"""Sources of uncertainty, in the order of the budget."""

HELD_FULL_LONG_MIN = 120.0
HELD_FULL_HALF_WIDTH_PP = 2.0
"""A device kept on the charger longer than this after "full" may stand anywhere in a band below
100 % that its display does not show; ±2 pp is a guess, not derived."""


@dataclass(frozen=True, kw_only=True)
class Drains:
    """Drain and rate of every unit and phase; arrays of shape (K, P) unless said.

    Parameters
    ----------
    drain_pp
        Estimate (pp), not clipped; NaN where there is none.
    exposure_h, exposure_u_h
        Time over which it drained (h), and its u; NaN: not known, or too loosely for a rate.
    variance
        Source → variance of the drain (pp²). ``phase_length`` counts for the rate only.
    coefficients
        (K, P, B). The drain's coefficients of the readings.
    resolution
        What the resolution of the displays adds, shape (K, P).
    bound_pp
        Half-width added linearly (pp).
    start_pct, end_pct
        Percentages read (%), NaN where there is none.
    """

    measurand: Measurand
    drain_pp: Floats
    exposure_h: Floats
    exposure_u_h: Floats
    variance: Mapping[str, Floats]
    coefficients: Floats
    resolution: Resolution
    bound_pp: Floats
    start_pct: Floats
    end_pct: Floats

    @cached_property
    def rises(self) -> Bools:
        """Return where the percentage rose."""
        with np.errstate(invalid="ignore"):
            return np.asarray(self.end_pct > self.start_pct, dtype=bool)

    @cached_property
    def best_pp(self) -> Floats:
        """Return the drain to state (pp): not below 0, unless the percentage rose."""
        return np.asarray(np.where(self.rises, self.drain_pp, np.maximum(self.drain_pp, 0.0)))

    @cached_property
    def rate_pp_per_h(self) -> Floats:
        """Return the rate to state (pp/h)."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return self.best_pp / self.exposure_h

    @cached_property
    def rate_u_pp_per_h(self) -> Floats:
        """Return the standard uncertainty of the rate (pp/h)."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.hypot(self.u_pp, np.sqrt(self.variance["phase_length"])) / self.exposure_h

    @cached_property
    def u_pp(self) -> Floats:
        """Return the standard uncertainty of the drain (pp)."""
        return np.sqrt(sum(v for s, v in self.variance.items() if s != "phase_length"))

    @cached_property
    def u_other_pp(self) -> Floats:
        """Return u of what is neither resolution nor bounded (pp), for the drain."""
        left_out = ("resolution", "rounding", "gap", "off_percentage", "wake", "phase_length")
        return np.sqrt(sum(v for s, v in self.variance.items() if s not in left_out))


def full_hold_moments(length_h: Floats, hold_h: float) -> tuple[Floats, Floats]:
    """Return mean factor and relative u for a drain whose display stood at 100 % up to H hours.

    Parameters
    ----------
    length_h
        Length L of the phase (h).
    hold_h
        Longest time H that the display may have stayed at 100 % while the charge fell (h).

    Returns
    -------
    m1, s
        Factor ``m1 = (L/H) ln(L/(L − H))`` on the drain and ``s = √(L/(L − H) − m1²)``, so that
        the uncertainty is s times the uncorrected drain. NaN where H > L/3: no figure.

    Notes
    -----
    With the hold h uniform on 0 … H, the drain of the whole phase is d·L/(L − h); m1 is the
    mean of L/(L − h) and s its standard deviation.

    Examples
    --------
    L = 60 min, H = 10 min: m1 = 6 ln 1.2 = 1.09393, s = √(1.2 − 1.19668) = 0.0576:

    >>> m1, s = full_hold_moments(np.array([1.0]), 1 / 6)
    >>> round(float(m1[0]), 4), round(float(s[0]), 4)
    (1.0939, 0.0576)
    """
    length = np.where(length_h >= 3.0 * hold_h, length_h, np.nan)
    if hold_h <= 0.0:
        return np.ones_like(length_h), np.zeros_like(length_h)
    left = length / (length - hold_h)
    mean = length / hold_h * np.log(left)
    return mean, np.sqrt(np.maximum(left - mean**2, 0.0))


def _wake_bound(chains: Chains) -> Floats:
    """Return the drain (pp) that looking may have caused in phases with the screen off."""
    wakes = np.array(
        [d.gauge.reading_wakes_device is True for d in chains.session.devices], dtype=bool
    )
    off = np.array([ph.screen_on is False for ph in chains.session.phases], dtype=bool)
    woken = wakes[chains.unit_device][:, None] & off[None, :]
    return np.where(woken, chains.looks * chains.session.assumptions.wake_drain_pp, 0.0)


def _long_hold(chains: Chains) -> Bools:
    """Return which units were kept on the charger long after they were full, shape (K,)."""
    n = len(chains.devices)
    held = [device_conditions(chains.session, i).get("held_full_min") for i in range(n)]
    long = [isinstance(h, (int, float)) and h > HELD_FULL_LONG_MIN for h in held]
    return np.array(long, dtype=bool)[chains.unit_device]


def drains(chains: Chains, *, now: States | None = None) -> dict[Measurand, Drains]:
    """Return drain and rate of every unit and phase, with variances by source.

    Parameters
    ----------
    chains
        From `kit.drain.chains.build_chains`.
    now
        The states, if they were computed already.

    Returns
    -------
    dict
        ``displayed`` and ``true_charge``.

    Examples
    --------
    90, 78 and 72 %: 12 and 6 pp, each between two readings, u = √(2/12) = 0.408 pp:

    >>> from kit.drain.chains import build_chains
    >>> from tests.helpers.builders import BARE, make_session
    >>> s = make_session(phases={"p1": 60, "p2": 30}, readings={"a": [90, 78, 72]},
    ...                  assumptions=BARE)
    >>> found = drains(build_chains(s))["displayed"]
    >>> found.drain_pp.tolist(), found.u_pp.round(3).tolist(), found.rate_pp_per_h.tolist()
    ([[12.0, 6.0]], [[0.408, 0.408]], [[12.0, 12.0]])
    """
    now = states(chains) if now is None else now
    k, p = chains.length_h.shape
    phases = np.arange(p)
    dying = phases == chains.death[:, None]
    gone = phases >= chains.gone[:, None]
    base = np.zeros((k, p, 2 * p))
    base[:, phases, 2 * phases] = 1.0
    base[:, phases, 2 * phases + 1] = np.where(dying, 0.0, -1.0)
    coefficients = base @ now.matrix
    value = np.nan_to_num(now.value)
    drain = value[:, 0::2] - np.where(dying, 0.0, value[:, 1::2])
    shown = resolution(
        coefficients,
        weights=chains.observations.weight[:, None, :],
        step=chains.observations.step[:, None],
        convention_variance=chains.offset_variance[:, None],
    )
    wake = _wake_bound(chains)
    variance = {
        "resolution": shown.own,
        "rounding": shown.common,
        "reading_time": time_variance(now, base),
        "gap": now.gap_variances(base),
        "wake": wake**2 / 3.0,
    }
    levels = chains.shown_levels
    first = (phases == 0) & chains.full[:, None]
    common = Drains(
        measurand="displayed",
        drain_pp=drain,
        exposure_h=np.where(chains.timed, chains.exposure_h, np.nan),
        exposure_u_h=np.where(dying, chains.off_u_h[:, None], chains.length_u_h),
        variance=variance,
        coefficients=coefficients,
        resolution=shown,
        bound_pp=now.bounds(base) + wake,
        start_pct=np.where(gone, np.nan, np.where(first, 100.0, levels[:, 0::2])),
        end_pct=np.where(gone | dying, np.nan, levels[:, 1::2]),
    )
    ok = now.valid[:, 0::2] & (now.valid[:, 1::2] | dying) & ~gone & ~chains.charged
    return {
        "displayed": _finished(_displayed(chains, common, dying), ok),
        "true_charge": _finished(
            _true_charge(chains, now, common, dying, first), ok & ~saturated(chains)
        ),
    }


def _displayed(chains: Chains, common: Drains, dying: Bools) -> Drains:
    """Return the drains less what the display still showed at a power-off."""
    low, high = chains.off_pct[:, :1], chains.off_pct[:, 1:]
    return replace(
        common,
        drain_pp=common.drain_pp - np.where(dying, (low + high) / 2.0, 0.0),
        variance={
            **common.variance,
            "off_percentage": np.where(dying, (high - low) ** 2 / 12.0, 0.0),
        },
        bound_pp=common.bound_pp + np.where(dying, (high - low) / 2.0, 0.0),
    )


def _true_charge(chains: Chains, now: States, common: Drains, dying: Bools, first: Bools) -> Drains:
    """Return the drains with the gauge's deviation and what is not known of a full start."""
    c = common.coefficients
    spread = ((c @ gauge_covariance(chains, now)) * c).sum(axis=2)
    long = first & _long_hold(chains)[:, None]
    variance = {
        **common.variance,
        "gauge": np.where(dying, _gauge_to_empty(chains, now, c), spread),
        "full_start": np.where(long, HELD_FULL_HALF_WIDTH_PP**2 / 3.0, 0.0),
    }
    hold = chains.session.assumptions.full_hold_max_min / 60.0
    drain, shown = common.drain_pp, common.resolution
    if hold > 0.0:
        m1, s = full_hold_moments(common.exposure_h, hold)
        variance["full_hold"] = np.where(first, (drain * s) ** 2, 0.0)
        factor = np.where(first, m1, 1.0)
        drain, shown = drain * factor, shown.scaled(factor)
        variance["resolution"], variance["rounding"] = shown.own, shown.common
        for source in ("reading_time", "gauge"):
            variance[source] = variance[source] * factor**2
    return replace(
        common, measurand="true_charge", drain_pp=drain, variance=variance, resolution=shown
    )


def _finished(found: Drains, ok: Bools) -> Drains:
    """Return the drains with the variance from their lengths, and NaN where there is none."""
    with np.errstate(invalid="ignore"):
        rate = found.drain_pp / found.exposure_h
    length = np.nan_to_num((rate * found.exposure_u_h) ** 2)
    variance = {**found.variance, "phase_length": length}
    empty = np.where(ok, 0.0, np.nan)
    return replace(
        found,
        drain_pp=found.drain_pp + empty,
        variance={s: variance[s] + empty for s in SOURCES if s in variance},
    )


def saturated(chains: Chains) -> Bools:
    """Return where the display stood at 100 % throughout, or at the start after such a phase.

    There the charge that left is not shown: true-charge drain cannot be had for the phase.

    Examples
    --------
    100 % after an hour and after two, then 97: nothing is shown of the first two phases, and how
    much had left before the display fell in the third is not known:

    >>> from kit.drain.chains import build_chains
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60, "p2": 60, "p3": 60, "p4": 60},
    ...                  readings={"a": [100, 100, 100, 97, 90]})
    >>> saturated(build_chains(s)).tolist()
    [[True, True, True, False]]
    """
    levels = chains.levels
    top = levels == 100.0
    later = np.arange(levels.shape[1] // 2) > 0
    first = top[:, 1::2] & chains.full[:, None] & ~later
    return np.asarray((top[:, 0::2] & (later | top[:, 1::2])) | first, dtype=bool)


def _gauge_to_empty(chains: Chains, now: States, coefficients: Floats) -> Floats:
    """Return the gauge's variance from the last boundary to the power-off (pp²).

    The state of charge at the power-off is 0 by definition, so the deviation vanishes there:
    (A²/3)(1 − exp(−D²/λ²)). Where the display stood clearly above 0 at the power-off, its
    deviation there is not small, and A²/3 is taken.
    """
    given = chains.session.assumptions
    level = now.value[:, 0::2]
    alike = np.exp(-(np.nan_to_num(level) ** 2) / given.gauge_correlation_pp**2)
    pinned = chains.off_pct[:, :1] <= 0.0
    total = coefficients.sum(axis=2) ** 2
    scale = given.gauge_error_pp**2 / 3.0
    return np.asarray(total * scale * (1.0 - np.where(pinned, alike, 0.0)))
