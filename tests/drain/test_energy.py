"""Energy and power by hand; watt-hours, percentages, classes from their sources."""

from __future__ import annotations

import numpy as np
import pytest

from kit.drain.endurance_index import endurance_index_class, endurance_index_formula
from kit.drain.energy import display_area_cm2, energy, specific_power
from kit.drain.rated_energy import (
    DEFAULT_TOLERANCE_PCT,
    HEALTH_UNKNOWN,
    rated_energy,
    watt_hours,
)
from kit.results import RESULT_COLUMNS, Settings
from kit.session import Assumptions, Device, Gauge, Phase
from tests.helpers.builders import BARE, make_session


def battery(**fields):
    return Device(**{"id": "a", "label": "A", "gauge": Gauge(counts="energy"), **fields})


def one(device, readings=(87, 75), minutes=60, **fields):
    s = make_session(
        devices=[device], phases={"p": minutes}, readings={"a": list(readings)},
        assumptions=BARE, **fields,
    )  # fmt: skip
    return energy(s, Settings()).iloc[0]


def test_energy_by_hand():
    """12 pp of 15 Wh, u 0.408 pp; tolerance 3 %, health 1.00 with u 0.02, one hour.

    E = 1.80 Wh; (u/E)² = (0.408/12)² + 0.03²/3 + 0.02² = 0.001157 + 0.0003 + 0.0004,
    u/E = 0.0431, u = 0.0776 Wh, U = 2u = 0.155 Wh; the same in W.
    """
    found = one(battery(rated_energy_wh=15.0, rated_energy_tol_pct=3.0, health_pct=100.0,
                        health_u_pct=2.0))  # fmt: skip
    assert found["energy_wh"] == pytest.approx(1.80)
    assert found["energy_wh_u"] == pytest.approx(0.0776, abs=1e-4)
    assert found["energy_wh_high"] - 1.80 == pytest.approx(0.155, abs=1e-3)
    assert found["power_w"] == pytest.approx(1.80)
    assert found["power_w_low"] == pytest.approx(1.645, abs=1e-3)
    assert found["flags"] == "may_contain_sync"


def test_resolution_alone():
    """55 → 48 % of 20 Wh in an hour: 1.40 W, u = 20/100/√6 = 0.0816 Wh, U = 0.163 Wh (12 %)."""
    found = one(
        battery(rated_energy_wh=20.0, rated_energy_tol_pct=0.0, health_pct=100.0,
                health_u_pct=0.0),
        readings=(55, 48),
    )  # fmt: skip
    assert found["power_w"] == pytest.approx(1.40)
    assert found["energy_wh_u"] == pytest.approx(20 / 100 / 6**0.5)
    assert (found["power_w_high"] - 1.40) / 1.40 == pytest.approx(0.117, abs=1e-3)


def test_length_of_the_phase_counts_for_power_only():
    """u_L = 0.6 min of 30: 2 %; E = 0.1 × 20 = 2 Wh, u_E = 0.0816; P = 4 W.

    u_P = √(0.0816² + (2 × 0.02)²)/0.5 = 0.1818 W.
    """
    s = make_session(
        devices=[battery(rated_energy_wh=20.0, rated_energy_tol_pct=0.0, health_pct=100.0,
                         health_u_pct=0.0)],
        phases={"p": 30},
        readings={"a": [70, 60]},
        assumptions=Assumptions(reading_delay_min=0, phase_length_u_min=0.6, gauge_error_pp=0),
    )  # fmt: skip
    found = energy(s, Settings()).iloc[0]
    assert found["energy_wh_u"] == pytest.approx(0.0816, abs=1e-4)
    assert found["power_w_u"] == pytest.approx(0.1818, abs=1e-4)


def test_what_is_not_recorded_is_assumed_and_said():
    found = rated_energy(battery(rated_capacity_mah=4400.0, nominal_voltage_v=11.1))
    assert found.energy_wh == pytest.approx(48.84 * HEALTH_UNKNOWN)
    assert found.flags == ("energy_from_capacity", "tolerance_assumed", "health_unknown")
    # 3 %/√3 and 10 %/√3 of 0.95
    expected = np.hypot(DEFAULT_TOLERANCE_PCT / 100 / 3**0.5, 0.10 / 3**0.5 / 0.95)
    assert found.relative_u == pytest.approx(expected)
    assert rated_energy(battery()) is None
    assert rated_energy(battery(rated_capacity_mah=4400.0)) is None


