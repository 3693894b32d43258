"""From protocol and journal to where the day is: phase, time left, who is due for what.

Pure: the same entries at the same moment give the same situation, so a recorder that was killed
goes on where it was, and the time left is right after a night in a closed lid.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Literal, cast

from kit.read.run_dates import OTHER_DAY_MIN
from kit.recorder.day import Day, Protocol, later
from kit.recorder.moments import minutes_between
from kit.recorder.rounds import next_order, round_now
from kit.recorder.turns import TurnNow, turn_now
from kit.session import SEEN_ON

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from kit.recorder.journal import Entry
    from kit.recorder.rounds import Round
    from kit.recorder.rows import Row
    from kit.session import Phase

__all__ = [
    "DeviceNow",
    "Protocol",
    "Situation",
    "Step",
    "TurnNow",
    "situation",
]

Step = Literal["start", "read", "run", "turn", "end", "stop", "done"]
"""What is to be done next: start a phase, read the row, wait, change turns, end the phase, say
who is still on, nothing."""

NEAR_EMPTY_PCT = 10.0
"""From here on the operator is reminded of looking as often as the setup file says (%)."""


@dataclass(frozen=True, kw_only=True)
class DeviceNow:
    """One device as it was last seen.

    Parameters
    ----------
    state
        ``still_on``: on when the session was stopped.
    soc_pct, soc_at
        Last percentage and when it was seen.
    seen_at
        When it was last seen on.
    charged
        Whether it was on a charger since its last percentage.
    doing
        What it does now by the protocol, "" between phases.
    """

    id: str
    label: str
    place: int
    state: Literal["on", "off", "still_on"] = "on"
    soc_pct: float | None = None
    soc_at: datetime | None = None
    seen_at: datetime | None = None
    off_at: datetime | None = None
    charged: bool = False
    doing: str = ""


@dataclass(frozen=True, kw_only=True)
class Situation:
    """Where the day is.

    Parameters
    ----------
    phase
        The running one; ``None`` before, between and after phases.
    ended
        The phase that ended last.
    following
        The phase that comes next.
    planned_end, left_min
        When the running phase should end; minutes until then, negative when overdue.
    round
        The walk that is on, ``None`` when nothing is to be read.
    next_order
        The devices that are on, in the order in which the next walk will read them.
    elapsed_min
        Since the start of the run; ``None`` before it.
    look_at
        When the row should be looked at next, near empty.
    moments
        Row id → when.
    entered_at
        When the entry before was made, by the clock as it was then.
    last_rows, last_changes
        Ids of the rows of the newest entry that made any, and what it changed of earlier ones.
    """

    now: datetime
    step: Step
    phase: Phase | None
    started: datetime | None
    ended: Phase | None
    following: Phase | None
    planned_end: datetime | None
    left_min: float | None
    elapsed_min: float | None
    round: Round | None
    next_order: tuple[str, ...]
    turn: TurnNow | None
    devices: tuple[DeviceNow, ...]
    look_at: datetime | None
    by: str
    rows: tuple[Row, ...]
    moments: Mapping[str, datetime]
    entered_at: datetime | None
    last_rows: tuple[str, ...]
    last_changes: Mapping[str, Mapping[str, str]]

    def device(self, name: str) -> DeviceNow:
        """Return a device by its id."""
        return next(d for d in self.devices if d.id == name)

    def row(self, name: str) -> Row:
        """Return a row by its id."""
        return next(r for r in self.rows if r.id == name)

    @property
    def on(self) -> tuple[str, ...]:
        """Return the ids of the devices that are not known to be off, in row order."""
        return tuple(d.id for d in self.devices if d.state != "off")


def situation(protocol: Protocol, entries: Sequence[Entry], now: datetime) -> Situation:
    """Return where the day is at a moment.

    Parameters
    ----------
    now
        With an offset from UTC.
    """
    now = now.astimezone(protocol.zone)
    day = Day(protocol, entries, now)
    turn = turn_now(day)
    devices = _devices(day, turn)
    on = {d.id for d in devices if d.state == "on"}
    walk = round_now(day, on)
    span = day.running
    planned = None if span is None else span.phase.planned_min
    end = None if span is None or planned is None else later(span.start, planned)
    left = None if end is None else minutes_between(now, end)
    first = day.spans[0].start if day.spans else None
    start = protocol.start if protocol.start is not None else first
    if (
        start is not None
        and first is not None
        and abs(minutes_between(start, first)) > OTHER_DAY_MIN
    ):
        start = first  # the setup file has another day
    last = next((e for e in reversed(entries) if e.n in day.kept and e.rows), None)
    last = None if last is None or last.kind != "enter" else last
    return Situation(
        now=now,
        step=_step(day, devices, walk, turn, left),
        phase=None if span is None else span.phase,
        started=None if span is None else span.start,
        ended=None if day.ended is None else day.ended.phase,
        following=day.following,
        planned_end=end,
        left_min=left,
        elapsed_min=None if first is None or start is None else minutes_between(start, now),
        round=walk,
        next_order=next_order(day, on),
        turn=turn,
        devices=devices,
        look_at=_look_at(protocol, devices),
        by=next((str(v) for _, v in reversed(list(day.facts("by")))), ""),
        rows=day.rows,
        moments=day.moments,
        entered_at=_entered_at(entries),
        last_rows=() if last is None else tuple(_ids(last, day.rows)),
        last_changes={} if last is None else last.changes,
    )


def _entered_at(entries: Sequence[Entry]) -> datetime | None:
    """Return when something was entered last, by the clock as it was then."""
    made = next((e.at for e in reversed(entries) if e.kind in ("enter", "undo")), None)
    return None if made is None else datetime.fromisoformat(made)


def _ids(entry: Entry, rows: Sequence[Row]) -> Iterator[str]:
    """Yield the ids of the rows of an entry that are in the log."""
    return (r.id for r in rows if r.id.partition(".")[0] == str(entry.n))


def _step(
    day: Day,
    devices: Sequence[DeviceNow],
    walk: Round | None,
    turn: TurnNow | None,
    left: float | None,
) -> Step:
    all_known = bool(devices) and all(d.state != "on" for d in devices)
    if walk is not None:
        return "read"
    if day.running is None:
        if all_known and day.spans:
            return "done"
        return "start" if day.following is not None else "stop"
    if all(d.state == "off" for d in devices):
        return "end"
    if turn is not None and (turn.has_next or (turn.devices and not turn.halves)):
        over = not turn.has_next and left is not None and left <= 0
        if not over and (turn.due is None or turn.due <= day.now):
            return "turn"
    if left is not None and left <= 0:
        return "end"
    return "run"


# -------------------------------------------------------------------- devices


def _devices(day: Day, turn: TurnNow | None) -> tuple[DeviceNow, ...]:
    known: dict[str, dict[str, object]] = {name: {} for name in day.protocol.row}
    for row in day.rows:
        said = known.get(row.get("device"))
        if said is not None:
            _note(said, row, day.at(row))
    for row in day.of("note"):
        moment = day.at(row)
        if row.get("evidence").startswith(SEEN_ON) and moment is not None:
            names = row.get("evidence").removeprefix(SEEN_ON).partition(";")[0].split(", ")
            for name in known.keys() & set(names):
                last = cast("datetime | None", known[name].get("seen_at"))
                if last is None or moment > last:
                    known[name]["seen_at"] = moment
    return tuple(
        DeviceNow(
            id=device.id,
            label=device.label,
            place=place,
            doing=_doing(day, device.id, turn),
            **known[device.id],  # type: ignore[arg-type]  # filled by _note with the field's type
        )
        for place, device in enumerate(day.protocol.devices, start=1)
    )


def _note(said: dict[str, object], row: Row, moment: datetime | None) -> None:
    """Take what one row says of its device."""
    event, soc = row.get("event"), _number(row.get("soc_pct"))
    if event in ("reading", "tick", "still_on") and (soc is not None or event == "still_on"):
        said["seen_at"] = moment or said.get("seen_at")
    if event in ("reading", "tick", "power_off", "still_on", "charge_end") and soc is not None:
        said["soc_pct"], said["soc_at"], said["charged"] = soc, moment, False
    if event == "power_off":
        said["state"], said["off_at"] = "off", moment
    elif event == "still_on":
        said["state"] = "still_on"
    elif event in ("charge_start", "charge_end"):
        said["charged"] = True


def _number(text: str) -> float | None:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return None


def _doing(day: Day, device: str, turn: TurnNow | None) -> str:
    if day.running is None:
        return ""
    phase = day.running.phase
    if phase.parts is None or turn is None:
        return phase.activity or phase.label
    if turn.halves and not turn.rows:
        return ""
    limited = device in turn.devices
    return phase.parts[0] if limited else phase.parts[1]


def _look_at(protocol: Protocol, devices: Sequence[DeviceNow]) -> datetime | None:
    near = [
        d.seen_at
        for d in devices
        if d.state == "on"
        and d.seen_at is not None
        and d.soc_pct is not None
        and d.soc_pct <= NEAR_EMPTY_PCT
    ]
    if protocol.look_every_min is None or not near:
        return None
    return later(min(near), protocol.look_every_min)
