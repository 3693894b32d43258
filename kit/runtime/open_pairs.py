"""Two devices over several runs, one of which was still on when a run was stopped.

No mean can be formed of such runs, but who ran longer on average can often be said: what was not
seen could only make the lead larger. Where the runs are enough for it they are counted, without
assuming how they scatter; where not, the scatter of the device that was seen to its end is taken.
Which of the two is settled by the number of runs alone, never by what comes out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.stats.lower_bounds import (
    least_by_groups,
    least_by_runs,
    rank_sum,
    runs_to_reach,
    signed_rank,
)
from kit.stats.uncertainty import coverage_factor

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.runtime.replicates import Quantity
    from kit.stats.lower_bounds import Counted, Design
    from kit.stats.scatter import Difference

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["FEW_RUNS", "OpenPair", "compare_open", "runs_used"]

FEW_RUNS = "few_runs_to_count"
"""Flag: no outcome of so many runs could decide by counting them."""


_NONE = float("nan")


class OpenPair(NamedTuple):
    """What can be said of a pair with a run that was not seen to its end; A − B.

    Parameters
    ----------
    flags
        Codes, in order.
    method
        ``signed_rank`` or ``rank_sum``: runs counted; ``seen_scatter``: t on lower bounds; empty:
        nothing could be tried.
    difference
        A − B is at least this (A ahead), or at most (B ahead); NaN where nothing bounds it.
    u, dof
        Of ``seen_scatter``; else NaN.
    low, high
        Ends of the interval; NaN on a side that is open.
    verdict
        ``a``, ``b``, ``too_close`` (both ends known, 0 between them) or ``unknown``.
    p_exact, p_least
        p of the counted runs, and the least that so many can give.
    runs_least
        Runs of each that counting takes at the least.
    """

    flags: tuple[str, ...]
    method: str = ""
    difference: float = _NONE
    u: float = _NONE
    dof: float = _NONE
    low: float = _NONE
    high: float = _NONE
    verdict: str = "unknown"
    p_exact: float = _NONE
    p_least: float = _NONE
    runs_least: float = _NONE


class _Bounds(NamedTuple):
    """Bounds of the runs of A and of B that are used, and whether they are the same runs."""

    least: tuple[Floats, Floats]
    most: tuple[Floats, Floats]
    design: Design

    @property
    def open_ends(self) -> tuple[bool, bool]:
        """Return whether a run of A was not seen to its end, and whether one of B was not."""
        return bool(np.isinf(self.most[0]).any()), bool(np.isinf(self.most[1]).any())

    def counted(self, coverage: float) -> Counted:
        """Return the outcome of the exact test."""
        (low_a, low_b), (high_a, high_b) = self.least, self.most
        if self.design == "paired":
            return signed_rank(low_a - high_b, high_a - low_b, coverage=coverage)
        return rank_sum(low_a, high_a, low_b, high_b, coverage=coverage)

    def least_lead(self, k: int) -> Difference:
        """Return what device k is at least ahead by; the other was seen to its end."""
        low, high = self.least[k], self.most[1 - k]
        seen = (self.least[1 - k] + high) / 2.0
        if self.design == "paired":
            return least_by_runs(low - high, seen)
        return least_by_groups(low, high, seen)


def _known(end: float) -> float:
    return end if np.isfinite(end) else float("nan")


def _lead(counted: Counted) -> float:
    """Return the least lead of the one that is ahead, as A − B; NaN where none surely is."""
    if counted.least > 0.0:
        return counted.least
    return counted.most if counted.most < 0.0 else float("nan")


def _verdict(counted: Counted) -> str:
    # a difference lies above its lower bound, so a bound of 0 is a lead
    if counted.low >= 0.0:
        return "a"
    if counted.high <= 0.0:
        return "b"
    return "too_close" if np.isfinite([counted.low, counted.high]).all() else "unknown"


def runs_used(quantity: Quantity, i: int, j: int) -> tuple[Flags, Flags, Design] | None:
    """Return which runs of i and of j are compared, and how; ``None`` where they are too few.

    Two runs that both took part in are compared within runs; else two of each, run on their own.

    Examples
    --------
    a took part in runs 1, 2 and 3, b in 2, 3 and 4: two runs together, compared within the runs. a
    and c have one in common, but three and two of their own; d ran once:

    >>> from kit.runtime.replicates import Quantity
    >>> there = np.array([[1, 0, 0, 0], [1, 1, 0, 0], [1, 1, 1, 0], [0, 1, 1, 1]], dtype=bool)
    >>> blank = np.zeros(there.shape)
    >>> q = Quantity("runtime", "h", np.where(there, 9.0, np.nan), blank, blank, blank > 0)
    >>> first, _, how = runs_used(q, 0, 1)
    >>> first.tolist(), how
    ([False, True, True, False], 'paired')
    >>> runs_used(q, 0, 2)[2], runs_used(q, 0, 3)
    ('two_groups', None)
    """
    there_i, there_j = ~np.isnan(quantity.value[:, i]), ~np.isnan(quantity.value[:, j])
    together: Flags = there_i & there_j
    if together.sum() > 1:
        return together, together, "paired"
    if min(there_i.sum(), there_j.sum()) > 1:
        return there_i, there_j, "two_groups"
    return None


def compare_open(quantity: Quantity, i: int, j: int, *, error: float) -> OpenPair:
    """Return what can be said of devices i and j, of which one was still on in a run.

    Parameters
    ----------
    quantity
        Values and bounds of every run.
    i, j
        Places of A and of B.
    error
        Probability of error that this one comparison may have.

    Notes
    -----
    Counted where the least p that the runs can give reaches ``error`` (`signed_rank` within runs,
    `rank_sum` for runs of their own). Where not, and the other device was seen to its end in all
    runs: ``mean of the lower bounds − t·u`` with the larger of the scatters of that device and
    of the bounds (`kit.stats.lower_bounds`). Derived in docs/runtimes.md.

    Examples
    --------
    a was on at the stop of six runs, b seen off within two minutes: leads of 20, 13, 28, 8, 18 and
    38 min at least, all of one sign. Two of 2⁶ outcomes are as clear, p = 1/32, and the interval
    starts at the least lead:

    >>> from kit.runtime.replicates import Quantity
    >>> on = [622, 625, 625, 615, 632, 630]
    >>> off = [601, 611, 596, 606, 613, 591]
    >>> value, half = np.array([on, off], dtype=float).T, np.tile([0.0, 1.0], (6, 1))
    >>> q = Quantity("runtime", "min", value, half, half / 3**0.5, np.tile([True, False], (6, 1)))
    >>> found = compare_open(q, 0, 1, error=0.05)
    >>> found.method, found.verdict, float(found.low), 1 / float(found.p_exact)
    ('signed_rank', 'a', 8.0, 32.0)
    """
    used = runs_used(quantity, i, j)
    if used is None:
        return OpenPair(("lower_bound", "too_few_runs"))
    runs_a, runs_b, design = used
    bounds = _Bounds(
        (quantity.least[runs_a, i], quantity.least[runs_b, j]),
        (quantity.most[runs_a, i], quantity.most[runs_b, j]),
        design,
    )
    counted = bounds.counted(1.0 - error)
    open_pair = OpenPair(
        ("lower_bound",),
        p_exact=counted.p,
        p_least=counted.p_least,
        runs_least=float(runs_to_reach(error, design=design)),
    )
    if counted.can_reach(error):
        return open_pair._replace(
            method="signed_rank" if design == "paired" else "rank_sum",
            difference=_lead(counted),
            low=_known(counted.low),
            high=_known(counted.high),
            verdict=_verdict(counted),
        )
    open_pair = open_pair._replace(flags=("lower_bound", FEW_RUNS))
    if all(bounds.open_ends):
        return open_pair
    ahead = 0 if bounds.open_ends[0] else 1
    lead = bounds.least_lead(ahead)
    low = lead.difference - coverage_factor(1.0 - error, lead.dof) * lead.u
    open_pair = open_pair._replace(method="seen_scatter", u=lead.u, dof=float(lead.dof))
    if ahead == 0:
        verdict = "a" if low > 0.0 else "unknown"
        return open_pair._replace(difference=lead.difference, low=low, verdict=verdict)
    verdict = "b" if low > 0.0 else "unknown"
    return open_pair._replace(difference=-lead.difference, high=-low, verdict=verdict)
