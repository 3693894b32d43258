"""Drains by hand: how late readings were made, full starts and time not logged."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kit.drain.phases import prepare
from kit.session import Device, Gauge
from tests.helpers.builders import BARE, make_session
from tests.helpers.drained import ends, flags, row


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
