"""How probable the order of two ends is, if they are independent within their windows.

What is shown beside a pair; it decides no order (`kit.stats.order.bounds` does).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["TAIL_MIN", "p_longer", "p_longest"]

TAIL_MIN = 60.0
"""Minutes that a device not seen off can still run when no reading tells (assumption)."""

_NARROWEST = 1e-6
"""Width (min) given to an interval noted as a single instant."""

_NARROWEST_RAMP = 1e-3
"""Least ramp that windows among windows with ramps are given, in min and per width."""

_GRID = 400
"""Points of the midpoint rule in :func:`p_longest`."""


def _square(z: Floats) -> Floats:
    """Return h(z) = max(z, 0)² / 2, the integral of the integral of a unit step."""
    positive = np.maximum(z, 0.0)
    return positive * positive / 2.0


class _Windows(NamedTuple):
    """Windows of n devices: T = low + U(0, wide) + U(0, narrow) where an end was seen."""

    low: Floats
    high: Floats
    tail: Floats
    wide: Floats
    narrow: Floats

    @property
    def open_end(self) -> Flags:
        return np.isinf(self.high)

    def of(self, items: NDArray[np.int64]) -> _Windows:
        return _Windows(*(values[items] for values in self))

    @property
    def known(self) -> Flags:
        return ~(np.isnan(self.low) | np.isnan(self.high))


def _windows(
    low: ArrayLike, high: ArrayLike, tail: ArrayLike | None, ramp: ArrayLike | None
) -> _Windows:
    lo, hi, spare = _bounds(low, high, tail)
    width = np.where(np.isinf(hi), 1.0, hi - lo)
    slope = np.zeros(lo.shape) if ramp is None else np.asarray(ramp, dtype=np.float64)
    slope = np.clip(np.where(np.isfinite(slope), slope, 0.0), 0.0, width)
    narrow = np.minimum(slope, width - slope)
    narrow = np.maximum(narrow, np.minimum(_NARROWEST, width / 2.0))
    return _Windows(lo, hi, spare, width - narrow, narrow)


def _p_ramped(w: _Windows) -> Floats:
    """Return P(T_i > T_j) for windows with ramps, by the volume of a cut through a box."""
    width = w.wide + w.narrow
    # a little ramp everywhere, so that differences of fourth powers keep their digits
    narrow = np.maximum(w.narrow, np.minimum(_NARROWEST_RAMP * np.maximum(width, 1.0), width / 2.0))
    wide = width - narrow
    with np.errstate(invalid="ignore"):
        ends = (w.low + width)[None, :] - w.low[:, None]
        signs, shifts = np.ones(1), np.zeros((1, *ends.shape))
        for part in (wide[:, None], narrow[:, None], wide[None, :], narrow[None, :]):
            shifts = np.concatenate((shifts, shifts + part))
            signs = np.concatenate((signs, -signs))
        cut = np.maximum(ends[None] - shifts, 0.0) ** 4
        box = (wide * narrow)[:, None] * (wide * narrow)[None, :]
        return 1.0 - np.tensordot(signs, cut, axes=1) / (24.0 * box)


def _share_off(w: _Windows, t: Floats) -> Floats:
    """Return P(T_j ≤ t) for every device along the last axis of t."""
    z = t - w.low
    up = _square(z) - _square(z - w.wide) - _square(z - w.narrow) + _square(z - w.wide - w.narrow)
    share = np.clip(up / (w.wide * w.narrow), 0.0, 1.0)
    return np.where(t >= w.high, 1.0, np.where(t <= w.low, 0.0, share))


def _quantiles(w: _Windows, q: Floats) -> Floats:
    """Return times by which a share q of the chance has passed; shape (n, q)."""
    edge = (w.narrow / (2.0 * w.wide))[:, None]
    both = 2.0 * (w.wide * w.narrow)[:, None]
    rise = np.sqrt(both * np.minimum(q, edge))
    fall = (w.wide + w.narrow)[:, None] - np.sqrt(both * np.minimum(1.0 - q, edge))
    flat = q * w.wide[:, None] + w.narrow[:, None] / 2.0
    return w.low[:, None] + np.where(q < edge, rise, np.where(q > 1.0 - edge, fall, flat))


def _bounds(low: ArrayLike, high: ArrayLike, tail: ArrayLike | None) -> tuple[Floats, ...]:
    lo = np.asarray(low, dtype=np.float64)
    hi = np.asarray(high, dtype=np.float64)
    if lo.ndim != 1 or lo.shape != hi.shape:
        msg = f"low and high must be one-dimensional and alike, got {lo.shape} and {hi.shape}"
        raise ValueError(msg)
    if np.any(hi < lo):
        worst = int(np.flatnonzero(hi < lo)[0])
        msg = f"interval {worst} ends ({hi[worst]}) before it starts ({lo[worst]})"
        raise ValueError(msg)
    spare = np.full(lo.shape, TAIL_MIN) if tail is None else np.asarray(tail, dtype=np.float64)
    spare = np.where(np.isfinite(spare), np.maximum(spare, _NARROWEST), TAIL_MIN)
    return lo, np.maximum(hi, lo + _NARROWEST), spare


def p_longer(
    low: ArrayLike,
    high: ArrayLike,
    *,
    tail: ArrayLike | None = None,
    ramp: ArrayLike | None = None,
) -> Floats:
    """Return the probability that device i ran longer than device j, for every pair.

    Parameters
    ----------
    low, high
        Shape (n,). Bounds of each end time (min, any common origin); ``high = inf``: not seen
        off (right-censored at ``low``); NaN: nothing known.
    tail
        Shape (n,). Minutes that a right-censored device can still run after ``low``; NaN or
        ``None`` = :data:`TAIL_MIN`. Not used for the others.
    ramp
        Shape (n,). How uncertain the two looks that bound a window are themselves (min): a look
        noted as 14:03 by a digital clock was made at any moment of that minute, ramp 1.
        ``None`` = 0: the end is uniform over the whole window.

    Returns
    -------
    ndarray, shape (n, n)
        ``p[i, j]`` = P(i ran longer than j); diagonal 0.5; NaN where either is unknown.

    Raises
    ------
    ValueError
        For arrays of unlike shape, or an interval that ends before it starts.

    Notes
    -----
    Without ramp an observed end is uniform over its window. With h(z) = max(z, 0)²/2,
    ``P = [h(u_A−l_B) − h(l_A−l_B) − h(u_A−u_B) + h(l_A−u_B)] / (w_A w_B)``.

    With ramp ρ the end is uniform between the two *looks*, which lie within ρ of the window's
    ends: ``T = l + U(0, w − ρ) + U(0, ρ)``, a trapezoid over the same window. Then
    ``P = 1 − Σ ± max(u_B − l_A − Σ_S, 0)⁴ / (24 Π)`` over the 16 subsets S of the four widths,
    Π their product. Windows that do not overlap give 0 or 1 either way.

    A right-censored at l_A against B in [l_B, u_B): B can only have lasted longer if it went
    off after l_A (probability q = min(1, x/w_B), x = max(0, u_B − l_A)) and A went off in that
    time; with A's remaining time uniform over W minutes that has probability x/(2W), held at
    0.5 because W is an assumption: ``P = 1 − q min(0.5, x/(2W))``. Two right-censored devices:
    0.5. Derived in docs/runtimes.md.

    Examples
    --------
    A on 14:03, off 14:06 and B on 14:00, off 14:03, floor clock: windows [843, 847), [840, 844).
    h(7) = 24.5, h(3) = 4.5 twice, h(−1) = 0: (24.5 − 4.5 − 4.5)/16 = 0.96875.

    >>> float(p_longer([843, 840], [847, 844])[0, 1])
    0.96875

    The same with looks anywhere in their minutes: the windows share the minute 843, in which
    A's density rises as t/3 and B's falls: 1 − ∫ (t/3)(1 − t)²/6 dt = 1 − 1/216 = 0.99537.

    >>> round(float(p_longer([843, 840], [847, 844], ramp=[1, 1])[0, 1]), 5)
    0.99537

    A still on at 844, W = 60; B in [841, 845): x = 1, q = 1/4, 1 − 1/4 · 1/120 = 0.99792.

    >>> round(float(p_longer([844, 841], [np.inf, 845], tail=[60, np.nan])[0, 1]), 5)
    0.99792
    """
    w = _windows(low, high, tail, ramp)
    la, lb = w.low[:, None], w.low[None, :]
    ua, ub = w.high[:, None], w.high[None, :]
    with np.errstate(invalid="ignore"):
        if ramp is None:
            wa, wb = ua - la, ub - lb
            cut = _square(ua - lb) - _square(la - lb) - _square(ua - ub) + _square(la - ub)
            p = cut / (wa * wb)
        else:
            p = _p_ramped(w)
        # windows that do not overlap are decided without rounding error
        p = np.where(la >= ub, 1.0, np.where(lb >= ua, 0.0, np.clip(p, 0.0, 1.0)))
        beyond = np.maximum(0.0, ub - la)
        reach = np.minimum(1.0, beyond / (ub - lb))
        a_open = 1.0 - reach * np.minimum(0.5, beyond / (2.0 * w.tail[:, None]))
    a_censored = w.open_end[:, None] & ~w.open_end[None, :]
    p = np.where(a_censored, a_open, p)
    p = np.where(a_censored.T, 1.0 - a_open.T, p)
    p = np.where(w.open_end[:, None] & w.open_end[None, :], 0.5, p)
    np.fill_diagonal(p, 0.5)
    return np.where(w.known[:, None] & w.known[None, :], p, np.nan)


def p_longest(
    low: ArrayLike,
    high: ArrayLike,
    *,
    tail: ArrayLike | None = None,
    ramp: ArrayLike | None = None,
) -> Floats:
    """Return the probability of each device to have run longer than all the others.

    Parameters
    ----------
    low, high, tail, ramp
        As for :func:`p_longer`.

    Returns
    -------
    ndarray, shape (n,)
        NaN where the device, or any rival, is unknown.

    Notes
    -----
    ``∫ f_A(t) Π_B F_B(t) dt`` by a midpoint rule of 400 equal shares of f_A. P ≥ 0.95 against
    each rival is no 95 % statement against all of them: with k equal rivals at that limit the
    product falls to 0.91, 0.88, 0.83 for k = 2, 3, 5. A right-censored device has its remaining
    time uniform over ``tail``; a rival that it cannot be compared with counts ½, and k
    right-censored devices share what is left (1/k each). Derived in docs/runtimes.md.

    Examples
    --------
    Three equal windows: a third each. A survivor seen on after the others were off: 1.

    >>> [round(float(x), 3) for x in p_longest([840] * 3, [844] * 3)]
    [0.333, 0.333, 0.333]
    >>> p_longest([900, 840, 841], [np.inf, 844, 845]).tolist()
    [1.0, 0.0, 0.0]
    """
    w = _windows(low, high, tail, ramp)
    n = w.low.size
    if n == 0 or not w.known.all():
        return np.full(n, np.nan)
    open_end = w.open_end
    # one that was off before another's window began did not run longest
    beaten = ~open_end & (w.low.max() >= w.high)
    # one that was still on when all that were seen off had ended did, or shares it with the others
    last_end = w.high[~open_end].max(initial=-np.inf)
    ahead = open_end & (w.low >= last_end)
    left = np.flatnonzero(~beaten & ~ahead)
    q = ((np.arange(_GRID) + 0.5) / _GRID)[None, :]
    mine = w.of(left)
    on = mine.open_end[:, None]
    t = np.where(on, mine.low[:, None] + mine.tail[:, None] * q, _quantiles(mine, q))
    still = np.clip((t[:, :, None] - w.low) / w.tail, 0.0, 0.5)  # (device, point, rival)
    chance = np.where(open_end, still, _share_off(w, t[:, :, None]))
    half = on[:, :, None] & ~open_end
    chance = np.where(half, np.maximum(chance, 0.5 * (mine.low[:, None, None] < w.low)), chance)
    chance = np.where(on[:, :, None] & open_end, 1.0, chance)
    chance[np.arange(left.size), :, left] = 1.0
    p: Floats = ahead.astype(np.float64)
    p[left] = chance.prod(axis=2).mean(axis=1)
    survivors = int(open_end.sum())
    return np.where(open_end, p / max(survivors, 1), p)
