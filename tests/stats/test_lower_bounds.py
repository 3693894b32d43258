"""Differences of which only bounds are known: by hand, by other roads, and false claims counted."""

from __future__ import annotations

import math
from itertools import combinations, product

import numpy as np
import pytest
from scipy import stats

from kit.stats.lower_bounds import (
    least_by_groups,
    least_by_runs,
    least_p,
    rank_sum,
    runs_to_reach,
    signed_rank,
)

INF = math.inf


# --- exact tests ---------------------------------------------------------------------------------


def test_seven_runs_all_won():
    # 2 of 2^7 = 128 signs. At 95 %, P(W ≤ 2) = 3/128 and 2 · 3/128 = 0.047: the third smallest
    # average, after 12 and (12 + 18)/2 = 15, is (12 + 20)/2 = 16.
    lead = [31, 12, 20, 44, 18, 25, 90]
    found = signed_rank(lead, [INF] * 7)
    assert found.p == found.p_least == 2 / 128
    assert (found.low, found.high) == (16, INF)
    # of three pairs each may err in 0.05/3 = 0.0167: the smallest average; six runs reach nothing
    assert signed_rank(lead, [INF] * 7, coverage=1 - 0.05 / 3).low == 12
    assert signed_rank(lead[:6], [INF] * 6, coverage=1 - 0.05 / 3).low == -INF


def test_one_small_loss_among_eight():
    # Ranks of the leads: the loss, −3, has rank 1 of 8. W = 36 − 1 = 35: P(W ≥ 35) = P(W ≤ 1) =
    # 2/256, two-sided 4/256 = 0.0156. P(W ≤ 3) = 5/256 and 2 · 5/256 = 0.039 ≤ 0.05, P(W ≤ 4) =
    # 7/256 is not: the interval starts at the fourth smallest average: −3, (−3 + 10)/2 = 3.5,
    # (−3 + 12)/2 = 4.5, (−3 + 14)/2 = 5.5.
    lead = np.array([-3.0, 10, 12, 14, 21, 30, 33, 50])
    found = signed_rank(lead, lead)
    assert found.p == 4 / 256
    assert found.low == 5.5


def test_a_run_that_is_open_below_counts_as_the_largest_loss():
    # W = 1 + … + 9 = 45 of 55; P(W ≤ 10) = 43 subsets of 1 … 10 with a sum up to 10, of 1024.
    low = [-INF, 10, 12, 14, 21, 30, 33, 50, 51, 52]
    ways = sum(sum(s) <= 10 for k in range(11) for s in combinations(range(1, 11), k))
    found = signed_rank(low, [-1.0] + [INF] * 9)
    assert ways == 43
    assert found.p == pytest.approx(2 * 43 / 1024)


@pytest.mark.parametrize("n", [3, 6, 9, 12])
def test_exactly_known_differences_agree_with_scipy(n):
    d = np.random.default_rng(n).normal(0.7, 1, n)
    assert signed_rank(d, d).p == pytest.approx(stats.wilcoxon(d, method="exact").pvalue)
    e = np.random.default_rng(n + 50).normal(0, 1, n + 1)
    expected = stats.mannwhitneyu(d, e, alternative="two-sided", method="exact").pvalue
    assert rank_sum(d, d, e, e).p == pytest.approx(expected)


def test_the_interval_is_the_test_turned_round():
    # What is subtracted from every difference is inside iff the test does not reject it.
    d = np.random.default_rng(4).normal(5, 3, 9)
    found = signed_rank(d, d, coverage=0.9)
    for shift in np.linspace(-2, 12, 281):
        kept = stats.wilcoxon(d - shift, method="exact").pvalue > 0.1
        assert kept == (found.low < shift < found.high)
    a, b = d, np.random.default_rng(5).normal(2, 3, 7)
    found = rank_sum(a, a, b, b, coverage=0.9)
    for shift in np.linspace(-4, 12, 161):
        kept = stats.mannwhitneyu(a - shift, b, method="exact").pvalue > 0.1
        assert kept == (found.low < shift < found.high)


def test_bounds_never_make_an_exact_test_bolder():
    # Every way of stopping six runs at the true difference, at 1, or below 0.
    d = np.array([0.5, 2.0, 3.5, 1.5, 4.0, 2.5])
    whole = signed_rank(d, d)
    for stop in product([INF, 1.0, -0.5], repeat=6):
        low = np.minimum(d, stop)
        found = signed_rank(low, np.where(low < d, INF, d))
        assert found.p >= whole.p
        assert found.low <= whole.low
        assert found.high >= whole.high


