"""Numbers as they are set: rounding to the uncertainty, intervals, durations, clock times."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit import units
from kit.units import MINUS
from tests.helpers.shown import plain

NAN = float("nan")


@pytest.mark.parametrize(
    ("u", "decimals"),
    [
        (0.40825, 2),  # 0.41
        (0.0996, 2),  # to two digits 0.10 (0.0996 → 0.100)
        (0.0949, 3),  # 0.095
        (2.149, 1),  # 2.1
        (9.96, 0),  # to two digits 10
        (12.3, 0),  # 12
        (0.00004, 4),  # four decimals are the most that are ever shown
    ],
)
def test_a_standard_uncertainty_has_two_significant_digits(u: float, decimals: int) -> None:
    assert units.u_decimals(u) == decimals


def test_a_value_is_rounded_to_the_place_of_its_uncertainty() -> None:
    # 32.4682 with u = 0.6856 (1.3704/2 of the worked phase of death): 32.47, u = 0.69
    assert plain(units.with_u(32.4682, 0.6852, "pp/h")) == "32.47 pp/h, u = 0.69 pp/h"


def test_signs_are_true_minus_signs() -> None:
    assert units.number(-3.14159, 2) == f"{MINUS}3.14"
    assert units.signed(-3.14159, 2) == f"{MINUS}3.14"
    assert units.signed(3.14159, 2) == "+3.14"
    assert "-" not in units.interval(-2.0, -1.0)


def test_nothing_rounds_to_a_negative_zero() -> None:
    assert units.number(-0.004, 2) == "0.00"
    assert units.signed(-0.004, 2) == "0.00"


@pytest.mark.parametrize("value", [None, NAN])
def test_a_missing_value_is_a_dash(value: float | None) -> None:
    assert units.number(value, 1) == units.MISSING
    assert units.quantity(value, "pp") == units.MISSING
    assert units.with_u(value, 1.0, "pp") == units.MISSING
    assert units.h_mm(value) == units.MISSING
    assert units.duration(value) == units.MISSING


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (11.117, 12.883, "11.1 to 12.9"),  # half-width 0.883
        (7.61, 16.39, "7.6 to 16.4"),  # half-width 4.39
        (30.54, 34.41, "30.5 to 34.5"),  # half-width 1.9; 34.41 goes outwards
        (1.64, 1.96, "1.64 to 1.96"),  # half-width 0.16: a step of 0.01
        (4.0, 24.0, "4 to 24"),  # half-width 10: a step of 1
    ],
)
def test_an_interval_is_set_in_steps_of_its_half_width(low: float, high: float, text: str) -> None:
    assert units.interval(low, high) == text


@given(
    st.floats(-500, 500, allow_nan=False),
    st.floats(0.01, 300, allow_nan=False),
)
def test_a_printed_interval_covers_the_computed_one(low: float, width: float) -> None:
    high = low + width
    text = plain(units.interval(low, high)).replace(MINUS, "-")
    ends = [Decimal(end) for end in text.split(" to ")]
    assert ends[0] <= Decimal(low) + Decimal("1e-7")
    assert ends[1] >= Decimal(high) - Decimal("1e-7")
    # and it is wider by less than two fifteenths of the half-width at either end
    slack = Decimal(width) / 15 + Decimal("1e-7")
    assert Decimal(low) - ends[0] <= slack or width < 0.0015
    assert ends[1] - Decimal(high) <= slack or width < 0.0015


def test_an_open_interval_is_said_in_words() -> None:
    assert plain(units.interval(8.5, math.inf, "h", decimals=2)) == "at least 8.50 h"
    assert plain(units.interval(62.51, NAN, "h", decimals=1)) == "at least 62.5 h"
    assert plain(units.interval(NAN, 0.84, "pp", decimals=1)) == "at most 0.9 pp"
    assert units.interval(NAN, NAN) == units.MISSING


def test_an_estimate_stands_before_its_interval_at_the_same_place() -> None:
    assert plain(units.estimate(12.0, 11.117, 12.883, "pp")) == "12.0 (11.1 to 12.9) pp"
    assert units.estimate(NAN, NAN, NAN) == units.MISSING


def test_hours_and_minutes() -> None:
    # 3 h 15 min = 195 min; 8 h 7 min = 487 min (worked run times of IEC TS 62393:2005, 2.1)
    assert units.h_mm(195) == "3:15"
    assert units.h_mm(487) == "8:07"
    assert plain(units.duration(487)) == "8 h 07 min"


def test_a_clock_past_midnight_says_the_day() -> None:
    start = datetime(2026, 5, 16, 20, 0)
    assert units.clock(start, 239) == "23:59"
    assert plain(units.clock(start, 240)) == "00:00 (+1 d)"


def test_a_clock_change_is_counted_through() -> None:
    # Summer time ends in London on 25 October 2026 at 02:00, clocks go back to 01:00. Four
    # hours after 23:00 BST (22:00 UTC) it is 02:00 UTC = 02:00 GMT, not 03:00.
    start = datetime(2026, 10, 24, 23, 0, tzinfo=ZoneInfo("Europe/London"))
    assert plain(units.clock(start, 240)) == "02:00 (+1 d)"
    assert start.astimezone(UTC).hour == 22


def test_a_start_without_a_date_has_a_clock_all_the_same() -> None:
    start = datetime(1, 1, 1, 0, 5, tzinfo=ZoneInfo("Asia/Tokyo"))
    assert units.clock(start, 61) == "01:06"
    assert plain(units.clock(start, -10)) == f"23:55 ({MINUS}1 d)"


def test_what_was_not_recorded_says_so() -> None:
    assert units.recorded(None, "Wh") == "not recorded"
    assert units.recorded("Not Recorded") == "not recorded"
    assert units.recorded([]) == "not recorded"
    assert plain(units.recorded(60, "%")) == "60 %"
    assert units.recorded(True) == "yes"
    assert units.recorded({"a": 1}) == "a: 1"


@given(st.integers(0, 400))
def test_counting_agrees_in_number(n: int) -> None:
    assert units.count(n, "device").endswith(" device") == (n == 1)
