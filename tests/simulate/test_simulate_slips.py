"""What the operator of the simulator notes wrongly: readings and minutes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.simulate import Operator, Scenario, TrueDevice, TruePhase, simulate_day
from kit.simulate.observe import misread, noted_end, slipped

AT_ONCE = Operator(delay_max_min=0.0)


def simulate(operator: Operator, *, watts: float = 3.0, **fields):
    """30 Wh; 3 W = 10 pp/h: 100, 90 and 80 % at 0, 60 and 120 min."""
    day = Scenario(
        id="day",
        devices=(TrueDevice(id="a", capacity_wh=30.0, power_w={"map": watts}),),
        phases=(TruePhase(id="p1", activity="map"), TruePhase(id="p2", activity="map")),
        operator=operator,
        **fields,
    )
    return simulate_day(day, np.random.default_rng(1))


def test_missed_readings_are_empty():
    _, missed = simulate(replace(AT_ONCE, miss_probability=1.0))
    assert missed.readings.soc_pct.isna().all()


def misread_many(shown: float, n: int = 8000) -> dict[float, float]:
    """Return what a number is misread as, and the share of each."""
    operator = Operator(misread_probability=1.0)
    noted = misread(operator, np.full(n, shown), np.random.default_rng(2))
    values, counts = np.unique(noted, return_counts=True)
    return dict(zip(values.tolist(), (counts / n).tolist(), strict=True))


def test_a_misread_number_is_one_off_or_has_a_wrong_digit_or_swapped_ones():
    """86: 85 and 87 a quarter each, 83 and 89 an eighth each, 68 a quarter.

    8000 draws: three standard errors of a quarter are 0.0145.
    """
    found = misread_many(86.0)
    assert set(found) == {85.0, 87.0, 83.0, 89.0, 68.0}
    expected = {85.0: 0.25, 87.0: 0.25, 83.0: 0.125, 89.0: 0.125, 68.0: 0.25}
    assert found == pytest.approx(expected, abs=0.0145)


@pytest.mark.parametrize("shown", [77.0, 7.0])
def test_digits_that_cannot_be_swapped_are_one_off(shown):
    # 77 swapped is 77, and a single digit has no other
    assert set(misread_many(shown)) == {shown - 3, shown - 1, shown + 1, shown + 3}


def test_misread_numbers_stay_on_the_display():
    # 100 has three digits: 99, 97, or held at 100; 90 swapped is 09
    assert set(misread_many(100.0)) == {97.0, 99.0, 100.0}
    assert set(misread_many(90.0)) == {87.0, 89.0, 91.0, 93.0, 9.0}


def test_share_of_misread_readings_is_the_probability():
    _, wrong = simulate(replace(AT_ONCE, misread_probability=0.1), runs=2000)
    ends = wrong.readings[wrong.readings.point == "end"]
    share = (~ends.soc_pct.isin([90.0, 80.0])).mean()
    # 4000 readings: standard error sqrt(0.1 × 0.9 / 4000) = 0.0047; four of them
    assert share == pytest.approx(0.1, abs=0.019)


def test_wrong_minutes_are_one_or_ten_off():
    operator = Operator(wrong_minute_probability=0.2)
    noted = slipped(operator, np.full(8000, 60.0), np.random.default_rng(3))
    values, counts = np.unique(noted, return_counts=True)
    assert values.tolist() == [50.0, 59.0, 60.0, 61.0, 70.0]
    # 80 % right, 5 % of each slip; three standard errors of 0.05 are 0.0073
    assert counts / 8000 == pytest.approx([0.05, 0.05, 0.8, 0.05, 0.05], abs=0.0135)
    assert slipped(operator, np.zeros(100), np.random.default_rng(3)).min() == 0.0


def test_wrong_minutes_are_of_readings_and_not_of_what_was_shown():
    _, right = simulate(AT_ONCE)
    _, wrong = simulate(replace(AT_ONCE, wrong_minute_probability=1.0))
    off = (wrong.readings.t_min - right.readings.t_min)[1:]
    assert set(off.abs()) <= {1.0, 10.0}
    assert wrong.readings.soc_pct.tolist() == right.readings.soc_pct.tolist()
    assert wrong.spans.equals(right.spans)


def test_a_minute_of_a_power_off_that_cannot_be_is_put_right():
    operator = Operator(wrong_minute_probability=1.0)
    rng = np.random.default_rng(4)
    noted = np.array([noted_end(operator, np.array([88.0, 91.0]), 95.0, rng) for _ in range(400)])
    last_on, first_off = noted.T
    assert (last_on <= first_off).all()
    assert (first_off <= 95.0).all()
    # 88 and 91 slip to 78, 87, 89, 98 and 81, 90, 92, 101: with 98 or 101 nothing is noted so,
    # nor 87 or 89 with 81
    assert {tuple(pair) for pair in noted.tolist()} == {
        (78.0, 81.0), (78.0, 90.0), (78.0, 92.0), (87.0, 90.0), (87.0, 92.0), (89.0, 90.0),
        (89.0, 92.0), (88.0, 91.0),
    }  # fmt: skip
