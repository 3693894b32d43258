"""Rules on time between noted times: more than the phases account for, or less."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.checks.rule import DERIVED, Doubt, rule
from kit.checks.stretches import Stretch, stretches
from kit.checks.text import h_min, joined, minutes, number, pp, quoted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.checks.facts import Facts

__all__ = ["RULES"]

EFFECT_PP = 1.0
"""Unlogged time that can cost a phase this much (pp) is a caution."""


def _between(facts: Facts, run: int, s: Stretch) -> str:
    """Return in words where a stretch lies."""
    ends = []
    for place in (s.begin, s.end):
        p = place // 2
        if p == len(facts.phases):
            ends.append("the stop")
        else:
            ends.append(f"the {'end' if place % 2 else 'start'} of '{facts.phases[p]}'")
    return (
        f"between {ends[0]} ({facts.at(run, s.t_begin)}) and {ends[1]} ({facts.at(run, s.t_end)})"
    )


def _place(facts: Facts, run: int, s: Stretch) -> tuple[Literal["log", "setup"], int | None, str]:
    """Return place, line and column of the time at which a stretch ends."""
    if s.end == 2 * len(facts.phases) and facts.session.has_setup:
        several = len(facts.runs) > 1
        return "setup", None, f"runs[{facts.runs[run]}].stop" if several else "session.stop"
    return facts.phase_place(run, min(s.next_phase, len(facts.phases) - 1))


def _read_on_both_sides(facts: Facts, run: int, s: Stretch) -> bool:
    """Return whether every device still read after a gap was read at its end too."""
    if not s.is_gap or s.next_phase >= len(facts.phases):
        return False
    on = ~np.isnan(facts.start_pct[run, s.next_phase])
    return bool(on.any() and facts.own_start[run, s.next_phase][on].all())


@dataclass(frozen=True, kw_only=True)
class _Unlogged:
    """One stretch with unlogged time, what it can have cost (pp), and in words for whom."""

    stretch: Stretch
    both_sides: bool
    cost: float
    basis: str

    @property
    def weight(self) -> float:
        """Return what it can have cost a phase; time without any rate comes first."""
        if self.both_sides:
            return -1.0
        return np.inf if np.isnan(self.cost) else self.cost


def _unlogged(facts: Facts, run: int) -> list[_Unlogged]:
    found = []
    for s in stretches(facts, run):
        if s.unlogged > s.tolerance:
            cost, basis = facts.rate_text(run, s.unlogged / 60.0)
            both = _read_on_both_sides(facts, run, s)
            found.append(_Unlogged(stretch=s, both_sides=both, cost=cost, basis=basis))
    return found


def _gap_text(facts: Facts, run: int, s: Stretch) -> str:
    """Return ``5 min before 'p3' (10:18 to 10:23)``."""
    times = f"({facts.at(run, s.t_begin)} to {facts.at(run, s.t_end)})"
    if s.is_gap:
        return f"{minutes(s.unlogged)} before '{facts.phases[s.next_phase]}' {times}"
    return f"{minutes(s.unlogged)} {_between(facts, run, s)}"


def _effect(facts: Facts, run: int, found: list[_Unlogged], worst: _Unlogged) -> str:
    """Return in words what unlogged time can have done."""
    said = []
    s = worst.stretch
    if not worst.both_sides:
        which = "It" if len(found) == 1 else f"The worst, {_gap_text(facts, run, s)},"
        if np.isnan(worst.cost):
            said.append(
                f"{which} is counted in the phase beside it; by how much cannot be said without "
                "rates."
            )
        else:
            said.append(
                f"{which} can have cost up to {pp(worst.cost)} ({worst.basis}), counted in the "
                "phase beside it and carried in its interval."
            )
        if len(s.inside) > 1:
            said.append(f"Where it lies is not known: it is shared among {len(s.inside)} phases.")
    read = [u.stretch for u in found if u.both_sides]
    if read:
        names = quoted(facts.phases[s.next_phase] for s in read)
        said.append(
            f"Before {names} every device was read on both sides, so no phase carries that gap; "
            "the runtimes and the total drain do."
        )
    return " ".join(said)


@rule(
    "unlogged-time",
    "caution",
    "note",
    sees="Time that no phase accounts for, with what it can have cost: gap × gap_rate_factor × "
    "the busiest rate. A note where that is below 1 pp, or every device was read on both sides.",
    to_do="Log what was run in it as a phase, or read every device on both sides of it.",
    source=DERIVED,
)
def unlogged_time(facts: Facts) -> Iterator[Doubt]:
    for run, number_ in enumerate(facts.runs):
        found = _unlogged(facts, run)
        if not found:
            continue
        worst = max(found, key=lambda u: u.weight)
        total = sum(u.stretch.unlogged for u in found)
        until = found[-1].stretch.t_end
        listed = joined([_gap_text(facts, run, u.stretch) for u in found])
        place, line, column = _place(facts, run, worst.stretch)
        share = f"{number(100.0 * total / until, 0)} % of the {h_min(until)} until then"
        yield Doubt(
            severity="note" if worst.weight < EFFECT_PP else "caution",
            place=place,
            line=line,
            column=column,
            found=f"{minutes(total)} that no phase accounts for ({share}): {listed}",
            expected="phases that follow each other without a gap, or a reading at the end and "
            "again at the next start",
            remedy=f"{_effect(facts, run, found, worst)} If something was run in that time, add "
            "it as a phase; next time read every device at the end of a phase and again at the "
            "start of the next.",
            phase=facts.phases[min(worst.stretch.next_phase, len(facts.phases) - 1)],
            run=number_,
        )


@rule(
    "lengths-exceed-clock",
    "caution",
    sees="Phases that are longer together than the clock allows.",
    to_do="Correct the clock times or the lengths; the rates of these phases hang on them.",
    source=DERIVED,
)
def lengths_exceed_clock(facts: Facts) -> Iterator[Doubt]:
    for run, number_ in enumerate(facts.runs):
        for s in stretches(facts, run):
            excess = -s.unlogged
            if s.end == 2 * len(facts.phases) and s.inside:
                # the last phase may have been cut short by the stop
                excess -= float(facts.spans.length[run, s.inside[-1]])
            if s.is_gap or not excess > s.tolerance:
                continue
            place, line, column = _place(facts, run, s)
            total = s.t_end - s.t_begin - s.unlogged
            yield Doubt(
                severity="caution",
                place=place,
                line=line,
                column=column,
                found=f"{quoted(facts.phases[p] for p in s.inside)} of {minutes(total)} together, "
                f"in the {minutes(s.t_end - s.t_begin)} {_between(facts, run, s)}",
                expected="lengths that add up to no more than the clock shows",
                remedy="One of these times is wrong (12- and 24-hour clock mixed, an hour slipped, "
                "a phase cut short?). Compare them with the footage and correct it; the rates of "
                "these phases are wrong in the same proportion until then.",
                phase=facts.phases[min(s.next_phase, len(facts.phases) - 1)],
                run=number_,
            )


RULES = (unlogged_time, lengths_exceed_clock)
