"""From a command to what goes into the journal, or to a question, or to a plain no.

What cannot be (a percentage that rises, one above 100, one of a device that is off) is asked
about at once. It may be true all the same, so a yes is enough to keep it; the log then says that
it was confirmed, and why it was asked about.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, timedelta
from typing import TYPE_CHECKING, cast

from kit.recorder.moments import minutes_between, near, parse_clock, stamp, stamp_of_limit
from kit.session import SEEN_ON
from kit.units import joined, number

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from datetime import datetime

    from kit.recorder.keys import Action, Command
    from kit.recorder.rounds import Round
    from kit.recorder.state import DeviceNow, Protocol, Situation, TurnNow
    from kit.session import Phase

__all__ = ["Proposal", "Refused", "confirmed", "propose"]

EMPTY_PCT = 20.0
"""A device that goes off above this is asked about (%)."""

FASTEST_PP_PER_H = 90.0
SLIP_PP = 12.0
"""A drop of more than ``SLIP_PP`` at more than ``FASTEST_PP_PER_H`` is asked about: most likely a
digit is missing (common practice, no source)."""

LAST_SHOWN_MIN = 5.0
"""The last reading counts as the last percentage seen before a power-off if it is no older."""

NOTICED = timedelta(minutes=1)
"""A device that went off before somebody's eyes was on so long before it was typed, at least."""

AHEAD_MIN = 1.0
"""A time may lie so far in the future before it is asked about (min): clocks differ."""

FULL_TURN = 0.95
"""A turn of at least this share of its planned length counts as completed."""


class Refused(ValueError):  # noqa: N818 (what happened, not an error of the program)
    """It makes no sense now; the message says why, and what would."""


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """What would go into the journal.

    Parameters
    ----------
    said
        One line for the operator: what is saved.
    questions
        Why it cannot be; empty when nothing is against it.
    """

    said: str
    rows: tuple[Mapping[str, str], ...] = ()
    changes: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    facts: Mapping[str, object] = field(default_factory=dict)
    questions: tuple[str, ...] = ()


def confirmed(proposal: Proposal, note: str) -> Proposal:
    """Return a proposal that was asked about and confirmed: its rows say so."""
    words = "confirmed: " + "; ".join(proposal.questions)
    words = f"{words}; {note}" if note else words

    def said(cells: Mapping[str, str]) -> dict[str, str]:
        return {**cells, "note": "; ".join(p for p in (cells.get("note", ""), words) if p)}

    changes = proposal.changes
    if not proposal.rows:
        changes = {name: said(cells) for name, cells in changes.items()}
    return replace(
        proposal, rows=tuple(said(r) for r in proposal.rows), changes=changes, questions=()
    )


@dataclass(frozen=True, kw_only=True)
class _Asked:
    """A command with all it is judged by."""

    command: Command
    here: Situation
    protocol: Protocol
    at: datetime

    def row(self, event: str, **cells: str) -> dict[str, str]:
        """Return a row of the log at the moment of the command."""
        run = "" if self.protocol.run is None else str(self.protocol.run)
        phase = self.here.phase.id if self.here.phase is not None else ""
        full = {
            "event": event, "run": run, "phase": phase, **cells,
            **stamp(self.at, zoned=self.protocol.zoned),
            "by": self.here.by, "note": self.command.note,
        }  # fmt: skip
        return {column: text for column, text in full.items() if text}

    def limit(self, moment: datetime) -> str:
        """Return a cell for a time beside that of the row."""
        return stamp_of_limit(moment, self.at, zoned=self.protocol.zoned)

    def next_device(self) -> DeviceNow:
        """Return the device that was named, or the one that is next in the round."""
        if self.command.devices:
            return self.here.device(self.command.devices[0])
        if self.here.round is None:
            message = (
                "No round is on, so say which device: its place in the row first (3 91). "
                "r begins a round."
            )
            raise Refused(message)
        return self.here.device(self.here.round.due[0])


