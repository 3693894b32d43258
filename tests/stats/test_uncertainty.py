"""Uncertainties by hand, by an exact formula, and by a small simulation of their own."""

from __future__ import annotations

import numpy as np
import pytest

from kit.stats.uncertainty import (
    CONVENTION_VARIANCE,
    coverage_factor,
    effective_dof,
    expanded,
    normal_factor,
    relative_u_of_s,
    replicate_mean_half_width,
    resolution,
    trapezoid_half_width,
    u_between,
    u_rectangular,
    u_resolution,
)
from tests.helpers.exact import sum_of_uniforms_half_width

DRAWS = 200_000
# P(|error| ≤ U) from DRAWS draws: standard error √(0.95 × 0.05/200 000) = 0.05 %
SLACK = 0.002


def fractions(rng: np.random.Generator, n: int) -> np.ndarray:
    return rng.random((n, DRAWS)) - 0.5


def test_simple_distributions():
    # 1/√12 = 0.288675; two of them added: √(2/12) = 1/√6 = 0.408248, the triangle's own u
    assert float(u_resolution(1.0)) == pytest.approx(0.288675, abs=1e-6)
    two = float(np.hypot(u_resolution(1.0), u_resolution(1.0)))
    assert two == pytest.approx(6**-0.5, rel=1e-12)
    assert float(u_rectangular(0.5)) == pytest.approx(float(u_resolution(1.0)), rel=1e-12)
    # off between 14:05 and 14:10: 5/√12 = 1.4434 min
    assert float(u_between(845.0, 850.0)) == pytest.approx(1.4434, abs=1e-4)


@pytest.mark.parametrize(
    ("coefficients", "u"),
    [
        ([1, -1], (2 / 12) ** 0.5),  # a drain
        ([-1], 0.5),  # from a known full charge: 1/12 + 1/6 = 1/4
        ([1, -2, 1], (6 / 12) ** 0.5),  # two neighbouring drains compared, not √(4/12)
        ([-2, 1], (5 / 12 + 1 / 6) ** 0.5),  # the first of them from full: 0.764
        ([1, 0, 0, -1], (2 / 12) ** 0.5),  # three phases in a row: two readings
    ],
)
def test_resolution_by_hand(coefficients, u):
    assert float(resolution(coefficients).u) == pytest.approx(u, rel=1e-12)


def test_resolution_scales_with_the_step_of_the_display():
    fine, coarse = resolution([1, -1]), resolution([1, -1], step=5.0)
    assert float(coarse.u) == pytest.approx(5 * float(fine.u))
    assert float(coarse.half_width(0.95)) == pytest.approx(5 * float(fine.half_width(0.95)))
    assert float(fine.scaled(5.0).half_width(0.95)) == pytest.approx(float(coarse.half_width(0.95)))


def test_a_stated_rounding_leaves_the_fraction_only():
    # one free reading: 1/√12, exact 95 % half-width of a rectangle 0.475, plus 3.0 %
    known = resolution([-1], convention_variance=0.0)
    assert float(known.u) == pytest.approx(0.2887, abs=1e-4)
    assert float(known.half_width(0.95)) == pytest.approx(0.475 * 0.80 / 0.776393, abs=1e-4)


def test_a_change_of_the_display_leaves_the_rounding_only():
    tick = resolution([-1], weights=[0.0])
    assert float(tick.u) == pytest.approx(CONVENTION_VARIANCE**0.5)
    assert float(tick.expanded(0.0, 0.95)) == pytest.approx(0.5)
    assert float(resolution([1, -1], weights=[0.0, 0.0]).u) == 0.0


def test_half_widths_of_the_common_cases():
    # exact: 1 − √0.05 = 0.7764; used: 0.80. From full: hard bound ½ + ½.
    assert float(resolution([1, -1]).half_width(0.95)) == pytest.approx(0.80)
    assert float(resolution([-1]).half_width(0.95)) == pytest.approx(1.00)
    assert float(resolution([1, -2, 1]).half_width(0.95)) == pytest.approx(1.38, abs=0.01)
    # two devices: exact 2 − 0.6^¼ = 1.1199
    pair = resolution([1, -1]) + resolution([1, -1])
    assert 1.1199 < float(pair.half_width(0.95)) < 1.1199 * 1.025
    # never beyond what cannot be exceeded: two readings differ from the truth by less than 1
    assert float(resolution([1, -1]).half_width(1 - 1e-9)) == pytest.approx(1.0, abs=1e-4)
    assert float(resolution([1, -1]).hard_bound) == 1.0


