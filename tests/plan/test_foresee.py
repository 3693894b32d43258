"""What a day can decide about power-offs: by hand, against walking, against another library."""

import numpy as np
import pytest

from kit.plan.foresee import claim_chance, look_plan, pair_chance
from kit.plan.predict import Rate, course
from kit.plan.timetable import Activity


def steady(name, rate, cv=0.03):
    """Return the course of a device at one rate, with nothing left at power-off."""
    return course(
        (Activity(start_min=0, end_min=None, name="map"),),
        {"map": Rate(pp_per_h=rate, u_pp_per_h=0.0, source="plan")},
        device=name, cv=cv, off_pct_max=0.0,
    )  # fmt: skip


# ---------------------------------------------------------------- power-offs


def naive_claims(difference, every, pass_min, n=4000, seed=8):
    """Walk along the row again and again, note minutes, and ask whether the windows overlap."""
    rng = np.random.default_rng(seed)
    claims = false = 0
    for _ in range(n):
        off = {"b": rng.uniform(100, 160)}
        off["a"] = off["b"] + difference
        start = rng.uniform(0, every)
        windows = {}
        for name in ("a", "b"):
            place = rng.uniform(0, pass_min)
            look, last = start + place, None
            while look < off[name]:
                last = look
                look += every
            windows[name] = (np.floor(last), np.floor(look) + 1)
        claims += windows["a"][0] >= windows["b"][1]
        false += windows["b"][0] >= windows["a"][1]
    return claims / n, false / n


@pytest.mark.parametrize(
    ("difference", "every", "pass_min"),
    [(1, 1, 1), (2, 1, 1), (3, 3, 1), (2, 3, 0.5), (3, 5, 2), (4, 2, 1.5)],
)
def test_claim_chance_agrees_with_walking(difference, every, pass_min):
    claims, _ = naive_claims(difference, every, pass_min)
    found = float(claim_chance([difference], look_every_min=every, pass_min=pass_min)[0])
    # 4000 walks: standard error at most 0.8 %
    assert found == pytest.approx(claims, abs=0.03)


def test_claim_chance_by_hand_when_all_are_looked_at_together():
    # Looks every 3 min at whole minutes: windows are 4 min wide and equal or shifted by 3 k.
    # Shifted by 3 they share a minute, shifted by 6 they do not. 3 min apart is one look apart,
    # 4 min falls across two looks in 1 of 3 cases, 5 min in 2 of 3, 6 min always.
    found = claim_chance([0.0, 3.0, 4.0, 5.0, 6.0], look_every_min=3)
    assert found == pytest.approx([0, 0, 1 / 3, 2 / 3, 1], abs=0.005)


def test_claims_grow_with_distance_and_shrink_with_the_interval():
    distances = np.arange(0, 12.1, 1)
    often, seldom = (claim_chance(distances, look_every_min=m, pass_min=1) for m in (1, 5))
    assert (np.diff(often) >= -1e-12).all()
    assert (often[1:] >= seldom[1:] - 0.02).all()
    assert often[-1] == seldom[-1] == 1


def test_noted_seconds_tell_more_than_minutes():
    seconds = claim_chance([1.0], look_every_min=0.5, resolution_min=1 / 60)
    minutes = claim_chance([1.0], look_every_min=0.5)
    assert float(seconds[0]) > float(minutes[0]) + 0.5


# ---------------------------------------------------------------- pairs


def test_equal_devices_are_a_toss_up():
    pair = pair_chance(steady("a", 10), steady("b", 10), look_every_min=1, pass_min=1)
    assert pair.as_expected == pytest.approx(0.5, abs=0.01)
    assert pair.difference_min == pytest.approx(0, abs=1e-6)
    assert pair.runs_for_kind is None


