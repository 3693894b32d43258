"""From a plan to a timetable by the clock.

Minute 0 is the start of the first walk along the row. Between two phases come, in this order,
the walk that reads the end of the one, a break, the time to prepare the other, and, where time
has passed, the walk that reads its start. Limited phases are laid out turn by turn by
`kit.plan.schedules`. Walks are counted in whole minutes, so that every phase starts on the minute.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Literal

from kit.plan.schedules import crossover, rotation

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from kit.plan.planned import Plan
    from kit.plan.schedules import Schedule
    from kit.session import Phase

__all__ = [
    "Activity",
    "Item",
    "ItemKind",
    "Timetable",
    "activities",
    "phase_schedule",
    "timetable",
    "unattended",
    "whole_minutes",
]

ItemKind = Literal["walk", "setup", "break", "phase", "turn", "change", "spare", "stop"]
Direction = Literal["forward", "backward"]

BETWEEN = ""
"""Activity of a device while no phase runs and none is planned: from nothing to its busiest."""


@dataclass(frozen=True, kw_only=True)
class Item:
    """One line of the timetable.

    Parameters
    ----------
    kind
        ``turn``, ``change`` and ``spare`` lie within the ``phase`` before them.
    start_min, end_min
        Minutes since the start of the session; ``end_min`` is ``None`` for a phase that runs
        until the devices are empty.
    phase
        Id of the phase the item belongs to; of a walk, the phase whose start or end it reads.
    point
        ``start`` or ``end`` for a walk that reads it, ``inside`` for the walk at a swap.
    devices
        Ids in reading order (walk), or those that do the limited part (turn).
    """

    kind: ItemKind
    start_min: float
    end_min: float | None
    label: str
    phase: str = ""
    point: Literal["start", "end", "inside", ""] = ""
    direction: Direction = "forward"
    devices: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Timetable:
    """The day, item by item, and the schedules of its limited phases.

    Parameters
    ----------
    schedules
        Phase id → schedule.
    end_min
        When the last item with a known end is over, or the planned stop.
    """

    items: tuple[Item, ...]
    schedules: Mapping[str, Schedule]
    end_min: float

    def of_phase(self, phase_id: str) -> Item:
        """Return the item of a phase; ``KeyError`` if there is none."""
        for item in self.items:
            if item.kind == "phase" and item.phase == phase_id:
                return item
        raise KeyError(phase_id)


@dataclass(frozen=True, kw_only=True)
class Activity:
    """What one device does from ``start_min`` to ``end_min`` (``None``: open end).

    ``name`` is `BETWEEN` where nothing is planned.
    """

    start_min: float
    end_min: float | None
    name: str
    phase: str = ""


def whole_minutes(minutes: float) -> int:
    """Return minutes rounded up to whole ones, forgiving the last bit of a sum.

    Examples
    --------
    >>> whole_minutes(1.2), whole_minutes(3.0000000001), whole_minutes(0)
    (2, 3, 0)
    """
    return ceil(minutes - 1e-9)


def phase_schedule(plan: Plan, phase: Phase) -> Schedule | None:
    """Return the schedule of a limited phase; ``None`` for any other.

    A phase that names ``first_half`` keeps it.

    Raises
    ------
    ValueError
        If the phase is too short for its turns or has no length.
    """
    if phase.kind not in ("crossover", "rotation") or phase.parts is None:
        return None
    extra = plan.phase_plan(phase.id)
    row = tuple(d.id for d in plan.devices)
    limit = plan.at_once(phase.parts[0])
    if phase.planned_min is None:
        message = "its length is unknown"
        raise ValueError(message)
    if phase.kind == "crossover":
        change = whole_minutes(plan.walk_min) if extra.change_min is None else extra.change_min
        return crossover(
            row, at_once=limit or ceil(len(row) / 2), length_min=phase.planned_min,
            parts=phase.parts, change_min=change,
            assignment=extra.assignment, seed=extra.seed, first=extra.first,
            groups=_named_halves(row, phase.first_half),
        )  # fmt: skip
    at_once = limit or 1
    groups = max(2, -(-len(row) // at_once))
    change = extra.change_min or 0.0
    turn = phase.turn_min or (phase.planned_min + change) // groups - change
    return rotation(
        row, at_once=at_once, length_min=phase.planned_min, parts=phase.parts,
        turn_min=turn, change_min=change, assignment=extra.assignment, seed=extra.seed,
        first=extra.first,
    )  # fmt: skip


def _named_halves(
    row: tuple[str, ...], first: tuple[str, ...]
) -> tuple[tuple[str, ...], ...] | None:
    if not first:
        return None
    return first, tuple(d for d in row if d not in first)


class _Clock:
    """Lays one item after the other."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.row = tuple(d.id for d in plan.devices)
        self.walk_min = whole_minutes(plan.walk_min)
        self.now = 0.0
        self.walks = 0
        self.items: list[Item] = []

    def add(self, kind: ItemKind, minutes: float, label: str, phase: str = "") -> None:
        if minutes > 0:
            self.items.append(
                Item(
                    kind=kind, start_min=self.now, end_min=self.now + minutes, label=label,
                    phase=phase,
                )
            )  # fmt: skip
            self.now += minutes

    def walk(self, phase: Phase, point: Literal["start", "end", "inside"]) -> None:
        """Read the row; the clock moves on only if nothing runs meanwhile."""
        backward = self.plan.alternate and self.walks % 2 == 1
        self.walks += 1
        what = {"start": "start of", "end": "end of", "inside": "swap in"}[point]
        self.items.append(
            Item(
                kind="walk", start_min=self.now, end_min=self.now + self.walk_min,
                label=f"Read the row: {what} {phase.label}", phase=phase.id, point=point,
                direction="backward" if backward else "forward",
                devices=self.row[::-1] if backward else self.row,
            )
        )  # fmt: skip
        self.now += self.walk_min


