"""A repeated phase and the gauge; rates within a phase."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.drain.gauge import charge_excess
from kit.drain.phases import prepare
from kit.drain.power_drain import power_drains
from kit.drain.reference_repeats import charge_share, reference_repeats
from kit.drain.within_phase import within_phase
from kit.results import RESULT_COLUMNS, Settings
from kit.session import Device, Gauge, Phase
from tests.drain.test_readings import dense
from tests.helpers.builders import BARE, COMPLETE_CONDITIONS, make_session

PHASES = (
    Phase(id="p1", label="p1", activity="map", planned_min=60),
    Phase(id="p2", label="p2", activity="other", planned_min=60),
    Phase(id="p3", label="p3", activity="map", planned_min=60),
)


def test_ratio_by_hand():
    """10 pp around 92 %, then 12 pp around 28 %: ratio 1.2.

    u² = (1/12)(1 + 1 + 1.2² × 2)/10² = 0.00407, u = 0.0638. A gauge counting charge:
    β(92) = −0.068, β(28) = 0.033: 1.033/0.932 = 1.108; s = 0.2/0.108 = 1.85 ± 1.1.
    """
    s = make_session(
        phases=PHASES, readings={"a": [97, 87, 34, 22]}, assumptions=BARE,
        conditions=COMPLETE_CONDITIONS,
    )  # fmt: skip
    row = reference_repeats(s, Settings()).iloc[0]
    assert tuple(row.index) == RESULT_COLUMNS["reference_repeats"]
    assert (row["phase_first"], row["phase_last"], row["activity"]) == ("p1", "p3", "map")
    assert row["ratio"] == pytest.approx(1.2)
    assert row["ratio_u"] == pytest.approx((1 / 12 * (2 + 2 * 1.44) / 100) ** 0.5, abs=1e-4)
    assert row["ratio_if_charge"] == pytest.approx(1.033 / 0.932, abs=1e-3)
    assert row["verdict"] == "charge"
    # too blunt to replace the half-way assumption
    assert charge_share(prepare(s)).share.tolist() == [0.5]


def simulated(share):
    """A log of readings a minute from a gauge that shows ``share`` of the level effect."""
    t, level, rows = 0.0, 98.0, []
    power = {0: 12.0, 1: 45.0, 2: 12.0}
    while t <= 180.0 + 1e-9:
        rows.append((t, level))
        phase = min(int(t // 60), 2)
        for _ in range(20):
            level -= power[phase] * (1 + share * float(charge_excess(level))) / 60 / 20
        t += 1.0
    return [
        {"device": "a", "point": "inside", "soc_pct": float(np.floor(v)), "t_min": m,
         "t_resolution_min": 0.01}
        for m, v in rows
    ]  # fmt: skip


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_sharp_logs_tell_what_a_gauge_counts(share):
    log = simulated(share)
    spans = [
        {"phase": f"p{i + 1}", "start_min": 60.0 * i, "end_min": 60.0 * (i + 1),
         "start_source": "elapsed", "end_source": "elapsed", "duration_min": 60.0,
         "duration_u_min": 0.0, "t_resolution_min": 0.0}
        for i in range(3)
    ]  # fmt: skip
    s = make_session(
        phases=PHASES, readings={"a": []}, more_readings=log, spans=spans, start=None,
        assumptions=BARE, conditions=COMPLETE_CONDITIONS,
    )  # fmt: skip
    ready = prepare(s)
    found = charge_share(ready)
    assert found.half_width[0] < 0.5
    assert found.share[0] - found.half_width[0] <= share <= found.share[0] + found.half_width[0]
    row = reference_repeats(s, Settings(), prepared=ready).iloc[0]
    assert row["charge_share_low"] <= share <= row["charge_share_high"]
    assert power_drains(ready).gauge_bound_pp[0, 2] < 0.5 * 0.05 * 12


def test_a_stated_energy_gauge_is_believed():
    s = make_session(
        devices=[Device(id="a", label="a", gauge=Gauge(counts="energy"))],
        phases=PHASES, readings={"a": [97, 87, 34, 22]}, assumptions=BARE,
    )  # fmt: skip
    found = charge_share(prepare(s))
    assert (found.share[0], found.half_width[0]) == (0.0, 0.0)


def test_levels_alike_say_nothing():
    s = make_session(phases=PHASES, readings={"a": [70, 66, 64, 60]}, assumptions=BARE)
    row = reference_repeats(s, Settings()).iloc[0]
    assert row["verdict"] == "cannot_tell"
    assert np.isnan(row["charge_share"])


def test_phases_under_a_saver_are_no_reference():
    s = make_session(phases=PHASES, readings={"a": [97, 87, 30, 18]}, assumptions=BARE)
    assert reference_repeats(s, Settings()).empty


def test_no_repeat_no_row():
    s = make_session(phases={"p": 60, "q": 60}, readings={"a": [97, 87, 77]})
    assert tuple(reference_repeats(s, Settings()).columns) == RESULT_COLUMNS["reference_repeats"]


# ---------------------------------------------------------------- within a phase


def even_log(rates, minutes):
    return make_session(
        phases={"p": minutes},
        readings={"a": []},
        more_readings=dense(rates, minutes),
        span_source="elapsed",
        start=None,
        assumptions=replace(BARE, clock_rounding="nearest"),
    )


def test_even_drain_within_a_phase():
    row = within_phase(even_log([(120, 12.0)], 120), Settings()).iloc[0]
    assert tuple(row.index) == RESULT_COLUMNS["within_phase"]
    assert row["verdict"] == "even"
    assert row["rate_first_pp_per_h"] == pytest.approx(12.0, rel=0.03)
    assert row["rate_second_pp_per_h"] == pytest.approx(12.0, rel=0.03)
    assert row["ticks"] == 24
    # 24 changes, each known to 1/√12 min: the slope of a line through them is sharper than two
    assert row["rate_pp_per_h"] == pytest.approx(12.0, abs=3 * row["rate_u_pp_per_h"])
    assert row["rate_u_pp_per_h"] < 0.1


@pytest.mark.parametrize(("second", "verdict"), [(24.0, "faster"), (6.0, "slower")])
def test_a_change_within_a_phase_is_seen(second, verdict):
    row = within_phase(even_log([(60, 12.0), (60, second)], 120), Settings()).iloc[0]
    assert row["verdict"] == verdict


def test_few_changes_do_not_divide_a_phase():
    row = within_phase(even_log([(20, 12.0)], 20), Settings()).iloc[0]
    assert row["verdict"] == "too_few"
    assert np.isnan(row["ratio"])


def test_two_readings_have_no_inside():
    s = make_session(phases={"p": 60}, readings={"a": [90, 80]})
    assert within_phase(s, Settings()).empty
