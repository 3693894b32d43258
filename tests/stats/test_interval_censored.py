"""Fits to windows: agreement with plain formulas, and refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kit.stats.interval_censored import fit_censored, turnbull


def test_exact_times_give_mean_and_sd_of_the_sample():
    # 600, 606, 612: mean 606, sd with divisor n: sqrt(24) = 4.899; u(mean) = 4.899/sqrt(3).
    fit = fit_censored([600, 606, 612], [600, 606, 612], family="normal")
    assert fit.mean == pytest.approx(606, abs=1e-4)
    assert fit.sd == pytest.approx(math.sqrt(24), rel=1e-4)
    assert fit.mean_u == pytest.approx(math.sqrt(24 / 3), rel=1e-3)


def test_likelihood_does_not_depend_on_the_unit():
    # ln L of a normal sample at its maximum: -n/2 (ln(2 pi sd^2) + 1), sd^2 = 24, n = 3.
    fit = fit_censored([600, 606, 612], [600, 606, 612], family="normal")
    assert fit.log_likelihood == pytest.approx(-1.5 * (math.log(2 * math.pi * 24) + 1), abs=1e-6)


def test_survivor_pulls_the_mean_up():
    low, high = [600, 606, 612], [604, 610, math.inf]
    fit = fit_censored(low, high, family="normal")
    naive = np.mean([602, 608, 612])
    assert fit.mean > naive


def test_censored_normal_finds_the_truth_and_the_naive_mean_does_not():
    # Runtimes N(600, 12) in windows of 4 min; the session stops at 606.
    rng = np.random.default_rng(42)
    true = 600 + 12 * rng.standard_normal(3000)
    low = np.floor(true / 4) * 4
    high = np.where(true > 606, math.inf, low + 4)
    low = np.where(true > 606, 606, low)
    fit = fit_censored(low, high, family="normal")
    naive = np.where(np.isfinite(high), low + 2, 606).mean()
    assert fit.mean == pytest.approx(600, abs=4 * fit.mean_u)
    assert fit.sd == pytest.approx(12, abs=0.8)
    assert naive < 598


def test_open_window_does_not_hold_its_left_end():
    # Exactly 2, and (2, 5]: two innermost intervals, half the mass each.
    curve = turnbull([2, 2], [2, 5])
    assert list(zip(curve.low, curve.high, strict=True)) == [(2, 2), (2, 5)]
    np.testing.assert_allclose(curve.mass, [0.5, 0.5])


def test_overlapping_windows_share_their_overlap():
    # (0, 3], (2, 5]: all mass can sit in (2, 3].
    curve = turnbull([0, 2], [3, 5])
    assert (curve.low.tolist(), curve.high.tolist(), curve.mass.tolist()) == ([2], [3], [1])


@pytest.mark.parametrize(
    ("low", "high", "message"),
    [([], [], "not empty"), ([2], [1], "low <= high"), ([1, 2], [3], "alike")],
)
def test_unusable_windows_are_refused(low, high, message):
    with pytest.raises(ValueError, match=message):
        turnbull(low, high)


def test_fit_needs_upper_bounds():
    with pytest.raises(ValueError, match="needs 2 windows with an upper bound, got 1"):
        fit_censored([1, 2], [3, math.inf], family="normal")
