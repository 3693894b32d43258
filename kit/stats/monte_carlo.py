"""Propagation of distributions by Monte Carlo: intervals, tolerances, adaptive stopping.

Nothing here knows devices. References are to JCGM 101:2008 (clauses and numbers from memory).
"""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "agrees",
    "block_size",
    "blocks_until_stable",
    "furthest",
    "sorted_interval",
    "tolerance",
    "triangular_root",
    "weighted_sum",
]

IntervalKind = Literal["symmetric", "shortest"]

_NEXT_TO_NOTHING = 1e-3
"""A weight below this share of the largest changes a standard deviation by less than 1e-6."""


def tolerance(u: ArrayLike, digits: int) -> Floats:
    """Return the numerical tolerance δ of a standard uncertainty stated to some digits.

    Parameters
    ----------
    u
        Standard uncertainty, above 0; any shape.
    digits
        Significant digits, 1 or 2 as a rule.

    Returns
    -------
    array
        δ = ½·10^l, where u = c·10^l and c is a whole number of that many digits.

    References
    ----------
    JCGM 101:2008, 7.9.2: u = 0.000 35 to two digits gives δ = 0.000 005.

    Examples
    --------
    0.41 to one digit is 4·10⁻¹, so δ = 0.05:

    >>> [float(tolerance(0.41, 1)), float(tolerance(0.00035, 2)), float(tolerance(2.0, 2))]
    [0.05, 5e-06, 0.05]
    """
    if digits < 1:
        msg = f"digits must be at least 1, got {digits}"
        raise ValueError(msg)
    value = np.asarray(u, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        exponent = np.floor(np.log10(value)) - (digits - 1)
        # rounding to that many digits may carry over into the next power of ten (0.096 → 0.1)
        carried = np.round(value / 10.0**exponent) >= 10.0**digits
        return np.asarray(0.5 * 10.0 ** (exponent + carried))


def block_size(coverage: float) -> int:
    """Return the draws of one block of the adaptive procedure: max(⌈100/(1 − p)⌉, 10⁴).

    References
    ----------
    JCGM 101:2008, 7.9.4.

    Examples
    --------
    >>> block_size(0.95), block_size(0.999)
    (10000, 100000)
    """
    if not 0.0 < coverage < 1.0:
        msg = f"coverage must lie between 0 and 1, got {coverage}"
        raise ValueError(msg)
    return max(ceil(round(100.0 / (1.0 - coverage), 6)), 10_000)


def sorted_interval(
    draws: NDArray[np.floating], coverage: float, *, kind: IntervalKind = "symmetric"
) -> tuple[float, float]:
    """Return the coverage interval of draws that are sorted in rising order.

    Parameters
    ----------
    draws
        Shape (m,). Sorted; no NaN.
    coverage
        Probability p.
    kind
        ``symmetric``: as many draws below as above. ``shortest``: the narrowest interval.

    Notes
    -----
    With q = pM (or its rounding), the interval is from the r-th to the (r + q)-th draw;
    r = (M − q)/2 for the symmetric one, and the r of the least width for the shortest.

    References
    ----------
    JCGM 101:2008, 7.7 and D.7.

    Examples
    --------
    For an exponential distribution the shortest interval starts at 0, and ends at −ln 0.05:

    >>> p = (np.arange(100_000) + 0.5) / 100_000
    >>> low, high = sorted_interval(-np.log(1 - p), 0.95, kind="shortest")
    >>> round(low, 3), round(high, 2)
    (0.0, 3.0)
    """
    m = draws.size
    if m < 2:
        msg = f"an interval needs at least 2 draws, got {m}"
        raise ValueError(msg)
    q = min(round(coverage * m), m - 1)
    if kind == "shortest":
        r = int(np.argmin(draws[q:] - draws[: m - q]))
    else:
        r = min((m - q + 1) // 2, m - 1 - q)
    return float(draws[r]), float(draws[r + q])


def blocks_until_stable(
    block: Callable[[int], Floats], *, digits: int, most: int
) -> tuple[int, bool]:
    """Return after how many blocks of draws all figures are stable, and whether they are.

    Parameters
    ----------
    block
        Called with 0, 1, 2 and so on: draws a block of its own and returns its figures, shape
        (figures, n), the standard uncertainties first, then what else is to be stable; NaN for
        what is not judged.
    digits
        Significant digits of u that must not change.
    most
        Most blocks to draw; 2 at least are drawn.

    Notes
    -----
    After h ≥ 2 blocks, s is the standard deviation of the mean of a figure's h values; it is
    stable when 2s < δ, δ from `tolerance` and the mean u.

    References
    ----------
    JCGM 101:2008, 7.9.4.

    Examples
    --------
    The sum of two uniform errors of ±½, u = 1/√6 = 0.41, to one digit:

    >>> def block(i):
    ...     rng = np.random.default_rng(i)
    ...     draws = np.sort(rng.random(10_000) - rng.random(10_000))
    ...     return np.array([[draws.std()], *([v] for v in sorted_interval(draws, 0.95))])
    >>> blocks_until_stable(block, digits=1, most=20)
    (2, True)
    """
    found: list[Floats] = []
    stable = False
    while not stable and len(found) < max(most, 2):
        found.append(block(len(found)))
        if len(found) < 2:
            continue
        stack = np.stack(found)
        with np.errstate(invalid="ignore"):
            spread = np.std(stack, axis=0, ddof=1) / np.sqrt(len(found))
            moving = 2.0 * spread >= tolerance(stack[:, 0].mean(axis=0), digits)
        stable = not bool(moving.any())
    return len(found), stable


def agrees(
    gum_low: ArrayLike, gum_high: ArrayLike, mc_low: ArrayLike, mc_high: ArrayLike, delta: ArrayLike
) -> NDArray[np.bool_]:
    """Return whether both ends of the closed form lie within δ of those by Monte Carlo.

    References
    ----------
    JCGM 101:2008, 8.1.

    Examples
    --------
    Four rectangular errors of standard deviation 1: ±3.92 by the closed form, ±3.88 by Monte
    Carlo. That is good to one digit of u = 2 (δ = 0.5), and to two (δ = 0.05):

    >>> [bool(agrees(-3.92, 3.92, -3.88, 3.88, tolerance(2.0, n))) for n in (1, 2, 3)]
    [True, True, False]
    """
    low = np.abs(np.asarray(gum_low, dtype=np.float64) - np.asarray(mc_low, dtype=np.float64))
    high = np.abs(np.asarray(gum_high, dtype=np.float64) - np.asarray(mc_high, dtype=np.float64))
    with np.errstate(invalid="ignore"):
        return np.asarray((low <= delta) & (high <= delta), dtype=bool)


def furthest(
    gum_low: ArrayLike, gum_high: ArrayLike, mc_low: ArrayLike, mc_high: ArrayLike, delta: ArrayLike
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return the interval to state, and whether Monte Carlo has a part in it.

    Parameters
    ----------
    gum_low, gum_high, mc_low, mc_high
        Ends by the closed form and by Monte Carlo, of one shape; NaN: none.
    delta
        Numerical tolerance; NaN: the ends are not compared.

    Returns
    -------
    low, high, drawn
        The ends by the closed form, unless Monte Carlo reaches further by more than δ on either
        side: then the further of the two on both sides.

    Examples
    --------
    ± 0.80 by the closed form and ± 0.95 by Monte Carlo, within 0.05; and ± 0.78:

    >>> [[float(v) for v in furthest(-0.8, 0.8, -x, x, 0.05)] for x in (0.95, 0.78)]
    [[-0.95, 0.95, 1.0], [-0.8, 0.8, 0.0]]
    """
    low, high, least, most, slack = (
        np.asarray(values, dtype=np.float64)
        for values in (gum_low, gum_high, mc_low, mc_high, delta)
    )
    with np.errstate(invalid="ignore"):
        drawn = np.asarray((least < low - slack) | (most > high + slack))
    return (
        np.where(drawn, np.fmin(low, least), low),
        np.where(drawn, np.fmax(high, most), high),
        drawn,
    )


def triangular_root(covariance: Floats) -> Floats:
    """Return a lower triangular R with R Rᵀ = a covariance that need not have full rank.

    Column by column (Cholesky); a variance below 1e-12 of the largest is taken as 0.

    Examples
    --------
    Two deviations that are alike, and one that is none:

    >>> triangular_root(np.array([[4.0, 4.0, 0.0], [4.0, 4.0, 0.0], [0.0, 0.0, 0.0]])).tolist()
    [[2.0, 0.0, 0.0], [2.0, 0.0, 0.0], [0.0, 0.0, 0.0]]
    """
    left = np.array(covariance, dtype=np.float64)
    root = np.zeros_like(left)
    least = 1e-12 * float(np.max(np.diagonal(left), initial=0.0))
    for j in range(len(left)):
        if left[j, j] > least:
            root[j:, j] = left[j:, j] / np.sqrt(left[j, j])
            left -= np.outer(root[:, j], root[:, j])
    return root


def weighted_sum(weights: Floats, draws: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the weighted sum of rows of draws; weights that add next to nothing are left out.

    Examples
    --------
    >>> weighted_sum(np.array([2.0, 1e-9]), np.ones((2, 3), dtype=np.float32)).tolist()
    [2.0, 2.0, 2.0]
    """
    least = _NEXT_TO_NOTHING * float(np.abs(weights).max(initial=0.0))
    total = np.zeros(draws.shape[1], dtype=np.float32)
    for j in np.flatnonzero(np.abs(weights) > least).tolist():
        total += np.float32(weights[j]) * draws[j]
    return total
