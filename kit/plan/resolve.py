"""Which phase lengths whole percentages can resolve, for one device and for two.

Questions asked beforehand of the rules by which a session is judged afterwards: the resolution of
two integer readings (`kit.stats.uncertainty`) and the gauge's deviation. Derived in
docs/planning.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, sqrt
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.drain.declared import declared_margin
from kit.stats.uncertainty import resolution

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "PhaseResolution",
    "drain_margin",
    "length_to_separate",
    "phase_resolution",
]

MIN_PER_H = 60.0
Verdict = Literal["resolved", "coarse", "not resolved"]


@dataclass(frozen=True, kw_only=True)
class PhaseResolution:
    """What integer percentages can say of one phase of one device.

    Parameters
    ----------
    drain_pp
        Expected drain (pp).
    half_width_pp
        Half-width of its interval from the resolution of the readings alone (pp).
    share
        ``half_width_pp / drain_pp``.
    verdict
        ``not resolved``: the interval of the drain reaches 0; ``coarse``: its share is above
        the one wished for; ``resolved``.
    needed_min
        Length at which the share is the one wished for (min).
    tick_half_width_pp
        The same half-width with the minutes noted at which the display changed (pp).
    """

    drain_pp: float
    half_width_pp: float
    share: float
    verdict: Verdict
    needed_min: float
    tick_half_width_pp: float


def phase_resolution(
    rate_pp_per_h: float,
    length_min: float,
    *,
    from_full: bool = False,
    step_pct: float = 1.0,
    share: float = 0.25,
    coverage: float = 0.95,
    tick_resolution_min: float = 1.0,
) -> PhaseResolution:
    """Return whether a phase is long enough for its drain to be resolved.

    Parameters
    ----------
    rate_pp_per_h, length_min
        Expected rate (pp/h) and planned length (min).
    from_full
        Whether the phase begins at a known full charge: one reading only, of unknown rounding.
    step_pct
        Step of the display (%).
    share
        Half-width wished for, as a share of the drain.
    tick_resolution_min
        How finely the moment of a change of the display is noted (min).

    Notes
    -----
    The half-width X does not depend on the length: 0.80 steps between two readings, 1.00 from
    full charge (`kit.stats.uncertainty.resolution`). So the length for X/d ≤ s is X/(s·r). A
    change of the display noted to the minute is known to u = 1 min/√12 in time, in the percentage
    r·u: two of them give k·√2·r·u, here with k = 2.

    Examples
    --------
    Standby at 0.5 pp/h for 20 min: 0.17 pp against ± 0.80. For ± 25 % it would take
    0.80/(0.25 × 0.5) = 6.4 h.

    >>> r = phase_resolution(0.5, 20)
    >>> round(r.drain_pp, 2), round(r.half_width_pp, 2), r.verdict, round(r.needed_min / 60, 1)
    (0.17, 0.8, 'not resolved', 6.4)
    """
    drain = rate_pp_per_h * length_min / MIN_PER_H
    coefficients = [-1.0] if from_full else [1.0, -1.0]
    half = float(resolution(coefficients, step=step_pct).half_width(coverage))
    tick = 2.0 * sqrt(2.0 / 12.0) * rate_pp_per_h * tick_resolution_min / MIN_PER_H
    ratio = half / drain if drain > 0 else inf
    if drain <= half:
        verdict: Verdict = "not resolved"
    else:
        verdict = "resolved" if ratio <= share else "coarse"
    return PhaseResolution(
        drain_pp=drain,
        half_width_pp=half,
        share=ratio,
        verdict=verdict,
        needed_min=MIN_PER_H * half / (share * rate_pp_per_h) if rate_pp_per_h > 0 else inf,
        tick_half_width_pp=min(tick, half),
    )


def drain_margin(
    drain_a_pp: float,
    drain_b_pp: float,
    *,
    gauge_error_pp: float = 0.0,
    gauge_correlation_pp: float = 7.0,
    from_full: bool = False,
    comparisons: int = 1,
) -> float:
    """Return by how much two drains of the declared pair must differ (pp).

    Parameters
    ----------
    gauge_error_pp, gauge_correlation_pp
        As in `kit.session.Assumptions`; 0 = the displays are compared, not the charges.
    from_full
        Whether both begin at full charge.
    comparisons
        How often the two are compared in the session, as in `kit.drain.declared`.

    Notes
    -----
    The rule of the report, `kit.drain.declared.declared_margin`: m = √(X² + k²(u_A² + u_B²)), X
    the half-width of a difference of two drains, 1.14 pp between readings for one comparison at
    95 %, 1.67 pp over 24; per device u² = 2(A²/3)(1 − exp(−d²/(2λ²))). Derived in
    docs/measurement.md.

    Examples
    --------
    Displays alone 1.14; with A = 3, both 12 pp: u = 2.4495 × 0.8775 = 2.149,
    √(1.143² + 8 × 4.62) = 6.19.

    >>> round(drain_margin(12, 12), 2), round(drain_margin(12, 12, gauge_error_pp=3), 2)
    (1.14, 6.19)
    """
    drains = np.array([drain_a_pp, drain_b_pp])
    gauges = _gauge_variance(drains, gauge_error_pp, gauge_correlation_pp).sum(keepdims=True)
    return float(_margins(gauges, comparisons, from_full=from_full)[0])


def _margins(gauges: Floats, comparisons: int, *, from_full: bool = False) -> Floats:
    """Return what a difference of two drains has to exceed, by the variance of the gauges."""
    one = resolution([-1.0] if from_full else [1.0, -1.0])
    zero = np.zeros(np.shape(gauges))
    none = np.full(np.shape(gauges), inf)
    return declared_margin(one + one, np.sqrt(gauges), zero, 0.95, comparisons, none)


def _gauge_variance(drain_pp: Floats, error_pp: float, correlation_pp: float) -> Floats:
    """Return u² that the gauge's deviation adds to one drain (pp²)."""
    gone = 1.0 - np.exp(-(drain_pp**2) / (2.0 * correlation_pp**2))
    return np.asarray(2.0 * error_pp**2 / 3.0 * gone)


