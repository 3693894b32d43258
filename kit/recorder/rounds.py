"""Rounds: each walk along the row in which every device that is on is read once.

The direction alternates from round to round, so that no device is always read first: what passes
during a walk then evens out over the day.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Literal, cast

from kit.recorder.moments import minutes_between

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

    from kit.recorder.day import Day
    from kit.recorder.rows import Row
    from kit.session import Phase

__all__ = [
    "Point",
    "Round",
    "RoundKey",
    "Walk",
    "next_order",
    "reading_order",
    "round_now",
    "walks_of",
]

BREAK_MIN = 10.0
"""After a pause longer than this the row is read again before the next phase (common practice,
no source): what drained in the pause would otherwise count to the phase."""

EARLY_MIN = 1.0
"""So much before its planned moment a round is due already (min)."""

FRESH_MIN = 15.0
"""A reading this long after a start, or a swap, is no reading of it any more (min)."""

Point = Literal["start", "end", "inside"]
RoundKey = tuple[str, Point]


@dataclass
class Walk:
    """One walk while it is being found: device → id of its row, in the order of the walk."""

    key: RoundKey
    rows: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Round:
    """The walk that is on.

    Parameters
    ----------
    phase, point
        What it reads.
    number
        Of all walks of the run, from 1.
    order
        Ids of all devices that belong to it, in reading order.
    read
        Those done (a reading that was missed counts as done) → id of the row.
    due
        Those to be read yet, in reading order.
    """

    phase: str
    point: Point
    number: int
    order: tuple[str, ...]
    read: Mapping[str, str]
    due: tuple[str, ...]

    @property
    def forward(self) -> bool:
        """Whether the row is walked from its first place on."""
        return self.number % 2 == 1


def walks_of(rows: Iterable[Row], marks: Sequence[tuple[str, RoundKey]]) -> list[Walk]:
    """Return the walks that were begun, in order.

    Parameters
    ----------
    rows
        Rows of the log, in order.
    marks
        Id of the last row before it (or ""), and what is read: there a walk was opened.
    """
    pending = list(marks)
    walks: list[Walk] = []
    _open(pending, "", walks)
    for row in rows:
        if row.get("event") == "reading" and row.get("order") and row.get("point"):
            key = row.get("phase"), cast("Point", row.get("point"))
            device = row.get("device")
            walk = next((w for w in reversed(walks) if w.key == key), None)
            if walk is None or device in walk.rows:
                walk = Walk(key)
                walks.append(walk)
            walk.rows[device] = row.id
        _open(pending, row.id, walks)
    for _, key in pending:
        walks.append(Walk(key))
    return walks


def _open(pending: list[tuple[str, RoundKey]], after: str, walks: list[Walk]) -> None:
    for mark in [m for m in pending if m[0] == after]:
        pending.remove(mark)
        walks.append(Walk(mark[1]))


def reading_order(row: Sequence[str], number: int) -> tuple[str, ...]:
    """Return the row in the order of walk ``number``, from 1: every second one runs backward.

    Examples
    --------
    >>> reading_order(("a", "b", "c"), 1), reading_order(("a", "b", "c"), 2)
    (('a', 'b', 'c'), ('c', 'b', 'a'))
    """
    return tuple(row) if number % 2 else tuple(reversed(row))


# ------------------------------------------------------------- which one is on


def round_now(day: Day, on: Collection[str]) -> Round | None:
    """Return the walk that is on; ``None`` when nothing is to be read.

    Parameters
    ----------
    on
        Ids of the devices that are on.
    """
    walks = walks_of(day.rows, _marks(day))
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


def next_order(day: Day, on: Collection[str]) -> tuple[str, ...]:
    """Return the devices that are on in the order in which the next walk will read them."""
    begun = sum(1 for w in walks_of(day.rows, _marks(day)) if w.rows)
    return tuple(d for d in reading_order(day.protocol.row, begun + 1) if d in on)


def _marks(day: Day) -> list[tuple[str, RoundKey]]:
    """Return where in the rows a walk was opened by an entry of its own."""
    marks = []
    for entry, value in day.facts("round"):
        phase, point = cast("list[str]", value)
        before = [r.id for r in day.rows if int(r.id.partition(".")[0]) <= entry.n]
        marks.append((before[-1] if before else "", (phase, cast("Point", point))))
    return marks


def _wanted(day: Day) -> Iterator[RoundKey]:
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


def _asked(day: Day) -> RoundKey | None:
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


def _start_wanted(day: Day, phase: Phase, begins: datetime) -> bool:
    """Whether the start of a phase has to be read: the first one, one planned, one after a pause.

    A planned one is due when the planned pause is over, and at the latest when the phase begins:
    read earlier, what the pause drains would count to the phase.
    """
    readings = [
        m
        for r in day.of("reading")
        if r.get("phase") != phase.id and (m := day.at(r)) is not None and m <= begins
    ]
    started = any(r.get("phase") == phase.id and r.get("point") == "start" for r in day.rows)
    if started or not readings:
        return True
    pause, planned = minutes_between(max(readings), begins), phase.start_read_after_min
    if planned is None:
        return pause > BREAK_MIN
    begun = day.running is not None and planned < math.inf
    return begun or pause >= planned - EARLY_MIN
