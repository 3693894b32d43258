"""Times of rows, across midnight and changes of the clocks."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from kit.recorder.journal import Entry
from kit.recorder.moments import moment_of, near, parse_clock, stamp, stamp_of_limit
from kit.recorder.state import Protocol, situation
from kit.session import Phase
from tests.helpers.recorder_short_day import ROW

LONDON = ZoneInfo("Europe/London")


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        ({"date": "2026-05-16", "clock": "09:05"}, "2026-05-16T09:05:00+01:00"),
        ({"date": "16.5.2026", "clock": "09:05:30"}, "2026-05-16T09:05:30+01:00"),
        ({"clock": "2026-10-25T01:30:00+00:00"}, "2026-10-25T01:30:00+00:00"),
        ({"clock": "2026-05-16 09:05"}, "2026-05-16T09:05:00+01:00"),
        ({"clock": "00:10"}, "2026-05-17T00:10:00+01:00"),  # after 23:50 of the 16th
        ({"elapsed_min": "1:30"}, "2026-05-16T09:30:00+01:00"),
        ({"elapsed_min": "90,5"}, "2026-05-16T09:30:30+01:00"),
        ({"clock": "2026-99-25T01:30"}, None),
        ({"date": "2026-02-31", "clock": "09:05"}, None),
        ({"elapsed_min": "soon"}, None),
        ({}, None),
    ],
)
def test_the_moment_of_a_row(cells: dict[str, str], expected: str | None) -> None:
    reference = datetime(2026, 5, 16, 23, 50, tzinfo=LONDON)
    start = datetime(2026, 5, 16, 8, 0, tzinfo=LONDON)
    found = moment_of(cells, LONDON, reference, start)
    assert (None if found is None else found.isoformat()) == expected


def test_a_time_that_comes_twice_is_written_with_its_offset() -> None:
    """In Europe/London clocks go back from 02:00 to 01:00 on 2026-10-25."""
    first = datetime(2026, 10, 25, 1, 30, tzinfo=LONDON)
    second = first.replace(fold=1)
    assert stamp(first, zoned=True) == {"clock": "2026-10-25T01:30:00+01:00"}
    assert stamp(second, zoned=True) == {"clock": "2026-10-25T01:30:00+00:00"}
    assert stamp(second, zoned=False) == {"date": "2026-10-25", "clock": "01:30:00"}
    later = datetime(2026, 10, 25, 3, 0, tzinfo=LONDON)
    assert stamp_of_limit(second, later, zoned=True) == "2026-10-25T01:30:00+00:00"
    assert stamp_of_limit(first - timedelta(days=1), later, zoned=True) == "2026-10-24T01:30:00"
    clock = parse_clock("1:30")
    assert clock is not None
    assert near(clock, later).isoformat() == "2026-10-25T01:30:00+00:00"


def test_time_left_is_true_across_a_change_of_the_clocks() -> None:
    """00:45 to 01:15 the second time is an hour and a half."""
    phase = Phase(id="p1", label="One", planned_min=120)
    protocol = Protocol(title="T", devices=ROW, phases=(phase,), zone=LONDON, zoned=True)
    begin = datetime(2026, 10, 25, 0, 45, tzinfo=LONDON)
    row = {"event": "phase_start", "phase": "p1", **stamp(begin, zoned=True)}
    entry = Entry(n=1, at=begin.isoformat(), kind="enter", rows=(row,))
    now = datetime(2026, 10, 25, 1, 15, fold=1, tzinfo=LONDON)
    here = situation(protocol, [entry], now)
    assert here.left_min == 30.0
    assert here.planned_end is not None
    assert here.planned_end.isoformat() == "2026-10-25T01:45:00+00:00"
