"""Product-limit curve, restricted mean and pair counting: hand-worked cases and refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.stats.survival import gehan_pairs, log_rank, product_limit, restricted_mean

times = st.lists(st.integers(1, 30), min_size=2, max_size=12)


def test_three_runs_of_which_one_was_stopped():
    # Runs 9.0, 9.5+, 10.0 h: 1 - 1/3 = .6667 (se .6667 sqrt(1/(3*2)) = .2722), then 0.
    curve = product_limit([9.0, 9.5, 10.0], [True, False, True])
    assert curve.survival.tolist() == pytest.approx([2 / 3, 0])
    assert curve.survival_se.tolist() == pytest.approx([0.27217, 0], abs=1e-5)
    # Restricted to 9.5 h: 9 + .5 * 2/3 = 9.3333; A_1 = .33333, se = .33333/sqrt(6) = .13608.
    assert restricted_mean(curve, horizon=9.5) == pytest.approx((9.33333, 0.13608), abs=1e-5)


@given(times)
def test_without_censoring_it_is_the_plain_mean(t):
    curve = product_limit(t, [True] * len(t))
    mean, se = restricted_mean(curve, horizon=40)
    assert mean == pytest.approx(np.mean(t))
    # Greenwood without censoring: variance with divisor n, over n
    assert se == pytest.approx(np.std(t) / math.sqrt(len(t)), abs=1e-9)
    assert curve.survival.tolist() == pytest.approx([np.mean(np.array(t) > x) for x in curve.time])


def test_all_stopped_gives_an_empty_curve_and_a_mean_to_the_horizon():
    curve = product_limit([5.0, 6.0], [False, False])
    assert curve.time.size == 0
    assert math.isnan(curve.median)
    assert restricted_mean(curve, horizon=5.5) == (5.5, 0.0)


def test_curve_says_nothing_beyond_the_last_time():
    curve = product_limit([5.0, 6.0], [True, False])
    with pytest.raises(ValueError, match=r"not beyond 6, got 7"):
        restricted_mean(curve, horizon=7.0)
    with pytest.raises(ValueError, match="above 0"):
        restricted_mean(curve, horizon=0.0)


def test_bands_are_missing_where_the_curve_is_one_or_zero():
    low, high = product_limit([5.0, 6.0], [True, True]).bands(coverage=0.95)
    # S = .5, se = .5 sqrt(1/2) = .35355; z se/(S |ln S|) = 1.96 * .35355/(.5 * .69315) = 1.9995;
    # e^1.9995 = 7.385: .5^7.385 = .00598, .5^(1/7.385) = .9104.
    assert (low[0], high[0]) == pytest.approx((0.00598, 0.9104), abs=2e-4)
    assert np.isnan(low[1])
    assert np.isnan(high[1])


def test_naive_mean_of_stopped_runs_is_too_short():
    # True exponential runtime of mean 10 h, stopped at 8 h. Counting stopped runs as if they had
    # powered off (6.9 expected by 10(1 - e^-.8) = 5.51) or leaving them out is far off; the
    # restricted mean estimates the area up to 8 h = 5.51, which is what it says.
    rng = np.random.default_rng(41)
    true = rng.exponential(10, size=4000)
    seen = true <= 8
    t = np.minimum(true, 8)
    left_out = t[seen].mean()
    mean, _ = restricted_mean(product_limit(t, seen), horizon=8)
    assert left_out < 4
    assert mean == pytest.approx(10 * (1 - math.exp(-0.8)), abs=0.15)


def test_log_rank_needs_something_to_compare():
    with pytest.raises(ValueError, match="both groups"):
        log_rank([1, 2], [True, True], [0.5], [False])


@pytest.mark.parametrize(
    ("t", "seen", "message"),
    [([], [], "not empty"), ([1, 2], [True], "alike"), ([1, math.nan], [True, True], "finite")],
)
def test_unusable_input_is_refused(t, seen, message):
    with pytest.raises(ValueError, match=message):
        product_limit(t, seen)


def test_windows_that_touch_are_decided_and_that_overlap_are_not():
    # A [843, 847) v B [840, 843): A surely longer; v [840, 844): open.
    assert gehan_pairs([843], [847], [840], [843]).longer == 1
    assert gehan_pairs([843], [847], [840], [844]).undecided == 1
    # equal exact times stay open; no decided pair: no z
    tied = gehan_pairs([5], [5], [5], [5])
    assert (tied.undecided, tied.score) == (1, 0)
    assert math.isnan(tied.z)