@pytest.mark.parametrize(
    "coefficients",
    [[1, -1], [1, -2, 1], [1, -0.5, -0.5], [1, -1, 1, -1], [1.02, -1.04, 0.02], [3, -1, -1, -1]],
)
@pytest.mark.parametrize("coverage", [0.68, 0.90, 0.95, 0.99])
def test_half_width_against_the_exact_sum_of_uniforms(coefficients, coverage):
    """Where the rounding cancels: at least the exact width, at most 6 % more."""
    exact = sum_of_uniforms_half_width(np.abs(coefficients) / 2.0, coverage)
    used = float(resolution(coefficients).half_width(coverage))
    assert exact <= used * 1.002
    assert used <= exact * 1.06


def test_exact_sum_of_uniforms_against_closed_forms():
    # one: p·a; two equal: 1 − √(1 − p); four of ±½: 2 − (12(1 − p))^¼ for p ≥ 11/12
    assert sum_of_uniforms_half_width([0.5], 0.95) == pytest.approx(0.475, abs=1e-9)
    assert sum_of_uniforms_half_width([0.5, 0.5], 0.95) == pytest.approx(1 - 0.05**0.5, abs=1e-9)
    assert sum_of_uniforms_half_width([0.5] * 4, 0.95) == pytest.approx(2 - 0.6**0.25, abs=1e-7)
    assert sum_of_uniforms_half_width([0.0, 0.0], 0.95) == 0.0
    assert float(trapezoid_half_width(0.5, 0.5, 0.95)) == pytest.approx(1 - 0.05**0.5)
    for a, b in ((0.5, 0.4), (1.0, 0.1), (1.0, 0.01), (0.3, 0.0)):
        assert float(trapezoid_half_width(a, b, 0.95)) == pytest.approx(
            sum_of_uniforms_half_width([a, b], 0.95), abs=1e-7
        )
    with pytest.raises(ValueError, match="at most 12"):
        sum_of_uniforms_half_width([1.0] * 13, 0.95)


@pytest.mark.parametrize("ratio", [0.0, 0.3, 1.0, 3.0])
def test_width_and_normal_part_together_cover(ratio):
    """Triangle and normal error added in quadrature: 95.4 to 96.0 % at every ratio."""
    rng = np.random.default_rng(20260516)
    shown = resolution([1, -1])
    u_other = ratio * float(shown.u)
    e = fractions(rng, 2)
    error = e[0] - e[1] + u_other * rng.standard_normal(DRAWS)
    half = float(shown.expanded(u_other, 0.95))
    covered = np.mean(np.abs(error) <= half)
    assert 0.954 - SLACK <= covered <= 0.960 + SLACK
    assert half == pytest.approx(float(expanded(0.80, u_other, 0.95)))


@pytest.mark.parametrize("ratio", [0.1, 0.3, 0.5, 1.0, 3.0])
@pytest.mark.parametrize("coverage", [0.9, 0.95, 0.99])
def test_one_reading_and_a_normal_part_cover_where_squares_added_do_not(ratio, coverage):
    """A rectangle has no tails: squares of half-widths fall short by up to 2 and 1.5 %."""
    rng = np.random.default_rng(20260517)
    shown = resolution([1], convention_variance=0.0)
    u_other = ratio * float(shown.u)
    error = fractions(rng, 1)[0] + u_other * rng.standard_normal(DRAWS)
    half = float(shown.expanded(u_other, coverage))
    covered = np.mean(np.abs(error) <= half)
    assert coverage - SLACK <= covered <= coverage + 0.03 + SLACK
    if (ratio, coverage) == (0.5, 0.95):
        squares = np.hypot(0.475, 1.96 * u_other)
        assert np.mean(np.abs(error) <= squares) < 0.94


def test_naive_half_a_point_fails():
    """± 0.5 covers 1 − 0.5² = 75 % of differences of two readings, ± 1.96/√12 about 81 %."""
    rng = np.random.default_rng(1)
    e = fractions(rng, 2)
    error = np.abs(e[0] - e[1])
    assert np.mean(error <= 0.5) == pytest.approx(0.75, abs=0.005)
    assert np.mean(error <= 1.96 / 12**0.5) < 0.82
    assert np.mean(error <= float(resolution([1, -1]).half_width(0.95))) > 0.95


@pytest.mark.parametrize("offset", [-0.5, 0.0, 0.5])
def test_from_full_the_triangle_fails_and_the_free_end_covers(offset):
    """A first phase: 100 is exact, the last reading is off by its fraction and the rounding.

    The width of an ordinary drain, 0.80, covers 80 % when the display truncates or rounds up.
    """
    rng = np.random.default_rng(2)
    error = np.abs(fractions(rng, 1)[0] + offset)
    ours = float(resolution([-1]).half_width(0.95))
    assert np.mean(error <= ours) >= 0.95
    if offset:
        assert np.mean(error <= 0.80) == pytest.approx(0.80, abs=0.005)


