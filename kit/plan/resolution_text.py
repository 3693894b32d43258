"""Which phases are too short for whole percentages, in lines for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.plan.lines import INDENT, wrapped
from kit.units import duration, joined, number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.plan.outlook import Outlook
    from kit.plan.planned import Plan
    from kit.session import Phase

__all__ = ["resolution_lines"]

MIN_PER_H = 60.0


def resolution_lines(plan: Plan, view: Outlook) -> list[str]:
    """Return what is too short at the known rates, and which rates each phase needs otherwise."""
    lines: list[str] = []
    for phase in plan.phases:
        lines += _too_short(plan, view, phase)
        lines += _unknown(plan, view, phase)
    if view.resolutions and not lines:
        lines.append(
            wrapped(
                f"Every evaluated phase is long enough to know each drain to ± "
                f"{number(plan.resolve_to_pct)} %."
            )
        )
    return lines


def _too_short(plan: Plan, view: Outlook, phase: Phase) -> Iterator[str]:
    names = {d.id: d.label for d in plan.devices}
    found = [(d, r) for p, d, r in view.resolutions if p.id == phase.id and r.verdict != "resolved"]
    if not found:
        return
    none = [names[d] for d, r in found if r.verdict == "not resolved"]
    low = min(r.drain_pp for _, r in found)
    width = max(r.half_width_pp for _, r in found)
    what = (
        f"cannot be told from no drain at all on {joined(none)}"
        if none
        else f"is known to worse than ± {number(plan.resolve_to_pct)} % on "
        + joined(names[d] for d, _ in found)
    )
    yield wrapped(
        f"{phase.label}, {duration(phase.planned_min)}: a drain from {number(low, 1)} pp on, read "
        f"to ± {number(width, 1)} pp, {what}. For ± {number(plan.resolve_to_pct)} % on all: "
        f"{duration(max(r.needed_min for _, r in found))}.",
        INDENT * 2,
    )


def _unknown(plan: Plan, view: Outlook, phase: Phase) -> Iterator[str]:
    """Say which rates the phase can show where none is known: X/L, and X/(s·L) for the share s."""
    names = {d.id: d.label for d in plan.devices}
    found = [(d, half) for p, d, half in view.unmeasured if p.id == phase.id]
    if not found or phase.planned_min is None:
        return
    half = max(half for _, half in found)
    hours = phase.planned_min / MIN_PER_H
    who = "" if len(found) == len(names) else f" of {joined(names[d] for d, _ in found)}"
    yield wrapped(
        f"{phase.label}, {duration(phase.planned_min)}: no rate is known{who}. Read to ± "
        f"{number(half, 1)} pp, less than {number(half / hours, 1)} pp/h cannot be told from no "
        f"drain at all; ± {number(plan.resolve_to_pct)} % needs "
        f"{number(100.0 * half / hours / plan.resolve_to_pct, 1)} pp/h.",
        INDENT * 2,
    )
