"""Power-offs, looks along the row, and who is still on at the end."""

from __future__ import annotations

from datetime import UTC, timedelta
from typing import TYPE_CHECKING

from kit.recorder.enter_readings import doubts, soc_cell, with_display
from kit.recorder.moments import minutes_between
from kit.recorder.proposal import Proposal, Refused, percent
from kit.session import SEEN_ON
from kit.units import joined

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.recorder.proposal import Asked
    from kit.recorder.state import DeviceNow

__all__ = ["look", "off", "stop"]

EMPTY_PCT = 20.0
"""A device that goes off above this is asked about (%)."""

LAST_SHOWN_MIN = 5.0
"""The last reading counts as the last percentage seen before a power-off if it is no older."""

NOTICED = timedelta(minutes=1)
"""A device that went off before somebody's eyes was on so long before it was typed, at least."""


def off(asked: Asked) -> Proposal:
    """Note that a device was found off, or went off before somebody's eyes."""
    device = asked.next_device()
    seen = device.seen_at
    if asked.command.action == "seen_off":
        noticed = (asked.at.astimezone(UTC) - NOTICED).astimezone(asked.at.tzinfo)
        seen = noticed if seen is None or seen > asked.at else max(seen, noticed)
    questions = list(_off_doubts(device, asked))
    cells = {"device": device.id, "first_off": asked.limit(asked.at)}
    said = f"{device.label}: OFF at {asked.at:%H:%M}"
    if seen is not None and seen <= asked.at:
        cells["last_on"] = asked.limit(seen)
        said += f", seen on last at {seen:%H:%M}"
    elif seen is not None:
        questions.append(f"{device.label} was seen on at {seen:%H:%M}, later than that")
    soc = asked.command.number
    if soc is None and device.soc_at is not None:
        shown_for = minutes_between(device.soc_at, asked.at)
        soc = device.soc_pct if 0 <= shown_for <= LAST_SHOWN_MIN else None
    row = asked.row("power_off", **cells)
    if soc is not None:
        row = with_display({**row, **soc_cell(soc)}, soc)
        said += f", showed {percent(soc)} % last"
    return Proposal(said=said, rows=(row,), questions=tuple(questions))


def _off_doubts(device: DeviceNow, asked: Asked) -> Iterator[str]:
    if device.state == "off":
        when = "" if device.off_at is None else f" at {device.off_at:%H:%M}"
        message = f"{device.label} was noted off{when} already. u withdraws, @ corrects the time."
        raise Refused(message)
    soc = device.soc_pct if asked.command.number is None else asked.command.number
    if asked.command.number is not None:
        yield from doubts(device, asked.command.number, asked)
    if soc is not None and EMPTY_PCT < soc <= 100:
        yield f"{device.label} showed {percent(soc)} % before it went off"


def look(asked: Asked) -> Proposal:
    """Note that all devices not marked off were seen on."""
    on = [d.id for d in asked.here.devices if d.state == "on"]
    if not on:
        message = "No device is on any more."
        raise Refused(message)
    labels = joined([asked.protocol.label(d) for d in on])
    row = asked.row("note", evidence=SEEN_ON + ", ".join(on))
    row["note"] = "; ".join(p for p in ("looked along the row", asked.command.note) if p)
    return Proposal(said=f"seen on: {labels}", rows=(row,))


def stop(asked: Asked) -> Proposal:
    """Note who is still on when the session is stopped."""
    if asked.here.phase is not None:
        message = f"{asked.here.phase.label} still runs; end it first with e."
        raise Refused(message)
    on = [d for d in asked.here.devices if d.state == "on"]
    if not on:
        message = "Every device is noted off or still on: the session is complete. q leaves."
        raise Refused(message)
    phase = asked.here.ended.id if asked.here.ended is not None else ""
    rows = []
    for device in on:
        soc = {} if device.soc_pct is None else {"soc_pct": percent(device.soc_pct)}
        rows.append(asked.row("still_on", device=device.id, phase=phase, **soc))
    left = asked.here.following
    return Proposal(
        said=f"stopped; still on: {joined([d.label for d in on])}",
        rows=tuple(rows),
        questions=() if left is None else (f"{left.label} has not been run",),
    )