def propose(command: Command, here: Situation, protocol: Protocol) -> Proposal:
    """Return what a command would put into the journal.

    Raises
    ------
    Refused
        If it makes no sense now.
    """
    at, late = _moment(command, here, protocol)
    made = _DOES[command.action](_Asked(command=command, here=here, protocol=protocol, at=at))
    return replace(made, questions=(*late, *made.questions))


def _moment(
    command: Command, here: Situation, protocol: Protocol
) -> tuple[datetime, tuple[str, ...]]:
    """Return when it was, and what speaks against that."""
    base = here.now.replace(microsecond=0)
    if command.action == "time" or not command.at:
        return base, ()
    at = _stated(command.at, base, base)
    return at.astimezone(protocol.zone), _future(at, here)


def _stated(text: str, said: datetime, now: datetime) -> datetime:
    """Return the moment that ``@ 9:05`` or ``@ -2`` means; −2 counts from what it said."""
    if ":" not in text:
        back = timedelta(minutes=abs(int(text)))
        return (said.astimezone(UTC) - back).astimezone(said.tzinfo)
    clock = parse_clock(text)
    if clock is None:
        message = f"{text} is no time of day. Write it as 9:05 or 9:05:30."
        raise Refused(message)
    return near(clock, now)


def _future(at: datetime, here: Situation) -> tuple[str, ...]:
    ahead = minutes_between(here.now, at)
    return (f"{at:%H:%M} is in the future",) if ahead > AHEAD_MIN else ()


# ------------------------------------------------------------------- readings


def _percent(value: float) -> str:
    return f"{value:g}"


def _reading(asked: _Asked) -> Proposal:
    device = asked.next_device()
    value = cast("float", asked.command.number)
    walk = asked.here.round
    questions = tuple(_doubts(device, value, asked))
    if walk is not None and device.id in walk.read:
        return _read_again(device, value, questions, asked)
    cells = {"device": device.id, **_value(value)}
    said = f"{device.label}: {_percent(value)} %"
    if walk is not None and device.id in walk.due:
        order = len(walk.read) + 1
        cells.update(phase=walk.phase, point=walk.point, order=str(order))
        said += f"  ({order} of {len(walk.order)})"
    elif asked.here.phase is not None:
        cells["point"] = "inside"
    row = _with_display(asked.row("reading", **cells), value)
    return Proposal(said=said, rows=(row,), questions=questions)


def _read_again(
    device: DeviceNow, value: float, questions: tuple[str, ...], asked: _Asked
) -> Proposal:
    """Correct a reading of the round that is on."""
    walk = cast("Round", asked.here.round)
    name = walk.read[device.id]
    earlier = asked.here.row(name).get("soc_pct")
    if earlier and float(earlier) <= 100 and value > float(earlier):
        questions = tuple(q for q in questions if "more than" not in q)
    was = f"{earlier} %" if earlier else "missed"
    cells = {"soc_pct": _value(value).get("soc_pct", "")}
    row = _with_display({**cells, "note": asked.here.row(name).get("note")}, value)
    return Proposal(
        said=f"{device.label}: {_percent(value)} % instead of {was}",
        changes={name: row},
        questions=(*questions, f"{device.label} was read in this round already, {was}"),
    )


def _value(value: float) -> dict[str, str]:
    """Return the cell of a percentage; the log holds none outside 0 to 100."""
    return {"soc_pct": _percent(value)} if 0 <= value <= 100 else {}


def _with_display(row: dict[str, str], value: float) -> dict[str, str]:
    if 0 <= value <= 100:
        return row
    words = f"the display showed {_percent(value)}"
    return {**row, "note": "; ".join(p for p in (row.get("note", ""), words) if p)}


