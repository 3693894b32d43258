"""When phases began and ended: noted, planned, read, unknown. All arithmetic is in the comments."""

import math

import pytest

from kit.read.spans import PLANNED_U_MIN, Noted, phase_spans
from kit.session import Assumptions, Phase

START = Noted(t_min=0.0, resolution_min=1.0, source="clock")
STOPWATCH = Noted(t_min=0.0, resolution_min=0.0, source="elapsed")


def clock(t, resolution=1.0, line=9):
    return Noted(t_min=t, resolution_min=resolution, source="clock", line=line)


def read_at(t):
    return Noted(t_min=t, resolution_min=1.0, source="reading", line=5)


def spans(phases, **given):
    options = {
        "starts": {}, "ends": {}, "start_readings": {}, "end_readings": {}, "origin": START,
        "last": None, "assumptions": Assumptions(),
    }  # fmt: skip
    return phase_spans(
        [Phase(id=n, label=n, planned_min=p) for n, p in phases.items()], **{**options, **given}
    )


def ends_of(found):
    return [(s.start_min, s.end_min) for s in found]


def sources_of(found):
    return [(s.start_source, s.end_source) for s in found]


def test_both_ends_noted_to_the_minute():
    (span,) = spans({"a": 60}, starts={"a": clock(3.0)}, ends={"a": clock(64.0)})
    # the noted length counts, not the planned one; u = sqrt((1 + 1)/12) = 0.408
    assert (span.duration_min, span.t_resolution_min, span.line) == (61.0, 1.0, 9)
    assert span.duration_u_min == pytest.approx(math.sqrt(1 / 6))
    assert (span.start_source, span.end_source) == ("clock", "clock")


def test_ends_noted_to_the_second_and_the_minute():
    (span,) = spans({"a": None}, starts={"a": clock(3.0, 1 / 60)}, ends={"a": clock(64.0)})
    # sqrt((1/3600 + 1)/12) = 0.2887
    assert span.duration_u_min == pytest.approx(0.28871, abs=1e-5)
    assert span.t_resolution_min == 1.0


def test_planned_lengths_are_laid_one_after_the_other():
    found = spans({"a": 60, "b": 30})
    assert ends_of(found) == [(0.0, 60.0), (60.0, 90.0)]
    assert sources_of(found) == [("clock", "planned"), ("planned", "planned")]
    assert [s.duration_u_min for s in found] == [PLANNED_U_MIN] * 2


def test_a_noted_start_moves_the_phases_after_it():
    found = spans({"a": 60, "b": 30, "c": 10}, starts={"b": clock(75.0)})
    assert ends_of(found) == [(0.0, 60.0), (75.0, 105.0), (105.0, 115.0)]
    assert found[1].duration_u_min == PLANNED_U_MIN


def test_a_noted_end_with_a_planned_length_gives_the_start():
    # 100 - 30 = 70, ten minutes after the end of a
    found = spans({"a": 60, "b": 30}, ends={"b": clock(100.0)})
    assert ends_of(found) == [(0.0, 60.0), (70.0, 100.0)]
    assert sources_of(found)[1] == ("planned", "clock")
    # 80 - 30 = 50 would lie before the end of a
    found = spans({"a": 60, "b": 30}, ends={"b": clock(80.0)})
    assert ends_of(found)[1] == (60.0, 80.0)


def test_a_late_reading_at_the_planned_end_shows_that_time_was_lost_before():
    # planned end 90; up to 2 min delay + 1 min resolution + 1 min are no news
    assert ends_of(spans({"a": 60, "b": 30}, end_readings={"b": read_at(94.0)}))[1] == (60.0, 90.0)
    # 98 is: the phase lay from 68 to 98, its length is still the planned one
    found = spans({"a": 60, "b": 30}, end_readings={"b": read_at(98.0)})
    assert ends_of(found)[1] == (68.0, 98.0)
    assert (found[1].duration_min, found[1].duration_u_min) == (30.0, PLANNED_U_MIN)


