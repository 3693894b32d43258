"""Differences of which only bounds are known: exact tests by counting, and t where runs are few.

A run that was stopped while one device was still on gives a difference that is *at least* so
much. Taking such bounds for values is wrong: bounds scatter less than what they bound, and where
every run is stopped soon after the last but one device went off they do not scatter at all. What
stays valid is a rule that can only become more careful when a value is replaced by a lower bound
of it. Both kinds of rule here are of that sort; derived in docs/runtimes.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import comb
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.stats.scatter import Difference

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "Counted",
    "Design",
    "least_by_groups",
    "least_by_runs",
    "least_p",
    "rank_sum",
    "runs_to_reach",
    "signed_rank",
]

Design = Literal["paired", "two_groups"]
"""``paired``: both devices in every run; ``two_groups``: runs of their own."""

_MOST_RUNS = 1000
"""Runs up to which :func:`runs_to_reach` looks: 2^-998 is below every level there is."""

_ROUNDING = 1.0 + 1e-9
"""A probability that equals the limit counts as reaching it, whatever its last digits."""


@dataclass(frozen=True, kw_only=True)
class Counted:
    """Outcome of an exact test on bounds of differences.

    Parameters
    ----------
    p, p_least
        Two-sided p-value, at most; and the least that so many values can give.
    low, high
        Ends of the interval of the centre of the differences; infinite where nothing bounds it.
    least, most
        The differences' centre is estimated to lie between these (Hodges and Lehmann's estimate
        from the lower and from the upper bounds).
    """

    p: float
    p_least: float
    low: float
    high: float
    least: float
    most: float

    def can_reach(self, error: float) -> bool:
        """Return whether so many values could give a p of ``error`` or less, if all were won."""
        return self.p_least <= error * _ROUNDING


@lru_cache(maxsize=256)
def _signed_rank_chance(n: int) -> Floats:
    """Return P(W ≤ w) for w = 0 … n(n + 1)/2, W the sum of the ranks 1 … n that fall heads."""
    p = np.ones(1)
    for rank in range(1, n + 1):
        p = (np.pad(p, (0, rank)) + np.pad(p, (rank, 0))) / 2.0
    return np.asarray(p.cumsum())


@lru_cache(maxsize=256)
def _rank_sum_chance(n_a: int, n_b: int) -> Floats:
    """Return P(U ≤ u) for u = 0 … n_a n_b, U the pairs won by A if all orders are as likely."""
    # u is a partition into at most n_a parts of at most n_b: product of (1 - x^(n_b+i))/(1 - x^i)
    size = n_a * n_b + 1
    ways = [1] + [0] * (size - 1)
    for i in range(1, n_a + 1):
        for u in range(size - 1, n_b + i - 1, -1):
            ways[u] -= ways[u - n_b - i]
        for u in range(i, size):
            ways[u] += ways[u - i]
    total = comb(n_a + n_b, n_a)
    return np.array([w / total for w in ways]).cumsum()


def _counted(low: Floats, high: Floats, chance: Floats, coverage: float) -> Counted:
    """Return the outcome of a test that counts comparisons, from bounds of each comparison.

    Parameters
    ----------
    low, high
        Shape (N,). Bounds of every comparison: of averages of two differences, or of differences.
    chance
        Shape (N + 1,). P(count ≤ k) if neither side is ahead.
    """
    low, high = np.sort(low), np.sort(high)
    # a comparison lies above its lower bound, so a bound of 0 is a comparison won
    won, lost = int((low >= 0.0).sum()), int((high <= 0.0).sum())
    # counts are symmetric: P(count ≥ won) = P(count ≤ N − won)
    p = min(1.0, 2.0 * float(chance[low.size - max(won, lost)]))
    k = int((2.0 * chance <= (1.0 - coverage) * _ROUNDING).sum())
    return Counted(
        p=p,
        p_least=min(1.0, 2.0 * float(chance[0])),
        low=float(low[k - 1]) if k else -np.inf,
        high=float(high[-k]) if k else np.inf,
        least=float(low[(low.size - 1) // 2]),
        most=float(high[high.size // 2]),
    )


def signed_rank(low: ArrayLike, high: ArrayLike, *, coverage: float = 0.95) -> Counted:
    """Test differences within runs of which only bounds are known, by signed ranks.

    Parameters
    ----------
    low, high
        Shape (n,). Bounds of each difference; infinite where it is open on that side. The
        difference itself lies above ``low`` and below ``high``.
    coverage
        Probability of the interval.

    Raises
    ------
    ValueError
        For empty or unlike input, or NaN.

    Notes
    -----
    The n(n + 1)/2 averages of two differences (each with itself, too) that are above 0 are
    counted; if the differences are independent and as often above as below a centre of 0, by as
    much, the count has a distribution that depends on n alone. Every average can only be larger
    than that of the lower bounds, so p is at most what is stated, whatever stopped the runs; for
    the same reason the k-th smallest average of the lower bounds lies below the centre with the
    stated probability. n runs all won: p = 2^(1−n), and the interval starts at the least lead.

    References
    ----------
    F. Wilcoxon (1945), Biometrics Bull. 1:80-83; averages of two and the interval: J. W. Tukey
    (1949), and J. L. Hodges and E. L. Lehmann (1963), Ann. Math. Stat. 34:598-611 (all cited from
    memory). That bounds keep it valid: derived in docs/runtimes.md.

    Examples
    --------
    Six runs, all won, by at least 12, 9, 15, 30, 11 and 20 min: 2 of 64 ways, at least 9 min.

    >>> found = signed_rank([12, 9, 15, 30, 11, 20], [np.inf] * 6)
    >>> found.p, found.p_least, found.low, found.high
    (0.03125, 0.03125, 9.0, inf)
    """
    lo, hi = _checked(low, high)
    first, second = np.triu_indices(lo.size)
    with np.errstate(invalid="ignore"):
        return _counted(
            (lo[first] + lo[second]) / 2.0,
            (hi[first] + hi[second]) / 2.0,
            _signed_rank_chance(lo.size),
            coverage,
        )


def rank_sum(
    low_a: ArrayLike,
    high_a: ArrayLike,
    low_b: ArrayLike,
    high_b: ArrayLike,
    *,
    coverage: float = 0.95,
) -> Counted:
    """Test two groups of runs of which only bounds are known, by the pairs of runs surely won.

    Parameters
    ----------
    low_a, high_a, low_b, high_b
        Bounds of the values of each group; ``high = inf``: right-censored.
    coverage
        Probability of the interval of A − B.

    Raises
    ------
    ValueError
        For empty or unlike input, or NaN.

    Notes
    -----
    All n_A n_B differences between a run of A and one of B; those surely above 0 are counted and
    held against all C(n_A + n_B, n_A) orders. A pair that is left open counts as not won, so p is
    at most what is stated even where the two groups were stopped at different times, for which
    Gehan's count over all ways of sharing out the runs would have to assume the same stops. The
    interval takes the two to scatter alike about their centres.

    References
    ----------
    H. B. Mann and D. R. Whitney (1947), Ann. Math. Stat. 18:50-60; interval: Hodges and Lehmann
    (1963) (cited from memory).

    Examples
    --------
    Four runs against four, all pairs won: 2 of C(8, 4) = 70 orders; 640 is 20 above 620.

    >>> a, b = [640, 655, 650, 670], [610, 600, 620, 605]
    >>> found = rank_sum(a, [np.inf] * 4, b, b)
    >>> round(found.p, 4), found.low, found.high
    (0.0286, 20.0, inf)
    """
    la, ha = _checked(low_a, high_a)
    lb, hb = _checked(low_b, high_b)
    return _counted(
        (la[:, None] - hb[None, :]).ravel(),
        (ha[:, None] - lb[None, :]).ravel(),
        _rank_sum_chance(la.size, lb.size),
        coverage,
    )


def _checked(low: ArrayLike, high: ArrayLike) -> tuple[Floats, Floats]:
    lo, hi = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    if lo.ndim != 1 or lo.shape != hi.shape or lo.size == 0:
        msg = f"bounds must be alike and not empty, got {lo.shape} and {hi.shape}"
        raise ValueError(msg)
    if not (lo <= hi).all():
        msg = "every value needs low <= high"
        raise ValueError(msg)
    return lo, hi


def least_p(runs: int, *, design: Design) -> float:
    """Return the least two-sided p that so many runs (of each) can give, all of them won.

    Examples
    --------
    2 of 2^3 = 8 signs; 2 of C(6, 3) = 20 orders.

    >>> least_p(3, design="paired"), least_p(3, design="two_groups")
    (0.25, 0.1)
    """
    ways = 2**runs if design == "paired" else comb(2 * runs, runs)
    return min(1.0, 2.0 / ways)


def runs_to_reach(level: float, *, design: Design) -> int:
    """Return how many runs (of each) it takes at the least for p to be ``level`` or below.

    Parameters
    ----------
    level
        Probability of error allowed, between 0 and 1.
    design
        As for :func:`least_p`.

    Raises
    ------
    ValueError
        For a level outside.

    Examples
    --------
    2/2^5 = 0.0625 and 2/2^6 = 0.031; 2/20 = 0.1 and 2/70 = 0.029. For one of three pairs 0.0167
    is allowed: 2/2^7 = 0.0156, 2/C(10, 5) = 0.0079.

    >>> [runs_to_reach(p, design="paired") for p in (0.05, 0.05 / 3)]
    [6, 7]
    >>> [runs_to_reach(p, design="two_groups") for p in (0.05, 0.05 / 3)]
    [4, 5]
    """
    if not 0.0 < level < 1.0:
        msg = f"the probability of error must lie between 0 and 1, got {level:g}"
        raise ValueError(msg)
    return next(n for n in range(1, _MOST_RUNS) if least_p(n, design=design) <= level * _ROUNDING)


def least_by_runs(low: ArrayLike, seen: ArrayLike) -> Difference:
    """Return what the mean difference within runs is at least, with a u that bounds do not shrink.

    Parameters
    ----------
    low
        Shape (n,). Lower bounds of the differences A − B within runs.
    seen
        Shape (n,). What B, seen to its end in all of them, ran.

    Raises
    ------
    ValueError
        With fewer than two runs, or unlike input.

    Notes
    -----
    ``u = max(√2 s(seen), s(low))/√n`` with n − 1 degrees of freedom, A and B taken to scatter
    alike and normally about what they share in a run. The mean difference varies by σ√(2/n). The
    scatter of B holds σ and what runs share, is known whole, and is independent of both means, so
    ``P(mean − t u > true) ≤ α/2`` for the true differences and the more for lower bounds of them.
    The scatter of the bounds by itself would not do: stopped soon after B is off, runs of equal
    devices give bounds alike to the minute. The larger of the two keeps the error within α, too,
    when all runs that were seen whole are judged by their own differences.

    Examples
    --------
    B ran 600, 590, 610 (s = 10), A at least 40, 44, 42 min longer (s = 2): u = √(2/3)·10 = 8.165.

    >>> found = least_by_runs([40, 44, 42], [600, 590, 610])
    >>> found.difference, round(found.u, 3), found.dof
    (42.0, 8.165, 2)
    """
    lead, own = np.asarray(low, dtype=np.float64), np.asarray(seen, dtype=np.float64)
    if lead.shape != own.shape:
        msg = f"each lead needs the run it is of, got {lead.shape} and {own.shape}"
        raise ValueError(msg)
    n = _enough(own)
    s = max(float(np.sqrt(2.0)) * float(own.std(ddof=1)), float(lead.std(ddof=1)))
    return Difference(difference=float(lead.mean()), u=s / float(np.sqrt(n)), dof=n - 1)


def least_by_groups(low_a: ArrayLike, high_b: ArrayLike, seen_b: ArrayLike) -> Difference:
    """Return what the mean of A is at least above that of B, from runs of their own.

    Parameters
    ----------
    low_a
        Shape (n_A,). Lower bounds of the runs of A.
    high_b, seen_b
        Shape (n_B,). Upper bounds, and values, of the runs of B, seen to their end.

    Raises
    ------
    ValueError
        With fewer than two runs on either side.

    Notes
    -----
    As :func:`least_by_runs`: ``u² = max(s_B, s(low_a))²/n_A + s_B²/n_B`` with n_B − 1 degrees of
    freedom, A and B taken to scatter alike.

    Examples
    --------
    A at least 700, 700; B 600, 590, 610: s_B = 10, u = 10 √(1/2 + 1/3) = 9.129.

    >>> found = least_by_groups([700, 700], [601, 591, 611], [600, 590, 610])
    >>> found.difference, round(found.u, 3), found.dof
    (99.0, 9.129, 2)
    """
    lead, own = np.asarray(low_a, dtype=np.float64), np.asarray(seen_b, dtype=np.float64)
    n_a, n_b = _enough(lead), _enough(own)
    s_a, s_b = float(lead.std(ddof=1)), float(own.std(ddof=1))
    return Difference(
        difference=float(lead.mean()) - float(np.asarray(high_b, dtype=np.float64).mean()),
        u=float(np.hypot(max(s_a, s_b) / np.sqrt(n_a), s_b / np.sqrt(n_b))),
        dof=n_b - 1,
    )


def _enough(values: Floats) -> int:
    if values.size < 2:
        msg = f"a scatter needs two runs, got {values.size}"
        raise ValueError(msg)
    return int(values.size)
