"""Crossovers and rotations: equal exposure always, balance as far as the phase has room."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.plan.balance_words import imbalance
from kit.plan.early_death import exposure_if_dies
from kit.plan.schedules import (
    crossover,
    exposure,
    rotation,
    together_counts,
)
from tests.helpers.shown import plain

PARTS = ("stream", "video")


def row(n):
    return tuple(f"d{i}" for i in range(1, n + 1))


def all_plain(sentences):
    return [plain(s) for s in sentences]


def occupancy(schedule):
    """Return per whole minute of the phase who does the limited part, the slow way."""
    return [
        {d for t in schedule.turns if t.start_min <= m + 0.5 < t.end_min for d in t.devices}
        for m in range(int(schedule.length_min))
    ]


@pytest.mark.parametrize("n", range(2, 25))
@pytest.mark.parametrize("at_once", range(1, 9))
def test_crossover_gives_equal_exposure_within_the_limit(n, at_once):
    schedule = crossover(row(n), at_once=at_once, length_min=180, parts=PARTS, change_min=2)
    minutes = occupancy(schedule)
    assert max(map(len, minutes)) <= at_once
    per_device = {d: sum(d in m for m in minutes) for d in row(n)}
    assert len(set(per_device.values())) == 1
    assert exposure(schedule) == per_device
    # as few waves as the limit allows, two at least
    assert len(schedule.groups) == max(2, -(-n // at_once))
    assert schedule.turns[-1].end_min <= 180
    assert 0 <= schedule.spare_min < len(schedule.groups)


@pytest.mark.parametrize("n", range(2, 25))
@pytest.mark.parametrize("at_once", range(1, 9))
def test_complete_rotation_is_balanced_exactly(n, at_once):
    groups = max(2, -(-n // at_once))
    rounds = groups if groups % 2 == 0 else 2 * groups
    schedule = rotation(
        row(n), at_once=at_once, length_min=rounds * groups * 5, parts=PARTS, turn_min=5
    )
    assert len(schedule.turns) == rounds * groups
    assert max(len(t.devices) for t in schedule.turns) <= at_once
    assert set(exposure(schedule).values()) == {rounds * 5}
    assert schedule.balance.exact
    assert schedule.spare_min == 0
    # Every ordered pair of devices that are not on together follows equally often within a round.
    together = {pair for pair, times in together_counts(schedule).items() if times}
    follows = {(a, b): 0 for a in row(n) for b in row(n) if a != b}
    for one, next_one in zip(schedule.turns, schedule.turns[1:], strict=False):
        if one.round_number == next_one.round_number:
            for a in one.devices:
                for b in next_one.devices:
                    follows[a, b] += 1
    apart = {f for (a, b), f in follows.items() if not {(a, b), (b, a)} & together}
    assert apart == {1 if groups % 2 == 0 else 2}
    assert {f for (a, b), f in follows.items() if {(a, b), (b, a)} & together} <= {0}
    places = {d: [] for d in row(n)}
    for number, turn in enumerate(schedule.turns):
        for device in turn.devices:
            places[device].append(number % groups)
    assert len({tuple(sorted(p)) for p in places.values()}) == 1


@settings(max_examples=60, deadline=None)
@given(
    n=st.integers(2, 24),
    at_once=st.integers(1, 8),
    turn=st.sampled_from([3, 5, 7.5, 10, 15]),
    change=st.sampled_from([0, 0.5, 1, 2]),
    spare=st.floats(0, 200),
    seed=st.integers(0, 9),
)
def test_any_rotation_gives_equal_exposure(n, at_once, turn, change, spare, seed):
    groups = max(2, -(-n // at_once))
    length = groups * (turn + change) - change + spare
    schedule = rotation(
        row(n), at_once=at_once, length_min=length, parts=PARTS, turn_min=turn,
        change_min=change, assignment="random", seed=seed,
    )  # fmt: skip
    hours = list(exposure(schedule).values())
    assert hours == pytest.approx([hours[0]] * len(hours))
    assert all(len(t.devices) <= at_once for t in schedule.turns)
    assert all(b.start_min - a.end_min == pytest.approx(change)
               for a, b in zip(schedule.turns, schedule.turns[1:], strict=False))  # fmt: skip
    assert schedule.turns[-1].end_min <= length + 1e-6
    # not another round would have fitted
    assert schedule.spare_min < groups * (turn + change) + 1e-6


def test_six_devices_five_streams_by_hand():
    # Positions 1 4 5 (sum 10) and 2 3 6 (sum 11); 60 min with a walk of 2 min: (60 - 2)/2 = 29.
    s = crossover(row(6), at_once=5, length_min=60, parts=PARTS, change_min=2)
    assert s.first_half == ("d1", "d4", "d5")
    assert [(t.start_min, t.end_min) for t in s.turns] == [(0, 29), (31, 60)]
    assert all_plain(imbalance(s)) == [
        "Exposure: each device 29 min of stream and 29 min of video; equal.",
        "Groups of 3 and 3 devices; mean positions in the row 3.3 and 3.7. Devices of one group "
        "always do the part together, others never.",
        "Order: one round, so the first group is 31 min before the last; one round cannot "
        "avoid this.",
    ]


def test_groups_drawn_by_lot_say_so_with_their_seed():
    schedule = crossover(
        row(6), length_min=122, parts=("stream", "forms"), at_once=5, change_min=2,
        assignment="random", seed=7,
    )  # fmt: skip
    told = [s for s in imbalance(schedule, drawn=7) if s.startswith("Groups")]
    assert told[0].startswith("Groups of 3 and 3 devices, drawn by lot (seed 7); mean positions")
    assert "drawn" not in " ".join(imbalance(schedule))


def test_waves_when_the_limit_is_below_half_the_row():
    # Seven devices, three at once: 3 waves; (100 - 0)/3 = 33 whole minutes, 1 min left over.
    s = crossover(row(7), at_once=3, length_min=100, parts=PARTS)
    assert sorted(map(len, s.groups)) == [2, 2, 3]
    assert s.turn_min == 33
    assert s.spare_min == 1
    assert "Rest: the last 1 min" in all_plain(imbalance(s))[-1]


def test_one_at_a_time_two_rounds_by_hand():
    # Williams order of four: 0 1 3 2, then its mirror image; groups are named in that order.
    s = rotation(row(4), length_min=85, parts=PARTS, turn_min=10)
    assert [t.devices[0] for t in s.turns] == ["d1", "d2", "d3", "d4", "d4", "d3", "d2", "d1"]
    assert [t.round_number for t in s.turns] == [1] * 4 + [2] * 4
    sentences = all_plain(imbalance(s))
    assert sentences[0] == "Exposure: each device 20 min of stream and 1 h 05 min of video; equal."
    assert sentences[1].startswith("Order: over two rounds every device has the same mean place")
    # 6 of the 12 ordered pairs occur; d4 plays last in round 1 and first in round 2
    assert sentences[2] == (
        "Neighbours: a device comes right after another 0 or 1 times; exact balance needs four "
        "rounds; one device has two turns in a row where two rounds meet."
    )
    assert sentences[3] == (
        "Rest: the last 5 min of the phase make no whole round; every device does video."
    )


def test_three_rounds_of_four_cannot_be_even():
    # 3 x 4 turns of 5 min: mean places differ by 1/3 turn = 1.67 min, said as 2 min.
    s = rotation(row(4), length_min=60, parts=PARTS, turn_min=5)
    assert all_plain(imbalance(s))[1] == (
        "Order: the mean places differ by 2 min; no order of three rounds does better."
    )


def test_exact_design_says_exact():
    s = rotation(row(4), length_min=160, parts=PARTS, turn_min=10)
    assert "Neighbours: every device comes right after every other one time; exact" in "".join(
        all_plain(imbalance(s))
    )


def test_urgent_devices_go_first():
    s = rotation(row(4), length_min=40, parts=PARTS, turn_min=10, first=("d3", "d2"))
    assert [t.devices[0] for t in s.turns] == ["d3", "d2", "d1", "d4"]
    c = crossover(row(6), at_once=3, length_min=60, parts=PARTS, first=("d2",))
    assert "d2" in c.first_half


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: crossover(row(4), at_once=1, length_min=3, parts=PARTS), "4 waves do not fit"),
        (lambda: crossover(row(4), at_once=0, length_min=60, parts=PARTS), "0 devices at once"),
        (lambda: crossover(("a",), at_once=1, length_min=60, parts=PARTS), "two devices"),
        (lambda: crossover(("a", "a"), at_once=1, length_min=60, parts=PARTS), "two devices"),
        (
            lambda: rotation(row(6), length_min=59, parts=PARTS, turn_min=10),
            "one round needs 60 min, the phase has 59 min",
        ),
        (lambda: rotation(row(6), length_min=59, parts=PARTS, turn_min=0), "make no sense"),
    ],
)
def test_what_cannot_be_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_early_death_in_a_crossover_by_hand():
    # Halves d1 d4 | d2 d3 of 30 min. d2 dies at minute 40: 10 of its 30 min of streaming.
    s = crossover(row(4), at_once=2, length_min=60, parts=PARTS)
    e = exposure_if_dies(s, "d2", 40)
    assert (e.limited_min, e.other_min, e.planned_min) == (10, 30, 30)
    assert (e.common_min, e.others_min, e.has_both, e.empty_group) == (10, 30, False, False)
    assert "over 10 min of stream only" in all_plain(e.advice)[1]
    # d1 dies at minute 40: its stream half is complete, it has 10 min of the other part.
    e = exposure_if_dies(s, "d1", 40)
    assert (e.limited_min, e.other_min, e.has_both, e.common_min) == (30, 10, True, 30)
    # d3 dies at minute 20, before its turn.
    e = exposure_if_dies(s, "d3", 20)
    assert (e.limited_min, e.other_min, e.common_min) == (0, 20, 0)
    assert "has had no stream" in e.advice[1]


def test_early_death_counts_no_change_time_and_empties_a_group():
    # Two devices: halves of (62 - 2)/2 = 30 min with a change at 30 to 32; death at 42.
    s = crossover(row(2), at_once=1, length_min=62, parts=PARTS, change_min=2)
    e = exposure_if_dies(s, "d2", 42)
    assert (e.limited_min, e.other_min) == (10, 30)
    assert e.empty_group
    assert "cannot be told apart" in e.advice[-1]


def test_early_death_of_a_stranger_is_refused():
    s = crossover(row(2), at_once=1, length_min=60, parts=PARTS)
    with pytest.raises(KeyError, match="d9"):
        exposure_if_dies(s, "d9", 10)


@settings(max_examples=60, deadline=None)
@given(
    n=st.integers(2, 12),
    at_once=st.integers(1, 5),
    t=st.floats(-5, 400),
    who=st.integers(0, 11),
)
def test_early_death_leaves_all_others_equal(n, at_once, t, who):
    s = rotation(row(n), at_once=at_once, length_min=240, parts=PARTS, turn_min=10)
    device = row(n)[who % n]
    e = exposure_if_dies(s, device, t)
    assert e.others_min == exposure(s)[next(d for d in row(n) if d != device)]
    assert 0 <= e.limited_min <= e.planned_min
    assert e.limited_min + e.other_min == pytest.approx(e.t_min)
