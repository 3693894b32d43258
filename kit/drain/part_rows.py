"""Rows of the frame ``parts``, and what the log says of who did what for how long."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from kit.session import Phase, Session

__all__ = ["PartRow", "Turn", "done_h", "flag_exposure", "planned_h", "turns"]

_EXPOSURE_SHARE = 0.95
_EXPOSURE_SLACK_H = 0.5 / 60.0
"""An exposure below 95 % of the longest, less half a minute, is unequal."""


@dataclass(frozen=True, kw_only=True)
class PartRow:
    """One row of the frame.

    Parameters
    ----------
    half_width
        U of the rate (pp/h).
    variance
        Source → variance of the rate ((pp/h)²), where it is that of one device.
    """

    run: int
    phase: str
    device: str
    part: str = ""
    exposure_h: float = float("nan")
    rate: float = float("nan")
    u: float = float("nan")
    half_width: float = float("nan")
    status: str = "measured"
    flags: tuple[str, ...] = ()
    variance: Mapping[str, float] = field(default_factory=dict)

    def cells(self) -> tuple[object, ...]:
        """Return the cells in the order of ``RESULT_COLUMNS["parts"]``."""
        return (
            self.run, self.phase, self.device, self.part, self.exposure_h, self.rate, self.u,
            self.rate - self.half_width, self.rate + self.half_width, self.status,
            ";".join(self.flags),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Turn:
    """One logged turn; times in minutes, NaN for not recorded."""

    activity: str
    start_min: float
    end_min: float
    duration_min: float
    completed: str


def turns(session: Session, run: int, phase: Phase) -> dict[str, tuple[Turn, ...]]:
    """Return the logged turns of one phase by device, in order of time.

    Parameters
    ----------
    session
        The record.
    run, phase
        Number of the run, and the phase.

    Examples
    --------
    >>> from tests.helpers.builders import make_session
    >>> rows = [{"device": "a", "phase": "x", "activity": what, "start_min": t, "end_min": t + 10}
    ...         for what, t in (("photo", 20), ("map", 5))]
    >>> s = make_session(devices=["a"], phases={"x": 60}, turns=rows)
    >>> [(turn.activity, turn.start_min) for turn in turns(s, 1, s.phases[0])["a"]]
    [('map', 5.0), ('photo', 20.0)]
    """
    frame = session.turns
    found: dict[str, list[Turn]] = {}
    columns = ("run", "phase", "device", "activity", "start_min", "end_min", "duration_min",
               "completed")  # fmt: skip
    for r, p, device, *rest in zip(*(frame[c].tolist() for c in columns), strict=True):
        if r == run and p == phase.id:
            found.setdefault(device, []).append(Turn(**dict(zip(columns[3:], rest, strict=True))))
    return {
        device: tuple(
            sorted(rows, key=lambda t: t.start_min if t.start_min == t.start_min else 1e9)
        )
        for device, rows in found.items()
    }


def done_h(turn: Turn, otherwise_h: float) -> float:
    """Return for how long a logged turn was really done (h); NaN: not known.

    Examples
    --------
    >>> nan = float("nan")
    >>> done_h(Turn(activity="a", start_min=0, end_min=9, duration_min=nan, completed=""), 1.0)
    0.15
    >>> done_h(Turn(activity="a", start_min=0, end_min=9, duration_min=nan, completed="no"), 1.0)
    0.0
    """
    if turn.completed == "no":
        return 0.0
    if turn.duration_min == turn.duration_min:
        return turn.duration_min / 60.0
    length = turn.end_min - turn.start_min
    if length == length:
        return length / 60.0
    return float("nan") if turn.completed == "partly" else otherwise_h


def planned_h(phase: Phase, device: str) -> float:
    """Return for how long a device was to do the first part of a rotation (h); NaN: not stated.

    Examples
    --------
    Two turns of ten minutes each:

    >>> from kit.session import Phase, PlannedTurn
    >>> turns = [PlannedTurn(start_min=t, end_min=t + 10, devices=("a",)) for t in (0, 20)]
    >>> round(planned_h(Phase(id="p", label="P", planned_turns=tuple(turns)), "a"), 4)
    0.3333
    """
    if phase.planned_turns:
        mine = [t for t in phase.planned_turns if device in t.devices]
        return sum((t.end_min - t.start_min for t in mine), start=0.0) / 60.0
    return float("nan") if phase.turn_min is None else phase.turn_min / 60.0


def flag_exposure(rows: Iterable[PartRow], longest: Mapping[str, float]) -> list[PartRow]:
    """Return the rows, those with a clearly shorter exposure flagged ``unequal_exposure``.

    Parameters
    ----------
    rows
        Rows of one phase.
    longest
        Longest exposure to each part (h).

    Examples
    --------
    95 % of 30 minutes less half a minute is 28 minutes: 27 are fewer, 28.5 are not:

    >>> rows = [PartRow(run=1, phase="x", device=d, part="map", exposure_h=t / 60)
    ...         for d, t in (("a", 30), ("b", 27), ("c", 28.5))]
    >>> [row.flags for row in flag_exposure(rows, {"map": 0.5})]
    [(), ('unequal_exposure',), ()]
    """
    flagged = []
    for row in rows:
        least = _EXPOSURE_SHARE * longest.get(row.part, 0.0) - _EXPOSURE_SLACK_H
        short = row.exposure_h < least
        flagged.append(replace(row, flags=(*row.flags, "unequal_exposure")) if short else row)
    return flagged