@pytest.mark.parametrize("offset", [-0.5, 0.5])
def test_worst_rounding_is_covered_also_beside_other_errors(offset):
    rng = np.random.default_rng(3)
    for weight, u_other in ((1.0, 0.1), (1.0, 0.5), (0.0, 0.1), (0.0, 0.5)):
        shown = resolution([-1], weights=[weight])
        error = weight * fractions(rng, 1)[0] + offset + u_other * rng.standard_normal(DRAWS)
        half = float(shown.expanded(u_other, 0.95))
        # for one given rounding; averaged over the three it is more
        least = 0.94 if weight else 0.948
        assert np.mean(np.abs(error) <= half) >= least, (weight, u_other)


def test_naive_independence_between_phases_fails():
    """Two neighbouring drains share a reading: their difference has u 0.707, not √(4/12) = 0.577.

    1.96 × 0.577 = 1.13 covers about 88 % of the differences, and is said to cover 95 %.
    """
    rng = np.random.default_rng(4)
    e = fractions(rng, 3)
    error = np.abs(e[0] - 2 * e[1] + e[2])
    assert np.mean(error <= 1.96 * (4 / 12) ** 0.5) < 0.90
    assert np.mean(error <= float(resolution([1, -2, 1]).half_width(0.95))) > 0.95
    # and a sum over five phases is over-stated: √(10/12) for √(2/12)
    sums = np.abs(fractions(rng, 1)[0] - fractions(rng, 1)[0])
    assert np.mean(sums <= 1.96 * (10 / 12) ** 0.5) == 1.0
    ours = float(resolution([1, 0, 0, 0, 0, -1]).half_width(0.95))
    assert 0.94 <= np.mean(sums <= ours) <= 0.97


def test_two_devices_from_full_need_the_worst_rounding():
    """One display truncates, the other rounds up: the difference is off by 1 on average.

    The width for conventions that cancel, 1.14, then covers little more than half.
    """
    rng = np.random.default_rng(5)
    e = fractions(rng, 2)
    error = np.abs(e[0] - e[1] + 1.0)
    both = resolution([-1]) + resolution([-1])
    assert np.mean(error <= 1.14) < 0.65
    worst = float(both.half_widths(0.95)[1])
    assert np.mean(error <= worst) > 0.95
    assert worst == pytest.approx(1.80)


def test_normal_factor_is_two_at_95_percent():
    assert normal_factor(0.95) == pytest.approx(2.0)
    assert normal_factor(0.99) == pytest.approx(2.5758 * 2 / 1.95996, abs=1e-4)
    for bad in (0.0, 1.0, 95.0):
        with pytest.raises(ValueError, match="coverage must lie between 0 and 1"):
            normal_factor(bad)


def test_effective_degrees_of_freedom():
    # u = 3 and 4, ν = 2 and ∞: 5⁴/(81/2) = 15.43
    assert effective_dof([3, 4], [2, np.inf]) == pytest.approx(625 / 40.5)
    assert effective_dof([3, 4], [np.inf, np.inf]) == np.inf
    # equal parts with equal ν: the sum of the ν
    assert effective_dof([1, 1, 1], [5, 5, 5]) == pytest.approx(15.0)


def test_coverage_factor_of_degrees_that_are_not_whole():
    assert coverage_factor(0.95) == pytest.approx(1.959964, abs=1e-6)
    assert coverage_factor(0.95, 17) < coverage_factor(0.95, 16.7) < coverage_factor(0.95, 16)
    assert coverage_factor(0.95, np.inf) == coverage_factor(0.95)
    with pytest.raises(ValueError, match="degrees of freedom must be above 0"):
        coverage_factor(0.95, 0.0)


def test_relative_u_of_s_needs_two_values():
    assert relative_u_of_s(30) == pytest.approx(0.13, abs=0.005)
    with pytest.raises(ValueError, match="at least 2 values"):
        relative_u_of_s(1)


def test_replicates_do_not_average_rounding_away():
    """Three runs from full charge at the same fraction: s = 0, and t·s/√n = 0 would be claimed."""
    assert replicate_mean_half_width(0.0, 3, 1.0, 0.95) == 1.0
    # s = 0.3, n = 3: t(2) = 4.303, 4.303 × 0.3/√3 = 0.745; √(1 + 0.745²) = 1.247
    assert replicate_mean_half_width(0.3, 3, 1.0, 0.95) == pytest.approx(1.247, abs=1e-3)


def test_parts_of_resolution_add_reshape_and_index():
    table = resolution(np.array([[1, -1], [2, -2], [3, -3], [4, -4]]))
    grid = table.reshaped((2, 2))
    assert grid.u.shape == (2, 2)
    assert float(grid[1, 0].u) == pytest.approx(3 * (2 / 12) ** 0.5)
    assert float(grid.summed(axis=0).own[0]) == pytest.approx((1 + 9) * 2 / 12)
