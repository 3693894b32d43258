"""Values of JCGM 101:2008, clauses 7.9.2, 9.2.2 to 9.2.4, from memory; recomputed exactly.

9.2.2: four normal inputs, u = 2.00, ± 3.92. 9.2.3: four rectangular inputs of standard deviation
1, u = 2.00, ± 3.88 (GUM ± 3.92). 9.2.4: one of them ten times wider, u = 10.1, ± 17.0 (GUM ± 19.9).
Typed. The exact half-width of 9.2.3, 2√3(2 − 0.6^¼) = 3.879407, is derived, not published.
"""

from __future__ import annotations

import numpy as np
import pytest

from kit.stats.monte_carlo import agrees, blocks_until_stable, sorted_interval, tolerance
from kit.stats.uncertainty import (
    Resolution,
    coverage_factor,
    resolution,
)
from tests.helpers.exact import sum_of_uniforms_half_width

ROOT3 = 3**0.5


def found_by_blocks(draw, *, digits=2):
    """Return u, low and high of draws made until they stand, as the kit's simulation makes them."""
    rng = np.random.default_rng(2)
    made = []

    def block(_):
        made.append(np.sort(draw(rng, 10_000)))
        low, high = sorted_interval(made[-1], 0.95)
        return np.array([[made[-1].std()], [low], [high]])

    _, stable = blocks_until_stable(block, digits=digits, most=300)
    assert stable
    whole = np.sort(np.concatenate(made))
    return float(whole.std()), *sorted_interval(whole, 0.95)


def rectangles(scale):
    """Draws of Σ of rectangular inputs with these standard deviations."""

    def draw(rng, m):
        half = ROOT3 * np.asarray(scale)[:, None]
        return (half * (2 * rng.random((len(scale), m)) - 1)).sum(axis=0)

    return draw


def test_four_normal_inputs():
    u, low, high = found_by_blocks(lambda rng, m: rng.standard_normal((4, m)).sum(axis=0))
    assert u == pytest.approx(2.00, abs=0.02)
    assert (-low, high) == (pytest.approx(3.92, abs=0.05), pytest.approx(3.92, abs=0.05))


def test_four_rectangular_inputs():
    exact = sum_of_uniforms_half_width([ROOT3] * 4, 0.95)
    assert exact == pytest.approx(2 * ROOT3 * (2 - 0.6**0.25), abs=1e-7)
    assert exact == pytest.approx(3.88, abs=0.005)
    _, _, high = found_by_blocks(rectangles([1, 1, 1, 1]))
    assert high == pytest.approx(3.88, abs=0.03)
    # 8.1: normal factor, ± 3.92; good to one digit of u = 2.0 and to two
    gum = coverage_factor(0.95) * 2.0
    assert gum == pytest.approx(3.92, abs=0.005)
    assert agrees(-gum, gum, -exact, exact, tolerance(2.0, 2))
    assert not agrees(-gum, gum, -exact, exact, tolerance(2.0, 3))


def test_four_readings_are_that_case():
    """The drains of two devices compared: four fractions of ± ½ step, each of sd 1/√12."""
    pair = resolution([1, -1]) + resolution([1, -1])
    exact = sum_of_uniforms_half_width([0.5] * 4, 0.95)
    assert exact == pytest.approx(3.879407 / 12**0.5, abs=1e-6)
    assert exact <= float(pair.half_width(0.95)) <= 1.03 * exact


def test_one_dominant_input():
    exact = sum_of_uniforms_half_width([ROOT3, ROOT3, ROOT3, 10 * ROOT3], 0.95)
    assert exact == pytest.approx(17.0, abs=0.05)
    u = 103**0.5
    assert u == pytest.approx(10.1, abs=0.05)
    assert coverage_factor(0.95) * u == pytest.approx(19.9, abs=0.05)
    _, _, high = found_by_blocks(rectangles([1, 1, 1, 10]))
    assert high == pytest.approx(17.0, abs=0.1)
    # the factor taken from the kurtosis sees the dominant rectangle; a plain k = 2 does not
    shown: Resolution = resolution(np.array([1, 1, 1, 10]), convention_variance=0.0)
    ours = float(shown.half_width(0.95)) * 12**0.5
    assert exact <= ours <= 1.04 * exact
    assert 2 * u > 1.15 * exact


def test_numerical_tolerance():
    # 7.9.2: u = 0.000 35 = 35·10⁻⁵, δ = ½·10⁻⁵
    assert float(tolerance(0.00035, 2)) == pytest.approx(0.5e-5)
