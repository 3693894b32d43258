"""Rules on whether a power-off was recorded. The session starts at 08:00; p5 from 12:00."""

from __future__ import annotations

from kit.session import Assumptions
from tests.helpers.clean_session import OFF, a_off, clean, found, one


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
