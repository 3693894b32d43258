"""Monte Carlo in general: tolerances, intervals, adaptive stopping."""

from __future__ import annotations

import numpy as np
import pytest

from kit.stats.monte_carlo import (
    adaptive,
    agrees,
    block_size,
    sorted_interval,
    summarise,
    tolerance,
)


@pytest.mark.parametrize(
    ("u", "digits", "delta"),
    [
        (0.41, 1, 0.05),  # 4·10⁻¹ → ½·10⁻¹
        (0.41, 2, 0.005),  # 41·10⁻² → ½·10⁻²
        (0.00035, 2, 5e-6),
        (2.0, 2, 0.05),  # 20·10⁻¹
        (0.096, 1, 0.05),  # rounds to 1·10⁻¹, one power of ten up
        (0.0949, 1, 0.005),  # rounds to 9·10⁻²
        (12.3, 1, 5.0),  # 1·10¹
    ],
)
def test_tolerance(u, digits, delta):
    assert float(tolerance(u, digits)) == pytest.approx(delta, rel=1e-12)


def test_tolerance_refuses_no_digits():
    with pytest.raises(ValueError, match="digits must be at least 1"):
        tolerance(1.0, 0)


def test_block_size():
    # J = ⌈100/(1 − p)⌉: 2000 for 0.95, below 10⁴; 100 000 for 0.999
    assert block_size(0.95) == 10_000
    assert block_size(0.999) == 100_000
    with pytest.raises(ValueError, match="coverage must lie"):
        block_size(1.0)


def test_symmetric_interval_of_known_draws():
    # 1 … 100, p = 0.9: q = 90, r = 5: from the 6th to the 96th of the sorted draws
    assert sorted_interval(np.arange(1.0, 101.0), 0.90) == (6.0, 96.0)
    with pytest.raises(ValueError, match="at least 2 draws"):
        sorted_interval(np.array([1.0]), 0.95)


def test_shortest_interval_of_a_skewed_distribution():
    """Exponential, mean 1: shortest [0, −ln 0.05 = 2.9957]; symmetric [0.0253, 3.6889]."""
    p = (np.arange(1_000_000) + 0.5) / 1_000_000
    draws = -np.log1p(-p)
    low, high = sorted_interval(draws, 0.95, kind="shortest")
    assert (low, high) == (pytest.approx(0.0, abs=1e-4), pytest.approx(2.9957, abs=1e-3))
    low, high = sorted_interval(draws, 0.95)
    assert (low, high) == (pytest.approx(-np.log(0.975), abs=1e-4), pytest.approx(3.6889, abs=1e-3))


def test_summary_of_three_outputs():
    rng = np.random.default_rng(7)
    found = summarise(rng.normal([[0.0], [5.0], [-2.0]], [[1.0], [2.0], [0.5]], (3, 200_000)), 0.95)
    # standard error of a mean: 2/√200 000 = 0.0045
    np.testing.assert_allclose(found.mean, [0, 5, -2], atol=0.02)
    np.testing.assert_allclose(found.u, [1, 2, 0.5], rtol=0.01)
    np.testing.assert_allclose(found.low, [-1.96, 5 - 3.92, -2.98], atol=0.05)


def test_adaptive_is_seeded_and_stops_when_the_digits_stand():
    def triangle(rng, m):
        return rng.random((1, m)) - rng.random((1, m))

    first = adaptive(triangle, seed=3, coverage=0.95, digits=2)
    again = adaptive(triangle, seed=3, coverage=0.95, digits=2)
    other = adaptive(triangle, seed=4, coverage=0.95, digits=2)
    assert first.stable
    assert first.draws % 10_000 == 0
    assert first.draws >= 20_000
    np.testing.assert_array_equal(first.summary.low, again.summary.low)
    assert first.summary.low[0] != other.summary.low[0]
    # exact: u = 1/√6, ends ±(1 − √0.05), to δ = ½·10⁻²
    assert first.summary.u[0] == pytest.approx(1 / 6**0.5, abs=0.005)
    assert first.summary.high[0] == pytest.approx(1 - 0.05**0.5, abs=0.01)


def test_adaptive_says_when_it_gave_up():
    found = adaptive(
        lambda rng, m: rng.random((1, m)), seed=1, coverage=0.95, digits=6, max_draws=30_000
    )
    assert not found.stable
    assert found.draws == 30_000


def test_agreement_needs_both_ends():
    assert agrees([0, 0], [1, 1], [0.04, 0.04], [1.04, 1.06], 0.05).tolist() == [True, False]
    assert not agrees(0.0, 1.0, np.nan, 1.0, 0.05)
