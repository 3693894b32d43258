"""The rule that compares turns with planned_turns; the session starts at 08:00."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from kit.session import Phase, PlannedTurn, Session
from tests.helpers.builders import make_session
from tests.helpers.clean_session import found, one

ROW = ("a", "b", "c", "d")
GUIDE = Phase(id="g", label="Guide", activity="guide", planned_min=60)
ROTATION = Phase(
    id="r", label="Calls", kind="rotation", parts=("call", "guide"), turn_min=10, planned_min=60,
    planned_turns=tuple(
        PlannedTurn(start_min=start, end_min=start + 10, devices=(device,))
        for start, device in ((0, "b"), (12, "d"), (24, "a"), (36, "c"))
    ),
)  # fmt: skip
HALVES = Phase(
    id="r", label="Stream", kind="crossover", parts=("call", "guide"), first_half=("a", "c"),
    planned_min=62, planned_turns=(
        PlannedTurn(start_min=0, end_min=30, devices=("a", "c")),
        PlannedTurn(start_min=32, end_min=62, devices=("b", "d")),
    ),
)  # fmt: skip


def rows(
    *began: tuple[float, str], part: str = "call", minutes: float = 10
) -> list[dict[str, Any]]:
    return [
        {"phase": "r", "device": device, "activity": part, "start_min": start, "line": 40 + i,
         "duration_min": minutes, "completed": "yes"}
        for i, (start, device) in enumerate(began)
    ]  # fmt: skip


def session(phase: Phase, turns: list[dict[str, Any]], **changes: Any) -> Session:
    """Return a session of this phase, from minute 0, and another of an hour."""
    return make_session(
        **{"devices": ROW, "phases": (phase, GUIDE), "turns": turns,
           "readings": {d: [100, 80, 70] for d in ROW}, **changes}
    )  # fmt: skip


AS_PLANNED = rows((1, "b"), (14, "d"), (25, "a"), (37, "c"))
RULE = "turns-not-as-planned"


def test_turns_as_planned_may_be_late() -> None:
    assert not found(session(ROTATION, AS_PLANNED), RULE)
    assert not found(session(replace(ROTATION, planned_turns=()), AS_PLANNED[::-1]), RULE)


def test_another_order_is_a_note() -> None:
    finding = one(session(ROTATION, rows((0, "a"), (12, "b"), (24, "d"), (36, "c"))), RULE)
    assert (finding.severity, finding.line, finding.phase) == ("note", 40, "r")
    assert finding.found == "'call' in 'r' done by 'a', 'b', 'd' then 'c'"
    assert finding.expected == "the planned turns, 'b', 'd', 'a' then 'c'"


@pytest.mark.parametrize(
    "done",
    [
        rows((0, "b"), (12, "d"), (24, "a")),
        rows((0, "b"), (12, "d"), (24, "a"), (36, "a")),
        rows((0, "b"), (12, "d"), (24, "a"), (36, "c"), (48, "b")),
        [*AS_PLANNED[:3], {**AS_PLANNED[3], "completed": "no"}],
    ],
    ids=["left out", "another device", "one more", "not done"],
)
def test_other_devices_are_a_caution(done: list[dict[str, Any]]) -> None:
    finding = one(session(ROTATION, done), RULE)
    assert finding.severity == "caution"
    assert "not all had the same share" in finding.remedy


def test_the_place_of_a_device_that_is_off_is_left_out() -> None:
    """D is off at 10 min, before its turn at 12; had it been on until 20, its turn was missed."""
    left = rows((0, "b"), (24, "a"), (36, "c"))
    readings = {d: [100, 80, 70] if d != "d" else [100] for d in ROW}
    early = session(ROTATION, left, readings=readings, power_offs={"d": 10})
    assert not found(early, RULE)
    late = session(ROTATION, left, readings=readings, power_offs={"d": 20})
    assert one(late, RULE).severity == "caution"


def test_halves_are_groups() -> None:
    both = [*rows((0, "a"), (0, "c"), minutes=30), *rows((32, "d"), (32, "b"), minutes=30)]
    both += rows((0, "b"), (0, "d"), (32, "a"), (32, "c"), part="guide", minutes=30)
    assert not found(session(HALVES, both), RULE)
    wrong = [*rows((0, "a"), (0, "b"), minutes=30), *rows((32, "c"), (32, "d"), minutes=30)]
    finding = one(session(HALVES, wrong), RULE)
    assert finding.found == "'call' in 'r' done by 'a' + 'b' then 'c' + 'd'"


def test_rows_without_times_say_nothing_about_order() -> None:
    silent = [{k: v for k, v in row.items() if k != "start_min"} for row in AS_PLANNED[::-1]]
    assert not found(session(ROTATION, silent), RULE)


def test_a_plan_of_two_rounds_is_taken_as_done_where_nothing_is_logged() -> None:
    """60 min of c: turns at 36 and 48, 20 min of call; the gap of 2 min before each turn but the
    first belongs to nobody. A died at 30 min: 6 of its 10 min, no second turn."""
    from kit.checks.exposure import exposures
    from kit.checks.facts import gather

    more = (*ROTATION.planned_turns, PlannedTurn(start_min=48, end_min=58, devices=("c",)))
    readings = {d: [100, 80, 70] if d != "a" else [100] for d in ROW}
    off = {"noted_min": 30, "last_on_min": 29, "first_off_min": 30}  # from 29 to 31 by its clock
    made = session(
        replace(ROTATION, planned_turns=more), [], readings=readings, power_offs={"a": off}
    )
    (exposure,) = exposures(gather(made))
    assert exposure.minutes[2].tolist() == [20.0, 60.0 - 4 * 2.0 - 20.0]
    assert exposure.minutes[0, 0] == pytest.approx(6.0)
