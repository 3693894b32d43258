"""Rules on the percentages. Lines: header 1, readings of a, b, c from line 2 on, by checkpoint.

So checkpoint k (0 = start) of device a stands on line 2 + 3 k, b on 3 + 3 k, c on 4 + 3 k.
"""

from __future__ import annotations

import numpy as np
import pytest

from kit.session import Session
from tests.helpers.clean_session import READINGS, clean, found, one


def a_reads(*values: float | None) -> Session:
    return clean(readings={**READINGS, "a": list(values)})


def test_a_rise_of_one_after_a_heavy_phase_is_relaxation() -> None:
    # p3 takes 15 pp/h (above the median of 12, 15, 15, -1, i.e. 13.5); p4 ends 1 pp higher
    finding = one(a_reads(100, 88, 73, 58, 59), "soc-rises")
    assert (finding.severity, finding.line, finding.column) == ("caution", 14, "soc_pct")
    assert (finding.device, finding.phase, finding.run) == ("a", "p4", 1)
    assert finding.found == "59 % for 'a' after 58 % (line 11), a rise of 1 pp with no charge " + (
        "event between"
    )
    assert "relaxation" in finding.remedy


def test_a_rise_of_one_after_a_light_phase_is_not_called_relaxation() -> None:
    finding = one(a_reads(100, 88, 89, 74, 58), "soc-rises")
    assert finding.line == 8
    assert "relaxation" not in finding.remedy
    assert "footage" in finding.remedy


def test_a_rise_of_two_is_a_wrong_reading_or_a_charge() -> None:
    finding = one(a_reads(100, 88, 73, 75, 58), "soc-rises")
    assert (finding.severity, finding.line) == ("caution", 11)
    assert "Rounding cannot make a falling level rise by 2 pp" in finding.remedy
    assert "charge_start" in finding.remedy


def test_decimals_that_waver_are_a_note() -> None:
    finding = one(a_reads(100, 88.4, 73.1, 73.3, 58), "soc-rises")
    assert finding.severity == "note"
    assert "noise" in finding.remedy


def test_the_same_value_twice_is_no_rise() -> None:
    assert not found(a_reads(100, 88, 73, 73, 58), "soc-rises")


@pytest.mark.parametrize(
    ("charge", "explained"),
    [
        ({"start_min": 125, "end_min": 140}, True),
        ({"start_min": 125}, True),
        ({"phase": "p3"}, True),
        ({"phase": "p1"}, False),
        ({"start_min": 30, "end_min": 50}, False),
        ({"start_min": 190, "end_min": 200}, False),
        ({"start_min": 125, "end_min": 140, "device": "b"}, False),
        ({"start_min": 125, "end_min": 140, "device": ""}, True),
    ],
)
def test_a_charge_between_the_two_readings_explains_a_rise(
    charge: dict[str, object], explained: bool
) -> None:
    # the rise lies between 120 min (end of p2) and 180 min (end of p3)
    session = clean(
        readings={**READINGS, "a": [100, 88, 73, 90, 75]}, charges=[{"device": "a", **charge}]
    )
    assert bool(found(session, "soc-rises")) is not explained


def test_many_rises_are_one_finding_with_their_number() -> None:
    # up and down every minute from 10 to 20 min: five rises of 1, the last one of 4
    rows = [
        {
            "device": "a",
            "phase": "p1",
            "point": "inside",
            "t_min": 10 + i,
            "soc_pct": v,
            "line": 50 + i,
        }
        for i, v in enumerate([97, 98, 97, 98, 97, 98, 97, 98, 95, 99])
    ]
    finding = one(clean(more_readings=rows), "soc-rises")
    assert finding.severity == "caution"
    assert finding.line == 51
    assert finding.found.startswith("5 rises for 'a' with no charge event, the first on this line")
    assert "the largest 4 pp (line 59)" in finding.found
    assert "Start with line 59 (95 % to 99 %)" in finding.remedy


def test_rises_of_a_hesitating_gauge_only() -> None:
    rows = [
        {"device": "a", "phase": "p1", "point": "inside", "t_min": 10 + i, "soc_pct": 97 + i % 2}
        for i in range(10)
    ]
    finding = one(clean(more_readings=rows), "soc-rises")
    assert "hesitates" in finding.remedy


def test_a_percentage_at_power_off_above_the_last_reading() -> None:
    offs = {"a": {"noted_min": 470, "last_on_min": 468, "soc_pct": 64, "line": 30}}
    finding = one(clean(power_offs=offs), "soc-rises")
    assert (finding.line, finding.column) == (30, "soc_pct")
    assert "above its last reading of 46 %" in finding.found


def test_readings_without_times_are_ordered_by_their_boundaries() -> None:
    finding = one(
        clean(timed=False, readings={**READINGS, "a": [100, 88, 73, 75, 58]}), "soc-rises"
    )
    assert finding.line == 11