def test_pair_chance_by_the_normal_distribution():
    # 10 and 9.5 pp/h: 600 and 631.6 min, sd 3 % of each: 18 and 18.9, of the difference 26.1.
    # P = Phi(31.6/26.1) = Phi(1.21) = 0.887
    pair = pair_chance(steady("a", 10), steady("b", 9.5), look_every_min=1, pass_min=1)
    assert (pair.later, pair.sooner) == ("b", "a")
    assert pair.difference_min == pytest.approx(31.58, abs=0.05)
    assert pair.as_expected == pytest.approx(0.887, abs=0.01)
    # within 3 min either way, and so in doubt, for about 6/26.1 x density 0.19: 4.5 %
    assert 0.9 < pair.decided < 0.98


def test_runs_for_a_claim_about_the_kind():
    # 31.58 min against 3 % of 615.8 = 18.47: 1.71 s; Cohen's table 2.4.1 (from memory) has
    # 6 for 1.8 and 7 for 1.7 at 80 % power
    pair = pair_chance(steady("a", 10), steady("b", 9.5), look_every_min=1, pass_min=1)
    assert pair.runs_for_kind == 7


@pytest.mark.system
def test_runs_agree_with_another_library():
    power = pytest.importorskip("statsmodels.stats.power")
    pair = pair_chance(steady("a", 10), steady("b", 9.7), look_every_min=1)
    size = pair.difference_min / (0.03 * (600 + 600 / 0.97) / 2)
    needed = power.TTestIndPower().solve_power(effect_size=size, power=0.8, alpha=0.05)
    assert pair.runs_for_kind == int(np.ceil(needed))


def test_a_stop_leaves_survivors_undecided():
    a, b = steady("a", 10), steady("b", 9.5)
    open_end = pair_chance(a, b, look_every_min=1, pass_min=1)
    assert pair_chance(a, b, look_every_min=1, pass_min=1, stop_min=500).decided < 0.01
    assert pair_chance(a, b, look_every_min=1, pass_min=1, stop_min=900).decided == pytest.approx(
        open_end.decided, abs=0.01
    )
    # one off before, the other after a stop between them: told
    far = pair_chance(steady("a", 12), b, look_every_min=1, pass_min=1, stop_min=560)
    assert far.decided > 0.97


def test_a_device_beyond_the_horizon_decides_nothing():
    pair = pair_chance(steady("a", 10), steady("b", 0.001), look_every_min=1)
    assert pair.decided == 0
    assert pair.runs_for_kind is None


# ---------------------------------------------------------------- looks


def test_interval_for_a_window_of_three_minutes():
    # last seen on and first seen off two minutes apart, noted in minutes: 2 + 1
    plan = look_plan((steady("a", 10),), known_to_min=3, pass_min=1)
    assert (plan.every_min, plan.window_min, plan.note_seconds, plan.feasible) == (
        2,
        3,
        False,
        True,
    )
    low, high, devices = plan.stretches[0]
    assert devices == ("a",)
    # 600 min ± 2.326 x 18 min
    assert low == pytest.approx(600 / (1 + 0.03 * 2.326), abs=1)
    assert high == pytest.approx(600 / (1 - 0.03 * 2.326), abs=1)
    assert plan.looks == int((high - low) // 2) + 1
    assert plan.wake_pp == pytest.approx(plan.looks * 0.02)


def test_window_that_only_seconds_can_give():
    plan = look_plan((), known_to_min=1, pass_min=0.5)
    assert (plan.every_min, plan.note_seconds) == (1, True)
    assert plan.window_min == pytest.approx(1 + 1 / 60)


def test_pass_that_takes_longer_than_the_interval():
    plan = look_plan((), known_to_min=3, pass_min=4)
    assert not plan.feasible
    assert (plan.every_min, plan.window_min) == (4, 5)


def test_stretches_join_when_they_meet_and_end_at_the_stop():
    plan = look_plan(
        (steady("c", 20), steady("a", 10), steady("b", 9.5)),
        known_to_min=3, pass_min=1, stop_min=620,
    )  # fmt: skip
    assert [s[2] for s in plan.stretches] == [("c",), ("a", "b")]
    assert plan.stretches[-1][1] == 620
    assert look_plan((steady("a", 10),), known_to_min=3, pass_min=1, stop_min=100).stretches == ()
