"""Standing after each phase: telescoped drains, ranks with ties, devices that are off."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.drain.standing import standing
from kit.results import RESULT_COLUMNS, Settings
from tests.helpers.builders import BARE, join_runs, make_session, seen

SIX = {"a": [99, 80], "b": [99, 78], "c": [99, 75], "d": [99, 74], "e": [99, 60]}


def after(session, phase, run=1):
    frame = standing(session, Settings())
    keep = (frame["phase"] == phase) & (frame["run"] == run)
    return frame[keep].set_index("device")


def test_drain_so_far_has_two_readings_however_many_phases():
    """92, 80, 76, 60: 32 pp; u = √(2/12) = 0.408, U = 0.80 (31.2 to 32.8), not √(6/12) = 0.707."""
    s = make_session(
        phases={"p1": 60, "p2": 60, "p3": 60}, readings={"a": [92, 80, 76, 60]}, assumptions=BARE
    )
    for phase, total in (("p1", 12.0), ("p2", 16.0), ("p3", 32.0)):
        found = after(s, phase).loc["a"]
        assert found["total_drain_pp"] == total
        assert found["total_drain_pp_u"] == pytest.approx(6**-0.5)
        assert found["total_drain_pp_low"] == pytest.approx(total - 0.80)
        assert found["total_drain_pp_high"] == pytest.approx(total + 0.80)


def test_drain_so_far_from_full():
    s = make_session(phases={"p1": 60, "p2": 60}, readings={"a": [100, 88, 70]}, assumptions=BARE)
    found = after(s, "p2").loc["a"]
    assert (found["total_drain_pp"], found["total_drain_pp_u"]) == (30.0, 0.5)
    assert found["total_drain_pp_high"] == pytest.approx(31.0)


def test_gap_before_a_phase_is_part_of_the_drain_so_far():
    """The reading at the end of p1 is one end, that at the end of p2 the other: no gap to allow."""
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [95, 75, 63]},
        gaps={"p2": 6},
        assumptions=BARE,
    )
    found = after(s, "p2").loc["a"]
    assert found["total_drain_pp"] == 32.0
    assert found["total_drain_pp_high"] == pytest.approx(32.80)


def test_ties_are_said_as_ties():
    """Displays compared: two fractions and two unknown roundings, at most 2.0 apart.

    80 and 78 differ by 2, not more: tied; 80 and 75 by 5; 75 and 74 tied; 78 and 75 by 3.
    """
    s = make_session(phases={"p1": 60}, readings=SIX, assumptions=BARE)
    found = after(s, "p1")
    assert found["tie_group"].tolist() == ["a", "a", "b", "b", "c"]
    assert found["rank_best"].tolist() == [1, 1, 3, 3, 5]
    assert found["rank_worst"].tolist() == [2, 2, 4, 4, 5]


def test_charge_left_is_less_certain_than_what_displays_show():
    """A = 3: two gauges differ by √2 × 1.73 = 2.45 (1σ); 80 to 75 % is then a tie, too.

    Ten pairs: z = Φ⁻¹(1 − 0.0025) = 2.81, m = √(4 + 2.81² × 6) = 7.2.
    """
    s = make_session(phases={"p1": 60}, readings=SIX, assumptions=replace(BARE, gauge_error_pp=3.0))
    found = after(s, "p1")
    assert found["tie_group"].tolist() == ["a", "a", "b", "b", "c"]
    assert found["tie_group_true_charge"].tolist() == ["a", "a", "a", "a", "b"]


def test_devices_that_are_off_stand_below_and_by_their_power_off():
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [30, 10], "b": [30, 12], "c": [30, 11], "d": [50, 30, 9], "e": [50, 30]},
        power_offs={
            "a": {"last_on_min": 70, "first_off_min": 72},
            "b": {"last_on_min": 80, "first_off_min": 82},
            "c": {"last_on_min": 81, "first_off_min": 83},
        },
        assumptions=BARE,
    )
    found = after(s, "p2")
    assert found["status"].tolist() == ["died", "died", "died", "measured", "no_reading"]
    # nobody read a device that was off: blank, not 0
    assert np.isnan(found["soc_pct"].tolist()[:3]).all()
    assert found.loc["d", "soc_pct"] == 9.0
    assert np.isnan(found.loc["e", "soc_pct"])
    # e was not read, and nothing says whether it was on: it may stand anywhere among the five,
    # so that each of the others may stand one place lower than it does among the four
    assert found["rank_best"].tolist() == [4, 2, 2, 1, 1]
    assert found["rank_worst"].tolist() == [5, 4, 4, 2, 5]
    assert found.loc["b", "tie_group"] == found.loc["c", "tie_group"]
    assert found.loc["e", "tie_group"] == ""
    assert np.isnan(found.loc["a", "total_drain_pp"])


def test_charging_ends_the_drain_so_far_and_the_place():
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [50, 30, 60], "b": [50, 40, 30]},
        gaps={"p2": 30},
        charges=[{"device": "a", "start_min": 65, "end_min": 80}],
        assumptions=BARE,
    )
    found = after(s, "p2")
    assert np.isnan(found.loc["a", "total_drain_pp"])
    assert found.loc["a", "soc_pct"] == 60.0
    assert found.loc["b", "total_drain_pp"] == 20.0
    # after the charge a stands beside nobody, and b is alone; before it both have a place
    assert found["tie_group"].tolist() == ["", ""]
    assert found[["rank_best", "rank_worst", "rank_best_true_charge"]].isna().all(axis=None)
    assert after(s, "p1")["rank_best"].tolist() == [2, 1]


def test_frame_and_runs():
    one = make_session(phases={"p1": 60}, readings=SIX, assumptions=BARE)
    frame = standing(join_runs(one, one), Settings())
    assert tuple(frame.columns) == RESULT_COLUMNS["standing"]
    assert frame["run"].tolist() == [1] * 5 + [2] * 5
    first, second = (
        frame[frame["run"] == r].drop(columns="run").reset_index(drop=True) for r in (1, 2)
    )
    assert first.equals(second)


def test_a_device_that_was_on_but_not_read_stands_above_those_that_were_off():
    """b was not read after p1 but after p2, so it was on; a died in p1, c stood at 40 %."""
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [20], "b": [60, None, 20], "c": [60, 40, 30]},
        power_offs={"a": {"last_on_min": 40, "first_off_min": 42}},
        assumptions=BARE,
    )
    found = after(s, "p1")
    assert found["status"].tolist() == ["died", "no_reading", "measured"]
    assert found["rank_best"].tolist() == [3, 1, 1]
    assert found["rank_worst"].tolist() == [3, 2, 2]


def test_a_boundary_that_nobody_read_has_no_places():
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [80, None, 60], "b": [80, None, 40]},
        assumptions=BARE,
    )
    assert after(s, "p1")["rank_best"].isna().all()
    assert after(s, "p2")["rank_best"].tolist() == [1, 2]


def test_the_percentage_left_is_the_one_that_was_read_though_a_tick_says_more() -> None:
    # 71 % appeared at 116 min, 70 % was read at the end at 120 min: the tick is sharper for the
    # drain, what the display showed at the end is 70 (not 71.5, the level at the tick)
    tick = {"device": "a", "phase": "p2", "point": "inside", "kind": "tick", "t_min": 116.0,
            "soc_pct": 71.0}  # fmt: skip
    s = make_session(
        phases={"p1": 60, "p2": 60}, readings={"a": [97, 86, 70]}, more_readings=[tick]
    )
    row = standing(s, Settings()).iloc[-1]
    assert row["soc_pct"] == 70.0
    assert row["total_drain_pp"] != 27.0


def test_survivors_stand_above_the_dead_where_nobody_was_read() -> None:
    """a and b are on at the stop (120) and were not read; c and d powered off in p2, c later."""
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [99, 60], "b": [99, 58], "c": [99, 30], "d": [99, 25]},
        power_offs={"c": seen(110, 112), "d": seen(100, 102)},
        still_on={"a": 120.0, "b": 120.0},
        start=None,
        assumptions=BARE,
    )
    found = after(s, "p2")
    assert found["rank_best"].to_dict() == {"a": 1, "b": 1, "c": 3, "d": 4}
    assert found["rank_worst"].to_dict() == {"a": 2, "b": 2, "c": 3, "d": 4}
    assert found["status"].to_dict() == {
        "a": "no_reading", "b": "no_reading", "c": "died", "d": "died",
    }  # fmt: skip


def test_a_device_lost_sight_of_stands_above_those_off_before_it_was_last_seen() -> None:
    """e was read at 60 and never again; d was off at 42, c at 102: e outlived d, of c who knows."""
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [99, 60, 30], "c": [99, 30], "d": [99], "e": [99, 50]},
        power_offs={"c": seen(100, 102), "d": seen(40, 42)},
        start=None,
        assumptions=BARE,
    )
    found = after(s, "p2")
    # a 1 to 2 (e was not read, and had 50 % an hour before); e 1 to 3; c 2 to 3; d last
    assert found["rank_best"].to_dict() == {"a": 1, "c": 2, "d": 4, "e": 1}
    assert found["rank_worst"].to_dict() == {"a": 2, "c": 3, "d": 4, "e": 3}


def test_a_survivor_read_at_the_stop_has_its_place_by_what_it_showed() -> None:
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [99, 60], "b": [99, 58], "c": [99, 30]},
        power_offs={"c": seen(110, 112)},
        still_on={"a": 120.0, "b": 120.0},
        start=None,
        assumptions=BARE,
    )
    s.power_offs["soc_pct"] = [float("nan"), 15.0, 3.0]
    found = after(s, "p2")
    assert found["rank_worst"].to_dict() == {"a": 1, "b": 2, "c": 3}
    assert found["soc_pct"].dropna().to_dict() == {"a": 15.0, "b": 3.0}