def test_saturated_start() -> None:
    session = clean(readings={**READINGS, "a": [100, 100, 85, 70, 58], "b": [100, 100, 87, 74]})
    finding = one(session, "start-saturated")
    assert (finding.severity, finding.line, finding.column) == ("caution", 5, "soc_pct")
    assert finding.found == (
        "'a' and 'b' at 100 % from the start to the end of the first phase, 'p1' (60 min)"
    )
    assert "0 to 1 pp" in finding.remedy
    assert "'p1' and 'p2' as one sum" in finding.remedy


def test_saturated_start_without_a_start_reading() -> None:
    finding = one(a_reads(None, 100, 85, 70, 58), "start-saturated")
    assert finding.device == "a"


def test_99_at_the_end_of_the_first_phase_is_not_saturated() -> None:
    assert not found(a_reads(100, 99, 85, 70, 58), "start-saturated")


def test_start_a_little_below_full_is_a_note_and_far_below_a_caution() -> None:
    finding = one(a_reads(99, 88, 73, 58, 46), "start-not-full")
    assert (finding.severity, finding.line, finding.device) == ("note", 2, "a")
    assert "up to about 1 %" in finding.remedy
    session = clean(readings={**READINGS, "a": [95, 88, 73, 58, 46], "b": [98, 90, 77, 64, 54]})
    finding = one(session, "start-not-full")
    assert finding.severity == "caution"
    assert finding.found == "a start below full: 'a' at 95 % and 'b' at 98 %"
    assert "up to about 5 %" in finding.remedy


def test_full_start_is_silent() -> None:
    assert not found(clean(), "start-not-full")


def test_a_charge_is_told_with_its_times() -> None:
    session = clean(
        charges=[{"device": "b", "start_min": 245, "end_min": 275, "phase": "p4", "line": 77}]
    )
    finding = one(session, "charge-between-phases")
    assert (finding.line, finding.column, finding.device) == (77, "event", "b")
    # 08:00 + 245 min = 12:05
    assert finding.found == "a charge of 'b' from 12:05 to 12:35 (30 min)"
    assert "do not rank" in finding.remedy
    session = clean(charges=[{"device": "", "line": 78}])
    assert one(session, "charge-between-phases").found == "a charge of the devices"


def test_a_missing_reading_between_others() -> None:
    finding = one(a_reads(100, 88, None, 58, 46), "boundary-not-read")
    assert (finding.severity, finding.line, finding.column) == ("caution", None, "soc_pct")
    assert finding.found == "no reading of 'a' at the end of 'p2'"
    assert "only their sum" in finding.remedy


def test_a_missing_start_and_a_missing_last_reading() -> None:
    finding = one(a_reads(None, 88, 73, 58, None), "boundary-not-read")
    assert finding.found == "no reading of 'a' at the start of 'p1' and the end of 'p4'"


def test_no_reading_at_all() -> None:
    finding = one(
        clean(readings={k: v for k, v in READINGS.items() if k != "c"}), "boundary-not-read"
    )
    assert finding.found == "no reading of 'c' at any boundary"


def test_no_reading_is_missed_after_the_power_off_or_in_its_phase() -> None:
    session = clean(
        readings={**READINGS, "c": [100, 86, 40]},
        power_offs={"c": {"noted_min": 170, "last_on_min": 168, "phase": "p3"}},
    )
    assert not found(session, "boundary-not-read")


def test_a_device_still_on_needs_its_last_reading() -> None:
    session = clean(
        readings={**READINGS, "a": [100, 88, 73, 58, None]}, still_on={"a": 500}, power_offs={}
    )
    assert one(session, "boundary-not-read").found == "no reading of 'a' at the end of 'p4'"


def test_a_dense_log_has_its_boundaries_by_time() -> None:
    # one reading a minute, no point named: the boundaries are found in it
    t = np.arange(0.0, 241.0)
    rows = [
        {
            "device": "a",
            "phase": "",
            "point": "inside",
            "t_min": m,
            "soc_pct": np.floor(100 - m / 5),
        }
        for m in t
    ]
    session = clean(readings={k: v for k, v in READINGS.items() if k != "a"}, more_readings=rows)
    assert not found(session, "boundary-not-read")


@pytest.mark.parametrize(("t", "told"), [(120, 0), (119, 1)])
def test_a_tick_and_a_reading_of_one_minute_may_stand_in_either_order(t: int, told: int) -> None:
    # display changed to 72 in minute t, end of p2 read as 73 in minute 120
    tick = {"device": "a", "phase": "p2", "kind": "tick", "t_min": t, "soc_pct": 72}
    assert len(found(clean(more_readings=[tick]), "soc-rises")) == told
