"""Straight lines: exact points, too few points, prediction against simulation."""

from __future__ import annotations

import numpy as np
import pytest

from kit.stats.line_fit import straight_line


def test_points_on_a_line_have_no_uncertainty():
    fit = straight_line([1.0, 2.0, 4.0], [3.0, 1.0, -3.0], origin=1.0)
    assert (fit.intercept, fit.slope) == (pytest.approx(3.0), pytest.approx(-2.0))
    assert fit.s == pytest.approx(0.0, abs=1e-12)
    assert fit.at(3.0)[0] == pytest.approx(-1.0)


@pytest.mark.parametrize(("x", "y"), [([1, 2], [1, 2]), ([1, 1, 1], [1, 2, 3])])
def test_refuses_what_is_no_line(x, y):
    with pytest.raises(ValueError, match="at least 3 points"):
        straight_line(x, y)


def test_prediction_against_simulation():
    """Ten minutes of a falling percentage, read off an hour later: u with its correlation."""
    rng = np.random.default_rng(12)
    x = np.arange(11.0)
    u, error = [], []
    for _ in range(4000):
        value, sd = straight_line(x, 80 - 0.2 * x + 0.1 * rng.standard_normal(11)).at(60.0)
        error.append(value - 68.0)
        u.append(sd)
    # mean of s is below σ by c₄(10 points) = 0.973
    assert np.mean(u) / 0.973 == pytest.approx(np.std(error), rel=0.04)
