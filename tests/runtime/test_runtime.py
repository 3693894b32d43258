"""Runtimes and pairs as frames."""

from __future__ import annotations

import numpy as np
import pytest

from kit.results import RESULT_COLUMNS
from kit.runtime.runtimes import runtime_pairs, runtime_tables, runtimes
from kit.session import Assumptions, Device
from tests.helpers.builders import make_session, seen


def record(**fields):
    """Return a session of one long phase unless ``fields`` say otherwise."""
    return make_session(**{"phases": {"day": 1000}, **fields})


@pytest.fixture
def row():
    """A still on at 900; B on 840 off 843; C on 841 off 844; D on 700 off 703."""
    return record(
        devices=["A", "B", "C", "D"],
        power_offs={"B": seen(840, 843), "C": seen(841, 844), "D": seen(700, 703)},
        still_on={"A": 900.0},
    )


def test_frame_of_runtimes(row):
    frame = runtimes(row)
    assert tuple(frame.columns) == RESULT_COLUMNS["runtimes"]
    assert frame["device"].tolist() == ["A", "B", "C", "D"]
    assert frame["status"].tolist() == ["still_on", "observed", "observed", "observed"]
    assert frame["rank_best"].tolist() == [1, 2, 2, 4]
    assert frame["rank_worst"].tolist() == [1, 3, 3, 4]
    assert frame["tie_group"].tolist() == ["a", "b", "b", "c"]
    assert frame["right_censored"].tolist() == [True, False, False, False]
    assert frame["p_longest"].tolist() == [1.0, 0.0, 0.0, 0.0]


def test_survivor_has_a_lower_bound_and_no_invented_number(row):
    survivor = runtimes(row).iloc[0]
    # Seen on at 900; started somewhere in the minute 0: at least 899 min = 14.9833 h.
    assert survivor["runtime_h_low"] == pytest.approx(899 / 60)
    assert survivor["runtime_h"] == survivor["runtime_h_low"]
    assert np.isnan(survivor["runtime_h_high"])
    assert np.isnan(survivor["runtime_h_u"])
    assert np.isnan(survivor["off_high_min"])


def test_observed_runtime_in_hours(row):
    b = runtimes(row).iloc[1]
    # [840, 844) off, [0, 1) start: 839..844 min, middle 841.5, u = sqrt(17/12) = 1.190 min
    assert b["runtime_h_low"] == pytest.approx(839 / 60)
    assert b["runtime_h_high"] == pytest.approx(844 / 60)
    assert b["runtime_h"] == pytest.approx(841.5 / 60)
    assert b["runtime_h_u"] == pytest.approx(1.1902 / 60, rel=1e-4)


def test_pairs(row):
    pairs = runtime_pairs(row).set_index(["device_a", "device_b"])
    assert tuple(runtime_pairs(row).columns) == RESULT_COLUMNS["runtime_pairs"]
    assert pairs["verdict"].to_dict() == {
        ("A", "B"): "a",
        ("A", "C"): "a",
        ("A", "D"): "a",
        ("B", "C"): "too_close",
        ("B", "D"): "a",
        ("C", "D"): "a",
    }
    # B - C: [840 - 845, 844 - 841) = -5..3; the survivor's lead over C: at least 900 - 845 = 55.
    assert pairs.loc[("B", "C"), "difference_min_low"] == -5
    assert pairs.loc[("B", "C"), "difference_min_high"] == 3
    assert pairs.loc[("A", "C"), "difference_min_low"] == 55
    assert np.isnan(pairs.loc[("A", "C"), "difference_min_high"])


def test_device_lost_sight_of_is_unknown_not_close():
    session = record(devices=["A", "B"], power_offs={"B": seen(840, 843)}, still_on={"A": 600.0})
    assert runtime_pairs(session)["verdict"].tolist() == ["unknown"]


def test_both_still_on():
    session = record(devices=["A", "B"], still_on={"A": 600.0, "B": 600.0})
    pairs = runtime_pairs(session)
    assert pairs["verdict"].tolist() == ["both_still_on"]
    assert pairs[["difference_min_low", "difference_min_high"]].isna().all(axis=None)


def test_one_minute_inside_one_walk_is_no_order():
    # Last walk but one at 300, next at 303/304: the minute rolled over during the walk.
    session = record(devices=["A", "B"], power_offs={"A": seen(300, 304), "B": seen(300, 303)})
    assert runtime_pairs(session)["verdict"].tolist() == ["too_close"]


def test_order_by_runtime_where_starts_are_staggered():
    # B started 5 min later, noted off 4 min later, walks every minute: A ran longer by 1 min
    # give or take; the off minutes alone say B.
    def rows(offset):
        b = Device(id="B", label="B", conditions={"start_offset_min": offset} if offset else {})
        return record(
            devices=[Device(id="A", label="A"), b],
            power_offs={"A": seen(600, 601), "B": seen(604, 605)},
        )

    assert runtime_pairs(rows(0))["verdict"].tolist() == ["b"]
    assert runtime_pairs(rows(5))["verdict"].tolist() == ["too_close"]
    assert runtime_pairs(rows(12))["verdict"].tolist() == ["a"]