def _doubts(device: DeviceNow, value: float, asked: _Asked) -> Iterator[str]:
    """Yield what speaks against a percentage."""
    if not 0 <= value <= 100:
        yield f"{_percent(value)} is no percentage from 0 to 100"
        return
    if value != int(value):
        yield f"{_percent(value)} is no whole number"
    if device.state == "off" and device.off_at is not None and device.off_at <= asked.at:
        yield f"{device.label} was noted off at {device.off_at:%H:%M}"
    last, when = device.soc_pct, device.soc_at
    if last is None or when is None:
        return
    if asked.at < when:
        if value < last:
            yield f"{_percent(value)} % is less than {_percent(last)} % at {when:%H:%M}, later"
        return
    if value > last and not device.charged:
        yield f"{_percent(value)} % is more than {_percent(last)} % at {when:%H:%M}"
    drop, hours = last - value, minutes_between(when, asked.at) / 60
    if drop > SLIP_PP and drop > FASTEST_PP_PER_H * hours:
        yield (
            f"{_percent(value)} % is {_percent(drop)} points less than at {when:%H:%M}, "
            f"{number(hours * 60)} min before"
        )


def _tick(asked: _Asked) -> Proposal:
    device = asked.next_device()
    value = cast("float", asked.command.number)
    row = _with_display(asked.row("tick", device=device.id, **_value(value)), value)
    return Proposal(
        said=f"{device.label}: changed to {_percent(value)} % at {asked.at:%H:%M:%S}",
        rows=(row,),
        questions=tuple(_doubts(device, value, asked)),
    )


def _missed(asked: _Asked) -> Proposal:
    device = asked.next_device()
    walk = asked.here.round
    if walk is None or device.id not in walk.due:
        message = f"{device.label} is not to be read now, so nothing was missed."
        raise Refused(message)
    return _missed_rows((device.id,), asked)


def _missed_rest(asked: _Asked) -> Proposal:
    walk = asked.here.round
    if walk is None:
        message = "No round is on, so nothing was missed."
        raise Refused(message)
    return _missed_rows(walk.due, asked)


def _missed_rows(devices: tuple[str, ...], asked: _Asked) -> Proposal:
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


# ---------------------------------------------------------- off, on and looks


def _off(asked: _Asked) -> Proposal:
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
        row = _with_display({**row, **_value(soc)}, soc)
        said += f", showed {_percent(soc)} % last"
    return Proposal(said=said, rows=(row,), questions=tuple(questions))


def _off_doubts(device: DeviceNow, asked: _Asked) -> Iterator[str]:
    if device.state == "off":
        when = "" if device.off_at is None else f" at {device.off_at:%H:%M}"
        message = f"{device.label} was noted off{when} already. u withdraws, @ corrects the time."
        raise Refused(message)
    soc = device.soc_pct if asked.command.number is None else asked.command.number
    if asked.command.number is not None:
        yield from _doubts(device, asked.command.number, asked)
    if soc is not None and EMPTY_PCT < soc <= 100:
        yield f"{device.label} showed {_percent(soc)} % before it went off"


def _look(asked: _Asked) -> Proposal:
    on = [d.id for d in asked.here.devices if d.state == "on"]
    if not on:
        message = "No device is on any more."
        raise Refused(message)
    labels = joined([asked.protocol.label(d) for d in on])
    row = asked.row("note", evidence=SEEN_ON + ", ".join(on))
    row["note"] = "; ".join(p for p in ("looked along the row", asked.command.note) if p)
    return Proposal(said=f"seen on: {labels}", rows=(row,))


def _stop(asked: _Asked) -> Proposal:
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
        soc = {} if device.soc_pct is None else {"soc_pct": _percent(device.soc_pct)}
        rows.append(asked.row("still_on", device=device.id, phase=phase, **soc))
    left = asked.here.following
    return Proposal(
        said=f"stopped; still on: {joined([d.label for d in on])}",
        rows=tuple(rows),
        questions=() if left is None else (f"{left.label} has not been run",),
    )


# ------------------------------------------------------------ phases, turns


