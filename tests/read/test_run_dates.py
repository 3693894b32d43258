"""Whether the log has the dates of the setup file. The session is of 2026-05-16, from 08:00."""

import pytest

from tests.helpers.records import SETUP, errors, one_error, read

HEAD = "event,run,phase,point,device,date,clock,elapsed_min,soc_pct\n"


def log(day: str, *, clock: str = "08:00", event: str = "reading", phase: str = "map") -> str:
    """Return a log that begins on a day at a time, with two readings and two power-offs."""
    point = "start" if phase and event == "reading" else ""
    return HEAD + (
        f"{event},,{phase},{point},limpet,{day},{clock},,100\n"
        f"reading,,map,end,limpet,{day},09:00,,80\n"
        f"power_off,,photo,,limpet,{day},12:00,,\n"
        f"power_off,,photo,,dunlin,{day},12:30,,\n"
    )


def cautions(text: str, setup: str = SETUP) -> list[tuple[str, str]]:
    """Return key and found text of the cautions about dates in a record without errors."""
    _, findings = read(text, setup)
    told = [f for f in findings if f.rule == "date-differs"]
    assert {f.severity for f in told} <= {"caution"}
    return [(f.column, f.found) for f in told]


def test_a_log_of_the_day_is_silent():
    assert cautions(log("2026-05-16")) == []
    assert cautions(log("")) == []
    assert cautions(log("2026-05-17"), setup=SETUP.replace("date = 2026-05-16\n", "")) == []


def test_a_log_of_the_next_day_is_one_error_at_the_date():
    # 2026-05-17 08:00 is 24 h after 2026-05-16 08:00: limpet would run 28 h, not 4 h
    finding = one_error(log("2026-05-17"))
    assert (finding.rule, finding.file) == ("date-differs", "session.toml")
    assert (finding.line, finding.column, finding.run) == (4, "session.date", 1)
    assert finding.found == "2026-05-16, the first phase started on 2026-05-17 (log.csv, line 2)"
    assert finding.expected == "the day on which the log begins"
    assert "correct the date here, otherwise the dates in the log" in finding.remedy
    assert finding.remedy.endswith("As it stands, every runtime is 24 h too long.")


def test_a_log_of_an_earlier_day_is_one_error_and_no_row_is_told_beside_it():
    finding = one_error(log("2026-05-13"))
    assert finding.rule == "date-differs"
    assert finding.remedy.endswith("the log begins 72 h before the start.")


def test_a_stop_does_not_hide_it():
    setup = SETUP.replace('start = "08:00"', 'start = "08:00"\nstop = "13:00"')
    assert one_error(log("2026-05-17"), setup).rule == "date-differs"


def test_it_is_the_key_of_the_start_where_that_has_the_date():
    setup = SETUP.replace("date = 2026-05-16\n", "").replace('"08:00"', '"2026-05-16T08:00"')
    finding = one_error(log("2026-05-17"), setup)
    assert (finding.column, finding.line) == ("session.start", 4)


def test_each_run_is_held_against_its_own_date():
    setup = (
        SETUP.replace('date = 2026-05-16\nstart = "08:00"\n', "")
        + """
[[runs]]
number = 1
date = 2026-05-16
start = "08:00"

[[runs]]
number = 2
date = 2026-05-18
start = "08:00"
"""
    )
    rows = log("2026-05-16").splitlines()
    second = [r.replace(",,", ",2,", 1).replace("05-16", "05-17") for r in rows[1:]]
    finding = one_error("\n".join([*rows, *second]) + "\n", setup)
    assert (finding.column, finding.run) == ("runs[2].date", 2)
    assert finding.found == "2026-05-18, the first phase started on 2026-05-17 (log.csv, line 6)"


def test_a_session_that_begins_about_midnight_begins_on_the_next_day():
    setup = SETUP.replace('"08:00"', '"23:58"')
    late = HEAD + (
        "reading,,map,start,limpet,2026-05-17,00:01,,100\n"
        "reading,,map,end,limpet,2026-05-17,00:58,,80\n"
    )
    assert cautions(late, setup) == []
    # the same by a stopwatch: 3 min after 23:58 it is the 17th
    by_watch = HEAD + "reading,,map,start,limpet,2026-05-17,,3,100\n"
    assert cautions(by_watch, setup) == []
    assert cautions(by_watch.replace("05-17", "05-16"), setup) == [
        ("session.date", "2026-05-17, the first phase started on 2026-05-16 (log.csv, line 2)")
    ]


@pytest.mark.parametrize("start", ['start = "08:00"\n', ""])
def test_a_date_on_which_no_time_hangs_is_a_caution(start):
    """The times are those of a stopwatch, or the start is that of the log with its own date."""
    setup = SETUP.replace('start = "08:00"\n', start)
    by_watch = HEAD + "reading,,map,start,limpet,2026-05-17,,0,100\n"
    by_log = log("2026-05-17", event="phase_start")
    told = ("session.date", "2026-05-16, the first phase started on 2026-05-17 (log.csv, line 2)")
    assert cautions(by_watch, setup) == [told]
    if not start:
        assert cautions(by_log, setup) == [told]
        assert read(by_log, setup)[0].power_offs["noted_min"].tolist() == [240.0, 270.0]


def test_date_and_start_that_say_two_days_are_a_caution():
    setup = SETUP.replace('"08:00"', '"2026-05-17T08:00"')
    told = [("session.date", "2026-05-16, beside a start on 2026-05-17")]
    assert cautions(log(""), setup) == told
    assert cautions(log("2026-05-17"), setup) == told


def test_a_log_without_phases_begins_with_its_first_reading():
    text = HEAD + (
        "reading,,,,limpet,2026-05-17,08:00,,100\nreading,,,,limpet,2026-05-17,09:00,,80\n"
    )
    [(key, found)] = cautions(text)
    assert key == "session.date"
    assert found == "2026-05-16, the log started on 2026-05-17 (log.csv, line 2)"
    assert cautions(text.replace("05-17,08:00", "05-16,08:00")) == []


@pytest.mark.parametrize(
    "row",
    ["power_off,,,,limpet,2026-05-17,04:00,,", "reading,,photo,start,limpet,2026-05-17,04:00,,40"],
)
def test_what_may_lie_long_after_the_start_says_nothing_of_it(row):
    assert cautions(HEAD + row + "\n") == []


def test_a_slip_in_one_row_is_told_at_that_row():
    text = log("2026-05-16") + "reading,,map,start,dunlin,2026-05-15,08:00,,100\n"
    finding = one_error(text)
    assert (finding.rule, finding.line) == ("time-outside", 6)


def test_an_undated_start_settles_it():
    text = log("").replace(
        "power_off,,photo,,dunlin,,12:30", "power_off,,photo,,dunlin,2026-05-16,12:30"
    )
    assert errors(text) == []
    assert cautions(text) == []
