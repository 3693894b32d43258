"""Distributions fitted to windows: each time is only known to lie between two bounds.

``high = low``: exact; ``high = inf``: right-censored; else the time lies in (low, high].
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["CensoredFit", "WindowedCurve", "fit_censored", "turnbull"]

Family = Literal["normal", "exponential"]

_TOLERANCE = 1e-10
_MOST_STEPS = 20_000


def _checked(low: ArrayLike, high: ArrayLike) -> tuple[Floats, Floats]:
    lo, hi = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    if lo.ndim != 1 or lo.shape != hi.shape or lo.size == 0:
        msg = f"low and high must be alike and not empty, got {lo.shape} and {hi.shape}"
        raise ValueError(msg)
    if np.isnan(lo).any() or np.isnan(hi).any() or (hi < lo).any():
        msg = "every window needs low <= high"
        raise ValueError(msg)
    return lo, hi


@dataclass(frozen=True, kw_only=True)
class WindowedCurve:
    """The shortest list of intervals that can carry probability, and how much each carries.

    Parameters
    ----------
    low, high
        Shape (k,). Ends of the intervals; ``high = inf`` for the last if runs were censored.
    mass
        Shape (k,). Probability in each; where inside it lies is not known.
    """

    low: Floats
    high: Floats
    mass: Floats


def turnbull(low: ArrayLike, high: ArrayLike) -> WindowedCurve:
    """Return the self-consistent estimate of the distribution behind windows.

    Parameters
    ----------
    low, high
        Shape (n,). Bounds of each time.

    Raises
    ------
    ValueError
        For empty or unlike input, or a window that ends before it starts.

    Notes
    -----
    Probability can only lie in the innermost intervals (a left bound followed at once by a
    right bound). Masses are found by repeating ``p_j ← mean_i (a_ij p_j/Σ_k a_ik p_k)`` with
    a_ij = 1 where interval j lies in window i, until no mass moves by more than 1e-10.

    References
    ----------
    B. W. Turnbull (1976), J. R. Stat. Soc. B 38:290–295 (cited from memory).

    Examples
    --------
    One window (1, 3] and one time of exactly 4: half the mass each.

    >>> curve = turnbull([1, 4], [3, 4])
    >>> curve.low.tolist(), curve.high.tolist(), curve.mass.tolist()
    ([1.0, 4.0], [3.0, 4.0], [0.5, 0.5])
    """
    lo, hi = _checked(low, high)
    # at one value: an exact time starts, then windows end, then open windows start
    left = sorted({(v, 0 if v == w else 2) for v, w in zip(lo.tolist(), hi.tolist(), strict=True)})
    right = sorted({(w, 1) for w in hi.tolist()})
    ends = sorted([(*key, "L") for key in left] + [(*key, "R") for key in right])
    inner = [(a, b) for a, b in pairwise(ends) if a[2] == "L" and b[2] == "R"]
    low_j = np.array([a[0] for a, _ in inner])
    high_j = np.array([b[0] for _, b in inner])
    exact = lo == hi
    holds = (lo[:, None] <= low_j) & (high_j <= hi[:, None])
    # an open window (v, …] does not hold the exact time v
    holds &= ~(~exact[:, None] & (lo[:, None] == high_j))
    mass = np.full(low_j.size, 1.0 / low_j.size)
    for _ in range(_MOST_STEPS):
        weight = holds * mass
        new = (weight / weight.sum(axis=1, keepdims=True)).mean(axis=0)
        moved = float(np.abs(new - mass).max())
        mass = new
        if moved < _TOLERANCE:
            break
    return WindowedCurve(low=low_j, high=high_j, mass=mass)


@dataclass(frozen=True, kw_only=True)
class CensoredFit:
    """A distribution fitted to windows by maximum likelihood.

    Parameters
    ----------
    mean, mean_u
        Mean and its standard uncertainty from the curvature of the likelihood.
    sd
        Standard deviation of the fitted distribution (not corrected for small n).
    log_likelihood
        At the maximum.
    """

    family: Family
    mean: float
    mean_u: float
    sd: float
    log_likelihood: float


def _log_minus(big: Floats, small: Floats) -> Floats:
    """Return ln(e^big − e^small) for big ≥ small."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return big + np.log1p(-np.exp(np.minimum(small - big, 0.0)))


