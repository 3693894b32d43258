"""Runtimes of several runs when some were cut short: product-limit curve and pair counting.

Numbers in, numbers out; nothing here knows a device. Times are in any one unit; a time with
``observed = False`` is right-censored: the device was still on, and a censored time equal to an
observed one counts as later.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Ints = NDArray[np.int64]

__all__ = [
    "LogRank",
    "PairCount",
    "ProductLimit",
    "gehan_pairs",
    "log_rank",
    "on_beyond_windows",
    "product_limit",
    "restricted_mean",
]


@dataclass(frozen=True, kw_only=True)
class ProductLimit:
    """A survival curve: one element per distinct observed time.

    Parameters
    ----------
    time
        Shape (k,), increasing.
    at_risk, events
        Shape (k,). Devices still on just before ``time``, and power-offs at it.
    survival, survival_se
        Shape (k,). Share still on just after ``time`` and its standard error.
    last_time
        Longest time seen, observed or not: the curve says nothing beyond it.
    """

    time: Floats
    at_risk: Ints
    events: Ints
    survival: Floats
    survival_se: Floats
    last_time: float

    @property
    def median(self) -> float:
        """Return the first time at which at most half are still on; NaN if never reached."""
        reached = np.flatnonzero(self.survival <= 0.5 + 1e-12)
        return float(self.time[reached[0]]) if reached.size else float("nan")

    def bands(self, *, coverage: float) -> tuple[Floats, Floats]:
        """Return a pointwise confidence interval of the curve on the log(−log) scale.

        Parameters
        ----------
        coverage
            Probability, between 0 and 1.

        Notes
        -----
        ``S^exp(±z s/(S ln S))``; NaN where S is 0 or 1. Kalbfleisch and Prentice (1980), ch. 1
        (cited from memory).
        """
        from scipy.special import ndtri

        z = float(ndtri(0.5 + coverage / 2.0))
        inner = (self.survival > 0.0) & (self.survival < 1.0)
        s = np.where(inner, self.survival, np.nan)
        spread = np.exp(z * self.survival_se / (s * np.abs(np.log(s))))
        return s**spread, s ** (1.0 / spread)


def _checked(times: ArrayLike, observed: ArrayLike) -> tuple[Floats, Flags]:
    t = np.asarray(times, dtype=np.float64)
    seen = np.asarray(observed, dtype=bool)
    if t.ndim != 1 or t.shape != seen.shape or t.size == 0:
        msg = f"times and observed must be alike and not empty, got {t.shape} and {seen.shape}"
        raise ValueError(msg)
    if not np.isfinite(t).all():
        msg = "times must be finite; leave out what was not recorded"
        raise ValueError(msg)
    return t, seen


def product_limit(times: ArrayLike, observed: ArrayLike) -> ProductLimit:
    """Return the product-limit estimate of the share still on.

    Parameters
    ----------
    times
        Shape (n,). Observed or censoring times.
    observed
        Shape (n,), bool. ``False`` = right-censored.

    Returns
    -------
    ProductLimit

    Raises
    ------
    ValueError
        For empty, unlike or non-finite input.

    Notes
    -----
    ``S(t) = Π (1 − d_i/n_i)`` over observed times up to t; standard error by Greenwood,
    ``S sqrt(Σ d_i/(n_i (n_i − d_i)))``, 0 where the curve has come down to 0.

    References
    ----------
    E. L. Kaplan and P. Meier (1958), J. Am. Stat. Assoc. 53:457–481; M. Greenwood (1926)
    (both cited from memory).

    Examples
    --------
    Runs of 5, 6+, 7 h: 1 − 1/3 = 0.667 after 5; one left at 7: 0.

    >>> curve = product_limit([5, 6, 7], [True, False, True])
    >>> curve.survival.round(3).tolist(), curve.at_risk.tolist()
    ([0.667, 0.0], [3, 1])
    """
    t, seen = _checked(times, observed)
    time = np.unique(t[seen])
    at_risk = (t[None, :] >= time[:, None]).sum(axis=1)
    events = ((t[None, :] == time[:, None]) & seen).sum(axis=1)
    survival = np.cumprod(1.0 - events / np.maximum(at_risk, 1))
    left = at_risk - events
    with np.errstate(divide="ignore"):
        terms = np.where(left > 0, events / (at_risk * np.maximum(left, 1)), 0.0)
    return ProductLimit(
        time=time,
        at_risk=at_risk.astype(np.int64),
        events=events.astype(np.int64),
        survival=survival,
        survival_se=survival * np.sqrt(np.cumsum(terms)),
        last_time=float(t.max()),
    )


def on_beyond_windows(low: ArrayLike, high: ArrayLike) -> Floats:
    """Return lower bounds of times, those of censored ones carried over windows that hold them.

    Parameters
    ----------
    low, high
        Shape (n,). Bounds of each time; ``high = inf``: right-censored.

    Returns
    -------
    array
        Shape (n,). ``low``, but for a censored time whose bound lies in the window of an observed
        one: the end of that window, and on from there as long as it is inside another.

    Notes
    -----
    The rule that a censored time equal to an observed one counts as later (`product_limit`), for
    times that are known only to windows. Without it the maximum of the likelihood has every
    censored time end inside the window that holds its bound, because nothing is seen beyond:
    a curve that falls to 0 by one observed time of three. Common practice for exact times; for
    windows derived from it, no source.

    Examples
    --------
    One off between 5 and 8, another still on at 6: on at 8 too. On at 9: as it is.

    >>> on_beyond_windows([5, 6, 9], [8, np.inf, np.inf]).tolist()
    [5.0, 8.0, 9.0]
    """
    lo, hi = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    seen = np.isfinite(hi)
    start, end = lo[seen], hi[seen]
    settled = lo.copy()
    for place in np.flatnonzero(~seen).tolist():
        holds = (start <= lo[place]) & (lo[place] < end)
        while holds.any():
            settled[place] = end[holds].max()
            holds = (start < settled[place]) & (settled[place] < end)
    return settled


def restricted_mean(curve: ProductLimit, *, horizon: float) -> tuple[float, float]:
    """Return the mean runtime counted up to ``horizon``, and its standard error.

    Parameters
    ----------
    curve
        From :func:`product_limit`.
    horizon
        Where to stop counting, in the unit of the times.

    Raises
    ------
    ValueError
        If ``horizon`` is not above 0, or lies beyond the last time seen while the curve is
        still above 0 (the curve says nothing there).

    Notes
    -----
    Area under the curve up to the horizon; ``se² = Σ A_i² d_i/(n_i (n_i − d_i))`` with A_i the
    area to the right of the i-th observed time. Without censoring and with the horizon beyond
    the last power-off it is the plain mean.

    Examples
    --------
    5, 6+, 7 up to 7 h: 5·1 + 2·2/3 = 6.333; A_1 = 2·2/3, se = 1.333·sqrt(1/(3·2)) = 0.544.

    >>> mean, se = restricted_mean(product_limit([5, 6, 7], [True, False, True]), horizon=7)
    >>> round(mean, 3), round(se, 3)
    (6.333, 0.544)
    """
    ended = bool(curve.survival.size) and curve.survival[-1] <= 1e-12
    if horizon <= 0.0 or (horizon > curve.last_time and not ended):
        msg = f"horizon must lie above 0 and not beyond {curve.last_time:g}, got {horizon:g}"
        raise ValueError(msg)
    inside = curve.time < horizon
    steps = np.concatenate(([0.0], curve.time[inside], [horizon]))
    heights = np.concatenate(([1.0], curve.survival[inside]))
    areas = heights * np.diff(steps)
    to_the_right = areas[::-1].cumsum()[::-1][1:]
    n, d = curve.at_risk[inside], curve.events[inside]
    left = n - d
    terms = np.where(left > 0, to_the_right**2 * d / (n * np.maximum(left, 1)), 0.0)
    return float(areas.sum()), float(np.sqrt(terms.sum()))


@dataclass(frozen=True, kw_only=True)
class LogRank:
    """Result of :func:`log_rank`: χ² with one degree of freedom, and its p-value."""

    chi_square: float
    p_value: float


def log_rank(
    times_a: ArrayLike, observed_a: ArrayLike, times_b: ArrayLike, observed_b: ArrayLike
) -> LogRank:
    """Test whether two groups of runtimes come from one survival curve.

    Parameters
    ----------
    times_a, observed_a, times_b, observed_b
        Times and observed flags of each group, as for :func:`product_limit`.

    Raises
    ------
    ValueError
        For empty, unlike or non-finite input, or if nothing was observed that can tell.

    Notes
    -----
    ``(Σ d_A − E_A)²/Σ V`` with hypergeometric expectation and variance at each observed time.

    References
    ----------
    N. Mantel (1966), Cancer Chemother. Rep. 50:163–170 (cited from memory).

    Examples
    --------
    A: 1, 2; B: 3, 4. At 1: n 4, n_A 2, E .5, V .25; at 2: n 3, n_A 1, E 1/3, V 2/9; later
    n_A = 0. (2 − .8333)²/.47222 = 2.88.

    >>> round(log_rank([1, 2], [1, 1], [3, 4], [1, 1]).chi_square, 2)
    2.88
    """
    from scipy.special import chdtrc

    ta, sa = _checked(times_a, observed_a)
    tb, sb = _checked(times_b, observed_b)
    t, seen = np.concatenate((ta, tb)), np.concatenate((sa, sb))
    time = np.unique(t[seen])[:, None]
    n = (t >= time).sum(axis=1)
    d = ((t == time) & seen).sum(axis=1)
    n_a = (ta >= time).sum(axis=1)
    d_a = ((ta == time) & sa).sum(axis=1)
    expected = d * n_a / n
    variance = d * (n_a / n) * (1.0 - n_a / n) * (n - d) / np.maximum(n - 1, 1)
    total = float(variance.sum())
    if total <= 0.0:
        msg = "no observed time at which both groups were still on"
        raise ValueError(msg)
    chi_square = float((d_a - expected).sum()) ** 2 / total
    return LogRank(chi_square=chi_square, p_value=float(chdtrc(1.0, chi_square)))


@dataclass(frozen=True, kw_only=True)
class PairCount:
    """Result of :func:`gehan_pairs`.

    Parameters
    ----------
    longer, shorter, undecided
        Pairs in which A surely ran longer, surely shorter, or which stay open.
    score
        ``longer − shorter``.
    variance
        Permutation variance of the score.
    z
        ``score / sqrt(variance)``; NaN if no pair at all is decided.
    """

    longer: int
    shorter: int
    undecided: int
    score: int
    variance: float
    z: float


def gehan_pairs(
    low_a: ArrayLike, high_a: ArrayLike, low_b: ArrayLike, high_b: ArrayLike
) -> PairCount:
    """Count the pairs of runs in which a run of A surely lasted longer than one of B.

    Parameters
    ----------
    low_a, high_a, low_b, high_b
        Bounds of the runtimes. ``high = low``: exactly observed; ``high = inf``: right-censored.

    Returns
    -------
    PairCount

    Notes
    -----
    A pair that windows or censoring leave open counts 0. The permutation variance is
    ``n_A n_B/(N (N − 1)) Σ U_i²``, U_i the score of run i against all others.

    References
    ----------
    E. A. Gehan (1965), Biometrika 52:203–223.

    Examples
    --------
    A: 7, 9+; B: 5, 8: 7 > 5, 9+ > 5, 9+ > 8 and 7 < 8: 3 − 1 = 2.

    >>> gehan_pairs([7, 9], [7, float("inf")], [5, 8], [5, 8]).score
    2
    """
    low = np.concatenate((np.asarray(low_a, np.float64), np.asarray(low_b, np.float64)))
    high = np.concatenate((np.asarray(high_a, np.float64), np.asarray(high_b, np.float64)))
    n_a = np.asarray(low_a).size
    n_b = low.size - n_a
    exact = low == high
    touching = (low[:, None] == high[None, :]) & ~(exact[:, None] & exact[None, :])
    surely = (low[:, None] > high[None, :]) | touching
    np.fill_diagonal(surely, val=False)
    longer = int(surely[:n_a, n_a:].sum())
    shorter = int(surely[n_a:, :n_a].sum())
    score_of_each = surely.sum(axis=1) - surely.sum(axis=0)
    total = n_a + n_b
    variance = float(n_a * n_b * (score_of_each.astype(float) ** 2).sum()) / (total * (total - 1))
    score = longer - shorter
    return PairCount(
        longer=longer,
        shorter=shorter,
        undecided=n_a * n_b - longer - shorter,
        score=score,
        variance=variance,
        z=score / float(np.sqrt(variance)) if variance > 0.0 else float("nan"),
    )
