"""Crossovers and rotations by hand, incomplete ones, and naive estimates that fail."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.drain.crossover import crossover_effect
from kit.drain.part_rows import Turn, done_h
from kit.drain.split_phases import parts
from kit.results import RESULT_COLUMNS, Settings
from kit.session import Phase, PlannedTurn
from tests.helpers.builders import BARE, make_session

CROSS = Phase(
    id="x", label="x", kind="crossover", parts=("stream", "forms"), first_half=("a", "b"),
    planned_min=120,
)  # fmt: skip


def middle(device, soc, t=60.0, phase="x"):
    return {"device": device, "phase": phase, "point": "inside", "soc_pct": soc, "t_min": t,
            "t_resolution_min": 1.0}  # fmt: skip


def crossover(readings, middles, **fields):
    """Readings at start and end, and at the swap."""
    s = make_session(
        phases=[CROSS],
        readings=readings,
        more_readings=[middle(d, v) for d, v in middles.items()],
        **{"assumptions": BARE, **fields},
    )
    frame = parts(s, Settings())
    return frame.set_index(["device", "part"])


FOUR = {"a": [90, 70], "b": [88, 66], "c": [91, 72], "d": [89, 69]}
SWAP = {"a": 78, "b": 75, "c": 83, "d": 81}


def test_crossover_by_hand():
    """a, b stream first (12 and 13 pp, then 8 and 9); c, d fill in forms first (8, 8; then 11, 12).

    stream − forms: 4, 4 and 3, 4. Effect (4 + 3.5)/2 = 3.75; order: (3.5 − 4)/2 = −0.25.
    Readings: u = √(6/12) = 0.707 each, u_q = √(0.5/2 + 0.5/2)/2 = 0.354, 2u = 0.707.
    Scatter: s² = (0 + 0 + 0.25 + 0.25)/2 = 0.25, u_s = 0.5 × √(½ + ½)/2 = 0.25, t(2) = 4.303:
    1.076, which is more.
    """
    found = crossover(FOUR, SWAP)
    assert found.loc[("a", "stream"), "rate_pp_per_h"] == 12.0
    assert found.loc[("a", "forms"), "rate_pp_per_h"] == 8.0
    assert found.loc[("c", "stream"), "rate_pp_per_h"] == 11.0
    assert found.loc[("c", "forms"), "rate_pp_per_h_u"] == pytest.approx(6**-0.5)
    effect = found.loc[("", "stream − forms")]
    assert effect["rate_pp_per_h"] == 3.75
    assert effect["rate_pp_per_h_u"] == pytest.approx(0.354, abs=1e-3)
    assert effect["rate_pp_per_h_high"] - 3.75 == pytest.approx(1.076, abs=1e-3)
    order = found.loc[("", "second half − first half")]
    assert order["rate_pp_per_h"] == -0.25
    assert effect["exposure_h"] == 1.0


def test_readings_decide_where_devices_agree():
    """Scatter 0: U = 2 u_q = √(0.5/2 + 0.5/2) = 0.707, not 0."""
    e = crossover_effect([4, 4], [4, 4], [0.5**0.5] * 2, [0.5**0.5] * 2, 0.95)
    assert e.activity_half == pytest.approx(0.7071, abs=1e-4)
    assert (e.activity, e.period) == (4.0, 0.0)


def test_one_device_in_each_order_has_no_scatter():
    e = crossover_effect([4], [3], [0.5**0.5], [0.5**0.5], 0.95)
    assert (e.activity, e.period, e.n_ab, e.n_ba) == (3.5, -0.5, 1, 1)
    assert e.activity_half == pytest.approx(2 * 0.5)  # 2 × √(0.5 + 0.5)/2


def test_one_order_only_cannot_be_told_from_the_order():
    e = crossover_effect([4, 5], [], [0.7, 0.7], [], 0.95)
    assert np.isnan([e.activity, e.period]).all()
    found = crossover(FOUR, {"a": 78, "b": 75})
    effect = found.loc[("", "stream − forms")]
    assert np.isnan(effect["rate_pp_per_h"])
    assert (effect["status"], effect["flags"]) == ("no_reading", "one_order_only")


def test_a_device_without_one_half_is_left_out_with_both():
    """d has no reading at the swap: c alone stands for its order; (4 + 3)/2."""
    found = crossover(FOUR, {k: v for k, v in SWAP.items() if k != "d"})
    assert found.loc[("d", "stream"), "flags"] == "dropped"
    assert np.isnan(found.loc[("d", "forms"), "rate_pp_per_h"])
    assert found.loc[("", "stream − forms"), "rate_pp_per_h"] == 3.5


def test_a_device_that_went_off_before_its_second_half_is_left_out():
    found = crossover(
        {**FOUR, "d": [20]}, SWAP | {"d": 5},
        power_offs={"d": {"last_on_min": 70, "first_off_min": 72}},
    )  # fmt: skip
    assert found.loc[("d", "stream"), "status"] == "died"
    assert found.loc[("", "stream − forms"), "rate_pp_per_h"] == 3.5


def test_the_log_goes_before_the_plan():
    """The log says that b filled in forms first, swapped at 50 min, and streamed for 60 of 70."""
    turns = [
        {"device": "b", "phase": "x", "activity": "forms", "start_min": 0, "end_min": 50},
        {"device": "b", "phase": "x", "activity": "stream", "start_min": 50, "end_min": 120,
         "duration_min": 60, "completed": "partly"},
    ]  # fmt: skip
    s = make_session(
        phases=[CROSS],
        readings=FOUR,
        more_readings=[middle(d, v) for d, v in SWAP.items()] + [middle("b", 79, t=50.0)],
        turns=turns,
        assumptions=BARE,
    )
    found = parts(s, Settings()).set_index(["device", "part"])
    assert found.loc[("b", "forms"), "exposure_h"] == pytest.approx(50 / 60)
    assert found.loc[("b", "forms"), "rate_pp_per_h"] == pytest.approx(9 / (50 / 60))
    assert found.loc[("b", "stream"), "exposure_h"] == pytest.approx(1.0)
    assert found.loc[("b", "forms"), "flags"] == "unequal_exposure"
    assert found.loc[("a", "forms"), "flags"] == ""


def test_delay_at_the_swap_is_corrected_at_the_second_rate():
    """One device, τ = 2 min: read 1 min into the second half, which drains 8 pp/h.

    s(60) = 78 + 8/60 ≈ 78.13 where the rate is from 78.13 to 70 in the hour: (78 − 70/60)/(59/60).
    """
    found = crossover(
        {"a": [90, 70]}, {"a": 78}, assumptions=replace(BARE, reading_delay_min=2.0)
    ).loc[("a", "forms")]  # fmt: skip
    exact = (78 - 70 / 60) / (59 / 60)
    # the reading at the end of the phase was late, too, with whatever came then: 1 min × R/2
    assert found["rate_pp_per_h"] == pytest.approx(exact - 70, abs=0.25)


# ---------------------------------------------------------------- rotations

ROTATION = Phase(
    id="r", label="r", kind="rotation", parts=("call", "guide"), turn_min=10, planned_min=60
)
PLAIN = Phase(id="g", label="g", activity="guide", planned_min=60)


def rotation(readings, phases=(PLAIN, ROTATION), **fields):
    s = make_session(phases=phases, readings=readings, **{"assumptions": BARE, **fields})
    return parts(s, Settings()).set_index(["device", "part"])


def test_rotation_by_hand():
    """13 pp in 60 min, 10 of them in a call; 8 pp/h for the rest, from the phase before.

    (13 − 0.8333 × 8)/0.16667 = 38.0 pp/h; u = √((0.694 + 3.361 + 1)/12)/0.16667 = 3.89.
    """
    found = rotation({"a": [90, 82, 69]})
    call = found.loc[("a", "call")]
    assert call["rate_pp_per_h"] == pytest.approx(38.0)
    assert call["rate_pp_per_h_u"] == pytest.approx(3.894, abs=1e-3)
    # (1.8333, 0.8333, 1): between triangle and normal, 1.9 × u with the guard
    assert call["rate_pp_per_h_high"] - 38.0 == pytest.approx(7.6, abs=0.25)
    guide = found.loc[("a", "guide")]
    assert guide["rate_pp_per_h"] == 8.0
    assert guide["exposure_h"] == pytest.approx(50 / 60)


@pytest.mark.parametrize("hours", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("adjacent", [True, False])
def test_rotation_u_against_simulation(hours, adjacent):
    """Plain phases of ½, 1 and 2 h: 5.72, 3.90 and 3.09 pp/h beside it."""
    rng = np.random.default_rng(10)
    e = rng.random((4, 200_000)) - 0.5
    rho = (50 / 60) / hours
    if adjacent:
        error = (e[1] - e[2] - rho * (e[0] - e[1])) / (10 / 60)
    else:
        error = (e[2] - e[3] - rho * (e[0] - e[1])) / (10 / 60)
    plain = Phase(id="g", label="g", activity="guide", planned_min=60 * hours)
    between = Phase(id="m", label="m", activity="map", planned_min=60)
    phases = (plain, ROTATION) if adjacent else (plain, between, ROTATION)
    levels = [90, 82, 69] if adjacent else [90, 82, 75, 62]
    ours = rotation({"a": levels}, phases).loc[("a", "call"), "rate_pp_per_h_u"]
    assert ours == pytest.approx(np.std(error), rel=0.01)


def test_naive_independence_in_a_rotation_fails():
    """√(1/6 + ρ²/6)/turn, as if no reading were shared, is too narrow: 3.19 for 3.89 pp/h."""
    rho = 50 / 60
    naive = ((1 + rho**2) / 6) ** 0.5 / (10 / 60)
    rng = np.random.default_rng(11)
    e = rng.random((3, 200_000)) - 0.5
    error = np.abs(e[1] - e[2] - rho * (e[0] - e[1])) / (10 / 60)
    assert np.mean(error <= 1.96 * naive) < 0.92
    call = rotation({"a": [90, 82, 69]}).loc[("a", "call")]
    assert np.mean(error <= call["rate_pp_per_h_high"] - call["rate_pp_per_h"]) > 0.95


def test_plain_phase_of_another_length_and_place():
    """Two hours of guide, one phase between: u = √((2 + 2ρ²)/12)/turn with ρ = 50/120."""
    far = (
        Phase(id="g", label="g", activity="guide", planned_min=120),
        Phase(id="m", label="m", activity="map", planned_min=60),
        ROTATION,
    )
    found = rotation({"a": [95, 79, 70, 57]}, phases=far).loc[("a", "call")]
    rho = 50 / 120
    assert found["rate_pp_per_h"] == pytest.approx((13 - rho * 16) / (10 / 60))
    assert found["rate_pp_per_h_u"] == pytest.approx(((2 + 2 * rho**2) / 12) ** 0.5 * 6)


def test_turns_as_logged():
    """b's call dropped after 7 min; c had no turn."""
    turns = [
        {"device": "a", "phase": "r", "activity": "call", "duration_min": 10, "completed": "yes"},
        {"device": "b", "phase": "r", "activity": "call", "duration_min": 7, "completed": "partly"},
        {"device": "c", "phase": "r", "activity": "call", "completed": "no"},
    ]
    found = rotation(
        {"a": [90, 82, 69], "b": [91, 82, 71], "c": [90, 81, 72]}, turns=turns
    )  # fmt: skip
    assert found.loc[("b", "call"), "exposure_h"] == pytest.approx(7 / 60)
    assert "unequal_exposure" in found.loc[("b", "call"), "flags"]
    assert found.loc[("c", "call"), "status"] == "not_reached"
    assert np.isnan(found.loc[("c", "call"), "rate_pp_per_h"])


