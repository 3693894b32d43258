"""A display that shows the charge of some time before, by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kit.drain.budget import budget
from kit.drain.phases import phase_drain
from kit.results import Settings
from tests.helpers.builders import BARE, make_session


def drains(lag, measurand="displayed"):
    """Return the drains after 95, 65, 53 % at 0, 60, 120 min: 30 and 12 pp/h as displayed."""
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [95, 65, 53]},
        assumptions=replace(BARE, display_lag_min=lag),
    )
    frame = phase_drain(s, Settings())
    return frame[frame["measurand"] == measurand].set_index("phase")


@pytest.mark.parametrize("measurand", ["displayed", "true_charge"])
def test_lag_by_hand(measurand):
    """Lag 0 to 2 min, 1 min in the middle = 1/60 h.

    s₁ = 65 − (95 − s₁)/60, so s₁ = (65 − 95/60)/(59/60) = 63.41667/0.983333 = 64.4915;
    s₂ = 53 − (s₁ − s₂)/60, so s₂ = (53 − 1.074859)/0.983333 = 52.8052.
    d₁ = 30.5085, d₂ = 11.6863: 12 + (11.69 − 30.51)/60 = 12 − 0.3137 = 11.6863.
    """
    found = drains(2.0, measurand)
    assert found.loc["p1", "drain_pp"] == pytest.approx(30.5085, abs=1e-4)
    assert found.loc["p2", "drain_pp"] == pytest.approx(11.6863, abs=1e-4)


def test_lag_is_one_error_for_all_readings():
    """Without lag u = √(2/12) = 0.4082; with it three more terms than that.

    Readings: s₁ = 1.016949 D₁ − 0.016949 D₀ and d₂ = 1.016949 (s₁ − D₂), so that
    c = (−0.01724, 1.03419, −1.01695) and Σc²/12 = 2.10402/12 = 0.17534.
    Lag: one error in time for both readings, u = 2 min/√12 = 0.0096225 h, times
    1.03419 × 30.5085 − 1.01695 × 11.6863 = 19.667 pp/h: 0.18925² = 0.03582.
    Unevenness, 10 % of each extrapolation: 0.05259² + 0.01981² = 0.00316.
    √(0.17534 + 0.03582 + 0.00316) = 0.4629. With an error of each reading's own instead of a
    common one it would be √(0.17534 + (31.551² + 11.884²) × 0.0096225² + 0.00316) = 0.5327.
    """
    assert drains(0.0).loc["p2", "drain_pp_u"] == pytest.approx(0.4082, abs=1e-4)
    assert drains(2.0).loc["p2", "drain_pp_u"] == pytest.approx(0.4629, abs=3e-4)


def test_equal_rates_do_not_notice_a_lag():
    """12 pp/h before and after: what the display is behind at one end it is at the other."""
    s = make_session(
        phases={"p1": 60, "p2": 60, "p3": 60},
        readings={"a": [95, 83, 71, 59]},
        assumptions=replace(BARE, display_lag_min=5.0),
    )
    frame = phase_drain(s, Settings()).query("measurand == 'displayed'").set_index("phase")
    assert frame.loc["p3", "drain_pp"] == pytest.approx(12.0, abs=0.03)


def test_the_budget_says_what_was_stated():
    stated = replace(BARE, display_lag_min=2.0, stated=frozenset({"display_lag_min"}))
    s = make_session(phases={"p1": 60}, readings={"a": [95, 65]}, assumptions=stated)
    row = budget(s, Settings()).set_index("source").loc["time of reading"]
    assert row["value"] == "0; display behind by up to 2"
    assert "in part" in row["basis"]