def _start(asked: _Asked) -> Proposal:
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
    turns, words = _first_turns(phase.id, asked)
    return Proposal(
        said=f"{phase.label} starts at {asked.at:%H:%M:%S}{words}",
        rows=(*rows, *turns),
        questions=tuple(questions),
    )


def _before_end(asked: _Asked) -> Iterator[str]:
    ends = [
        m
        for r in asked.here.rows
        if r.get("event") == "phase_end" and (m := asked.here.moments.get(r.id)) is not None
    ]
    if ends and asked.at < max(ends):
        yield f"the phase before ended at {max(ends):%H:%M}, later than that"


def _first_turns(phase_id: str, asked: _Asked) -> tuple[list[dict[str, str]], str]:
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
    first = on[0]
    label = asked.protocol.label(first)
    rows = [asked.row("turn", phase=phase_id, device=first, part=phase.parts[0])]
    return rows, f"; {phase.parts[0]}: {label}"


def _end(asked: _Asked) -> Proposal:
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
        changes=_closed(asked, ""),
        questions=tuple(questions),
    )


def _closed(asked: _Asked, completed: str) -> dict[str, dict[str, str]]:
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


def _turn(asked: _Asked) -> Proposal:
    here, turn = asked.here, asked.here.turn
    if here.phase is None or turn is None or here.phase.parts is None:
        message = "There are no turns now: no phase is running, or all devices do the same in it."
        raise Refused(message)
    first, _, words = asked.command.text.partition(" ")
    how = first.casefold()
    if asked.command.text and how not in ("end", "partly", "no"):
        message = "After w: end (nobody's turn follows yet), partly or no (not completed)."
        raise Refused(message)
    changes = _closed(asked, how if how in ("partly", "no") else "")
    if words:
        changes = {name: {**cells, "note": words} for name, cells in changes.items()}
    following = asked.command.devices or turn.following
    only_end = how == "end" or (not following and bool(turn.devices or turn.rows))
    if only_end and not turn.rows:
        message = "No turn is running, and none is left. e ends the phase."
        raise Refused(message)
    if not only_end and not following:
        message = "Every device has had its turn. e ends the phase."
        raise Refused(message)
    if here.phase.kind == "crossover" and not only_end:
        return _swap(asked, changes)
    if only_end:
        if here.phase.kind == "crossover":
            message = "e ends the phase and its second half."
            raise Refused(message)
        return Proposal(said=f"turn over at {asked.at:%H:%M:%S}", changes=changes)
    gone = [asked.protocol.label(d) for d in following if here.device(d).state == "off"]
    labels = joined([asked.protocol.label(d) for d in following])
    rows = [asked.row("turn", device=d, part=here.phase.parts[0]) for d in following]
    return Proposal(
        said=f"{here.phase.parts[0]}: {labels}, from {asked.at:%H:%M:%S}",
        rows=tuple(rows),
        changes=changes,
        questions=tuple(f"{label} is off" for label in gone),
    )


def _swap(asked: _Asked, changes: dict[str, dict[str, str]]) -> Proposal:
    """Begin the second half of a crossover; the row is read at the swap."""
    here = asked.here
    phase, turn = cast("Phase", here.phase), cast("TurnNow", here.turn)
    if turn.second:
        message = "Both halves have begun. e ends the phase."
        raise Refused(message)
    parts, first = cast("tuple[str, str]", phase.parts), phase.first_half
    on = [d.id for d in here.devices if d.state == "on"]
    rows = [asked.row("turn", device=d, part=parts[d in first]) for d in on]
    questions = []
    if turn.ends is not None:
        early = minutes_between(asked.at, turn.ends)
        if early > 1:
            questions.append(
                f"the first half was planned to {turn.ends:%H:%M}, {number(early)} min more"
            )
    now = joined([asked.protocol.label(d) for d in on if d not in first])
    return Proposal(
        said=f"swapped at {asked.at:%H:%M:%S}; {parts[0]} now: {now or 'none'}",
        rows=tuple(rows),
        changes=changes,
        facts={"round": [phase.id, "inside"]},
        questions=tuple(questions),
    )


