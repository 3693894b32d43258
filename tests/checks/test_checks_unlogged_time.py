"""Rules on time between noted times. Starts at 08:00; p1 to p4 60 min each, p5 until empty.

Busiest rate of a row: c in p2, (86 − 68) pp in 60 min = 18 pp/h.
"""

from __future__ import annotations

from dataclasses import replace
from math import sqrt
from typing import Any

import pytest

from kit.checks.stretches import length_tolerance
from kit.session import Assumptions, Session
from tests.helpers.clean_session import PHASES, clean, found, one, with_phase


def test_a_gap_of_forty_minutes_and_what_it_can_have_cost() -> None:
    # 40/60 h × 1.15 × 18 pp/h = 13.8 pp; 40 of 100 min until the start of p2
    finding = one(clean(gaps={"p2": 40}), "unlogged-time")
    assert finding.severity == "caution"
    assert finding.phase == "p2"
    assert (finding.file, finding.column) == ("log.csv", "clock")
    assert finding.line is not None
    assert finding.found == (
        "40 min that no phase accounts for (40 % of the 1 h 40 min until then): "
        "40 min before 'p2' (09:00 to 09:40)"
    )
    assert finding.remedy.startswith(
        "It can have cost up to 13.8 pp ('c', 1.15 × 18.0 pp/h × 0.67 h), counted in the phase"
    )
    assert "add it as a phase" in finding.remedy


def test_a_gap_with_readings_on_both_sides_is_a_note() -> None:
    rows = [
        {"device": d, "phase": "p2", "point": "start", "t_min": 100, "soc_pct": v}
        for d, v in {"a": 80, "b": 84, "c": 76}.items()
    ]
    readings = {"a": [100, 88, 66, 51, 39], "b": [100, 90, 71, 58, 48], "c": [100, 86, 58, 41, 27]}
    session = clean(gaps={"p2": 40}, more_readings=rows, readings=readings)
    finding = one(session, "unlogged-time")
    assert finding.severity == "note"
    assert finding.remedy.startswith(
        "Before 'p2' every device was read on both sides, so no phase carries that gap"
    )
    assert not found(session, "soc-rises")
    both = clean(gaps={"p2": 40, "p3": 5}, more_readings=rows, readings=readings)
    finding = one(both, "unlogged-time")
    # 5/60 h × 1.15 × 18 pp/h (c: 76 to 58) = 1.7 pp
    assert finding.severity == "caution"
    assert finding.phase == "p3"
    assert "The worst, 5 min before 'p3' (10:40 to 10:45), can have cost up to 1.7" in (
        finding.remedy
    )
    assert "Before 'p2' every device was read on both sides" in finding.remedy


def test_short_gaps_are_a_note() -> None:
    # 3 min × 1.15 × 18/60 = 1.035 pp is above 1 pp, 2 min × 1.15 × 18/60 = 0.69 pp below
    finding = one(clean(gaps={"p2": 2, "p3": 2, "p4": 2}), "unlogged-time")
    assert finding.severity == "note"
    # 6 of the 186 min until the start of p4
    assert finding.found == (
        "6 min that no phase accounts for (3 % of the 3 h 6 min until then): 2 min before 'p2' "
        "(09:00 to 09:02), 2 min before 'p3' (10:02 to 10:04) and 2 min before 'p4' "
        "(11:04 to 11:06)"
    )
    assert "up to 0.7 pp" in finding.remedy
    assert one(clean(gaps={"p2": 3}), "unlogged-time").severity == "caution"


def test_a_gap_of_one_minute_is_rounding() -> None:
    assert not found(clean(gaps={"p2": 1}), "unlogged-time")


def test_a_gap_without_any_rate() -> None:
    finding = one(clean(gaps={"p2": 40}, readings={}), "unlogged-time")
    assert "cannot be said without rates" in finding.remedy


def _starts_only(*starts: float, end: float = float("nan")) -> list[dict[str, Any]]:
    """Return spans whose starts alone were noted; their lengths are the planned 60 min."""
    return [
        {
            "phase": phase.id,
            "start_min": start,
            "end_min": end if phase.id == "p4" else float("nan"),
            "start_source": "clock",
            "end_source": "clock" if phase.id == "p4" and end == end else "",
            "duration_min": 60.0,
            "t_resolution_min": 1.0,
        }
        for phase, start in zip(PHASES[:4], starts, strict=True)
    ]


