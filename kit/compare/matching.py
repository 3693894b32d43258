"""Which phase of one session is which of another: by what was done and how long, not by name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.compare.conditions import close_lengths, lengths
from kit.labels import full_name
from kit.units import number

if TYPE_CHECKING:
    from kit.session import Phase, Session

__all__ = ["Match", "Unmatched", "match_phases", "why_unusable"]


@dataclass(frozen=True, kw_only=True)
class Match:
    """Two phases of one activity and length, by id, and their lengths (min)."""

    first: str
    second: str
    first_min: float
    second_min: float


@dataclass(frozen=True, kw_only=True)
class Unmatched:
    """A phase without counterpart; ``side`` 0 is the first session, 1 the second."""

    side: int
    phase: str
    reason: str


def _activity(phase: Phase) -> str:
    return " ".join(phase.activity.casefold().split())


def why_unusable(phase: Phase, length: float) -> str:
    """Return why a phase cannot be matched with any; empty if it can."""
    if not phase.evaluated:
        return "a warm-up, not evaluated"
    if phase.is_split:
        return "not all devices did the same in it at the same time"
    if phase.kind == "until_empty":
        return "ran until empty, so its length is no setting"
    if not _activity(phase):
        return "its activity was not recorded"
    if np.isnan(length):
        return "its length is not known"
    return ""


def _reason(
    phase: Phase, length: float, others: list[tuple[Phase, float]], tolerance_pct: float
) -> str:
    """Return why a usable phase found no counterpart."""
    alike = [(p, m) for p, m in others if _activity(p) == _activity(phase)]
    shown = full_name(phase.activity, phase.id)
    if not alike:
        named = [p for p, _ in others if p.label.casefold() == phase.label.casefold()]
        if named:
            other = full_name(named[0].activity, "not recorded")
            return f"same name, another activity ({shown}; there {other})"
        return f"the other session has no phase of {shown}"
    close = [m for _, m in alike if close_lengths(length, m, tolerance_pct)]
    if close:
        return "its counterpart is matched with another phase of that activity"
    there = ", ".join(f"{number(m)} min" if m == m else "of unknown length" for _, m in alike)
    return f"{number(length)} min; there {there}, more than {number(tolerance_pct)} % apart"


def match_phases(
    first: Session, second: Session, *, tolerance_pct: float = 10.0
) -> tuple[tuple[Match, ...], tuple[Unmatched, ...]]:
    """Match the phases of two sessions.

    Parameters
    ----------
    first, second
        The sessions.
    tolerance_pct
        Lengths may differ by at most this (% of the longer one).

    Returns
    -------
    matches, unmatched
        Matches in the order of the first session. Where several phases fit, those nearest in
        length are taken, then those nearest in the order of the day; every phase once.

    Notes
    -----
    Common practice, no source: a name says what somebody called a phase, the activity and its
    length what the devices had to do.
    """
    sides = [[(p, lengths(s)[p.id]) for p in s.phases] for s in (first, second)]
    usable = [[(p, m) for p, m in side if not why_unusable(p, m)] for side in sides]
    fits = sorted(
        (abs(m - n) / max(m, n), abs(i - j), i, j)
        for i, (p, m) in enumerate(usable[0])
        for j, (q, n) in enumerate(usable[1])
        if _activity(p) == _activity(q) and close_lengths(m, n, tolerance_pct)
    )
    taken: tuple[dict[int, int], set[int]] = ({}, set())
    for _, _, i, j in fits:
        if i not in taken[0] and j not in taken[1]:
            taken[0][i] = j
            taken[1].add(j)
    matches = tuple(
        Match(
            first=usable[0][i][0].id, second=usable[1][j][0].id,
            first_min=usable[0][i][1], second_min=usable[1][j][1],
        )
        for i, j in sorted(taken[0].items())
    )  # fmt: skip
    done = ({m.first for m in matches}, {m.second for m in matches})
    unmatched = tuple(
        Unmatched(
            side=side,
            phase=phase.id,
            reason=why_unusable(phase, length)
            or _reason(phase, length, usable[1 - side], tolerance_pct),
        )
        for side in (0, 1)
        for phase, length in sides[side]
        if phase.id not in done[side]
    )
    return matches, unmatched
