"""Rounds: each walk along the row in which every device that is on is read once.

The direction alternates from round to round, so that no device is always read first: what passes
during a walk then evens out over the day.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, cast

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from kit.recorder.rows import Row

__all__ = ["Point", "Round", "RoundKey", "Walk", "reading_order", "walks_of"]

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