def _normal_terms(lo: Floats, hi: Floats) -> Callable[[Floats], float]:
    from scipy.special import log_ndtr

    exact = lo == hi

    def negative(theta: Floats) -> float:
        mean, sd = theta[0], np.exp(theta[1])
        a, b = (lo - mean) / sd, (hi - mean) / sd
        # on the side where the tail is short, so that no digits are lost
        flip = a > 0.0
        upper = np.where(flip, log_ndtr(-a), log_ndtr(b))
        lower = np.where(flip, log_ndtr(-b), log_ndtr(a))
        density = -0.5 * a * a - np.log(sd) - 0.5 * np.log(2.0 * np.pi)
        terms = np.where(exact, density, _log_minus(upper, lower))
        return -float(terms.sum())

    return negative


def _exponential_terms(lo: Floats, hi: Floats) -> Callable[[Floats], float]:
    exact = lo == hi

    def negative(theta: Floats) -> float:
        rate = np.exp(-theta[0])
        with np.errstate(over="ignore"):
            between = _log_minus(-rate * lo, -rate * hi)
        terms = np.where(exact, -theta[0] - rate * lo, between)
        return -float(terms.sum())

    return negative


def fit_censored(low: ArrayLike, high: ArrayLike, *, family: Family) -> CensoredFit:
    """Fit a distribution to windows by maximum likelihood.

    Parameters
    ----------
    low, high
        Shape (n,). Bounds of each time.
    family
        ``normal`` (scatter of runs about a mean) or ``exponential`` (a check of the method:
        it has closed forms).

    Raises
    ------
    ValueError
        For unusable windows, or when fewer than two (one) of them have an upper bound.

    Notes
    -----
    Each window gives ``ln(F(high) − F(low))``, an exact time ``ln f``. The standard uncertainty
    of the mean is from the inverse of the numerical second derivative at the maximum. With few
    runs the likelihood understates the scatter; see :mod:`kit.runtime.replicates` for the t
    interval.

    Examples
    --------
    Exact times 2, 4, 6 and exponential: the mean is 4, its u = 4/sqrt(3) = 2.31.

    >>> fit = fit_censored([2, 4, 6], [2, 4, 6], family="exponential")
    >>> round(fit.mean, 4), round(fit.mean_u, 2)
    (4.0, 2.31)
    """
    from scipy.optimize import minimize

    lo, hi = _checked(low, high)
    bounded = np.isfinite(hi)
    needed = 2 if family == "normal" else 1
    if int(bounded.sum()) < needed:
        msg = f"a fit needs {needed} windows with an upper bound, got {int(bounded.sum())}"
        raise ValueError(msg)
    middle = np.where(bounded, (lo + np.where(bounded, hi, lo)) / 2.0, lo)
    # work in units of the data's own size
    scale = float(np.abs(middle).max()) or 1.0
    lo, hi, middle = lo / scale, hi / scale, middle / scale
    if family == "normal":
        spread = max(float(middle.std()), 1e-3)
        negative = _normal_terms(lo, hi)
        start = np.array([middle.mean(), np.log(spread)])
    else:
        negative = _exponential_terms(lo, hi)
        start = np.array([np.log(max(float(middle.sum()) / int(bounded.sum()), 1e-9))])
    found = minimize(
        negative,
        start,
        method="Nelder-Mead",
        options={"xatol": 1e-10, "fatol": 1e-13, "maxiter": 20_000, "maxfev": 20_000},
    )
    theta = np.asarray(found.x, dtype=np.float64)
    inverse = np.linalg.inv(_curvature(negative, theta))
    if family == "normal":
        mean, mean_u, sd = theta[0], np.sqrt(inverse[0, 0]), np.exp(theta[1])
    else:
        mean = sd = np.exp(theta[0])
        mean_u = mean * np.sqrt(inverse[0, 0])
    return CensoredFit(
        family=family,
        mean=float(mean) * scale,
        mean_u=float(mean_u) * scale,
        sd=float(sd) * scale,
        log_likelihood=-float(found.fun) - int((lo == hi).sum()) * float(np.log(scale)),
    )


def _curvature(function: Callable[[Floats], float], at: Floats) -> Floats:
    """Return the matrix of second derivatives by central differences."""
    k = at.size
    step = np.full(k, 1e-4)
    step[0] = 1e-4 * max(float(np.exp(at[1])) if k > 1 else 1.0, 1e-6)
    matrix = np.empty((k, k))
    for i in range(k):
        for j in range(k):
            e_i, e_j = np.eye(k)[i] * step, np.eye(k)[j] * step
            matrix[i, j] = (
                function(at + e_i + e_j) - function(at + e_i - e_j)
                - function(at - e_i + e_j) + function(at - e_i - e_j)
            ) / (4.0 * step[i] * step[j])  # fmt: skip
    return matrix
