"""Where the day is: rounds and phases, by hand on short days."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import UTC, timedelta

import pytest

from kit.recorder.entries import Refused
from kit.recorder.journal import Entry
from kit.recorder.state import Protocol, situation
from kit.recorder.words import (
    prompt_line,
    remarks,
    row_lines,
    time_line,
)
from kit.session import Device, Phase
from tests.helpers.recorder_short_day import PLAIN, START, Day

# --------------------------------------------------------------------- rounds


def test_the_first_start_is_read_before_or_after_it_begins() -> None:
    day = Day()
    assert day.here.step == "read"
    assert day.due() == ("p1", "start", ("a", "b", "c"))
    day.type("100")
    day.at(1).type("s")
    assert day.due() == ("p1", "start", ("b", "c"))
    day.type("100", "99")
    assert day.due() is None
    assert day.here.step == "run"
    assert [r["order"] for r in day.rows("reading")] == ["1", "2", "3"]


def test_rounds_go_forward_and_backward_in_turn() -> None:
    day = Day()
    day.type("s", "100", "100", "100")
    assert day.at(60).here.step == "end"
    day.type("e")
    assert day.due() == ("p1", "end", ("c", "b", "a"))
    day.type("90", "91", "92")
    assert [(r["device"], r["soc_pct"]) for r in day.rows("reading")[3:]] == [
        ("c", "90"),
        ("b", "91"),
        ("a", "92"),
    ]
    # read just now: the next phase needs no reading of its start
    assert day.due() is None
    assert day.here.step == "start"
    # 10 min and more after it, it does, and forward again
    assert day.at(70.0).due() is None
    assert day.at(70.1).due() == ("p2", "start", ("a", "b", "c"))


def planned_start(minutes: float) -> Day:
    """Return a day whose second phase is to be read so long after the end of the first."""
    day = Day(PLAIN[0], replace(PLAIN[1], start_read_after_min=minutes))
    day.type("s", "100", "100", "100")
    day.at(60).type("e", "90", "90", "90")
    return day


def test_a_planned_reading_of_a_start_is_due_when_the_pause_is_over() -> None:
    day = planned_start(5)
    # read at 9:00, again 5 min later
    assert prompt_line(day.at(62).here, day.protocol) == (
        "START Two: type s when it begins (read the row at 09:05)"
    )
    # a minute before it, not before: 60 + 5 - 1 = 64
    assert day.at(63.9).due() is None
    assert day.at(64.0).due() == ("p2", "start", ("a", "b", "c"))
    day.type("89", "89", "89")
    assert day.due() is None
    assert day.at(80).due() is None  # read: no second time


def test_a_phase_that_begins_early_has_its_planned_reading_all_the_same() -> None:
    day = planned_start(30)
    assert day.at(62).due() is None
    day.type("s")
    assert day.due() == ("p2", "start", ("a", "b", "c"))


def test_a_start_that_is_never_to_be_read_is_not_asked_for() -> None:
    day = planned_start(math.inf)
    assert day.at(100).due() is None
    assert prompt_line(day.here, day.protocol).endswith("(r: read the row once more)")
    day.type("s")
    assert day.due() is None


def test_a_round_may_be_read_out_of_order_and_says_so() -> None:
    day = Day()
    day.type("s", "2 100", "100")
    assert day.due() == ("p1", "start", ("c",))
    assert [(r["device"], r["order"]) for r in day.rows("reading")] == [("b", "1"), ("a", "2")]


def test_a_start_that_is_long_past_is_not_asked_for_any_more() -> None:
    day = Day()
    day.type("s", "100")
    assert day.at(15).due() == ("p1", "start", ("b", "c"))
    assert day.at(15.1).due() is None
    day.type("2 95")
    assert day.rows("reading")[-1]["point"] == "inside"
    assert "order" not in day.rows("reading")[-1]


def test_devices_that_are_off_are_not_in_the_round() -> None:
    day = Day()
    day.type("s", "10", "5", "100")
    day.at(50).type("2 x")
    day.at(60).type("e")
    assert day.due() == ("p1", "end", ("c", "a"))
    day.type("x", yes=True)
    assert day.due() == ("p1", "end", ("a",))


def test_a_missed_reading_is_done_and_said() -> None:
    day = Day()
    day.type("s", "m lock came up", "mm")
    assert day.due() is None
    assert [(r.get("soc_pct"), r["note"], r["order"]) for r in day.rows("reading")] == [
        (None, "lock came up", "1"),
        (None, "missed", "2"),
        (None, "missed", "3"),
    ]


def test_a_round_can_be_asked_for_inside_a_phase_and_before_one() -> None:
    day = Day()
    day.type("s", "100", "100", "100")
    day.at(30).type("r")
    assert day.due() == ("p1", "inside", ("c", "b", "a"))
    day.type("98", "97", "96")
    assert day.due() is None
    day.at(40).type("r")
    assert day.due() == ("p1", "inside", ("a", "b", "c"))
    with pytest.raises(Refused, match="A round is on: A, B and C"):
        day.type("r")
    day.type("95")
    day.at(56).type("1 94")  # the rest of that round was left; this is another reading
    day.at(60).type("e", "90", "90", "90")
    day.at(61).type("r")
    assert day.due() == ("p2", "start", ("a", "b", "c"))  # the fifth walk of the day
    day.type("90", "90", "90")
    with pytest.raises(Refused, match="was read already"):
        day.type("r")
    day.type("s")
    assert day.due() is None


def test_the_next_device_is_wanted_by_name_when_no_round_is_on() -> None:
    day = Day()
    day.type("s", "100", "100", "100")
    with pytest.raises(Refused, match="say which device"):
        day.type("98")
    with pytest.raises(Refused, match="nothing was missed"):
        day.type("2 m")
    with pytest.raises(Refused, match="nothing was missed"):
        day.type("mm")


# --------------------------------------------------------------------- phases


def test_phases_follow_each_other_and_time_runs() -> None:
    day = Day()
    day.at(2).type("s")
    here = day.at(12).here
    assert here.phase is not None
    assert (here.phase.id, here.left_min, here.elapsed_min) == ("p1", 50.0, 12.0)
    assert here.devices[0].doing == "map"
    with pytest.raises(Refused, match="One still runs"):
        day.type("s")
    assert day.type("e") == ("it was planned to 09:02, 50 min more",)
    assert day.here.phase is not None  # nothing was saved
    day.type("e", yes=True)
    assert day.rows("phase_end")[0]["note"] == "confirmed: it was planned to 09:02, 50 min more"
    with pytest.raises(Refused, match="No phase is running"):
        day.type("e")
    assert day.type("s")[0].startswith("the end of the phase before was not read yet")
    day.type("mm", "s")
    assert day.here.phase is not None
    assert day.here.phase.id == "p2"
    assert day.at(12 + 35).here.left_min == -5.0
    assert "OVER by 5 min, planned to 08:42" in time_line(day.here)


def test_a_phase_can_be_started_by_its_id_once() -> None:
    day = Day()
    day.type("s p2")
    assert day.here.phase is not None
    assert day.here.phase.id == "p2"
    day.at(30).type("e", "mm")
    assert day.here.step == "stop"
    with pytest.raises(Refused, match="All phases"):
        day.type("s")
    with pytest.raises(Refused, match="was started already"):
        day.type("s p2")
    with pytest.raises(Refused, match="no phase 'p9'"):
        day.type("s p9")
    day.type("s p1")
    assert day.here.phase is not None
    assert day.here.phase.id == "p1"


def test_the_end_of_the_day() -> None:
    day = Day(Phase(id="p1", label="Empty", kind="until_empty"), look_every_min=3)
    day.type("s", "9", "30", "8")
    assert day.here.left_min is None
    assert day.here.look_at == START + timedelta(minutes=3)
    assert "LOOK NOW" in time_line(day.at(3).here)
    with pytest.raises(Refused, match="still runs"):
        day.type("f")
    day.type("l")
    assert day.here.look_at == START + timedelta(minutes=6)
    day.at(5).type("1 x", "3 x 1")
    off = day.rows("power_off")
    assert [(r["last_on"], r["first_off"]) for r in off] == [("08:03:00", "08:05:00")] * 2
    assert [r.get("soc_pct") for r in off] == ["9", "1"]  # 9 % was seen 5 min before
    day.at(60).type("e", "20", "f")
    assert day.here.step == "done"
    assert [r["device"] for r in day.rows("still_on")] == ["b"]
    assert day.here.device("b").state == "still_on"
    with pytest.raises(Refused, match="complete"):
        day.type("f")
    assert prompt_line(day.here, day.protocol).startswith("DONE")
    assert remarks(day.here, day.protocol)[-1].startswith("session.toml: the session was stopped")


def test_the_next_reading_is_announced_with_its_order() -> None:
    day = Day()
    day.type("s", "100", "100", "100")
    # one walk is done, so the next goes back; a device that is off is not in it
    assert prompt_line(day.at(5).here, day.protocol).startswith("Next reading 09:00, 3 to 1. ")
    day.type("3 xx", yes=True)
    assert day.here.next_order == ("b", "a")
    assert prompt_line(day.here, day.protocol).startswith("Next reading 09:00, 2 to 1. ")
    day.type("2 xx", yes=True)
    assert prompt_line(day.here, day.protocol).startswith("Next reading 09:00, 1. ")


def test_another_day_than_that_of_the_setup_file_is_told_before_and_after_the_start() -> None:
    day = Day()
    day.protocol = replace(day.protocol, start=None, date=START.date() + timedelta(days=3))
    [told] = remarks(day.here, day.protocol)
    assert told.startswith("session.toml says 2026-05-19, today is 2026-05-16; if this is")
    day.type("100")
    assert remarks(day.here, day.protocol) == ()  # once is enough until the start
    day.type("s")
    [told] = remarks(day.here, day.protocol)
    assert told.startswith("session.toml says 2026-05-19, the first phase started on 2026-05-16")
    day.protocol = replace(day.protocol, date=START.date())
    assert remarks(day.here, day.protocol) == ()


def test_stopping_before_the_last_phase_is_asked_about() -> None:
    day = Day()
    assert day.type("f") == ("One has not been run",)


def test_a_long_row_is_shown_around_the_next_device() -> None:
    row = tuple(Device(id=f"d{i}", label=f"Device {i}") for i in range(24))
    protocol = Protocol(title="T", devices=row, phases=PLAIN, zone=UTC, start=START)
    rows = tuple(
        {"event": "reading", "phase": "p1", "point": "start", "device": f"d{i}", "soc_pct": "100",
         "order": str(i + 1), "date": "2026-05-16", "clock": "08:00:00"}
        for i in range(12)
    )  # fmt: skip
    entry = Entry(n=1, at=START.isoformat(), kind="enter", rows=rows)
    here = situation(protocol, [entry], START)
    lines = row_lines(here, width=80, height=8)
    assert len(lines) == 8
    assert lines[0].strip() == "… 9 more above"
    assert lines[-1].strip() == "… 9 more below"
    assert re.match(r"▶ 13  Device 12", lines[4])
    assert all(len(line) <= 80 for line in lines)
