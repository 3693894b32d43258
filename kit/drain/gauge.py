"""What a percentage display is: its step, its rounding, its deviations, its physics.

Nothing here reads a log; values and settings come in as arguments. Derivations and sources are
in docs/measurement.md.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike, NDArray

    from kit.session import Gauge, RoundingConvention

    Floats = NDArray[np.float64]

__all__ = [
    "FULL_PCT",
    "charge_excess",
    "constant_power_drain",
    "convention",
    "display_step",
    "display_steps",
    "error_covariance",
    "saver_thresholds",
    "step_of",
]

FULL_PCT = 100.0
"""What a display shows of a full battery (%)."""

CHARGE_EXCESS_LEVEL_PCT = (0.0, 10.0, 30.0, 50.0, 70.0, 90.0, 100.0)
CHARGE_EXCESS = (0.13, 0.06, 0.03, 0.005, -0.025, -0.065, -0.08)
"""Rate at constant power of a gauge that counts charge, relative to the mean over the run, less
1: typical of layered-oxide cells from 4.2 V to 3.3 V, derived in docs/measurement.md."""

SAVER_THRESHOLDS_PCT = (20.0, 15.0, 10.0)
"""Levels at which a power saver or dimming commonly starts (common practice, no source)."""

_OFFSETS = {"truncated": 0.5, "nearest": 0.0, "rounded_up": -0.5}

_MIN_VALUES_COARSE = 4
_MIN_VALUES_TWO = 8
"""Different values needed before a common divisor is taken for the display's step: four whole
numbers are all multiples of 5 by chance in 0.2 % of cases, all even in 6 %; eight in 0.4 %."""

_COARSE_STEPS = (20, 10, 5, 2)
_DECIMALS = (1.0, 0.1, 0.01)


def convention(rounding: RoundingConvention) -> tuple[float, float]:
    """Return offset (steps) from the number shown to the true value, and the offset's variance.

    Parameters
    ----------
    rounding
        ``truncated``: the true value lies on average half a step above the number shown;
        ``nearest``: at it; ``rounded_up``: half a step below; ``unknown``: any of the three.

    Examples
    --------
    >>> convention("truncated")
    (0.5, 0.0)
    >>> tuple(round(v, 4) for v in convention("unknown"))
    (0.0, 0.1667)
    """
    from kit.stats.uncertainty import CONVENTION_VARIANCE

    if rounding == "unknown":
        return 0.0, CONVENTION_VARIANCE
    return _OFFSETS[rounding], 0.0


def display_step(values: ArrayLike) -> float:
    """Return the step of a display (%) from the different values that it showed.

    Parameters
    ----------
    values
        Shape (n,). Percentages; order and repeats do not matter, NaN is left out.

    Returns
    -------
    float
        20, 10, 5 or 2 where all values below 100 are multiples of it and there are 4 different
        ones (8 for a step of 2); else 1 for whole numbers, 0.1 or 0.01 where decimals were read.

    Notes
    -----
    100 is left out: it is shown by every display.

    Examples
    --------
    >>> display_step([100, 90, 80, 70, 50]), display_step([100, 93, 88, 71, 64])
    (10.0, 1.0)
    >>> display_step([88.4, 71.2])
    0.1
    """
    seen = np.asarray(values, dtype=np.float64)
    seen = seen[(seen < 100.0) & (seen > 0.0)]
    for resolution in _DECIMALS:
        whole = np.rint(seen / resolution)
        if np.all(np.abs(seen / resolution - whole) < 1e-3):
            break
    if resolution < 1.0 or not seen.size:
        return resolution
    different = np.flatnonzero(np.bincount(whole.astype(np.int64)))
    if not different.size:
        return 1.0
    common = int(np.gcd.reduce(different))
    step = next((q for q in _COARSE_STEPS if common % q == 0), 1)
    enough = _MIN_VALUES_TWO if step < 5 else _MIN_VALUES_COARSE
    return float(step) if different.size >= enough else 1.0


def display_steps(values: ArrayLike) -> Floats:
    """Return what `display_step` does for each of several displays, (…, n) → (…,).

    Examples
    --------
    >>> display_steps([[100, 90, 80, 70, 50], [100, 93, 88, 71, 64]]).tolist()
    [10.0, 1.0]
    """
    shown = np.asarray(values, dtype=np.float64)
    seen = np.where((shown < 100.0) & (shown > 0.0), shown, 0.0)
    present = np.zeros((*seen.shape[:-1], 101), dtype=bool)
    np.put_along_axis(present, np.rint(seen).astype(np.int64), values=True, axis=-1)
    present[..., 0] = False
    common = np.gcd.reduce(np.where(present, np.arange(101), 0), axis=-1)
    different = present.sum(axis=-1)
    step = np.ones(different.shape)
    for coarse in reversed(_COARSE_STEPS):
        enough = different >= (_MIN_VALUES_TWO if coarse < 5 else _MIN_VALUES_COARSE)
        step = np.where(common % coarse == 0, np.where(enough, float(coarse), 1.0), step)
    fits = [(np.abs(seen / q - np.rint(seen / q)) < 1e-3).all(axis=-1) for q in _DECIMALS[:-1]]
    return np.select(fits, [step, *_DECIMALS[1:-1]], default=_DECIMALS[-1])


def step_of(gauge: Gauge, values: ArrayLike) -> float:
    """Return the stated step of a display (%), else the one its values show.

    Examples
    --------
    >>> from kit.session import Gauge
    >>> step_of(Gauge(step_pct=5.0), [83, 71]), step_of(Gauge(), [83, 71])
    (5.0, 1.0)
    """
    if gauge.step_pct is not None and gauge.step_pct > 0.0:
        return float(gauge.step_pct)
    return display_step(values)


def charge_excess(level_pct: ArrayLike) -> Floats:
    """Return how much faster than on average a charge-counting gauge falls, at constant power.

    Parameters
    ----------
    level_pct
        State of charge (%).

    Notes
    -----
    At constant power the current grows as the voltage falls, so a percentage of charge lasts
    less long near empty. Linear between points; derived in docs/measurement.md.

    Examples
    --------
    The same activity at 20 % and at 90 %: (1 + 0.045)/(1 − 0.065) = 1.118:

    >>> low, high = charge_excess([20.0, 90.0])
    >>> round(float((1 + low) / (1 + high)), 3)
    1.118
    """
    return np.asarray(
        np.interp(np.asarray(level_pct, dtype=np.float64), CHARGE_EXCESS_LEVEL_PCT, CHARGE_EXCESS)
    )


def constant_power_drain(
    drain_pp: ArrayLike, beta: ArrayLike, share: ArrayLike = 0.5, half_width: ArrayLike = 0.5
) -> tuple[Floats, Floats, Floats]:
    """Return the drain that stands for energy, and the bounds of what is not known of it.

    Parameters
    ----------
    drain_pp
        Drain by the gauge (pp).
    beta
        Effect of the level (`charge_excess`), broadcast with the drain.
    share, half_width
        How much of that effect the gauge shows: 1 counts charge, 0 counts energy, ½ ± ½ for one
        that may count either.

    Returns
    -------
    drain, up, down
        ``d/(1 + sβ)``, and how far ``d/(1 + (s − h)β)`` and ``d/(1 + (s + h)β)`` lie from it
        (pp, with their signs).

    Examples
    --------
    10 pp around 10 %, β = 0.06: 10/1.03 = 9.709; 10 − 9.709 = 0.291; 10/1.06 − 9.709 = −0.275:

    >>> [round(float(v), 3) for v in constant_power_drain(10.0, 0.06)]
    [9.709, 0.291, -0.275]
    """
    d, b, s, h = (np.asarray(v, dtype=np.float64) for v in (drain_pp, beta, share, half_width))
    middle = d / (1.0 + s * b)
    return middle, d / (1.0 + (s - h) * b) - middle, d / (1.0 + (s + h) * b) - middle


def error_covariance(
    levels_pct: ArrayLike,
    half_width_pp: float,
    correlation_pp: float,
    *,
    full: ArrayLike = False,
) -> Floats:
    """Return the covariance of a gauge's deviations from true charge at several levels (pp²).

    Parameters
    ----------
    levels_pct
        Shape (…, n). Percentages of the readings.
    half_width_pp
        Half-width A of the deviation (pp).
    correlation_pp
        Distance λ over which the deviation stays alike (pp).
    full
        Shape (…,). Whether the deviation at 100 % is zero, because the device was known to
        be full.

    Returns
    -------
    array
        Shape (…, n, n). ``(A²/3) exp(−(D − D′)²/(2λ²))``, less what a known full charge says.

    Examples
    --------
    From 87 % to 75 % with A = 3, λ = 7: u² = 2·3·(1 − exp(−144/98)) = 4.619, u = 2.149 pp:

    >>> k = error_covariance([87.0, 75.0], 3.0, 7.0)
    >>> c = np.array([1.0, -1.0])
    >>> round(float(np.sqrt(c @ k @ c)), 3)
    2.149

    From a known full charge to 92 %: u² = 3(1 − exp(−64/49)) = 2.187, u = 1.479 pp:

    >>> round(float(error_covariance([92.0], 3.0, 7.0, full=True)[0, 0] ** 0.5), 3)
    1.479
    """
    level = np.asarray(levels_pct, dtype=np.float64)
    scale = half_width_pp**2 / 3.0
    apart = level[..., :, None] - level[..., None, :]
    alike = np.exp(-(apart**2) / (2.0 * correlation_pp**2))
    to_full = np.exp(-((100.0 - level) ** 2) / (2.0 * correlation_pp**2))
    known = to_full[..., :, None] * to_full[..., None, :]
    return np.asarray(scale * (alike - np.where(np.asarray(full)[..., None, None], known, 0.0)))


def saver_thresholds(conditions: Mapping[str, object]) -> tuple[float, ...]:
    """Return the levels (%) at which a power saver or dimming may have begun, highest first.

    Parameters
    ----------
    conditions
        Conditions of one device: ``power_saver``, ``power_saver_threshold_pct``, ``dimming``,
        ``dimming_threshold_pct``.

    Notes
    -----
    A saver stated ``off`` begins nowhere; one whose threshold is stated begins there; otherwise
    20, 15 and 10 % are possible. Dimming counts where it is stated to be on or has a
    threshold.

    Examples
    --------
    >>> saver_thresholds({})
    (20.0, 15.0, 10.0)
    >>> saver_thresholds({"power_saver": "off"})
    ()
    >>> saver_thresholds({"power_saver": "automatic", "power_saver_threshold_pct": 15})
    (15.0,)
    """
    found: set[float] = set()
    for name in ("power_saver", "dimming"):
        state = str(conditions.get(name, "not recorded")).strip().lower()
        threshold = conditions.get(f"{name}_threshold_pct")
        if state in ("off", "false", "no"):
            continue
        if isinstance(threshold, (int, float)) and not isinstance(threshold, bool):
            found.add(float(threshold))
        elif name == "power_saver" or state != "not recorded":
            found.update(SAVER_THRESHOLDS_PCT)
    return tuple(sorted(found, reverse=True))