def test_turns_as_planned_where_none_is_logged():
    """Two turns of 10 min for a, 20 of 60: (13 − 0.6667 × 8)/0.3333 = 23 pp/h; b had none."""
    planned = tuple(PlannedTurn(start_min=t, end_min=t + 10, devices=("a",)) for t in (0.0, 30.0))
    phases = (PLAIN, replace(ROTATION, planned_turns=planned))
    found = rotation({"a": [90, 82, 69], "b": [91, 82, 71]}, phases=phases)
    assert found.loc[("a", "call"), "exposure_h"] == pytest.approx(20 / 60)
    assert found.loc[("a", "call"), "rate_pp_per_h"] == pytest.approx(23.0)
    assert found.loc[("b", "call"), "status"] == "not_reached"


def test_a_turn_that_cannot_be_told_from_the_rest():
    """9 pp in the rotation at 8 pp/h for the rest: 14 ± 8 pp/h contains 8."""
    found = rotation({"a": [90, 82, 73]}).loc[("a", "call")]
    assert found["rate_pp_per_h"] == pytest.approx(14.0)
    assert found["flags"] == "not_resolvable"


def test_a_rate_below_nothing_is_no_rate():
    """5 pp in the rotation at 14 pp/h for the rest: (5 − 0.8333 × 14)/0.16667 = −40 pp/h.

    14 pp/h lie far above the interval, and yet a call cannot have charged the device.
    """
    found = rotation({"a": [90, 76, 71]}).loc[("a", "call")]
    assert found["rate_pp_per_h"] == pytest.approx(-40.0)
    assert found["rate_pp_per_h_high"] < 0
    assert found["flags"] == "not_resolvable"


