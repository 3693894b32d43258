"""The frame of drains, and what must make no difference to it."""

from __future__ import annotations

import numpy as np

from kit.drain.energy import energy
from kit.drain.order import drain_pairs
from kit.drain.phases import phase_drain
from kit.drain.projections import projections
from kit.drain.split_phases import parts
from kit.drain.standing import standing
from kit.drain.usage_mix import usage_mixes
from kit.results import RESULT_COLUMNS, Settings
from tests.helpers.builders import BARE, join_runs, make_session
from tests.helpers.drained import row


def test_frame_keeps_every_cell_in_order():
    one = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [90, 80, 70], "b": [90, 75]},
        assumptions=BARE,
    )
    s = join_runs(one, one)
    frame = phase_drain(s, Settings())
    assert tuple(frame.columns) == RESULT_COLUMNS["phase_drain"]
    keys = list(zip(frame["run"], frame["phase"], frame["device"], frame["measurand"], strict=True))
    assert keys == [
        (r, p, d, m)
        for r in (1, 2)
        for p in ("p1", "p2")
        for d in ("a", "b")
        for m in ("displayed", "true_charge")
    ]
    halves = [frame[frame["run"] == r].drop(columns="run").reset_index(drop=True) for r in (1, 2)]
    assert halves[0].equals(halves[1])


def test_order_of_devices_does_not_matter():
    readings = {"a": [100, 88, 70, 55], "b": [100, 91, 80, 61], "c": [100, 85, 66]}
    names = ["a", "b", "c"]
    phases = {"p1": 60, "p2": 90, "p3": 60}

    def frame(order):
        rows = make_session(devices=order, phases=phases, readings={d: readings[d] for d in names})
        found = phase_drain(rows, Settings())
        return found.sort_values(["device", "phase", "measurand"]).reset_index(drop=True)

    assert frame(names).equals(frame(["c", "a", "b"]))


def test_session_without_any_reading():
    s = make_session(devices=["a"], phases={"p1": 60})
    found = row(s, "p1")
    assert found["status"] == "no_reading"
    assert np.isnan(found["drain_pp"])


def test_session_without_phases():
    s = make_session(devices=["a"], phases={}, readings={})
    for make in (phase_drain, standing, drain_pairs, projections, energy, parts, usage_mixes):
        assert make(s, Settings()).empty
