"""Rules on crossover and rotation phases; the session starts at 08:00."""

from __future__ import annotations

from typing import Any

import pytest

from kit.session import Phase, Session
from tests.helpers.builders import make_session
from tests.helpers.clean_session import found, one

CROSS = Phase(
    id="x", label="Stream / forms", kind="crossover", parts=("stream", "forms"),
    first_half=("a", "b"), planned_min=120,
)  # fmt: skip
TURNS = Phase(
    id="r", label="Calls in turn", kind="rotation", parts=("call", "guide"), turn_min=10,
    planned_min=60,
)  # fmt: skip
GUIDE = Phase(id="g", label="Guide", activity="guide", planned_min=60)
ROW = ("a", "b", "c", "d")
FULL = {k: [100, 80, 70] for k in ROW}


def crossover(**changes: Any) -> Session:
    return make_session(**{"devices": ROW, "phases": (CROSS, GUIDE), "readings": FULL, **changes})


def turns(phase: str, **minutes: tuple[float, float]) -> list[dict[str, Any]]:
    """Return turn rows with the minutes of both parts of each device, from line 60 on."""
    parts = {"x": ("stream", "forms"), "r": ("call", "guide")}[phase]
    rows = [
        {"phase": phase, "device": d, "activity": part, "duration_min": m, "completed": "yes"}
        for d, both in minutes.items()
        for part, m in zip(parts, both, strict=True)
    ]
    return [{**row, "line": 60 + i} for i, row in enumerate(rows)]


ALL_DONE = turns("x", a=(60, 60), b=(60, 60), c=(60, 60), d=(60, 60))


def test_a_complete_crossover_has_nothing_to_tell() -> None:
    session = crossover(turns=ALL_DONE)
    for rule in ("died-before-turn", "unequal-exposure", "turns-not-logged", "crossover-one-sided"):
        assert not found(session, rule)


def test_turns_not_logged() -> None:
    finding = one(crossover(), "turns-not-logged")
    assert (finding.severity, finding.phase, finding.column) == ("note", "x", "event")
    assert finding.found == "no turn row of any device in 'x' (crossover)"
    assert "plan is taken as done" in finding.remedy
    some = crossover(turns=turns("x", a=(60, 60), b=(60, 60), c=(60, 60)))
    assert "no turn row of 'd'" in one(some, "turns-not-logged").found


def test_unequal_minutes() -> None:
    # 0.95 × 60 − 0.5 = 56.5: 57 min are equal, 56 are not
    rows = turns("x", a=(60, 60), b=(57, 60), c=(56, 60), d=(60, 60))
    finding = one(crossover(turns=rows), "unequal-exposure")
    assert (finding.severity, finding.line, finding.column) == ("caution", 64, "duration_min")
    assert finding.device == "c"
    assert finding.found == "'stream' in 'x' done for 'c' 56 min, against 60 min of the longest"
    assert "rates over the minutes really done" in finding.remedy


def test_a_device_that_died_in_its_first_half_never_had_the_second() -> None:
    # d does forms first; off between 30 and 33 min: 31.5 min of forms, none of stream
    offs = {"d": {"noted_min": 32, "last_on_min": 30, "phase": "x"}}
    session = crossover(power_offs=offs, readings={**FULL, "d": [100]})
    died = one(session, "died-before-turn")
    assert (died.severity, died.device, died.phase) == ("caution", "d", "x")
    assert died.found == "no minute of 'stream' for 'd' in 'x' (off between 08:30 and 08:33)"
    assert "leaves the crossover with both its halves" in died.remedy
    short = one(session, "unequal-exposure")
    assert short.found == "'forms' in 'x' done for 'd' 31.5 min, against 60 min of the longest"


def test_a_device_that_died_in_its_second_half() -> None:
    offs = {"a": {"noted_min": 91, "last_on_min": 89, "phase": "x"}}
    session = crossover(power_offs=offs, readings={**FULL, "a": [100]})
    assert not found(session, "died-before-turn")
    # [89, 92): 90.5 − 60 = 30.5 min of forms
    assert "'forms' in 'x' done for 'a' 30.5 min" in one(session, "unequal-exposure").found


def test_a_turn_marked_as_not_done() -> None:
    rows = turns("x", a=(60, 60), b=(60, 60), c=(60, 60))
    rows += [
        {"phase": "x", "device": "d", "activity": "forms", "duration_min": 60, "line": 70},
        {"phase": "x", "device": "d", "activity": "stream", "completed": "no", "line": 71},
    ]
    finding = one(crossover(turns=rows), "died-before-turn")
    assert (finding.line, finding.column, finding.device) == (70, "duration_min", "d")
    assert "not a value of 0" in finding.remedy
    assert "off" not in finding.found


