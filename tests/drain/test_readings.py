"""Which observation stands for a boundary: readings, dense logs, changes of the display."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.drain.chains import build_chains
from kit.drain.intervals import interval
from kit.drain.phases import phase_drain, prepare
from kit.drain.readings import observed
from kit.drain.ticks import find_ticks
from kit.results import Settings
from kit.session import Device, Gauge
from tests.helpers.builders import BARE, make_session


def reading(device="a", **cells):
    return {"device": device, "point": "inside", **cells}


# ---------------------------------------------------------------- changes of the display


def test_ticks_of_a_dense_log():
    """79.7, 79.2, … each minute: the display falls from 79 to 78 between minutes 1 and 2.

    The fall from 77 to 75 is no step of one: what happened between is not seen.
    """
    soc = np.array([79.0, 79.0, 78.0, 78.0, 77.0, 75.0])
    n = soc.size
    found = find_ticks(
        np.arange(float(n)), soc, np.zeros(n), np.zeros(n, bool), np.arange(n) + 10, 1.0
    )
    assert found.t.tolist() == [1.5, 3.5]
    assert found.level.tolist() == [78.5, 77.5]
    assert found.row.tolist() == [12, 14]
    # the moment lies anywhere between two readings a minute apart: 1/√12
    assert found.u == pytest.approx([12**-0.5] * 2)


def test_a_wavering_display_changes_once():
    soc = np.array([80.0, 79.0, 80.0, 79.0, 78.0])
    found = find_ticks(np.arange(5.0), soc, np.zeros(5), np.zeros(5, bool), np.arange(5), 1.0)
    assert found.level.tolist() == [79.5, 78.5]


def test_readings_far_apart_show_no_moment():
    found = find_ticks(
        np.array([0.0, 6.0]), np.array([80.0, 79.0]), np.zeros(2), np.zeros(2, bool),
        np.arange(2), 1.0,
    )  # fmt: skip
    assert found.t.size == 0


def test_noted_ticks_are_taken_as_noted():
    found = find_ticks(
        np.array([7.0, 3.0]), np.array([80.0, 81.0]), np.ones(2), np.ones(2, bool),
        np.array([4, 5]), 1.0,
    )  # fmt: skip
    assert found.t.tolist() == [3.0, 7.0]
    assert found.level.tolist() == [81.5, 80.5]
    assert found.u == pytest.approx([12**-0.5] * 2)


# ---------------------------------------------------------------- boundaries


def test_noted_readings_stand_for_their_boundaries_and_are_shared():
    s = make_session(phases={"p1": 60, "p2": 60}, readings={"a": [90, 80, 70]}, assumptions=BARE)
    found = build_chains(s).observations
    assert found.node.tolist() == [[0, 1, 1, 3]]
    assert found.row.tolist() == [[0, 1, -1, 2]]


def test_reading_at_the_start_goes_before_the_one_at_the_end_before():
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [90, 80, 70]},
        gaps={"p2": 10},
        more_readings=[
            {"device": "a", "phase": "p2", "point": "start", "soc_pct": 78, "t_min": 70}
        ],
        assumptions=BARE,
    )
    found = build_chains(s)
    assert found.observations.node.tolist() == [[0, 1, 2, 3]]
    assert found.levels.tolist() == [[90.0, 80.0, 78.0, 70.0]]


def test_readings_with_times_of_their_own_tell_the_delay():
    """Read at 60 and 62 min by a clock that shows minutes: delays 0 and 2 min, u = √2/√12."""
    base = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [90, 80, 70], "b": [90, 80, 70]},
        assumptions=replace(BARE, reading_delay_min=3.0),
    )
    rows = base.readings.copy()
    rows.loc[(rows["device"] == "b") & (rows["t_min"] == 60.0), "t_min"] = 62.0
    found = build_chains(replace(base, readings=rows)).observations
    assert found.late[:, 1].tolist() == [0.0, 2.0]
    assert found.late_u[:, 1] == pytest.approx([2**0.5 / 12**0.5] * 2)
    # one time for the whole row says nothing about the walk: places in the row of 3 min
    assert found.late[:, 3].tolist() == [0.75, 2.25]


def dense(rates, minutes, step=1.0, rounding=np.floor, resolution=0.01, start=100.0):
    """Rows of a log with a reading every ``step`` min, and the true percentages at any time."""
    t = np.arange(0.0, minutes + 1e-9, step)
    edges = np.cumsum([0.0, *(length for length, _ in rates)])
    falls = np.cumsum([0.0, *(length * rate / 60 for length, rate in rates)])
    true = start - np.interp(t, edges, falls)
    return [
        reading(phase="", t_min=m, soc_pct=float(rounding(v)), t_resolution_min=resolution)
        for m, v in zip(t, true, strict=True)
    ]


def test_dense_log_uses_the_changes_of_the_display():
    """10.5 pp/h for an hour, then 21 pp/h: true drains 10.5 and 21, truncated, read each minute.

    Between the boundaries the offset of the rounding cancels: the second drain is known to
    the times of two changes in place of 0.408 for two readings.
    """
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": []},
        more_readings=dense([(60, 10.5), (60, 21.0)], 120),
        span_source="elapsed",
        start=None,
        assumptions=BARE,
    )
    ready = prepare(s)
    assert ready.chains.full.tolist() == [True]
    assert ready.flags["ticks"].tolist() == [[True, True]]
    drains = ready.drains["displayed"]
    low, high, *_ = interval(drains, 0.95)
    assert low[0, 0] <= 10.5 <= high[0, 0]
    assert low[0, 1] <= 21.0 <= high[0, 1]
    # each end: a minute between readings and a minute of the noted boundary, √2/√12 min = 0.41 min
    # at 21 pp/h is 0.14 pp; with the unevenness, 0.1 × 21 × 1.5/60 = 0.05, twice: 0.22 pp
    assert drains.u_pp[0, 1] == pytest.approx(0.22, abs=0.02)
    # the number shown at the boundary is given, not the half step of the change
    assert drains.start_pct.tolist() == [[100.0, 89.0]]


@pytest.mark.parametrize("rounding", [np.floor, np.ceil, lambda v: np.floor(v + 0.5)])
def test_dense_logs_cover_the_truth_whatever_the_rounding(rounding):
    s = make_session(
        phases={"p1": 60, "p2": 60, "p3": 60},
        readings={"a": []},
        more_readings=dense([(60, 13.3), (60, 7.7), (60, 19.1)], 180, rounding=rounding),
        span_source="elapsed",
        start=None,
        assumptions=BARE,
    )
    ready = prepare(s)
    low, high, *_ = interval(ready.drains["displayed"], 0.95)
    assert np.all(low[0] <= [13.3, 7.7, 19.1])
    assert np.all(high[0] >= [13.3, 7.7, 19.1])


def test_untimed_or_distant_readings_do_not_stand_for_a_boundary():
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [90, None, 70]},
        more_readings=[
            reading(phase="p1", soc_pct=84, t_min=None),
            reading(phase="p1", soc_pct=83, t_min=42),
        ],
        assumptions=BARE,
    )
    assert np.isnan(build_chains(s).levels[0, 1])


def test_nearest_timed_reading_stands_for_a_boundary_without_one():
    """Read at 63 min, 3 min into p2 (10 pp in 57 min): the end of p1 is corrected for it.

    s(60) = 80 + 3 min × rate of p2; the rate is (s(60) − 70)/60 min: s = (80 − 3.5)/0.95 = 80.526.
    """
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [90, None, 70]},
        more_readings=[reading(phase="p2", soc_pct=80, t_min=63, t_resolution_min=0.001)],
        span_source="elapsed",
        start=None,
        assumptions=replace(BARE, clock_rounding="nearest"),
    )
    frame = phase_drain(s, Settings())
    shown = frame[frame["measurand"] == "displayed"]["drain_pp"].tolist()
    assert shown == [pytest.approx(90 - 80.526, abs=2e-3), pytest.approx(10.526, abs=2e-3)]


def test_tick_at_a_boundary_says_more_than_the_reading():
    """80 read at 60 min; the display changed to 80 at 58 min: there it stood at 80.5 + offset.

    At 15 pp/h (from 90.5 to 80.5 in 40 min) 2 min more are 0.5 pp.
    """
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [95, 80, 65]},
        more_readings=[
            {"device": "a", "phase": "p1", "kind": "tick", "soc_pct": 80, "t_min": 58,
             "t_resolution_min": 1.0}
        ],
        span_source="elapsed",
        start=None,
        assumptions=replace(BARE, clock_rounding="nearest"),
    )  # fmt: skip
    found = build_chains(s).observations
    assert found.weight[0].tolist() == [1.0, 0.0, 1.0, 1.0]
    assert found.level[0, 1] == 80.5
    assert found.late[0, 1] == pytest.approx(-2.0)


def test_no_observation_after_the_power_off():
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [20, 5]},
        more_readings=[reading(phase="p2", soc_pct=4, t_min=65)],
        power_offs={"a": {"last_on_min": 70, "first_off_min": 72}},
        assumptions=BARE,
    )
    assert np.isnan(build_chains(s).levels[0, 3])


def test_categorical_and_long_columns_are_read_alike():
    rows = dense([(60, 12.0), (60, 9.0)], 120, step=0.01)
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": []},
        more_readings=rows,
        span_source="elapsed",
        assumptions=BARE,
    )
    assert len(s.readings) > 5000
    text = s.readings
    kinds = text.astype(dict.fromkeys(("device", "phase", "point", "kind"), "category"))
    one, two = observed(s), observed(replace(s, readings=kinds))
    for name in ("unit", "phase", "point", "tick", "t", "soc"):
        np.testing.assert_array_equal(getattr(one, name), getattr(two, name))
    first, second = phase_drain(s, Settings()), phase_drain(
        replace(s, readings=kinds), Settings()
    )  # fmt: skip
    pd.testing.assert_frame_equal(first, second)


def test_rows_of_strangers_are_left_out():
    s = make_session(
        phases={"p1": 60},
        readings={"a": [90, 80]},
        more_readings=[
            {"device": "nobody", "phase": "p1", "point": "end", "soc_pct": 1, "t_min": 60},
            {"device": "a", "run": 7, "phase": "p1", "point": "end", "soc_pct": 1, "t_min": 60},
        ],
        assumptions=BARE,
    )
    assert build_chains(s).levels.tolist() == [[90.0, 80.0]]


def test_decimals_are_a_finer_step():
    s = make_session(
        devices=[Device(id="a", label="A", gauge=Gauge())],
        phases={"p1": 60},
        readings={"a": [87.3, 75.1]},
        assumptions=BARE,
    )
    found = prepare(s).drains["displayed"]
    # 0.1 × √(2/12)
    assert found.u_pp[0, 0] == pytest.approx(0.0408, abs=1e-4)
