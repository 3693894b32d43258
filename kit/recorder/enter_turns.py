"""Turns and halves begin and end."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from kit.recorder.moments import minutes_between
from kit.recorder.proposal import Proposal, Refused
from kit.units import joined, number

if TYPE_CHECKING:
    from kit.recorder.proposal import Asked
    from kit.recorder.turns import TurnNow
    from kit.session import Phase

__all__ = ["closed", "first_turns", "turn"]

FULL_TURN = 0.95
"""A turn of at least this share of its planned length counts as completed."""

SOON_MIN = 1.0
"""A turn that is planned to begin within this time begins at once (min)."""


def first_turns(phase_id: str, asked: Asked) -> tuple[list[dict[str, str]], str]:
    """Return the turns that begin with a phase, and the words about them."""
    phase = next(p for p in asked.protocol.phases if p.id == phase_id)
    on = [d.id for d in asked.here.devices if d.state == "on"]
    if phase.parts is None or not phase.is_split or not on:
        return [], ""
    if phase.kind == "crossover":
        rows = [
            asked.row("turn", phase=phase_id, device=d, part=phase.parts[d not in phase.first_half])
            for d in on
        ]
        labels = joined([asked.protocol.label(d) for d in on if d in phase.first_half])
        return rows, f"; {phase.parts[0]} first: {labels or 'none'}"
    first = on[:1]
    if phase.planned_turns:
        first = [d for d in phase.planned_turns[0].devices if d in on]
    labels = joined([asked.protocol.label(d) for d in first])
    rows = [asked.row("turn", phase=phase_id, device=d, part=phase.parts[0]) for d in first]
    return rows, f"; {phase.parts[0]}: {labels or 'nobody yet'}"


def closed(asked: Asked, completed: str) -> dict[str, dict[str, str]]:
    """Return the changes that close the running turns."""
    turn = asked.here.turn
    changes: dict[str, dict[str, str]] = {}
    for name in () if turn is None else turn.rows:
        started = asked.here.moments.get(name)
        if started is None:
            continue
        off_at = asked.here.device(asked.here.row(name).get("device")).off_at
        end = asked.at if off_at is None or off_at > asked.at else max(off_at, started)
        length = max(0.0, minutes_between(started, end))
        full = None
        if turn is not None and turn.ends is not None and turn.started is not None:
            full = minutes_between(turn.started, turn.ends)
        whole = full is None or length >= FULL_TURN * full
        changes[name] = {
            "duration_min": f"{round(length, 1):g}",
            "completed": completed or ("yes" if whole else "partly"),
        }
    return changes


def turn(asked: Asked) -> Proposal:
    """End the running turn or half, and begin the next one when it is due."""
    here, now = asked.here, asked.here.turn
    if here.phase is None or now is None or here.phase.parts is None:
        message = "There are no turns now: no phase is running, or all devices do the same in it."
        raise Refused(message)
    first, _, words = asked.command.text.partition(" ")
    how = first.casefold()
    if asked.command.text and how not in ("end", "partly", "no"):
        message = "After w: end (nobody's turn follows yet), partly or no (not completed)."
        raise Refused(message)
    changes = closed(asked, how if how in ("partly", "no") else "")
    if words:
        changes = {name: {**cells, "note": words} for name, cells in changes.items()}
    if now.halves:
        return _half(asked, changes, only_end=how == "end")
    following = asked.command.devices or now.following
    waits = not asked.command.devices and _waits(now, asked)
    if how == "end" or waits or (not following and now.rows):
        if not now.rows:
            message = "No turn is running, and none is left. e ends the phase."
            raise Refused(message)
        said = f"turn over at {asked.at:%H:%M:%S}{_next(now, asked)}"
        return Proposal(said=said, changes=changes)
    if not following:
        message = "Every device has had its turn. e ends the phase."
        raise Refused(message)
    gone = [asked.protocol.label(d) for d in following if here.device(d).state == "off"]
    labels = joined([asked.protocol.label(d) for d in following])
    rows = [asked.row("turn", device=d, part=here.phase.parts[0]) for d in following]
    return Proposal(
        said=f"{here.phase.parts[0]}: {labels}, from {asked.at:%H:%M:%S}",
        rows=tuple(rows),
        changes=changes,
        questions=tuple(f"{label} is off" for label in gone),
    )


def _waits(now: TurnNow, asked: Asked) -> bool:
    """Whether the running turn is over, but the next one has to wait for its time."""
    if not now.rows or now.next_at is None:
        return False
    return minutes_between(asked.at, now.next_at) > SOON_MIN


def _next(now: TurnNow, asked: Asked) -> str:
    """Return the words about who is next, and when."""
    if not now.following:
        return ""
    words = f"; next: {joined([asked.protocol.label(d) for d in now.following])}"
    late = now.next_at is None or now.next_at <= asked.at
    return words if late or now.next_at is None else f"{words} at {now.next_at:%H:%M}"


def _half(asked: Asked, changes: dict[str, dict[str, str]], *, only_end: bool) -> Proposal:
    """End the first half of a crossover, begin the second one; the row is read between them."""
    here = asked.here
    phase, now = cast("Phase", here.phase), cast("TurnNow", here.turn)
    if now.second or asked.command.devices:
        message = (
            "Both halves have begun. e ends the phase."
            if now.second
            else "Halves swap all at once: w alone. A device that does not take part: n and why."
        )
        raise Refused(message)
    questions = []
    if now.ends is not None:
        early = minutes_between(asked.at, now.ends)
        if early > 1:
            questions.append(
                f"the first half was planned to {now.ends:%H:%M}, {number(early)} min more"
            )
    read = {"round": [phase.id, "inside"]} if now.rows else {}
    if only_end or _waits(now, asked):
        if not now.rows:
            message = "The first half is over already. w begins the second one."
            raise Refused(message)
        return Proposal(
            said=f"first half over at {asked.at:%H:%M:%S}{_next(now, asked)}",
            changes=changes,
            facts=read,
            questions=tuple(questions),
        )
    parts, first = cast("tuple[str, str]", phase.parts), phase.first_half
    on = [d.id for d in here.devices if d.state == "on"]
    limited = joined([asked.protocol.label(d) for d in on if d not in first])
    return Proposal(
        said=f"swapped at {asked.at:%H:%M:%S}; {parts[0]} now: {limited or 'none'}",
        rows=tuple(asked.row("turn", device=d, part=parts[d in first]) for d in on),
        changes=changes,
        facts=read,
        questions=tuple(questions),
    )
