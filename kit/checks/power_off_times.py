"""Rules on power-off times: readings after them, the phase they lie in, other power-offs."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from kit.checks.observations import END
from kit.checks.power_off_doubt import at_power_off
from kit.checks.rule import DERIVED, Doubt, rule
from kit.checks.text import joined, minutes, pct, quoted
from kit.drain.off_record import clock_margins

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from kit.checks.facts import Facts, OffNote

__all__ = ["RULES"]

MINUTE = 1.0
"""No noted time is taken for finer than this, for 'first seen off' may be coarser (min)."""


@rule(
    "power-off-noted-late",
    "caution",
    sees="A minute noted for a power-off that lies after the one first seen off.",
    to_do="Correct the wrong one; first seen off is used, the noted minute is not.",
    source=DERIVED,
)
def power_off_noted_late(facts: Facts) -> Iterator[Doubt]:
    rounding = facts.session.assumptions.clock_rounding
    for at, note in sorted(facts.off_notes.items()):
        # a clock that shows minutes may show one of the two a minute late
        slack = sum(clock_margins(rounding, max(note.resolution, MINUTE)))
        late = note.noted - note.first_off
        if note.still_on or not late >= slack:
            continue
        yield at_power_off(
            facts,
            at,
            "caution",
            f"'{facts.devices[at[1]]}' noted off at {facts.at(at[0], note.noted)}, "
            f"{minutes(late)} after it was first seen off, at {facts.at(at[0], note.first_off)}",
            "a noted minute no later than 'first seen off'",
            "One of the two is a slip: compare both with the footage and correct it. Until then "
            "'first seen off' ends the runtime and the noted minute is not used; if that is the "
            f"right one, the runtime is up to {minutes(late)} too short.",
        )


def _late_rows(facts: Facts, at: tuple[int, int], note: OffNote) -> NDArray[np.int64]:
    """Return the readings of a device made after it was off."""
    run, device = at
    seen = facts.readings
    rows = seen.of(run * len(facts.devices) + device)
    if not np.isnan(note.off):
        late = seen.t[rows] >= note.off + note.resolution
        if note.phase >= 0:
            late |= np.isnan(seen.t[rows]) & (seen.phase[rows] > note.phase)
    elif note.phase >= 0:
        phase = seen.phase[rows]
        late = (phase > note.phase) | ((phase == note.phase) & (seen.point[rows] == END))
    else:
        late = np.zeros(rows.stop - rows.start, dtype=np.bool_)
    return np.asarray(np.flatnonzero(late) + rows.start)


@rule(
    "reading-after-power-off",
    "caution",
    "note",
    sees="A reading made after the minute in which its device was noted off; a note where it "
    "only corrects 'last seen on'.",
    to_do="Correct the minute or the reading; leave the cell empty once a device is off.",
    source=DERIVED,
)
def reading_after_power_off(facts: Facts) -> Iterator[Doubt]:
    seen = facts.readings
    for (run, device), note in sorted(facts.off_notes.items()):
        if note.still_on:
            continue
        name = facts.devices[device]
        late = _late_rows(facts, (run, device), note)
        when = f" at {facts.at(run, note.off)}" if not np.isnan(note.off) else ""
        if late.size:
            first = int(late[0])
            more = f", and {late.size - 1} more after it" if late.size > 1 else ""
            zero = bool((seen.soc[late] == 0).all())
            yield at_power_off(
                facts,
                (run, device),
                "caution",
                f"{pct(seen.soc[first])} for '{name}'{more}, after its power-off{when} "
                f"(line {note.line})",
                "no reading once a device is off",
                "A device that is off shows nothing: leave the cell empty instead of entering 0. "
                "These entries are not used."
                if zero
                else "Compare the minute of the power-off and the reading with the footage, and "
                "correct the wrong one. Until then the power-off stands and the readings after it "
                "are not used.",
                column=facts.column(device),
                line=int(seen.line[first]),
            )
        rows = seen.of(run * len(facts.devices) + device)
        t = np.where(seen.timed[rows], seen.t[rows], np.nan)
        between = np.flatnonzero((t > note.last_on) & (t <= note.off)) + rows.start
        if between.size:
            last = int(between[-1])
            yield at_power_off(
                facts,
                (run, device),
                "note",
                f"a reading of '{name}' at {facts.at(run, float(seen.t[last]))}, after it was last "
                f"seen on at {facts.at(run, note.last_on)} (line {note.line})",
                "'last seen on' no earlier than the last reading",
                "The reading shows that the device was on: it is taken as the time last seen on. "
                "Correct last_on if it was a slip.",
                column=facts.column(device),
                line=int(seen.line[last]),
            )


def _lies_in(facts: Facts, run: int, low: float, high: float) -> str:
    """Return in words where in the protocol a window of time lies."""
    spans = facts.spans
    end = np.where(np.isnan(spans.end[run]), np.inf, spans.end[run])
    inside = np.flatnonzero((spans.start[run] < high) & (end > low))
    if inside.size:
        return f"in the phase {quoted(facts.phases[p] for p in inside)}"
    before = np.flatnonzero(spans.end[run] <= low)
    after = np.flatnonzero(spans.start[run] >= high)
    if before.size and after.size:
        return f"in the gap between '{facts.phases[before[-1]]}' and '{facts.phases[after[0]]}'"
    if before.size:
        return f"after the end of the last timed phase, '{facts.phases[before[-1]]}'"
    return f"before the start of '{facts.phases[after[0]]}'"


@rule(
    "power-off-outside-phase",
    "caution",
    "note",
    sees="A power-off that does not lie in the phase it is logged in; a note where it lies partly "
    "outside, so that the phase cannot be told.",
    to_do="Correct the phase or the minute; a power-off in a gap is logged with no phase.",
    source=DERIVED,
)
def power_off_outside_phase(facts: Facts) -> Iterator[Doubt]:
    spans = facts.spans
    for (run, device), note in sorted(facts.off_notes.items()):
        p = note.phase
        if note.still_on or p < 0 or np.isnan(note.off) or np.isnan(spans.start[run, p]):
            continue
        low, high = float(facts.windows[run].low[device]), float(facts.windows[run].high[device])
        start = float(spans.start[run, p])
        end = np.inf if np.isnan(spans.end[run, p]) else float(spans.end[run, p])
        step = float(spans.resolution[run, p])
        name, phase = facts.devices[device], facts.phases[p]
        times = f"{facts.at(run, start)} to " + ("its end" if np.isinf(end) else facts.at(run, end))
        if high <= start or low >= end + step:
            yield at_power_off(
                facts,
                (run, device),
                "caution",
                f"'{name}' off {facts.window(run, device)}, logged in '{phase}'",
                f"a time within '{phase}' ({times})",
                f"The power-off lies {_lies_in(facts, run, low, high)}: "
                + (
                    "correct the phase, or the minute, or leave the phase empty if it lies in a "
                    "gap."
                    if spans.start_noted[run, p]
                    else "when this phase began was not noted, only added up from the lengths "
                    "of those before it, so a break or a phase that ran longer would put it right. "
                    "Note the start by the clock if the footage shows it; else correct the phase "
                    "or the minute."
                )
                + " The time is used, the phase is not.",
            )
        elif (low < start and not np.isnan(note.last_on)) or note.off >= end + step:
            yield at_power_off(
                facts,
                (run, device),
                "note",
                f"'{name}' off {facts.window(run, device)}, only partly within '{phase}'",
                f"a time within '{phase}' ({times})",
                "Which side of the boundary it lies on cannot be told: its drain in that phase "
                "is given with that doubt. A narrower pair of last seen on and first seen off "
                "settles it.",
            )


@rule(
    "power-off-too-close",
    "note",
    sees="Two power-offs whose times overlap, so that neither device certainly outlasted the "
    "other.",
    to_do="Call it a tie; only narrower times, last seen on and first seen off, can part them.",
    source=DERIVED,
)
def power_off_too_close(facts: Facts) -> Iterator[Doubt]:
    for run, number_ in enumerate(facts.runs):
        window = facts.windows[run]
        off = np.flatnonzero(np.isfinite(window.high) & np.isfinite(window.low))
        pairs = [
            (i, j)
            for i, j in combinations(off.tolist(), 2)
            if not (window.later[i, j] or window.later[j, i])
        ]
        if pairs:
            close = sorted({int(d) for pair in pairs for d in pair})
            lines = [facts.off_notes[run, d].line for d in close if (run, d) in facts.off_notes]
            times = [f"'{facts.devices[d]}' {facts.window(run, d)}" for d in close]
            told = [f"'{facts.devices[a]}' and '{facts.devices[b]}'" for a, b in pairs]
            yield Doubt(
                severity="note",
                line=min(lines, default=None),
                column=facts.off_column(run, close[0]),
                found=f"power-offs too close to call: {joined(times)}",
                expected="times that do not overlap, for an order",
                remedy=f"Call {'; '.join(told)} tied in this session. Never break such a tie by "
                "the last percentage or by the order of the entries.",
                run=number_,
            )


RULES = (
    power_off_noted_late,
    reading_after_power_off,
    power_off_outside_phase,
    power_off_too_close,
)
