"""Was the battery empty? The session starts at 08:00; p4 ends and p5 starts at 12:00."""

from __future__ import annotations

import pytest

from kit.session import Assumptions
from tests.helpers.clean_session import OFF, READINGS, a_off, clean, found, one


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


def test_another_cause_than_an_empty_battery() -> None:
    finding = one(a_off(noted_min=470, last_on_min=468, cause="heat"), "power-off-other-cause")
    assert (finding.line, finding.column) == (40, "cause")
    assert finding.found == "the cause 'heat' for the power-off of 'a'"
    assert "at least until then" in finding.remedy
    for cause in ("", "battery empty", "ran down"):
        assert not found(
            a_off(noted_min=470, last_on_min=468, cause=cause), "power-off-other-cause"
        )