def test_runs_that_counting_takes():
    # paired: 2/2^n; groups: 2/C(2n, n). 0.05/6 = 0.0083: 2/2^8 = 0.0078; 2/252 = 0.0079.
    assert [runs_to_reach(0.05 / m, design="paired") for m in (1, 3, 6, 15)] == [6, 7, 8, 10]
    assert [runs_to_reach(0.05 / m, design="two_groups") for m in (1, 3, 6, 15)] == [4, 5, 5, 6]
    for design in ("paired", "two_groups"):
        n = runs_to_reach(0.01, design=design)
        assert least_p(n, design=design) <= 0.01 < least_p(n - 1, design=design)
    assert runs_to_reach(0.25, design="paired") == 3
    assert least_p(1, design="paired") == 1


@pytest.mark.parametrize("level", [0.0, 1.0])
def test_a_level_outside_is_refused(level):
    with pytest.raises(ValueError, match="between 0 and 1"):
        runs_to_reach(level, design="paired")


@pytest.mark.parametrize(
    ("low", "high", "says"),
    [([], [], "not empty"), ([1], [1, 2], "alike"), ([2], [1], "low"), ([math.nan], [1], "low")],
)
def test_bounds_that_are_none_are_refused(low, high, says):
    with pytest.raises(ValueError, match=says):
        signed_rank(low, high)
    with pytest.raises(ValueError, match=says):
        rank_sum([1], [1], low, high)


# --- t on lower bounds ---------------------------------------------------------------------------


def test_the_larger_scatter_counts():
    # s(seen) = 10: √2·10/√3 = 8.165; leads that scatter by 20 instead: 20/√3 = 11.547.
    assert least_by_runs([40, 44, 42], [600, 590, 610]).u == pytest.approx(8.16497, abs=1e-5)
    wide = least_by_runs([22, 42, 62], [600, 590, 610])
    assert (wide.difference, wide.dof) == (42, 2)
    assert wide.u == pytest.approx(11.54701, abs=1e-5)
    # of groups: s_A = 20, s_B = 10: √(400/3 + 100/3) = 12.910; with s_A = 2: √(100/3 + 100/3)
    seen = [600.0, 590, 610]
    groups = least_by_groups([700, 720, 740], [601.0, 591, 611], seen)
    assert (groups.difference, groups.dof) == (119, 2)
    assert groups.u == pytest.approx(12.90994, abs=1e-5)
    assert least_by_groups([700, 702, 704], seen, seen).u == pytest.approx(8.16497, abs=1e-5)


def test_one_run_has_no_scatter():
    with pytest.raises(ValueError, match="two runs"):
        least_by_runs([40], [600])
    with pytest.raises(ValueError, match="two runs"):
        least_by_groups([700], [600, 610], [600, 610])
    with pytest.raises(ValueError, match="each lead"):
        least_by_runs([40, 41], [600, 610, 620])


# --- false claims --------------------------------------------------------------------------------

SESSIONS = 20_000


def runs_of_two(rng, n, *, shared=0.5, ratio=1.0, lead=0.0):
    """Return runtimes (sessions, runs, 2): what a run shares, and scatter 1 and ``ratio``."""
    own = rng.normal(0, 1, (SESSIONS, n, 2)) * np.array([ratio, 1.0]) + [lead, 0.0]
    return own + rng.normal(0, shared, (SESSIONS, n, 1))


def stopped(runs, how, rng):
    """Return when each run is stopped: soon after the first is off, at a time, about a time."""
    if how == "last_but_one":
        return runs.min(axis=2, keepdims=True) + 0.3
    if how == "wandering":
        return rng.normal(1.0, 1.0, (SESSIONS, runs.shape[1], 1))
    return np.full((SESSIONS, 1, 1), float(how))


def false_by_t(runs, stop, *, naive=False):
    """Return the share of sessions with an order claimed: by t where whole, else by bounds."""
    n = runs.shape[1]
    t = stats.t.ppf(0.975, n - 1)
    open_end, low = runs >= stop, np.minimum(runs, stop)
    d = runs[:, :, 0] - runs[:, :, 1]
    whole = ~open_end.any(axis=(1, 2))
    claimed = whole & (np.abs(d.mean(axis=1)) > t * d.std(axis=1, ddof=1) / np.sqrt(n))
    for i, j in ((0, 1), (1, 0)):
        asked = open_end[:, :, i].any(axis=1) & ~open_end[:, :, j].any(axis=1)
        for s in np.flatnonzero(asked):
            lead = low[s, :, i] - runs[s, :, j]
            if naive:
                claimed[s] = lead.mean() > t * lead.std(ddof=1) / np.sqrt(n)
            else:
                found = least_by_runs(lead, runs[s, :, j])
                claimed[s] = found.difference > t * found.u
    return float(claimed.mean())


