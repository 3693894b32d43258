"""What a percentage is by the ACPI specification, and the limits of the EU endurance classes.

Sources: ACPI 3.9.3 (battery gas gauge), seen only as quoted in a question-and-answer thread, not in
the specification; the form seen again in ACPI 6.0, 10.2.2.6, Figure 10-62; the numbers of the
example from a public listing of a battery's fields (seen), the ratios derived.
Regulation (EU) 2023/1669, annex II, as quoted by two secondary pages (seen); annex IV for the
formula, whose factor 1000 is derived from the units.
"""

from __future__ import annotations

import pytest

from kit.drain.endurance_index import endurance_index_class, endurance_index_formula
from kit.drain.energy import energy
from kit.results import Settings
from kit.session import Assumptions, Device, Gauge
from kit.simulate import TrueDevice, TrueGauge, track
from tests.helpers.builders import make_session

LEFT_MWH, LAST_FULL_MWH, DESIGN_MWH = 28_730.0, 58_730.0, 56_160.0


@pytest.mark.parametrize(
    ("rounding", "shown"), [("truncated", 48.0), ("nearest", 49.0), ("rounded_up", 49.0)]
)
def test_percentage_is_of_the_last_full_charge(rounding, shown):
    """28 730/58 730 = 48.92 %, not 51.16 % of the design capacity; no rounding is prescribed.

    One driver is known to have truncated and later rounded (seen), so both conventions exist. A
    simulated device that holds 58.73 Wh when full and has drawn 3 W for ten hours, 30 Wh, has
    28.73 Wh left and shows that.
    """
    gauge = TrueGauge(rounding=rounding)
    device = TrueDevice(id="a", capacity_wh=LAST_FULL_MWH / 1000.0, power_w={}, gauge=gauge)
    found = track(device, [0, 600], [3.0])
    assert float(found.energy_pct(600.0)) == pytest.approx(48.92, abs=0.005)
    assert float(found.display(600.0)) == shown


def test_energy_takes_health_for_the_last_full_charge():
    """Rated 56.16 Wh and health 58.73/56.16: from 100 to 51 % are 0.49 · 58.73 = 28.78 Wh."""
    health = 100.0 * LAST_FULL_MWH / DESIGN_MWH
    device = Device(
        id="a", label="a", rated_energy_wh=DESIGN_MWH / 1000.0, health_pct=health,
        health_u_pct=0.0, rated_energy_tol_pct=0.0, gauge=Gauge(counts="energy"),
    )  # fmt: skip
    session = make_session(
        devices=[device], phases={"p1": 60}, readings={"a": [100, 51]},
        assumptions=Assumptions(reading_delay_min=0.0, gauge_error_pp=0.0),
    )  # fmt: skip
    found = energy(session, Settings()).iloc[0]
    assert found["energy_wh"] == pytest.approx(0.49 * 58.73, rel=1e-6)


LIMITS = {
    "tablet": {"A": 7.90, "B": 6.32, "C": 5.06, "D": 4.04, "E": 3.24, "F": 2.59},
    "smartphone": {"A": 2.70, "B": 2.30, "C": 1.95, "D": 1.66, "E": 1.41, "F": 1.20},
}
"""Class → the index that it must exceed (1/W)."""


@pytest.mark.parametrize("kind", sorted(LIMITS))
def test_every_limit_belongs_to_the_class_below(kind):
    below = [*"BCDEFG"]
    for (letter, limit), lower in zip(LIMITS[kind].items(), below, strict=True):
        assert endurance_index_class(limit + 0.01, kind) == letter
        assert endurance_index_class(limit, kind) == lower
    assert endurance_index_class(0.01, kind) == "G"


def test_index_formula_by_hand():
    """38.70 h, 3.85 V, 5000 mAh: 38.70/(3.85 · 5000) · 1000 = 2.0104, stated as 2.01: class C."""
    index = float(endurance_index_formula(38.70, 3.85, 5000.0))
    assert index == pytest.approx(2.01)
    assert endurance_index_class(index, "smartphone") == "C"
