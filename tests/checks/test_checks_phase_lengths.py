"""Rules on lengths of phases. Starts at 08:00; p1 to p4 60 min each, p5 until empty."""

from __future__ import annotations

from dataclasses import replace

from tests.helpers.clean_session import PHASES, clean, found, one


def test_a_phase_longer_than_planned() -> None:
    finding = one(clean(lengths={"p2": 66, "p5": 325}), "phase-length-differs")
    assert (finding.severity, finding.phase, finding.column) == ("caution", "p2", "clock")
    assert finding.found == "'p2' from 09:00 to 10:06, 66 min"
    assert finding.expected == "its planned 60 min"
    # 6/66 = 9 %
    assert "wrong by 6 min, and the rates of this phase by 9 %" in finding.remedy


def test_a_minute_more_is_rounding_and_until_empty_has_no_length() -> None:
    assert not found(clean(lengths={"p2": 61, "p5": 325}), "phase-length-differs")


def test_a_last_phase_cut_short_because_all_were_off_is_a_note() -> None:
    phases = (*PHASES[:4], replace(PHASES[4], kind="plain", planned_min=600.0))
    finding = one(clean(phases=phases, lengths={"p5": 325}), "phase-length-differs")
    assert finding.severity == "note"
    assert "was off by then" in finding.remedy


def test_a_phase_of_unknown_length() -> None:
    spans = [
        {"phase": "p1", "start_min": 0, "start_source": "clock", "end_source": "clock",
         "end_min": 60, "duration_min": 60},
        {"phase": "p2"},
        {"phase": "p3", "start_min": 130, "start_source": "clock", "end_source": "clock",
         "end_min": 190, "duration_min": 60, "line": 70},
    ]  # fmt: skip
    phases = (PHASES[0], replace(PHASES[1], planned_min=None), PHASES[2])
    finding = one(clean(phases=phases, spans=spans), "phase-length-unknown")
    assert (finding.severity, finding.phase) == ("caution", "p2")
    # between 60 and 130 min
    assert finding.found == "no length of 'p2', at most 70 min by its neighbours"
    assert "Its drain stands" in finding.remedy


def test_a_noted_length_of_an_unplanned_phase_is_known() -> None:
    phases = (PHASES[0], replace(PHASES[1], planned_min=None), *PHASES[2:])
    session = clean(phases=phases, lengths={"p2": 60, "p5": 325})
    assert not found(session, "phase-length-unknown")
    assert not found(clean(), "phase-length-unknown")
