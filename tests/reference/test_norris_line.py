"""The straight line against a certified one.

Source: NIST Statistical Reference Datasets, linear least squares, Norris (lower difficulty): data
and certified values as in scipy/stats/tests/data/nist_linregress/Norris.dat (seen); 36 points of
an ozone monitor's calibration, y = reading, x = customer's concentration.
"""

from __future__ import annotations

import numpy as np
import pytest

from kit.stats.line_fit import straight_line

NORRIS = (
    (0.1, 0.2), (338.8, 337.4), (118.1, 118.2), (888.0, 884.6), (9.2, 10.1), (228.1, 226.5),
    (668.5, 666.3), (998.5, 996.3), (449.1, 448.6), (778.9, 777.0), (559.2, 558.2), (0.3, 0.4),
    (0.1, 0.6), (778.1, 775.5), (668.8, 666.9), (339.3, 338.0), (448.9, 447.5), (10.8, 11.6),
    (557.7, 556.0), (228.3, 228.1), (998.0, 995.8), (888.8, 887.6), (119.6, 120.2), (0.3, 0.3),
    (0.6, 0.3), (557.6, 556.8), (339.3, 339.1), (888.0, 887.2), (998.5, 999.0), (778.9, 779.0),
    (10.2, 11.1), (117.6, 118.3), (228.9, 229.2), (668.4, 669.1), (449.2, 448.9), (0.2, 0.5),
)  # fmt: skip
"""(y, x)."""


def test_norris_certified_line():
    """B0 −0.262323073774029 (0.232818234301152), B1 1.00211681802045 (0.429796848199937e-3).

    Residual standard deviation 0.884796396144373, 34 degrees of freedom. Values with 15 digits;
    double precision leaves 9 of those of B0 and more of the others.
    """
    y, x = np.array(NORRIS).T
    assert x.size == 36
    fit = straight_line(x, y)
    assert fit.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert fit.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert fit.intercept_u == pytest.approx(0.232818234301152, rel=1e-9)
    assert fit.slope_u == pytest.approx(0.429796848199937e-3, rel=1e-9)
    assert fit.s == pytest.approx(0.884796396144373, rel=1e-9)
    assert fit.dof == 34


def test_norris_analysis_of_variance():
    """Residual sum of squares 26.6173985294224, F 5436385.54079785, R² 0.999993745883712."""
    y, x = np.array(NORRIS).T
    fit = straight_line(x, y)
    residual = fit.s**2 * fit.dof
    assert residual == pytest.approx(26.6173985294224, rel=1e-9)
    # one regressor: F = t² of the slope
    assert (fit.slope / fit.slope_u) ** 2 == pytest.approx(5436385.54079785, rel=1e-9)
    total = ((y - y.mean()) ** 2).sum()
    assert 1.0 - residual / total == pytest.approx(0.999993745883712, rel=1e-12)


def test_origin_moves_the_intercept_and_not_the_line():
    y, x = np.array(NORRIS).T
    at_zero, at_middle = straight_line(x, y), straight_line(x, y, origin=500.0)
    for where in (0.0, 500.0, 1000.0):
        for a, b in zip(at_zero.at(where), at_middle.at(where), strict=True):
            assert a == pytest.approx(b, rel=1e-9)
