"""Rules on time: gaps, overlaps, lengths, late readings."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.checks.observations import END, START
from kit.checks.rule import DERIVED, Doubt, rule
from kit.checks.text import h_min, joined, minutes, number, pp, quoted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.checks.facts import Facts

__all__ = ["RULES", "Stretch", "length_tolerance", "stretches"]

MINUTE = 1.0

COVERAGE_SIGMAS = 3.0
"""The tolerance of a sum of lengths is this many standard uncertainties."""

EFFECT_PP = 1.0
"""Unlogged time that can cost a phase this much (pp) is a caution."""

LATE_EFFECT_PP = 0.5
"""Late readings that can cost this much (pp) are a caution."""


def length_tolerance(phases: int, *, rounding: str) -> float:
    """Return by how much a sum of phase lengths may differ from the clock (min).

    Parameters
    ----------
    phases
        How many lengths are added, each noted to the minute.
    rounding
        ``clock_rounding`` of the assumptions; ``unknown`` allows for truncated lengths.

    Notes
    -----
    n lengths rounded to the nearest minute and two clock minutes:
    ``u² = n/12 + 2/12``, tolerance ``3 u``; truncated lengths are short by n/2 in the mean.
    Derived in docs/measurement.md.

    Examples
    --------
    n = 4: 3 √(4/12 + 1/6) = 3 √0.5 = 2.12; with n/2 more: 4.12.

    >>> round(length_tolerance(4, rounding="floor"), 2)
    2.12
    >>> round(length_tolerance(4, rounding="unknown"), 2)
    4.12
    """
    tolerance = COVERAGE_SIGMAS * sqrt(phases / 12.0 + 1.0 / 6.0)
    return tolerance + phases / 2.0 if rounding == "unknown" else tolerance


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """What lies between two noted times that follow each other, in one run.

    Parameters
    ----------
    begin, end
        Positions of the two times: 2p is the start of phase p, 2p + 1 its end; 2P is the stop.
    t_begin, t_end
        The two times (min).
    inside
        Phases that lie between them and whose own ends were not noted.
    unlogged
        Time between them that no phase accounts for (min); NaN if a length is unknown.
    tolerance
        What the rounding of the noted times explains (min).
    """

    begin: int
    end: int
    t_begin: float
    t_end: float
    inside: tuple[int, ...]
    unlogged: float
    tolerance: float

    @property
    def next_phase(self) -> int:
        """Return the phase at whose start, or at whose end, the stretch ends."""
        return self.end // 2

    @property
    def is_gap(self) -> bool:
        """Whether nothing but a gap lies between the two times."""
        return not self.inside


def stretches(facts: Facts, run: int) -> tuple[Stretch, ...]:
    """Return the stretches of one run (by position) between noted times, in order.

    The start of the session counts as the start of the first phase unless that was noted; the
    stop counts as the end of the last phase unless that was noted or ran until empty. A phase
    with both ends noted is no stretch.
    """
    spans, session = facts.spans, facts.session
    n = len(facts.phases)
    times: dict[int, float] = {}
    for p in range(n):
        if spans.start_noted[run, p]:
            times[2 * p] = float(spans.start[run, p])
        if spans.end_noted[run, p]:
            times[2 * p + 1] = float(spans.end[run, p])
    stop = session.runs[run].stop_min
    if n and stop is not None and 2 * n - 1 not in times:
        times[2 * n] = stop
    if n:
        times.setdefault(0, 0.0)
    places = sorted(times)
    found = []
    for i, j in pairwise(places):
        inside = tuple(p for p in range(n) if i <= 2 * p and 2 * p + 1 <= j)
        if i % 2 == 0 and j == i + 1:
            continue
        length = float(sum(spans.length[run, p] for p in inside))
        steps = [float(spans.resolution[run, min(k // 2, n - 1)]) for k in (i, j)]
        rounding = session.assumptions.clock_rounding
        tolerance = length_tolerance(len(inside), rounding=rounding) if inside else max(steps)
        found.append(
            Stretch(
                begin=i,
                end=j,
                t_begin=times[i],
                t_end=times[j],
                inside=inside,
                unlogged=times[j] - times[i] - length,
                tolerance=tolerance,
            )
        )
    return tuple(found)


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


@rule(
    "phase-length-differs",
    "caution",
    "note",
    sees="A phase whose noted start and end differ from its planned length by more than a minute; "
    "a note where it ended early because the last device was off.",
    to_do="Nothing if the noted times are right: they are used, the plan is not.",
    source=DERIVED,
)
def phase_length_differs(facts: Facts) -> Iterator[Doubt]:
    spans = facts.spans
    both = spans.start_noted & spans.end_noted
    actual = spans.end - spans.start
    for run, p in np.argwhere(both & (np.abs(actual - spans.planned) > MINUTE)).tolist():
        phase = facts.session.phases[p]
        if phase.kind == "until_empty":
            continue
        difference = float(actual[run, p] - spans.planned[run, p])
        all_off = bool((facts.windows[run].high <= spans.end[run, p] + MINUTE).all())
        place, line, column = facts.phase_place(run, p)
        yield Doubt(
            severity="note" if all_off and difference < 0 else "caution",
            place=place,
            line=line,
            column=column,
            found=f"'{phase.id}' from {facts.at(run, float(spans.start[run, p]))} to "
            f"{facts.at(run, float(spans.end[run, p]))}, {minutes(float(actual[run, p]))}",
            expected=f"its planned {minutes(float(spans.planned[run, p]))}",
            remedy="The last device was off by then: the noted length is used."
            if all_off and difference < 0
            else "The noted times are used, the plan is not. If the plan was kept, one of the two "
            "clock times is wrong by "
            f"{minutes(abs(difference))}, and the rates of this phase by "
            f"{number(100.0 * abs(difference) / max(float(actual[run, p]), MINUTE), 0)} %.",
            phase=phase.id,
            run=facts.runs[run],
        )


@rule(
    "phase-length-unknown",
    "caution",
    sees="A phase whose length is neither planned nor noted: it has a drain and no rate.",
    to_do="Add its start and end, or its duration_min, from the footage.",
)
def phase_length_unknown(facts: Facts) -> Iterator[Doubt]:
    for run, p in np.argwhere(np.isnan(facts.spans.length)).tolist():
        phase = facts.session.phases[p]
        began = not np.isnan(facts.start_pct[run, p]).all()
        if phase.kind == "until_empty" or not began:
            continue
        limit = ""
        for s in stretches(facts, run):
            if p in s.inside:
                others = sum(float(facts.spans.length[run, q]) for q in s.inside if q != p)
                if not np.isnan(others):
                    limit = f", at most {minutes(s.t_end - s.t_begin - others)} by its neighbours"
        place, line, column = facts.phase_place(run, p)
        yield Doubt(
            severity="caution",
            place=place,
            line=line,
            column=column,
            found=f"no length of '{phase.id}'{limit}",
            expected="a planned length, or a start and an end",
            remedy="Its drain stands, its rate, its power and what is projected from them do not "
            "exist. Add phase_start and phase_end rows or duration_min from the footage.",
            phase=phase.id,
            run=facts.runs[run],
        )


@rule(
    "reading-late",
    "caution",
    "note",
    sees="Readings noted further from their boundary than the assumed reading delay.",
    to_do="State reading_delay_min as it really was, or correct the times.",
    source=DERIVED,
)
def reading_late(facts: Facts) -> Iterator[Doubt]:
    seen, spans = facts.readings, facts.spans
    delay = facts.session.assumptions.reading_delay_min
    rows = np.flatnonzero(seen.timed & (seen.phase >= 0) & (seen.point != 1))
    run, phase = seen.unit[rows] // max(len(facts.devices), 1), seen.phase[rows]
    start = np.where(spans.start_noted, spans.start, np.nan)
    end = np.where(spans.end_noted, spans.end, np.nan)
    blank = np.full((start.shape[0], 1), np.nan)
    # what runs on past a boundary: readings in a pause cost nothing
    next_start = np.fmax(np.concatenate([start[:, 1:], blank], axis=1), end)
    previous_end = np.fmin(np.concatenate([blank, end[:, :-1]], axis=1), start)
    is_end = seen.point[rows] == END
    low = np.where(is_end, end[run, phase], previous_end[run, phase])
    high = np.where(is_end, next_start[run, phase], start[run, phase])
    first = (phase == 0) & (seen.point[rows] == START)
    t = seen.t[rows]
    late = np.maximum(t - high - delay, np.where(first, -np.inf, low - t))
    bad = np.flatnonzero(late > MINUTE)
    for i in np.unique(run[bad]).tolist():
        mine = bad[run[bad] == i]
        worst = int(mine[np.argmax(late[mine])])
        device = int(seen.unit[rows[worst]] % len(facts.devices))
        p = int(phase[worst])
        off_by = float(max(t[worst] - high[worst], low[worst] - t[worst]))
        early = bool(low[worst] - t[worst] > t[worst] - high[worst])
        rate = facts.busiest[i, device]
        cost = float(late[worst]) / 60.0 * (0.0 if np.isnan(rate) else float(rate))
        what = f"{'end' if is_end[worst] else 'start'} of '{facts.phases[p]}'"
        others = f"{mine.size} readings; the furthest, " if mine.size > 1 else ""
        yield Doubt(
            severity="caution" if cost >= LATE_EFFECT_PP else "note",
            line=int(seen.line[rows[worst]]),
            column=facts.column(device) if facts.session.form == "wide" else facts.time_column(i),
            found=f"{others}'{facts.devices[device]}' at {facts.at(i, float(t[worst]))}, "
            f"{minutes(off_by)} {'before' if early else 'after'} the {what}",
            expected=f"readings within {minutes(delay)} after their boundary (reading_delay_min)",
            remedy=f"At its busiest rate this moves the drain by {pp(cost)} beyond what the "
            "interval carries. If the walk along the row took longer, state "
            f"reading_delay_min = {number(np.ceil(off_by), 0)} under [assumptions]; if the time "
            "or the phase is a slip, correct it.",
            device=facts.devices[device],
            phase=facts.phases[p],
            run=facts.runs[i],
        )


RULES = (
    unlogged_time,
    lengths_exceed_clock,
    phase_length_differs,
    phase_length_unknown,
    reading_late,
)
