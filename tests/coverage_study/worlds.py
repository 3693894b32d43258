"""The worlds of the coverage study: what is true, what the record says, what is assumed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from kit.session import Assumptions
from kit.simulate import CHARGE_SHAPE, Limits, Operator, TruePhase, random_day
from tests.coverage_study.count import World

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np

    from kit.session import Session
    from kit.simulate import Scenario

__all__ = ["WORLDS", "split_day"]

EXACT = Assumptions(gauge_error_pp=0.0)
"""The record says that the gauges have no error (so none hides the rest)."""

NO_SAVER = {"power_saver": "off", "dimming": "off", "held_full_min": 30, "start_charge_pct": 100}

BASE = Limits(assumptions=EXACT, conditions=NO_SAVER, operator=Operator(starts="any_second"))
GAUGE = tuple(f"true_charge {name}" for name in ("first", "other", "died", "rate", "rate died"))
"""The gauge's deviation is taken for normal with the stated half-width at √3 u: a bound."""
GAP = tuple(
    f"{measurand} {name}"
    for measurand in ("displayed", "true_charge")
    for name in ("first", "other", "died", "rate", "rate died")
)
"""What may drain in a gap is added as a bound."""


TIMED = (
    "displayed rate", "displayed rate died", "true_charge rate", "true_charge rate died", "hours",
    "mix",
)  # fmt: skip
"""The minute of a boundary moves drain and length alike; it is allowed for in each."""


def _operator(**changes: object) -> Operator:
    return replace(Operator(starts="any_second"), **changes)


def split_day(rng: np.random.Generator) -> Scenario:
    """Return a day with a crossover and, next to a plain phase of its other part, a rotation."""
    day = random_day(replace(BASE, phases=6), rng)
    plain = {p.id: p for p in day.phases}
    crossover = TruePhase(
        id="p2", kind="crossover", parts=("p2", "p5"), first_half=("d1", "d2", "d3"),
        length_min=120.0,
    )  # fmt: skip
    rotation = TruePhase(id="p4", kind="rotation", parts=("p6", "p3"), turn_min=10.0)
    return replace(day, phases=(plain["p1"], crossover, plain["p3"], rotation))


def _changed(**changes: object) -> Callable[[Scenario], Scenario]:
    """Return a function that changes every device of a scenario alike."""
    return lambda day: replace(day, devices=tuple(replace(d, **changes) for d in day.devices))


def _gauges(**changes: object) -> Callable[[Scenario], Scenario]:
    """Return a function that changes the gauge of every device of a scenario alike."""
    return lambda day: replace(
        day,
        devices=tuple(replace(d, gauge=replace(d.gauge, **changes)) for d in day.devices),
    )


def coarse_day(rng: np.random.Generator) -> Scenario:
    """Return a day with displays in steps of 2, 5 or 10 %."""
    return random_day(replace(BASE, step_pct=float(rng.choice([2.0, 5.0, 10.0]))), rng)


def short_day(rng: np.random.Generator) -> Scenario:
    """Return a day that devices start at 80 to 99 %, run until they are empty."""
    day = random_day(replace(BASE, rate_pp_per_h=(12.0, 20.0)), rng)
    return replace(
        day,
        devices=tuple(
            replace(d, start_level_pct=float(rng.uniform(80.0, 99.0))) for d in day.devices
        ),
    )


def topped_up_day(rng: np.random.Generator) -> Scenario:
    """Return a day that devices start at 95 to 99 % and show as 100 %."""
    day = random_day(BASE, rng)
    devices = []
    for device in day.devices:
        short = float(rng.uniform(1.0, 5.0))
        gauge = replace(
            device.gauge,
            deviation=((0.0, 0.0), (90.0 - short, 0.0), (100.0 - short, short), (100.0, short)),
        )
        devices.append(replace(device, start_level_pct=100.0 - short, gauge=gauge))
    return replace(day, devices=tuple(devices))


def _not_topped_up(day: Scenario) -> Scenario:
    return _gauges(deviation=())(_changed(start_level_pct=100.0)(day))


LOOKS_PP = 0.06
"""What a look costs a sleeping device in the world of waking (pp) …"""
LOOK_EVERY_MIN = 2.0
"""… and how often it is looked at (min)."""