def test_readings_before_the_planned_end_are_pointed_out():
    found = spans({"a": 60}, end_readings={"a": read_at(50.0)})
    assert ends_of(found) == [(0.0, 60.0)]
    assert found[0].early_reading_min == 50.0
    found = spans({"a": 60}, starts={"a": clock(10.0)}, end_readings={"a": read_at(60.0)})
    assert found[0].early_reading_min == 60.0
    found = spans({"a": 60}, starts={"a": clock(10.0)}, end_readings={"a": read_at(69.0)})
    assert math.isnan(found[0].early_reading_min)


def test_an_unknown_length_stays_unknown_unless_both_ends_are_noted():
    found = spans({"a": 60, "b": None, "c": 30})
    assert [s.duration_min for s in found[::2]] == [60.0, 30.0]
    assert math.isnan(found[1].duration_min)
    assert math.isnan(found[1].duration_u_min)
    assert math.isnan(found[1].start_min)
    # where b ends is not known, hence neither where c lies; its length is
    assert math.isnan(found[2].start_min)
    assert found[2].duration_u_min == PLANNED_U_MIN
    (first, *_) = spans({"a": None}, ends={"a": clock(45.0)})
    assert (first.start_min, first.duration_min) == (0.0, 45.0)


def test_without_any_plan_the_readings_at_both_boundaries_give_a_length():
    (span,) = spans(
        {"a": None}, start_readings={"a": read_at(2.0)}, end_readings={"a": read_at(62.0)},
    )  # fmt: skip
    # the first phase starts at zero all the same; only its end is from a reading:
    # u^2 = (1 + 1 + 2^2)/12 = 0.5
    assert (span.start_source, span.end_source, span.duration_min) == ("clock", "reading", 62.0)
    assert span.duration_u_min == pytest.approx(math.sqrt(0.5))
    found = spans(
        {"a": 10, "b": None},
        start_readings={"b": read_at(12.0)},
        end_readings={"b": read_at(72.0)},
    )
    # both from readings: u^2 = (1 + 1 + 2 * 2^2)/12 = 10/12
    assert sources_of(found)[1] == ("reading", "reading")
    assert found[1].duration_u_min == pytest.approx(math.sqrt(10 / 12))


def test_a_stated_uncertainty_replaces_all_others():
    found = spans(
        {"a": 60, "b": None}, assumptions=Assumptions(phase_length_u_min=0.2),
        starts={"a": clock(0.0)}, ends={"a": clock(60.0)},
    )  # fmt: skip
    assert found[0].duration_u_min == 0.2
    assert math.isnan(found[1].duration_u_min)


def test_until_empty_ends_with_the_run():
    phases = [
        Phase(id="a", label="a", planned_min=60),
        Phase(id="z", label="z", kind="until_empty"),
    ]
    options = {
        "starts": {}, "ends": {}, "start_readings": {}, "end_readings": {}, "origin": START,
        "assumptions": Assumptions(),
    }  # fmt: skip
    found = phase_spans(phases, last=clock(300.0), **options)
    assert ends_of(found)[1] == (60.0, 300.0)
    # the start is laid, not noted: u^2 = (0 + 1 + 2^2)/12
    assert found[1].duration_u_min == pytest.approx(math.sqrt(5 / 12))
    found = phase_spans(phases, last=None, **options)
    assert found[1].start_min == 60.0
    assert math.isnan(found[1].duration_min)


def test_elapsed_time_counts_from_the_stopwatch_which_is_exact():
    noted = Noted(t_min=0.0, resolution_min=1.0, source="elapsed", line=2)
    end = Noted(t_min=60.0, resolution_min=1.0, source="elapsed", line=3)
    (span,) = spans({"a": 60}, origin=STOPWATCH, starts={"a": noted}, ends={"a": end})
    # u = 1/sqrt(12)
    assert span.duration_u_min == pytest.approx(1 / math.sqrt(12))
    assert span.line == 2
