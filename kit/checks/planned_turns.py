"""Turns of crossovers and rotations: what was planned, and what was done."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from kit.checks.rule import COMMON_PRACTICE, Doubt, rule
from kit.units import joined

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.checks.facts import Facts
    from kit.session import Phase

__all__ = ["RULES"]

Groups = tuple[tuple[str, ...], ...]

SLACK_MIN = 1.0
"""Rows that begin within this time belong to one turn; a turn that the end of the phase cuts off
by less was to be done all the same."""


def _planned(facts: Facts, run: int, p: int) -> Groups:
    """Return who was to have a turn, turn by turn: those on when it began, up to the end."""
    phase = facts.session.phases[p]
    length, start = float(facts.spans.length[run, p]), float(facts.spans.start[run, p])
    window = facts.windows[run]
    off = dict(zip(facts.devices, window.high - start, strict=True))
    return tuple(
        group
        for turn in phase.planned_turns
        if not turn.end_min > length + SLACK_MIN
        and (group := tuple(sorted(d for d in turn.devices if not off[d] <= turn.start_min)))
    )


def _done(facts: Facts, run: int, phase: Phase) -> tuple[Groups, int]:
    """Return who had a turn, turn by turn, and the line of the first; no groups without times."""
    frame = facts.session.turns
    limited = phase.parts[0] if phase.parts else ""
    mine = frame[
        (frame["run"] == facts.runs[run])
        & (frame["phase"] == phase.id)
        & (frame["activity"] == limited)
        & (frame["completed"] != "no")
    ].sort_values("start_min", kind="stable")
    if mine.empty or mine["start_min"].isna().any():
        return (), 0
    number = (mine["start_min"].diff() > SLACK_MIN).cumsum()
    pairs = sorted(zip(number.tolist(), mine["device"].tolist(), strict=True))
    groups = tuple(tuple(d for _, d in turn) for _, turn in groupby(pairs, key=lambda x: x[0]))
    return groups, int(mine["line"].min())


def _words(groups: Groups) -> str:
    return joined([" + ".join(f"'{d}'" for d in group) for group in groups], "then")


@rule(
    "turns-not-as-planned",
    "caution",
    "note",
    sees="Turns of a crossover or rotation that went to other devices (a caution) or in another "
    "order (a note) than planned_turns in the setup file says; the places of devices that were "
    "off are left out.",
    to_do="Correct the log if it is wrong. Otherwise the balance of the plan does not hold: what "
    "drifts over the phase does not meet all devices alike.",
    source=COMMON_PRACTICE,
)
def turns_not_as_planned(facts: Facts) -> Iterator[Doubt]:
    for run, number in enumerate(facts.runs):
        for p, phase in enumerate(facts.session.phases):
            planned = _planned(facts, run, p) if phase.planned_turns else ()
            done, line = _done(facts, run, phase) if planned else ((), 0)
            if not done or done == planned:
                continue
            had, owed = (sorted(d for g in groups for d in g) for groups in (done, planned))
            yield Doubt(
                severity="note" if had == owed else "caution",
                line=line or None,
                column="device",
                found=f"'{phase.parts[0] if phase.parts else ''}' in '{phase.id}' done by "
                f"{_words(done)}",
                expected=f"the planned turns, {_words(planned)}",
                remedy="Correct the log if it is wrong. If it is right, what drifts over the "
                "phase did not meet all devices alike"
                + ("." if had == owed else ", and not all had the same share: see their minutes."),
                phase=phase.id,
                run=number,
            )


RULES = (turns_not_as_planned,)
