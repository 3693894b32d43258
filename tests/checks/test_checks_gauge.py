"""Rules on the gauge: steps, savers, looks that wake, jumps."""

from __future__ import annotations

import pytest

from kit.session import Gauge, Session
from tests.helpers.clean_session import (
    CONDITIONS,
    DEVICES,
    OFF,
    PHASES,
    READINGS,
    clean,
    found,
    one,
    with_device,
)


def test_multiples_of_five() -> None:
    # four different values below 100, all multiples of 5: by chance 5⁻⁴ = 0.16 %
    session = clean(readings={**READINGS, "a": [100, 85, 70, 55, 45]})
    finding = one(session, "gauge-steps")
    assert (finding.severity, finding.line, finding.column) == ("note", 2, "soc_pct")
    assert finding.found == "every reading of 'a' a multiple of 5 (5 different levels)"
    assert "gauge.step_pct = 5" in finding.remedy


def test_three_multiples_of_five_or_four_even_numbers_are_chance() -> None:
    assert not found(clean(readings={**READINGS, "a": [100, 85, 70, 55]}), "gauge-steps")
    assert not found(clean(readings={**READINGS, "a": [100, 88, 74, 58, 46]}), "gauge-steps")


def test_a_stated_step_is_taken_at_its_word_unless_a_reading_contradicts_it() -> None:
    fives = clean(readings={**READINGS, "a": [100, 85, 70, 55, 45]})
    assert not found(with_device(fives, "a", gauge=Gauge(step_pct=5)), "gauge-steps")
    wrong = clean(readings={**READINGS, "a": [100, 85, 70, 57, 45]})
    finding = one(with_device(wrong, "a", gauge=Gauge(step_pct=5)), "gauge-steps")
    # checkpoint 3 of a is on line 2 + 3·3
    assert (finding.severity, finding.line) == ("caution", 11)
    assert finding.found == "57 % for 'a', whose gauge is stated to move in steps of 5 %"
    assert "Correct gauge.step_pct" in finding.remedy


LOW = {"a": [100, 75, 50, 26, 17], "b": [100, 80, 62, 45, 30], "c": [100, 70, 45, 19, 9]}


def low(**changes: object) -> Session:
    return clean(
        **{
            "readings": LOW,
            "power_offs": {k: {**v, "noted_min": 300, "last_on_min": 298} for k, v in OFF.items()},
            **changes,
        }
    )


def without(*keys: str) -> dict[str, object]:
    return {k: v for k, v in CONDITIONS.items() if k not in keys}


def test_phases_in_which_a_saver_may_start() -> None:
    session = low(conditions=without("power_saver", "power_saver_threshold_pct"))
    by_phase = {f.phase: f for f in found(session, "power-saver-may-start")}
    assert set(by_phase) == {"p3", "p4", "p5"}
    finding = by_phase["p4"]
    assert (finding.severity, finding.file) == ("caution", "session.toml")
    assert finding.column == "conditions.power_saver"
    assert finding.found == (
        "low levels in 'p4': 'a' 26 to 17 % (passes 20 %) and 'c' 19 to 9 % (passes 15 and 10 %)"
    )
    assert "do not rank this phase" in finding.remedy
    # c: 45 to 19
    assert "'c' 45 to 19 % (passes 20 %)" in by_phase["p3"].found
    # until empty: from the last reading to 0
    assert "'b' 30 to 0 % (passes 20, 15 and 10 %)" in by_phase["p5"].found
    assert "'c' at or below 20 % from the start" in by_phase["p5"].found


def test_a_saver_recorded_as_off_or_starting_at_a_stated_level() -> None:
    assert not found(low(), "power-saver-may-start")
    stated = low(conditions={**CONDITIONS, "power_saver": "on", "power_saver_threshold_pct": 25})
    by_phase = {f.phase: f for f in found(stated, "power-saver-may-start")}
    assert by_phase["p3"].severity == "note"
    assert "passes 25 %" in by_phase["p3"].found
    assert "'c' at or below 25 % from the start" in by_phase["p4"].found
    assert "set alike" in by_phase["p4"].remedy


