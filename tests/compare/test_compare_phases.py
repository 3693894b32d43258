"""Phases matched by activity and length, drains of a device against itself, and the spread."""

import math
from dataclasses import replace
from datetime import date

import pytest

from kit.compare.matching import match_phases
from kit.session import Assumptions, Gauge, Phase
from tests.helpers.builders import COMPLETE_CONDITIONS, join_runs, make_session
from tests.helpers.compare_days import compared, day, device

Z = 1.959963985


def phase(key, activity, minutes=60.0, **fields):
    return Phase(id=key, label=key, activity=activity, planned_min=minutes, **fields)


def session(*phases, **fields):
    return make_session(devices=["a"], phases=phases, **fields)


def matched(first, second, **options):
    matches, unmatched = match_phases(first, second, **options)
    return [(m.first, m.second) for m in matches], {(u.side, u.phase): u.reason for u in unmatched}


def test_phases_are_matched_by_what_was_done_and_how_long():
    first = session(phase("film", "video"), phase("p2", "Map"))
    second = session(phase("p1", "map", 64), phase("p2", "video", 57))
    # video 60 and 57: 5 %; map 60 and 64: 4/64 = 6.25 %
    pairs, left = matched(first, second)
    assert pairs == [("film", "p2"), ("p2", "p1")]
    assert left == {}
    # 6.25 % is more than 6
    pairs, left = matched(first, second, tolerance_pct=6)
    assert pairs == [("film", "p2")]
    assert left[0, "p2"] == "60 min; there 64 min, more than 6 % apart"


def test_a_name_alone_matches_nothing():
    pairs, left = matched(session(phase("film", "video")), session(phase("film", "stream")))
    assert pairs == []
    assert left[0, "film"] == "same name, another activity (video; there stream)"
    assert left[1, "film"] == "same name, another activity (stream; there video)"


def test_of_several_phases_the_nearest_in_length_is_taken_and_each_once():
    first = session(phase("m1", "map", 60), phase("m2", "map", 66))
    second = session(phase("n1", "map", 65), phase("n2", "video"))
    pairs, left = matched(first, second)
    # 66 and 65 differ by 1.5 %, 60 and 65 by 7.7 %
    assert pairs == [("m2", "n1")]
    assert "matched with another phase" in left[0, "m1"]
    assert left[1, "n2"] == "the other session has no phase of video"


def test_what_is_not_alike_for_all_devices_is_left_out_with_the_reason():
    split = phase("x", "", kind="crossover", parts=("video", "map"), first_half=("a",))
    until = phase("u", "map", None, kind="until_empty")
    warm = phase("w", "map", evaluated=False)
    bare = phase("b", "")
    unknown = phase("k", "map", None)
    first = session(split, until, warm, bare, unknown)
    pairs, left = matched(first, session(phase("m", "map")))
    assert pairs == []
    assert [left[0, k] for k in "xuwbk"] == [
        "not all devices did the same in it at the same time",
        "ran until empty, so its length is no setting",
        "a warm-up, not evaluated",
        "its activity was not recorded",
        "its length is not known",
    ]


def test_the_real_length_counts_not_the_planned_one():
    first = session(phase("p", "map", 60), lengths={"p": 75.0})
    pairs, left = matched(first, session(phase("q", "map", 60)))
    assert pairs == []
    assert left[0, "p"] == "75 min; there 60 min, more than 10 % apart"


EXACT = Assumptions(reading_delay_min=0, phase_length_u_min=0, run_unit_cv=0.03)


def read_day(number, levels, *, counts="energy", **fields):
    return make_session(
        devices=[device("a", gauge=Gauge(counts=counts))],
        phases={"p1": 60, "p2": 60},
        readings={"a": levels},
        assumptions=EXACT,
        conditions=dict(COMPLETE_CONDITIONS),
        date=date(2026, 5, number),
        id=f"day-{number}",
        sources=(),
        **fields,
    )


def test_a_rate_against_itself():
    found = compared(read_day(1, [100, 87, 75]), read_day(2, [100, 87, 70]))
    change = next(c for c in found.phase_changes if c.match.first == "p2")
    # 12 pp and 17 pp in an hour, ± 0.80 each from the display
    assert (change.first.rate, change.second.rate) == pytest.approx((12.0, 17.0))
    # 1.96 · 0.03 · √(12² + 17²) = 1.2236; √(0.8² + 0.8² + 1.2236²) = 1.6666
    scatter = Z * 0.03 * math.hypot(12, 17)
    assert change.high - 5.0 == pytest.approx(math.hypot(0.8, 0.8, scatter), abs=1e-3)
    assert (change.drain_low, change.drain_high) == pytest.approx(
        (5 - 0.8 * math.sqrt(2), 5 + 0.8 * math.sqrt(2)), abs=1e-3
    )
    # two phases in the family: the needed margin is wider than the interval, and 5 exceeds it
    assert change.needed > change.high - 5.0
    assert (change.verdict, change.faster) == ("supported", 1)
    other = next(c for c in found.phase_changes if c.match.first == "p1")
    assert other.verdict == "tied"


