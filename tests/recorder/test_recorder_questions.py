"""What is asked about, what is corrected, what else can be noted."""

from __future__ import annotations

import pytest

from kit.recorder.entries import Refused
from tests.helpers.recorder_short_day import Day


def read_day() -> Day:
    """Return a day with A at 50 %, B at 60 % and C off since 08:40."""
    day = Day()
    day.type("s", "50", "60", "3")
    day.at(40).type("3 x")
    return day.at(45)


@pytest.mark.parametrize(
    ("typed", "question"),
    [
        ("1 51", "51 % is more than 50 % at 08:00"),
        ("1 107", "107 is no percentage from 0 to 100"),
        ("1 -1", "-1 is no percentage from 0 to 100"),
        ("1 49.5", "49.5 is no whole number"),
        # 45 min at 90 pp/h would be 67.5 pp: only a faster drop than that is asked about
        ("2 0 @ 8:30", "0 % is 60 points less than at 08:00, 30 min before"),
        ("3 2", "C was noted off at 08:40"),
        ("1 t 51", "51 % is more than 50 % at 08:00"),
        ("1 x", "A showed 50 % before it went off"),
        ("1 x 21", "A showed 21 % before it went off"),
        ("1 40 @ 9:30", "09:30 is in the future"),
        ("2 x 3 @ 7:59", "B was seen on at 08:00, later than that"),
        ("c 300", "300 °C is outside −60 to 200 °C"),
        ("1 plug", "One is running"),
    ],
)
def test_what_cannot_be_is_asked_about_and_kept_when_confirmed(typed: str, question: str) -> None:
    day = read_day()
    before = len(day.entries)
    assert question in day.type(typed)
    assert len(day.entries) == before
    day.type(typed, yes=True)
    assert question in day.entries[-1].rows[0]["note"]
    assert (
        day.entries[-1]
        .rows[0]["note"]
        .startswith(("confirmed: ", "the display showed", "showed 300"))
    )


def test_a_percentage_outside_0_to_100_goes_into_the_note_alone() -> None:
    day = read_day()
    day.type("1 107", yes=True)
    (row,) = day.entries[-1].rows
    assert "soc_pct" not in row
    assert row["note"].startswith("the display showed 107; confirmed: 107 is no percentage")


@pytest.mark.parametrize("typed", ["1 50", "1 30", "2 0", "1 t 49", "3 1 @ 8:30", "n tea", "c 20"])
def test_what_can_be_is_not_asked_about(typed: str) -> None:
    assert read_day().type(typed) == ()


def test_a_clock_that_was_put_back_is_asked_about_once() -> None:
    """Entered at 08:40, and now the computer says 08:05; across a change of the clocks it is not
    behind, since moments have their offset from UTC."""
    day = read_day()
    words = "the computer's clock says 08:05, but the entry before was made at 08:40"
    assert words in day.at(5).type("n tea")
    assert read_day().at(5).type("n tea @ 8:05") == ()  # whoever says the time knows it
    day.at(5).type("n tea", yes=True)
    assert day.rows("note")[-1]["note"].startswith("tea; confirmed: the computer's clock")
    assert day.at(6).type("n more") == ()  # it goes on from there


def test_a_percentage_may_rise_after_charging() -> None:
    day = Day()
    day.type("s", "50", "60", "70")
    day.at(60).type("e", "mm", "1 plug", "1 unplug 80")
    assert day.type("1 80") == ()
    assert day.type("1 81") == ("81 % is more than 80 % at 09:00",)


def test_an_earlier_reading_below_a_later_one_is_asked_about() -> None:
    day = read_day()
    assert day.type("1 45 @ 7:58") == ("45 % is less than 50 % at 08:00, later",)


def test_reading_again_in_the_round_corrects_after_a_question() -> None:
    day = Day()
    day.type("s", "19")
    assert day.type("1 91") == ("A was read in this round already, 19 %",)
    day.type("1 91", yes=True)
    assert [r["soc_pct"] for r in day.rows("reading")] == ["91"]
    assert day.due() == ("p1", "start", ("b", "c"))
    day.type("m")
    assert day.type("2 88") == ("B was read in this round already, missed",)


def test_a_device_is_off_once() -> None:
    with pytest.raises(Refused, match="C was noted off at 08:40 already"):
        read_day().type("3 x")


def test_gone_off_before_ones_eyes_is_within_the_last_minute() -> None:
    day = read_day()
    day.type("1 xx 2", yes=True)
    (row,) = day.entries[-1].rows
    assert (row["last_on"], row["first_off"], row["soc_pct"]) == ("08:44:00", "08:45:00", "2")


def test_times_and_notes_of_the_entry_before_can_be_corrected() -> None:
    day = read_day()
    day.type("@ 8:41 > by ear", "v cam-1", "> and seen")
    off = day.rows("power_off")[0]
    assert (off["clock"], off["first_off"], off["last_on"]) == ("08:41:00", "08:41:00", "08:00:00")
    assert (off["note"], off["evidence"]) == ("by ear; and seen", "cam-1")
    assert day.type("@ 7:59") == ("it was seen on at 08:00, later than that",)
    with pytest.raises(Refused, match="no entry before"):
        Day().type("> nothing there")


def test_incidents_temperatures_and_who_reads() -> None:
    day = read_day()
    day.type("by Teal", "2 i screen flickers", "i tide came in", "2 c 35.2", "c 21")
    incidents = day.rows("incident")
    assert [(r.get("device"), r["cause"], r["by"]) for r in incidents] == [
        ("b", "screen flickers", "Teal"),
        (None, "tide came in", "Teal"),
    ]
    assert [(r.get("device"), r["temperature_c"]) for r in day.rows("temperature")] == [
        ("b", "35.2"),
        (None, "21"),
    ]
    with pytest.raises(Refused, match="Say which device"):
        day.type("plug")
    with pytest.raises(Refused, match="no percentage from 0 to 100"):
        day.type("1 plug 120")