def test_a_saver_of_one_device_only() -> None:
    session = with_device(
        low(), "c", conditions={"power_saver": "on", "power_saver_threshold_pct": 15}
    )
    by_phase = {f.phase: f for f in found(session, "power-saver-may-start")}
    assert set(by_phase) == {"p4", "p5"}
    assert "'a'" not in by_phase["p4"].found


def test_levels_above_all_thresholds() -> None:
    session = clean(
        conditions=without("power_saver", "power_saver_threshold_pct"),
        phases=PHASES[:4],
        lengths={},
    )
    assert not found(session, "power-saver-may-start")


DARK = (*PHASES[:3], PHASES[3].__class__(**{**PHASES[3].__dict__, "screen_on": False}), PHASES[4])


def test_looks_in_a_dark_phase() -> None:
    # one reading of each device belongs to p4: its end
    finding = one(clean(phases=DARK), "reading-wakes-device")
    assert (finding.severity, finding.file, finding.phase) == ("note", "session.toml", "p4")
    assert finding.column == "devices.gauge.reading_wakes_device"
    assert "up to 1 looks at 'a', 'b' and 'c' in 'p4'" in finding.found
    assert "whether a look wakes 'a', 'b' and 'c' is not recorded" in finding.found
    assert "up to 0.02 pp here" in finding.remedy


def test_a_look_a_minute_in_a_dark_phase() -> None:
    # 60 looks and the end: 61 × 0.02 = 1.22 pp
    rows = [
        {
            "device": "a",
            "phase": "p4",
            "point": "inside",
            "t_min": 180 + i / 1,
            "soc_pct": 58 - i // 5,
        }
        for i in range(60)
    ]
    finding = one(clean(phases=DARK, more_readings=rows), "reading-wakes-device")
    assert finding.severity == "caution"
    assert "up to 61 looks" in finding.found
    assert "up to 1.22 pp here" in finding.remedy


def test_a_look_that_does_not_wake_or_a_lit_phase_is_silent() -> None:
    awake = [
        d.__class__(**{**d.__dict__, "gauge": Gauge(reading_wakes_device=False)}) for d in DEVICES
    ]
    assert not found(clean(phases=DARK, devices=awake), "reading-wakes-device")
    assert not found(clean(), "reading-wakes-device")


@pytest.mark.parametrize(("to", "told"), [(93, True), (97, False)])
def test_a_jump_in_a_dense_log(to: float, told: bool) -> None:
    # 1 min apart; busiest rate 15 pp/h: 5 × 15 × 2/60 = 2.5 pp at most
    rows = [
        {"device": "a", "phase": "p1", "point": "inside", "t_min": t, "soc_pct": v, "line": 60 + t}
        for t, v in ((10, 98), (11, to), (12, min(to, 92)))
    ]
    session = clean(more_readings=rows)
    findings = found(session, "soc-jumps")
    if not told:
        # 97 to 92 in the next minute is the jump then
        assert [f.line for f in findings] == [72]
        return
    (finding,) = findings
    assert (finding.severity, finding.line, finding.column) == ("caution", 71, "soc_pct")
    assert finding.found == "a fall of 'a' from 98 % to 93 % within 1 min"
    assert "by about 5 pp" in finding.remedy


def test_ordinary_boundaries_are_no_jumps() -> None:
    assert not found(clean(), "soc-jumps")


def test_rates_between_which_a_lag_would_tell() -> None:
    # phases of an hour: a drains 12 and then 22 pp/h; 5 min of the difference are 10/12 = 0.83 pp
    fast = clean(readings={**READINGS, "a": [100, 88, 66, 53, 40]})
    finding = one(fast, "display-may-lag")
    assert (finding.severity, finding.phase) == ("note", "p2")
    assert finding.found == (
        "rates in 'p2' far from those in 'p1': 'a', most for 'a' (12 to 22 pp/h)"
    )
    assert "would move 0.8 pp of 'a'" in finding.remedy


def test_rates_between_which_a_lag_would_not_tell() -> None:
    # 12 and 21 pp/h: 9/12 = 0.75 pp, less than the display rounds off
    assert not found(clean(readings={**READINGS, "a": [100, 88, 67, 53, 40]}), "display-may-lag")
