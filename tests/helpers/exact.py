"""Exact answers, slow and by another road than the kit's, for tests to compare with."""

from __future__ import annotations

from itertools import product
from math import factorial

import numpy as np
from numpy.typing import ArrayLike

__all__ = ["sum_of_uniforms_half_width"]


def sum_of_uniforms_half_width(half_widths: ArrayLike, coverage: float) -> float:
    """Return the half-width that covers a sum of n uniform errors, exactly; n at most 12.

    Parameters
    ----------
    half_widths
        Shape (n,). Half-widths of the errors; zeros are left out.

    Notes
    -----
    P(S ≤ x) = Σ_ε (Πε)(x + Σεa)₊ⁿ / (n! Π2a) over the 2ⁿ choices of signs ε, solved by
    bisection.

    References
    ----------
    JCGM 101:2008, 9.2.3 (values from memory): four of standard deviation 1, ±3.88; the formula
    gives ±2√3(2 − 0.6^¼) = 3.8794 for that case.

    Examples
    --------
    >>> round(sum_of_uniforms_half_width([3**0.5] * 4, 0.95), 4)
    3.8794
    """
    a = np.abs(np.asarray(half_widths, dtype=np.float64))
    a = a[a > 0.0]
    if a.size == 0:
        return 0.0
    if a.size > 12:
        msg = f"at most 12 errors, got {a.size}"
        raise ValueError(msg)
    signs = np.array(list(product((1.0, -1.0), repeat=a.size)))
    shift, sign = signs @ a, signs.prod(axis=1)
    norm = factorial(a.size) * float(np.prod(2.0 * a))
    low, high = 0.0, float(a.sum())
    for _ in range(60):
        middle = (low + high) / 2.0
        below = float((sign * np.maximum(middle + shift, 0.0) ** a.size).sum()) / norm
        low, high = (middle, high) if below < 0.5 + coverage / 2.0 else (low, middle)
    return (low + high) / 2.0
