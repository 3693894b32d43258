"""What must fit together in a plan: lengths, limits, schedules, the planned stop."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.plan.timetable import phase_schedule, timetable
from kit.read.cells import quoted

if TYPE_CHECKING:
    from kit.plan.planned import Plan
    from kit.read.toml_table import Notes
    from kit.session import Phase

__all__ = ["check_plan"]


def check_plan(plan: Plan, notes: Notes) -> None:
    """Tell what keeps a plan from being laid out.

    Each step is taken only if nothing before it was wrong, so that one fault is told once.
    """
    for name, what in (("devices", "device"), ("phases", "phase")):
        if not getattr(plan, name):
            notes.add(
                "plan-empty", name, found=f"no {what}",
                expected=f"at least one [[{name}]] table", remedy=f"Name each {what}.",
            )  # fmt: skip
    if not plan.devices or not plan.phases:
        return
    for number, phase in enumerate(plan.phases, start=1):
        _length(plan, phase, number, notes)
        _limit(plan, phase, f"phases[{number}]", notes)
    if _faulty(notes):
        return
    for number, phase in enumerate(plan.phases, start=1):
        _schedule(plan, phase, number, notes)
    if not _faulty(notes):
        _stop(plan, notes)


def _faulty(notes: Notes) -> bool:
    return any(f.severity == "error" for f in notes.findings)


def _length(plan: Plan, phase: Phase, number: int, notes: Notes) -> None:
    last = number == len(plan.phases)
    if phase.kind == "until_empty" and not last:
        notes.add(
            "plan-length", f"phases[{number}].kind", found="until_empty before the last phase",
            expected="until_empty as the last phase",
            remedy="Move it to the end, or give it a length.",
        )  # fmt: skip
    elif phase.kind != "until_empty" and phase.planned_min is None:
        notes.add(
            "plan-length", f"phases[{number}].planned_min", found="no length",
            expected="a length (min) for every phase but the last",
            remedy='Write planned_min = 60; for an open end kind = "until_empty", as the last '
            "phase.",
        )  # fmt: skip


def _limit(plan: Plan, phase: Phase, path: str, notes: Notes) -> None:
    row = len(plan.devices)
    if not phase.is_split:
        limit = plan.at_once(phase.activity)
        if limit is not None and limit < row:
            notes.add(
                "plan-limit", f"{path}.activity",
                found=f"{quoted(phase.activity)} on {row} devices at once",
                expected=f"at most {limit}, its limit",
                remedy=f'Write kind = "crossover" (or "rotation") and parts = ["{phase.activity}"'
                ', "something that is not limited"].',
            )  # fmt: skip
        return
    if row < 2:
        notes.add(
            "plan-split", f"{path}.kind", found=f"{phase.kind} with one device",
            expected="two devices at least", remedy="Make it a plain phase.",
        )  # fmt: skip
    if phase.parts is None or row < 2:
        return
    usual = -(-row // 2) if phase.kind == "crossover" else 1
    groups = max(2, -(-row // (plan.at_once(phase.parts[0]) or usual)))
    others = row - row // groups
    limit = plan.at_once(phase.parts[1])
    if limit is not None and limit < others:
        notes.add(
            "plan-limit", f"{path}.parts",
            found=f"{quoted(phase.parts[1])} on {others} devices at once",
            expected=f"at most {limit}, its own limit",
            remedy="Choose another second part that is not limited.",
        )  # fmt: skip


def _schedule(plan: Plan, phase: Phase, number: int, notes: Notes) -> None:
    try:
        phase_schedule(plan, phase)
    except ValueError as error:
        notes.add(
            "plan-schedule", f"phases[{number}].planned_min",
            found=f"a limited phase of {phase.planned_min:g} min in which {error}",
            expected="room for one turn of every device, within the limit",
            remedy="Make the phase longer, the turns shorter, or the limit wider.",
        )  # fmt: skip


def _stop(plan: Plan, notes: Notes) -> None:
    if plan.stop_min is None:
        return
    last = max(item.start_min for item in timetable(plan).items if item.kind == "phase")
    if plan.stop_min <= last:
        notes.add(
            "plan-stop", "session.stop", found=f"a stop {plan.stop_min:g} min after the start",
            expected=f"a stop after the start of the last phase, at {last:g} min",
            remedy="Stop later, or plan fewer or shorter phases.",
        )  # fmt: skip
