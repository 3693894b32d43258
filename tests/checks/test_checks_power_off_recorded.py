"""Rules on whether a power-off was recorded. The session starts at 08:00; p5 from 12:00."""

from __future__ import annotations

import pytest

from kit.session import Assumptions
from tests.helpers.builders import join_runs
from tests.helpers.clean_session import DEVICES, OFF, READINGS, a_off, clean, found, one


def test_no_end_of_a_device_is_recorded() -> None:
    finding = one(clean(power_offs={"a": OFF["a"], "b": OFF["b"]}), "power-off-missing")
    assert (finding.severity, finding.line, finding.column) == ("caution", None, "event")
    assert finding.device == "c"
    assert finding.found == "no power-off and no still-on mark for 'c' (on at 12:00)"
    assert "power_off row" in finding.remedy
    assert "still_on row" in finding.remedy


def test_nothing_known_of_a_device() -> None:
    session = clean(readings={}, power_offs={"a": OFF["a"], "b": OFF["b"]})
    assert "no time at which it was on" in one(session, "power-off-missing").found


def test_a_session_that_goes_on_is_told_once_for_all_devices() -> None:
    # c was read at the end of p3, 180 min or 11:00, and the others at the end of p4, 12:00
    session = clean(readings={**READINGS, "c": [100, 86, 68, 51]}, power_offs={})
    finding = one(session, "power-off-missing")
    assert (finding.severity, finding.device, finding.column) == ("caution", "", "event")
    assert (finding.file, finding.line, finding.run) == ("log.csv", None, 1)
    assert finding.found == (
        "no power-off, no still-on mark and no stop of the session; last known to be on: "
        "'a' and 'b' at 12:00, 'c' at 11:00"
    )
    assert finding.expected.startswith("once the session is over")
    assert "still going on, nothing is amiss" in finding.remedy
    unread = one(clean(readings={"b": READINGS["b"]}, power_offs={}), "power-off-missing")
    assert unread.found.endswith("'b' at 12:00, 'a' and 'c' at no noted time")


@pytest.mark.parametrize("ended", [{"stop_min": 560}, {"stated_elapsed_min": 560}])
def test_a_session_that_is_over_is_told_device_by_device(ended: dict[str, float]) -> None:
    missing = found(clean(power_offs={}, **ended), "power-off-missing")
    assert [f.device for f in missing] == ["a", "b", "c"]


def test_where_only_some_ends_are_missing_each_device_is_told() -> None:
    missing = found(clean(power_offs={"c": OFF["c"]}), "power-off-missing")
    assert [f.device for f in missing] == ["a", "b"]
    on = found(clean(power_offs={}, still_on={"b": 560}), "power-off-missing")
    assert [f.device for f in on] == ["a", "c"]


def test_each_run_is_judged_by_itself_whether_it_goes_on() -> None:
    session = join_runs(clean(), clean(power_offs={}))
    finding = one(session, "power-off-missing")
    assert (finding.run, finding.device) == (2, "")


def test_of_one_device_alone_the_end_is_missing() -> None:
    session = clean(devices=DEVICES[:1], readings={"a": READINGS["a"]}, power_offs={})
    assert one(session, "power-off-missing").device == "a"


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
