"""Drains by hand: every figure with its arithmetic, every status, every flag."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.drain.energy import energy
from kit.drain.flags import FLAGS, UNRANKED
from kit.drain.model import full_hold_moments
from kit.drain.order import drain_pairs
from kit.drain.phases import phase_drain, prepare
from kit.drain.projections import projections
from kit.drain.split_phases import parts
from kit.drain.standing import standing
from kit.drain.usage_mix import usage_mixes
from kit.results import RESULT_COLUMNS, Settings
from kit.session import Device, Gauge, Phase
from tests.helpers.builders import BARE, COMPLETE_CONDITIONS, join_runs, make_session


def row(session, phase, device="a", measurand="displayed", run=1, coverage=0.95):
    frame = phase_drain(session, Settings(coverage=coverage))
    keep = (frame["phase"] == phase) & (frame["device"] == device) & (frame["run"] == run)
    return frame[keep & (frame["measurand"] == measurand)].iloc[0]


def ends(found, quantity="drain_pp"):
    return [round(float(found[f"{quantity}{part}"]), 2) for part in ("", "_low", "_high")]


def flags(found):
    return set(found["flags"].split(";")) - {""}


# ---------------------------------------------------------------- hand-worked figures


def test_interior_phase():
    """87 → 75 in an hour: d = 12, u = √(1/12 + 1/12) = 0.408, U = 0.80; 12 pp/h likewise."""
    s = make_session(phases={"p1": 60, "p2": 60}, readings={"a": [100, 87, 75]}, assumptions=BARE)
    found = row(s, "p2")
    assert ends(found) == [12.0, 11.2, 12.8]
    assert found["drain_pp_u"] == pytest.approx(6**-0.5)
    assert ends(found, "rate_pp_per_h") == [12.0, 11.2, 12.8]
    assert (found["status"], found["method"], found["flags"]) == ("measured", "gum", "")


def test_delay_of_the_readings():
    """τ = 2 min, the rate before and after alike: nothing to correct, u_t² = (τ²/12)(r² + r′²).

    (1/30)²/12 × (12² + 12²) = 0.02667. The correction uses the same three readings,
    c = (1 + a, −1 − 2a, a) with a = (τ/2)/L = 1/60 to first order: u = 0.408 × (1 + 1.5/60) and
    X = 0.80 × 1.025 = 0.82. U = √(0.82² + 4 × 0.02667) = 0.883: 11.12 to 12.88. (A single
    device has no place in a row.)
    """
    s = make_session(
        phases={"p1": 60, "p2": 60, "p3": 60},
        readings={"a": [100, 87, 75, 63]},
        assumptions=replace(BARE, reading_delay_min=2.0),
    )
    assert ends(row(s, "p2")) == [
        12.0,
        pytest.approx(11.12, abs=0.01),
        pytest.approx(12.88, abs=0.01),
    ]


def test_delay_correction_has_the_right_sign():
    """The end was read 0 … 2 min into a phase that drains 24 pp/h, the start into this one.

    d := d − (τ/2)(r′ − r), with r ≈ 12, r′ ≈ 24: 12 − (1/60) × 12 = 11.80.
    """
    s = make_session(
        phases={"p1": 60, "p2": 60, "p3": 60},
        readings={"a": [100, 87, 75, 51]},
        assumptions=replace(BARE, reading_delay_min=2.0),
    )
    assert row(s, "p2")["drain_pp"] == pytest.approx(11.80, abs=0.01)


def test_place_in_the_row_halves_the_spread_of_delays():
    """Device k of 2 was read around (k − ½) min after the boundary, ± ½ min."""
    s = make_session(
        phases={"p1": 60, "p2": 60, "p3": 60},
        readings={"a": [100, 88, 76, 64], "b": [100, 88, 76, 64]},
        assumptions=replace(BARE, reading_delay_min=2.0),
    )
    late = prepare(s).chains.observations
    assert late.late[:, 1].tolist() == [0.5, 1.5]
    assert late.late_u[0, 1] == pytest.approx(1.0 / 12**0.5)


def test_first_phase_from_full_charge():
    """100 → 92: 8 pp, u = √(1/12 + 1/6) = 0.50, U = 1.00: 7.0 to 9.0."""
    s = make_session(phases={"p1": 60}, readings={"a": [100, 92]}, assumptions=BARE)
    found = row(s, "p1")
    assert ends(found) == [8.0, 7.0, 9.0]
    assert found["drain_pp_u"] == pytest.approx(0.5)
    assert "from_full" in flags(found)


def test_first_phase_with_a_stated_rounding():
    """Truncated, 92 stands for 92.5 on average: 7.5 pp, u = 1/√12 = 0.289, X = 0.475 × 1.030."""
    s = make_session(
        devices=[Device(id="a", label="A", gauge=Gauge(rounding="truncated"))],
        phases={"p1": 60},
        readings={"a": [100, 92]},
        assumptions=BARE,
    )
    found = row(s, "p1")
    assert ends(found) == [7.5, 7.01, 7.99]
    assert found["drain_pp_u"] == pytest.approx(12**-0.5)


def test_start_below_full_is_an_ordinary_drain():
    s = make_session(phases={"p1": 60}, readings={"a": [92, 80]}, assumptions=BARE)
    assert ends(row(s, "p1")) == [12.0, 11.2, 12.8]
    assert "from_full" not in flags(row(s, "p1"))


def test_unlogged_gap_is_added_linearly():
    """87 → 75 with 6 min unlogged before the phase, which drained 0 to 20 pp/h × 0.1 h = 2 pp.

    d = 12 − 1 = 11; u = √(1/6 + 2²/12) = 0.707; U = 0.80 + 1.0 = 1.80: 9.2 to 12.8.
    The busiest rate: 20 pp in the hour before.
    """
    s = make_session(
        phases={"p0": 60, "p1": 60},
        readings={"a": [95, 75, 63]},
        gaps={"p1": 6},
        assumptions=replace(BARE, gap_rate_factor=1.0),
    )
    found = row(s, "p1")
    assert ends(found) == [11.0, 9.2, 12.8]
    assert found["drain_pp_u"] == pytest.approx(0.7071, abs=1e-4)
    assert "gap" in flags(found)


def test_reading_at_the_start_cures_the_gap():
    s = make_session(
        phases={"p0": 60, "p1": 60},
        readings={"a": [95, 75, 63]},
        gaps={"p1": 6},
        more_readings=[
            {"device": "a", "phase": "p1", "point": "start", "soc_pct": 74, "t_min": 66}
        ],
        assumptions=replace(BARE, gap_rate_factor=1.0),
    )
    found = row(s, "p1")
    assert ends(found) == [11.0, 10.2, 11.8]
    assert "gap" not in flags(found)


def test_end_read_at_the_next_start():
    """No reading at the end of p0; the one at the start of p1, 6 min later, stands for it.

    The gap drained 0 … 2 pp (20 pp/h × 0.1 h): the end stood at 75 + 1 ± 1, so 19 ± 1.8.
    """
    s = make_session(
        phases={"p0": 60, "p1": 60, "p2": 60},
        readings={"a": [95, None, 56, 45]},
        gaps={"p1": 6},
        more_readings=[
            {"device": "a", "phase": "p1", "point": "start", "soc_pct": 75, "t_min": 66}
        ],
        assumptions=replace(BARE, gap_rate_factor=1.0),
    )
    found = row(s, "p0")
    assert ends(found) == [19.0, 17.2, 20.8]
    assert "no_own_end" in flags(found)


def test_gap_of_which_only_the_total_is_known():
    """Three phases of an hour, stopped after 200 min: 20 min in two places.

    g = 10 min each, u(g) = 20·√((2 − 1)/(2²·3)) = 5.774 min. R = 12 pp/h: gR/2 = 1.0 pp off, and
    gR/2 + 2·R·u(g) = 1 + 2 × 12 × 0.09623 = 3.309 pp linearly, beside 0.80.
    """
    s = make_session(
        phases={"p1": 60, "p2": 60, "p3": 60},
        readings={"a": [96, 84, 72, 60]},
        span_source="planned",
        timed=False,
        stop_min=200,
        assumptions=replace(BARE, gap_rate_factor=1.0),
    )
    found = row(s, "p2")
    assert ends(found) == [11.0, 6.89, 15.11]
    assert {"gap", "gap_place_unknown"} <= flags(found)
    assert ends(row(s, "p1")) == [12.0, 11.2, 12.8]


def test_unlogged_total_moves_the_start_of_a_last_phase():
    """20 min unlogged in two places before the last of three phases; off at 190 to 191 min.

    The phase began at 120 + 20 = 140 min for certain, so the device ran 50.5 min in it.
    """
    s = make_session(
        phases={"p1": 60, "p2": 60, "p3": 60},
        readings={"a": [60, 40, 20]},
        span_source="planned",
        timed=False,
        stop_min=200,
        power_offs={"a": {"noted_min": 190, "last_on_min": 190, "phase": "p3"}},
        assumptions=BARE,
    )
    assert row(s, "p3")["duration_h"] * 60 == pytest.approx(50.5)


def test_gauge_term_counts_for_true_charge_only():
    """87 → 75, A = 3: u_g = 2.149, U = √(0.64 + 4 × 4.619) = 4.37: 7.6 to 16.4."""
    s = make_session(
        phases={"p1": 60},
        readings={"a": [87, 75]},
        assumptions=replace(BARE, gauge_error_pp=3.0),
    )
    assert ends(row(s, "p1", measurand="true_charge")) == [12.0, 7.63, 16.37]
    assert ends(row(s, "p1")) == [12.0, 11.2, 12.8]


def test_nothing_drained():
    """63 → 63 in half an hour: 0 to 0.80 pp, 0 to 1.6 pp/h."""
    s = make_session(phases={"p1": 30}, readings={"a": [63, 63]}, assumptions=BARE)
    assert ends(row(s, "p1")) == [0.0, 0.0, 0.8]
    assert ends(row(s, "p1"), "rate_pp_per_h") == [0.0, 0.0, 1.6]
    assert "small_drain" in flags(row(s, "p1"))


def test_phase_of_the_power_off():
    """23 % at 14:00 (minute 0); on at 41, off at 43 by a digital clock: off in [41, 44).

    Middle 42.5 min = 0.7083 h; r = 23/0.7083 = 32.47 pp/h; u_e = 3/√12 min = 0.01443 h.
    U = √(1 + 4 (32.47 × 0.01443)²)/0.7083 = 1.3704/0.7083 = 1.93: 30.5 to 34.4 pp/h. Not 23/1 h.
    """
    s = make_session(
        phases={"p1": 60},
        readings={"a": [23]},
        power_offs={"a": {"last_on_min": 41, "first_off_min": 43, "phase": "p1"}},
        assumptions=BARE,
    )
    found = row(s, "p1", measurand="true_charge")
    assert found["status"] == "died"
    assert found["duration_h"] * 60 == pytest.approx(42.5)
    assert found["duration_h_u"] * 3600 == pytest.approx(3 * 60 / 12**0.5)
    assert ends(found) == [23.0, 22.0, 24.0]
    assert ends(found, "rate_pp_per_h") == [32.47, 30.54, 34.41]
    assert {"died", "saver"} <= flags(found)


def test_gauge_vanishes_at_the_power_off():
    """Usable charge is 0 there by definition: u_g² = (9/3)(1 − e^(−D²/49)).

    D = 5: 3 × (1 − 0.6004) = 1.199, 1.09 pp; D = 20: 3 × (1 − 0.0003) = 2.999, 1.73 pp.
    """
    for level, u_gauge in ((5, 1.095), (20, 1.732)):
        s = make_session(
            phases={"p1": 60},
            readings={"a": [level]},
            power_offs={"a": {"last_on_min": 41, "first_off_min": 43, "phase": "p1"}},
            assumptions=replace(BARE, gauge_error_pp=3.0),
        )
        found = prepare(s).drains["true_charge"].variance["gauge"][0, 0]
        assert found**0.5 == pytest.approx(u_gauge, abs=2e-3)


def test_displayed_drain_to_the_power_off():
    """The display may have shown 0 … 5 when the device went off: 23 − 2.5, ± (1.00 + 2.5)."""
    s = make_session(
        phases={"p1": 60},
        readings={"a": [23]},
        power_offs={"a": {"last_on_min": 41, "first_off_min": 43, "phase": "p1"}},
        assumptions=BARE,
    )
    assert ends(row(s, "p1")) == [20.5, 17.0, 24.0]


def test_percentage_last_seen_bounds_the_power_off():
    """2 % last seen, so 0 … 2 then: 23 − 1 ± (1.00 + 1)."""
    s = make_session(
        phases={"p1": 60},
        readings={"a": [23]},
        power_offs={"a": {"last_on_min": 41, "first_off_min": 43, "phase": "p1", "soc_pct": 2}},
        assumptions=BARE,
    )
    assert ends(row(s, "p1")) == [22.0, 20.0, 24.0]


def test_power_off_far_from_empty_is_flagged():
    s = make_session(
        phases={"p0": 60, "p1": 60},
        readings={"a": [35, 25]},
        power_offs={"a": {"last_on_min": 101, "first_off_min": 103, "phase": "p1", "soc_pct": 15}},
        assumptions=BARE,
    )
    assert "off_far_from_empty" in flags(row(s, "p1"))


def test_short_exposure_is_flagged():
    for level, minute in ((23, 75), (4, 100)):
        s = make_session(
            phases={"p0": 60, "p1": 60},
            readings={"a": [50, level]},
            power_offs={"a": {"last_on_min": minute, "first_off_min": minute + 1}},
            assumptions=BARE,
        )
        assert "short_exposure" in flags(row(s, "p1"))


def test_hold_at_full():
    """100 → 92 in an hour, the display held up to 10 min at 100.

    m1 = 6·ln 1.2 = 1.0939: 8.75 pp; X = 1.00 × 1.0939; u_H = 8 × 0.0576 = 0.461.
    U = √(1.0939² + 4 × 0.461²) = 1.431: 7.32 to 10.18. The displayed drain is not corrected.
    """
    s = make_session(
        phases={"p1": 60},
        readings={"a": [100, 92]},
        assumptions=replace(BARE, full_hold_max_min=10.0),
    )
    assert ends(row(s, "p1", measurand="true_charge")) == [8.75, 7.32, 10.18]
    assert ends(row(s, "p1")) == [8.0, 7.0, 9.0]
    # the mean of L/(L − h) over h, by numerical integration
    h = (np.arange(200_000) + 0.5) / 200_000 / 6
    m1, spread = full_hold_moments(np.array([1.0]), 1 / 6)
    assert float(m1[0]) == pytest.approx(np.mean(1 / (1 - h)), abs=1e-6)
    assert float(spread[0]) == pytest.approx(np.std(1 / (1 - h)), abs=1e-6)


def test_hold_longer_than_a_third_gives_no_figure():
    s = make_session(
        phases={"p1": 30},
        readings={"a": [100, 92]},
        assumptions=replace(BARE, full_hold_max_min=11.0),
    )
    found = row(s, "p1", measurand="true_charge")
    assert np.isnan(found["drain_pp"])
    assert "hold_too_long" in flags(found)
    assert row(s, "p1")["drain_pp"] == 8.0


def test_saturated_start():
    """100 → 100: displayed 0 to 1.0; the charge that left is not shown, in this phase and next."""
    s = make_session(phases={"p1": 30, "p2": 60}, readings={"a": [100, 100, 93]}, assumptions=BARE)
    assert ends(row(s, "p1")) == [0.0, 0.0, 1.0]
    assert row(s, "p1")["status"] == "saturated"
    for phase, flag in (("p1", "saturated"), ("p2", "start_saturated")):
        found = row(s, phase, measurand="true_charge")
        assert found["status"] == "saturated"
        assert np.isnan(found["drain_pp"])
        assert flag in flags(found)
    assert row(s, "p2")["drain_pp"] == 7.0


def test_coarse_display_scales_everything():
    """A display in steps of 5: u = 5 × 0.408, U = 5 × 0.80."""
    s = make_session(
        phases={f"p{i}": 60 for i in range(5)},
        readings={"a": [95, 80, 70, 55, 40, 25]},
        assumptions=BARE,
    )
    found = row(s, "p1")
    assert ends(found) == [10.0, 6.0, 14.0]
    assert "coarse_step" in flags(found)


def test_looks_that_wake_the_device():
    """Screen off, three readings of 0.05 pp each: 0.15 pp linearly beside 0.80."""
    s = make_session(
        devices=[Device(id="a", label="A", gauge=Gauge(reading_wakes_device=True))],
        phases=[Phase(id="p1", label="p1", planned_min=60, screen_on=False)],
        readings={"a": [60, 55]},
        more_readings=[
            {"device": "a", "phase": "p1", "point": "inside", "soc_pct": 58, "t_min": 30}
        ],
        assumptions=replace(BARE, wake_drain_pp=0.05),
    )
    found = row(s, "p1")
    assert ends(found) == [5.0, 5 - 0.95, 5 + 0.95]
    assert "woken" in flags(found)


def test_long_hold_on_the_charger_counts_for_true_charge():
    """± 2 pp, u = 2/√3 = 1.155: U = √(1 + 4 × 1.333) = 2.52."""
    s = make_session(
        phases={"p1": 60},
        readings={"a": [100, 92]},
        conditions={"held_full_min": 180},
        assumptions=BARE,
    )
    assert ends(row(s, "p1", measurand="true_charge")) == [8.0, 5.48, 10.52]
    assert "held_full" in flags(row(s, "p1"))
    assert ends(row(s, "p1")) == [8.0, 7.0, 9.0]


def test_length_of_the_phase_counts_for_the_rate():
    """40 pp in 30 min, u_L = 1 min: r·u_L = 80 × 1/60 = 1.333 pp; √(0.64 + 4 × 1.778) = 2.784.

    Rate: 80 ± 2.784/0.5 = 5.57 pp/h.
    """
    s = make_session(
        phases={"p1": 30},
        readings={"a": [90, 50]},
        assumptions=replace(BARE, phase_length_u_min=1.0),
    )
    assert ends(row(s, "p1")) == [40.0, 39.2, 40.8]
    assert ends(row(s, "p1"), "rate_pp_per_h") == [80.0, 74.43, 85.57]


def test_other_coverages():
    """90 %: 1 − √0.1 = 0.6838, and 3.0 % = 0.7046; 99 %: 1 − 0.1 = 0.9, and 3.0 % = 0.927."""
    s = make_session(phases={"p1": 60}, readings={"a": [87, 75]}, assumptions=BARE)
    assert row(s, "p1", coverage=0.90)["drain_pp_high"] == pytest.approx(12.7046, abs=1e-3)
    assert row(s, "p1", coverage=0.99)["drain_pp_high"] == pytest.approx(12.927, abs=1e-3)


# ---------------------------------------------------------------- statuses and flags


def test_statuses_around_a_power_off():
    s = make_session(
        phases={"p1": 60, "p2": 60, "p3": 60},
        readings={"a": [60, 30], "b": [90, 70, 50, 30]},
        power_offs={"a": {"last_on_min": 100, "first_off_min": 101}},
        assumptions=BARE,
    )
    assert [row(s, p)["status"] for p in ("p1", "p2", "p3")] == ["measured", "died", "not_reached"]
    assert np.isnan(row(s, "p3")["drain_pp"])
    assert row(s, "p3")["method"] == ""


def test_power_off_between_phases():
    """Off in the break after p1: p1 is complete, p2 was not begun."""
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [40, 3], "b": [90, 70, 50]},
        gaps={"p2": 20},
        power_offs={"a": {"last_on_min": 65, "first_off_min": 70}},
        assumptions=BARE,
    )
    assert [row(s, p)["status"] for p in ("p1", "p2")] == ["measured", "not_reached"]
    assert "saver" in flags(row(s, "p1"))


def test_power_off_known_by_its_phase_only():
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [40, 13]},
        power_offs={"a": {"phase": "p2"}},
        timed=False,
        spans=[{"phase": "p1"}, {"phase": "p2"}],
        assumptions=BARE,
    )
    assert row(s, "p2")["status"] == "died"
    assert np.isnan(row(s, "p2")["rate_pp_per_h"])
    assert row(s, "p1")["status"] == "unknown_length"
    assert row(s, "p1")["drain_pp"] == 27.0
    assert np.isnan(row(s, "p1")["rate_pp_per_h"])


def test_missing_reading():
    s = make_session(
        phases={"p1": 60, "p2": 60, "p3": 60}, readings={"a": [90, None, 60, 50]}, assumptions=BARE
    )
    assert [row(s, p)["status"] for p in ("p1", "p2", "p3")] == [
        "no_reading", "no_reading", "measured"
    ]  # fmt: skip


def test_charge_breaks_the_chain():
    """Charged from 70 to 80 min, in the break: the reading at 60 min is no start for p2."""
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [50, 30, 70]},
        gaps={"p2": 30},
        charges=[{"device": "a", "start_min": 70, "end_min": 80}],
        assumptions=BARE,
    )
    assert row(s, "p1")["status"] == "measured"
    assert row(s, "p2")["status"] == "no_reading"


def test_charge_within_a_phase():
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [50, 70, 60]},
        charges=[{"device": "a", "start_min": 20, "end_min": 40}],
        assumptions=BARE,
    )
    assert row(s, "p1")["status"] == "no_reading"
    assert "charged" in flags(row(s, "p1"))
    assert row(s, "p2")["drain_pp"] == 10.0


def test_charge_without_a_time_is_taken_from_its_phase():
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [50, 70, 60]},
        charges=[{"device": "a", "phase": "p1"}],
        assumptions=BARE,
    )
    assert row(s, "p1")["status"] == "no_reading"
    assert row(s, "p2")["status"] == "no_reading"


def test_a_rise_is_shown_as_it_is():
    s = make_session(phases={"p1": 60}, readings={"a": [60, 63]}, assumptions=BARE)
    found = row(s, "p1")
    assert ends(found) == [-3.0, -3.8, -2.2]
    assert "rises" in flags(found)


def test_split_phase_keeps_its_drain():
    s = make_session(
        phases=[
            Phase(id="x", label="x", kind="crossover", parts=("m", "n"), planned_min=120),
        ],
        readings={"a": [90, 70]},
        assumptions=BARE,
    )
    assert (row(s, "x")["status"], row(s, "x")["drain_pp"]) == ("split", 20.0)


@pytest.mark.parametrize(
    ("readings", "conditions", "flagged"),
    [
        ([30, 19], {}, True),
        ([30, 20], {}, True),
        ([30, 21], {}, False),
        ([14, 12], {}, True),
        ([30, 19], {"power_saver": "off"}, False),
        ([30, 19], {"power_saver": "on", "power_saver_threshold_pct": 10}, False),
        ([30, 19], {"power_saver": "not recorded"}, True),
    ],
)
def test_saver_flag(readings, conditions, flagged):
    s = make_session(phases={"p1": 60}, readings={"a": readings}, conditions=conditions)
    assert ("saver" in flags(row(s, "p1"))) is flagged
    assert bool(prepare(s).ranked[0, 0]) is not flagged


def test_conditions_of_one_device_go_before_those_of_the_session():
    s = make_session(
        devices=[
            Device(id="a", label="A", conditions={"power_saver": "on"}),
            Device(id="b", label="B"),
        ],
        phases={"p1": 60},
        readings={"a": [30, 19], "b": [30, 19]},
        conditions=COMPLETE_CONDITIONS,
    )
    assert "saver" in flags(row(s, "p1", "a"))
    assert "saver" not in flags(row(s, "p1", "b"))


def test_start_taken_from_the_conditions():
    s = make_session(
        phases={"p1": 60},
        readings={"a": [None, 92]},
        conditions={"start_charge_pct": 100},
        assumptions=BARE,
    )
    found = row(s, "p1")
    assert ends(found) == [8.0, 7.0, 9.0]
    assert {"from_full", "start_assumed_full"} <= flags(found)


def test_warm_up_is_shown_and_not_ranked():
    s = make_session(
        phases=[
            Phase(id="w", label="w", planned_min=20, evaluated=False),
            Phase(id="p", label="p", planned_min=60),
        ],
        readings={"a": [100, 96, 84]},
        assumptions=BARE,
    )
    assert row(s, "w")["drain_pp"] == 4.0
    assert prepare(s).ranked.tolist() == [[False, True]]
    assert "warm_up" in flags(row(s, "w"))


def test_every_flag_has_a_sentence_and_every_bar_is_a_flag():
    assert set(FLAGS) >= UNRANKED
    for sentence in FLAGS.values():
        assert sentence.endswith(".")
        assert sentence[0].isupper()


# ---------------------------------------------------------------- frame and invariances


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
