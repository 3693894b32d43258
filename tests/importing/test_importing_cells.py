"""Cells of percentages, times and dates: properties over all that a spreadsheet may hold."""

import datetime as dt
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.importing.dates import date_order, read_date
from kit.importing.percent import Percent, cleaned, number_text, percent_of, unit_of
from kit.importing.times import clock_text, elapsed_text, from_number, time_of, times_of
from kit.importing.xlsx_parts import percent_kind
from kit.read.clock import parse_times

TENTHS = st.integers(0, 1000).map(lambda n: n / 10)
EPOCH_DAY = dt.date(1970, 1, 1).toordinal()
"""Dates before are cells that the reader of logs refuses."""

ANYTHING = st.one_of(
    st.text(max_size=40),
    st.floats(),
    st.datetimes(dt.datetime(1899, 12, 31), dt.datetime(2200, 1, 1)),
    st.dates(dt.date(1899, 12, 31), dt.date(2200, 1, 1)),
    st.times().map(lambda t: t.replace(microsecond=0)),
    st.timedeltas(dt.timedelta(days=-400), dt.timedelta(days=400)),
)
NUMERIC = st.text("0123456789.,:-+% hmsAPM/", max_size=20)


@given(TENTHS, st.sampled_from([".", ","]), st.sampled_from(["", " ", "\u202f", "\u00a0", "  "]),
       st.sampled_from(["%", "％", "percent", "pct"]))  # fmt: skip
def test_a_number_with_a_sign_is_that_percentage_in_every_spelling(value, mark, gap, sign):
    text = f"{value:.1f}".replace(".", mark)
    assert percent_of(f" {text}{gap}{sign} ") == Percent("percent", value)
    assert percent_of(f"%{gap}{text}") == Percent("percent", value)


@given(TENTHS)
def test_a_formatted_fraction_is_the_percentage_shown(value):
    stored = float(f"{value / 100:.4f}")
    assert percent_of(stored, times100=True) == Percent("percent", value)
    assert percent_of(value, sign=True) == Percent("percent", value)


@given(TENTHS)
def test_a_bare_number_is_the_same_as_text_or_number(value):
    assert percent_of(value) == Percent("bare", value)
    assert percent_of(f"{value}") == percent_of(f"'{value}") == Percent("bare", value)
    assert percent_of(f"{value}".replace(".", ",")) == Percent("bare", value)


@given(st.lists(st.integers(0, 100), min_size=1, max_size=20))
def test_whole_percentages_and_their_fractions_are_told_apart_or_left_open(values):
    """From the definition: at least one above 1 settles per cent; two between settle fractions."""
    per_cent = unit_of([percent_of(float(v)) for v in values])
    fraction = unit_of([percent_of(v / 100) for v in values])
    assert per_cent in ("percent", "open")
    assert (per_cent == "open") == (max(values) == 1)
    assert fraction in ("fraction", "open", "percent")
    if fraction == "percent":
        assert max(values) == 0  # nothing but zeros: nought either way
    assert (fraction == "fraction") == (sum(0 < v < 100 for v in values) >= 2)


@given(st.one_of(ANYTHING, NUMERIC))
def test_no_cell_breaks_the_readers_and_numbers_are_finite(value):
    cell = percent_of(value)
    assert math.isfinite(cell.value) == (cell.sort in ("percent", "bare"))
    when = time_of(value)
    assert math.isfinite(when.seconds) == (when.sort in ("colon", "moment", "span", "number"))
    if when.sort in ("colon", "moment") and (when.day is None or when.day >= EPOCH_DAY):
        assert not parse_times([clock_text(when)], bare="clock").bad[0]
    if when.sort == "span":
        read = parse_times([elapsed_text(when)], bare="elapsed")
        assert read.bad[0] or abs(read.elapsed_min[0] * 60 - when.seconds) < 0.51
    read_date(value)
    if isinstance(value, str):
        assert cleaned(cleaned(value)) == cleaned(value)


@given(st.lists(st.one_of(NUMERIC, st.text(max_size=9)), max_size=12))
def test_many_cells_at_one_go_are_the_cells_one_by_one(values):
    assert [repr(c) for c in times_of(values)] == [repr(time_of(v)) for v in values]


@given(st.times(), st.booleans())
def test_a_time_of_day_is_the_same_in_every_form(clock, seconds):
    clock = clock.replace(microsecond=0, second=clock.second if seconds else 0)
    total = clock.hour * 3600 + clock.minute * 60 + clock.second
    text = f"{clock:%H:%M:%S}" if seconds else f"{clock:%H:%M}"
    twelve = f"{clock:%I:%M:%S %p}" if seconds else f"{clock:%I:%M %p}"
    forms = [clock, text, twelve, twelve.lower().replace("m", ".m."), f"{text} h",
             f"2026-05-16T{text}", f"16.05.2026 {text}", f"5/16/2026 {twelve}",
             dt.datetime.combine(dt.date(2026, 5, 16), clock)]  # fmt: skip
    assert [time_of(f).seconds for f in forms] == [total] * len(forms)
    # a spreadsheet keeps it as a fraction of a day, in a float
    assert from_number(time_of(total / 86400), "days").seconds == total
    assert from_number(time_of(46158 + total / 86400), "days").seconds == total


