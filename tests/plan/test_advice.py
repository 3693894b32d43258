"""Advice: each figure again by hand, and whether the plan follows it."""

from dataclasses import replace

import pytest

from kit.plan.advice import advice
from kit.plan.outlook import outlook
from kit.plan.planned import Break, PhasePlan
from kit.session import Gauge, Phase
from tests.helpers.plans import make_plan

RATES = {d: {"map": 10.0, "film": 14.0} for d in "abcd"}


def plan_with(**fields):
    return make_plan(
        **{
            "phases": {"map": 60.0, "film": 60.0},
            "rates": RATES,
            "seconds": 30.0,
            **fields,
        }
    )


def found(plan):
    return {a.id: a for a in outlook(plan).advice}


def gain(plan, name):
    return found(plan)[name].gain.replace("\N{NO-BREAK SPACE}", " ")


def test_ticks_by_hand():
    # median rate of 10, 10, 10, 10, 14, ...: 12 pp/h; 12/60/sqrt(12) x sqrt(2) = 0.0816 pp
    # against 1/sqrt(6) = 0.4082: (0.4082/0.0816)² = 25
    assert gain(plan_with(), "ticks") == (
        "At 12.0 pp/h a drain is then known to u = 0.08 pp in place of 0.41 pp: as good as 25 "
        "repeats read off."
    )
    assert not found(plan_with())["ticks"].followed


def test_start_readings_by_hand():
    # walk 2 min + break 30 + walk 2 = 34 min before film; R = 1.15 x 14 = 16.1 pp/h;
    # 34/60 x 16.1 = 9.12, half of it 4.56, + 0.80 = 5.36
    plan = plan_with(breaks=(Break(after="map", minutes=30),))
    text = gain(plan, "start-and-end")
    assert "Before film, 34 min in no phase drain" in text
    assert "drain up to 9.1 pp" in text
    assert "± 0.80 pp, otherwise to ± 5.36 pp" in text
    assert found(plan)["start-and-end"].followed
    assert not found(replace(plan, read_at="end"))["start-and-end"].followed


def test_start_readings_are_no_advice_without_a_pause():
    assert "start-and-end" not in found(plan_with(next_phase="at_once"))


def test_after_walk_by_hand():
    # tau = 2 min = 1/30 h at 12 pp/h over 60 min: X = 0.80 (1 + 0.75/30) = 0.82,
    # u² = (1/900)/12 x 2 x 144 = 0.02667, U = sqrt(0.6724 + 4 x 0.02667) = 0.883
    text = gain(plan_with(), "after-walk")
    assert "up to 2 min late know a drain to ± 0.88 pp, readings in a pause to ± 0.80 pp" in text
    assert found(plan_with())["after-walk"].followed
    assert not found(plan_with(next_phase="at_once"))["after-walk"].followed


def test_no_walk_no_advice_about_it():
    assert "after-walk" not in found(plan_with(seconds=0.0))


def test_warm_up_by_hand():
    # from full 1.00 pp; 10 min at 12 pp/h: 2.0 pp
    text = gain(plan_with(), "warm-up")
    assert "± 0.80 pp in place of ± 1.00 pp" in text
    assert "would hide 2.0 pp" in text
    assert not found(plan_with())["warm-up"].followed
    warm = Phase(id="w", label="w", activity="map", planned_min=20, evaluated=False)
    phases = (warm, Phase(id="map", label="map", activity="map", planned_min=60))
    assert found(plan_with(phases=phases))["warm-up"].followed


def test_reference_phase_by_hand():
    # Walks of 2 min: map from 2 to 62, middle 32: 10 x 0.5 h and 2 min of 16.1/2: 94.7 %; film
    # 64 to 124, middle 94: 100 - 10 - 14 x 0.5 - 4/60 x 8.05 = 82.5 %. Rates relative to the
    # mean, by straight lines: 94.7 % -7.2 %, 82.5 % -5.0 %: 0.950/0.928 = 1.02, 2 % of 12 pp.
    plan = plan_with()
    text = gain(plan, "reference-phase")
    assert "falls 2 % faster at 82 % than at 95 %, 0.3 pp in 60 min" in text
    assert found(plan)["reference-phase"].action == "Repeat map as the last timed phase"
    assert not found(plan)["reference-phase"].followed
    again = plan_with(
        phases=(
            Phase(id="p", label="p", activity="map", planned_min=60),
            Phase(id="q", label="q", activity="film", planned_min=60),
            Phase(id="r", label="r", activity="map", kind="until_empty"),
        )
    )
    assert found(again)["reference-phase"].followed
    assert "reference-phase" not in found(plan_with(phases={"map": 60.0}))


def test_savers_by_hand():
    # 20 % x 0.25/0.75 = 6.67 % of the runtime
    assert "runs 6.7 % longer" in gain(plan_with(), "savers-off")
    assert not found(plan_with())["savers-off"].followed
    assert found(plan_with(conditions={"power_saver": "off"}))["savers-off"].followed


def test_how_often_to_look():
    # known to 3 min: a look every 2 min, as long as a pass (4 x 30 s); nothing shorter is possible
    assert found(plan_with())["look-often"].followed
    plan = plan_with(seconds=15.0)
    one = found(plan)["look-often"]
    assert one.action == "Near the end, look along the row every 1\N{NO-BREAK SPACE}min"
    assert not one.followed
    assert "told in 100 % of cases, by a look every 2 min in 63 %" in gain(plan, "look-often")


def test_screens_that_wake_by_hand():
    # a look every 2 min at 0.02 pp: 30 x 0.02 = 0.6 pp/h beside 0.5 pp/h
    dark = Phase(id="s", label="s", activity="sleep", planned_min=60, screen_on=False)
    rates = {d: {"map": 10.0, "sleep": 0.5} for d in "abcd"}
    phases = (Phase(id="map", label="map", activity="map", planned_min=60), dark)
    plan = plan_with(phases=phases, rates=rates)
    assert "costs 0.6 pp/h beside the 0.5 pp/h" in gain(plan, "without-waking")
    asleep = tuple(replace(d, gauge=Gauge(reading_wakes_device=False)) for d in plan.devices)
    assert "without-waking" not in found(replace(plan, devices=asleep))
    assert "without-waking" not in found(plan_with())


def test_what_is_not_followed_comes_first():
    flags = [a.followed for a in outlook(plan_with()).advice]
    assert flags == sorted(flags)
    assert set(flags) == {True, False}


@pytest.mark.parametrize("fields", [{"rates": {}}, {"phases": {"map": None}}])
def test_without_rates_or_lengths_there_are_no_figures_and_no_advice(fields):
    plan = plan_with(**fields)
    view = outlook(plan)
    assert advice(plan, view.table, view.courses, view.looks) == ()


def test_preparation_counts_as_a_pause():
    plan = plan_with(phase_plans={"film": PhasePlan(setup_min=10)})
    # walk 2 + preparation 10 + walk 2
    assert "Before film, 14 min in no phase drain" in gain(plan, "start-and-end")
