"""Hours from rates: reciprocals of ends, "at least", and the level effect of the gauge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.drain.gauge import charge_excess
from kit.drain.projections import hours_from_rate, projections
from kit.results import RESULT_COLUMNS, Settings
from kit.session import Device, Gauge, Phase
from tests.helpers.builders import BARE, COMPLETE_CONDITIONS, make_session

ENERGY = (Device(id="a", label="A", gauge=Gauge(counts="energy")),)


def projected(session, phase):
    frame = projections(session, Settings())
    return frame[frame["phase"] == phase].iloc[0]


def figures(row):
    return [round(float(row[c]), 2) for c in ("hours", "hours_low", "hours_high")]


def test_hours_by_hand():
    """12.0 pp/h, 11.2 to 12.8: 100/12 = 8.33, 100/12.8 = 7.81, 100/11.2 = 8.93 h."""
    s = make_session(
        devices=ENERGY, phases={"p": 60}, readings={"a": [87, 75]}, assumptions=BARE,
        conditions=COMPLETE_CONDITIONS,
    )  # fmt: skip
    row = projected(s, "p")
    assert figures(row) == [8.33, 7.81, 8.93]
    assert (row["at_least"], row["ranked"], row["activity"]) == (False, True, "p")


def test_at_least():
    """63 → 63 in 30 min: 0 to 1.6 pp/h, at least 62.5 h; 2 pp: also only "at least"."""
    for readings, low in (([63, 63], 62.5), ([63, 61], 100 / 5.6)):
        s = make_session(
            devices=ENERGY, phases={"p": 30}, readings={"a": readings}, assumptions=BARE
        )
        row = projected(s, "p")
        assert row["at_least"]
        assert np.isnan(row["hours"])
        assert row["hours_low"] == pytest.approx(low)
        assert row["hours_high"] == np.inf


def test_reciprocal_is_the_median_and_the_mean_is_longer():
    """A drain of 2 pp in an hour: the mean of 100/d over the triangular error is 52.3 h, not 50."""
    rng = np.random.default_rng(8)
    d = 2.0 + rng.random(400_000) - rng.random(400_000)
    assert np.median(100 / d) == pytest.approx(50.0, abs=0.1)
    assert np.mean(100 / d) == pytest.approx(52.3, abs=0.1)
    assert hours_from_rate(2.0, 1.2, 2.8)[0] == 50.0


def test_level_effect():
    """At 20 % β = 0.045: 10/1.0225 = 9.780, ± 0.80/1.0225, and 10 − 9.780 = 0.220 pp linearly.

    100/9.780 = 10.22 h; 100/(9.780 + 0.7824 + 0.220) = 9.27; 100/(9.780 − 1.0024) = 11.39.
    """
    s = make_session(phases={"p": 60}, readings={"a": [25, 15]}, assumptions=BARE)
    assert float(charge_excess(20.0)) == pytest.approx(0.045)
    row = projected(s, "p")
    assert figures(row) == [10.22, 9.27, 11.39]
    assert "gauge_curve" in row["flags"]
    s = make_session(devices=ENERGY, phases={"p": 60}, readings={"a": [25, 15]}, assumptions=BARE)
    assert figures(projected(s, "p")) == [10.0, 9.26, 10.87]
    assert "gauge_curve" not in projected(s, "p")["flags"]


def test_naive_projection_of_a_charge_gauge_fails():
    """A charge gauge at constant power, 10 h from full to empty, projected from an early hour.

    Level c falls by dc/dt = −10 (1 + β(c)) pp/h, so that β is relative to the run. From 97 %
    for an hour: the display falls by about 9.3 pp, 100/9.3 = 10.8 h. The interval for the display
    alone leaves out 10 h; ours holds it.
    """
    c, dt = 97.0, 1e-4
    run = np.linspace(0, 100, 100_001)
    total_h = np.trapezoid(1 / (10.0 * (1 + charge_excess(run))), run)
    for _ in range(10_000):
        c -= 10.0 * (1 + float(charge_excess(c))) * dt
    drain = 97.0 - c
    naive = [100 / (drain + 0.41), 100 / (drain - 0.41)]
    assert not naive[0] <= total_h <= naive[1]
    s = make_session(
        devices=[Device(id="a", label="A", gauge=Gauge(counts="unknown", rounding="nearest"))],
        phases={"p": 60}, readings={"a": [97, round(c)]}, assumptions=BARE,
    )  # fmt: skip
    row = projected(s, "p")
    assert row["hours_low"] <= total_h <= row["hours_high"]


def test_split_and_unreached_phases_have_no_projection():
    s = make_session(
        phases=[
            Phase(id="x", label="x", kind="crossover", parts=("m", "n"), planned_min=60),
            Phase(id="y", label="y", activity="y", planned_min=60),
            Phase(id="z", label="z", activity="z", planned_min=60),
        ],
        readings={"a": [90, 60, 20]},
        power_offs={"a": {"last_on_min": 170, "first_off_min": 172}},
        assumptions=replace(BARE, gauge_error_pp=3.0),
    )
    frame = projections(s, Settings())
    assert tuple(frame.columns) == RESULT_COLUMNS["projections"]
    assert np.isnan(frame.loc[0, "hours_low"])
    assert frame["ranked"].tolist() == [False, False, False]
    # the phase of the power-off has hours, flagged and not ranked
    assert 4.0 < frame.loc[2, "hours"] < 5.0
    assert "died" in frame.loc[2, "flags"]
