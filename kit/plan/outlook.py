"""Everything that follows from a plan, computed once: for the terminal and for the run sheet."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from kit.plan.advice import Advice, advice
from kit.plan.foresee import LookPlan, PairChance, look_plan, pair_chance
from kit.plan.predict import (
    UNKNOWN_RATE_SOURCE,
    Course,
    Window,
    courses,
    device_rates,
    off_window,
)
from kit.plan.resolve import PhaseResolution, phase_resolution
from kit.plan.timetable import Timetable, timetable

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.plan.planned import Plan
    from kit.session import Phase

__all__ = ["Outlook", "outlook"]


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """All that follows from a plan: timetable, expected courses, chances, advice.

    Parameters
    ----------
    courses, windows
        One per device, in row order; ``None`` where no rate is known.
    pairs
        Neighbours in the expected order of runtime, longest first.
    resolutions
        (phase, device id, resolution), for evaluated phases that are not limited and whose rate
        is known.
    unmeasured
        (phase, device id, half-width of a drain from the resolution of the readings (pp)), for
        those whose rate is not.
    """

    table: Timetable
    courses: tuple[Course | None, ...]
    windows: tuple[Window | None, ...]
    looks: LookPlan
    pairs: tuple[PairChance, ...]
    resolutions: tuple[tuple[Phase, str, PhaseResolution], ...]
    unmeasured: tuple[tuple[Phase, str, float], ...]
    advice: tuple[Advice, ...]


def outlook(plan: Plan) -> Outlook:
    """Return all that follows from a plan.

    Raises
    ------
    ValueError
        If a limited phase is too short for its turns (a plan that was read has none such).
    """
    table = timetable(plan)
    found = courses(plan, table)
    known = tuple(c for c in found if c is not None)
    looks = look_plan(
        known, known_to_min=plan.known_to_min, pass_min=plan.walk_min, stop_min=plan.stop_min,
        wake_drain_pp=plan.assumptions.wake_drain_pp,
    )  # fmt: skip
    ranked = sorted(known, key=lambda c: -c.quantile(0.5))
    pairs = tuple(
        pair_chance(
            a, b, look_every_min=looks.every_min, pass_min=plan.walk_min,
            stop_min=plan.stop_min, cv=plan.assumptions.run_unit_cv,
        )
        for a, b in pairwise(ranked)
    )  # fmt: skip
    judged = tuple(_resolutions(plan))
    return Outlook(
        table=table,
        courses=found,
        windows=tuple(
            None if c is None else off_window(c, coverage=plan.coverage, stop_min=plan.stop_min)
            for c in found
        ),
        looks=looks,
        pairs=pairs,
        resolutions=tuple((p, d, r) for p, d, r, known in judged if known),
        unmeasured=tuple((p, d, r.half_width_pp) for p, d, r, known in judged if not known),
        advice=advice(plan, table, found, looks),
    )


def _resolutions(plan: Plan) -> Iterator[tuple[Phase, str, PhaseResolution, bool]]:
    """Yield what a phase resolves on a device, and whether its rate there is known."""
    for i, phase in enumerate(plan.phases):
        if not phase.evaluated or phase.is_split or phase.planned_min is None:
            continue
        for device in plan.devices:
            rate = device_rates(plan, device.id).get(phase.activity)
            yield (
                phase,
                device.id,
                phase_resolution(
                    0.0 if rate is None else rate.pp_per_h,
                    phase.planned_min,
                    from_full=i == 0,
                    step_pct=device.gauge.step_pct or 1.0,
                    share=plan.resolve_to_pct / 100.0,
                ),
                rate is not None and rate.source != UNKNOWN_RATE_SOURCE,
            )
