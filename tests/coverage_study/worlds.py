"""The worlds of the coverage study: what is true, what the record says, what is assumed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from kit.session import Assumptions
from kit.simulate import CHARGE_SHAPE, TruePhase, random_day
from tests.coverage_study.kinds_world import KINDS
from tests.coverage_study.outside import OUTSIDE
from tests.coverage_study.partial import PARTIAL
from tests.coverage_study.world import BASE, EXACT, World, operator

if TYPE_CHECKING:
    import numpy as np

    from kit.simulate import Scenario

__all__ = ["WORLDS", "split_day"]

GAUGE = (
    *(f"true_charge {name}" for name in ("first", "other", "died", "rate", "rate died")),
    "hours",
    "mix",
)
"""The gauge's deviation is taken for normal with the stated half-width at √3 u: a bound, also for
what is calculated from true charge."""
GAP = (
    *(
        f"{measurand} {name}"
        for measurand in ("displayed", "true_charge")
        for name in ("first", "other", "died", "rate", "rate died")
    ),
    "hours",
    "mix",
)
"""What may drain in a gap is added as a bound, also for hours at that rate and on a mix."""
FROM_FULL = ("displayed first", "true_charge first", "total")
"""From a full charge, how a display rounds does not cancel: its three ways are covered as bounds,
which leaves room where all round in the middle one, or where hardly anything else counts."""
MEANS = ("replicate drain",)
"""A mean over runs is never known better than one reading resolves: a bound."""


TIMED = (
    "displayed rate", "displayed rate died", "true_charge rate", "true_charge rate died", "hours",
    "mix",
)  # fmt: skip
"""The minute of a boundary moves drain and length alike; it is allowed for in each."""


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


WORLDS: tuple[World, ...] = (
    World(
        name="base",
        says="6 devices, 8 phases of 60 min at 5–15 pp/h, each gauge rounds in its own way",
        draw=BASE,
        times=4,
    ),
    World(
        name="truncated",
        says="all gauges truncate",
        draw=replace(BASE, roundings=("truncated",)),
        one_rounding=True,
    ),
    World(
        name="nearest",
        says="all gauges round to nearest",
        draw=replace(BASE, roundings=("nearest",)),
        one_rounding=True,
        bounds=FROM_FULL,
    ),
    World(
        name="rounded up",
        says="all gauges round up",
        draw=replace(BASE, roundings=("rounded_up",)),
        one_rounding=True,
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
        bounds=FROM_FULL,
    ),
    World(
        name="tiny drains",
        says="0.25–1 pp in half an hour",
        draw=replace(BASE, rate_pp_per_h=(0.5, 2.0), length_min=(30, 30)),
        bounds=FROM_FULL,
    ),
    World(
        name="early deaths",
        says="10–20 pp/h: most devices power off in phases 5 to 8",
        draw=replace(BASE, rate_pp_per_h=(10.0, 20.0)),
        times=2,
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
        draw=replace(BASE, gap_min=(0, 8), operator=operator(notes_spans="clock")),
        bounds=GAP,
    ),
    World(
        name="gaps, total known",
        says="such gaps, but only the lengths of the phases and the stop are noted",
        draw=replace(BASE, gap_min=(0, 8), operator=operator(notes_spans="timer")),
        bounds=GAP,
    ),
    World(
        name="gaps, both ends read",
        says="such gaps, and the row is read at the start of phases, too",
        draw=replace(
            BASE, gap_min=(0, 8), operator=operator(notes_spans="clock", reads_starts="all")
        ),
    ),
    World(
        name="noted lengths",
        says="phases 0.5 min (sd) off the plan, start and end noted by the clock",
        draw=replace(BASE, operator=operator(notes_spans="clock", length_sd_min=0.5)),
    ),
    World(
        name="on the minute",
        says="the phases change as the clock changes",
        draw=replace(BASE, operator=operator(starts="on_the_minute")),
    ),
    World(
        name="fixed walk",
        says="the row is read in the same order at an even pace every time",
        draw=replace(BASE, operator=operator(delay="walk")),
    ),
    World(
        name="gauge ±3",
        says="gauges deviate by up to 3 pp, and 3 pp is what is assumed",
        draw=replace(BASE, gauge_error_pp=3.0, assumptions=Assumptions()),
        bounds=GAUGE,
    ),
    World(
        name="charge gauge as modelled",
        says="gauges count charge, whose rate at constant power grows towards empty as the model "
        "has it",
        draw=replace(BASE, shape=CHARGE_SHAPE, counts_charge=True),
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
        times=2,
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
            operator=operator(delay_max_min=0.0, dense_every_min=1.0, length_sd_min=0.5),
        ),
        bounds=TIMED,
    ),
    World(
        name="ticks",
        says="every change of the display noted to the minute, phases as in *dense log*",
        draw=replace(BASE, operator=operator(ticks=True, length_sd_min=0.5)),
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
        bounds=MEANS,
        times=2,
    ),
    World(
        name="crossover, rotation",
        says="a crossover of two hours read at the swap, a rotation in turns of 10 min",
        draw=split_day,
        times=2,
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
        name="all equal, gauge ±3",
        says="all devices truly equal but for their gauges, which deviate by up to 3 pp; nothing "
        "is stated of them, and the kit's own 3 pp are assumed",
        draw=replace(BASE, device_spread=0.0, gauge_error_pp=3.0, assumptions=Assumptions()),
        bounds=GAUGE,
        times=3,
    ),
    World(
        name="all equal, gaps",
        says="all devices truly equal but in the gaps (0–8 min, 0–100 % of the busiest rate)",
        draw=replace(
            BASE, device_spread=0.0, gap_min=(0, 8), operator=operator(notes_spans="clock")
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
        times=2,
    ),
    World(
        name="rounding stated, deaths",
        says="each gauge's rounding is in the record, most devices power off in phases 5 to 8",
        draw=replace(BASE, declares_rounding=True, rate_pp_per_h=(10.0, 20.0)),
        times=2,
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
        bounds=MEANS,
        times=10,
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
        draw=replace(BASE, operator=operator(delay_max_min=4.0)),
        kind="priors",
    ),
    World(
        name="loose timer",
        says="phases 2 min (sd) off the plan, which is taken for exact",
        draw=replace(BASE, operator=operator(notes_spans="timer", length_sd_min=2.0)),
        kind="priors",
    ),
    World(
        name="long phases",
        says="every phase 3 min longer than the plan, which is taken for exact",
        draw=replace(BASE, operator=operator(notes_spans="timer", length_bias_min=3.0)),
        kind="priors",
    ),
    World(
        name="busy gaps",
        says="gaps of 0–8 min by the clock, at up to twice the busiest rate",
        draw=replace(
            BASE, gap_min=(0, 8), gap_rate=(0.0, 2.0), operator=operator(notes_spans="clock")
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
        says="2 % of the readings are one point off, have a digit that looks like another, or two "
        "swapped",
        draw=replace(BASE, operator=operator(misread_probability=0.02)),
        kind="priors",
    ),
    World(
        name="wrong minutes",
        says="2 % of the minutes of readings and power-offs are one or ten off",
        draw=replace(
            BASE,
            rate_pp_per_h=(10.0, 20.0),
            operator=operator(wrong_minute_probability=0.02),
        ),
        kind="priors",
    ),
    World(
        name="denied saver",
        says="at 20 % a saver cuts the power by a quarter, the record says it is off",
        draw=replace(BASE, saver_at_pct=20.0, saver_cut=0.25, rate_pp_per_h=(10.0, 15.0)),
        kind="priors",
    ),
    *KINDS,
    *PARTIAL,
    *OUTSIDE,
)
