"""Clock and elapsed times on the time axis of a run: midnight, changes of the clocks, doubts."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.read.clock import parse_times
from kit.read.timeline import PROBLEMS, RunClock, near_time, resolve_times, utc_offsets

BRUSSELS = ZoneInfo("Europe/Brussels")
MAY = date(2026, 5, 16).toordinal()
OCTOBER = date(2026, 10, 24).toordinal()  # the clocks go back in the night after
MARCH = date(2026, 3, 28).toordinal()  # the clocks go forward in the night after


def run_at(hour, **more):
    return RunClock(second=hour * 3600.0, resolution_min=1.0, **more)


def times(clocks, run, elapsed=None):
    cells = parse_times(clocks, bare="clock")
    return resolve_times(cells, parse_times(elapsed or [""] * len(clocks), bare="elapsed"), run)


def minutes(clocks, run, elapsed=None):
    return times(clocks, run, elapsed).t_min.tolist()


def problems(clocks, run, elapsed=None):
    return [PROBLEMS[p] for p in times(clocks, run, elapsed).problem]


def test_plain_clock_times():
    assert minutes(["08:00", "09:30", "10:00:30"], run_at(8)) == [0.0, 90.0, 120.5]


def test_over_midnight_in_the_order_of_rows():
    # 22:30 + 0:30, 1:29, 1:40, 9:30
    assert minutes(["23:00", "23:59", "00:10", "08:00"], run_at(22.5)) == [30.0, 89.0, 100.0, 570.0]


def test_rows_a_little_out_of_order_stay_on_their_day():
    assert minutes(["00:10", "23:58", "00:12"], run_at(22)) == [130.0, 118.0, 132.0]


def test_the_time_before_the_start_is_before_it():
    assert minutes(["07:50", "08:00"], run_at(8)) == [-10.0, 0.0]


def test_more_than_a_day_without_dates_while_rows_follow_each_other():
    clocks = [f"{h % 24:02d}:00" for h in range(8, 60, 4)]
    assert minutes(clocks, run_at(8)) == [60.0 * h for h in range(0, 52, 4)]


def test_a_long_step_that_can_only_be_forward_is_taken():
    # 13 h on; 11 h back would be before the start
    assert minutes(["09:00", "22:00"], run_at(8)) == [60.0, 840.0]


def test_a_long_step_that_can_be_back_or_on_is_told():
    # at 22:00 a row of 08:05: thirteen hours and 55 min back, or ten hours and 5 min on?
    run = run_at(8)
    assert problems(["12:00", "17:00", "22:00", "08:05"], run) == ["", "", "", "which_day"]
    assert np.isnan(minutes(["12:00", "17:00", "22:00", "08:05"], run)[3])
    # a stop that is known to the day settles it
    assert minutes(["12:00", "17:00", "22:00", "08:05"], run_at(8, latest_min=840.0))[3] == 5.0
    # an elapsed time beside it settles it too
    assert minutes(["17:00", "22:00", "08:05"], run, ["", "", "1445"]) == [540.0, 840.0, 1445.0]


def test_a_date_settles_the_day():
    run = run_at(8, day=MAY)
    assert minutes(["2026-05-17T08:00", "09:00"], run) == [1440.0, 1500.0]


def test_rows_with_elapsed_time_only_lead_the_clock_times_after_them():
    # without the 1500 the nearest 09:00 would be one hour after the start
    assert minutes(["", "09:00"], run_at(8), ["1500", ""]) == [1500.0, 1500.0]


def test_clock_and_elapsed_disagree_by_so_much():
    found = times(["10:05", "11:00"], run_at(8), ["2:15", "3:00"])
    assert found.t_min.tolist() == [125.0, 180.0]
    assert found.disagreement_min.tolist() == [-10.0, 0.0]
    assert found.source.tolist() == [1, 1]


def test_without_a_start_elapsed_times_are_used_and_clock_times_told():
    found = times(["10:05", "11:00", ""], RunClock(), ["2:15", "", "3:00"])
    assert found.t_min[[0, 2]].tolist() == [135.0, 180.0]
    assert [PROBLEMS[p] for p in found.problem] == ["", "no_start", ""]
    assert found.source.tolist() == [2, 0, 2]


def test_the_resolution_is_that_of_the_time_used():
    found = times(["10:05", "11:00:30", ""], run_at(8), ["", "", "7.25"])
    assert found.resolution_min.tolist() == [1.0, 1 / 60, 0.01]


# --- changes of the clocks in Brussels: on 2026-10-25 03:00 became 02:00, on 2026-03-29 02:00 03:00


def test_the_hour_that_comes_twice_is_an_hour_longer():
    run = run_at(22, day=OCTOBER, zone=BRUSSELS)
    # 22:00 to 04:00 by the clock are seven hours
    assert minutes(["01:00", "04:00"], run) == [180.0, 420.0]


def test_the_hour_left_out_is_an_hour_shorter():
    run = run_at(22, day=MARCH, zone=BRUSSELS)
    assert minutes(["01:00", "04:00"], run) == [180.0, 300.0]


def test_a_time_that_never_was_is_told():
    run = run_at(22, day=MARCH, zone=BRUSSELS)
    assert problems(["01:59", "02:30", "03:00"], run) == ["", "skipped_hour", ""]


def test_one_step_back_of_the_clock_settles_the_repeated_hour():
    run = run_at(22, day=OCTOBER, zone=BRUSSELS)
    clocks = ["01:55", "02:10", "02:50", "02:05", "02:40", "03:05"]
    # 22:00 + 3:55, 4:10, 4:50; then an hour later 5:05, 5:40, 6:05
    assert minutes(clocks, run) == [235.0, 250.0, 290.0, 305.0, 340.0, 365.0]


def test_without_a_step_back_the_repeated_hour_is_told():
    run = run_at(22, day=OCTOBER, zone=BRUSSELS)
    assert problems(["01:55", "02:10", "02:50", "03:05"], run) == [
        "", "repeated_hour", "repeated_hour", "",
    ]  # fmt: skip


def test_two_steps_back_settle_nothing():
    run = run_at(22, day=OCTOBER, zone=BRUSSELS)
    assert set(problems(["02:50", "02:10", "02:40", "02:05"], run)) == {"repeated_hour"}


def test_an_elapsed_time_settles_its_row_and_those_on_its_side():
    run = run_at(22, day=OCTOBER, zone=BRUSSELS)
    clocks = ["02:10", "02:30", "02:50", "02:55"]
    # 02:30 with 5:30 elapsed is in the second hour, hence what follows is too; 02:10 is not known
    found = times(clocks, run, ["", "5:30", "", ""])
    assert [PROBLEMS[p] for p in found.problem] == ["repeated_hour", "", "", ""]
    assert found.t_min[1:].tolist() == [330.0, 350.0, 355.0]
    # with 4:30 it is in the first, hence what comes before is too
    found = times(clocks, run, ["", "4:30", "", ""])
    assert [PROBLEMS[p] for p in found.problem] == ["", "", "repeated_hour", "repeated_hour"]


def test_an_offset_settles_the_repeated_hour():
    run = run_at(22, day=OCTOBER, zone=BRUSSELS)
    clocks = ["2026-10-25T02:30+02:00", "2026-10-25T02:30+01:00"]
    assert minutes(clocks, run) == [270.0, 330.0]


def test_an_offset_needs_a_zone_and_a_date():
    assert problems(["2026-05-16T10:00+02:00"], run_at(8, day=MAY)) == ["no_zone"]
    assert problems(["2026-05-16T10:00+02:00"], run_at(8, zone=BRUSSELS)) == ["no_zone"]
    # 10:00 +02:00 is 10:00 in Brussels in May; 09:00 +01:00 is the same moment
    run = run_at(8, day=MAY, zone=BRUSSELS)
    assert minutes(["2026-05-16T10:00+02:00", "2026-05-16T09:00+01:00"], run) == [120.0, 120.0]


def test_a_start_in_the_second_of_the_repeated_hours():
    run = run_at(2.5, day=OCTOBER + 1, zone=BRUSSELS, fold=1)
    assert run.start == datetime(2026, 10, 25, 2, 30, tzinfo=BRUSSELS, fold=1)
    assert minutes(["04:00"], run) == [90.0]
    assert minutes(["04:00"], run_at(2.5, day=OCTOBER + 1, zone=BRUSSELS)) == [150.0]


def test_a_dense_log_through_the_repeated_hour():
    """A row a second, 00:00 to 04:00 by the clock and back once: five hours."""
    seconds = np.arange(5 * 3600)
    start = datetime(2026, 10, 25, 0, 0, tzinfo=BRUSSELS)
    begin = start.astimezone(ZoneInfo("UTC"))
    walls = [
        f"{(begin + timedelta(seconds=s)).astimezone(BRUSSELS):%H:%M:%S}" for s in seconds.tolist()
    ]
    run = run_at(0, day=OCTOBER + 1, zone=BRUSSELS)
    assert minutes(walls, run) == pytest.approx((seconds / 60).tolist(), abs=1e-9)


@given(
    st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 31)),
    st.lists(st.integers(0, 40 * 60), min_size=1, max_size=12),
)
def test_dated_times_with_offset_are_exact_in_any_zone(start, steps):
    """Oracle: the datetime arithmetic of the standard library in UTC."""
    begin = start.replace(second=0, microsecond=0, tzinfo=ZoneInfo("UTC")).astimezone(BRUSSELS)
    run = RunClock(
        day=begin.toordinal(), second=begin.hour * 3600.0 + begin.minute * 60, zone=BRUSSELS,
        fold=begin.fold,
    )  # fmt: skip
    moments = [
        (begin.astimezone(ZoneInfo("UTC")) + timedelta(minutes=m)).astimezone(BRUSSELS)
        for m in steps
    ]
    assert minutes([m.isoformat() for m in moments], run) == pytest.approx(steps)


@given(st.integers(0, 1439), st.lists(st.integers(0, 300), min_size=1, max_size=12))
def test_undated_times_that_follow_each_other_are_exact(start, steps):
    elapsed = np.cumsum(steps)
    run = RunClock(second=start * 60.0)
    clocks = [f"{(start + int(e)) // 60 % 24:02d}:{(start + int(e)) % 60:02d}" for e in elapsed]
    assert minutes(clocks, run) == elapsed.tolist()


def test_offsets_of_many_times_in_a_quiet_month_are_those_of_each():
    wall = MAY * 86400.0 + np.arange(0, 7200, 60.0)
    early, late = utc_offsets(wall, BRUSSELS)
    assert set(early) == set(late) == {7200.0}
    assert utc_offsets(np.zeros(0), BRUSSELS)[0].size == 0


# --- times of their own: last seen on, first seen off


def near(texts, references, run):
    cells = parse_times(texts, bare="either")
    return near_time(cells, np.array(references, dtype=float), run).t_min.tolist()


def test_times_are_placed_nearest_to_that_of_their_row():
    run = run_at(22)
    # the row stands at 00:01, 121 min after the start: 23:58 is just before it
    assert near(["23:58", "00:03", "117"], [121, 121, 121], run) == [118.0, 123.0, 117.0]
    # without a time of the row the first such time after the start
    assert near(["21:00"], [np.nan], run) == [1380.0]


def test_a_time_of_its_own_with_a_date_or_without_a_start():
    assert near(["2026-05-17T08:00"], [0], run_at(8, day=MAY)) == [1440.0]
    cells = parse_times(["14:03", ""], bare="either")
    found = near_time(cells, np.array([0.0, 0.0]), RunClock())
    assert [PROBLEMS[p] for p in found.problem] == ["no_start", ""]


def test_a_start_without_a_date_lies_in_year_one_and_has_no_offset():
    assert not run_at(8).dated
    assert run_at(8).start == datetime(1, 1, 1, 8)
    assert run_at(8).start_offset_s == 0.0
    assert RunClock().start is None
    assert RunClock().start_offset_s == 0.0


def test_a_time_for_which_there_is_no_day_is_left_on_the_first():
    # the session was over before 08:00 could come again, and 08:00 is before it began
    assert minutes(["06:00"], run_at(9, latest_min=60.0)) == [1260.0]


def test_the_last_day_of_the_calendar_has_no_offset_after_it():
    wall = (date.max.toordinal() + 1) * 86400.0
    assert utc_offsets(np.array([wall]), BRUSSELS)[0].tolist() == [0.0]