@given(st.integers(0, 100 * 3600))
def test_a_length_of_time_is_the_same_in_every_form(total):
    hours, rest = divmod(total, 3600)
    minutes, seconds = divmod(rest, 60)
    worded = f"{hours} h {minutes} min {seconds} s"
    assert time_of(worded).seconds == time_of(dt.timedelta(seconds=total)).seconds == total
    assert parse_times([elapsed_text(time_of(worded))], bare="elapsed").elapsed_min[
        0
    ] == pytest.approx(total / 60)
    for unit, size in (("seconds", 1), ("minutes", 60), ("hours", 3600)):
        found = from_number(time_of(total / size), unit)
        assert found.sort == "span"
        assert found.seconds == pytest.approx(total, abs=0.01)


@given(st.dates(dt.date(1990, 1, 1), dt.date(2080, 1, 1)))
def test_a_date_is_the_same_in_every_form(day):
    forms = [day, dt.datetime.combine(day, dt.time(5)), day.isoformat(), f"{day:%d.%m.%Y}",
             f"{day:%Y/%m/%d}", f"{day.day} {day:%B} {day.year}", f"{day:%b} {day.day}, {day.year}",
             float((day - dt.date(1899, 12, 30)).days)]  # fmt: skip
    assert [read_date(f).day for f in forms] == [day] * len(forms)
    assert read_date(f"{day:%d/%m/%Y}", "day_first").day == day
    assert read_date(f"{day:%m/%d/%Y}", "month_first").day == day
    unsaid = read_date(f"{day:%m/%d/%Y}")
    assert unsaid.is_open == (day.day <= 12 and day.day != day.month)
    if not unsaid.is_open:
        assert unsaid.day == day


@given(st.lists(st.dates(dt.date(2000, 1, 1), dt.date(2080, 1, 1)), max_size=8))
def test_the_order_of_dates_is_known_from_one_day_above_twelve(days):
    late = any(d.day > 12 for d in days)
    assert date_order([f"{d:%m/%d/%Y}" for d in days]) == ("month_first" if late else "unknown")
    assert date_order([f"{d:%d/%m/%Y}" for d in days]) == ("day_first" if late else "unknown")


@pytest.mark.parametrize(
    ("text", "sort"),
    [
        ("ca. 83", "odd"), ("~83", "odd"), ("<5", "odd"), ("83/84", "odd"), ("1.234,5", "odd"),
        ("83%%", "odd"), ("80-83", "odd"), ("off", "word"), ("–", "word"), ("", "blank"),
        ("\u200b", "blank"), ("  ", "blank"), ("1,234", "bare"), (".5", "bare"), ("-1", "bare"),
        ("nan", "word"), ("inf", "word"), ("1e2", "odd"),
    ],
)  # fmt: skip
def test_texts_near_percentages(text, sort):
    assert percent_of(text).sort == sort


@pytest.mark.parametrize(
    ("text", "sort"),
    [
        ("24:00", "span"), ("25:10", "span"), ("8:60", "odd"), ("13:00 PM", "odd"),
        ("0:30", "colon"),
        ("8h05", "colon"), ("90 min", "span"), ("1.5 h", "span"), ("8", "number"),
        ("8,5", "number"),
        ("16.05.2026", "odd"), ("2026-05-16", "odd"), ("yes", "word"), ("8:05 CEST", "odd"),
        ("32.13.2026 08:00", "odd"),
    ],
)  # fmt: skip
def test_texts_near_times(text, sort):
    assert time_of(text).sort == sort


def test_a_date_without_a_year_or_out_of_the_calendar_is_none():
    for text in ("16.05.", "30.02.2026", "2026-13-01", "May 2026", "99999999", "45", "16/05/6"):
        assert read_date(text) is None, text


def test_number_formats_are_read_as_a_spreadsheet_shows_them():
    # 0.83 under each of these: 83%, 83.0 %, 0.83 %, "0.8%", [red]83%
    codes = ["0%", "0.0\\ %", '0.00" %"', "0.0\\%", "[Red]0%;-0%", "@", "h:mm"]
    assert [percent_kind(c) for c in codes] == [
        "times100", "times100", "sign", "sign", "times100", "", "",
    ]  # fmt: skip


@given(st.floats(0, 100).map(lambda v: round(v, 6)))
def test_numbers_are_written_so_that_they_come_back(value):
    assert float(number_text(value)) == value
    assert "e" not in number_text(value) or value < 1e-4
