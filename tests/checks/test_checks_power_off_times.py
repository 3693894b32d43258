"""Rules on power-off times. The session starts at 08:00; p4 ends and p5 starts at 12:00."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import pytest

from kit.runtime.runtimes import runtimes
from kit.session import Assumptions
from tests.helpers.clean_session import OFF, READINGS, a_off, clean, found, one


def test_noted_off_after_it_was_first_seen_off() -> None:
    # 08:00 + 490 min = 16:10; + 470 min = 15:50; 20 min between them
    times = {"last_on_min": 468, "first_off_min": 470, "phase": "p5"}
    session = a_off(noted_min=490, **times)
    finding = one(session, "power-off-noted-late")
    assert (finding.severity, finding.file) == ("caution", "log.csv")
    assert (finding.line, finding.column, finding.device) == (40, "clock", "a")
    assert finding.found == ("'a' noted off at 16:10, 20 min after it was first seen off, at 15:50")
    assert finding.expected == "a noted minute no later than 'first seen off'"
    assert "up to 20 min too short" in finding.remedy
    (wide,) = found(replace(session, form="wide"), "power-off-noted-late")
    assert (wide.line, wide.column) == (40, "a")
    # it is a caution because the noted minute is not used: the runtime is as without it
    without = a_off(**times)
    assert runtimes(session).equals(runtimes(without))


@pytest.mark.parametrize(
    ("noted", "rounding", "told"),
    [
        # a digital clock shows 15:51 from 15:51:00 on and 15:50 until 15:50:59
        (471, "floor", 1),
        (470.5, "floor", 0),
        (470, "floor", 0),
        (469, "floor", 0),
        # a rounded one may show 15:51 half a minute early; if unknown, 15:50 a minute long too
        (471, "unknown", 0),
        (472, "unknown", 1),
    ],
)
def test_what_a_clock_that_shows_minutes_explains(
    noted: float, rounding: Literal["floor", "unknown"], told: int
) -> None:
    session = clean(
        power_offs={**OFF, "a": {"noted_min": noted, "last_on_min": 468, "first_off_min": 470}},
        assumptions=Assumptions(clock_rounding=rounding),
    )
    assert len(found(session, "power-off-noted-late")) == told


def test_a_minute_noted_alone_is_late_for_nothing() -> None:
    assert not found(clean(), "power-off-noted-late")
    assert not found(clean(still_on={"b": 560}), "power-off-noted-late")


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


def test_a_power_off_outside_a_phase_of_which_only_lengths_are_known() -> None:
    # the same with lengths alone: p3 is put at 120 to 180 min by the lengths before it, and a break
    # would move it; the entry may be right
    session = a_off(noted_min=252, last_on_min=250, phase="p3")
    spans = session.spans.copy()
    spans[["start_source", "end_source"]] = "planned"
    finding = one(replace(session, spans=spans), "power-off-outside-phase")
    assert "only added up from the lengths of those before it" in finding.remedy
    assert "so a break or a phase that ran longer would put it right" in finding.remedy


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


def test_a_power_off_in_a_last_phase_whose_end_is_not_known() -> None:
    # p5 starts at 240 min and has no end; off at 252 min, logged in p3
    session = a_off(noted_min=252, last_on_min=250, phase="p3")
    spans = session.spans.copy()
    spans.loc[spans["phase"] == "p5", "end_min"] = float("nan")
    finding = one(replace(session, spans=spans), "power-off-outside-phase")
    assert "lies in the phase 'p5'" in finding.remedy


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
