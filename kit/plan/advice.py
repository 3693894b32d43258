"""What would make a planned day worth more, each with its gain in figures of that plan.

Nothing is quoted: every figure follows from the plan's own rates, lengths and walks by the
formulas of the analysis. Advice that the plan already follows is kept, marked as followed, so
that nobody drops it for the day's convenience without knowing what it was worth.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from statistics import median
from typing import TYPE_CHECKING

from kit.drain.gauge import SAVER_THRESHOLDS_PCT, charge_excess
from kit.plan.foresee import claim_chance
from kit.plan.predict import device_rates
from kit.plan.timetable import whole_minutes
from kit.stats.uncertainty import expanded, resolution
from kit.units import NO_BREAK, duration, number, percent, quantity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.plan.foresee import LookPlan
    from kit.plan.planned import Plan
    from kit.plan.predict import Course
    from kit.plan.timetable import Timetable
    from kit.session import Phase

__all__ = ["Advice", "advice"]

MIN_PER_H = 60.0
SAVER_CUT = 0.25
"""Share of power that a saver is taken to save (common practice, no source; 15 to 40 %)."""
WORTH_A_WAKE_PP = 0.1
"""Looks that cost a device less than this (pp) need no advice."""


@dataclass(frozen=True, kw_only=True)
class Advice:
    """One thing to do, why in figures, and whether the plan does it already."""

    id: str
    action: str
    gain: str
    followed: bool


@dataclass(frozen=True, kw_only=True)
class _Facts:
    """What the figures are made from."""

    plan: Plan
    table: Timetable
    courses: tuple[Course, ...]
    looks: LookPlan
    rate: float
    busiest: float
    length_min: float


def advice(
    plan: Plan, table: Timetable, courses: tuple[Course | None, ...], looks: LookPlan
) -> tuple[Advice, ...]:
    """Return advice on a plan, what it does not follow yet first.

    Parameters
    ----------
    courses
        Expected courses; without any rate the list is empty, since no figure could be given.
    looks
        How often the row is looked at near the end.
    """
    rates = [
        rate.pp_per_h for device in plan.devices for rate in device_rates(plan, device.id).values()
    ]
    timed = [p.planned_min for p in plan.phases if p.planned_min is not None]
    if not rates or not timed:
        return ()
    facts = _Facts(
        plan=plan, table=table, courses=tuple(c for c in courses if c is not None), looks=looks,
        rate=median(rates), busiest=plan.assumptions.gap_rate_factor * max(rates),
        length_min=median(timed),
    )  # fmt: skip
    found = [
        *_ticks(facts), *_start_readings(facts), *_after_walk(facts), *_warm_up(facts),
        *_reference(facts), *_savers(facts), *_look_often(facts), *_without_waking(facts),
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda a: a.followed))


def _half_width(*coefficients: float) -> float:
    return float(resolution(list(coefficients)).half_width(0.95))


def _pp(value: float, decimals: int = 2) -> str:
    return quantity(value, "pp", decimals)


def _ticks(facts: _Facts) -> Iterator[Advice]:
    """Advise to note changes of the display: u = r·(1 min/√12)·√2 between two of them."""
    tick = facts.rate / MIN_PER_H / sqrt(12.0) * sqrt(2.0)
    reading = float(resolution([1.0, -1.0]).u)
    worth = (reading / tick) ** 2
    if worth < 2.0:
        return
    yield Advice(
        id="ticks",
        action="Note the minute at which a display changes, near the start and the end of a phase",
        gain=(
            f"At {number(facts.rate, 1)}{NO_BREAK}pp/h a drain is then known to u = {_pp(tick)} "
            f"in place of {_pp(reading)}: as good as {number(worth)} repeats read off."
        ),
        followed=False,
    )


def _pauses(plan: Plan, table: Timetable) -> dict[str, float]:
    """Return phase id → minutes before it in which no phase runs and no start is read."""
    pauses: dict[str, float] = {}
    ends = 0.0
    for item in table.items:
        if item.kind == "phase":
            pauses[item.phase] = item.start_min - ends
            ends = item.start_min if item.end_min is None else item.end_min
    first = plan.phases[0].id
    return {phase: minutes for phase, minutes in pauses.items() if phase != first}


def _start_readings(facts: _Facts) -> Iterator[Advice]:
    """Advise to read starts: a gap of g hours drains 0 to g·R, half of it widens the interval."""
    pauses = _pauses(facts.plan, facts.table)
    longest = max(pauses.values(), default=0.0)
    if longest < 1.0:
        return
    phase = max(pauses, key=lambda p: pauses[p])
    half = facts.busiest * longest / MIN_PER_H / 2.0
    width = _half_width(1.0, -1.0)
    yield Advice(
        id="start-and-end",
        action="Read the row at the start and at the end of every phase",
        gain=(
            f"Before {facts.plan.phase(phase).label}, {duration(longest)} in no phase drain up to "
            f"{_pp(2 * half, 1)} at the busiest rate. Read again at the start, "
            f"the drain is known to ± {_pp(width)}, otherwise to ± {_pp(width + half)}."
        ),
        followed=facts.plan.read_at == "start_and_end",
    )


def _after_walk(facts: _Facts) -> Iterator[Advice]:
    """Advise to wait for the walk: late by up to τ, X grows by 3τ/(4L), u² = (τ²/12)(r² + r'²)."""
    tau = whole_minutes(facts.plan.walk_min) / MIN_PER_H
    if tau == 0:
        return
    length = facts.length_min / MIN_PER_H
    width = _half_width(1.0, -1.0)
    late = float(
        expanded(
            width * (1.0 + 0.75 * tau / length), sqrt(tau**2 / 12.0 * 2.0 * facts.rate**2), 0.95
        )
    )
    yield Advice(
        id="after-walk",
        action="Start the next phase when the walk along the row is over",
        gain=(
            f"Readings that come up to {duration(tau * MIN_PER_H)} late know a drain to "
            f"± {_pp(late)}, readings in a pause to ± {_pp(width)} "
            f"({number(facts.length_min)}{NO_BREAK}min at {number(facts.rate, 1)}{NO_BREAK}pp/h)."
        ),
        followed=facts.plan.next_phase == "after_walk",
    )


def _warm_up(facts: _Facts) -> Iterator[Advice]:
    """Advise a warm-up: from 100 % the rounding does not cancel, and the display may hold."""
    first = facts.plan.phases[0]
    full, below = _half_width(-1.0), _half_width(1.0, -1.0)
    held = facts.rate * 10.0 / MIN_PER_H
    yield Advice(
        id="warm-up",
        action="Begin the timed phases below 100 %, after a warm-up that is not evaluated",
        gain=(
            f"The first drain is known to ± {_pp(below)} in place of ± {_pp(full)}. A display "
            f"that shows 100 % for its first ten minutes would hide {_pp(held, 1)} of it, and the "
            "sync after unplugging falls into the warm-up."
        ),
        followed=not first.evaluated,
    )


def _evaluated(plan: Plan) -> list[Phase]:
    return [p for p in plan.phases if p.evaluated and not p.is_split and p.activity]


def _reference(facts: _Facts) -> Iterator[Advice]:
    """Advise to repeat a phase: a gauge that counts charge falls faster near empty."""
    phases = _evaluated(facts.plan)
    if len(phases) < 2 or not facts.courses:
        return
    first, last = phases[0], phases[-1]
    levels = []
    for phase in (first, last):
        item = facts.table.of_phase(phase.id)
        end = item.start_min + 30.0 if item.end_min is None else item.end_min
        middle = (item.start_min + end) / 2.0
        levels.append(median(min(max(c.at(middle)[0], 0.0), 100.0) for c in facts.courses))
    high, low = (float(charge_excess(level)) for level in levels)
    more = (1.0 + low) / (1.0 + high) - 1.0
    if more <= 0.01:
        return
    drain = facts.rate * facts.length_min / MIN_PER_H
    yield Advice(
        id="reference-phase",
        action=f"Repeat {first.label} as the last timed phase",
        gain=(
            f"At equal power a display that counts charge falls {percent(round(more, 2))} faster "
            f"at {number(levels[1])}{NO_BREAK}% than at {number(levels[0])}{NO_BREAK}%, "
            f"{_pp(drain * more, 1)} in {number(facts.length_min)}{NO_BREAK}min; only the same "
            "work at both ends tells that from a difference between activities."
        ),
        followed=first.activity == last.activity,
    )


def _savers(facts: _Facts) -> Iterator[Advice]:
    """Advise to do without savers: from S % on, saving φ, one adds S·φ/(1 − φ) % of runtime."""
    if not facts.courses:
        return
    threshold = SAVER_THRESHOLDS_PCT[0]
    share = threshold / 100.0 * SAVER_CUT / (1.0 - SAVER_CUT)
    runtime = median(c.quantile(0.5) for c in facts.courses)
    saver = str(facts.plan.conditions.get("power_saver", "")).strip().casefold()
    yield Advice(
        id="savers-off",
        action="Switch power savers and low-battery dimming off on every device",
        gain=(
            f"One device with a saver from {number(threshold)}{NO_BREAK}% that saves "
            f"{percent(SAVER_CUT)} runs {percent(round(share, 3))} longer, "
            f"{duration(runtime * share)} of {duration(runtime)}, for no other reason."
        ),
        followed=saver in ("off", "false"),
    )


def _look_often(facts: _Facts) -> Iterator[Advice]:
    """Advise how often to look, by the chance that an order is told."""
    pass_min = facts.plan.walk_min
    planned = max(facts.looks.every_min, pass_min)
    often = max(1.0, pass_min)
    chance, best = (
        float(claim_chance([3.0], look_every_min=m, pass_min=pass_min)[0]) for m in (planned, often)
    )
    if best - chance < 0.05 and planned > often:
        return
    yield Advice(
        id="look-often",
        action=f"Near the end, look along the row every {duration(often)}",
        gain=(
            f"Two power-offs three minutes apart are then told in {percent(round(best, 2))} of "
            f"cases, by a look every {duration(planned)} in {percent(round(chance, 2))}."
        ),
        followed=planned <= often,
    )


def _without_waking(facts: _Facts) -> Iterator[Advice]:
    """Advise not to wake devices where the screen is off and looks add up."""
    plan = facts.plan
    dark = [p for p in plan.phases if p.screen_on is False]
    per_look = plan.assumptions.wake_drain_pp
    wakes = any(d.gauge.reading_wakes_device is not False for d in plan.devices)
    if not dark or not wakes:
        return
    hourly = per_look * MIN_PER_H / facts.looks.every_min
    rates = [
        rate.pp_per_h
        for d in plan.devices
        for name, rate in device_rates(plan, d.id).items()
        if name in {p.activity for p in dark}
    ]
    if hourly < WORTH_A_WAKE_PP or not rates:
        return
    yield Advice(
        id="without-waking",
        action="In phases with the screen off, look without waking the device",
        gain=(
            f"At {_pp(per_look)} a wake, a look every {duration(facts.looks.every_min)} costs "
            f"{number(hourly, 1)}{NO_BREAK}pp/h beside the {number(median(rates), 1)}{NO_BREAK}"
            "pp/h that are to be measured."
        ),
        followed=all(d.gauge.reading_wakes_device is False for d in plan.devices),
    )
