"""Monte Carlo in general: tolerances, intervals, adaptive stopping."""

from __future__ import annotations

import numpy as np
import pytest

from kit.stats.monte_carlo import (
    agrees,
    block_size,
    blocks_until_stable,
    sorted_interval,
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


def triangle(i):
    """Figures of a block of 10⁴ sums of two uniform errors: u, then both ends."""
    rng = np.random.default_rng([3, i])
    draws = np.sort(rng.random(10_000) - rng.random(10_000))
    return np.array([[draws.std()], *([end] for end in sorted_interval(draws, 0.95))])


def test_blocks_are_drawn_until_the_digits_stand():
    """u = 0.41. One digit: δ = 0.05 against an end that moves by 0.007 a block: at once.

    Two: 2 · 0.007/√h < 0.005 at h = 8 or so, as the spread of a few blocks has it.
    """
    assert blocks_until_stable(triangle, digits=1, most=50) == (2, True)
    blocks, stable = blocks_until_stable(triangle, digits=2, most=200)
    assert stable
    assert 3 <= blocks <= 40
    assert blocks_until_stable(triangle, digits=2, most=200) == (blocks, True)


def test_blocks_end_at_the_most_that_may_be_drawn():
    assert blocks_until_stable(triangle, digits=6, most=5) == (5, False)
    # two at least: one block says nothing of its spread
    assert blocks_until_stable(triangle, digits=6, most=0) == (2, False)


def test_what_is_not_known_is_not_judged():
    def with_a_gap(i):
        return np.concatenate([triangle(i), np.full((3, 1), np.nan)], axis=1)

    assert blocks_until_stable(with_a_gap, digits=1, most=50) == (2, True)


def test_agreement_needs_both_ends():
    assert agrees([0, 0], [1, 1], [0.04, 0.04], [1.04, 1.06], 0.05).tolist() == [True, False]
    assert not agrees(0.0, 1.0, np.nan, 1.0, 0.05)
