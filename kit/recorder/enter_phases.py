"""Phases begin and end; walks along the row that are asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.recorder.enter_turns import closed, first_turns
from kit.recorder.moments import minutes_between
from kit.recorder.proposal import Proposal, Refused
from kit.units import joined, number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.recorder.proposal import Asked

__all__ = ["end", "round_", "start"]


def start(asked: Asked) -> Proposal:
    """Start the next phase, or the one that is named."""
    here = asked.here
    if here.phase is not None:
        message = f"{here.phase.label} still runs; end it first with e."
        raise Refused(message)
    phase = here.following
    if asked.command.text:
        named = [p for p in asked.protocol.phases if p.id == asked.command.text]
        if not named:
            message = f"There is no phase {asked.command.text!r} in the setup file."
            raise Refused(message)
        phase = named[0]
        if any(r.get("event") == "phase_start" and r.get("phase") == phase.id for r in here.rows):
            message = f"{phase.label} was started already. @ corrects the time of an entry."
            raise Refused(message)
    if phase is None:
        message = "All phases of the setup file have been run. f says which devices are still on."
        raise Refused(message)
    questions = []
    walk = here.round
    if walk is not None and walk.point == "end":
        labels = joined([asked.protocol.label(d) for d in walk.due])
        questions.append(f"the end of the phase before was not read yet of {labels}")
    if here.ended is not None:
        questions.extend(_before_end(asked))
    rows = [asked.row("phase_start", phase=phase.id)]
    turns, words = first_turns(phase.id, asked)
    return Proposal(
        said=f"{phase.label} starts at {asked.at:%H:%M:%S}{words}",
        rows=(*rows, *turns),
        questions=tuple(questions),
    )


def _before_end(asked: Asked) -> Iterator[str]:
    ends = [
        m
        for r in asked.here.rows
        if r.get("event") == "phase_end" and (m := asked.here.moments.get(r.id)) is not None
    ]
    if ends and asked.at < max(ends):
        yield f"the phase before ended at {max(ends):%H:%M}, later than that"


def end(asked: Asked) -> Proposal:
    """End the running phase and its turns."""
    here = asked.here
    if here.phase is None:
        message = "No phase is running. s starts the next one."
        raise Refused(message)
    questions = []
    if here.started is not None and asked.at < here.started:
        questions.append(f"it started at {here.started:%H:%M}, later than that")
    if here.planned_end is not None:
        early = minutes_between(asked.at, here.planned_end)
        if early > 1:
            questions.append(
                f"it was planned to {here.planned_end:%H:%M}, {number(early)} min more"
            )
    return Proposal(
        said=f"{here.phase.label} ends at {asked.at:%H:%M:%S}",
        rows=(asked.row("phase_end"),),
        changes=closed(asked, ""),
        questions=tuple(questions),
    )


def round_(asked: Asked) -> Proposal:
    """Open a walk along the row."""
    here = asked.here
    if here.round is not None:
        message = f"A round is on: {joined([asked.protocol.label(d) for d in here.round.due])}."
        raise Refused(message)
    if here.phase is not None:
        key = (here.phase.id, "inside")
    elif here.following is not None:
        key = (here.following.id, "start")
        if any(r.get("phase") == key[0] and r.get("point") == "start" for r in here.rows):
            message = "The start of the next phase was read already. s starts it."
            raise Refused(message)
    else:
        message = "No phase is running and none follows. f says which devices are still on."
        raise Refused(message)
    if all(d.state != "on" for d in here.devices):
        message = "No device is on any more."
        raise Refused(message)
    return Proposal(said="read the row", facts={"round": list(key)})
