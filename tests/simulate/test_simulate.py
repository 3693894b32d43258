"""The simulator against truths that can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal

from kit.session import empty_frames
from kit.simulate import (
    CHARGE_SHAPE,
    TRUTH_COLUMNS,
    Operator,
    Scenario,
    TrueDevice,
    TrueGauge,
    TruePhase,
    simulate_day,
    track,
)

AT_ONCE = Operator(delay_max_min=0.0)


def tablet(device: str = "a", *, watts: float = 3.0, **fields) -> TrueDevice:
    """30 Wh; 3 W = 10 pp/h."""
    return TrueDevice(
        id=device, capacity_wh=30.0, power_w={"map": watts, "film": 6.0, "idle": 0.6}, **fields
    )


def day(*devices: TrueDevice, operator: Operator = AT_ONCE, phases=None, **fields) -> Scenario:
    return Scenario(
        id="day",
        devices=devices or (tablet(),),
        phases=phases or (TruePhase(id="p1", activity="map"), TruePhase(id="p2", activity="map")),
        operator=operator,
        **fields,
    )


def simulate(scenario: Scenario, seed: int = 1):
    return simulate_day(scenario, np.random.default_rng(seed))


# --------------------------------------------------------------------- gauge and battery


@pytest.mark.parametrize(
    ("rounding", "shown"),
    # 10 pp/h: after 20, 22, 25, 60 min 96.667, 96.333, 95.833 and exactly 90 % are left
    [
        ("nearest", [97, 96, 96, 90]),
        ("truncated", [96, 96, 95, 90]),
        ("rounded_up", [97, 97, 96, 90]),
    ],
)
def test_constant_rate_gives_exact_percentages(rounding, shown):
    t = track(tablet(gauge=TrueGauge(rounding=rounding)), [0, 700], [3.0])
    assert t.display([20, 22, 25, 60]).tolist() == shown


def test_coarse_steps_round_to_multiples_of_the_step():
    # 96.667 and 93 % in steps of 5: nearest 95 and 95; truncated 95 and 90; up 100 and 95
    for rounding, shown in (
        ("nearest", [95, 95]),
        ("truncated", [95, 90]),
        ("rounded_up", [100, 95]),
    ):
        gauge = TrueGauge(rounding=rounding, step_pct=5.0)
        assert track(tablet(gauge=gauge), [0, 700], [3.0]).display([20, 42]).tolist() == shown


def test_power_off_is_where_the_energy_ends():
    # 60 min at 3 W use 3 Wh, 30 min at 6 W use 3 Wh; the other 24 Wh at 3 W last 8 h = 480 min
    t = track(tablet(), [0, 60, 90, 2000], [3.0, 6.0, 3.0])
    assert t.off_min == pytest.approx(570.0)
    assert t.charge_pct([90, 570, 600]).tolist() == pytest.approx([80.0, 0.0, 0.0])


def test_power_off_beyond_the_known_power_is_infinite():
    assert track(tablet(), [0, 60], [3.0]).off_min == float("inf")


def test_saver_stretches_the_end():
    # down to 20 %: 24 Wh at 3 W = 8 h; the last 6 Wh at 3 W × 0.75 = 2.25 W: 2.667 h; 640 min
    t = track(tablet(saver_at_pct=20.0, saver_cut=0.25), [0, 2000], [3.0])
    assert t.off_min == pytest.approx(640.0)
    # 80 min after the saver began half of those 20 % are used
    assert t.energy_pct([480, 560]).tolist() == pytest.approx([20.0, 10.0])


def test_lag_shows_the_level_of_some_minutes_ago():
    # 6 min ago at 10 pp/h: 1 pp more; nothing was different before the start
    t = track(tablet(gauge=TrueGauge(lag_min=6.0)), [0, 700], [3.0])
    assert t.display([60, 3, 0]).tolist() == [91, 100, 100]


def test_overfull_battery_shows_100_until_its_surplus_is_used():
    # 102 % at the start; 99.5 (where 100 becomes 99) is reached after 2.5 pp = 15 min
    t = track(tablet(start_level_pct=102.0), [0, 700], [3.0])
    assert t.display([0, 14.9, 15.1]).tolist() == [100, 100, 99]


def test_deviation_is_added_before_rounding_and_shows_at_power_off():
    # at 50 % the gauge shows 50 − 2 = 48; at 25 %, half-way between the nodes (0, 3) and
    # (50, −2), it adds 0.5; just before power-off it still shows 3
    gauge = TrueGauge(deviation=((0, 3), (50, -2), (100, 0)))
    t = track(tablet(gauge=gauge), [0, 700], [3.0])
    assert t.shown_pct([300, 450]).tolist() == pytest.approx([48.0, 25.5])
    assert t.display(599.9) == 3


def test_charge_shape_against_small_steps():
    """A second road to the charge: step through dq/dt = −P/C (1 + b(q)) and rescale the time."""
    t = track(tablet(shape=CHARGE_SHAPE, gauge=TrueGauge(counts="charge")), [0, 700], [3.0])
    levels, b = (np.array(v) for v in zip(*CHARGE_SHAPE, strict=True))
    q, path = 100.0, [100.0]
    while q > 0.0:
        q -= 0.01 * (1.0 + np.interp(q, levels, b) / 100.0)
        path.append(q)
    fractions = np.array([0.1, 0.35, 0.6, 0.9])
    stepped = np.interp(fractions, np.linspace(0, 1, len(path)), path)
    assert t.charge_pct(600.0 * fractions) == pytest.approx(stepped, abs=0.02)
    assert t.energy_pct(600.0 * fractions) == pytest.approx(100.0 * (1.0 - fractions))
    assert t.charge_pct([0.0, 600.0]).tolist() == pytest.approx([100.0, 0.0])


def test_gauge_that_counts_energy_does_not_show_the_shape():
    t = track(tablet(shape=CHARGE_SHAPE), [0, 700], [3.0])
    assert t.shown_pct(300) == pytest.approx(50.0)
    assert t.charge_pct(300) > 51.0  # falls more slowly at first


# ------------------------------------------------------------------------------- phases


def test_phases_and_gaps_follow_each_other():
    phases = (
        TruePhase(id="p1", activity="map", gap_after_min=10.0),
        TruePhase(id="p2", activity="film", length_min=30.0),
    )
    truth, session = simulate(day(phases=phases, operator=replace(AT_ONCE, reads_starts="all")))
    # p1: 3 Wh = 10 pp; gap: 10 min × 0.6 W = 0.1 Wh = 0.333 pp; p2: 30 min × 6 W = 3 Wh = 10 pp
    assert truth.drains.charge_drain_pp.tolist() == pytest.approx([10.0, 10.0])
    assert truth.drains.start_charge_pct.tolist() == pytest.approx([100.0, 100 - 10 - 1 / 3])
    assert session.spans[["start_min", "end_min"]].to_numpy().tolist() == [[0, 60], [70, 100]]
    noted = session.readings[["phase", "point", "t_min", "soc_pct"]].to_numpy().tolist()
    assert noted == [
        ["p1", "start", 0, 100],
        ["p1", "end", 60, 90],
        ["p2", "start", 70, 90],  # 89.667
        ["p2", "end", 100, 80],  # 79.667
    ]


def test_crossover_swaps_half_way():
    phase = TruePhase(
        id="p1", kind="crossover", parts=("map", "film"), first_half=("a",), length_min=120.0
    )
    truth, session = simulate(day(tablet("a"), tablet("b"), phases=(phase,)))
    assert truth.parts[["device", "part", "charge_drain_pp"]].to_numpy().tolist() == [
        ["a", "map", pytest.approx(10.0)],
        ["a", "film", pytest.approx(20.0)],
        ["b", "film", pytest.approx(20.0)],
        ["b", "map", pytest.approx(10.0)],
    ]
    swap = session.readings[session.readings.point == "inside"]
    assert swap[["device", "t_min", "soc_pct"]].to_numpy().tolist() == [
        ["a", 60, 90],
        ["b", 60, 80],
    ]
    assert session.turns.completed.tolist() == ["yes"] * 4


def test_rotation_gives_each_device_its_turn():
    phase = TruePhase(
        id="p1", kind="rotation", parts=("film", "map"), turn_min=10.0, short_turns={"b": 4.0}
    )
    truth, session = simulate(day(tablet("a"), tablet("b"), phases=(phase,)))
    # a: 10 min × 6 W + 50 min × 3 W = 3.5 Wh = 11.667 pp; b: 4 min × 6 W + 56 min × 3 W = 3.2 Wh
    assert truth.drains.charge_drain_pp.tolist() == pytest.approx([35 / 3, 32 / 3])
    turns = session.turns[["device", "activity", "start_min", "duration_min", "completed"]]
    assert turns.to_numpy().tolist() == [
        ["a", "film", 0, 10, "yes"],
        ["b", "film", 10, 4, "partly"],
    ]


def test_turn_of_a_device_that_is_off_or_goes_off():
    phase = TruePhase(id="p1", kind="rotation", parts=("film", "map"), turn_min=20.0)
    # b starts with 4 %: 1.2 Wh; 20 min at 3 W use 1.0, the rest lasts 2 min of its own turn
    # c starts with 2 %: 0.6 Wh: off after 12 min, long before its turn
    devices = (tablet("a"), tablet("b", start_level_pct=4.0), tablet("c", start_level_pct=2.0))
    truth, session = simulate(day(*devices, phases=(phase,)))
    assert truth.runtimes.off_min.tolist()[1:] == pytest.approx([22.0, 12.0])
    assert session.turns[["duration_min", "completed"]].to_numpy().tolist() == [
        [20, "yes"],
        [2, "partly"],
        [0, "no"],
    ]
    assert truth.parts.query("device == 'c'").exposure_h.sum() == pytest.approx(0.2)


def test_until_empty_ends_when_the_last_device_is_seen_off():
    phases = (TruePhase(id="p1", activity="map", kind="until_empty", length_min=None),)
    truth, session = simulate(day(tablet("a"), tablet("b", watts=6.0), phases=phases))
    assert truth.runtimes.off_min.tolist() == pytest.approx([600.0, 300.0])
    assert not session.power_offs.still_on.any()
    assert session.runs[0].stop_min >= session.power_offs.noted_min.max()
    assert session.spans.end_min.tolist() == [session.runs[0].stop_min]


def test_device_still_on_at_the_stop_is_noted_as_such():
    truth, session = simulate(day(tablet("a"), tablet("b", watts=20.0)))
    # b: 20 W empty 30 Wh in 90 min; a has 80 % left after 120 min
    assert truth.runtimes.still_on.tolist() == [True, False]
    row = session.power_offs.iloc[0]
    assert (row.still_on, row.last_on_min, row.soc_pct) == (True, 120, 80)
    assert np.isnan(row.noted_min)
    assert np.isnan(row.first_off_min)


# ----------------------------------------------------------------------------- operator


def test_power_off_lies_between_two_passes():
    # one device, looked at at 1 + 0.5 + 3 j minutes: 1.5, 4.5, … 88.5, 91.5; it goes off at 90
    operator = replace(AT_ONCE, pass_every_min=3.0, pass_takes_min=1.0, first_pass_min=1.0)
    _, session = simulate(day(tablet(watts=20.0), operator=operator))
    row = session.power_offs.iloc[0]
    assert (row.last_on_min, row.first_off_min, row.noted_min) == (88, 91, 91)
    # at 88.5 min 1.667 % were left
    assert (row.soc_pct, row.phase) == (2, "p2")


def test_reading_counts_as_a_look_at_a_device_that_is_on():
    # off at 61 min, passes at 0.5 + 30 j: 30.5 and 60.5 … but with passes every hour from 0.5
    # the last look before is the reading at the end of the first phase
    operator = replace(AT_ONCE, pass_every_min=59.0, pass_takes_min=0.0, first_pass_min=0.5)
    _, session = simulate(day(tablet(watts=1800 / 61), operator=operator))
    row = session.power_offs.iloc[0]
    assert (row.last_on_min, row.first_off_min) == (60, 118)  # passes at 0.5, 59.5, 118.5


def test_only_the_first_minute_off_may_be_noted():
    operator = replace(AT_ONCE, notes_off="first_off")
    _, session = simulate(day(tablet(watts=20.0), operator=operator))
    assert np.isnan(session.power_offs.last_on_min[0])
    assert session.power_offs.noted_min[0] >= 90


def test_walk_reads_one_device_after_the_other_and_back():
    operator = Operator(delay="walk", order="alternating", delay_max_min=2.0)
    truth, session = simulate(day(tablet("a"), tablet("b"), operator=operator))
    # two devices, 2 min: at 0.5 and 1.5 min after the boundary; the first boundary is forward
    times = {(k.phase, k.device): k.t_min for k in truth.looks[0] if k.point == "end"}
    assert times == {("p1", 1): 60.5, ("p1", 0): 61.5, ("p2", 0): 120.5, ("p2", 1): 121.5}
    ends = session.readings[session.readings.point == "end"]
    assert ends[["phase", "device", "order"]].to_numpy().tolist() == [
        ["p1", "b", 1],
        ["p1", "a", 2],
        ["p2", "a", 1],
        ["p2", "b", 2],
    ]


@pytest.mark.parametrize(("clock", "noted"), [("floor", 60), ("nearest", 61)])
def test_minutes_are_noted_as_the_clock_shows_them(clock, noted):
    operator = Operator(delay="walk", delay_max_min=1.2, clock=clock)  # read at 60.6 min
    _, session = simulate(day(operator=operator))
    assert session.readings.t_min.tolist()[1] == noted


def test_start_within_a_minute_moves_every_noted_minute():
    operator = replace(AT_ONCE, starts="any_second", pass_every_min=1.0, pass_takes_min=0.0)
    for seed in range(20):
        truth, session = simulate(day(tablet(watts=20.0), operator=operator), seed)
        into = truth.runs[0].into_minute_min
        assert 0.0 <= into < 1.0
        # phases last an hour to the second: noted 0, 60, 120 whatever the second of the start
        assert session.spans[["start_min", "end_min"]].to_numpy().tolist() == [[0, 60], [60, 120]]
        # off after 90 min: seen on at most a minute before, off at most a minute after
        row = session.power_offs.iloc[0]
        assert np.floor(89 + into) <= row.last_on_min <= np.floor(90 + into)
        assert np.floor(90 + into) <= row.first_off_min <= np.floor(91 + into)


def test_ticks_are_the_minutes_at_which_the_display_changes():
    operator = replace(AT_ONCE, ticks=True)
    _, session = simulate(day(operator=operator, phases=(TruePhase(id="p1", activity="map"),)))
    ticks = session.readings[session.readings.kind == "tick"]
    # 100 turns into 99 at 99.5 %: after 3 min; then every 6 min: 9, 15, …, 57
    assert ticks.t_min.tolist() == [3.0 + 6.0 * k for k in range(10)]
    assert ticks.soc_pct.tolist() == [99.0 - k for k in range(10)]
    assert set(ticks.phase) == {"p1"}


def test_dense_log_leaves_boundaries_to_the_readings():
    operator = replace(AT_ONCE, dense_every_min=1.0)
    _, session = simulate(day(operator=operator))
    inside = session.readings[session.readings.point == "inside"]
    # 120 minutes; 60 and 120 are boundaries
    assert inside.t_min.tolist() == [t for t in range(1, 120) if t != 60]
    assert inside.soc_pct.tolist()[24 - 1] == 96  # 24 min: 4 pp
    assert session.readings.t_min.is_monotonic_increasing


def test_unnoted_spans_follow_from_the_plan():
    phases = (
        TruePhase(id="p1", activity="map", gap_after_min=7.0),
        TruePhase(id="p2", activity="map"),
    )
    _, session = simulate(day(phases=phases, operator=replace(AT_ONCE, notes_spans="timer")))
    assert session.spans[["start_min", "end_min", "start_source"]].to_numpy().tolist() == [
        [0, 60, "planned"],
        [60, 120, "planned"],  # really from 67 to 127
    ]


# ---------------------------------------------------------------------------- as a whole


def test_same_seed_same_day():
    scenario = day(tablet("a"), tablet("b"), operator=Operator(), runs=2, run_cv=0.03)
    (truth_1, session_1), (truth_2, session_2) = simulate(scenario, 5), simulate(scenario, 5)
    assert_frame_equal(session_1.readings, session_2.readings)
    assert_frame_equal(truth_1.drains, truth_2.drains)
    _, other = simulate(scenario, 6)
    assert not session_1.readings.t_min.equals(other.readings.t_min)


def test_frames_have_the_columns_and_types_of_the_contract():
    operator = Operator(ticks=True, dense_every_min=7.0)
    phase = TruePhase(id="p1", kind="rotation", parts=("film", "map"), turn_min=10.0)
    truth, session = simulate(day(tablet("a"), operator=operator, phases=(phase,)))
    for name, empty in empty_frames().items():
        frame = getattr(session, name)
        assert frame.dtypes.to_dict() == empty.dtypes.to_dict(), name
    for name, columns in TRUTH_COLUMNS.items():
        assert tuple(getattr(truth, name).columns) == columns


def test_runs_differ_by_the_scatter_stated():
    scenario = day(runs=400, run_cv=0.05)
    truth, _ = simulate(scenario)
    rate = truth.drains[truth.drains.phase == "p1"].charge_drain_pp
    # 400 draws: standard error of the mean 0.5 / 20 = 0.025, of s 0.5 / sqrt(800) = 0.018
    assert rate.mean() == pytest.approx(10.0, abs=0.1)
    assert rate.std() == pytest.approx(0.5, abs=0.07)


def test_a_day_does_the_same_to_all_devices():
    scenario = day(tablet("a"), tablet("b", watts=6.0), runs=400, day_cv=0.05)
    truth, _ = simulate(scenario)
    drains = truth.drains[truth.drains.phase == "p1"]
    a, b = (drains[drains.device == d].charge_drain_pp.to_numpy() for d in "ab")
    assert a.std() / a.mean() == pytest.approx(0.05, abs=0.007)
    assert b / a == pytest.approx(b[0] / a[0])


@settings(max_examples=25, deadline=None)
@given(
    watts=st.floats(1.0, 12.0),
    rounding=st.sampled_from(["nearest", "truncated", "rounded_up"]),
    saver=st.sampled_from([None, 20.0]),
    seed=st.integers(0, 1000),
)
def test_display_only_falls_and_rounding_is_within_one_point(watts, rounding, saver, seed):
    device = tablet(
        watts=watts, gauge=TrueGauge(rounding=rounding), saver_at_pct=saver, saver_cut=0.3
    )
    operator = Operator(dense_every_min=1.0)
    truth, session = simulate(day(device, operator=operator), seed)
    shown = session.readings.sort_values("t_min", kind="stable")
    dense = shown[shown.order == 0]
    assert (dense.soc_pct.diff().dropna() <= 0).all()
    level = truth.runs[0].tracks[0].shown_pct(dense.t_min)
    offset = dense.soc_pct.to_numpy() - level
    low, high = {"nearest": (-0.5, 0.5), "truncated": (-1, 0), "rounded_up": (0, 1)}[rounding]
    assert (offset >= low - 1e-6).all()
    assert (offset <= high + 1e-6).all()
    both = truth.drains.groupby("phase").charge_drain_pp.sum()
    left = truth.drains.end_charge_pct.iloc[-1]
    assert both.sum() + left == pytest.approx(100.0)


def test_frames_of_one_day_are_not_shared_with_another():
    _, first = simulate(day())
    _, second = simulate(day())
    assert isinstance(first.charges, pd.DataFrame)
    assert first.charges is not second.charges
