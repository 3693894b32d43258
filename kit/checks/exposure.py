"""Rules on crossover and rotation phases: who really did which part, and for how long."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from typing import TYPE_CHECKING

import numpy as np

from kit.checks.rule import DERIVED, Doubt, rule
from kit.checks.text import h_min, joined, minutes, number, quoted

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterator, Mapping
    from typing import Any

    from numpy.typing import NDArray

    from kit.checks.facts import Facts
    from kit.session import Phase

    Floats = NDArray[np.float64]

__all__ = ["RULES", "Exposure", "exposures"]

EQUAL_SHARE = 0.95
EQUAL_SLACK_MIN = 0.5
"""Exposures are equal from 95 % of the longest less half a minute on."""

K = 2.0
"""Coverage factor of the resolution told for a rotation turn."""


@dataclass(frozen=True, kw_only=True)
class Exposure:
    """Minutes of both parts of one split phase in one run.

    Parameters
    ----------
    run, phase
        Positions.
    taking_part
        Shape (devices,). Whether a device was on at the start of the phase.
    minutes
        Shape (devices, 2). Minutes of ``parts[0]`` and ``parts[1]``; NaN if unknown.
    logged
        Shape (devices,). Whether turn rows say so; otherwise it is the plan, cut at power-off.
    lines
        Shape (devices,). Line of the first turn row; 0 if none.
    """

    run: int
    phase: int
    taking_part: NDArray[np.bool_]
    minutes: Floats
    logged: NDArray[np.bool_]
    lines: NDArray[np.int64]


def _turn_minutes(row: Mapping[Hashable, Any]) -> float:
    """Return the minutes of one turn row; 0 if it was not completed at all."""
    for value in (row["duration_min"], row["end_min"] - row["start_min"]):
        if not np.isnan(value):
            return max(float(value), 0.0)
    return 0.0 if row["completed"] == "no" else float("nan")


def _planned(facts: Facts, run: int, p: int, device: int) -> tuple[float, float]:
    """Return the minutes of both parts by the plan, cut at the power-off of the device."""
    phase: Phase = facts.session.phases[p]
    length = float(facts.spans.length[run, p])
    start = float(facts.spans.start[run, p])
    window = facts.windows[run]
    off = (float(window.low[device]) + float(window.high[device])) / 2.0
    if np.isnan(off) or np.isnan(start):
        off, start = np.inf, 0.0
    on = min(max(off - start, 0.0), length)
    if phase.planned_turns:
        mine = [t for t in phase.planned_turns if facts.devices[device] in t.devices]
        limited = sum(max(min(t.end_min, on) - t.start_min, 0.0) for t in mine)
        gaps = sum(
            max(min(after.start_min, on) - before.end_min, 0.0)
            for before, after in pairwise(phase.planned_turns)
        )
        return limited, on - gaps - limited
    if phase.kind == "rotation":
        turn = float("nan") if phase.turn_min is None else phase.turn_min
        return (turn, length - turn) if on >= length else (float("nan"), float("nan"))
    half = length / 2.0
    first, second = min(on, half), min(max(on - half, 0.0), half)
    return (first, second) if facts.devices[device] in phase.first_half else (second, first)


def exposures(facts: Facts) -> tuple[Exposure, ...]:
    """Return the exposures of all crossover and rotation phases, run by run."""
    turns = facts.session.turns.to_dict("records") if len(facts.session.turns) else []
    found = []
    for run, number_ in enumerate(facts.runs):
        for p, phase in enumerate(facts.session.phases):
            if not phase.is_split or phase.parts is None:
                continue
            n = len(facts.devices)
            table = np.full((n, 2), np.nan)
            logged, lines = np.zeros(n, dtype=np.bool_), np.zeros(n, dtype=np.int64)
            for device, name in enumerate(facts.devices):
                rows = [
                    t for t in turns
                    if (t["run"], t["phase"], t["device"]) == (number_, phase.id, name)
                ]  # fmt: skip
                table[device] = _planned(facts, run, p, device)
                for part, activity in enumerate(phase.parts):
                    mine = [_turn_minutes(t) for t in rows if t["activity"] == activity]
                    if mine:
                        table[device, part] = sum(mine)
                logged[device] = bool(rows)
                lines[device] = min((int(t["line"]) for t in rows), default=0)
            start = facts.spans.start[run, p]
            off = (
                np.asarray(facts.windows[run].high <= start)
                | np.isnan(facts.start_pct[run, p]) & ~logged
            )
            found.append(
                Exposure(
                    run=run,
                    phase=p,
                    taking_part=~off,
                    minutes=table,
                    logged=logged,
                    lines=lines,
                )
            )
    return tuple(found)


def _before_turn(e: Exposure) -> NDArray[np.bool_]:
    """Return (devices, 2): parts that a device taking part never did while others did."""
    most = np.nanmax(np.where(np.isnan(e.minutes), 0.0, e.minutes), axis=0, initial=0.0)
    return np.asarray(e.taking_part[:, None] & (e.minutes <= 0.0) & (most > 0.0))


@rule(
    "died-before-turn",
    "caution",
    sees="A device that never did one part of a crossover or rotation, because it was off before "
    "its turn or the turn was not done.",
    to_do="It has no value for that part; in a crossover it drops out with both halves.",
    source=DERIVED,
)
def died_before_turn(facts: Facts) -> Iterator[Doubt]:
    for e in exposures(facts):
        phase = facts.session.phases[e.phase]
        for device, part in np.argwhere(_before_turn(e)).tolist():
            name = facts.devices[device]
            activity = phase.parts[part] if phase.parts else ""
            window = facts.windows[e.run]
            end = facts.spans.end[e.run, e.phase]
            died = bool(window.high[device] <= end)
            yield Doubt(
                severity="caution",
                line=int(e.lines[device]) or None,
                column="duration_min" if e.logged[device] else "",
                found=f"no minute of '{activity}' for '{name}' in '{phase.id}'"
                + (f" (off {facts.window(e.run, device)})" if died else ""),
                expected=f"a turn of every device at '{activity}'",
                remedy=f"'{name}' has no value for '{activity}', not a value of 0. "
                + (
                    "It leaves the crossover with both its halves, or the two parts would be "
                    "compared over different devices."
                    if phase.kind == "crossover"
                    else "Its drain in this phase is all of the other part."
                ),
                device=name,
                phase=phase.id,
                run=facts.runs[e.run],
            )


@rule(
    "unequal-exposure",
    "caution",
    sees="A part of a crossover or rotation that some device did for less than 95 % of the "
    "longest time (less half a minute).",
    to_do="Compare rates over the minutes really done, not drains of the phase.",
    source=DERIVED,
)
def unequal_exposure(facts: Facts) -> Iterator[Doubt]:
    for e in exposures(facts):
        phase = facts.session.phases[e.phase]
        never = _before_turn(e)
        for part, activity in enumerate(phase.parts or ()):
            done = np.where(e.taking_part & ~never[:, part], e.minutes[:, part], np.nan)
            if np.isnan(done).all():
                continue
            most = float(np.nanmax(done))
            short = np.flatnonzero(done < EQUAL_SHARE * most - EQUAL_SLACK_MIN)
            if not short.size:
                continue
            told = joined([f"'{facts.devices[d]}' {minutes(float(done[d]))}" for d in short])
            lines = [int(e.lines[d]) for d in short if e.lines[d]]
            yield Doubt(
                severity="caution",
                line=min(lines, default=None),
                column="duration_min" if lines else "",
                found=f"'{activity}' in '{phase.id}' done for {told}, against {minutes(most)} of "
                "the longest",
                expected="the same minutes of each part for every device",
                remedy="Drains of this phase are not comparable between these devices. Compare "
                "rates over the minutes really done, or repeat the phase with equal turns.",
                device=facts.devices[short[0]] if short.size == 1 else "",
                phase=phase.id,
                run=facts.runs[e.run],
            )


@rule(
    "turns-not-logged",
    "note",
    sees="A crossover or rotation without a row that says who completed which part.",
    to_do="Add turn rows with part, duration_min and completed; the plan is used instead.",
)
def turns_not_logged(facts: Facts) -> Iterator[Doubt]:
    for e in exposures(facts):
        # a device that was off before its turn has no turn that could be logged
        silent = np.flatnonzero(e.taking_part & ~e.logged & ~(e.minutes[:, 0] <= 0.0))
        if silent.size:
            phase = facts.session.phases[e.phase]
            everyone = silent.size == int(e.taking_part.sum())
            names = "any device" if everyone else quoted(facts.devices[d] for d in silent)
            yield Doubt(
                severity="note",
                found=f"no turn row of {names} in '{phase.id}' ({phase.kind})",
                expected="a turn row for every device and part",
                remedy="The plan is taken as done. If the footage shows a missed, short or failed "
                "turn, add rows: event turn, part, duration_min, completed (yes, no or partly).",
                column="event",
                phase=phase.id,
                run=facts.runs[e.run],
            )


@rule(
    "crossover-one-sided",
    "caution",
    sees="A crossover in which only one order was completed by any device.",
    to_do="The two parts cannot be told from first and second half; repeat it with both orders.",
    source=DERIVED,
)
def crossover_one_sided(facts: Facts) -> Iterator[Doubt]:
    for e in exposures(facts):
        phase = facts.session.phases[e.phase]
        if phase.kind != "crossover" or phase.parts is None:
            continue
        whole = e.taking_part & (e.minutes > 0).all(axis=1)
        in_first = np.array([name in phase.first_half for name in facts.devices])
        groups = [[facts.devices[d] for d in np.flatnonzero(whole & g)] for g in
                  (in_first, ~in_first)]  # fmt: skip
        if all(groups):
            continue
        done = "no device" if not any(groups) else f"only {quoted(groups[0] or groups[1])}"
        a, b = phase.parts
        order = f"'{a}' then '{b}'" if groups[0] or not any(groups) else f"'{b}' then '{a}'"
        yield Doubt(
            severity="caution",
            place="setup",
            column=f"phases[{e.phase + 1}].first_half" if facts.session.has_setup else "",
            found=f"{done} through both halves of '{phase.id}'"
            + (f", all in the order {order}" if any(groups) else ""),
            expected="at least one device in each order through both halves",
            remedy=f"'{a}' and '{b}' cannot be told from the first and the second half: the later "
            "half drains faster by itself. Give no difference between them from this phase.",
            phase=phase.id,
            run=facts.runs[e.run],
        )


def _turn_resolution(turn_h: float, other_h: float, plain_h: float) -> float:
    """Return U (k = 2) of a turn's rate (pp/h), the other part known from a plain phase.

    Notes
    -----
    ``r_A = (d − e_B r_B)/e_A`` with r_B from a plain phase of length L_B; ρ = e_B/L_B:
    ``u = √((2 + 2ρ²)/12)/e_A`` for readings of phases that are not adjacent. Derived in
    docs/measurement.md.

    Examples
    --------
    A 10 min, B 50 min, plain B 60 min: ρ = 5/6, √((2 + 1.3889)/12) = 0.5314; 0.5314 × 6 × 2.

    >>> round(_turn_resolution(10 / 60, 50 / 60, 1.0), 2)
    6.38
    """
    rho = other_h / plain_h
    return K * sqrt((2.0 + 2.0 * rho**2) / 12.0) / turn_h


@rule(
    "rotation-not-resolved",
    "caution",
    sees="A rotation whose turns are too short for whole percentages to resolve, or without a "
    "plain phase of its other part.",
    to_do="Make turns longer, or give the activity a phase of its own.",
    source=DERIVED,
)
def rotation_not_resolved(facts: Facts) -> Iterator[Doubt]:
    for p, phase in enumerate(facts.session.phases):
        if phase.kind != "rotation" or phase.parts is None or phase.turn_min is None:
            continue
        turn, other = phase.parts
        length = float(facts.spans.length[0, p]) if facts.runs else float("nan")
        plain = [
            float(facts.spans.length[0, q])
            for q, other_phase in enumerate(facts.session.phases)
            if other_phase.kind == "plain" and other_phase.activity == other
        ]
        rates = facts.busiest[~np.isnan(facts.busiest)]
        longest = max((x for x in plain if x > 0), default=float("nan"))
        if not plain:
            found = f"no plain phase of '{other}' beside the rotation '{phase.id}'"
            expected = f"a plain phase of '{other}', to be taken off the rotation"
            remedy = (
                f"Turns of '{turn}' cannot be told from '{other}': only the drain of the whole "
                "phase can be given."
            )
        else:
            if np.isnan(longest + length) or not rates.size or not phase.turn_min > 0:
                continue
            spread = _turn_resolution(
                phase.turn_min / 60.0, max(length - phase.turn_min, 0.0) / 60.0, longest / 60.0
            )
            if spread <= 0.5 * float(rates.max()):
                continue
            found = (
                f"turns of {minutes(phase.turn_min)} at '{turn}' in '{phase.id}', whose rate whole "
                f"percentages resolve to ±{number(spread)} pp/h (k = 2)"
            )
            expected = (
                f"a resolution well below the rates of this session (up to {rates.max():.1f} pp/h)"
            )
            need = h_min(phase.turn_min * spread / (0.5 * float(rates.max())) + 1.0)
            remedy = (
                f"Give no rate of '{turn}' from these turns. About {need} of it per device, or a "
                "plain phase, would resolve it."
            )
        yield Doubt(
            severity="caution",
            place="setup",
            column=f"phases[{p + 1}].turn_min" if facts.session.has_setup else "",
            found=found,
            expected=expected,
            remedy=remedy,
            phase=phase.id,
        )


RULES = (
    died_before_turn,
    unequal_exposure,
    turns_not_logged,
    crossover_one_sided,
    rotation_not_resolved,
)
