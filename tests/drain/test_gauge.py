"""Steps, rounding, deviations and the level effect of gauges."""

from __future__ import annotations

import numpy as np
import pytest

from kit.drain.gauge import (
    charge_excess,
    constant_power_drain,
    convention,
    display_step,
    error_covariance,
    saver_thresholds,
    step_of,
)
from kit.session import Gauge


@pytest.mark.parametrize(
    ("values", "step"),
    [
        ([100, 95, 90, 75, 60, 40], 5.0),
        ([100, 90, 60, 50, 20], 10.0),
        ([100, 88, 76, 64], 1.0),  # three values below 100: four are wanted
        ([100, 88, 76, 64, 52, 40, 28, 16, 4], 2.0),  # multiples of 12 and 4: even, no such step
        ([96, 84, 72, 60], 1.0),
        ([98, 92, 88, 80], 1.0),  # four even numbers happen by chance in 6 % of cases
        ([98, 94, 88, 80, 74, 60, 52, 40], 2.0),
        ([97, 91, 83], 1.0),
        ([97.3, 91.0], 0.1),
        ([97.25, 91.0], 0.01),
        ([100, 100], 1.0),
        ([], 1.0),
        ([np.nan, 80, 80, 80, 80, 80], 1.0),  # repeats say nothing
    ],
)
def test_display_step(values, step):
    assert display_step(np.array(values, dtype=float)) == step


def test_a_stated_step_is_taken():
    assert step_of(Gauge(step_pct=10.0), [81, 77, 63]) == 10.0
    assert step_of(Gauge(step_pct=0.0), [81, 77, 63]) == 1.0


def test_conventions_by_the_numbers_they_show():
    """A true 47.6 is shown as 47, 48 or 48; on average the true value is at n + ½, n or n − ½."""
    true = np.linspace(40.0, 60.0, 200_001)[:-1]
    shown = {
        "truncated": np.floor(true),
        "nearest": np.floor(true + 0.5),
        "rounded_up": np.ceil(true),
    }
    for name, values in shown.items():
        offset, variance = convention(name)
        assert np.mean(true - values) == pytest.approx(offset, abs=1e-3)
        assert variance == 0.0
    # unknown: −½, 0, +½ with probability ⅓ each: variance (¼ + 0 + ¼)/3 = 1/6
    assert convention("unknown") == (0.0, pytest.approx(1 / 6))


def test_gauge_deviations_by_hand():
    # 87 → 75, A = 3, λ = 7: √2 · √3 · √(1 − e^(−144/98)) = 2.4495 × 0.8775 = 2.149
    k = error_covariance([87.0, 75.0], 3.0, 7.0)
    assert float(np.sqrt(np.array([1, -1]) @ k @ np.array([1, -1]))) == pytest.approx(
        2.149, abs=1e-3
    )
    # far apart: √2 · A/√3
    k = error_covariance([95.0, 20.0], 3.0, 7.0)
    assert float(np.sqrt(k[0, 0] + k[1, 1] - 2 * k[0, 1])) == pytest.approx(6**0.5, abs=1e-6)
    # a known full charge: nothing can be wrong there
    k = error_covariance([100.0, 92.0], 3.0, 7.0, full=True)
    assert k[0, 0] == pytest.approx(0.0, abs=1e-12)
    assert float(k[1, 1] ** 0.5) == pytest.approx(1.479, abs=1e-3)


def test_charge_effect_is_what_falls_out_of_a_straight_voltage_curve():
    """At constant power I ∝ 1/V. A cell whose voltage falls in a straight line from 4.2 to 3.4 V
    shows the same activity at 20 % faster than at 90 % by V(90)/V(20) = 4.12/3.56 = 1.157."""
    straight = 4.12 / 3.56
    ours = (1 + charge_excess(20.0)) / (1 + charge_excess(90.0))
    assert 1.11 <= ours <= 1.13
    assert ours < straight


def test_charge_effect_averages_out_over_a_run():
    """β is relative to the mean over the run, so the time per percent must average to 1."""
    level = np.linspace(0.0, 100.0, 10_001)
    assert np.mean(1.0 / (1.0 + charge_excess(level))) == pytest.approx(1.0, abs=0.01)


def test_constant_power_drain():
    # β = 0.045: 12/1.0225 = 11.736; energy: 12, 0.264 more; charge: 12/1.045 = 11.483, 0.253 less
    value, up, down = constant_power_drain(12.0, 0.045)
    assert float(value) == pytest.approx(11.736, abs=1e-3)
    assert (float(up), float(down)) == (
        pytest.approx(0.264, abs=1e-3),
        pytest.approx(-0.253, abs=1e-3),
    )
    value, up, down = constant_power_drain(12.0, 0.045, 0.0, 0.0)
    assert (float(value), float(up), float(down)) == (12.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("conditions", "marks"),
    [
        ({}, (20.0, 15.0, 10.0)),
        ({"power_saver": "off"}, ()),
        ({"power_saver": False}, ()),
        ({"power_saver": "off", "power_saver_threshold_pct": 20}, ()),
        ({"power_saver": "off", "dimming": "off"}, ()),
        ({"power_saver": "off", "dimming_threshold_pct": 15}, (15.0,)),
        ({"power_saver": "off", "dimming": "on"}, (20.0, 15.0, 10.0)),
        ({"power_saver": "on", "power_saver_threshold_pct": 10}, (10.0,)),
        ({"power_saver_threshold_pct": 12.5}, (12.5,)),
    ],
)
def test_saver_thresholds(conditions, marks):
    assert saver_thresholds(conditions) == marks
