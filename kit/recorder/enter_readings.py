"""Readings, ticks and readings that were missed."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from kit.recorder.moments import minutes_between
from kit.recorder.proposal import Proposal, Refused, percent
from kit.units import joined, number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.recorder.proposal import Asked
    from kit.recorder.rounds import Round
    from kit.recorder.state import DeviceNow

__all__ = ["doubts", "missed", "missed_rest", "reading", "soc_cell", "tick", "with_display"]

FASTEST_PP_PER_H = 90.0
SLIP_PP = 12.0
"""A drop of more than ``SLIP_PP`` at more than ``FASTEST_PP_PER_H`` is asked about: most likely a
digit is missing (common practice, no source)."""


def reading(asked: Asked) -> Proposal:
    """Note a percentage of the next device, or of the one that is named."""
    device = asked.next_device()
    value = cast("float", asked.command.number)
    walk = asked.here.round
    questions = tuple(doubts(device, value, asked))
    if walk is not None and device.id in walk.read:
        return _read_again(device, value, questions, asked)
    cells = {"device": device.id, **soc_cell(value)}
    said = f"{device.label}: {percent(value)} %"
    if walk is not None and device.id in walk.due:
        order = len(walk.read) + 1
        cells.update(phase=walk.phase, point=walk.point, order=str(order))
        said += f"  ({order} of {len(walk.order)})"
    elif asked.here.phase is not None:
        cells["point"] = "inside"
    row = with_display(asked.row("reading", **cells), value)
    return Proposal(said=said, rows=(row,), questions=questions)


def _read_again(
    device: DeviceNow, value: float, questions: tuple[str, ...], asked: Asked
) -> Proposal:
    """Correct a reading of the round that is on."""
    walk = cast("Round", asked.here.round)
    name = walk.read[device.id]
    earlier = asked.here.row(name).get("soc_pct")
    if earlier and float(earlier) <= 100 and value > float(earlier):
        questions = tuple(q for q in questions if "more than" not in q)
    was = f"{earlier} %" if earlier else "missed"
    cells = {"soc_pct": soc_cell(value).get("soc_pct", "")}
    row = with_display({**cells, "note": asked.here.row(name).get("note")}, value)
    return Proposal(
        said=f"{device.label}: {percent(value)} % instead of {was}",
        changes={name: row},
        questions=(*questions, f"{device.label} was read in this round already, {was}"),
    )


def soc_cell(value: float) -> dict[str, str]:
    """Return the cell of a percentage; the log holds none outside 0 to 100."""
    return {"soc_pct": percent(value)} if 0 <= value <= 100 else {}


def with_display(row: dict[str, str], value: float) -> dict[str, str]:
    """Return a row that says what the display showed, where that is no percentage."""
    if 0 <= value <= 100:
        return row
    words = f"the display showed {percent(value)}"
    return {**row, "note": "; ".join(p for p in (row.get("note", ""), words) if p)}


def doubts(device: DeviceNow, value: float, asked: Asked) -> Iterator[str]:
    """Yield what speaks against a percentage."""
    if not 0 <= value <= 100:
        yield f"{percent(value)} is no percentage from 0 to 100"
        return
    if value != int(value):
        yield f"{percent(value)} is no whole number"
    if device.state == "off" and device.off_at is not None and device.off_at <= asked.at:
        yield f"{device.label} was noted off at {device.off_at:%H:%M}"
    last, when = device.soc_pct, device.soc_at
    if last is None or when is None:
        return
    if asked.at < when:
        if value < last:
            yield f"{percent(value)} % is less than {percent(last)} % at {when:%H:%M}, later"
        return
    if value > last and not device.charged:
        yield f"{percent(value)} % is more than {percent(last)} % at {when:%H:%M}"
    drop, hours = last - value, minutes_between(when, asked.at) / 60
    if drop > SLIP_PP and drop > FASTEST_PP_PER_H * hours:
        yield (
            f"{percent(value)} % is {percent(drop)} points less than at {when:%H:%M}, "
            f"{number(hours * 60)} min before"
        )


def tick(asked: Asked) -> Proposal:
    """Note that a display changed just now."""
    device = asked.next_device()
    value = cast("float", asked.command.number)
    row = with_display(asked.row("tick", device=device.id, **soc_cell(value)), value)
    return Proposal(
        said=f"{device.label}: changed to {percent(value)} % at {asked.at:%H:%M:%S}",
        rows=(row,),
        questions=tuple(doubts(device, value, asked)),
    )


def missed(asked: Asked) -> Proposal:
    """Note that one device was not read in this round."""
    device = asked.next_device()
    walk = asked.here.round
    if walk is None or device.id not in walk.due:
        message = f"{device.label} is not to be read now, so nothing was missed."
        raise Refused(message)
    return _missed_rows((device.id,), asked)


def missed_rest(asked: Asked) -> Proposal:
    """Note that no device that is left was read in this round."""
    walk = asked.here.round
    if walk is None:
        message = "No round is on, so nothing was missed."
        raise Refused(message)
    return _missed_rows(walk.due, asked)


def _missed_rows(devices: tuple[str, ...], asked: Asked) -> Proposal:
    walk = cast("Round", asked.here.round)
    rows = [
        {
            "note": "missed",
            **asked.row(
                "reading", device=name, phase=walk.phase, point=walk.point, order=str(order)
            ),
        }
        for order, name in enumerate(devices, start=len(walk.read) + 1)
    ]
    labels = [asked.protocol.label(name) for name in devices]
    return Proposal(said=f"no reading of {joined(labels)}", rows=tuple(rows))
