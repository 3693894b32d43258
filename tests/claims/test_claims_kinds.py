"""Claims on kinds of device: verdicts worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.claims.kinds_compared import kind_pairs
from kit.results import Settings
from kit.session import Device
from kit.units import NO_BREAK
from tests.helpers.builders import make_session, seen
from tests.helpers.claimed import one, table


def pair_of_kinds(first, second, *, health=100.0, health_u=0.0, **fields):
    """Two units of unlike kinds, off within a minute of ``first`` and ``second`` minutes."""
    devices = [Device(id=k, label=k, health_pct=health, health_u_pct=health_u) for k in ("A", "B")]
    return make_session(
        devices=devices, phases={"day": 1000}, start=None,
        power_offs={"A": seen(first - 1, first), "B": seen(second - 1, second)}, **fields,
    )  # fmt: skip


def test_kinds_need_fifty_minutes_of_six_hundred():
    # 3 % of about 600 min each: 1.96 sqrt(18^2 + 18^2) = 49.9 min; the windows add next to nothing.
    short = one(pair_of_kinds(610, 570), kind="kind_of_device")
    assert short["verdict"] == "cannot_be_said"
    assert short["needed"] == pytest.approx(1.96 * 0.03 * np.hypot(610, 570), abs=0.05)
    assert "3 % scatter between runs and units" in short["reason"]
    assert "does not show" in short["wording"]
    far = one(pair_of_kinds(640, 580), kind="kind_of_device")
    assert far["verdict"] == "supported"
    assert "can be expected to last longer" in far["wording"]
    # the fact of the session stands either way, and is worded apart
    assert one(pair_of_kinds(610, 570), code="outlasted")["verdict"] == "supported"


def test_several_kinds_share_the_margin():
    devices = [Device(id=k, label=k, health_pct=100.0, health_u_pct=0.0) for k in "ABC"]
    offs = {"A": seen(669, 670), "B": seen(609, 610), "C": seen(549, 550)}
    session = make_session(devices=devices, phases={"day": 1000}, power_offs=offs, start=None)
    frame = table(session, kind="kind_of_device").set_index(["device_a", "device_b"])
    # three pairs: z = Phi^-1(1 - .05/6) = 2.394; A - B needs 2.394 * .03 * hypot(670, 610) = 65.1;
    # B - C 2.394 * .03 * hypot(610, 550) = 59.0 < 60
    assert frame.loc[("A", "B"), "needed"] == pytest.approx(65.1, abs=0.1)
    assert frame["verdict"].to_dict() == {
        ("A", "B"): "cannot_be_said", ("A", "C"): "supported", ("B", "C"): "supported",
    }  # fmt: skip
    declared = replace(session, declared_comparison=("A", "B"))
    frame = table(declared, kind="kind_of_device").set_index(["device_a", "device_b"])
    # by itself: 1.96 * .03 * 906.1 = 53.3 < 60
    assert frame.loc[("A", "B"), "needed"] == pytest.approx(53.3, abs=0.1)
    assert frame.loc[("A", "B"), "verdict"] == "supported"


def test_unknown_battery_health_is_an_uncertainty():
    # .10/sqrt 3/.95 = 6.08 % and 3 %: 6.78 %: 1.96 * .0678 * hypot(640, 580) = 114.7 min
    session = pair_of_kinds(640, 580, health=None)
    claim = one(session, kind="kind_of_device")
    assert claim["needed"] == pytest.approx(114.7, abs=0.2)
    assert "battery health not recorded" in claim["reason"]


def test_known_battery_health_scales_the_runtime():
    # 510 min on 85 % of capacity is 600 on all of it: no difference to a new one of 600.
    devices = [
        Device(id="A", label="A", health_pct=100.0, health_u_pct=2.0),
        Device(id="B", label="B", health_pct=85.0, health_u_pct=2.0),
    ]
    session = make_session(
        devices=devices, phases={"day": 1000}, start=None,
        power_offs={"A": seen(599, 600), "B": seen(509, 510)},
    )  # fmt: skip
    claim = one(session, kind="kind_of_device")
    # middles 600 and 510 (windows [599, 601), [509, 511)): 600 - 510/.85 = 0
    assert claim["lead"] == pytest.approx(0, abs=1e-9)
    assert claim["verdict"] == "cannot_be_said"
    assert "0 min apart at equal battery health, " in claim["reason"].replace(NO_BREAK, " ")


def test_a_health_not_recorded_is_referred_to_the_same_battery_as_a_recorded_one():
    # 513 min on 90 % of capacity is 570 on all of it; 570 min on a battery of 85 to 105 %, 95 in
    # the middle, is 600 on all of it: B is 30 ahead, though both are compared as 570 unscaled
    devices = [
        Device(id="A", label="A", health_pct=90.0, health_u_pct=2.0),
        Device(id="B", label="B"),
    ]
    session = make_session(
        devices=devices, phases={"day": 1000}, start=None,
        power_offs={"A": seen(512, 513), "B": seen(569, 570)},
    )  # fmt: skip
    claim = one(session, kind="kind_of_device")
    assert claim["device_a"] == "B"
    assert claim["lead"] == pytest.approx(600 - 570, abs=1e-9)


def test_kinds_that_started_from_unlike_charges_are_not_compared():
    def said(start: float) -> tuple[str, str]:
        session = make_session(
            phases={"day": 1000}, readings={"A": [100], "B": [start]}, start=None,
            power_offs={"A": seen(900, 901), "B": seen(599, 600)},
        )  # fmt: skip
        claim = one(session, kind="kind_of_device")
        return claim["verdict"], claim["reason"]

    assert said(98)[0] == "supported"
    assert said(70) == ("cannot_be_said", "they did not start from the same charge")


def test_two_units_of_a_kind_measure_their_scatter():
    # Units 600 and 620 of A: mean 610, u = 10 with 1 degree of freedom. Of two units no less than
    # the stated 3 %: 18.3/sqrt 2 = 12.9; with what another day would change, 18.3 in all.
    devices = [
        Device(id="A1", label="A1", model="A", health_pct=100.0, health_u_pct=0.0),
        Device(id="A2", label="A2", model="A", health_pct=100.0, health_u_pct=0.0),
        Device(id="B", label="B", health_pct=100.0, health_u_pct=0.0),
    ]
    session = make_session(
        devices=devices, phases={"day": 1000}, start=None,
        power_offs={"A1": seen(599, 600), "A2": seen(619, 620), "B": seen(499, 500)},
    )  # fmt: skip
    claim = one(session, kind="kind_of_device")
    # B: 3 % of 500 = 15. 1.96 hypot(18.3, 15) = 46.4 < 110 (windows .58 each)
    assert claim["verdict"] == "supported"
    assert claim["needed"] == pytest.approx(46.4, abs=0.1)
    assert "two units on one day" in claim["reason"]


def test_units_further_apart_than_stated_count_with_their_own_scatter():
    # Units 560 and 660 of A: u = 50 with 1 degree of freedom, t = 12.706: 635 min, which is more
    # than what is stated.
    devices = [
        Device(id=k, label=k, model=k[0], health_pct=100.0, health_u_pct=0.0)
        for k in ("A1", "A2", "B")
    ]
    session = make_session(
        devices=devices, phases={"day": 1000}, start=None,
        power_offs={"A1": seen(559, 560), "A2": seen(659, 660), "B": seen(499, 500)},
    )  # fmt: skip
    claim = one(session, kind="kind_of_device")
    # and 1.96 times 15 of B, windows
    assert claim["needed"] == pytest.approx(np.hypot(635.3, 1.96 * 15), abs=0.5)
    assert claim["verdict"] == "cannot_be_said"


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda s: replace(s, devices=(
            s.devices[0], replace(s.devices[1], conditions={"volume": "0 %"}))),
         "different settings (volume)"),
        (lambda s: replace(s, charges=make_session(
            devices=["A", "B"], phases={"day": 1000},
            charges=[{"device": "A", "start_min": 5.0, "end_min": 9.0}]).charges),
         "charged during a run"),
    ],
)  # fmt: skip
def test_kinds_that_cannot_be_compared(change, why):
    claim = one(change(pair_of_kinds(900, 500)), kind="kind_of_device")
    assert claim["verdict"] == "cannot_be_said"
    assert why in claim["reason"]


@pytest.mark.parametrize(
    ("start", "end", "verdict"),
    [
        (-600.0, 0.0, "supported"),  # over when the run began
        (560.0, 700.0, "supported"),  # B was off before 501
        (450.0, 560.0, "cannot_be_said"),
    ],
)
def test_a_charge_bars_kinds_only_where_it_made_a_runtime_longer(start, end, verdict):
    charge = {"run": 1, "device": "B", "start_min": start, "end_min": end}
    claim = one(pair_of_kinds(900, 500, charges=[charge]), kind="kind_of_device")
    assert claim["verdict"] == verdict


def test_kinds_whose_end_was_not_seen():
    survivor = make_session(
        devices=["A", "B"], phases={"day": 1000}, start=None,
        power_offs={"A": seen(500, 503)}, still_on={"B": 480.0},
    )  # fmt: skip
    claim = one(survivor, kind="kind_of_device")
    assert "not seen to its end" in claim["reason"]
    nothing = make_session(devices=["A", "B"], phases={"day": 1000}, power_offs={"A": seen(5, 6)})
    assert "no runtime" in one(nothing, kind="kind_of_device")["reason"]


def test_survivor_of_a_kind_counts_with_its_lower_bound():
    session = make_session(
        devices=[Device(id=k, label=k, health_pct=100.0, health_u_pct=0.0) for k in "AB"],
        phases={"day": 1000}, start=None, power_offs={"B": seen(499, 500)}, still_on={"A": 640.0},
    )  # fmt: skip
    claim = one(session, kind="kind_of_device")
    assert claim["verdict"] == "supported"
    # off from 499 until before 501: 640 - 501
    assert claim["lead"] == pytest.approx(139)
    assert np.isnan(claim["lead_high"])
    assert "at least" in claim["wording"]


def test_one_unit_is_not_the_kind():
    # Equal models whose units and runs scatter by 3 %, one unit and one run of each, 6 kinds.
    # Naive: a difference of more than 3 min in this session is a difference of the kinds.
    rng = np.random.default_rng(74)
    devices = [
        Device(id=f"d{k}", label=f"d{k}", health_pct=100.0, health_u_pct=0.0) for k in range(6)
    ]
    session = make_session(devices=devices, phases={"day": 1000}, start=None)
    wrong, pair_wrong, naive, pairs_made = 0, 0, 0, 0
    sessions = 1500
    for _ in range(sessions):
        hours = 10 * (1 + 0.03 * rng.standard_normal(6))
        frame = pd.DataFrame(
            {
                "run": 1,
                "device": [d.id for d in devices],
                "runtime_h": hours,
                "runtime_h_u": 1.0 / 60.0,
                "runtime_h_low": hours,
                "runtime_h_high": hours,
                "right_censored": False,
            }
        )
        found = kind_pairs(session, frame, Settings())
        wrong += any(p.supported for p in found)
        naive += sum(p.difference_min > 3 for p in found)
        pairs_made += len(found)
        declared = kind_pairs(replace(session, declared_comparison=("d0", "d1")), frame, Settings())
        pair_wrong += any(p.supported for p in declared if p.comparisons == 1)
    assert naive / pairs_made > 0.85
    # 4 standard errors of 5 % in 1500 sessions: 2.3 %
    assert wrong / sessions <= 0.05
    assert pair_wrong / sessions == pytest.approx(0.05, abs=0.023)