def _round(asked: _Asked) -> Proposal:
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


# --------------------------------------------------------------- other rows


def _temperature(asked: _Asked) -> Proposal:
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


def _charge(asked: _Asked) -> Proposal:
    if not asked.command.devices:
        message = "Say which device: 3 plug, 3 unplug."
        raise Refused(message)
    device = asked.here.device(asked.command.devices[0])
    value = asked.command.number
    if value is not None and not 0 <= value <= 100:
        message = f"{_percent(value)} is no percentage from 0 to 100."
        raise Refused(message)
    soc = {} if value is None else {"soc_pct": _percent(value)}
    begins = asked.command.action == "plug"
    row = asked.row("charge_start" if begins else "charge_end", device=device.id, **soc)
    phase = asked.here.phase
    return Proposal(
        said=f"{device.label}: {'on' if begins else 'off'} its charger",
        rows=(row,),
        questions=((f"{phase.label} is running",) if phase is not None and begins else ()),
    )


def _incident(asked: _Asked) -> Proposal:
    device = asked.command.devices[0] if asked.command.devices else ""
    label = asked.protocol.label(device) if device else "row"
    row = asked.row("incident", device=device, cause=asked.command.text)
    return Proposal(said=f"{label}: incident, {asked.command.text}", rows=(row,))


def _note(asked: _Asked) -> Proposal:
    row = asked.row("note")
    row["note"] = " > ".join(p for p in (asked.command.text, asked.command.note) if p)
    return Proposal(said="note saved", rows=(row,))


def _by(asked: _Asked) -> Proposal:
    return Proposal(
        said=f"from now on read by {asked.command.text}", facts={"by": asked.command.text}
    )


# ------------------------------------------------ about the entry before


def _last_rows(asked: _Asked) -> tuple[str, ...]:
    """Return the ids of the rows of the newest entry that made any."""
    if not asked.here.last_rows:
        message = "There is no entry before that could be changed."
        raise Refused(message)
    return asked.here.last_rows


def _evidence(asked: _Asked) -> Proposal:
    names = _last_rows(asked)
    cells = {"evidence": asked.command.text}
    return Proposal(said="evidence noted", changes=dict.fromkeys(names, cells))


def _add_note(asked: _Asked) -> Proposal:
    changes = {}
    for name in _last_rows(asked):
        before = asked.here.row(name).get("note")
        changes[name] = {"note": "; ".join(p for p in (before, asked.command.note) if p)}
    return Proposal(said="note added", changes=changes)


def _time(asked: _Asked) -> Proposal:
    names = _last_rows(asked)
    said = asked.here.moments.get(names[0])
    at = _stated(asked.command.at, said or asked.at, said or asked.at)
    at = at.astimezone(asked.protocol.zone)
    changes: dict[str, dict[str, str]] = {}
    questions = list(_future(at, asked.here))
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


def _moved_turns(asked: _Asked, minutes: float) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield the turns that the entry before closed, longer or shorter by some minutes."""
    for name, cells in asked.here.last_changes.items():
        if "duration_min" in cells:
            length = max(0.0, float(cells["duration_min"]) + minutes)
            yield name, {"duration_min": f"{round(length, 1):g}"}


_DOES: dict[Action, Callable[[_Asked], Proposal]] = {
    "reading": _reading, "tick": _tick, "off": _off, "seen_off": _off, "missed": _missed,
    "missed_rest": _missed_rest, "look": _look, "start": _start, "end": _end, "turn": _turn,
    "round": _round, "stop": _stop, "temperature": _temperature, "plug": _charge,
    "unplug": _charge, "incident": _incident, "note": _note, "by": _by, "evidence": _evidence,
    "time": _time, "add_note": _add_note,
}  # fmt: skip
