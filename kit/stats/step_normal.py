"""Coverage of a sum of rounding errors and something normal, where neither is small.

The square root of the sum of the squares of two half-widths covers two normal errors. One
rectangular error has no tails, so that 95 % of it reach almost to its end; with a normal error
added the ends are passed more often than that rule allows for.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["step_normal_half_width"]

_RATIOS = np.linspace(0.0, 1.0, 6)
"""Half-width of the second rectangle over that of the first."""

_SHARES = np.linspace(0.0, 0.98, 50)
"""Share σ/(σ + a) of the normal part."""

_ACROSS = 24
"""Points at which the second rectangle is summed up."""

_HALVINGS = 48


def _inside(t: Floats, sigma: Floats, ratio: Floats) -> Floats:
    """Return P(|U(−1, 1) + U(−r, r) + N(0, σ)| ≤ t)."""
    from scipy.special import ndtr

    second = ((np.arange(_ACROSS) + 0.5) / _ACROSS * 2.0 - 1.0) * ratio[..., None]

    def below(x: Floats) -> Floats:
        """Return P(U(−1, 1) + N ≤ x), the integral of Φ over the width of the rectangle."""
        z_up, z_low = (x + 1.0) / sigma[..., None], (x - 1.0) / sigma[..., None]
        density = np.exp(-(z_up**2) / 2.0) - np.exp(-(z_low**2) / 2.0)
        integral = z_up * ndtr(z_up) - z_low * ndtr(z_low) + density / np.sqrt(2.0 * np.pi)
        return np.asarray(sigma[..., None] * integral / 2.0)

    at = t[..., None]
    return np.asarray((below(at - second) - below(-at - second)).mean(axis=-1))


@lru_cache(maxsize=16)
def _table(coverage: float) -> Floats:
    """Return the half-width over (a + σ), by ratio and share."""
    share = np.maximum(_SHARES, 1e-3)
    sigma = np.broadcast_to(share / (1.0 - share), (_RATIOS.size, share.size))
    ratio = np.broadcast_to(_RATIOS[:, None], sigma.shape)
    low, high = np.zeros(sigma.shape), 2.0 + 8.0 * sigma
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        enough = _inside(middle, sigma, ratio) >= coverage
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return np.asarray(high / (1.0 + sigma))


def step_normal_half_width(
    first: ArrayLike, ratio: ArrayLike, sigma: ArrayLike, coverage: float
) -> Floats:
    """Return the half-width that covers two rectangular errors and a normal one.

    Parameters
    ----------
    first
        Half-width a of the larger rectangle.
    ratio
        Half-width of the smaller one over it, 0 to 1.
    sigma
        Standard uncertainty of the normal error.
    coverage
        Probability.

    Notes
    -----
    P(|U(−a, a) + N| ≤ t) has the closed form σ/(2a) Σ ± [zΦ(z) + φ(z)]; the second rectangle is
    summed up over 24 points and t is found by halving, once for a grid of ratios and shares; the
    grid is read linearly. Derived in docs/measurement.md.

    Examples
    --------
    One rectangle alone: 95 % of it. With σ = 0.144 beside a = 0.5: 0.58, where
    √(0.475² + (1.96 · 0.144)²) is 0.55:

    >>> [round(float(step_normal_half_width(0.5, 0.0, s, 0.95)), 2) for s in (0.0, 0.144)]
    [0.47, 0.58]
    """
    a, r, s = np.broadcast_arrays(*(np.asarray(v, dtype=np.float64) for v in (first, ratio, sigma)))
    table = _table(coverage)
    total = a + s
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(total > 0.0, s / total, 0.0)
    x = np.clip(r, 0.0, 1.0) * (_RATIOS.size - 1)
    y = np.clip(share, 0.0, _SHARES[-1]) / _SHARES[1]
    i = np.minimum(x.astype(np.int64), _RATIOS.size - 2)
    j = np.minimum(y.astype(np.int64), _SHARES.size - 2)
    u, v = x - i, y - j
    upper = table[i, j] * (1.0 - v) + table[i, j + 1] * v
    lower = table[i + 1, j] * (1.0 - v) + table[i + 1, j + 1] * v
    return np.asarray((upper * (1.0 - u) + lower * u) * total)
