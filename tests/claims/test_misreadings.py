"""Slips of the eye and the pen."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.claims.misreadings import LOOK_ALIKE, SLIP_WORDS, WEIGHTS, minute_slips, percentage_slips


def by_kind(slips, kind):
    return sorted(s.value for s in slips if s.kind == kind)


def test_percentage_in_all_ways():
    slips = percentage_slips(38)
    assert by_kind(slips, "one_off") == [37, 39]
    assert by_kind(slips, "ten_off") == [28, 48]
    # 3 for 5 or 8; 8 for 0, 3 or 6
    assert by_kind(slips, "confused") == [30, 33, 36, 58, 88]
    assert by_kind(slips, "transposed") == [83]


def test_no_percentage_has_a_zero_in_front():
    # 89: 8 for 0 would be 09, which no display shows; 39, 69, and 4 for 9: 84; exchanged 98.
    assert by_kind(percentage_slips(89), "confused") == [39, 69, 84]
    # 61: 01 is none; 51, 81, 67; exchanged 16. 90: 40, 96, 98; exchanged 09 is none.
    assert by_kind(percentage_slips(61), "confused") == [51, 67, 81]
    assert by_kind(percentage_slips(90), "confused") == [40, 96, 98]
    assert by_kind(percentage_slips(90), "transposed") == []
    # 6 alone may be 0 or 8 (5 is one off already): a single 0 is no zero in front
    assert by_kind(percentage_slips(6), "confused") == [0, 8]
    # a clock does show zeros in front: 8:06 may have been 8:00
    assert 0.0 in by_kind(minute_slips(6), "confused")


def test_bounds_of_the_neighbours_hold():
    assert {s.value for s in percentage_slips(38, low=36, high=38)} == {36, 37}
    assert percentage_slips(38, low=38, high=38) == ()


def test_full_and_empty():
    # 100: one below; 90 is ten off; a confused digit of 100 stays within 0..100: 700, 160, 180,
    # 106, 108 do not.
    assert sorted(s.value for s in percentage_slips(100)) == [90, 99]
    assert {s.value for s in percentage_slips(0)} == {1, 10, 6, 8}


def test_decimals_have_neighbours_only():
    assert sorted(s.value for s in percentage_slips(54.5)) == [53.5, 55.5]


def test_times_by_the_digits_of_the_clock():
    # 14:27 = 387 min after 8:00. Digits 27: 2 for 7 -> 77 (no minute); 7 for 1 or 2 -> 21, 22;
    # exchanged 72 (no minute).
    slips = minute_slips(387)
    assert by_kind(slips, "one_off") == [386, 388]
    assert by_kind(slips, "ten_off") == [377, 397]
    assert by_kind(slips, "confused") == [381, 382]
    assert by_kind(slips, "transposed") == []


def test_start_past_the_hour_moves_the_digits():
    # Started 8:15; 333 min later the clock says 13:48: 48 -> 98 no minute, 40, 43, 46; 84 none.
    assert by_kind(minute_slips(333, start_minute=15), "confused") == [325, 328, 331]


def test_times_with_seconds_have_no_digits():
    assert {s.kind for s in minute_slips(333.5)} == {"one_off", "ten_off"}


@given(st.integers(0, 100), st.integers(0, 100), st.integers(0, 100))
def test_each_number_once_within_bounds(value, a, b):
    low, high = min(a, b), max(a, b)
    slips = percentage_slips(value, low=low, high=high)
    values = [s.value for s in slips]
    assert len(set(values)) == len(values)
    assert all(low <= v <= high and v != value for v in values)
    weights = [WEIGHTS[s.kind] for s in slips]
    assert weights == sorted(weights, reverse=True)


def test_look_alikes_are_mutual_and_every_slip_has_words():
    for digit, others in LOOK_ALIKE.items():
        for other in others:
            assert digit in LOOK_ALIKE[other] or (digit, other) in {("2", "7"), ("7", "2")}
    assert WEIGHTS.keys() == SLIP_WORDS.keys()
    assert max(WEIGHTS, key=WEIGHTS.get) == "one_off"


@pytest.mark.parametrize("value", [7, 70])
def test_leading_zero_of_minutes_can_be_exchanged(value):
    # :07 <-> :70 (no minute), :10 <-> :01
    found = by_kind(minute_slips(value), "transposed")
    assert found == ([] if value == 7 else [61])
