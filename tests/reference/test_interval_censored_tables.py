"""Windows: heat-exchanger cracks and self-consistent toy cases.

Heat-exchanger plant 1: 100 tubes, cracks 1 in (0, 1], 2 in (1, 2], 2 in (2, 3] years, 95 sound at
3 years: W. Q. Meeker and L. A. Escobar (1998), Statistical Methods for Reliability Data, ch. 3
(data, likelihood and standard-error formula seen in a stored copy of the chapter). Typed.
Toys: test file test-npmle.R of the R package longevity (seen).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from kit.stats.interval_censored import fit_censored, turnbull

LOW = [0] + [1] * 2 + [2] * 2 + [3] * 95
HIGH = [1] + [2] * 2 + [3] * 2 + [math.inf] * 95


def test_plant_one_share_cracked():
    # F(1), F(2), F(3) = 1/100, 3/100, 5/100 (printed).
    curve = turnbull(LOW, HIGH)
    assert curve.low.tolist() == [0, 1, 2, 3]
    np.testing.assert_allclose(curve.mass.cumsum()[:3], [0.01, 0.03, 0.05], atol=1e-9)


def test_exponential_mean_has_a_closed_form():
    # With p = exp(-1/mean): (0,1]: 1-p; (1,2]: p(1-p) twice; (2,3]: p^2(1-p) twice; p^3 95 times.
    # L = (1-p)^5 p^(2 + 4 + 285) = (1-p)^5 p^291, so p = 291/296 and mean = -1/ln p = 58.6986
    # (derived from the printed data, not published).
    expected = -1 / math.log(291 / 296)
    assert expected == pytest.approx(58.6986, abs=5e-5)
    fit = fit_censored(LOW, HIGH, family="exponential")
    assert fit.mean == pytest.approx(expected, rel=1e-6)
    # ln L at the maximum: 5 ln(5/296) + 291 ln(291/296)
    assert fit.log_likelihood == pytest.approx(5 * math.log(5 / 296) + 291 * math.log(291 / 296))


def test_scipy_fits_the_same_windows():
    from scipy import stats

    data = stats.CensoredData(interval=[[0, 1], [1, 2], [1, 2], [2, 3], [2, 3]], right=[3] * 95)
    _, scale = stats.expon.fit(data, floc=0)
    # scipy stops its search at about 1e-6 relative
    assert fit_censored(LOW, HIGH, family="exponential").mean == pytest.approx(scale, rel=1e-5)


def test_scipy_fits_the_same_normal():
    from scipy import stats

    low = np.array([600.0, 610, 618, 604, 622, 630])
    high = np.array([604.0, 614, 622, 608, 630, math.inf])
    data = stats.CensoredData(interval=np.column_stack([low, high])[:5], right=[630.0])
    mean, sd = stats.norm.fit(data)
    fit = fit_censored(low, high, family="normal")
    assert fit.mean == pytest.approx(mean, abs=1e-3)
    assert fit.sd == pytest.approx(sd, abs=1e-3)


def test_window_and_later_exact_time():
    # {[1, 3], exactly 4}: half the mass in each.
    curve = turnbull([1, 4], [3, 4])
    np.testing.assert_allclose(curve.mass, [0.5, 0.5], atol=1e-9)


def test_right_censored_toy():
    # {1+, 1, 2}: masses 1/3 at 1 and 2/3 at 2.
    curve = turnbull([1, 1, 2], [math.inf, 1, 2])
    assert curve.low.tolist() == curve.high.tolist() == [1, 2]
    np.testing.assert_allclose(curve.mass, [1 / 3, 2 / 3], atol=1e-8)


# Windows without common ends, so that open or closed makes no difference.
APART_LOW = np.array([0.0, 2.1, 2.2, 3.3, 4.4, 6.5, 7.6, 1.7])
APART_HIGH = np.array([3.0, 4.1, 5.2, 7.3, 6.4, 9.5, 9.6, 20.0])


def test_eight_windows_by_hand():
    # Places A = (2.2, 3), B = (3.3, 4.1), C = (4.4, 5.2), D = (6.5, 7.3), E = (7.6, 9.5). With
    # B = D = 0 the windows give A, A, A + C, C, C, E, E, 1: L = A² C² (A + C) E², largest at
    # A = C = 5/14, E = 2/7. More of B adds 1/A + 1/(A + C) + 1/C + 1 = 8 per unit of mass, no less
    # than what the places with mass give (8 windows), so B creeps towards 0 in any iteration.
    curve = turnbull(APART_LOW, APART_HIGH)
    assert curve.low.tolist() == [2.2, 3.3, 4.4, 6.5, 7.6]
    np.testing.assert_allclose(curve.mass, [5 / 14, 0, 5 / 14, 0, 2 / 7], atol=6e-5)


@pytest.mark.system
def test_lifelines_agrees_on_windows():
    pytest.importorskip("lifelines")
    from lifelines.fitters.npmle import npmle

    masses, places = npmle(APART_LOW, APART_HIGH, tol=1e-10)
    curve = turnbull(APART_LOW, APART_HIGH)
    ours = {(a, b): m for a, b, m in zip(curve.low, curve.high, curve.mass, strict=True)}
    for mass, place in zip(masses, places, strict=True):
        # it stops with 0.00029 left at B, ours with 0.00005
        assert ours[(place.left, place.right)] == pytest.approx(mass, abs=3e-4)
