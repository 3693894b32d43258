"""The timetable by the clock, checked minute by minute on plans small enough for paper."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.plan.planned import Break, Limit, Person, PhasePlan
from kit.plan.timetable import (
    BETWEEN,
    activities,
    phase_schedule,
    timetable,
    unattended,
    whole_minutes,
)
from kit.session import Phase
from tests.helpers.plans import make_plan

CROSSOVER = Phase(
    id="x", label="Lecture", kind="crossover", parts=("stream", "forms"), planned_min=61
)
ROTATION = Phase(
    id="r", label="Call", kind="rotation", parts=("call", "forms"), planned_min=45, turn_min=10
)


def lines(plan):
    return [
        (i.kind, i.start_min, i.end_min, i.phase, i.point, i.direction)
        for i in timetable(plan).items
    ]


def test_two_phases_by_hand():
    # Four devices at 15 s: a walk of 1 min. 0-1 walk, 1-61 p, 61-62 walk, 62-92 q, 92-93 walk.
    plan = make_plan(phases={"p": 60, "q": 30})
    assert lines(plan) == [
        ("walk", 0, 1, "p", "start", "forward"),
        ("phase", 1, 61, "p", "", "forward"),
        ("walk", 61, 62, "p", "end", "backward"),
        ("phase", 62, 92, "q", "", "forward"),
        ("walk", 92, 93, "q", "end", "forward"),
    ]
    assert timetable(plan).end_min == 93
    assert timetable(plan).items[2].devices == ("d", "c", "b", "a")


def test_breaks_and_preparation_bring_a_reading_at_the_start():
    # 62-92 break, 92-97 preparation, 97-98 walk that reads the start of q, 98-128 q.
    plan = make_plan(
        phases={"p": 60, "q": 30},
        breaks=(Break(after="p", minutes=30, label="Meal"),),
        phase_plans={"q": PhasePlan(setup_min=5)},
    )
    assert [line[:5] for line in lines(plan)][3:6] == [
        ("break", 62, 92, "p", ""),
        ("setup", 92, 97, "q", ""),
        ("walk", 97, 98, "q", "start"),
    ]
    only_ends = make_plan(
        phases={"p": 60, "q": 30}, breaks=(Break(after="p", minutes=30),), read_at="end"
    )
    assert [line[4] for line in lines(only_ends) if line[0] == "walk"] == ["start", "end", "end"]


def test_next_phase_at_once_reads_while_it_runs():
    plan = make_plan(phases={"p": 60, "q": 30}, next_phase="at_once", alternate=False)
    assert lines(plan)[1:4] == [
        ("phase", 1, 61, "p", "", "forward"),
        ("walk", 61, 62, "p", "end", "forward"),
        ("phase", 61, 91, "q", "", "forward"),
    ]
    # with a break the walk comes first in any case
    plan = make_plan(
        phases={"p": 60, "q": 30}, next_phase="at_once", breaks=(Break(after="p", minutes=10),)
    )
    assert [i.start_min for i in timetable(plan).items if i.kind == "break"] == [62]


def test_crossover_reads_the_row_at_the_swap():
    # 61 min with a walk of 1 min: two halves of 30; positions 1 4 against 2 3.
    plan = make_plan(phases=(CROSSOVER,), limits=(Limit(activity="stream", at_once=3),))
    assert [line[:5] for line in lines(plan)] == [
        ("walk", 0, 1, "x", "start"),
        ("phase", 1, 62, "x", ""),
        ("turn", 1, 31, "x", ""),
        ("walk", 31, 32, "x", "inside"),
        ("turn", 32, 62, "x", ""),
        ("walk", 62, 63, "x", "end"),
    ]
    turns = [i for i in timetable(plan).items if i.kind == "turn"]
    assert [t.devices for t in turns] == [("a", "d"), ("b", "c")]
    assert turns[0].label == "stream: A, D"
    walks = [i.direction for i in timetable(plan).items if i.kind == "walk"]
    assert walks == ["forward", "backward", "forward"]


def test_crossover_keeps_named_halves_and_respects_the_limit():
    named = Phase(
        id="x", label="x", kind="crossover", parts=("stream", "forms"), planned_min=60,
        first_half=("a", "b"),
    )  # fmt: skip
    plan = make_plan(phases=(named,), phase_plans={"x": PhasePlan(change_min=0)})
    assert phase_schedule(plan, named).groups == (("a", "b"), ("c", "d"))
    tight = make_plan(phases=(named,), limits=(Limit(activity="stream", at_once=1),))
    with pytest.raises(ValueError, match="phase 'x': a group of 2 devices, at most 1 at once"):
        timetable(tight)


def test_rotation_lays_out_turns_and_the_rest():
    # 45 min, four turns of 10: one round, 5 min left.
    plan = make_plan(phases=(ROTATION,), limits=(Limit(activity="call", at_once=1),))
    assert [line[:3] for line in lines(plan)][2:] == [
        ("turn", 1, 11),
        ("turn", 11, 21),
        ("turn", 21, 31),
        ("turn", 31, 41),
        ("spare", 41, 46),
        ("walk", 46, 47),
    ]
    with_changes = make_plan(phases=(ROTATION,), phase_plans={"r": PhasePlan(change_min=1)})
    assert [i.kind for i in timetable(with_changes).items].count("change") == 3


def test_rotation_without_a_turn_length_shares_the_phase():
    free = Phase(id="r", label="r", kind="rotation", parts=("call", "forms"), planned_min=45)
    plan = make_plan(phases=(free,), phase_plans={"r": PhasePlan(change_min=1, first=("c",))})
    schedule = phase_schedule(plan, free)
    # (45 + 1) // 4 - 1 = 10
    assert schedule.turn_min == 10
    assert schedule.turns[0].devices == ("c",)


def test_a_limited_phase_without_length_is_refused():
    open_end = Phase(id="r", label="r", kind="rotation", parts=("call", "forms"))
    with pytest.raises(ValueError, match="length is unknown"):
        timetable(make_plan(phases=(open_end,)))


def test_open_end_and_planned_stop():
    plan = make_plan(phases={"p": 60, "q": None}, stop_min=300)
    table = timetable(plan)
    assert table.of_phase("q").end_min is None
    assert table.items[-1].kind == "stop"
    assert table.end_min == 300
    with pytest.raises(KeyError):
        table.of_phase("zzz")


def test_activities_fill_the_day_by_hand():
    # Device a streams first: 1-31 stream, 31-32 swap, 32-62 forms; then walk 62-63, break 63-73.
    plan = make_plan(
        phases=(CROSSOVER, Phase(id="q", label="q", activity="map", kind="until_empty")),
        breaks=(Break(after="x", minutes=10, activity="standby"),),
        between="rest",
    )
    found = [(a.start_min, a.end_min, a.name) for a in activities(plan, timetable(plan), "a")]
    assert found == [
        (0, 1, "rest"),
        (1, 31, "stream"),
        (31, 32, "rest"),
        (32, 62, "forms"),
        (62, 63, "rest"),
        (63, 73, "standby"),
        (73, 74, "rest"),
        (74, None, "map"),
    ]
    second = [a.name for a in activities(plan, timetable(plan), "b")]
    assert second[1:4] == ["forms", "rest", "stream"]


def test_activities_without_names_and_after_the_last_phase():
    plan = make_plan(phases={"p": 60}, next_phase="at_once")
    found = [(a.start_min, a.end_min, a.name) for a in activities(plan, timetable(plan), "a")]
    assert found == [(0, 1, BETWEEN), (1, 61, "p"), (61, 62, BETWEEN), (62, None, "p")]
    with pytest.raises(KeyError):
        activities(plan, timetable(plan), "zzz")


@settings(max_examples=60, deadline=None)
@given(
    lengths=st.lists(st.integers(5, 90), min_size=1, max_size=6),
    setup=st.lists(st.integers(0, 9), min_size=6, max_size=6),
    pause=st.sets(st.integers(0, 4)),
    seconds=st.floats(1, 60),
    at_once=st.booleans(),
    read_end=st.booleans(),
)
def test_any_day_is_without_gaps_and_phases_keep_their_length(
    lengths, setup, pause, seconds, at_once, read_end
):
    phases = {f"p{i}": float(x) for i, x in enumerate(lengths)}
    plan = make_plan(
        phases=phases,
        seconds=seconds,
        phase_plans={f"p{i}": PhasePlan(setup_min=s) for i, s in enumerate(setup)},
        breaks=tuple(Break(after=f"p{i}", minutes=7) for i in pause if i < len(lengths) - 1),
        next_phase="at_once" if at_once else "after_walk",
        read_at="end" if read_end else "start_and_end",
    )
    table = timetable(plan)
    for name, length in phases.items():
        item = table.of_phase(name)
        assert item.end_min - item.start_min == length
        assert item.start_min == int(item.start_min)
    found = activities(plan, table, "b")
    assert found[0].start_min == 0
    assert found[-1].end_min is None
    for one, other in pairwise(found):
        assert one.end_min == other.start_min
        assert one.end_min > one.start_min
    ends = [i for i in table.items if i.kind == "walk" and i.point == "end"]
    assert [w.phase for w in ends] == list(phases)
    directions = [i.direction for i in table.items if i.kind == "walk"]
    assert directions == [("forward", "backward")[i % 2] for i in range(len(directions))]


def test_whole_minutes_round_up():
    assert [whole_minutes(m) for m in (0.1, 1.0, 1.01, 5 * 12 / 60)] == [1, 1, 2, 1]


def test_nobody_present_is_found():
    # 93 min in all. Wren 0-40, Teal 60-80: nobody 40-60 and 80-93.
    people = (
        Person(name="Teal", from_min=60, to_min=80),
        Person(name="Wren", from_min=-30, to_min=40),
    )
    plan = make_plan(phases={"p": 60, "q": 30}, people=people)
    assert unattended(plan, timetable(plan)) == ((40, 60), (80, 93))
    assert unattended(make_plan(phases={"p": 60}), timetable(make_plan(phases={"p": 60}))) == ()


def test_a_plan_finds_its_parts_by_name():
    plan = make_plan(phases={"p": 60}, limits=(Limit(activity="p", at_once=2),))
    assert plan.phase("p").planned_min == 60
    assert plan.at_once("p") == 2
    assert plan.at_once("q") is None
    with pytest.raises(KeyError):
        plan.phase("q")
    with pytest.raises(KeyError):
        plan.device("q")
