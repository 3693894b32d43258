"""Turns: who does the limited part of a phase now, who is next, and when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.recorder.day import later

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import datetime

    from kit.recorder.day import Day, Span
    from kit.recorder.rows import Row
    from kit.session import PlannedTurn

__all__ = ["TurnNow", "turn_now"]


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
    next_at
        When the following turn should begin, where the setup file says so: after the end of the
        running one if a change, or the empty place of a device that is off, comes between.
    halves
        Whether the turns are the two halves of a crossover.
    second
        Whether it is the second half of a crossover.
    """

    devices: tuple[str, ...] = ()
    rows: tuple[str, ...] = ()
    started: datetime | None = None
    ends: datetime | None = None
    following: tuple[str, ...] = ()
    next_at: datetime | None = None
    halves: bool = False
    second: bool = False

    @property
    def has_next(self) -> bool:
        """Whether another turn, or the second half, is to come."""
        return not self.second if self.halves else bool(self.following)

    @property
    def due(self) -> datetime | None:
        """Return when something is to be done about turns; ``None``: at once, or nothing."""
        return self.ends if self.rows else self.next_at


def turn_now(day: Day) -> TurnNow | None:
    """Return the turn of the running phase; ``None`` when it has no turns."""
    span = day.running
    if span is None or span.phase.parts is None or not span.phase.is_split:
        return None
    limited = span.phase.parts[0]
    rows = [r for r in day.of("turn") if r.get("phase") == span.phase.id]
    open_rows = [r for r in rows if not r.get("duration_min") and not r.get("completed")]
    devices = tuple(r.get("device") for r in open_rows if r.get("part") == limited)
    started = min((m for r in open_rows if (m := day.at(r)) is not None), default=None)
    had = [r for r in rows if r.get("part") == limited]
    off = {r.get("device") for r in day.of("power_off")}
    halves, second = span.phase.kind == "crossover", False
    if halves:
        first = span.phase.first_half
        second = any((r.get("part") == limited) != (r.get("device") in first) for r in rows)
        others = tuple(d for d in day.protocol.row if d not in off and d not in first)
        following = () if second else others
        lengths = _half_lengths(span)
        length = lengths[second]
        next_at = _second_half_at(day, span, rows)
    elif span.phase.planned_turns:
        following, next_at = _planned_next(day, span, had, off)
        place = None if not devices else _place(span.phase.planned_turns, devices[0], had)
        turn = None if place is None else span.phase.planned_turns[place]
        length = span.phase.turn_min if turn is None else turn.end_min - turn.start_min
    else:
        row = tuple(d for d in day.protocol.row if d not in off)
        following, next_at = _next_turn(day, span, rows, row), None
        length = span.phase.turn_min
    return TurnNow(
        devices=devices,
        rows=tuple(r.id for r in open_rows),
        started=started,
        ends=None if started is None or length is None else later(started, length),
        following=following,
        next_at=next_at,
        halves=halves,
        second=second,
    )


def _half_lengths(span: Span) -> tuple[float | None, float | None]:
    """Return the planned minutes of both halves."""
    turns, planned = span.phase.planned_turns, span.phase.planned_min
    if len(turns) == 2:
        return turns[0].end_min - turns[0].start_min, turns[1].end_min - turns[1].start_min
    half = None if planned is None else planned / 2
    return half, half


def _second_half_at(day: Day, span: Span, rows: Sequence[Row]) -> datetime | None:
    """Return when the second half should begin by the plan, counted from the first."""
    turns = span.phase.planned_turns
    began = min((m for r in rows if (m := day.at(r)) is not None), default=span.start)
    return later(began, turns[1].start_min - turns[0].start_min) if len(turns) == 2 else None


def _place(turns: Sequence[PlannedTurn], device: str, had: Sequence[Row]) -> int | None:
    """Return which planned turn the newest turn of a device is; ``None``: one too many."""
    number = sum(r.get("device") == device for r in had)
    places = [i for i, turn in enumerate(turns) if device in turn.devices]
    return places[number - 1] if 0 < number <= len(places) else None


def _planned_next(
    day: Day, span: Span, had: Sequence[Row], off: Collection[str]
) -> tuple[tuple[str, ...], datetime | None]:
    """Return who is next by the plan, and when.

    The place of a device that is off stays empty, so that every other turn stays where it is; a
    day that is late is late for all turns alike.
    """
    turns = span.phase.planned_turns
    for place, turn in enumerate(turns):
        owed = tuple(
            d
            for d in turn.devices
            if d not in off
            and sum(r.get("device") == d for r in had)
            < sum(d in earlier.devices for earlier in turns[: place + 1])
        )
        if owed:
            return owed, _when(day, span, had, place)
    return (), None


def _when(day: Day, span: Span, had: Sequence[Row], place: int) -> datetime | None:
    """Return when the planned turn ``place`` should begin, counted from the newest turn."""
    turns = span.phase.planned_turns
    if not had:
        return later(span.start, turns[place].start_min)
    began, last = day.at(had[-1]), _place(turns, had[-1].get("device"), had)
    if began is None or last is None:
        return None
    gap = turns[place].start_min - turns[last].start_min
    return later(began, gap if gap > 0 else turns[last].end_min - turns[last].start_min)


def _next_turn(day: Day, span: Span, rows: Sequence[Row], row: Sequence[str]) -> tuple[str, ...]:
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
