"""Rules on power-offs. The session starts at 08:00; p4 ends and p5 starts at 240 min, 12:00."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kit.session import Assumptions, Session
from tests.helpers.clean_session import OFF, READINGS, clean, found, one


def a_off(**columns: object) -> Session:
    return clean(power_offs={**OFF, "a": {"line": 40, **columns}})


def test_no_end_of_a_device_is_recorded() -> None:
    finding = one(clean(power_offs={"a": OFF["a"], "b": OFF["b"]}), "power-off-missing")
    assert (finding.severity, finding.line, finding.column) == ("caution", None, "event")
    assert finding.device == "c"
    assert finding.found == "no power-off and no still-on mark for 'c' (on at 12:00)"
    assert "power_off row" in finding.remedy
    assert "still_on row" in finding.remedy


def test_nothing_known_of_a_device() -> None:
    session = clean(readings={}, power_offs={})
    assert "no time at which it was on" in found(session, "power-off-missing")[0].found


def test_still_on_at_the_stop() -> None:
    session = clean(power_offs={"a": OFF["a"], "c": OFF["c"]}, still_on={"b": 560})
    finding = one(session, "still-on")
    assert (finding.severity, finding.device) == ("note", "b")
    assert finding.found == "'b' still on at the stop, last seen on at 17:20"
    assert "right-censored" in finding.remedy
    assert not found(clean(), "still-on")


def test_only_the_minute_off_is_noted() -> None:
    # last reading at 240 min, off noted at 470: 230 min before; window 231 min = 3 h 51 min
    finding = one(a_off(noted_min=470, phase="p5"), "last-on-missing")
    assert (finding.line, finding.column) == (40, "last_on")
    assert finding.found == "'a' off at 15:50, last known to be on at 12:00, 230 min before"
    assert "3 h 51 min" in finding.remedy
    assert "off_check_min" in finding.remedy


def test_last_on_noted_or_looked_at_often_is_silent() -> None:
    assert not found(clean(), "last-on-missing")
    watched = clean(
        power_offs={"a": 470, "b": 564, "c": 398}, assumptions=Assumptions(off_check_min=3.0)
    )
    assert not found(watched, "last-on-missing")


def test_a_reading_long_after_the_power_off() -> None:
    # a is off at 200 min, in p4; its readings at 240 min (line 14) says 46 %
    finding = one(a_off(noted_min=200, last_on_min=198, phase="p4"), "reading-after-power-off")
    assert (finding.severity, finding.line, finding.column) == ("caution", 14, "soc_pct")
    assert finding.found == "46 % for 'a', after its power-off at 11:20 (line 40)"
    assert "not used" in finding.remedy


def test_zeros_entered_for_a_dead_device() -> None:
    session = clean(
        readings={**READINGS, "a": [100, 60, 20, 0, 0]},
        power_offs={**OFF, "a": {"noted_min": 150, "last_on_min": 148, "phase": "p3"}},
    )
    finding = one(session, "reading-after-power-off")
    assert finding.found.startswith("0 % for 'a', and 1 more after it, after its power-off")
    assert "leave the cell empty instead of entering 0" in finding.remedy


@pytest.mark.parametrize("phase", ["p3", "p2"])
def test_a_reading_after_a_power_off_without_a_time(phase: str) -> None:
    session = clean(
        readings={**READINGS, "a": [100, 60, 20, 10]},
        power_offs={**OFF, "a": {"phase": phase, "line": 40}},
    )
    finding = one(session, "reading-after-power-off")
    # end of p3 is on line 11, end of p2 on line 8
    assert finding.line == {"p3": 11, "p2": 8}[phase]


def test_a_reading_after_last_seen_on_moves_it() -> None:
    rows = [
        {"device": "a", "phase": "p5", "point": "inside", "t_min": 469, "soc_pct": 1, "line": 60}
    ]
    finding = one(clean(more_readings=rows), "reading-after-power-off")
    assert (finding.severity, finding.line) == ("note", 60)
    # 08:00 + 469 min = 15:49, last seen on 468 min = 15:48
    assert "at 15:49, after it was last seen on at 15:48" in finding.found
    assert "taken as the time last seen on" in finding.remedy


def test_a_reading_in_the_minute_of_the_power_off_is_no_fault() -> None:
    rows = [{"device": "a", "phase": "p5", "point": "inside", "t_min": 468, "soc_pct": 1}]
    assert not found(clean(more_readings=rows), "reading-after-power-off")


def test_a_power_off_in_another_phase() -> None:
    # noted 250–252 min, in p5 (from 240 min); logged in p3 (120 to 180 min, 10:00 to 11:00)
    finding = one(a_off(noted_min=252, last_on_min=250, phase="p3"), "power-off-outside-phase")
    assert (finding.severity, finding.line, finding.column) == ("caution", 40, "clock")
    assert finding.found == "'a' off between 12:10 and 12:13, logged in 'p3'"
    assert finding.expected == "a time within 'p3' (10:00 to 11:00)"
    assert "lies in the phase 'p5'" in finding.remedy


def test_a_power_off_in_a_gap() -> None:
    # 20 min between p3 (ends 180) and p4 (starts 200)
    session = clean(
        gaps={"p4": 20},
        readings={**READINGS, "a": [100, 60, 30, 5]},
        power_offs={**OFF, "a": {"noted_min": 190, "last_on_min": 188, "phase": "p4", "line": 40}},
    )
    finding = one(session, "power-off-outside-phase")
    assert "in the gap between 'p3' and 'p4'" in finding.remedy
    assert "leave the phase empty" in finding.remedy


def test_a_power_off_after_the_last_phase_or_before_the_first() -> None:
    late = a_off(noted_min=700, last_on_min=698, phase="p5")
    assert (
        "after the end of the last timed phase, 'p5'" in one(late, "power-off-outside-phase").remedy
    )
    early = clean(
        gaps={"p1": 30},
        readings={"b": READINGS["b"]},
        power_offs={"a": {"noted_min": 5, "last_on_min": 3, "phase": "p1"}},
    )
    assert "before the start of 'p1'" in one(early, "power-off-outside-phase").remedy


def test_a_power_off_that_straddles_a_boundary() -> None:
    # last on 238 (p4), off 242 (p5, starts 240): partly in p5
    session = clean(
        readings={**READINGS, "a": [100, 60, 30, 5]},
        power_offs={**OFF, "a": {"noted_min": 242, "last_on_min": 238, "phase": "p5", "line": 40}},
    )
    finding = one(session, "power-off-outside-phase")
    assert (finding.severity, finding.line) == ("note", 40)
    assert "only partly within 'p5'" in finding.found


def test_a_power_off_within_its_phase_or_without_one_is_silent() -> None:
    assert not found(clean(), "power-off-outside-phase")
    assert not found(a_off(noted_min=252, last_on_min=250), "power-off-outside-phase")


def test_left_far_too_much_by_its_own_rates() -> None:
    # 46 % at 240 min; off at 300: 1 h at 2.5 × 15 pp/h = 37.5; 46 − 1 − 37.5 = 7.5 % left
    finding = one(a_off(noted_min=300, last_on_min=298, phase="p5"), "power-off-high")
    assert (finding.severity, finding.line) == ("caution", 40)
    assert finding.found == (
        "'a' off at 13:00 with at least 8 % left (46 % at 12:00, line 14, less 60 min at 2.5 × its "
        "busiest rate, 37.5 pp/h)"
    )
    assert "far from empty" not in finding.expected
    # off at 270: 46 − 1 − 18.75 = 26 % left
    far = one(a_off(noted_min=270, last_on_min=268, phase="p5"), "power-off-high")
    assert "at least 26 % left" in far.found
    assert "far from empty" in far.expected
    assert "an hour or a phase too early?" in far.remedy


def test_left_as_last_seen() -> None:
    # last seen 18 % at 468, off at 470: 18 − 1 − 37.5 × 2/60 = 15.75
    finding = one(a_off(noted_min=470, last_on_min=468, soc_pct=18, phase="p5"), "power-off-high")
    assert "at least 16 % left (18 % at 15:48, line 40" in finding.found


def test_left_in_the_first_phase_where_no_rate_is_known() -> None:
    # 40 % at 28 min, off at 30 min, plausible at most 80 pp/h: 40 − 1 − 80 × 2/60 = 36.3
    session = clean(
        readings={**READINGS, "a": [100]},
        power_offs={**OFF, "a": {"noted_min": 30, "last_on_min": 28, "soc_pct": 40, "phase": "p1"}},
    )
    finding = one(session, "power-off-high")
    assert "at least 36 % left" in finding.found
    assert "the highest plausible rate, 80 pp/h" in finding.found


@pytest.mark.parametrize(
    ("last_seen", "limit", "expected"), [(5, 5.0, 0), (8, 5.0, 1), (8, 8.0, 0)]
)
def test_a_few_per_cent_at_power_off_are_ordinary(
    last_seen: float, limit: float, expected: int
) -> None:
    # 8 − 1 − 37.5/60 (one minute) = 6.4, above max(3, 5 − 1) and below 8 − 1
    session = clean(
        power_offs={
            **OFF,
            "a": {"noted_min": 470, "last_on_min": 469, "soc_pct": last_seen, "phase": "p5"},
        },
        assumptions=Assumptions(off_pct_max=limit),
    )
    assert len(found(session, "power-off-high")) == expected


def test_should_have_been_empty() -> None:
    # 46 % at 240 min; quietest rate 12 pp/h, half of it 6: 46 + 1 − 6 × 9 h = −7 at 780 min
    finding = one(a_off(noted_min=780, last_on_min=778, phase="p5"), "power-off-overdue")
    assert (finding.severity, finding.line) == ("caution", 40)
    # empty at 12:00 + 47/12 h = 3 h 55 min: 15:55
    assert finding.expected == "empty by about 15:55 even at its quietest rate, 12.0 pp/h"
    assert "9 h 0 min after 46 % (line 14)" in finding.found
    assert "an hour late" in finding.remedy


def test_still_on_long_after_it_should_have_been_empty() -> None:
    session = clean(power_offs={"a": OFF["a"], "c": OFF["c"]}, still_on={"b": 1400})
    assert "'b' on at 07:20 (+1 d)" in one(session, "power-off-overdue").found


def test_an_ordinary_power_off_is_neither_early_nor_overdue() -> None:
    for rule in ("power-off-high", "power-off-overdue"):
        assert not found(clean(), rule)


def test_two_power_offs_too_close() -> None:
    # a [468, 471), b [469, 472): P(b > a) = [h(4) − h(1) − h(1) + h(−2)]/9 = (8 − .5 − .5)/9 = 0.78
    offs = {**OFF, "b": {"noted_min": 471, "last_on_min": 469, "line": 41}}
    offs["a"] = {"noted_min": 470, "last_on_min": 468, "line": 40}
    session = clean(power_offs=offs)
    finding = one(session, "power-off-too-close")
    assert (finding.severity, finding.line) == ("note", 40)
    assert finding.found == (
        "power-offs too close to call: 'a' between 15:48 and 15:51 and 'b' between 15:49 and 15:52"
    )
    assert finding.remedy.startswith("Call 'a' and 'b' tied in this session.")


def test_an_overlap_by_a_minute_is_too_close_and_a_touch_is_not() -> None:
    # windows [840, 844) and [843, 847), then [844, 848)
    offs = {
        "a": {"noted_min": 843, "last_on_min": 840},
        "b": {"noted_min": 846, "last_on_min": 843},
        "c": {"noted_min": 398, "last_on_min": 396},
    }
    assert found(clean(power_offs=offs), "power-off-too-close")
    offs["b"] = {"noted_min": 847, "last_on_min": 844}
    assert not found(clean(power_offs=offs), "power-off-too-close")


def test_another_cause_than_an_empty_battery() -> None:
    finding = one(a_off(noted_min=470, last_on_min=468, cause="heat"), "power-off-other-cause")
    assert (finding.line, finding.column) == (40, "cause")
    assert finding.found == "the cause 'heat' for the power-off of 'a'"
    assert "at least until then" in finding.remedy
    for cause in ("", "battery empty", "ran down"):
        assert not found(
            a_off(noted_min=470, last_on_min=468, cause=cause), "power-off-other-cause"
        )


def test_a_power_off_in_a_last_phase_whose_end_is_not_known() -> None:
    # p5 starts at 240 min and has no end; off at 252 min, logged in p3
    session = a_off(noted_min=252, last_on_min=250, phase="p3")
    spans = session.spans.copy()
    spans.loc[spans["phase"] == "p5", "end_min"] = float("nan")
    finding = one(replace(session, spans=spans), "power-off-outside-phase")
    assert "lies in the phase 'p5'" in finding.remedy