def test_naive_off_order_of_staggered_starts_fails():
    # Devices started up to 8 min apart at random, run times sd 3 min, walks every minute.
    rng = np.random.default_rng(31)
    naive_wrong = ours_wrong = naive_made = ours_made = 0
    for _ in range(60):
        offsets = rng.uniform(0, 8, size=4).round(1)
        runtime = 600 + 3 * rng.standard_normal(4)
        off = offsets + runtime
        devices = [
            Device(id=str(k), label=str(k), conditions={"start_offset_min": float(offsets[k])})
            for k in range(4)
        ]
        notes = {str(k): seen(np.floor(off[k] - 1), np.floor(off[k])) for k in range(4)}
        pairs = runtime_pairs(record(devices=devices, power_offs=notes))
        for a, b, verdict in zip(
            pairs["device_a"].astype(int), pairs["device_b"].astype(int), pairs["verdict"],
            strict=True,
        ):  # fmt: skip
            longer = "a" if runtime[a] > runtime[b] else "b"
            noted = np.floor(off[a]) - np.floor(off[b])
            if abs(noted) >= 3:
                naive_made += 1
                naive_wrong += longer != ("a" if noted > 0 else "b")
            if verdict in ("a", "b"):
                ours_made += 1
                ours_wrong += longer != verdict
    assert naive_wrong / naive_made > 0.05
    assert ours_made > 100
    assert ours_wrong / ours_made <= 0.01


def test_charging_during_the_run_is_said():
    session = record(
        devices=["A"],
        power_offs={"A": seen(300, 303)},
        charges=[{"device": "A", "start_min": 100.0, "end_min": 110.0}],
    )
    assert runtimes(session)["basis"].tolist() == [
        "last seen on; first seen off; charged during the run"
    ]


def test_probable_is_not_claimed():
    # [843, 847) v [840, 844), looks anywhere in their minutes: P = 1 - 1/216 = .99537, but both
    # may have gone off in the minute 843, during one walk.
    close = record(devices=["A", "B"], power_offs={"A": seen(843, 846), "B": seen(840, 843)})
    assert runtime_pairs(close)["p_a_longer"].tolist() == pytest.approx([1 - 1 / 216])
    assert runtime_pairs(close)["verdict"].tolist() == ["too_close"]
    # a walk later A was still on: [844, 848)
    later = record(devices=["A", "B"], power_offs={"A": seen(844, 847), "B": seen(840, 843)})
    assert runtime_pairs(later)["verdict"].tolist() == ["a"]


def test_declared_pair_follows_the_same_rule():
    offs = {"A": seen(843, 846), "B": seen(840, 843)}
    session = record(devices=["A", "B"], power_offs=offs, declared_comparison=("A", "B"))
    assert runtime_pairs(session)["verdict"].tolist() == ["too_close"]


def test_survivor_seen_on_in_the_minute_of_the_other_power_off_is_tied():
    # Stop at 844: A passed first and on, then all off; B passed last and off.
    session = record(devices=["A", "B"], power_offs={"B": seen(841, 844)}, still_on={"A": 844.0})
    assert runtime_pairs(session)["verdict"].tolist() == ["too_close"]
    session = record(devices=["A", "B"], power_offs={"B": seen(841, 844)}, still_on={"A": 845.0})
    assert runtime_pairs(session)["verdict"].tolist() == ["a"]


def test_order_holds_in_whichever_way_the_clock_was_rounded():
    # Margins for an unknown clock are [m - 1/2, n + 1]: 843.5 v 844 would overlap. But one clock
    # showed both: [844, .) v (., 844) if it cuts minutes off, [843.5, .) v (., 843.5) if it rounds.
    unknown = Assumptions(clock_rounding="unknown")
    offs = {"A": seen(844, 847), "B": seen(840, 843)}
    session = record(devices=["A", "B"], power_offs=offs, assumptions=unknown)
    pairs = runtime_pairs(session)
    assert pairs["difference_min_low"].tolist() == [0.0]
    assert pairs["verdict"].tolist() == ["a"]
    offs = {"A": seen(843, 847), "B": seen(840, 843)}
    session = record(devices=["A", "B"], power_offs=offs, assumptions=unknown)
    assert runtime_pairs(session)["verdict"].tolist() == ["too_close"]


def test_no_device_gives_empty_frames():
    frame, pairs = runtime_tables(record(devices=[]))
    assert (len(frame), len(pairs)) == (0, 0)
    assert tuple(frame.columns) == RESULT_COLUMNS["runtimes"]


def test_runtime_module_imports_no_scipy():
    import subprocess
    import sys

    names = "('scipy' in sys.modules, 'matplotlib' in sys.modules)"
    code = f"import sys, kit.runtime.runtimes; print{names}"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.split() == ["False", "False"]
