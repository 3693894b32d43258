"""Rules on power-offs: their place, their percentage, their order, what follows them."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from kit.checks.observations import END
from kit.checks.rule import DERIVED, Doubt, rule
from kit.checks.text import h_min, joined, minutes, number, pct, quoted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from kit.checks.facts import Facts, OffNote
    from kit.errors import Severity

__all__ = ["RULES"]

LEFT_PP = 3.0
"""Charge left at a power-off (%) that neither rounding nor timing explains."""

LONG_WINDOW_MIN = 10.0
"""A power-off known only to within this long (min) cannot order devices that end together."""

FULL_PCT = 100.0

FAR_PCT = 10.0
"""Left at power-off above this (%), nobody would call the battery empty."""

HIGH_RATE_FACTOR = 2.5
"""Before its power-off a device drains at most this × the busiest rate of its own record."""

LOW_RATE_FACTOR = 0.5
"""... and at least this × the quietest."""

OVERDUE_PP = -3.0
"""A level that should have been passed by this much (pp) before the power-off."""

EMPTY_WORDS = ("empty", "flat", "drained", "0 %", "0%", "rundown", "ran down")
"""A cause with one of these words in it is an empty battery."""


def _doubt(
    facts: Facts,
    at: tuple[int, int],
    severity: Severity,
    found: str,
    expected: str,
    remedy: str,
    *,
    column: str = "",
    line: int | None = None,
) -> Doubt:
    """Return a doubt placed at the power-off row of one device in one run."""
    run, device = at
    note = facts.off_notes.get(at)
    return Doubt(
        severity=severity,
        line=note.line if line is None and note is not None else line,
        column=column or facts.off_column(run, device),
        found=found,
        expected=expected,
        remedy=remedy,
        device=facts.devices[device],
        phase=facts.phases[note.phase] if note is not None and note.phase >= 0 else "",
        run=facts.runs[run],
    )


@rule(
    "power-off-missing",
    "caution",
    sees="A device with neither a power-off nor a mark that it was still on.",
    to_do="Add its power_off row, or a still_on row with the time at which it was last seen on.",
)
def power_off_missing(facts: Facts) -> Iterator[Doubt]:
    for run, number_ in enumerate(facts.runs):
        for device, name in enumerate(facts.devices):
            if (run, device) in facts.off_notes:
                continue
            low = facts.windows[run].low[device]
            since = "no time at which it was on" if np.isnan(low) else f"on at {facts.at(run, low)}"
            yield Doubt(
                severity="caution",
                column=facts.column(device) if facts.session.form == "wide" else "event",
                found=f"no power-off and no still-on mark for '{name}' ({since})",
                expected="a power-off, or a mark that it was still on, for every device",
                remedy="Add a power_off row with the minute, or a still_on row with the time it "
                "was last seen on. Without either its runtime has a lower limit only, and it "
                "takes no place in the order.",
                device=name,
                run=number_,
            )


@rule(
    "still-on",
    "note",
    sees="A device still on when the session was stopped: its runtime is right-censored.",
    to_do="Read its runtime as 'longer than'; it has no upper limit and no average.",
)
def still_on(facts: Facts) -> Iterator[Doubt]:
    for (run, device), note in sorted(facts.off_notes.items()):
        if not note.still_on:
            continue
        low = facts.windows[run].low[device]
        last = "" if np.isnan(low) else f", last seen on at {facts.at(run, low)}"
        yield _doubt(
            facts,
            (run, device),
            "note",
            f"'{facts.devices[device]}' still on at the stop{last}",
            "a power-off",
            "Its runtime is right-censored: it is longer than the time to that minute, and how "
            "much longer is not known. Run the next session to the end to have a figure.",
        )


@rule(
    "last-on-missing",
    "note",
    sees="A power-off whose noted minute says only when it was noticed, long after the last "
    "sign that the device was on.",
    to_do="Note 'last seen on' too, or state off_check_min if every device was looked at often.",
)
def last_on_missing(facts: Facts) -> Iterator[Doubt]:
    for (run, device), note in sorted(facts.off_notes.items()):
        if note.still_on or not np.isnan(note.last_on) or np.isnan(note.off):
            continue
        if facts.session.assumptions.off_check_min is not None:
            continue
        low, high = facts.windows[run].low[device], facts.windows[run].high[device]
        if high - low > LONG_WINDOW_MIN:
            yield _doubt(
                facts,
                (run, device),
                "note",
                f"'{facts.devices[device]}' off at {facts.at(run, note.off)}, last known to be on "
                f"at {facts.at(run, low)}, {minutes(note.off - low)} before",
                "the minute last seen on, a few minutes before the minute noted off",
                "Add last_on from the footage. If somebody looked at every device at least every n "
                "minutes near the end, state off_check_min = n under [assumptions]; otherwise the "
                f"runtime is only known to within {h_min(high - low)}.",
                column="last_on" if facts.session.form == "long" else "",
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
            yield _doubt(
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
            yield _doubt(
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
            yield _doubt(
                facts,
                (run, device),
                "caution",
                f"'{name}' off {facts.window(run, device)}, logged in '{phase}'",
                f"a time within '{phase}' ({times})",
                f"The power-off lies {_lies_in(facts, run, low, high)}: correct the phase, or the "
                "minute, or leave the phase empty if it lies in a gap. The time is used, the phase "
                "is not.",
            )
        elif (low < start and not np.isnan(note.last_on)) or note.off >= end + step:
            yield _doubt(
                facts,
                (run, device),
                "note",
                f"'{name}' off {facts.window(run, device)}, only partly within '{phase}'",
                f"a time within '{phase}' ({times})",
                "Which side of the boundary it lies on cannot be told: its drain in that phase "
                "is given with that doubt. A narrower pair of last seen on and first seen off "
                "settles it.",
            )


def _last_level(facts: Facts, at: tuple[int, int], note: OffNote) -> tuple[float, float, str]:
    """Return the last percentage before a power-off, its minute, and where it stands."""
    run, device = at
    rows = facts.readings.of(run * len(facts.devices) + device)
    end = note.off if not note.still_on else np.inf
    t = facts.readings.t[rows]
    before = np.flatnonzero(t <= end)
    if not np.isnan(note.soc) and not note.still_on:
        seen_at = note.last_on if not np.isnan(note.last_on) else facts.windows[run].low[device]
        return note.soc, float(seen_at), f"line {note.line}"
    if not before.size:
        return float("nan"), float("nan"), ""
    last = int(before[-1]) + rows.start
    seen = facts.readings
    return float(seen.soc[last]), float(seen.t[last]), f"line {seen.line[last]}"


@rule(
    "power-off-high",
    "caution",
    sees="A power-off with charge left: above off_pct_max (5 % unless stated) even if the device "
    "drained at 2.5 times its busiest rate since its last reading; above 10 % it is far from "
    "empty.",
    to_do="Re-check minute and last percentage; if they stand, the battery was not run down, or "
    "its gauge was wrong.",
    source=DERIVED,
)
def power_off_high(facts: Facts) -> Iterator[Doubt]:
    assumed = facts.session.assumptions
    allowed = max(LEFT_PP, assumed.off_pct_max - 1.0)
    for at, note in sorted(facts.off_notes.items()):
        if note.still_on or np.isnan(note.off):
            continue
        level, when, where = _last_level(facts, at, note)
        rate = HIGH_RATE_FACTOR * float(facts.busiest[at])
        basis = f"{HIGH_RATE_FACTOR:g} × its busiest rate"
        if not rate > 0:
            rate = FULL_PCT * assumed.plausible_power_w_per_wh
            basis = "the highest plausible rate"
        passed = max(note.off - when, 0.0)
        left = level - 1.0 - rate * passed / 60.0
        if not left > allowed:
            continue
        far = left > FAR_PCT
        spent = f", less {minutes(passed)} at {basis}, {number(rate)} pp/h" if passed else ""
        yield _doubt(
            facts,
            at,
            "caution",
            f"'{facts.devices[at[1]]}' off at {facts.at(at[0], note.off)} with at least "
            f"{number(left, 0)} % left ({pct(level)} at {facts.at(at[0], when)}, {where}{spent})",
            f"a power-off at {number(assumed.off_pct_max)} % or less"
            + ("; this one is far from empty" if far else ""),
            "Compare the minute and the last percentage with the footage (an hour or a phase too "
            "early?). If both stand, the device was shut down by something else (heat, a fault, a "
            "person), or its gauge was far off: its runtime is not that of its battery."
            if far
            else "Compare the minute and the last percentage with the footage. If both stand, the "
            "gauge does not end at 0: the drain of this last phase is uncertain by what was left.",
        )


@rule(
    "power-off-overdue",
    "caution",
    sees="A device that was on although, at half the quietest of two or more rates, it should "
    "have been empty.",
    to_do="Re-check the minute (an hour late?) and the last percentage.",
    source=DERIVED,
)
def power_off_overdue(facts: Facts) -> Iterator[Doubt]:
    for at, note in sorted(facts.off_notes.items()):
        run, device = at
        rate = facts.quietest[run, device]
        end = facts.windows[run].low[device] if note.still_on else note.off
        level, when, where = _last_level(facts, at, note)
        several = np.count_nonzero(~np.isnan(facts.rate[run, :, device])) > 1
        if not several or not rate > 0 or np.isnan(level + when + end):
            continue
        hours = (end - when) / 60.0
        left = level + 1.0 - LOW_RATE_FACTOR * rate * hours
        if left < OVERDUE_PP:
            empty = when + (level + 1.0) / rate * 60.0
            yield _doubt(
                facts,
                at,
                "caution",
                f"'{facts.devices[device]}' {'on' if note.still_on else 'off'} at "
                f"{facts.at(run, end)}, {h_min(hours * 60)} after {pct(level)} ({where})",
                f"empty by about {facts.at(run, empty)} even at its quietest rate, {rate:.1f} pp/h",
                "Compare the minute with the footage (an hour late, or noticed long after?), and "
                "the last percentage. If both stand, something saved power that no phase tells of.",
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


@rule(
    "power-off-other-cause",
    "caution",
    sees="A power-off with a cause other than an empty battery.",
    to_do="Do not read its minute as the end of the battery.",
)
def power_off_other_cause(facts: Facts) -> Iterator[Doubt]:
    for at, note in sorted(facts.off_notes.items()):
        cause = note.cause.strip()
        if not cause or note.still_on or any(w in cause.casefold() for w in EMPTY_WORDS):
            continue
        yield _doubt(
            facts,
            at,
            "caution",
            f"the cause '{cause}' for the power-off of '{facts.devices[at[1]]}'",
            "a battery that ran empty",
            "The battery lasted at least until then; how much longer is not known. Leave this "
            "device out of the order of runtimes, or repeat its run.",
            column="cause" if facts.session.form == "long" else "",
        )


RULES = (
    power_off_missing,
    still_on,
    last_on_missing,
    reading_after_power_off,
    power_off_outside_phase,
    power_off_high,
    power_off_overdue,
    power_off_too_close,
    power_off_other_cause,
)