# 3 standard errors of 5 % in 20 000 sessions: 0.46 %
LIMIT = 0.0546


@pytest.mark.parametrize("how", ["last_but_one", "wandering", "1.5", "2.5"])
@pytest.mark.parametrize(("n", "ratio"), [(3, 1.0), (4, 2.0)])
def test_equal_devices_are_told_apart_in_no_more_than_five_percent(n, ratio, how):
    rng = np.random.default_rng(20260701)
    runs = runs_of_two(rng, n, shared=0.0, ratio=ratio)
    assert false_by_t(runs, stopped(runs, how, rng)) <= LIMIT


def test_the_t_interval_on_lower_bounds_fails():
    # Stopped soon after the last but one is off, every lead of a clean sweep is the same 0.3:
    # three of three won in a quarter of sessions, most of them by more than 0.3.
    rng = np.random.default_rng(20260702)
    runs = runs_of_two(rng, 3, shared=0.0)
    stop = stopped(runs, "last_but_one", rng)
    assert false_by_t(runs, stop, naive=True) > 0.15
    assert false_by_t(runs, stop) < 0.01


def test_the_least_mean_lead_covers():
    # True lead 2; B always seen to its end, A stopped in most runs.
    rng = np.random.default_rng(20260703)
    for how in ("last_but_one", "wandering", "2.5"):
        runs = runs_of_two(rng, 3, lead=2.0)
        stop = np.maximum(stopped(runs, how, rng), runs[:, :, 1:])
        lead = np.minimum(runs[:, :, 0], stop[:, :, 0]) - runs[:, :, 1]
        t = stats.t.ppf(0.975, 2)
        low = [
            (f := least_by_runs(a, b)).difference - t * f.u
            for a, b in zip(lead[:5000], runs[:5000, :, 1], strict=True)
        ]
        # one-sided: 97.5 % at least, less 3 standard errors of 0.22 %
        assert (np.array(low) <= 2.0).mean() >= 0.968


@pytest.mark.parametrize("how", ["last_but_one", "wandering", "0.5", "1.5"])
def test_the_exact_interval_covers_and_claims_nothing_false(how):
    # Any shape that is alike on both sides will do: here with heavy tails (t with 2 dof).
    rng = np.random.default_rng(20260704)
    runs = rng.standard_t(2, (4000, 7, 2)) + rng.normal(0, 0.5, (4000, 7, 1))
    stop = stopped(np.resize(runs, (SESSIONS, 7, 2)), how, rng)[:4000]
    low = np.minimum(runs, stop)
    high = np.where(runs >= stop, INF, runs)
    kept = 0
    for lo, hi in zip(low, high, strict=True):
        with np.errstate(invalid="ignore"):
            lead, most = lo[:, 0] - hi[:, 1], hi[:, 0] - lo[:, 1]
        found = signed_rank(lead, most)
        kept += found.low <= 0.0 <= found.high
    # 95 % at least, less 3 standard errors of 0.34 %
    assert kept / 4000 >= 0.94


def test_groups_stopped_at_different_times():
    # A is stopped at 1.0, B at 2.5 (own runs): Gehan's count would take their stops for alike.
    rng = np.random.default_rng(20260705)
    a, b = rng.normal(0, 1, (4000, 5)), rng.normal(0, 1, (4000, 5))
    kept = by_t = asked = 0
    t = stats.t.ppf(0.975, 4)
    for one, other in zip(a, b, strict=True):
        low_a, high_a = np.minimum(one, 1.0), np.where(one >= 1.0, INF, one)
        low_b, high_b = np.minimum(other, 2.5), np.where(other >= 2.5, INF, other)
        found = rank_sum(low_a, high_a, low_b, high_b)
        kept += found.low <= 0.0 <= found.high
        if np.isinf(high_a).any() and np.isfinite(high_b).all():
            bound = least_by_groups(low_a, other, other)
            asked += 1
            by_t += bound.difference > t * bound.u
    assert kept / 4000 >= 0.94
    assert asked > 1500
    # one direction: in 2.5 % of sessions at most, and 3 standard errors of 0.25 %
    assert by_t / 4000 <= 0.025 + 0.0075