def test_no_rated_energy_no_energy():
    found = one(battery())
    assert np.isnan(found["energy_wh"])
    assert np.isnan(found["power_w_high"])


def test_a_charge_gauge_adds_the_level_effect():
    """At 20 %: 10/1.0225 = 9.780 pp, 0.220 pp linearly."""
    known = {"rated_energy_wh": 20.0, "rated_energy_tol_pct": 0.0, "health_pct": 100.0,
             "health_u_pct": 0.0}  # fmt: skip
    found = one(battery(gauge=Gauge(counts="charge"), **known), readings=(25, 15))
    assert found["energy_wh"] == pytest.approx(2.0 / 1.0225)
    half = 2 * (20 / 100 / 6**0.5) / 1.0225 + 0.220 * 0.2
    assert found["energy_wh_high"] == pytest.approx(2.0 / 1.0225 + half, abs=1e-3)
    assert "gauge_curve" in found["flags"]


def test_frame():
    s = make_session(
        devices=[battery(rated_energy_wh=20.0), Device(id="b", label="B")],
        phases={"p": 60, "q": 60},
        readings={"a": [90, 80, 70], "b": [90, 80, 70]},
    )
    frame = energy(s, Settings())
    assert tuple(frame.columns) == RESULT_COLUMNS["energy"]
    assert frame["device"].tolist() == ["a", "b"] * 2
    assert np.isnan(frame["energy_wh"]).tolist() == [False, True] * 2


def test_specific_power():
    """10 in, 4 to 3: 309.7 cm². 3.097 W on it: 10 mW/cm²; at 200 cd/m²: 0.02 cd/cm², 500 mW/cd."""
    device = battery(
        rated_energy_wh=30.97, rated_energy_tol_pct=0.0, health_pct=100.0, health_u_pct=0.0,
        display_diagonal_in=10.0, display_px=(2048, 1536),
    )  # fmt: skip
    s = make_session(
        devices=[device],
        phases=[
            Phase(id="p", label="p", planned_min=60),
            Phase(id="dark", label="dark", planned_min=60, screen_on=False),
        ],
        readings={"a": [60, 50, 49]},
        conditions={"luminance_cd_m2": 200},
        assumptions=BARE,
    )
    frame = specific_power(s, energy(s, Settings()))
    assert frame["phase"].tolist() == ["p"]
    assert frame.loc[0, "area_cm2"] == pytest.approx(309.7, abs=0.1)
    assert frame.loc[0, "power_mw_per_cm2"] == pytest.approx(10.0, abs=0.01)
    assert frame.loc[0, "power_mw_per_cd"] == pytest.approx(500.0, abs=0.5)
    assert display_area_cm2(10.0, (1536, 2048)) == pytest.approx(309.68, abs=0.01)


@pytest.mark.parametrize(
    ("mah", "volt", "wh"), [(4400, 11.1, 48.84), (6000, 3.7, 22.2), (2500, 10.8, 27.0)]
)
def test_watt_hours(mah, volt, wh):
    """11.1 V × 4.4 Ah: 48.8 Wh on a trade page, 48.84 from memory; 22.2 Wh: a dangerous-goods
    advisers' page; 27 Wh: a trade page."""
    assert watt_hours(mah, volt) == pytest.approx(wh)


def test_endurance_index_formula():
    # 38.70 h, 3.85 V, 5000 mAh: 38.70/19 250 × 1000 = 2.0104
    assert float(endurance_index_formula(38.70, 3.85, 5000)) == 2.01
    # rounded to two decimals of an hour first
    assert float(endurance_index_formula(38.704, 3.85, 5000)) == 2.01


@pytest.mark.parametrize(
    ("kind", "index", "letter"),
    [
        ("tablet", 7.91, "A"), ("tablet", 7.90, "B"), ("tablet", 6.32, "C"),
        ("tablet", 5.06, "D"), ("tablet", 4.04, "E"), ("tablet", 3.24, "F"),
        ("tablet", 2.60, "F"), ("tablet", 2.59, "G"),
        ("smartphone", 2.71, "A"), ("smartphone", 2.70, "B"), ("smartphone", 2.30, "C"),
        ("smartphone", 1.95, "D"), ("smartphone", 1.66, "E"), ("smartphone", 1.41, "F"),
        ("smartphone", 1.20, "G"), ("smartphone", 2.01, "C"),
    ],
)  # fmt: skip
def test_classes(kind, index, letter):
    """Regulation (EU) 2023/1669, Annex II, as quoted by secondary sources; limits belong below."""
    assert endurance_index_class(index, kind) == letter
