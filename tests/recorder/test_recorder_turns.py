"""Turns and halves, as they come and as they were planned."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from kit.recorder.entries import Refused
from kit.recorder.words import prompt_line, time_line, whose_line
from kit.session import PlannedTurn
from tests.helpers.recorder_short_day import CROSS, START, TURNS, Day


def test_a_crossover_swaps_once_and_is_read_there() -> None:
    day = Day(CROSS)
    day.type("s", "100", "100", "100")
    assert [(r["device"], r["part"]) for r in day.rows("turn")] == [
        ("a", "stream"),
        ("b", "stream"),
        ("c", "forms"),
    ]
    assert [d.doing for d in day.here.devices] == ["stream", "stream", "forms"]
    assert day.at(29).here.step == "run"
    assert day.type("w") == ()  # one minute early is not worth a question
    day.entries.pop()
    assert day.at(20).type("w") == ("the first half was planned to 08:30, 10 min more",)
    assert day.at(30).here.step == "turn"
    day.type("w")
    assert day.due() == ("p1", "inside", ("c", "b", "a"))
    assert [d.doing for d in day.here.devices] == ["forms", "forms", "stream"]
    assert [r.get("duration_min") for r in day.rows("turn")] == ["30"] * 3 + [None] * 3
    with pytest.raises(Refused, match="Both halves have begun"):
        day.type("1 w")
    day.type("90", "90", "90")
    day.at(40).type("1 x", yes=True)
    day.at(60).type("e")
    lengths = {
        (r["device"], r["part"]): (r["duration_min"], r["completed"]) for r in day.rows("turn")
    }
    assert lengths["a", "forms"] == ("10", "partly")  # it went off 10 min into its second half
    assert lengths["b", "forms"] == ("30", "yes")
    assert lengths["c", "stream"] == ("30", "yes")


def test_turns_go_round_the_row_and_may_break_off() -> None:
    day = Day(TURNS)
    day.type("s", "100", "100", "100")
    assert whose_line(day.here, day.protocol) == "call: A; next: B; all others guide"
    assert day.at(9).here.step == "run"
    assert day.at(10).here.step == "turn"
    day.type("w")
    assert [d.doing for d in day.here.devices] == ["guide", "call", "guide"]
    day.at(17).type("w partly the call dropped")
    assert day.rows("turn")[1] == {
        **day.rows("turn")[1], "duration_min": "7", "completed": "partly",
        "note": "the call dropped",
    }  # fmt: skip
    assert day.here.turn is not None
    assert day.here.turn.devices == ("c",)
    day.at(27).type("w end")
    with pytest.raises(Refused, match="Every device has had its turn"):
        day.type("w")
    # 40 min planned: 30 were used, a second time round (another 30) has no room
    assert day.here.turn.following == ()
    assert day.at(30).here.step == "run"
    with pytest.raises(Refused, match="After w: end"):
        day.type("w later")
    day.type("1 w")  # but somebody may have another turn by name
    assert day.here.device("a").doing == "call"
    day.at(40).type("e")
    assert [r["duration_min"] for r in day.rows("turn")] == ["10", "7", "10", "10"]


def test_correcting_the_time_of_a_turn_corrects_the_one_it_ended() -> None:
    day = Day(TURNS)
    day.type("s", "mm")
    day.at(12).type("w", "@ -2")
    first, second = day.rows("turn")
    assert (first["duration_min"], second["clock"]) == ("10", "08:10:00")


def test_a_device_that_is_off_has_no_turn() -> None:
    day = Day(TURNS)
    day.type("s", "mm", "2 x")
    day.at(10).type("w")
    assert day.here.device("c").doing == "call"
    assert day.type("2 w") == ("B is off",)


def test_there_are_no_turns_in_a_plain_phase() -> None:
    day = Day()
    day.type("s")
    with pytest.raises(Refused, match="no turns now"):
        day.type("w")


# ------------------------------------------------------------ turns as planned


def planned(*turns: tuple[float, float, str]) -> tuple[PlannedTurn, ...]:
    return tuple(
        PlannedTurn(start_min=start, end_min=end, devices=tuple(who)) for start, end, who in turns
    )


IN_ORDER = replace(
    TURNS, planned_turns=planned((0, 10, "b"), (10, 20, "c"), (20, 30, "a"), (30, 40, "c"))
)


def calls(day: Day) -> list[str]:
    return [r["device"] for r in day.rows("turn")]


def test_turns_follow_the_plan_and_not_the_row() -> None:
    day = Day(IN_ORDER)
    day.type("s", "mm")
    assert whose_line(day.here, day.protocol) == "call: B; next: C; all others guide"
    for minute in (10, 20, 30):
        assert day.at(minute).here.step == "turn"
        day.type("w")
    assert calls(day) == ["b", "c", "a", "c"]
    assert day.at(40).here.step == "end"  # 40 of 40 min, no turn is left
    day.type("w")
    with pytest.raises(Refused, match="none is left"):
        day.type("w end")


def test_the_place_of_a_device_that_is_off_stays_empty() -> None:
    """C was to have 10 to 20 and 30 to 40; off at 5, so A still begins at 20."""
    day = Day(IN_ORDER)
    day.type("s", "mm")
    day.at(5).type("3 x")
    assert whose_line(day.here, day.protocol) == "call: B; next: A at 08:20; all others guide"
    day.at(10)
    assert "The turn is over: type w. The next begins at 08:20." in prompt_line(
        day.here, day.protocol
    )
    day.type("w")
    assert calls(day) == ["b"]  # nobody moves up
    assert day.here.step == "run"
    assert "next turn at 08:20" in time_line(day.here)
    day.at(20).type("w")
    assert calls(day) == ["b", "a"]
    day.at(30)
    assert prompt_line(day.here, day.protocol).startswith("The turn is over: type w; none is left")


def test_a_late_turn_makes_all_later_ones_late_and_one_that_is_named_counts() -> None:
    day = Day(IN_ORDER)
    day.type("s", "mm")
    day.at(13).type("w end")
    day.at(15).type("1 w")  # A goes before C, by name
    assert calls(day) == ["b", "a"]
    day.at(25).type("w")
    assert calls(day) == ["b", "a", "c"]  # C is owed the turn of minute 10
    day.at(35)
    assert day.here.turn is not None
    assert day.here.turn.following == ("c",)  # and then that of minute 30; A had its own
    assert day.here.turn.next_at == START + timedelta(minutes=45)  # 20 min after that of 25


def test_groups_begin_together_without_those_that_are_off() -> None:
    day = Day(replace(TURNS, planned_turns=planned((0, 10, "ac"), (15, 25, "b"))))
    day.type("s", "mm")
    assert calls(day) == ["a", "c"]
    assert [d.doing for d in day.here.devices] == ["call", "guide", "call"]
    day.at(10).type("w")  # the change takes until 15
    assert calls(day) == ["a", "c"]
    day.at(15).type("w")
    assert calls(day) == ["a", "c", "b"]


def test_a_phase_whose_first_turn_belongs_to_nobody_waits_for_the_second() -> None:
    day = Day(IN_ORDER)
    day.type("2 x", "s", "mm")
    assert calls(day) == []
    assert day.here.step == "run"
    assert "next turn at 08:10" in time_line(day.here)
    day.at(10).type("w")
    assert calls(day) == ["c"]


SWAP = replace(CROSS, planned_min=62, planned_turns=planned((0, 30, "ab"), (32, 62, "c")))


def test_the_row_is_read_between_the_halves_where_the_plan_leaves_time() -> None:
    day = Day(SWAP)
    day.type("s", "100", "100", "100")
    assert "half to 08:30" in time_line(day.here)
    day.at(30).type("w")
    assert [r.get("duration_min") for r in day.rows("turn")] == ["30"] * 3
    assert day.due() == ("p1", "inside", ("c", "b", "a"))
    assert [d.doing for d in day.here.devices] == ["", "", ""]
    assert "next half at 08:32" in time_line(day.here)
    day.at(31).type("90", "90", "90")
    assert day.here.step == "run"
    with pytest.raises(Refused, match="over already"):
        day.type("w end")
    day.at(32)
    assert prompt_line(day.here, day.protocol).startswith("SWAP: type w")
    day.type("w")
    assert day.due() is None  # read once is enough
    assert [d.doing for d in day.here.devices] == ["forms", "forms", "stream"]
    day.at(62).type("e")
    assert [r["duration_min"] for r in day.rows("turn")] == ["30"] * 6


def test_halves_swap_although_nobody_is_left_in_one_of_them() -> None:
    """C, alone in the second half, is off: A and B still have to change over."""
    day = Day(CROSS)
    day.type("s", "mm", "3 x")
    day.at(30).type("w")
    assert [(r["device"], r["part"]) for r in day.rows("turn")][3:] == [
        ("a", "forms"),
        ("b", "forms"),
    ]
    day = Day(CROSS)
    day.type("s")
    with pytest.raises(Refused, match="swap all at once"):
        day.type("1 w")