def test_a_disturbed_phase_does_not_stand_for_the_rest():
    """Guide at 8 pp/h from 90 to 82 %, a map, the rotation, then guide at 4 pp/h in the saver.

    (13 − 0.8333 × 8)/0.16667 = 38 pp/h; the saver's phase beside it would have made it
    (13 − 0.8333 × 4)/0.16667 = 58. Without a saver, that phase is the nearer one.
    """
    between = Phase(id="m", label="m", activity="map", planned_min=60)
    phases = (PLAIN, between, ROTATION, replace(PLAIN, id="g2"))
    readings = {"a": [90, 82, 75, 62, 58]}
    saver = {"power_saver": "on", "power_saver_threshold_pct": 60}
    for conditions, rate, rest in ((saver, 38.0, 8.0), ({}, 58.0, 4.0)):
        found = rotation(readings, phases=phases, conditions=conditions)
        assert found.loc[("a", "call"), "rate_pp_per_h"] == pytest.approx(rate)
        assert found.loc[("a", "guide"), "rate_pp_per_h"] == pytest.approx(rest)


def test_without_a_plain_phase_there_is_no_rate():
    found = rotation({"a": [90, 77]}, phases=(ROTATION,))
    assert found.loc[("a", "call"), "status"] == "no_reading"


def test_done_h():
    nan = float("nan")
    base = {"activity": "a", "start_min": nan, "end_min": nan, "duration_min": nan}
    assert done_h(Turn(**base, completed="yes"), 0.5) == 0.5
    assert done_h(Turn(**base, completed=""), 0.5) == 0.5
    assert np.isnan(done_h(Turn(**base, completed="partly"), 0.5))
    assert done_h(Turn(**{**base, "duration_min": 6.0}, completed="partly"), 0.5) == 0.1


def test_frame_without_split_phases():
    frame = parts(make_session(phases={"p": 60}, readings={"a": [90, 80]}), Settings())
    assert frame.empty
    assert tuple(frame.columns) == RESULT_COLUMNS["parts"]
