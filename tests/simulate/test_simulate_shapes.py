"""Shapes of cells from discharge curves, by hand and against the curves themselves."""

from __future__ import annotations

import pytest

from kit.simulate import TrueDevice, TrueGauge, shape_of_discharge, track
from tests.helpers.discharge import curve


def test_a_straight_discharge_has_no_shape():
    assert shape_of_discharge([0, 50, 100], [0, 50, 100]) == ((25.0, 0.0), (75.0, 0.0))


def test_either_direction_gives_the_same():
    rising = shape_of_discharge([0, 40, 100], [0, 50, 100])
    # 40/50 − 1 = −20 %, 60/50 − 1 = +20 %
    assert rising == ((20.0, -20.0), (70.0, 20.0))
    assert shape_of_discharge([100, 40, 0], [100, 50, 0]) == rising


@pytest.mark.parametrize("cell", ["Chen2020", "Ai2020"])
def test_a_simulated_device_discharges_along_the_curve(cell):
    """A gauge that counts charge, at constant power: time left is energy left."""
    charge, time_left = curve(cell)
    device = TrueDevice(
        id="a", capacity_wh=10.0, power_w={}, gauge=TrueGauge(counts="charge"),
        shape=shape_of_discharge(charge, time_left),
    )  # fmt: skip
    found = track(device, [0, 700], [1.0])  # 10 Wh at 1 W: 600 min
    at = 600.0 * (1.0 - time_left / 100.0)
    assert found.shown_pct(at) == pytest.approx(charge, abs=0.01)
    assert found.energy_pct(at) == pytest.approx(time_left, abs=1e-9)


@pytest.mark.parametrize(
    ("charge", "time_left"),
    [([100], [100]), ([0, 100], [0, 90]), ([0, 60, 50, 100], [0, 1, 2, 100]), ([0, 100], [0])],
)
def test_what_is_no_discharge_is_refused(charge, time_left):
    with pytest.raises(ValueError, match="a discharge curve"):
        shape_of_discharge(charge, time_left)
