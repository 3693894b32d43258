"""Times as written."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.read.clock import ClockTime, parse_date, parse_dates, parse_times, time_cells


def one(text, bare="clock", **options):
    """Return (second, day, offset, elapsed, resolution) of one cell, ``None`` for each NaN."""
    cells = parse_times([text], bare=bare, **options)
    values = [cells.second, cells.day, cells.offset_s, cells.elapsed_min, cells.resolution_min]
    return "bad" if cells.bad[0] else tuple(None if np.isnan(v[0]) else float(v[0]) for v in values)


MINUTE = 1.0
SECOND = 1 / 60
DAY = date(2026, 5, 16).toordinal()


@pytest.mark.parametrize(
    ("text", "second", "day", "offset", "resolution"),
    [
        ("08:00", 8 * 3600, None, None, MINUTE),
        ("8:00", 8 * 3600, None, None, MINUTE),
        ("00:00", 0, None, None, MINUTE),
        ("23:59:59", 86399, None, None, SECOND),
        ("14:05:30.5", 14 * 3600 + 330.5, None, None, SECOND),
        ("14:05:30,5", 14 * 3600 + 330.5, None, None, SECOND),
        ("2:05 PM", 14 * 3600 + 300, None, None, MINUTE),
        ("12:05 am", 300, None, None, MINUTE),
        ("12:05pm", 12 * 3600 + 300, None, None, MINUTE),
        ("2026-05-16T08:00", 8 * 3600, DAY, None, MINUTE),
        ("2026-05-16 08:00:30", 8 * 3600 + 30, DAY, None, SECOND),
        ("2026-05-16T08:00Z", 8 * 3600, DAY, 0, MINUTE),
        ("2026-05-16T08:00-03:30", 8 * 3600, DAY, -(3 * 3600 + 1800), MINUTE),
        ("2026-05-16T08:00+0200", 8 * 3600, DAY, 7200, MINUTE),
    ],
)
def test_clock_times(text, second, day, offset, resolution):
    assert one(text) == (second, day, offset, None, resolution)


@pytest.mark.parametrize(
    "text",
    [
        "24:00", "8", "8.30", "08:60", "13:05 PM", "0:05 AM", "noon", "2026-02-30T08:00",
        "2026-05-16T24:00", "2026-05-16T08:00+15:00", "125",
    ],
)  # fmt: skip
def test_texts_that_are_no_clock_time(text):
    assert one(text) == "bad"


@pytest.mark.parametrize(
    ("text", "elapsed", "resolution"),
    [
        ("125", 125, MINUTE),
        ("0", 0, MINUTE),
        ("125.5", 125.5, 0.1),
        ("125,25", 125.25, 0.01),
        ("2:05", 125, MINUTE),
        ("2:05:30", 125.5, SECOND),
        ("30:00", 1800, MINUTE),
        ("-0:10", -10, MINUTE),
        ("\u22125", -5, MINUTE),
        ("1e2", 100, SECOND),
    ],
)
def test_elapsed_times(text, elapsed, resolution):
    assert one(text, "elapsed") == (None, None, None, elapsed, pytest.approx(resolution))


@pytest.mark.parametrize("text", ["2:75", "two", "1000001", "-1e9", "1:2", "1.2.3"])
def test_texts_that_are_no_elapsed_time(text):
    assert one(text, "elapsed") == "bad"


def test_a_bare_number_beside_clock_times_is_elapsed_minutes():
    assert one("363", "either") == (None, None, None, 363, MINUTE)
    assert one("14:03", "either") == (14 * 3600 + 180, None, None, None, MINUTE)
    assert one("1,234", "either", comma_is_separator=True) == "bad"
    assert one("1,234", "either")[3] == 1.234


def test_a_blank_says_nothing():
    for bare in ("clock", "elapsed", "either"):
        assert one("", bare) == (None, None, None, None, None)


def test_whole_minutes_among_decimals_of_a_program_are_as_fine_as_the_others():
    # most have two places: the program dropped trailing zeros
    resolution = parse_times(["0.98", "1", "1.02"], bare="elapsed").resolution_min
    assert resolution.tolist() == [0.01, 0.01, 0.01]
    # most are whole: a person noted minutes, once with a half
    resolution = parse_times(["60", "90.5", "120"], bare="elapsed").resolution_min
    assert resolution.tolist() == [1.0, 0.1, 1.0]
    # hours and minutes stay what they are
    resolution = parse_times(["0.98", "1.01", "1.02", "1:00"], bare="elapsed").resolution_min
    assert resolution.tolist() == [0.01, 0.01, 0.01, 1.0]


@given(st.lists(st.times(), min_size=1, max_size=5))
def test_a_column_of_one_width_is_read_as_its_cells_are(times):
    texts = [f"{t:%H:%M:%S}" for t in times]
    together = parse_times(texts, bare="clock")
    alone = [one(t)[0] for t in texts]
    assert together.second.tolist() == alone
    assert alone == [t.hour * 3600 + t.minute * 60 + t.second for t in times]
    days = [f"2026-05-16T{t}" for t in texts]
    together = parse_times(days, bare="clock")
    assert together.second.tolist() == alone
    assert set(together.day) == {DAY}


@pytest.mark.parametrize(
    "texts",
    [["12:34:5x"], ["25:00:00"], ["2026-02-30T12:00:00"], ["2026-05-16x12:00:00"], ["12-34-56"]],
)
def test_a_column_of_one_width_with_a_fault_is_still_told(texts):
    assert parse_times(texts, bare="clock").bad.tolist() == [True]


def test_dates():
    days, bad = parse_dates(["2026-05-16", "16.5.2026", "", "2026-02-30", "5/16/2026"])
    assert days[:2].tolist() == [DAY, DAY]
    assert np.isnan(days[2:]).all()
    assert bad.tolist() == [False, False, False, True, True]
    assert parse_date("31.12.0000") is None


def test_rows_are_gathered_by_their_codes():
    cells = parse_times(["", "08:00"], bare="clock").take(np.array([1, 0, 1]))
    assert cells.second.tolist()[::2] == [28800.0, 28800.0]
    assert np.isnan(cells.second[1])
    assert np.isnan(cells.elapsed_min).all()


def test_times_of_the_setup_file_have_the_form_of_cells():
    cells = time_cells([ClockTime(second=60.0, resolution_min=1.0, day=DAY), None])
    assert cells.second[0] == 60.0
    assert cells.day[0] == DAY
    assert np.isnan(cells.second[1])
    assert np.isnan(cells.offset_s).all()