def test_a_gauge_that_counts_charge_may_fall_faster_lower_down():
    found = compared(
        read_day(1, [100, 60, 48], counts="unknown"), read_day(2, [100, 40, 25], counts="unknown")
    )
    change = next(c for c in found.phase_changes if c.match.first == "p2")
    # middles 54 and 32.5: β is −0.1 % (halfway from 0.5 at 50 to −2.5 at 70: 0.5 − 3·4/20) and
    # 2.6875 % (3 − 2.5·2.5/20); the difference 2.7875 % of the mean rate 13.5 is 0.3763
    scatter = Z * 0.03 * math.hypot(12, 15)
    wide = math.hypot(0.8, 0.8, scatter) + 0.027875 * 13.5
    assert change.high - 3.0 == pytest.approx(wide, abs=2e-3)


def test_other_brightness_says_nothing_of_the_device():
    second = read_day(2, [100, 87, 70])
    bright = replace(second, conditions={**second.conditions, "brightness_pct": 100})
    change = compared(read_day(1, [100, 87, 75]), bright).phase_changes[-1]
    assert change.verdict == "cannot_be_said"
    assert change.why == "not run alike: brightness setting"
    assert change.second.rate == pytest.approx(17.0)


def test_runs_are_pooled_and_resolution_is_not_divided():
    first = join_runs(read_day(1, [100, 87, 75]), read_day(1, [100, 87, 73]))
    change = compared(first, read_day(2, [100, 87, 74])).phase_changes[-1]
    # 12 and 14: mean 13, s = √2, u = √2/√2 = 1 with 1 degree of freedom
    assert change.first.rate == pytest.approx(13.0)
    assert (change.first.u, change.first.dof) == pytest.approx((1.0, 1.0))
    assert change.first.half == pytest.approx(0.8, abs=1e-3)


def test_a_phase_that_was_not_read_has_no_figure():
    change = compared(read_day(1, [100, 87, None]), read_day(2, [100, 87, 74])).phase_changes[-1]
    assert (change.first, change.verdict) == (None, "cannot_be_said")
    assert "no whole phase was read" in change.why


# ---------------------------------------------------------------------- the spread


def component(found, name):
    return next(c for c in found.components if c.name == name)


def test_session_and_resolution_of_five_common_devices():
    first = {"a": 400, "b": 450, "c": 500, "d": 550, "e": 600}
    second = {"a": 404, "b": 463, "c": 525, "d": 589, "e": 654}
    found = compared(day(1, first), day(2, second))
    # windows of ± 1 min: h = ln((m + 1)/(m − 1))/2, variance h²/3
    windows = [
        (math.log((m + 1) / (m - 1)) / 2) ** 2 / 3 for m in (*first.values(), *second.values())
    ]
    resolution = sum(windows) / 10
    assert component(found, "resolution").variance == pytest.approx(resolution)
    moves = [0.5 * math.log((second[k] ** 2 - 1) / (first[k] ** 2 - 1)) for k in first]
    mean = sum(moves) / 5
    square = sum((m - mean) ** 2 for m in moves) / 2 / 4
    session = component(found, "session")
    assert session.variance == pytest.approx(square - resolution)
    assert session.dof == 4
    assert "runs" in session.why
    shares = [c.share for c in found.components if c.share == c.share]
    assert sum(shares) == pytest.approx(1.0)
    assert found.standing.field.network.scatter.basis == "estimated"


def test_an_estimate_below_zero_is_shown_and_counts_as_none():
    offs = {"a": 400, "b": 450, "c": 500}
    session = component(compared(day(1, offs), day(2, offs)), "session")
    # the same minutes twice: nothing is left over, and the windows are taken off
    assert session.variance < 0.0
    assert session.relative == 0.0
    assert session.share == 0.0
    assert "below 0" in session.why


def test_units_of_one_model_and_runs():
    row = [device("a", model="M"), device("b", model="M"), device("c")]
    runs = [day(1, offs, devices=row) for offs in (
        {"a": 500, "b": 540, "c": 600}, {"a": 510, "b": 540, "c": 590},
    )]  # fmt: skip
    found = compared(join_runs(*runs), day(2, {"c": 600, "x": 300}))
    run = component(found, "run")
    # 3 devices in 2 runs leave 2 degrees of freedom; moves d of the devices about their mean:
    # s² = Σ(d − d̄)²/2/2
    moves = [0.5 * math.log((b * b - 1) / (a * a - 1)) for a, b in ((500, 510), (540, 540),
                                                                    (600, 590))]  # fmt: skip
    mean = sum(moves) / 3
    square = sum((m - mean) ** 2 for m in moves) / 4
    assert run.dof == 2
    assert run.variance == pytest.approx(square - component(found, "resolution").variance)
    unit = component(found, "unit")
    # two units of M: half the squared difference of their means, less what it has from elsewhere:
    # 3 % per session, s²/2 of the runs, and the windows
    values = [0.25 * math.log((a * a - 1) * (b * b - 1)) for a, b in ((500, 510), (540, 540))]
    windows = [(math.log((m + 1) / (m - 1)) / 2) ** 2 / 3 for m in (500, 540)]
    noise = 0.0009 + square / 2 + sum(windows) / 2
    assert unit.variance == pytest.approx((values[0] - values[1]) ** 2 / 2 - noise, abs=1e-9)
    assert unit.dof == 1


def test_too_little_to_say_says_so():
    found = compared(day(1, {"a": 600, "c": 500}), day(2, {"b": 400, "c": 520}))
    for name in ("run", "session", "unit"):
        part = component(found, name)
        assert math.isnan(part.variance)
        assert part.why
    # one known source has no share of anything
    assert math.isnan(component(found, "resolution").share)
