"""Rules on conditions, incidents and the design of the comparison."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kit.session import Assumptions, Session
from tests.helpers.builders import join_runs
from tests.helpers.clean_session import (
    CONDITIONS,
    PHASES,
    READINGS,
    clean,
    found,
    one,
    with_device,
    with_phase,
)


def cond(**values: object) -> Session:
    return clean(conditions={k: v for k, v in {**CONDITIONS, **values}.items() if v is not None})


def test_missing_conditions_are_one_list() -> None:
    session = cond(network=None, volume="not recorded", brightness_pct=None, luminance_cd_m2="")
    finding = one(session, "condition-missing")
    assert (finding.severity, finding.file, finding.column) == (
        "caution", "session.toml", "conditions",
    )  # fmt: skip
    assert finding.found == "three conditions not recorded: network, brightness and volume"
    assert "nobody can repeat the session" in finding.remedy


def test_one_of_several_keys_is_enough_and_a_room_log_stands_for_its_ends() -> None:
    assert not found(cond(luminance_cd_m2=None), "condition-missing")
    rows = [{"device": "", "t_min": t, "temperature_c": 21.0} for t in (0, 300)]
    session = clean(
        conditions={k: v for k, v in CONDITIONS.items() if not k.startswith("room")},
        temperatures=rows,
    )
    assert not found(session, "condition-missing")


def test_a_condition_recorded_for_every_device_is_not_missing() -> None:
    session = cond(network=None)
    for name in "abc":
        session = with_device(session, name, conditions={"network": "cable"})
    assert not found(session, "condition-missing")


def test_software_versions() -> None:
    session = with_device(clean(), "b", software="")
    assert one(session, "condition-missing").found == (
        "one condition not recorded: software version of 'b'"
    )
    session = with_device(clean(), "b", software="Tideline 4.2")
    note = one(session, "software-differs")
    assert (note.severity, note.file, note.column) == ("note", "session.toml", "devices.software")
    assert note.found == "2 software versions in the row"
    for name in "ab":
        session = with_device(session, name, model="Limpet 10")
    caution = found(session, "software-differs")[0]
    assert caution.severity == "caution"
    assert caution.found == (
        "unlike software on units of 'Limpet 10': 'a' Tideline 5.1 and 'b' Tideline 4.2"
    )
    assert "one version before the next session" in caution.remedy
    assert not found(clean(), "software-differs")


def test_per_cent_of_a_slider_is_not_light() -> None:
    finding = one(cond(luminance_cd_m2=None), "brightness-not-luminance")
    assert (finding.severity, finding.file) == ("caution", "session.toml")
    assert finding.column == "conditions.brightness_pct"
    assert finding.found == "brightness as 60 % of the slider and no luminance"
    assert "Equal per cent is not equal light" in finding.remedy
    assert not found(clean(), "brightness-not-luminance")
    assert not found(cond(luminance_cd_m2=None, brightness_pct=None), "brightness-not-luminance")
    some = with_device(cond(luminance_cd_m2=None), "a", conditions={"luminance_cd_m2": 180})
    assert "for 'b' and 'c'" in one(some, "brightness-not-luminance").found


def test_unlike_conditions() -> None:
    session = with_device(clean(), "c", conditions={"power_saver": "on", "start_offset_min": 2})
    finding = one(session, "conditions-differ")
    assert (finding.severity, finding.column) == ("caution", "devices.conditions.power_saver")
    assert finding.found == "unlike values of power_saver: 'a' and 'b' off and 'c' on"
    assert "device and power_saver together" in finding.remedy
    same = with_device(clean(), "c", conditions={"power_saver": "off"})
    assert not found(same, "conditions-differ")
    free = with_device(clean(), "c", conditions={"case": "rubber"})
    assert "'a' and 'b' not recorded and 'c' rubber" in one(free, "conditions-differ").found


@pytest.mark.parametrize(("held", "told"), [(120, 0), (121, 1), ("150", 1), ("overnight", 0)])
def test_held_at_full(held: object, told: int) -> None:
    findings = found(cond(held_full_min=held), "held-at-full")
    assert len(findings) == told
    for finding in findings:
        assert finding.column == "conditions.held_full_min"
        assert "±2 pp more (a guess)" in finding.remedy


def test_room_temperature_change_from_the_setup_and_from_the_log() -> None:
    # 21.5 to 26.5 is 5 K, 21.5 to 27 is 5.5 K
    assert not found(cond(room_end_c=26.5), "room-temperature-changed")
    finding = one(cond(room_end_c="27,0"), "room-temperature-changed")
    assert (finding.severity, finding.file) == ("caution", "session.toml")
    assert finding.column == "conditions.room_end_c"
    assert finding.found == "a room between 21.5 °C and 27 °C, a change of 5.5 K"
    assert "0.5 % per K" in finding.remedy
    rows = [
        {"device": "", "t_min": 200, "temperature_c": 27.5, "line": 44},
        {"device": "a", "t_min": 200, "temperature_c": 41.0, "line": 45},
    ]
    finding = one(clean(temperatures=rows), "room-temperature-changed")
    assert (finding.file, finding.line, finding.column) == ("log.csv", 44, "temperature_c")


def test_an_unusual_room() -> None:
    finding = one(cond(room_start_c=29, room_end_c=30), "room-temperature-unusual")
    assert (finding.severity, finding.column) == ("note", "conditions.room_end_c")
    assert finding.found == "a room at 30 °C"
    assert finding.expected.startswith("18 to 28 °C")
    assert "Results hold for that temperature" in finding.remedy
    assert not found(cond(room_start_c=18, room_end_c=20), "room-temperature-unusual")


@pytest.mark.parametrize(
    ("cause", "found_text", "remedy"),
    [
        ("swelling", "swelling of 'a' at 09:40", "Stop using and charging"),
        ("heat_shutdown", "a shutdown by heat of 'a' at 09:40", "Let it cool"),
        ("fell off the stand", "an incident of 'a' at 09:40: fell off the stand", "in mind"),
        ("", "an incident of 'a' at 09:40: no cause given", "in mind"),
    ],
)
def test_incidents(cause: str, found_text: str, remedy: str) -> None:
    rows = [{"device": "a", "phase": "p2", "t_min": 100, "cause": cause, "line": 33}]
    finding = one(clean(incidents=rows), "incident")
    assert (finding.severity, finding.line, finding.column) == ("caution", 33, "cause")
    assert finding.found == found_text
    assert remedy in finding.remedy
    assert not found(clean(), "incident")


def test_one_unit_and_one_run() -> None:
    finding = one(clean(), "one-unit-one-run")
    assert finding.severity == "note"
    assert finding.found == "one unit and one run of every model"
    # 1.96 √2 × 0.03 × 562 min = 46.7 min
    assert "below about 47 min" in finding.remedy
    assert not found(join_runs(clean(), clean()), "one-unit-one-run")


def test_some_models_have_several_units() -> None:
    session = clean()
    for name in "ab":
        session = with_device(session, name, model="Limpet 10")
    assert one(session, "one-unit-one-run").found == "one unit and one run of 'c'"
    assert not found(with_device(session, "c", model="Limpet 10"), "one-unit-one-run")


def test_stated_scatter_is_used() -> None:
    session = clean(assumptions=Assumptions(run_unit_cv=0.05))
    # 1.96 √2 × 0.05 × 562 = 77.9
    assert "below about 78 min" in one(session, "one-unit-one-run").remedy


def test_order_not_balanced() -> None:
    # without the repeated map: p1 ends at 91.3 %, … p4 at 30 %
    session = clean(
        phases=tuple(replace(p, activity=p.id) for p in PHASES[:4]),
        lengths={},
        readings={k: [100, 80, 60, 45, 30] for k in READINGS},
    )
    finding = one(session, "order-not-balanced")
    assert finding.severity == "note"
    assert "'p1' near 80 %, 'p4' near 30 %" in finding.found
    assert "11 to 13 % faster at 20 % than at 90 %" in finding.remedy


def test_a_reference_activity_first_and_last_is_balanced_enough() -> None:
    assert not found(clean(), "order-not-balanced")


def test_levels_that_stay_alike_are_no_matter() -> None:
    session = clean(
        phases=tuple(replace(p, activity=p.id) for p in PHASES[:4]),
        lengths={},
        readings={k: [100, 95, 90, 85, 80] for k in READINGS},
    )
    assert not found(session, "order-not-balanced")


def test_no_warm_up() -> None:
    finding = one(cond(off_charger_min=4), "no-warm-up")
    assert (finding.severity, finding.file, finding.phase) == ("note", "session.toml", "p1")
    assert finding.column == "conditions.off_charger_min"
    assert finding.found == "the first phase, 'p1', 4 min after unplugging"
    assert "0.9 to 2.5 pp" in finding.remedy
    assert "at an unknown time" in one(cond(off_charger_min=None), "no-warm-up").found
    assert not found(cond(off_charger_min=15), "no-warm-up")
    assert not found(with_phase(cond(off_charger_min=4), "p1", evaluated=False), "no-warm-up")


def test_health_unknown() -> None:
    finding = one(with_device(clean(), "b", health_pct=None), "health-unknown")
    assert (finding.severity, finding.device) == ("note", "b")
    assert (finding.file, finding.column) == ("session.toml", "devices[2].health_pct")
    assert finding.found == "no battery health of 'b'"
    assert "0.95 ± 0.1" in finding.remedy
    assert not found(clean(), "health-unknown")
