"""Charge left against time left at constant power: discharges by an independent cell model.

Source: PyBaMM 26.10 (BSD-3), parameter sets of Chen et al. (2020) and Ai et al. (2020); made by
tests/fixtures/make_discharge_curves.py, which says how. A size of effect for two cells at one
temperature, without ageing and without a device's own smoothing.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from kit.drain import prepare
from kit.gauge import charge_excess
from kit.projections import projections
from kit.results import Settings
from kit.session import Assumptions, Device, Gauge
from tests.builders import make_session

CURVES = Path(__file__).resolve().parent.parent / "fixtures" / "discharge_curves.csv"


def curve(cell):
    """Return charge left and time left (%), rising."""
    with CURVES.open(encoding="utf-8") as file:
        rows = [r for r in csv.DictReader(file) if r["cell"] == cell]
    charge = np.array([float(r["charge_pct"]) for r in rows])
    time = np.array([float(r["time_left_pct"]) for r in rows])
    return charge[::-1], time[::-1]


def relative_rate(cell, level):
    """Return the rate of a charge-counting gauge around ``level``, relative to the run."""
    charge, time = curve(cell)
    at = np.interp([level - 5.0, level + 5.0], charge, time)
    return 10.0 / (at[1] - at[0])


@pytest.mark.parametrize("level", [90, 70, 50, 30, 15])
@pytest.mark.parametrize(("cell", "within"), [("Ai2020", 0.012), ("Chen2020", 0.035)])
def test_level_effect(cell, within, level):
    """The pouch cell within 1.2 percentage points, the cylindrical one within 3.5."""
    assert relative_rate(cell, level) - 1.0 == pytest.approx(
        float(charge_excess(level)), abs=within
    )


def test_same_activity_late_and_early():
    """At 20 against 90 %: 1.106 and 1.151; ours 1.118."""
    ours = float((1 + charge_excess(20.0)) / (1 + charge_excess(90.0)))
    found = [relative_rate(cell, 20) / relative_rate(cell, 90) for cell in ("Ai2020", "Chen2020")]
    assert found == pytest.approx([1.106, 1.151], abs=0.002)
    assert found[0] < ours < found[1]


@pytest.mark.parametrize("cell", ["Ai2020", "Chen2020"])
def test_projected_hours_of_every_hour_hold_the_run(cell):
    """Ten hours at constant power, read every hour: each hour's projection holds 10 h.

    True charge is read without rounding errors of its own (nearest, gauge deviation 0), so
    what is tested is the level effect. The display alone would leave 10 h out at both ends.
    """
    charge, time = curve(cell)
    levels = np.interp(np.arange(100.0, -0.1, -10.0), time, charge)
    s = make_session(
        devices=[Device(id="a", label="a", gauge=Gauge(rounding="nearest"))],
        phases={f"p{i}": 60 for i in range(9)},
        readings={"a": [round(float(v), 1) for v in levels[:10]]},
        conditions={"power_saver": "off"},
        assumptions=Assumptions(reading_delay_min=0, phase_length_u_min=0, gauge_error_pp=0),
    )
    frame = projections(s, Settings())
    low, high = frame["hours_low"].to_numpy(), frame["hours_high"].to_numpy()
    print(low, high)
    assert np.all(low <= 10.0)
    assert np.all(high >= 10.0)
    drain = prepare(s).drains["displayed"].drain_pp[0]
    naive = [(100 / (d + 0.08), 100 / (d - 0.08)) for d in drain]
    assert any(not a <= 10.0 <= b for a, b in naive)