def length_to_separate(
    rate_a: float,
    rate_b: float,
    *,
    power: float = 0.8,
    gauge_error_pp: float = 0.0,
    gauge_correlation_pp: float = 7.0,
    comparisons: int = 1,
) -> float:
    """Return the length of a phase (min) in which a comparison of the declared pair comes out.

    Parameters
    ----------
    rate_a, rate_b
        Expected rates (pp/h).
    power
        Probability that the comparison comes out.
    comparisons
        As for `drain_margin`.

    Returns
    -------
    float
        Minutes; infinite when the rates are equal or the charge of either would not suffice.

    Notes
    -----
    Two drains of whole percentages differ by a whole number: to exceed the margin m it must be
    ⌊m⌋ + 1, that is more than ⌊m⌋ + ½ before rounding. It scatters about the true difference by
    the resolution of four readings, 4/12 pp², and by the gauges, u_A² + u_B². So
    |Δr|·L ≥ ⌊m⌋ + ½ + z·√(1/3 + u_A² + u_B²).

    Examples
    --------
    12 against 14 pp/h by the displays: (1 + 0.5 + 0.8416 × 0.577)/2 h = 0.993 h = 60 min.

    >>> round(length_to_separate(12, 14))
    60
    """
    from scipy.special import ndtri

    difference = abs(rate_a - rate_b)
    longest = 100.0 / max(rate_a, rate_b) if max(rate_a, rate_b) > 0 else 0.0
    z = float(ndtri(power))
    hours = np.linspace(0.0, longest, 2001)[1:]
    drains = np.array([rate_a, rate_b])[:, None] * hours
    gauges = _gauge_variance(drains, gauge_error_pp, gauge_correlation_pp).sum(axis=0)
    margin = _margins(gauges, comparisons)
    enough = difference * hours >= np.floor(margin) + 0.5 + z * np.sqrt(1.0 / 3.0 + gauges)
    return float(hours[np.argmax(enough)]) * MIN_PER_H if enough.any() else inf
