"""The rule on late readings. Starts at 08:00; p1 to p4 60 min each, p5 until empty.

Busiest rate of a row: c in p2, (86 − 68) pp in 60 min = 18 pp/h.
"""

from __future__ import annotations

from tests.helpers.clean_session import READINGS, clean, found, one


def test_readings_later_than_assumed() -> None:
    # end of p2 is at 120 min; b is read at 128, 8 min after, 6 beyond the assumed 2:
    # 6/60 × 13 pp/h (b's busiest) = 1.3 pp
    session = clean(
        readings={**READINGS, "b": [100, 90, None, 64, 54]},
        more_readings=[
            {"device": "b", "phase": "p2", "point": "end", "t_min": 128, "soc_pct": 77, "line": 55}
        ],
    )
    finding = one(session, "reading-late")
    assert (finding.severity, finding.line, finding.column) == ("caution", 55, "clock")
    assert finding.found == "'b' at 10:08, 8 min after the end of 'p2'"
    assert "by 1.3 pp" in finding.remedy
    assert "reading_delay_min = 8" in finding.remedy


def test_a_reading_before_its_boundary() -> None:
    session = clean(
        readings={**READINGS, "b": [100, 90, None, 64, 54]},
        more_readings=[{"device": "b", "phase": "p2", "point": "end", "t_min": 117, "soc_pct": 77}],
    )
    finding = one(session, "reading-late")
    assert "3 min before the end of 'p2'" in finding.found


def test_a_reading_in_a_pause_is_not_late() -> None:
    # p3 starts 20 min after p2 ended: the reading at 130 min is made in the pause
    session = clean(
        gaps={"p3": 20},
        readings={**READINGS, "b": [100, 90, None, 64, 54]},
        more_readings=[
            {"device": "b", "phase": "p2", "point": "end", "t_min": 130, "soc_pct": 77},
            {"device": "a", "phase": "p3", "point": "start", "t_min": 138, "soc_pct": 72},
        ],
    )
    assert not found(session, "reading-late")


def test_readings_within_the_assumed_delay_are_silent() -> None:
    session = clean(
        readings={**READINGS, "b": [100, 90, None, 64, 54]},
        more_readings=[{"device": "b", "phase": "p2", "point": "end", "t_min": 123, "soc_pct": 77}],
    )
    assert not found(session, "reading-late")
    assert not found(clean(), "reading-late")
