"""Drains by hand: what the display and its gauge leave open, and lengths of phases."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.drain.model import full_hold_moments
from kit.session import Device, Gauge, Phase
from tests.helpers.builders import BARE, make_session
from tests.helpers.drained import ends, flags, row


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