def test_a_device_off_before_the_phase_takes_no_part() -> None:
    offs = {"d": {"noted_min": 30, "last_on_min": 28, "phase": "g"}}
    session = make_session(
        devices=ROW,
        phases=(GUIDE, CROSS),
        readings={**FULL, "d": [100]},
        power_offs=offs,
        turns=turns("x", a=(60, 60), b=(60, 60), c=(60, 60)),
    )
    for rule in ("died-before-turn", "unequal-exposure", "turns-not-logged"):
        assert not found(session, rule)


def test_only_one_order_was_completed() -> None:
    offs = {d: {"noted_min": 32, "last_on_min": 30, "phase": "x"} for d in ("c", "d")}
    session = crossover(power_offs=offs, readings={**FULL, "c": [100], "d": [100]})
    finding = one(session, "crossover-one-sided")
    assert (finding.file, finding.column) == ("session.toml", "phases[1].first_half")
    assert finding.found == (
        "only 'a' and 'b' through both halves of 'x', all in the order 'stream' then 'forms'"
    )
    assert "cannot be told from the first and the second half" in finding.remedy


def test_the_other_order_only_and_no_device_at_all() -> None:
    def session(*off: str) -> Session:
        offs = {d: {"noted_min": 32, "last_on_min": 30, "phase": "x"} for d in off}
        return crossover(power_offs=offs, readings={d: [100, 80] if d not in off else [100]
                                                    for d in ROW})  # fmt: skip

    assert (
        "all in the order 'forms' then 'stream'"
        in one(session("a", "b"), "crossover-one-sided").found
    )
    assert one(session(*ROW), "crossover-one-sided").found == (
        "no device through both halves of 'x'"
    )


def rotation(*phases: Phase, busiest: float = 20.0, **changes: Any) -> Session:
    levels = [100 - busiest * k for k in range(len(phases) + 1)]
    return make_session(
        **{"devices": ROW, "phases": phases, "readings": dict.fromkeys(ROW, levels), **changes}
    )


def test_turns_of_ten_minutes_are_not_resolved() -> None:
    # A 10 min, B 50 min, plain B 60 min: ρ = 5/6, u = √((2 + 2 · 0.6944)/12)/(1/6) = 3.19, U = 6.4;
    # half of the busiest rate, 10 pp/h: 5; needed 10 · 6.38/5 + 1 = 13.8 min
    finding = one(rotation(GUIDE, TURNS, busiest=10.0), "rotation-not-resolved")
    assert (finding.file, finding.column) == ("session.toml", "phases[2].turn_min")
    assert "resolve to ±6.4 pp/h (k = 2)" in finding.found
    assert "up to 10.0 pp/h" in finding.expected
    assert "About 0 h 14 min of it per device" in finding.remedy


def test_turns_against_rates_that_they_do_resolve() -> None:
    # U = 6.4 is below half of 20 pp/h
    assert not found(rotation(GUIDE, TURNS, busiest=20.0), "rotation-not-resolved")


def test_a_rotation_without_a_plain_phase_of_its_other_part() -> None:
    finding = one(rotation(TURNS), "rotation-not-resolved")
    assert finding.found == "no plain phase of 'guide' beside the rotation 'r'"
    assert "only the drain of the whole phase" in finding.remedy


def test_a_rotation_by_plan_when_a_device_dies_in_it_is_unknown() -> None:
    offs = {"d": {"noted_min": 92, "last_on_min": 90, "phase": "r"}}
    session = rotation(
        GUIDE,
        TURNS,
        power_offs=offs,
        readings={**{k: [100, 80, 60] for k in "abc"}, "d": [100, 80]},
    )
    assert not found(session, "died-before-turn")
    assert not found(session, "unequal-exposure")


@pytest.mark.parametrize(("call", "told"), [(0.0, True), (10.0, False)])
def test_a_device_that_missed_its_turn_in_a_rotation(call: float, told: bool) -> None:
    rows = turns("r", a=(10, 50), b=(10, 50), c=(10, 50), d=(call, 60 - call))
    assert bool(found(rotation(GUIDE, TURNS, turns=rows), "died-before-turn")) is told


def test_minutes_from_start_and_end_of_a_turn() -> None:
    rows = [
        {"phase": "r", "device": d, "activity": "call", "start_min": 60, "end_min": 60 + m}
        for d, m in {"a": 10, "b": 10, "c": 10, "d": 4}.items()
    ]
    finding = one(rotation(GUIDE, TURNS, turns=rows), "unequal-exposure")
    assert finding.found == "'call' in 'r' done for 'd' 4 min, against 10 min of the longest"


def test_a_turn_half_done_without_minutes_is_unknown_not_zero() -> None:
    rows = turns("x", a=(60, 60), b=(60, 60), c=(60, 60), d=(60, 60))
    rows[-1] = {**rows[-1], "duration_min": None, "completed": "partly"}
    session = crossover(turns=rows)
    assert not found(session, "died-before-turn")
    assert not found(session, "unequal-exposure")