def waking_day(rng: np.random.Generator) -> Scenario:
    """Return a day with a phase of 0.5–2 pp/h in which looks cost as much again."""
    day = random_day(replace(BASE, operator=_operator(dense_every_min=LOOK_EVERY_MIN)), rng)
    more = LOOKS_PP * 60.0 / LOOK_EVERY_MIN
    return replace(
        day,
        devices=tuple(
            replace(d, power_w={**d.power_w, "p4": float(rng.uniform(0.5, 2.0)) + more})
            for d in day.devices
        ),
    )


def _asleep(day: Scenario) -> Scenario:
    more = LOOKS_PP * 60.0 / LOOK_EVERY_MIN
    return replace(
        day,
        devices=tuple(
            replace(d, power_w={**d.power_w, "p4": d.power_w["p4"] - more}) for d in day.devices
        ),
    )


def _dark_p4(session: Session) -> Session:
    return replace(
        session,
        phases=tuple(replace(p, screen_on=False) if p.id == "p4" else p for p in session.phases),
    )


OUTSIDE: tuple[World, ...] = (
    World(
        name="unnoticed saver",
        says="at 20 % a saver cuts the power by a quarter, the record says nothing of savers",
        draw=replace(
            BASE, saver_at_pct=20.0, saver_cut=0.25, rate_pp_per_h=(10.0, 15.0), conditions={}
        ),
        kind="outside",
        warns=("power-saver-may-start",),
        without=_changed(saver_at_pct=None),
        matters="charge",
    ),
    World(
        name="charge gauge",
        says="gauges count charge, whose rate at constant power grows towards empty",
        draw=replace(BASE, shape=CHARGE_SHAPE, counts_charge=True),
        kind="outside",
        warns=("gauge_curve",),
        without=_gauges(counts="energy"),
    ),
    World(
        name="charge gauge, long phases",
        says="the same with 5 phases of 90 min at 8–13 pp/h",
        draw=replace(
            BASE,
            shape=CHARGE_SHAPE,
            counts_charge=True,
            phases=5,
            length_min=(90, 90),
            rate_pp_per_h=(8.0, 13.0),
        ),
        kind="outside",
        warns=("gauge_curve",),
        without=_gauges(counts="energy"),
    ),
    World(
        name="lag of 1 min",
        says="the display shows the level of one minute ago",
        draw=replace(BASE, lag_min=1.0),
        kind="outside",
        warns=("display-may-lag",),
        without=_gauges(lag_min=0.0),
    ),
    World(
        name="lag of 5 min",
        says="the display shows the level of five minutes ago, 2–25 pp/h",
        draw=replace(BASE, lag_min=5.0, rate_pp_per_h=(2.0, 25.0)),
        kind="outside",
        warns=("display-may-lag",),
        without=_gauges(lag_min=0.0),
    ),
    World(
        name="coarse steps",
        says="displays move in steps of 2, 5 or 10 %, which the record does not say",
        draw=coarse_day,
        kind="outside",
        warns=("gauge-steps", "coarse_step"),
        without=_gauges(step_pct=1.0),
        matters="step",
    ),
    World(
        name="waking",
        says=f"looks every {LOOK_EVERY_MIN:g} min wake the devices in a phase with the screen off, "
        f"at {LOOKS_PP:g} pp each",
        draw=waking_day,
        kind="outside",
        warns=("reading-wakes-device",),
        without=_asleep,
        matters="charge",
        noted=_dark_p4,
    ),
    World(
        name="start not full",
        says="devices start at 80–99 %",
        draw=short_day,
        kind="outside",
        warns=("start-not-full",),
        without=_changed(start_level_pct=100.0),
        matters="runtime",
    ),
    World(
        name="topped up",
        says="held at full for 3 hours, devices start at 95–99 % and show 100 %",
        draw=topped_up_day,
        kind="outside",
        warns=("held-at-full",),
        without=_not_topped_up,
        matters="shown_first",
        noted=lambda s: replace(s, conditions={**s.conditions, "held_full_min": 180}),
    ),
)