def timetable(plan: Plan) -> Timetable:
    """Return the timetable of a plan.

    Raises
    ------
    ValueError
        If a limited phase is too short for its turns; the message names the phase.

    Notes
    -----
    With ``next_phase = "at_once"`` the walk that reads the end of a phase runs while the next
    one has begun, unless a break, a preparation or the end of the session comes between.
    """
    clock = _Clock(plan)
    breaks = {b.after: b for b in plan.breaks}
    schedules: dict[str, Schedule] = {}
    for number, phase in enumerate(plan.phases):
        pause_before = number == 0 or plan.phases[number - 1].id in breaks
        setup = plan.phase_plan(phase.id).setup_min
        clock.add("setup", whole_minutes(setup), f"Prepare {phase.label}", phase.id)
        if number == 0 or (plan.read_at == "start_and_end" and (pause_before or setup > 0)):
            clock.walk(phase, "start")
        schedule = _schedule_of(plan, phase)
        if schedule is not None:
            schedules[phase.id] = schedule
        open_end = phase.planned_min is None
        start = clock.now
        end = None if phase.planned_min is None else start + phase.planned_min
        clock.items.append(
            Item(kind="phase", start_min=start, end_min=end, label=phase.label, phase=phase.id)
        )
        if schedule is not None:
            clock.items.extend(_turn_items(clock, plan, phase, schedule, start))
        if open_end or end is None:
            continue
        clock.now = end
        clock.walk(phase, "end")
        follows_at_once = (
            plan.next_phase == "at_once"
            and number + 1 < len(plan.phases)
            and phase.id not in breaks
            and plan.phase_plan(plan.phases[number + 1].id).setup_min == 0
        )
        if follows_at_once:
            clock.now = end
        if phase.id in breaks:
            pause = breaks[phase.id]
            clock.add("break", pause.minutes, pause.label, phase.id)
    end_min = clock.now if plan.stop_min is None else plan.stop_min
    if plan.stop_min is not None:
        clock.items.append(
            Item(
                kind="stop", start_min=plan.stop_min, end_min=plan.stop_min, label="End of session"
            )
        )
    return Timetable(items=tuple(clock.items), schedules=schedules, end_min=end_min)


def _schedule_of(plan: Plan, phase: Phase) -> Schedule | None:
    try:
        return phase_schedule(plan, phase)
    except ValueError as error:
        message = f"phase {phase.id!r}: {error}"
        raise ValueError(message) from error


