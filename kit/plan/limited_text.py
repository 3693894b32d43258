"""Limited phases on the terminal: what is balanced, and what a power-off in them would leave."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.plan.balance_words import imbalance
from kit.plan.early_death import exposure_if_dies
from kit.plan.lines import INDENT, title, wrapped
from kit.units import duration, percent

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.plan.outlook import Outlook
    from kit.plan.planned import Plan
    from kit.plan.schedules import Schedule

__all__ = ["if_one_powers_off", "limited_phases"]

WORTH_TELLING = 0.05
"""From this chance on a device is named that may power off in a limited phase."""


def limited_phases(plan: Plan, view: Outlook) -> str:
    """Return who shares what in the limited phases of a plan; "" without any."""
    if not view.table.schedules:
        return ""
    lines = [title("Limited phases")]
    for phase in plan.phases:
        schedule = view.table.schedules.get(phase.id)
        if schedule is None:
            continue
        reason = next(
            (x.reason for x in plan.limits if x.activity == schedule.parts[0] and x.reason), ""
        )
        head = f"{phase.label}: at most {schedule.at_once} at once do {schedule.parts[0]}"
        lines.append(wrapped(f"{head} ({reason})" if reason else head))
        told = imbalance(schedule, drawn=plan.phase_plan(phase.id).drawn)
        lines += [wrapped(s, INDENT * 3, INDENT * 2 + "· ") for s in told]
        lines.append(wrapped(if_one_powers_off(schedule), INDENT * 3, INDENT * 2 + "· "))
        lines += list(_early(plan, view, phase.id, schedule))
    return "\n".join(lines)


def if_one_powers_off(schedule: Schedule) -> str:
    """Return what keeps a limited phase fair if a device powers off in it, with its figures.

    Examples
    --------
    >>> from kit.plan.schedules import rotation
    >>> s = rotation("abc", length_min=30, parts=("game", "video"), turn_min=10)
    >>> print(if_one_powers_off(s).replace("\N{NO-BREAK SPACE}", " "))
    ... # doctest: +NORMALIZE_WHITESPACE
    If a device powers off: leave its place empty and every other turn where it is; the others
    keep 10 min of game each. Off half-way (after 15 min): one that had its turn is compared with
    all; one in it, over the minutes done; one before it has no game.
    """
    half = schedule.length_min / 2.0
    keep = "If a device powers off: leave its place empty and every other turn where it is; the "
    kept = min(exposure_if_dies(schedule, d, half).others_min for d in schedule.devices)
    done = [exposure_if_dies(schedule, d, half) for d in schedule.devices]
    others = f"{keep}others keep {duration(kept)} of {schedule.parts[0]} each."
    if schedule.kind == "crossover":
        return f"{others} One that has not done both parts leaves their comparison with both."
    cases = [
        ("one that had its turn is compared with all", any(e.has_both for e in done)),
        (
            "one in it, over the minutes done",
            any(e.limited_min > 0 and not e.has_both for e in done),
        ),
        (f"one before it has no {schedule.parts[0]}", any(e.limited_min == 0 for e in done)),
    ]
    told = "; ".join(text for text, occurs in cases if occurs)
    return f"{others} Off half-way (after {duration(half)}): {told}."


def _early(plan: Plan, view: Outlook, phase_id: str, schedule: Schedule) -> Iterator[str]:
    """Say which device may not live through a limited phase, and what would be left of it."""
    item = view.table.of_phase(phase_id)
    for device, found in zip(plan.devices, view.courses, strict=True):
        if found is None or item.end_min is None:
            continue
        before, by_end = found.chance_off_by(item.start_min), found.chance_off_by(item.end_min)
        if by_end - before < WORTH_TELLING:
            continue
        middle = found.quantile((before + by_end) / 2.0) - item.start_min
        left = exposure_if_dies(schedule, device.id, middle)
        yield wrapped(
            f"! {device.label} powers off in this phase with a chance of "
            f"{percent(round(by_end - before, 2))}. If it goes after {duration(middle)}, it has "
            f"had {duration(left.limited_min)} of {duration(left.planned_min)} of "
            f"{schedule.parts[0]}. Name it in `first` to give it an early turn.",
            INDENT * 3,
            INDENT * 2,
        )
