"""Drains by hand: the phase in which a device powered off, and those after it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.drain.phases import prepare
from kit.drain.simulation import simulate
from kit.session import Assumptions
from tests.helpers.builders import BARE, make_session
from tests.helpers.drained import ends, flags, row


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


def _last_seen_on_at(minute: float):
    """Two phases from minute 0 and 60; read at 0 and 60; off by minute 120, seen on before."""
    return make_session(
        phases={"p1": 60, "p2": 90},
        readings={"a": [90, 78]},
        power_offs={"a": {"last_on_min": minute, "first_off_min": 119}},
    )


def test_a_loose_power_off_makes_no_rate():
    """Off between 62 and 120 min: on for 2 to 60 min, so at 78 to 2340 pp/h: that is no rate.

    The middle is 31 min after the start, u = 58/√12 = 16.7 min, more than a third of it.
    """
    s = _last_seen_on_at(62)
    for measurand in ("displayed", "true_charge"):
        found = row(s, "p2", measurand=measurand)
        assert found["status"] == "died"
        assert np.isnan(found["rate_pp_per_h"])
        assert np.isnan(found["rate_pp_per_h_high"])
        assert found["duration_h"] == pytest.approx(31 / 60)
        assert found["duration_h_u"] == pytest.approx(58 / 12**0.5 / 60)
        assert found["drain_pp"] > 10
        assert {"died", "unknown_length"} <= set(flags(found))
        assert "short_exposure" not in flags(found)


def test_a_power_off_known_to_a_third_makes_a_rate():
    """Off between 100 and 120 min: 50 ± 5.8 min. Read 1 min late on average: 78/(49/60) pp/h."""
    found = row(_last_seen_on_at(100), "p2", measurand="true_charge")
    assert found["rate_pp_per_h"] == pytest.approx(78 / (49 / 60))
    assert "unknown_length" not in flags(found)


def test_a_loose_power_off_does_not_spoil_the_phase_before():
    """What ran after the reading at 60 min drained at a rate nobody knows, as if none were noted.

    12 pp, of them 1 for the roundings and 0.46 for 2 min of 13.8 pp/h either way.
    """
    without = make_session(phases={"p1": 60, "p2": 90}, readings={"a": [90, 78]})
    results = []
    for s in (_last_seen_on_at(62), without):
        ready = prepare(s)
        drawn = simulate(ready, draws=20_000, seed=1, coverage=0.95)
        assert not drawn.phases["displayed_rate"].high[0, 1] > 0
        figures = [drawn.phases[f"displayed_{what}"] for what in ("drain", "rate")]
        results.append([(f.u[0, 0], f.low[0, 0], f.high[0, 0]) for f in figures])
        assert results[-1][0][1] > 12 - 1 - 0.46
        assert results[-1][0][2] < 12 + 1 + 0.46
    assert results[0] == [pytest.approx(one, abs=0.02) for one in results[1]]


def test_a_phase_of_loose_length_makes_no_rate():
    """60 ± 30 min: a rectangle of that u reaches from 8 to 112 min."""
    s = make_session(
        phases={"p1": 60, "p2": 240},
        readings={"a": [90, 78, 30]},
        assumptions=Assumptions(phase_length_u_min=30),
    )
    assert [row(s, p)["status"] for p in ("p1", "p2")] == ["unknown_length", "measured"]
    assert np.isnan(row(s, "p1")["rate_pp_per_h"])
    assert row(s, "p2")["rate_pp_per_h"] == pytest.approx(12, rel=0.02)
