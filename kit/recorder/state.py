"""From protocol and journal to where the day is: phase, time left, who is due for what.

Pure: the same entries at the same moment give the same situation, so a recorder that was killed
goes on where it was, and the time left is right after a night in a closed lid.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Literal, cast

from kit.recorder.moments import minutes_between, moment_of
from kit.recorder.rounds import Round, reading_order, walks_of
from kit.recorder.rows import alive, effective_rows
from kit.session import SEEN_ON

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import tzinfo

    from kit.recorder.journal import Entry
    from kit.recorder.rounds import Point, RoundKey
    from kit.recorder.rows import Row
    from kit.session import Device, Phase

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

BREAK_MIN = 10.0
"""After a pause longer than this the row is read again before the next phase (common practice,
no source): what drained in the pause would otherwise count to the phase."""

FRESH_MIN = 15.0
"""A reading this long after a start, or a swap, is no reading of it any more (min)."""

NEAR_EMPTY_PCT = 10.0
"""From here on a device is looked at as often as the setup file promises (off_check_min)."""


@dataclass(frozen=True, kw_only=True)
class Protocol:
    """What the setup file says, as far as recording needs it.

    Parameters
    ----------
    devices
        In row order.
    zone, zoned
        Zone of the times in the log, and whether the setup file names it.
    start
        Start of the run as planned; ``None`` if not stated.
    run
        Number of the run; ``None`` when the session has one run only.
    look_every_min
        How often the row is looked at near empty (min), if the setup file says so.
    """

    title: str
    devices: tuple[Device, ...]
    phases: tuple[Phase, ...]
    zone: tzinfo
    zoned: bool = False
    start: datetime | None = None
    run: int | None = None
    look_every_min: float | None = None

    @property
    def row(self) -> tuple[str, ...]:
        """Return the ids of the devices in row order."""
        return tuple(d.id for d in self.devices)

    def place(self, device: str) -> int:
        """Return the place of a device in the row, from 1."""
        return self.row.index(device) + 1

    def label(self, device: str) -> str:
        """Return what people call a device."""
        return next((d.label for d in self.devices if d.id == device), device)


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
class TurnNow:
    """The turn (or half) that runs, and the one after it.

    Parameters
    ----------
    rows
        Ids of the log rows of the running turn, "" devices when none runs.
    started, ends
        When it began and should end.
    following
        Devices that do the limited part next; empty when no turn is left.
    second
        Whether it is the second half of a crossover.
    """

    devices: tuple[str, ...] = ()
    rows: tuple[str, ...] = ()
    started: datetime | None = None
    ends: datetime | None = None
    following: tuple[str, ...] = ()
    second: bool = False


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
    elapsed_min
        Since the start of the run; ``None`` before it.
    look_at
        When the row should be looked at next, near empty.
    moments
        Row id → when.
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
    turn: TurnNow | None
    devices: tuple[DeviceNow, ...]
    look_at: datetime | None
    by: str
    rows: tuple[Row, ...]
    moments: Mapping[str, datetime]
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


@dataclass(frozen=True, kw_only=True)
class _Span:
    """A phase that was begun."""

    phase: Phase
    start: datetime
    end: datetime | None


class _Day:
    """All rows of the run with their moments, and what can be looked up in them."""

    def __init__(self, protocol: Protocol, entries: Sequence[Entry], now: datetime) -> None:
        self.protocol = protocol
        self.now = now
        self.entries = entries
        number = str(protocol.run or 1)
        self.rows = tuple(r for r in effective_rows(entries) if (r.get("run") or "1") == number)
        self.kept = alive(entries)
        self.moments = dict(self._moments())
        self.spans = tuple(self._spans())
        running = self.spans[-1] if self.spans and self.spans[-1].end is None else None
        self.running = running
        begun = [s.phase.id for s in self.spans]
        places = [i for i, p in enumerate(protocol.phases) if p.id in begun]
        after = protocol.phases[max(places, default=-1) + 1 :]
        self.following = after[0] if after else None
        self.ended = next((s for s in reversed(self.spans) if s.end is not None), None)

    def _moments(self) -> Iterator[tuple[str, datetime]]:
        last: datetime | None = None
        for row in self.rows:
            found = moment_of(row.cells, self.protocol.zone, last, self.protocol.start)
            if found is not None:
                last = found
                yield row.id, found

    def of(self, *events: str) -> Iterator[Row]:
        """Yield the rows of these events."""
        return (r for r in self.rows if r.get("event") in events)

    def at(self, row: Row) -> datetime | None:
        """Return when a row was."""
        return self.moments.get(row.id)

    def _spans(self) -> Iterator[_Span]:
        found: dict[str, list[datetime | None]] = {}
        for row in self.of("phase_start", "phase_end"):
            moment = self.at(row)
            if moment is not None:
                ends = found.setdefault(row.get("phase"), [None, None])
                ends[row.get("event") == "phase_end"] = moment
        known = {p.id: p for p in self.protocol.phases}
        for name, (start, end) in found.items():
            if start is not None and name in known:
                yield _Span(phase=known[name], start=start, end=end)

    def facts(self, name: str) -> Iterator[tuple[Entry, object]]:
        """Yield the entries that are not withdrawn and have this fact, with it."""
        for entry in self.entries:
            if entry.n in self.kept and name in entry.facts:
                yield entry, entry.facts[name]


def situation(protocol: Protocol, entries: Sequence[Entry], now: datetime) -> Situation:
    """Return where the day is at a moment.

    Parameters
    ----------
    now
        With an offset from UTC.
    """
    now = now.astimezone(protocol.zone)
    day = _Day(protocol, entries, now)
    turn = _turn(day)
    devices = _devices(day, turn)
    walk = _round(day, devices)
    span = day.running
    planned = None if span is None else span.phase.planned_min
    end = None if span is None or planned is None else _later(span.start, planned)
    left = None if end is None else minutes_between(now, end)
    first = day.spans[0].start if day.spans else None
    start = protocol.start if protocol.start is not None else first
    if start is not None and first is not None and abs(minutes_between(start, first)) > 12 * 60:
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
        turn=turn,
        devices=devices,
        look_at=_look_at(protocol, devices),
        by=next((str(v) for _, v in reversed(list(day.facts("by")))), ""),
        rows=day.rows,
        moments=day.moments,
        last_rows=() if last is None else tuple(_ids(last, day.rows)),
        last_changes={} if last is None else last.changes,
    )


def _ids(entry: Entry, rows: Sequence[Row]) -> Iterator[str]:
    """Yield the ids of the rows of an entry that are in the log."""
    return (r.id for r in rows if r.id.partition(".")[0] == str(entry.n))


def _later(moment: datetime, minutes: float) -> datetime:
    """Return a moment so many real minutes later."""
    return (moment.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(moment.tzinfo)


def _step(
    day: _Day,
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
    changes = turn is not None and (turn.following or turn.devices)
    if turn is not None and changes and (turn.ends is None or turn.ends <= day.now):
        last = not turn.following and left is not None and left <= 0
        if not last and not (turn.second and not turn.following):
            return "turn"
    if left is not None and left <= 0:
        return "end"
    return "run"


# -------------------------------------------------------------------- devices


def _devices(day: _Day, turn: TurnNow | None) -> tuple[DeviceNow, ...]:
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


def _doing(day: _Day, device: str, turn: TurnNow | None) -> str:
    if day.running is None:
        return ""
    phase = day.running.phase
    if phase.parts is None or turn is None:
        return phase.activity or phase.label
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
    return _later(min(near), protocol.look_every_min)


# ---------------------------------------------------------------------- turns


def _turn(day: _Day) -> TurnNow | None:
    """Return the turn of the running phase; ``None`` when it has no turns."""
    span = day.running
    if span is None or span.phase.parts is None or not span.phase.is_split:
        return None
    rows = [r for r in day.of("turn") if r.get("phase") == span.phase.id]
    open_rows = [r for r in rows if not r.get("duration_min") and not r.get("completed")]
    limited = tuple(r.get("device") for r in open_rows if r.get("part") == span.phase.parts[0])
    started = min((m for r in open_rows if (m := day.at(r)) is not None), default=None)
    off = {r.get("device") for r in day.of("power_off")}
    row = tuple(d for d in day.protocol.row if d not in off)
    names = tuple(r.id for r in open_rows)
    if span.phase.kind == "crossover":
        half = None if span.phase.planned_min is None else span.phase.planned_min / 2
        first = span.phase.first_half
        second = any(
            (r.get("part") == span.phase.parts[0]) != (r.get("device") in first) for r in rows
        )
        following = () if second else tuple(d for d in row if d not in first)
        length = half
    else:
        second = False
        following = _next_turn(day, span, rows, row)
        length = span.phase.turn_min
    ends = None if started is None or length is None else _later(started, length)
    return TurnNow(
        devices=limited, rows=names, started=started, ends=ends, following=following,
        second=second,
    )  # fmt: skip


def _next_turn(day: _Day, span: _Span, rows: Sequence[Row], row: Sequence[str]) -> tuple[str, ...]:
    """Return the device with the fewest turns so far, the first in the row among equals.

    A further time round begins only if the phase has room for it.
    """
    had = {d: sum(r.get("device") == d for r in rows) for d in row}
    if not had:
        return ()
    fewest = min(had.values())
    planned, turn = span.phase.planned_min, span.phase.turn_min
    if fewest > 0 and min(had.values()) == max(had.values()):
        everyone = len(day.protocol.row)
        if planned is None or turn is None or planned < (fewest + 1) * turn * everyone:
            return ()
    return (next(d for d in row if had[d] == fewest),)


# --------------------------------------------------------------------- rounds


def _round(day: _Day, devices: Sequence[DeviceNow]) -> Round | None:
    walks = walks_of(day.rows, _marks(day))
    on = {d.id for d in devices if d.state == "on"}
    for key in _wanted(day):
        newest = number = 1 + sum(1 for w in walks if w.rows)
        read: dict[str, str] = {}
        for at, walk in enumerate(walks):
            if walk.key == key:
                read = walk.rows
                before = sum(1 for w in walks[:at] if w.rows)
                number = before + 1 if walk.rows else newest
        order = tuple(d for d in reading_order(day.protocol.row, number) if d in on or d in read)
        due = tuple(d for d in order if d not in read)
        if due:
            return Round(
                phase=key[0], point=key[1], number=number, order=order, read=dict(read), due=due
            )
    return None


def _marks(day: _Day) -> list[tuple[str, RoundKey]]:
    """Return where in the rows a walk was opened by an entry of its own."""
    marks = []
    for entry, value in day.facts("round"):
        phase, point = cast("list[str]", value)
        before = [r.id for r in day.rows if int(r.id.partition(".")[0]) <= entry.n]
        marks.append((before[-1] if before else "", (phase, cast("Point", point))))
    return marks


def _wanted(day: _Day) -> Iterator[RoundKey]:
    """Yield what may have to be read now, the most urgent first."""
    asked = _asked(day)
    if day.running is not None:
        span = day.running
        if asked is not None and asked[0] == span.phase.id:
            yield asked
        fresh = minutes_between(span.start, day.now) <= FRESH_MIN
        if fresh and _start_wanted(day, span.phase, span.start):
            yield span.phase.id, "start"
        return
    if asked is not None and day.following is not None and asked[0] == day.following.id:
        yield asked
    if day.ended is not None:
        yield day.ended.phase.id, "end"
    if day.following is not None and _start_wanted(day, day.following, day.now):
        yield day.following.id, "start"


def _asked(day: _Day) -> RoundKey | None:
    """Return the walk that was asked for last, while it is fresh."""
    for entry, value in reversed(list(day.facts("round"))):
        phase, point = cast("list[str]", value)
        moment = day.moments.get(f"{entry.n}.1") or datetime.fromisoformat(entry.at)
        if point == "start" and day.running is not None and day.running.phase.id == phase:
            moment = max(moment, day.running.start)
        waiting = point == "start" and day.running is None
        if waiting or minutes_between(moment, day.now) <= FRESH_MIN:
            return phase, cast("Point", point)
        return None
    return None


def _start_wanted(day: _Day, phase: Phase, begins: datetime) -> bool:
    """Whether the start of a phase has to be read: the first one, or one after a pause."""
    readings = [
        m
        for r in day.of("reading")
        if r.get("phase") != phase.id and (m := day.at(r)) is not None and m <= begins
    ]
    started = any(r.get("phase") == phase.id and r.get("point") == "start" for r in day.rows)
    return started or not readings or minutes_between(max(readings), begins) > BREAK_MIN