def test_time_between_noted_starts() -> None:
    # 09:17 − 08:00 = 77 min, p1 planned 60: 17 min; tolerance 3 √(1/12 + 1/6) = 1.5
    session = clean(spans=_starts_only(0, 77, 138, 198), phases=PHASES[:4])
    finding = one(session, "unlogged-time")
    assert finding.found == (
        "17 min that no phase accounts for (22 % of the 1 h 17 min until then): "
        "17 min between the start of 'p1' (08:00) and the start of 'p2' (09:17)"
    )


def _only_the_stop(stop: float, **changes: Any) -> Session:
    """Four phases of 60 min by the plan; start and stop of the session alone are noted."""
    return clean(
        span_source="planned",
        stop_min=stop,
        phases=PHASES[:4],
        lengths={},
        power_offs={},
        still_on={"a": stop, "b": stop, "c": stop},
        **changes,
    )


def test_total_known_only() -> None:
    # 4 × 60 = 240 min, 08:00 to 12:17 = 257 min: 17 min; tolerance 3 √(4/12 + 1/6) = 2.12
    finding = one(_only_the_stop(257), "unlogged-time")
    assert finding.found == (
        "17 min that no phase accounts for (7 % of the 4 h 17 min until then): "
        "17 min between the start of 'p1' (08:00) and the stop (12:17)"
    )
    assert "shared among 4 phases" in finding.remedy
    assert (finding.file, finding.line, finding.column) == ("session.toml", None, "session.stop")


@pytest.mark.parametrize(("stop", "told"), [(242, 0), (243, 1)])
def test_total_within_rounding(stop: float, told: int) -> None:
    assert len(found(_only_the_stop(stop), "unlogged-time")) == told


def test_total_with_truncated_lengths_allowed_for() -> None:
    # 4/2 + 2.12 = 4.12 min
    unknown = Assumptions(clock_rounding="unknown")
    assert not found(_only_the_stop(244, assumptions=unknown), "unlogged-time")
    assert found(_only_the_stop(245, assumptions=unknown), "unlogged-time")


def test_tolerance_formula() -> None:
    # n = 8: 3 √(8/12 + 1/6) = 3 √(5/6) = 2.739
    assert length_tolerance(8, rounding="nearest") == pytest.approx(3 * sqrt(5 / 6))
    assert length_tolerance(8, rounding="unknown") == pytest.approx(4 + 3 * sqrt(5 / 6))


def test_phases_longer_than_the_clock() -> None:
    # 180 min of p1–p3 alone exceed 170 min; p4 may have been cut short by the stop
    finding = one(_only_the_stop(170), "lengths-exceed-clock")
    assert finding.severity == "caution"
    assert "of 240 min together, in the 170 min between" in finding.found
    assert "an hour slipped" in finding.remedy
    assert (finding.file, finding.column) == ("session.toml", "session.stop")
    assert not found(_only_the_stop(200), "lengths-exceed-clock")
    assert not found(clean(), "lengths-exceed-clock")


def test_a_phase_longer_than_the_time_to_the_next_start() -> None:
    # 60 min of p1 in 50 min
    session = clean(spans=_starts_only(0, 50, 110, 170), phases=PHASES[:4])
    finding = one(session, "lengths-exceed-clock")
    assert "'p1' of 60 min together, in the 50 min between" in finding.found
    assert finding.phase == "p2"


def test_an_unknown_length_in_a_stretch_is_not_called_unlogged() -> None:
    session = _only_the_stop(300)
    session = replace(
        with_phase(session, "p2", planned_min=None),
        spans=session.spans.assign(
            duration_min=session.spans["duration_min"].where(session.spans["phase"] != "p2")
        ),
    )
    spans = session.spans
    spans.loc[spans["phase"] == "p2", "end_min"] = float("nan")
    assert not found(session, "unlogged-time")
    assert found(session, "phase-length-unknown")
