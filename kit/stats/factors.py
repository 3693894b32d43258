"""Factors between a standard uncertainty and a coverage interval, and degrees of freedom.

Exact widths of the distributions that occur (normal, Student, trapezoid) and the guards by which
the usual factors are rounded up.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "NORMAL_GUARD",
    "coverage_factor",
    "effective_dof",
    "normal_factor",
    "one_sided_factor",
    "relative_u_of_s",
    "trapezoid_half_width",
]

NORMAL_GUARD = 2.0 / 1.959963984540054
"""The usual k = 2 in place of 1.96 at 95 %: factors are rounded up, here by 2.0 %."""


@lru_cache(maxsize=64)
def normal_factor(coverage: float) -> float:
    """Return the coverage factor for a normal distribution, rounded up: exactly 2 at 95 %.

    Raises
    ------
    ValueError
        Unless 0 < coverage < 1.

    Examples
    --------
    >>> round(normal_factor(0.95), 6)
    2.0
    """
    from scipy.special import ndtri

    _check_coverage(coverage)
    return NORMAL_GUARD * float(ndtri(0.5 + coverage / 2.0))


@lru_cache(maxsize=64)
def one_sided_factor(coverage: float) -> float:
    """Return the one-sided factor for a normal distribution, rounded up as `normal_factor` is.

    Examples
    --------
    1.6449 × 2/1.95996:

    >>> round(one_sided_factor(0.95), 3)
    1.678
    """
    from scipy.special import ndtri

    return NORMAL_GUARD * float(ndtri(coverage))


def effective_dof(u: ArrayLike, dof: ArrayLike) -> float:
    """Return the effective degrees of freedom of u_c = √Σu² (Welch–Satterthwaite).

    Parameters
    ----------
    u
        Shape (n,). Standard uncertainties, absolute or relative, contributing to one result.
    dof
        Shape (n,). Their degrees of freedom; ``inf`` for a type B input.

    Returns
    -------
    float
        Not rounded, ``inf`` when every contribution has infinite degrees of freedom.

    Notes
    -----
    ν_eff = u_c⁴ / Σ(u_i⁴/ν_i). u_c enters unrounded: the 32 nm printed for GUM H.1 in place of
    31.66 nm would turn 16.7 into 17.5.

    References
    ----------
    JCGM 100:2008 (GUM), G.4.1, equation (G.2b), and its example (numbers from memory):
    relative u 0.25 %, 0.57 %, 0.82 % with 9, 4 and 14 degrees of freedom give 19.0.

    Examples
    --------
    >>> round(effective_dof([0.25, 0.57, 0.82], [9, 4, 14]), 1)
    19.0
    """
    parts = np.asarray(u, dtype=np.float64)
    degrees = np.asarray(dof, dtype=np.float64)
    total = float((parts**2).sum()) ** 2
    spread = float((parts**4 / degrees).sum())
    return float("inf") if spread == 0.0 else total / spread


@lru_cache(maxsize=1024)
def coverage_factor(coverage: float, dof: float = np.inf) -> float:
    """Return the two-sided factor of Student's t; exact, not rounded up.

    Parameters
    ----------
    coverage
        Probability of the interval.
    dof
        Degrees of freedom, not necessarily whole, used as they are, which is what interpolating a
        table approaches; ``inf`` gives the normal factor.

    Raises
    ------
    ValueError
        Unless 0 < coverage < 1 and dof > 0.

    References
    ----------
    JCGM 100:2008 (GUM), G.4.1 note 1 and table G.2 (from memory).

    Examples
    --------
    >>> [round(coverage_factor(0.95, n), 2) for n in (1, 4, 19, float("inf"))]
    [12.71, 2.78, 2.09, 1.96]
    """
    from scipy.special import ndtri, stdtrit

    _check_coverage(coverage)
    if not dof > 0.0:
        msg = f"degrees of freedom must be above 0, got {dof}"
        raise ValueError(msg)
    upper = 0.5 + coverage / 2.0
    return float(ndtri(upper) if np.isinf(dof) else stdtrit(dof, upper))


def relative_u_of_s(n: int) -> float:
    """Return the relative standard uncertainty of a standard deviation from ``n`` values.

    References
    ----------
    JCGM 100:2008 (GUM), table E.1 (from memory): n = 2 76 %, 3 52 %, 10 24 %, 30 13 %.

    Examples
    --------
    √(1 − c₄²)/c₄ with c₄ = √(2/(n − 1))·Γ(n/2)/Γ((n − 1)/2); n = 2: c₄ = 0.7979, 75.6 %:

    >>> round(relative_u_of_s(2), 3), round(relative_u_of_s(10), 3)
    (0.756, 0.239)
    """
    from math import exp, lgamma, sqrt

    if n < 2:
        msg = f"a standard deviation needs at least 2 values, got {n}"
        raise ValueError(msg)
    c4 = sqrt(2.0 / (n - 1)) * exp(lgamma(n / 2.0) - lgamma((n - 1) / 2.0))
    return sqrt(1.0 - c4 * c4) / c4


def trapezoid_half_width(a: ArrayLike, b: ArrayLike, coverage: float) -> Floats:
    """Return the half-width that covers the sum of two uniform errors, exactly.

    Parameters
    ----------
    a, b
        Half-widths of the two uniform errors, in any order.
    coverage
        Probability of the interval.

    Notes
    -----
    With a ≥ b the density is flat to a − b and then falls to 0 at a + b. The tails beyond x
    hold (a + b − x)²/(4ab), as long as that is at most b/a.

    Examples
    --------
    Two readings of a 1 % display, a = b = ½: 1 − √0.05 = 0.7764:

    >>> round(float(trapezoid_half_width(0.5, 0.5, 0.95)), 4)
    0.7764
    """
    _check_coverage(coverage)
    first = np.asarray(a, dtype=np.float64)
    second = np.asarray(b, dtype=np.float64)
    wide, narrow = np.maximum(first, second), np.minimum(first, second)
    miss = 1.0 - coverage
    tail = wide + narrow - np.sqrt(4.0 * wide * narrow * miss)
    return np.where(miss * wide <= narrow, tail, wide * coverage)


def _check_coverage(coverage: float) -> None:
    if not 0.0 < coverage < 1.0:
        msg = f"coverage must lie between 0 and 1, got {coverage}"
        raise ValueError(msg)
