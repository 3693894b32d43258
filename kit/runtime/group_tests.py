"""Devices that ran several times, compared without a distribution, and fitted with one.

Few runs decide little, and these comparisons say so: with three runs of each of two devices no
test that looks at the order of the runs alone can give a p-value below 0.1.
"""

from __future__ import annotations

from itertools import combinations
from math import comb, erfc, sqrt
from typing import TYPE_CHECKING

import numpy as np

from kit.frames import frame_of_rows
from kit.runtime.survival_tables import run_windows
from kit.stats.interval_censored import fit_censored
from kit.stats.survival import gehan_pairs, log_rank

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from kit.session import Session

    Floats = NDArray[np.float64]

__all__ = ["exact_p", "group_fits", "group_pairs"]

_MOST_WAYS = 20_000
"""Ways of sharing out the runs up to which all are counted; more: normal approximation."""


def _scores(low: Floats, high: Floats) -> Floats:
    """Return for each run: runs that it surely outlasted less runs that surely outlasted it."""
    n = low.size
    score = np.zeros(n)
    for i in range(n):
        rest = np.arange(n) != i
        found = gehan_pairs(low[i : i + 1], high[i : i + 1], low[rest], high[rest])
        score[i] = found.score
    return score


def exact_p(low_a: Floats, high_a: Floats, low_b: Floats, high_b: Floats) -> tuple[float, float]:
    """Return the p-value of Gehan's score over all ways of sharing out the runs, and the least.

    Parameters
    ----------
    low_a, high_a, low_b, high_b
        Bounds of the runtimes, as for `kit.stats.survival.gehan_pairs`.

    Returns
    -------
    p, least
        Share of all C(n_A + n_B, n_A) ways in which the score is as far from 0 as here or
        further, and that share if every run of one device outlasted every run of the other:
        ``2/C``. Beyond 20 000 ways p is by the normal approximation.

    References
    ----------
    E. A. Gehan (1965), Biometrika 52:203-223; the count over all ways is the permutation
    principle of R. A. Fisher (from memory).

    Examples
    --------
    Three runs against three, fully apart: 2 of C(6, 3) = 20 ways.

    >>> a, b = np.array([7.0, 8.0, 9.0]), np.array([4.0, 5.0, 6.0])
    >>> exact_p(a, a, b, b)
    (0.1, 0.1)
    """
    n_a, n = low_a.size, low_a.size + low_b.size
    ways = comb(n, n_a)
    least = 2.0 / ways
    if ways > _MOST_WAYS:
        z = gehan_pairs(low_a, high_a, low_b, high_b).z
        return (1.0 if np.isnan(z) else erfc(abs(z) / sqrt(2.0))), least
    score = _scores(np.concatenate((low_a, low_b)), np.concatenate((high_a, high_b)))
    chosen = np.array(list(combinations(range(n), n_a)), dtype=np.int64)
    sums = score[chosen].sum(axis=1)
    return float((np.abs(sums) >= abs(sums[0]) - 1e-9).mean()), least


def group_pairs(session: Session, runtimes: pd.DataFrame) -> pd.DataFrame:
    """Return for every two devices with several runs how their runs compare, run for run.

    Parameters
    ----------
    session
        A record with several runs; with one run the frame is empty.
    runtimes
        Frame of `kit.runtime.runtimes`.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["group_pairs"]``. The log-rank test takes each
        power-off at the middle of its window; NaN where it cannot tell.

    Examples
    --------
    Three runs of a, all longer than the three of b: 9 of 9 pairs, p = 2/20:

    >>> from kit.runtime.runtimes import runtimes
    >>> from tests.helpers.builders import join_runs, make_session, seen
    >>> s = join_runs(*(make_session(devices=["a", "b"], phases={"p1": 900},
    ...                              power_offs={"a": seen(t, t), "b": seen(t - 60, t - 60)})
    ...                 for t in (600, 620, 640)))
    >>> row = group_pairs(s, runtimes(s)).iloc[0]
    >>> int(row["pairs_a_longer"]), int(row["pairs_b_longer"]), float(row["p_exact"])
    (9, 0, 0.1)
    """
    rows: list[tuple[object, ...]] = []
    for a, b in combinations(run_windows(session, runtimes), 2):
        count = gehan_pairs(a.low, a.high, b.low, b.high)
        p, least = exact_p(a.low, a.high, b.low, b.high)
        try:
            test = log_rank(a.middle, a.seen, b.middle, b.seen)
            chi_square, log_p = test.chi_square, test.p_value
        except ValueError:
            chi_square = log_p = float("nan")
        rows.append(
            (a.device, b.device, a.low.size, b.low.size, count.longer, count.shorter,
             count.undecided, p, least, chi_square, log_p)
        )  # fmt: skip
    return frame_of_rows("group_pairs", rows)


def group_fits(session: Session, runtimes: pd.DataFrame) -> pd.DataFrame:
    """Return mean and scatter of the runs of each device, fitted to their windows.

    Parameters
    ----------
    session, runtimes
        As for `group_pairs`.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["group_fits"]``. NaN where fewer than two power-offs
        were seen, or where all windows have a moment in common, so that no scatter is seen.

    Notes
    -----
    Normal distribution by maximum likelihood, ``Π (F(high) − F(low))``; a run that was not seen
    off gives ``1 − F(low)``. The likelihood divides by n, so its scatter is the smaller one.

    Examples
    --------
    Off at 600 and 620 min, each to the minute: mean 610; the likelihood divides by n = 2, so the
    scatter is √((10² + 10²)/2) = 10 min and u of the mean 10/√2 = 7.1:

    >>> from kit.runtime.runtimes import runtimes
    >>> from tests.helpers.builders import join_runs, make_session, seen
    >>> s = join_runs(*(make_session(devices=["a"], phases={"p1": 900},
    ...                              power_offs={"a": seen(t, t)}) for t in (600, 620)))
    >>> row = group_fits(s, runtimes(s)).iloc[0]
    >>> [round(60 * float(row[c]), 1) for c in ("mean_h", "sd_h", "mean_h_u")]
    [610.0, 10.0, 7.1]
    """
    rows: list[tuple[object, ...]] = []
    for group in run_windows(session, runtimes):
        seen = int(group.seen.sum())
        apart = float(group.low.max()) > float(group.high.min())
        nan = float("nan")
        found = (nan, nan, nan)
        if seen > 1 and apart:
            fit = fit_censored(group.low, group.high, family="normal")
            found = (fit.mean, fit.mean_u, fit.sd)
        rows.append((group.device, group.low.size, seen, *found))
    return frame_of_rows("group_fits", rows)