def _turn_items(
    clock: _Clock, plan: Plan, phase: Phase, schedule: Schedule, start: float
) -> Iterator[Item]:
    reads_at_swap = schedule.kind == "crossover" and schedule.change_min >= clock.walk_min > 0
    end = start
    for turn in schedule.turns:
        if turn.start_min + start > end:
            if reads_at_swap:
                clock.now = end
                clock.walk(phase, "inside")
                yield clock.items.pop()
            else:
                yield Item(
                    kind="change", start_min=end, end_min=turn.start_min + start, label="Change",
                    phase=phase.id,
                )  # fmt: skip
        end = start + turn.end_min
        names = ", ".join(plan.device(d).label for d in turn.devices)
        yield Item(
            kind="turn", start_min=start + turn.start_min, end_min=end,
            label=f"{schedule.parts[0]}: {names}", phase=phase.id, devices=turn.devices,
        )  # fmt: skip
    if schedule.spare_min >= 1:
        yield Item(
            kind="spare", start_min=end, end_min=start + schedule.length_min,
            label=f"all: {schedule.parts[1]}", phase=phase.id,
        )  # fmt: skip


def activities(plan: Plan, table: Timetable, device: str) -> tuple[Activity, ...]:
    """Return what one device does through the day, without gaps or overlaps.

    Walks, preparation and changes of turns have the name ``plan.between``, a break its own;
    where none is given, `BETWEEN`. The last stretch has an open end: what the last phase does
    goes on.

    Raises
    ------
    KeyError
        If the device is not in the plan.
    """
    plan.device(device)
    pauses = {b.after: b.activity or plan.between for b in plan.breaks}
    found: list[Activity] = []
    now = 0.0
    for item in table.items:
        if item.kind not in ("phase", "walk", "setup", "break") or item.point == "inside":
            continue
        start, end = max(item.start_min, now), item.end_min
        if item.kind != "phase":
            if end is not None and end > start and not _runs(table, start):
                name = pauses[item.phase] if item.kind == "break" else plan.between
                found.append(Activity(start_min=start, end_min=end, name=name))
                now = end
            continue
        schedule = table.schedules.get(item.phase)
        if schedule is None or end is None:
            name = plan.phase(item.phase).activity
            found.append(Activity(start_min=start, end_min=end, name=name, phase=item.phase))
        else:
            found.extend(_parts(schedule, device, start, item.phase, plan.between))
        now = start if end is None else end
    if found and found[-1].end_min is not None:
        last = next((a for a in reversed(found) if a.phase), found[-1])
        found.append(Activity(start_min=now, end_min=None, name=last.name, phase=""))
    return tuple(found)


def _runs(table: Timetable, t_min: float) -> bool:
    """Whether a phase runs at a time."""
    return any(
        item.kind == "phase"
        and item.start_min <= t_min
        and (item.end_min is None or t_min < item.end_min)
        for item in table.items
    )


def _parts(
    schedule: Schedule, device: str, start: float, phase: str, between: str
) -> Iterator[Activity]:
    end = 0.0
    for turn in schedule.turns:
        if turn.start_min > end:
            yield Activity(
                start_min=start + end, end_min=start + turn.start_min, name=between, phase=phase
            )
        name = schedule.parts[0] if device in turn.devices else schedule.parts[1]
        yield Activity(
            start_min=start + turn.start_min, end_min=start + turn.end_min, name=name, phase=phase
        )
        end = turn.end_min
    if schedule.length_min > end:
        yield Activity(
            start_min=start + end, end_min=start + schedule.length_min, name=schedule.parts[1],
            phase=phase,
        )  # fmt: skip


def unattended(plan: Plan, table: Timetable) -> tuple[tuple[float, float], ...]:
    """Return the stretches (min since start) in which nobody is with the devices.

    Empty when the plan names no people at all.

    """
    if not plan.people:
        return ()
    gaps: list[tuple[float, float]] = []
    covered = 0.0
    for person in sorted(plan.people, key=lambda p: p.from_min):
        if person.from_min > covered:
            gaps.append((covered, min(person.from_min, table.end_min)))
        covered = max(covered, person.to_min)
    if covered < table.end_min:
        gaps.append((covered, table.end_min))
    return tuple(gap for gap in gaps if gap[1] > gap[0])
