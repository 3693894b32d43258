"""What is balanced in a schedule, and by how much the rest is not, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.plan.schedules import exposure, together_counts
from kit.units import count, duration, joined, number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.plan.designs import OrderBalance
    from kit.plan.schedules import Schedule

__all__ = ["imbalance"]


def imbalance(schedule: Schedule, *, drawn: int | None = None) -> tuple[str, ...]:
    """Return in sentences what is balanced in a schedule, and by how much the rest is not.

    Parameters
    ----------
    drawn
        Seed by which the groups were drawn by lot; ``None``: they were not.

    Examples
    --------
    >>> from kit.plan.schedules import rotation
    >>> s = rotation("abc", length_min=30, parts=("game", "video"), turn_min=10)
    >>> for sentence in imbalance(s):
    ...     print(sentence.replace("\N{NO-BREAK SPACE}", " "))
    Exposure: each device 10 min of game and 20 min of video; equal.
    Order: one round, so the first turn is 20 min before the last; one round cannot avoid this.
    Neighbours: a device comes right after another 0 or 1 times; exact balance needs six rounds.
    """
    minutes = exposure(schedule)
    low, high = min(minutes.values()), max(minutes.values())
    parts, balance = schedule.parts, schedule.balance
    who = "device" if len(schedule.groups) == len(schedule.devices) else "group"
    sentences = [
        f"Exposure: each device {duration(low)} of {parts[0]} and "
        f"{duration(_other_part(schedule) - low)} of {parts[1]}; "
        + ("equal." if high == low else f"unequal by {duration(high - low)}.")
    ]
    sizes = [len(g) for g in schedule.groups]
    if who == "group":
        sentences.append(_groups_sentence(schedule, sizes, drawn))
    step = schedule.turn_min + schedule.change_min
    spread = duration(balance.place_spread * step)
    if balance.cycles == 1:
        sentences.append(
            f"Order: one round, so the first {'turn' if who == 'device' else 'group'} is {spread} "
            "before the last; one round cannot avoid this."
        )
    elif balance.place_spread == 0:
        sentences.append(
            f"Order: over {count(balance.cycles, 'round')} every {who} has the same mean place; "
            "a steady drift over the phase meets all alike."
        )
    else:
        sentences.append(
            f"Order: the mean places differ by {spread}"
            + (
                f"; no order of {count(balance.cycles, 'round')} does better."
                if balance.place_spread <= balance.place_spread_bound
                else "."
            )
        )
    if balance.n > 2:
        sentences.append(_neighbours_sentence(balance, who))
    if schedule.spare_min >= 1:
        sentences.append(
            f"Rest: the last {duration(schedule.spare_min)} of the phase make no whole round; "
            f"every device does {parts[1]}."
        )
    return tuple(sentences)


def _other_part(schedule: Schedule) -> float:
    """Return the minutes in which something is done at all: the phase without its changes."""
    return schedule.length_min - (len(schedule.turns) - 1) * schedule.change_min


def _groups_sentence(schedule: Schedule, sizes: Sequence[int], drawn: int | None) -> str:
    rows = {device: i + 1 for i, device in enumerate(schedule.devices)}
    means = [sum(rows[d] for d in g) / len(g) for g in schedule.groups]
    lot = "" if drawn is None else f", drawn by lot (seed {drawn})"
    text = f"Groups of {joined(map(str, sizes))} devices{lot}; mean positions in the row "
    text += joined([number(m, 1) for m in means])
    together = together_counts(schedule).values()
    if max(together) != min(together):
        text += ". Devices of one group always do the part together, others never"
    return text + "."


def _neighbours_sentence(balance: OrderBalance, who: str) -> str:
    complete = balance.n if balance.n % 2 == 0 else 2 * balance.n
    if balance.follow_low == balance.follow_high:
        times = count(balance.follow_low, "time")
        text = f"Neighbours: every {who} comes right after every other {times}; exact"
    else:
        word = "or" if balance.follow_high - balance.follow_low == 1 else "to"
        text = (
            f"Neighbours: a {who} comes right after another {balance.follow_low} {word} "
            f"{balance.follow_high} times; exact balance needs {count(complete, 'round')}"
        )
    if balance.doubled:
        text += (
            f"; {count(balance.doubled, f'{who} has', f'{who}s have')} two turns in a row where "
            "two rounds meet"
        )
    return text + "."
