"""Times of whole records: clocks, dates, zones and what cannot be placed."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from tests.helpers.records import SETUP, errors, one_error, read


def test_phase_times_may_stand_in_the_setup_file_and_the_log_goes_first():
    setup = SETUP.replace(
        "planned_min = 60\n", 'planned_min = 60\nstart = "08:02"\nend = "09:03"\n'
    )
    session, _ = read("event,phase,device,clock,soc_pct\nphase_end,map,,09:05,\n", setup)
    assert session.spans["start_min"].tolist()[0] == 2.0
    assert session.spans["end_min"].tolist()[0] == 65.0
    found = errors("event,note\nnote,x\n", setup.replace('start = "08:00"\n', ""))
    assert {(f.rule, f.file, f.column) for f in found} == {
        ("clock-no-start", "session.toml", "phases[1].start"),
        ("clock-no-start", "session.toml", "phases[1].end"),
    }
    assert [f.line for f in found] == [18, 19]


def test_runs_have_their_own_clocks():
    setup = SETUP.replace('start = "08:00"\n', "") + (
        '[[runs]]\nnumber = 1\ndate = 2026-05-16\nstart = "08:00"\n'
        '[[runs]]\nnumber = 2\ndate = 2026-05-17\nstart = "10:00"\nstop = "11:00"\n'
        'stated_elapsed = "1:00"\n'
    )
    session, _ = read(
        """
        event,run,phase,point,device,clock,soc_pct
        reading,1,map,start,limpet,08:00,100
        reading,1,map,end,limpet,09:00,90
        reading,2,map,start,limpet,10:00,100
        reading,2,map,end,limpet,11:00,91
        power_off,2,,,limpet,11:01,
        power_off,1,,,limpet,09:10,
        """,
        setup,
    )
    assert session.readings["run"].tolist() == [1, 1, 2, 2]
    assert session.readings["t_min"].tolist() == [0.0, 60.0, 0.0, 60.0]
    assert session.power_offs["noted_min"].tolist() == [61.0, 70.0]
    assert [r.start for r in session.runs] == [datetime(2026, 5, 16, 8), datetime(2026, 5, 17, 10)]
    assert (session.runs[1].stop_min, session.runs[1].stated_elapsed_min) == (60.0, 60.0)
    assert session.spans["run"].tolist() == [1, 1, 2, 2]


def test_through_midnight_and_a_change_of_the_clocks():
    setup = SETUP.replace(
        'date = 2026-05-16\nstart = "08:00"',
        'date = 2026-10-24\nstart = "22:00"\nstop = "04:30"\ntimezone = "Europe/Brussels"',
    )
    session, _ = read(
        """
        event,phase,device,clock,soc_pct,last_on,first_off
        reading,,limpet,23:30,95,,
        reading,,limpet,02:50,80,,
        reading,,limpet,02:05,70,,
        power_off,,dunlin,,,03:58,04:02
        power_off,,limpet,04:10,,03:59,
        """,
        setup,
    )
    # 1:30; 4:50; an hour later than it looks 5:05; 22:00 to 03:58 are 6:58 on the stopwatch
    assert session.readings["t_min"].tolist() == [90.0, 290.0, 305.0]
    assert session.power_offs["last_on_min"].tolist() == [418.0, 419.0]
    assert session.power_offs["first_off_min"].tolist()[0] == 422.0
    assert session.power_offs["noted_min"].tolist()[1] == 430.0
    assert session.runs[0].start == datetime(2026, 10, 24, 22, tzinfo=ZoneInfo("Europe/Brussels"))
    assert session.runs[0].stop_min == 450.0


def test_the_stop_is_that_after_the_last_row():
    setup = SETUP.replace('start = "08:00"', 'start = "08:00"\nstop = "10:00"')
    log = "event,device,elapsed_min,soc_pct\nreading,limpet,{},90\nstill_on,dunlin,,\n"
    session, _ = read(log.format(60), setup)
    assert session.runs[0].stop_min == 120.0
    assert session.power_offs["last_on_min"].tolist() == [120.0]
    session, _ = read(log.format(1500), setup)
    assert session.runs[0].stop_min == 1560.0


@pytest.mark.parametrize(
    ("start", "first", "begin"),
    [
        ("08:00", "2026-05-16T08:30", datetime(2026, 5, 16, 8)),
        ("23:00", "2026-05-16T00:10", datetime(2026, 5, 15, 23)),
    ],
)
def test_the_date_may_be_known_from_the_log_only(start, first, begin):
    setup = SETUP.replace("date = 2026-05-16\n", "").replace("08:00", start)
    session, _ = read(f"event,device,clock,soc_pct\nreading,limpet,{first},90\n", setup)
    assert session.runs[0].start == begin
    assert session.date == begin.date()
    assert session.readings["t_min"].tolist() == [30.0 if start == "08:00" else 70.0]


def test_clock_and_elapsed_that_disagree_are_a_caution_with_the_worst_row():
    _, findings = read(
        "event,device,clock,elapsed_min,soc_pct\nreading,limpet,09:00,60,90\n"
        "reading,limpet,09:30,95,80\nreading,limpet,10:00,140,70\n"
    )
    assert len(findings) == 1
    found = findings[0]
    assert (found.rule, found.severity, found.line) == ("clock-elapsed", "caution", 4)
    # 10:00 is 120 min; 140 noted: the clock time is 20 min earlier. 09:30 is 5 min off, too
    assert "20 min earlier; 1 more rows disagree" in found.found


def test_clock_times_without_a_start_are_one_error():
    setup = SETUP.replace('start = "08:00"\n', "")
    error = one_error(
        "event,device,clock,soc_pct\nreading,limpet,09:00,90\nreading,limpet,09:10,89\n", setup
    )
    assert (error.rule, error.line, error.column) == ("clock-no-start", 2, "clock")
    assert error.found == "'09:00' and 1 more clock times"
    assert 'start = "08:00"' in error.remedy
    # the start of the first phase will do
    session, findings = read(
        "event,phase,device,clock,soc_pct\nphase_start,map,,08:30,\nreading,,limpet,09:00,90\n",
        setup,
    )
    assert session.readings["t_min"].tolist() == [30.0]
    assert session.runs[0].start == datetime(2026, 5, 16, 8, 30)
    assert [f.rule for f in findings] == ["start-from-log"]


def test_limits_of_a_power_off_without_a_start():
    setup = SETUP.replace('start = "08:00"\n', "")
    error = one_error("event,device,elapsed_min,last_on\npower_off,limpet,90,09:28\n", setup)
    assert (error.rule, error.line, error.column) == ("clock-no-start", 2, "last_on")


@pytest.mark.parametrize(
    ("date", "clock", "rule"),
    [("2026-03-28", "02:30", "clock-skipped"), ("2026-10-24", "02:30", "clock-repeated")],
)
def test_times_that_never_were_or_came_twice(date, clock, rule):
    setup = SETUP.replace(
        'date = 2026-05-16\nstart = "08:00"',
        f'date = {date}\nstart = "22:00"\ntimezone = "Europe/Brussels"',
    )
    error = one_error(f"event,device,clock,soc_pct\nreading,limpet,{clock},90\n", setup)
    assert (error.rule, error.line, error.column, error.found) == (rule, 2, "clock", "'02:30'")
    assert "offset" in error.remedy


def test_a_row_that_may_be_of_two_days_is_an_error():
    error = one_error(
        "event,device,clock,soc_pct\nreading,limpet,13:00,90\nreading,limpet,18:00,80\n"
        "reading,limpet,22:30,70\nreading,limpet,08:10,60\n"
    )
    assert (error.rule, error.line, error.column) == ("clock-which-day", 5, "clock")
    assert "date column" in error.remedy


@pytest.mark.parametrize(
    ("start", "date", "found"),
    [
        ("02:30", "2026-03-29", "did not exist"),
        ("02:30", "2026-10-25", "came twice"),
        ("2026-05-16T08:00+05:00", "2026-05-16", "an offset of +05:00"),
        ("2026-05-16T08:00-02:30", "2026-05-16", "an offset of −02:30"),
    ],
)
def test_a_start_that_does_not_fit_the_time_zone(start, date, found):
    setup = SETUP.replace(
        'date = 2026-05-16\nstart = "08:00"',
        f'date = {date}\ntimezone = "Europe/Brussels"\nstart = "{start}"',
    )
    error = one_error("event,note\nnote,x\n", setup)
    assert (error.rule, error.file, error.line) == ("start-zone", "session.toml", 6)
    assert error.column == "session.start"
    assert found in error.found
    assert "2026-05-16T08:00+01:00" in error.remedy


def test_a_start_with_offset_settles_what_the_clock_leaves_open():
    setup = SETUP.replace(
        'date = 2026-05-16\nstart = "08:00"',
        'timezone = "Europe/Brussels"\nstart = "2026-10-25T02:30+01:00"',
    )
    session, _ = read("event,device,clock,soc_pct\nreading,limpet,04:00,90\n", setup)
    assert session.readings["t_min"].tolist() == [90.0]
    assert session.runs[0].start.utcoffset().total_seconds() == 3600
    # without a time zone, the offset itself is one
    session, _ = read(
        "event,device,clock,soc_pct\nreading,limpet,2026-10-25T04:00+02:00,90\n",
        setup.replace('timezone = "Europe/Brussels"\n', ""),
    )
    assert session.readings["t_min"].tolist() == [30.0]
