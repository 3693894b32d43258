"""What is left of a session that is not over: by hand, and on simulated days."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from kit.places import samples_folder
from kit.plan.rest_of_day import PhaseLeft, rest_of_day
from kit.read.record import read_record
from kit.session import Assumptions, Phase, PlannedTurn
from kit.simulate import simulate_day
from kit.simulate.random_day import Limits, random_day
from tests.helpers.builders import make_session
from tests.plan.test_predict import WORLDS

if TYPE_CHECKING:
    from kit.session import Session

SURE = Assumptions(run_unit_cv=0.0, off_pct_max=0.0, reading_delay_min=0.0, gauge_error_pp=0.0)
PHASES = (
    Phase(id="p1", label="Map", activity="map", planned_min=60),
    Phase(id="p2", label="Film", activity="film", planned_min=60),
    Phase(id="p3", label="Map again", activity="map", kind="until_empty"),
)


def after_first(phases: tuple[Phase, ...] = PHASES, **fields: Any) -> Session:
    """Return a session of which one phase of an hour is over: a lost 20 pp, b 10 pp."""
    made = make_session(
        **{"devices": ("a", "b"), "phases": phases, "readings": {"a": [100, 80], "b": [100, 90]},
           "assumptions": SURE, **fields}
    )  # fmt: skip
    spans = made.spans.copy()
    later = spans["phase"] != "p1"
    spans.loc[later, ["start_source", "end_source"]] = "planned"
    return replace(made, spans=spans, has_setup=True)


def test_phases_left_and_hours() -> None:
    found = rest_of_day(after_first())
    assert found is not None
    assert found.now_min == 60
    assert found.phases == (
        PhaseLeft(phase="p2", running=False, minutes=60.0),
        PhaseLeft(phase="p3", running=False, minutes=None),
    )
    assert found.planned_min == 60


def test_expected_power_offs_by_hand() -> None:
    """A has 80 % left at minute 60. Of film nothing is known but the rate of map, 20 pp/h: so
    20 pp/h, and u = 0.2 × 20 = 4 pp in that hour. Then 60 % at 20 pp/h: off at 60 + 60 + 180 =
    300 min. The rate of map was read as 20 ± 0.29 pp/h (from full charge, 1/√12), over 3 hours
    0.87 pp; the last reading ± 0.29 pp: u = √(4² + 0.87² + 0.29²)/20 h = 12.3 min, and a little
    more, since how the display rounds is not known."""
    found = rest_of_day(after_first(), coverage=0.6827)
    assert found is not None
    first, second = found.devices
    assert (first.device, first.soc_pct, first.seen_min) == ("a", 80.0, 60.0)
    assert first.expected_min == pytest.approx(300, abs=1)
    assert (first.high_min - first.low_min) / 2 == pytest.approx(12.8, abs=0.5)
    assert second.expected_min == pytest.approx(600, abs=2)  # 90 % at 10 pp/h
    assert first.p_next > 0.99
    assert first.p_next + second.p_next == pytest.approx(1.0, abs=1e-6)
    assert found.last is not None
    assert found.last.expected_min == pytest.approx(second.expected_min, abs=1)


def test_what_is_alike_is_next_with_equal_chances() -> None:
    found = rest_of_day(after_first(readings={"a": [100, 80], "b": [100, 80]}))
    assert found is not None
    assert [e.p_next for e in found.devices] == pytest.approx([0.5, 0.5], abs=1e-6)
    assert found.last is not None
    assert found.last.expected_min > found.devices[0].expected_min + 5


def test_a_dark_phase_costs_less_than_any_other() -> None:
    """Standby of which nothing is known: from nothing to 20 pp/h, so 10: off half an hour later."""
    dark = (PHASES[0], replace(PHASES[1], screen_on=False), PHASES[2])
    found = rest_of_day(after_first(dark))
    assert found is not None
    assert found.devices[0].expected_min == pytest.approx(330, abs=2)


@pytest.mark.parametrize("planned", [False, True], ids=["by its length", "by its turns"])
def test_turns_to_come_count_at_their_own_rate(planned: bool) -> None:
    """A rotation of an hour, 30 min of it film for a; of film nothing is known."""
    turns = (PlannedTurn(start_min=20, end_min=50, devices=("a",)),) if planned else ()
    split = Phase(
        id="p2", label="Turns", kind="rotation", parts=("film", "map"), planned_min=60,
        turn_min=30, planned_turns=turns,
    )  # fmt: skip
    found = rest_of_day(after_first((PHASES[0], split, PHASES[2])), coverage=0.6827)
    assert found is not None
    first = next(e for e in found.devices if e.device == "a")
    assert first.expected_min == pytest.approx(300, abs=1)
    # 2 pp for film, 3.5 h of map at 0.29 pp/h, the reading: √(2² + 1.01² + 0.29²)/20 h = 6.8 min,
    # and a little more
    assert (first.high_min - first.low_min) / 2 == pytest.approx(7.5, abs=0.7)


def test_no_rate_yet_is_no_forecast() -> None:
    found = rest_of_day(after_first(readings={"a": [100], "b": [100]}))
    assert found is not None
    assert found.last is None
    assert all(np.isnan(e.expected_min) for e in found.devices)


def test_what_is_over_has_no_rest() -> None:
    made = after_first()
    stopped = tuple(replace(run, stop_min=60.0) for run in made.runs)
    assert rest_of_day(replace(made, runs=stopped)) is None
    assert rest_of_day(replace(made, has_setup=False)) is None
    assert rest_of_day(after_first(still_on={"a": 60, "b": 60})) is None
    assert rest_of_day(after_first(PHASES[:1])) is None  # read at its end, and none follows


@pytest.mark.parametrize("name", ["full-day", "after-midnight", "minute-log", "scorecard"])
def test_the_samples_are_over(name: str) -> None:
    session, _ = read_record(samples_folder() / name)
    assert rest_of_day(session) is None


# ---------------------------------------------------------------- truth


def cut(session: Session, phases: int) -> Session:
    """Return what of a session was known when so many phases had just been read."""
    spans = session.spans.copy()
    now = float(spans["end_min"].iloc[phases - 1]) + 1.0
    spans.loc[spans.index >= phases, ["start_source", "end_source"]] = "planned"
    readings = session.readings[session.readings["t_min"] <= now]
    offs = session.power_offs[session.power_offs["noted_min"] <= now]
    runs = tuple(replace(run, stop_min=None) for run in session.runs)
    return replace(
        session, spans=spans, readings=readings, power_offs=offs, runs=runs, has_setup=True
    )


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["known", "new"])
@pytest.mark.parametrize("world", list(WORLDS))
def test_windows_contain_the_power_off_as_often_as_they_say(world: str, kind: str) -> None:
    """After four of six phases of a simulated day, and two to come: what was done in the first
    two, or something new, which is allowed for generously, since nothing is known of it.

    60 days of six devices: the standard error of the share is about 2 %, more where the devices
    of one day have luck or bad luck together.
    """
    limits = Limits(
        devices=6, phases=6, length_min=(45, 75), rate_pp_per_h=(8.0, 14.0), until_empty=True,
        gap_min=(0, 3), **WORLDS[world],
    )  # fmt: skip
    rng = np.random.default_rng(20260607)
    inside = total = 0
    for _ in range(60):
        day = replace(random_day(limits, rng), run_cv=0.03)
        if kind == "known":
            first = [p.activity for p in day.phases[:2]]
            last = [replace(p, activity=a) for p, a in zip(day.phases[4:], first, strict=True)]
            day = replace(day, phases=(*day.phases[:4], *last))
        truth, session = simulate_day(day, rng)
        gauge = WORLDS[world].get("gauge_error_pp", 0.0)
        session = replace(session, assumptions=replace(session.assumptions, gauge_error_pp=gauge))
        found = rest_of_day(cut(session, 4))
        assert found is not None
        off = dict(zip(truth.runtimes["device"], truth.runtimes["off_min"], strict=True))
        for e in found.devices:
            inside += e.low_min <= off[e.device] <= e.high_min
            total += 1
    assert total == 360
    assert inside / total >= 0.85
    if kind == "known":
        assert inside / total <= 0.95
