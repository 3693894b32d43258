"""Temperatures, chargers, incidents, notes, and what is said about the entry before."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, cast

from kit.recorder.moments import minutes_between, stamp
from kit.recorder.proposal import Proposal, Refused, future, percent, stated

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.recorder.proposal import Asked

__all__ = ["add_note", "by", "charge", "evidence", "incident", "note", "temperature", "time"]


def temperature(asked: Asked) -> Proposal:
    """Note a temperature of a device or of the room."""
    value = cast("float", asked.command.number)
    device = asked.command.devices[0] if asked.command.devices else ""
    label = asked.protocol.label(device) if device else "room"
    questions = [] if -60 <= value <= 200 else [f"{value:g} °C is outside −60 to 200 °C"]
    cells = {"temperature_c": f"{value:g}"} if not questions else {}
    row = asked.row("temperature", device=device, **cells)
    if questions:
        row["note"] = "; ".join(p for p in (row.get("note", ""), f"showed {value:g}") if p)
        row["event"] = "note"
    return Proposal(said=f"{label}: {value:g} °C", rows=(row,), questions=tuple(questions))


def charge(asked: Asked) -> Proposal:
    """Note that a device went on or off its charger."""
    if not asked.command.devices:
        message = "Say which device: 3 plug, 3 unplug."
        raise Refused(message)
    device = asked.here.device(asked.command.devices[0])
    value = asked.command.number
    if value is not None and not 0 <= value <= 100:
        message = f"{percent(value)} is no percentage from 0 to 100."
        raise Refused(message)
    soc = {} if value is None else {"soc_pct": percent(value)}
    begins = asked.command.action == "plug"
    row = asked.row("charge_start" if begins else "charge_end", device=device.id, **soc)
    phase = asked.here.phase
    return Proposal(
        said=f"{device.label}: {'on' if begins else 'off'} its charger",
        rows=(row,),
        questions=((f"{phase.label} is running",) if phase is not None and begins else ()),
    )


def incident(asked: Asked) -> Proposal:
    """Note that something went wrong."""
    device = asked.command.devices[0] if asked.command.devices else ""
    label = asked.protocol.label(device) if device else "row"
    row = asked.row("incident", device=device, cause=asked.command.text)
    return Proposal(said=f"{label}: incident, {asked.command.text}", rows=(row,))


def note(asked: Asked) -> Proposal:
    """Note anything."""
    row = asked.row("note")
    row["note"] = " > ".join(p for p in (asked.command.text, asked.command.note) if p)
    return Proposal(said="note", rows=(row,))


def by(asked: Asked) -> Proposal:
    """Note who reads from now on."""
    return Proposal(
        said=f"from now on read by {asked.command.text}", facts={"by": asked.command.text}
    )


def _last_rows(asked: Asked) -> tuple[str, ...]:
    """Return the ids of the rows of the newest entry that made any."""
    if not asked.here.last_rows:
        message = "There is no entry before that could be changed."
        raise Refused(message)
    return asked.here.last_rows


def evidence(asked: Asked) -> Proposal:
    """Say where the entry before can be seen again."""
    names = _last_rows(asked)
    cells = {"evidence": asked.command.text}
    return Proposal(said="evidence noted", changes=dict.fromkeys(names, cells))


def add_note(asked: Asked) -> Proposal:
    """Add a note to the entry before."""
    changes = {}
    for name in _last_rows(asked):
        before = asked.here.row(name).get("note")
        changes[name] = {"note": "; ".join(p for p in (before, asked.command.note) if p)}
    return Proposal(said="note added", changes=changes)


def time(asked: Asked) -> Proposal:
    """Correct the time of the entry before, and of the turns that it closed."""
    names = _last_rows(asked)
    said = asked.here.moments.get(names[0])
    at = stated(asked.command.at, said or asked.at, said or asked.at)
    at = at.astimezone(asked.protocol.zone)
    changes: dict[str, dict[str, str]] = {}
    questions = list(future(at, asked.here))
    for name in names:
        row = asked.here.row(name)
        changes[name] = {"date": "", **stamp(at, zoned=asked.protocol.zoned), "elapsed_min": ""}
        if row.get("event") == "power_off" and row.get("first_off"):
            changes[name]["first_off"] = replace(asked, at=at).limit(at)
            seen = asked.here.device(row.get("device")).seen_at
            if seen is not None and seen > at:
                questions.append(f"it was seen on at {seen:%H:%M}, later than that")
                changes[name]["last_on"] = ""
        changes[name]["note"] = "; ".join(p for p in (row.get("note"), asked.command.note) if p)
    if said is not None:
        changes.update(_moved_turns(asked, minutes_between(said, at)))
    return Proposal(
        said=f"time of the entry before: {at:%H:%M:%S}",
        changes=changes,
        questions=tuple(questions),
    )


def _moved_turns(asked: Asked, minutes: float) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield the turns that the entry before closed, longer or shorter by some minutes."""
    for name, cells in asked.here.last_changes.items():
        if "duration_min" in cells:
            length = max(0.0, float(cells["duration_min"]) + minutes)
            yield name, {"duration_min": f"{round(length, 1):g}"}
