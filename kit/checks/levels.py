"""Rules on the percentages themselves: rises, a full start, charging, gaps in the readings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.checks.rule import DERIVED, Doubt, rule
from kit.checks.text import joined, minutes, number, pct, pp, quoted
from kit.drain.gauge import FULL_PCT

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from kit.checks.facts import Facts

    Ints = NDArray[np.int64]

__all__ = ["RULES"]

EPS = 1e-9
"""Percentages closer than this are equal (binary representation of decimals)."""

STEP_PP = 1.0
"""Step of an ordinary gauge (pp): a rise below it is noise of a display with decimals."""

LISTED_RISES = 3
"""More rises of one device than this are told as one finding with their number."""

SHORT_START_PP = 5.0
"""A start this far below full shortens the runtime by as many per cent: a caution."""


def _charged(facts: Facts, rises: Ints) -> NDArray[np.bool_]:
    """Return which rises have a charge event between their two readings."""
    seen, charges = facts.readings, facts.session.charges
    explained = np.zeros(rises.shape, dtype=np.bool_)
    if charges.empty:
        return explained
    run, device = np.divmod(seen.unit[rises], len(facts.devices))
    names = ("run", "device", "phase", "start_min", "end_min")
    for number_, who, phase, start, end in zip(*(charges[n].tolist() for n in names), strict=True):
        if number_ not in facts.runs or (who and who not in facts.devices):
            continue
        mine = run == facts.runs.index(number_)
        if who:
            mine &= device == facts.devices.index(who)
        apart = (end < seen.t[rises - 1]) | (start > seen.t[rises])
        if np.isnan(start) and np.isnan(end) and phase in facts.phases:
            place = facts.phases.index(phase)
            apart = (seen.phase[rises - 1] > place) | (seen.phase[rises] < place)
        explained |= mine & ~apart
    return explained


def _after_heavy(facts: Facts, at: int) -> bool:
    """Return whether the phase before a rise was a heavy one for that device."""
    run, device = divmod(int(facts.readings.unit[at]), len(facts.devices))
    phase = int(facts.readings.phase[at - 1])
    rates = facts.rate[run, :, device]
    known = rates[~np.isnan(rates)]
    return phase >= 0 and known.size > 1 and bool(rates[phase] > np.median(known))


def _rise_remedy(facts: Facts, at: int, rise: float) -> str:
    if rise < STEP_PP - EPS:
        return (
            "This is within the noise of a display that shows decimals; nothing need be done if "
            "the footage agrees."
        )
    if rise > STEP_PP + EPS:
        return (
            f"Rounding cannot make a falling level rise by {pp(rise)}: one of the two readings is "
            "wrong, or the device was charged. Compare both with the footage and correct the "
            "wrong one, or add charge_start and charge_end rows; until then the drains on both "
            "sides of it are not to be trusted."
        )
    if _after_heavy(facts, at):
        return (
            "Compare both readings with the footage. If they stand, the gauge settled after a "
            "heavy phase (relaxation, or a display that lags): keep them, and read the drains of "
            "the two phases as one sum."
        )
    return (
        "Compare both readings with the footage: rounding alone never makes a falling level rise. "
        "If they stand, the gauge corrected itself, and the two drains beside it are each off by "
        "about 1 pp in opposite directions."
    )


def _one_rise(facts: Facts, at: int) -> Doubt:
    seen = facts.readings
    run, device = divmod(int(seen.unit[at]), len(facts.devices))
    rise = float(seen.soc[at] - seen.soc[at - 1])
    phase = int(seen.phase[at])
    return Doubt(
        severity="note" if rise < STEP_PP - EPS else "caution",
        line=int(seen.line[at]),
        column=facts.column(device),
        found=f"{pct(seen.soc[at])} for '{facts.devices[device]}' after {pct(seen.soc[at - 1])} "
        f"(line {seen.line[at - 1]}), a rise of {number(rise)} pp with no charge event between",
        expected="a percentage that stays or falls while no charger is connected",
        remedy=_rise_remedy(facts, at, rise),
        device=facts.devices[device],
        phase=facts.phases[phase] if phase >= 0 else "",
        run=facts.runs[run],
    )


def _many_rises(facts: Facts, rises: Ints) -> Doubt:
    seen = facts.readings
    run, device = divmod(int(seen.unit[rises[0]]), len(facts.devices))
    size = seen.soc[rises] - seen.soc[rises - 1]
    worst = int(rises[np.argmax(size)])
    largest = float(size.max())
    if largest > STEP_PP + EPS:
        remedy = (
            f"Start with line {seen.line[worst]} ({pct(seen.soc[worst - 1])} to "
            f"{pct(seen.soc[worst])}): a rise above 1 pp is a wrong reading or a charge; correct "
            "it, or add charge_start and charge_end rows. Rises of 1 pp that come and go are "
            "the gauge hesitating between two values."
        )
    else:
        remedy = (
            "A gauge that hesitates between two values does this; drains over whole phases are "
            "hardly touched. If it happens after heavy phases only, it is relaxation."
        )
    return Doubt(
        severity="caution" if largest > STEP_PP - EPS else "note",
        line=int(seen.line[rises[0]]),
        column=facts.column(device),
        found=f"{rises.size} rises for '{facts.devices[device]}' with no charge event, the first "
        f"on this line, the largest {pp(largest)} (line {seen.line[worst]})",
        expected="a percentage that stays or falls while no charger is connected",
        remedy=remedy,
        device=facts.devices[device],
        run=facts.runs[run],
    )


@rule(
    "soc-rises",
    "caution",
    "note",
    sees="A percentage that rises without a charge event. Rounding is monotone and cannot do it; "
    "above 1 pp a reading is wrong or the device was charged.",
    to_do="Compare both readings with the footage; correct the wrong one, or log the charge.",
    source=DERIVED,
)
def soc_rises(facts: Facts) -> Iterator[Doubt]:
    seen = facts.readings
    rising = (np.diff(seen.soc) > EPS) & (np.diff(seen.unit) == 0)
    rises = np.flatnonzero(rising) + 1
    # two entries of one noted minute may have been made in the other order
    one_minute = seen.t[rises] - seen.t[rises - 1] < seen.resolution[rises] - EPS
    rises = rises[~(one_minute & (seen.soc[rises] - seen.soc[rises - 1] <= STEP_PP + EPS))]
    rises = rises[~_charged(facts, rises)]
    units, first = np.unique(seen.unit[rises], return_index=True)
    for group in np.split(rises, first[1:]) if units.size else ():
        if group.size > LISTED_RISES:
            yield _many_rises(facts, group)
        else:
            yield from (_one_rise(facts, int(at)) for at in group)
    for (run, device), note in facts.off_notes.items():
        rows = seen.of(run * len(facts.devices) + device)
        before = seen.soc[rows][seen.t[rows] <= note.off] if note.off >= 0 else seen.soc[rows]
        if before.size and note.soc > before[-1] + EPS:
            yield Doubt(
                severity="caution",
                line=note.line,
                column=facts.column(device),
                found=f"{pct(note.soc)} last seen on '{facts.devices[device]}' at power-off, above "
                f"its last reading of {pct(before[-1])}",
                expected="a percentage no higher than the last reading",
                remedy="Compare both with the footage and correct the wrong one; if the device "
                "was charged in between, add charge_start and charge_end rows.",
                device=facts.devices[device],
                run=facts.runs[run],
            )


@rule(
    "start-saturated",
    "caution",
    sees="100 % at the start and still at the end of the first phase: the display is saturated.",
    to_do="Judge the first two phases as one sum, or start at the minute the display shows 99 %.",
    source=DERIVED,
)
def start_saturated(facts: Facts) -> Iterator[Doubt]:
    if not facts.phases:
        return
    for run, number_ in enumerate(facts.runs):
        start, end = facts.start_pct[run, 0], facts.end_pct[run, 0]
        held = np.flatnonzero((end >= FULL_PCT) & ~(start < FULL_PCT))
        if held.size:
            names = [facts.devices[d] for d in held]
            length = facts.spans.length[run, 0]
            lasting = "" if np.isnan(length) else f" ({minutes(length)})"
            both = (
                f"the phases '{facts.phases[0]}' and '{facts.phases[1]}' as one sum"
                if len(facts.phases) > 1
                else "a longer phase"
            )
            yield Doubt(
                severity="caution",
                line=int(facts.end_line[run, 0, held[0]]),
                column=facts.column(int(held[0])),
                found=f"{quoted(names)} at 100 % from the start to the end of the first phase, "
                f"'{facts.phases[0]}'{lasting}",
                expected="at least one step of the display within the first phase",
                remedy="The display is saturated: the displayed drain of this phase is 0 to 1 pp, "
                f"and its true-charge drain cannot be measured. Judge {both}; next time start the "
                "timed phases at the minute in which the display changes to 99 %.",
                device=names[0] if len(names) == 1 else "",
                phase=facts.phases[0],
                run=number_,
            )


@rule(
    "start-not-full",
    "caution",
    "note",
    sees="A first reading below 100 %; a caution from 5 pp below.",
    to_do="Do not read the runtime as one from full; each missing pp shortens it by about 1 %.",
    source=DERIVED,
)
def start_not_full(facts: Facts) -> Iterator[Doubt]:
    if not facts.phases:
        return
    for run, number_ in enumerate(facts.runs):
        start = facts.start_pct[run, 0]
        short = np.flatnonzero(start < FULL_PCT - EPS)
        if not short.size:
            continue
        listed = joined([f"'{facts.devices[d]}' at {pct(start[d])}" for d in short])
        most = FULL_PCT - float(start[short].min())
        yield Doubt(
            severity="caution" if most >= SHORT_START_PP else "note",
            line=int(facts.start_line[run, 0, short[0]]),
            column=facts.column(int(short[0])),
            found=f"a start below full: {listed}",
            expected="100 % at the start of the first phase",
            remedy=f"The runtime is shorter than one from full, by up to about {number(most)} % "
            "for the lowest: compare drains and rates, and runtimes only between devices that "
            "started alike.",
            device=facts.devices[short[0]] if short.size == 1 else "",
            phase=facts.phases[0],
            run=number_,
        )


@rule(
    "charge-between-phases",
    "caution",
    sees="A charge event logged within the session.",
    to_do="Do not compare the runtime or the standing after it with devices that were not charged.",
)
def charge_between_phases(facts: Facts) -> Iterator[Doubt]:
    charges = facts.session.charges
    names = ("run", "device", "phase", "start_min", "end_min", "line")
    for number_, device, phase, start, end, line in zip(
        *(charges[n].tolist() for n in names), strict=True
    ):
        run = facts.runs.index(number_) if number_ in facts.runs else 0
        who = f"'{device}'" if device else "the devices"
        if np.isnan(end - start):
            when = f" at {facts.at(run, start)}" if start >= 0 else ""
        else:
            when = f" from {facts.at(run, start)} to {facts.at(run, end)} ({minutes(end - start)})"
        yield Doubt(
            severity="caution",
            line=int(line),
            column="event",
            found=f"a charge of {who}{when}",
            expected="no charge between the start and the power-off",
            remedy="Drains of the phases without a charge stand. The runtime, the standing after "
            "the charge and the total drain of this device are not those of one full charge: do "
            "not rank them beside devices that were not charged.",
            device=device,
            phase=phase,
            run=number_,
        )


def _missing_ends(facts: Facts, run: int, device: int) -> list[int]:
    """Return the phases at whose end a device that was on has no reading."""
    seen, window = facts.readings, facts.windows[run]
    delay = facts.session.assumptions.reading_delay_min
    rows = seen.of(run * len(facts.devices) + device)
    last_seen = int(seen.phase[rows].max(initial=-1))
    note = facts.off_notes.get((run, device))
    off_phase = -1 if note is None or note.still_on else note.phase
    missing = []
    for p, phase in enumerate(facts.session.phases):
        if phase.kind == "until_empty" or not np.isnan(facts.end_pct[run, p, device]):
            continue
        # one that went off before the walk came to it could not be read
        walked = facts.spans.end[run, p] + facts.spans.resolution[run, p] + delay
        by_time = bool(window.low[device] >= walked)
        if p == off_phase:
            continue
        if by_time or last_seen > p or off_phase > p or (note is not None and note.still_on):
            missing.append(p)
    return missing


@rule(
    "boundary-not-read",
    "caution",
    sees="A boundary of a phase at which a device that was on has no reading.",
    to_do="Add it from the footage, or accept that two drains are known only as their sum.",
)
def boundary_not_read(facts: Facts) -> Iterator[Doubt]:
    for run, number_ in enumerate(facts.runs):
        for device, name in enumerate(facts.devices):
            rows = facts.readings.of(run * len(facts.devices) + device)
            ends = [f"the end of '{facts.phases[p]}'" for p in _missing_ends(facts, run, device)]
            no_start = bool(facts.phases) and bool(np.isnan(facts.start_pct[run, 0, device]))
            if no_start:
                ends.insert(0, f"the start of '{facts.phases[0]}'")
            if rows.start == rows.stop:
                ends = ["any boundary"]
            if ends:
                yield Doubt(
                    severity="caution",
                    column=facts.column(device),
                    found=f"no reading of '{name}' at {joined(ends)}",
                    expected="one reading at every boundary while a device is on",
                    remedy="If the footage shows the percentage, add the reading. If it does not, "
                    "leave it out: the phases on both sides of a missing reading have no drain "
                    "each, only their sum.",
                    device=name,
                    run=number_,
                )


RULES = (
    soc_rises,
    start_saturated,
    start_not_full,
    charge_between_phases,
    boundary_not_read,
)
