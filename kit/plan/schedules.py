"""Who does the limited part of a phase, and when: crossovers and rotations in minutes.

A service that admits five streams at once, or a game that only one device can play, splits a
phase: some devices do the limited part (``parts[0]``) while the others do the other one
(``parts[1]``). A schedule gives every device the same time in each part, whatever the number of
devices and the limit, and says how well order and place are balanced.

* ``crossover``: as few groups as the limit allows, each does the limited part once. Two groups
  (halves) when the limit is at least half the row, otherwise more, one wave after the other.
* ``rotation``: turns of a given length, in as many rounds as the phase has room for, the groups
  in the orders of `kit.plan.designs.balanced_orders`.

What is left of the phase after the last whole round belongs to ``parts[1]`` for all devices, so
that exposure stays equal to the minute.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from kit.plan.designs import OrderBalance, balanced_orders, order_balance
from kit.plan.groups import balanced_groups, random_groups

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = [
    "Assignment",
    "Schedule",
    "Turn",
    "crossover",
    "exposure",
    "rotation",
    "together_counts",
]

Assignment = Literal["row", "random"]
"""``row``: groups balanced over the position in the row; ``random``: drawn by lot from a seed."""


@dataclass(frozen=True, kw_only=True)
class Turn:
    """One stretch in which the same devices do the limited part.

    Parameters
    ----------
    round_number
        Pass through the row to which the turn belongs, from 1.
    start_min, end_min
        Minutes since the start of the phase.
    devices
        Ids of the devices that do ``parts[0]``; all others do ``parts[1]``.
    """

    round_number: int
    start_min: float
    end_min: float
    devices: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """The turns of one limited phase.

    Parameters
    ----------
    devices
        Ids in row order.
    groups
        The devices that have their turns together, in the order of the first round.
    length_min
        Length of the phase (min), changes included.
    turn_min
        Length of one turn (min).
    change_min
        Time between two turns in which nobody does either part (min): the change, with the
        reading of the row if it is read there.
    spare_min
        Rest of the phase in which every device does ``parts[1]``.
    orders
        Orders of the groups, one per round.
    """

    kind: Literal["crossover", "rotation"]
    devices: tuple[str, ...]
    at_once: int
    parts: tuple[str, str]
    length_min: float
    turn_min: float
    change_min: float
    spare_min: float
    groups: tuple[tuple[str, ...], ...]
    orders: tuple[tuple[int, ...], ...]
    turns: tuple[Turn, ...]

    @property
    def first_half(self) -> tuple[str, ...]:
        """Return the devices that begin with ``parts[0]``."""
        return self.turns[0].devices

    @property
    def balance(self) -> OrderBalance:
        """Return the balance of the orders of the groups."""
        return order_balance(self.orders)


def _groups(
    devices: tuple[str, ...], at_once: int, assignment: Assignment, seed: int, first: Sequence[str]
) -> tuple[tuple[str, ...], ...]:
    if at_once < 1:
        message = f"{at_once} devices at once: expected at least 1"
        raise ValueError(message)
    if len(set(devices)) != len(devices) or len(devices) < 2:
        message = "expected at least two devices, each named once"
        raise ValueError(message)
    number_of_groups = max(-(-len(devices) // at_once), 2)
    if assignment == "row":
        places = balanced_groups(len(devices), number_of_groups)
    else:
        places = random_groups(len(devices), number_of_groups, seed)
    groups = [tuple(devices[i] for i in group) for group in places]
    urgency = {device: rank for rank, device in enumerate(first)}
    last = len(urgency)
    groups.sort(key=lambda group: min(urgency.get(d, last) for d in group))
    return tuple(groups)


def _chosen(
    devices: tuple[str, ...], at_once: int, groups: Sequence[Sequence[str]]
) -> tuple[tuple[str, ...], ...]:
    """Check groups that were given."""
    chosen = tuple(tuple(group) for group in groups)
    if sorted(d for g in chosen for d in g) != sorted(devices) or not all(chosen):
        message = "expected every device in exactly one group and no empty group"
        raise ValueError(message)
    if max(map(len, chosen)) > at_once:
        message = f"a group of {max(map(len, chosen))} devices, at most {at_once} at once"
        raise ValueError(message)
    return chosen


def crossover(
    devices: Sequence[str],
    *,
    at_once: int,
    length_min: float,
    parts: tuple[str, str],
    change_min: float = 0.0,
    assignment: Assignment = "row",
    seed: int = 0,
    first: Sequence[str] = (),
    groups: Sequence[Sequence[str]] | None = None,
) -> Schedule:
    """Return a phase in which each group does the limited part in one wave.

    Parameters
    ----------
    devices
        Ids in row order.
    at_once
        How many devices can do ``parts[0]`` at the same time, at least 1. Even without a
        narrower limit there are two groups.
    length_min
        Length of the phase (min), changes included.
    parts
        The limited part and the other one.
    change_min
        Time between two waves (min).
    assignment, seed
        How the groups are formed; the seed counts for ``random`` only.
    first
        Devices whose groups go first, most urgent first: those expected to power off early.
    groups
        Groups already chosen, in their order; ``None``: formed here.

    Raises
    ------
    ValueError
        If no wave of a whole minute fits into the phase, or a number makes no sense.

    Examples
    --------
    Six devices, five at once: two groups of three, 30 minutes each.

    >>> s = crossover("abcdef", at_once=5, length_min=60, parts=("stream", "video"))
    >>> [(t.start_min, t.end_min, "".join(t.devices)) for t in s.turns]
    [(0.0, 30.0, 'ade'), (30.0, 60.0, 'bcf')]
    >>> sorted(set(exposure(s).values()))
    [30.0]
    """
    devices = tuple(devices)
    made = _groups(devices, at_once, assignment, seed, first)
    if groups is not None:
        made = _chosen(devices, at_once, groups)
    waves = len(made)
    turn_min = float((length_min - (waves - 1) * change_min) // waves)
    if turn_min < 1:
        message = f"{waves} waves do not fit into {length_min:g} min"
        raise ValueError(message)
    return _schedule(
        "crossover", devices, at_once, parts, length_min, turn_min, change_min,
        made, (tuple(range(waves)),),
    )  # fmt: skip


def rotation(
    devices: Sequence[str],
    *,
    at_once: int = 1,
    length_min: float,
    parts: tuple[str, str],
    turn_min: float,
    change_min: float = 0.0,
    assignment: Assignment = "row",
    seed: int = 0,
    first: Sequence[str] = (),
) -> Schedule:
    """Return a phase in which the devices take turns, in as many whole rounds as it has room for.

    Parameters are those of `crossover`, and

    Parameters
    ----------
    turn_min
        Length of a turn (min).

    Raises
    ------
    ValueError
        If not even one round fits into the phase.

    Examples
    --------
    Four devices, one at a time for 10 minutes, 80 minutes: two rounds, the second mirrored, so
    that the mean place is 1.5 for each.

    >>> s = rotation("abcd", length_min=80, parts=("game", "video"), turn_min=10)
    >>> "".join(t.devices[0] for t in s.turns), s.balance.place_spread
    ('abcddcba', 0.0)
    """
    devices = tuple(devices)
    groups = _groups(devices, at_once, assignment, seed, first)
    if turn_min <= 0 or change_min < 0:
        message = f"turns of {turn_min:g} min with changes of {change_min:g} min make no sense"
        raise ValueError(message)
    rounds = int((length_min + change_min + 1e-9) // (len(groups) * (turn_min + change_min)))
    if rounds < 1:
        least = len(groups) * (turn_min + change_min) - change_min
        message = f"one round needs {least:g} min, the phase has {length_min:g} min"
        raise ValueError(message)
    return _schedule(
        "rotation", devices, at_once, parts, length_min, float(turn_min), change_min,
        groups, balanced_orders(len(groups), rounds),
    )  # fmt: skip


def _schedule(
    kind: Literal["crossover", "rotation"],
    devices: tuple[str, ...],
    at_once: int,
    parts: tuple[str, str],
    length_min: float,
    turn_min: float,
    change_min: float,
    groups: tuple[tuple[str, ...], ...],
    orders: tuple[tuple[int, ...], ...],
) -> Schedule:
    place = {group: i for i, group in enumerate(orders[0])}
    orders = tuple(tuple(place[group] for group in order) for order in orders)
    turns: list[Turn] = []
    for round_number, order in enumerate(orders, start=1):
        for group in order:
            start = len(turns) * (turn_min + change_min)
            turns.append(
                Turn(
                    round_number=round_number,
                    start_min=start,
                    end_min=start + turn_min,
                    devices=groups[group],
                )
            )
    return Schedule(
        kind=kind,
        devices=devices,
        at_once=at_once,
        parts=parts,
        length_min=float(length_min),
        turn_min=turn_min,
        change_min=float(change_min),
        spare_min=max(0.0, length_min - turns[-1].end_min),
        groups=groups,
        orders=orders,
        turns=tuple(turns),
    )


def exposure(schedule: Schedule, until_min: float | None = None) -> dict[str, float]:
    """Return the minutes of the limited part per device, up to a time in the phase.

    Parameters
    ----------
    until_min
        Minutes since the start of the phase; ``None`` = the whole phase.

    Returns
    -------
    dict
        Device id → minutes in ``parts[0]``, in row order.
    """
    end = schedule.length_min if until_min is None else until_min
    minutes = dict.fromkeys(schedule.devices, 0.0)
    for turn in schedule.turns:
        for device in turn.devices:
            minutes[device] += max(0.0, min(turn.end_min, end) - min(turn.start_min, end))
    return minutes


def together_counts(schedule: Schedule) -> dict[tuple[str, str], int]:
    """Return how many turns each pair of devices has at the same time, in row order."""
    return {
        (a, b): sum(a in t.devices and b in t.devices for t in schedule.turns)
        for i, a in enumerate(schedule.devices)
        for b in schedule.devices[i + 1 :]
    }