WORLDS: tuple[World, ...] = (
    World(
        name="base",
        says="6 devices, 8 phases of 60 min at 5–15 pp/h, each gauge rounds in its own way",
        draw=BASE,
    ),
    World(
        name="truncated", says="all gauges truncate", draw=replace(BASE, roundings=("truncated",))
    ),
    World(
        name="nearest",
        says="all gauges round to nearest",
        draw=replace(BASE, roundings=("nearest",)),
    ),
    World(
        name="rounded up",
        says="all gauges round up",
        draw=replace(BASE, roundings=("rounded_up",)),
    ),
    World(
        name="rounding stated",
        says="each gauge's rounding is in the record",
        draw=replace(BASE, declares_rounding=True),
    ),
    World(name="short phases", says="phases of 30 min", draw=replace(BASE, length_min=(30, 30))),
    World(
        name="unequal phases",
        says="6 phases of 30 to 180 min at 4–10 pp/h",
        draw=replace(BASE, phases=6, length_min=(30, 180), rate_pp_per_h=(4.0, 10.0)),
    ),
    World(
        name="small drains",
        says="0.5–2 pp in an hour",
        draw=replace(BASE, rate_pp_per_h=(0.5, 2.0)),
    ),
    World(
        name="tiny drains",
        says="0.25–1 pp in half an hour",
        draw=replace(BASE, rate_pp_per_h=(0.5, 2.0), length_min=(30, 30)),
    ),
    World(
        name="early deaths",
        says="10–20 pp/h: most devices power off in phases 5 to 8",
        draw=replace(BASE, rate_pp_per_h=(10.0, 20.0)),
    ),
    World(
        name="survivors",
        says="5 phases of 60 min at 12–18 pp/h, then until the mean device has 2 % left",
        draw=replace(
            BASE, phases=6, rate_pp_per_h=(12.0, 18.0), until_empty=True, stop_pct_left=2.0
        ),
    ),
    World(
        name="gaps by the clock",
        says="0–8 min between phases, noted by the clock, at 0–100 % of the busiest rate",
        draw=replace(BASE, gap_min=(0, 8), operator=_operator(notes_spans="clock")),
        bounds=GAP,
    ),
    World(
        name="gaps, total known",
        says="such gaps, but only the lengths of the phases and the stop are noted",
        draw=replace(BASE, gap_min=(0, 8), operator=_operator(notes_spans="timer")),
        bounds=GAP,
    ),
    World(
        name="gaps, both ends read",
        says="such gaps, and the row is read at the start of phases, too",
        draw=replace(
            BASE, gap_min=(0, 8), operator=_operator(notes_spans="clock", reads_starts="all")
        ),
    ),
    World(
        name="noted lengths",
        says="phases 0.5 min (sd) off the plan, start and end noted by the clock",
        draw=replace(BASE, operator=_operator(notes_spans="clock", length_sd_min=0.5)),
    ),
    World(
        name="on the minute",
        says="the phases change as the clock changes",
        draw=replace(BASE, operator=_operator(starts="on_the_minute")),
    ),
    World(
        name="fixed walk",
        says="the row is read in the same order at an even pace every time",
        draw=replace(BASE, operator=_operator(delay="walk")),
    ),
    World(
        name="gauge ±3",
        says="gauges deviate by up to 3 pp, and 3 pp is what is assumed",
        draw=replace(BASE, gauge_error_pp=3.0, assumptions=Assumptions()),
        bounds=GAUGE,
    ),
    World(
        name="held at 100 %",
        says="up to 10 min at 100 % while charge falls, and 10 min is what is assumed",
        draw=replace(
            BASE,
            overfull_max_min=10.0,
            assumptions=replace(EXACT, full_hold_max_min=10.0),
        ),
        bounds=("true_charge first",),
    ),
    World(
        name="steps of 5 %",
        says="displays move in steps of 5 %",
        draw=replace(BASE, step_pct=5.0),
    ),
    World(
        name="dense log",
        says="a reading a minute; phases 0.5 min (sd) off the plan, noted by the clock",
        draw=replace(
            BASE,
            assumptions=replace(EXACT, reading_delay_min=0.0),
            operator=_operator(delay_max_min=0.0, dense_every_min=1.0, length_sd_min=0.5),
        ),
        bounds=TIMED,
    ),
    World(
        name="ticks",
        says="every change of the display noted to the minute, phases as in *dense log*",
        draw=replace(BASE, operator=_operator(ticks=True, length_sd_min=0.5)),
        bounds=TIMED,
    ),
    World(
        name="replicates",
        says="3 devices, 3 runs of 3 phases of 60 min and then until empty; runs scatter by 3 %",
        draw=replace(
            BASE,
            devices=3,
            phases=4,
            runs=3,
            run_cv=0.03,
            rate_pp_per_h=(10.0, 25.0),
            until_empty=True,
        ),
    ),
    World(
        name="crossover, rotation",
        says="a crossover of two hours read at the swap, a rotation in turns of 10 min",
        draw=split_day,
    ),
    World(
        name="rated energy",
        says="rated energy within 3 %, health noted in whole per cent, u = 2 %",
        draw=replace(BASE, rated_tol_pct=3.0),
    ),
    World(
        name="all equal",
        says="all devices truly equal: every claim is false",
        draw=replace(BASE, device_spread=0.0),
    ),
    World(
        name="all equal, gaps",
        says="all devices truly equal but in the gaps (0–8 min, 0–100 % of the busiest rate)",
        draw=replace(
            BASE, device_spread=0.0, gap_min=(0, 8), operator=_operator(notes_spans="clock")
        ),
        bounds=GAP,
    ),
    World(
        name="all equal, deaths",
        says="all devices truly equal, run until empty in phases 5 to 8, passes every 3 min",
        draw=replace(BASE, device_spread=0.0, rate_pp_per_h=(10.0, 20.0)),
    ),
    World(
        name="near-equal deaths",
        says="runtimes scatter by 0.5 %, passes every 3 min",
        draw=replace(BASE, device_spread=0.005, rate_pp_per_h=(10.0, 20.0)),
    ),
    World(
        name="rounding stated, deaths",
        says="each gauge's rounding is in the record, most devices power off in phases 5 to 8",
        draw=replace(BASE, declares_rounding=True, rate_pp_per_h=(10.0, 20.0)),
    ),
    World(
        name="all equal, replicates",
        says="3 devices truly equal but for 3 % from run to run, 3 runs until empty",
        draw=replace(
            BASE,
            devices=3,
            phases=4,
            runs=3,
            run_cv=0.03,
            rate_pp_per_h=(10.0, 25.0),
            until_empty=True,
            device_spread=0.0,
        ),
    ),
    World(
        name="all equal, survivors",
        says="all devices truly equal, stopped with 1 % left or just empty",
        draw=replace(
            BASE,
            phases=6,
            rate_pp_per_h=(12.0, 18.0),
            until_empty=True,
            stop_pct_left=0.1,
            device_spread=0.0,
        ),
    ),
    World(
        name="late readings",
        says="read up to 4 min after a boundary, 2 min assumed",
        draw=replace(BASE, operator=_operator(delay_max_min=4.0)),
        kind="priors",
    ),
    World(
        name="loose timer",
        says="phases 2 min (sd) off the plan, which is taken for exact",
        draw=replace(BASE, operator=_operator(notes_spans="timer", length_sd_min=2.0)),
        kind="priors",
    ),
    World(
        name="long phases",
        says="every phase 3 min longer than the plan, which is taken for exact",
        draw=replace(BASE, operator=_operator(notes_spans="timer", length_bias_min=3.0)),
        kind="priors",
    ),
    World(
        name="busy gaps",
        says="gaps of 0–8 min by the clock, at up to twice the busiest rate",
        draw=replace(
            BASE, gap_min=(0, 8), gap_rate=(0.0, 2.0), operator=_operator(notes_spans="clock")
        ),
        kind="priors",
    ),
    World(
        name="gauge ±5",
        says="gauges deviate by up to 5 pp, 3 pp assumed",
        draw=replace(BASE, gauge_error_pp=5.0, assumptions=Assumptions()),
        kind="priors",
        bounds=GAUGE,
    ),
    World(
        name="misread digits",
        says="2 % of the readings are one or three points off",
        draw=replace(BASE, operator=_operator(misread_probability=0.02)),
        kind="priors",
    ),
    World(
        name="denied saver",
        says="at 20 % a saver cuts the power by a quarter, the record says it is off",
        draw=replace(BASE, saver_at_pct=20.0, saver_cut=0.25, rate_pp_per_h=(10.0, 15.0)),
        kind="priors",
    ),
    *OUTSIDE,
)
