"""Rules on the gauge: coarse steps, power savers, looks that wake, jumps."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.checks.conditions import as_number
from kit.checks.rule import DERIVED, Doubt, rule
from kit.checks.text import joined, minutes, number, pct, pp, quoted
from kit.drain.gauge import display_step, saver_thresholds

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.checks.facts import Facts

__all__ = ["RULES"]

WAKE_EFFECT_PP = 0.5
"""Looks that can cost this much (pp) in a phase are a caution."""

LAG_MIN = 5.0
"""A display may show the level of this long ago (min): common practice, no source."""

LAG_EFFECT_PP = 0.8
"""Half-width of a drain between two whole per cents (pp), docs/measurement.md."""

DENSE_MIN = 2.0
"""Readings at most this far apart (min) show single steps of the gauge."""

JUMP_PP = 3.0
"""A fall of this much (pp) within ``DENSE_MIN`` ..."""

JUMP_FACTOR = 5.0
"""... and of this × what the busiest rate allows, is the gauge jumping."""


@rule(
    "gauge-steps",
    "caution",
    "note",
    sees="Readings that move in steps above 1 %, or that contradict the step stated for a gauge.",
    to_do="State gauge.step_pct; every uncertainty of this device grows with the step.",
    source=DERIVED,
)
def gauge_steps(facts: Facts) -> Iterator[Doubt]:
    seen, n = facts.readings, len(facts.devices)
    for device, name in enumerate(facts.devices):
        rows = [seen.of(run * n + device) for run in range(len(facts.runs))]
        levels = np.unique(np.concatenate([np.unique(seen.soc[r]) for r in rows]))
        stated = facts.session.devices[device].gauge.step_pct
        if stated:
            inner = levels[(levels > 0) & (levels < 100)]
            off = inner[np.abs(inner / stated - np.round(inner / stated)) > 1e-6]
            if off.size:
                at = next(r.start + int(np.argmax(hit)) for r in rows
                          if (hit := seen.soc[r] == off[-1]).any())  # fmt: skip
                yield Doubt(
                    severity="caution",
                    line=int(seen.line[at]),
                    column=facts.column(device),
                    found=f"{pct(float(off[-1]))} for '{name}', whose gauge is stated to move in "
                    f"steps of {pct(stated)}",
                    expected=f"multiples of {number(stated)}",
                    remedy="Correct gauge.step_pct of this device, or the reading.",
                    device=name,
                )
            continue
        step = display_step(levels)
        if step > 1:
            first = next((int(seen.line[r.start]) for r in rows if r.stop > r.start), None)
            yield Doubt(
                severity="note",
                line=first,
                column=facts.column(device),
                found=f"every reading of '{name}' a multiple of {number(step)} "
                f"({levels.size} different levels)",
                expected="a gauge that shows every whole per cent, or its step stated",
                remedy=f"State gauge.step_pct = {number(step)} for this device: each of its "
                f"uncertainties is then {number(step)} times as large, which is what such a "
                "display can tell.",
                device=name,
            )


def _saver_levels(facts: Facts, device: int) -> tuple[tuple[float, ...], bool]:
    """Return levels at which a saver or dimming may start, and whether they are recorded."""
    own = {**facts.session.conditions, **facts.session.devices[device].conditions}
    levels = saver_thresholds(own)
    stated = {as_number(own.get(f"{name}_threshold_pct")) for name in ("power_saver", "dimming")}
    return levels, set(levels) <= stated


def _crossings(facts: Facts, run: int, p: int) -> tuple[list[str], list[str], bool]:
    """Return devices that pass a saver level in a phase, those below one, and if it is known."""
    passing, below, known = [], [], True
    for device, name in enumerate(facts.devices):
        levels, stated = _saver_levels(facts, device)
        start, end = facts.start_pct[run, p, device], facts.end_pct[run, p, device]
        note = facts.off_notes.get((run, device))
        if np.isnan(start) or not levels:
            continue
        if np.isnan(end):
            if note is None or note.still_on or note.phase not in (p, -1):
                continue
            end = 0.0
        passed = [s for s in levels if start > s >= end]
        if passed:
            told = joined([number(s) for s in passed])
            passing.append(f"'{name}' {number(start)} to {number(end)} % (passes {told} %)")
        elif start <= levels[0]:
            below.append(f"'{name}' at or below {number(levels[0])} % from the start")
        else:
            continue
        known = known and stated
    return passing, below, known


@rule(
    "power-saver-may-start",
    "caution",
    "note",
    sees="A phase in which a device passes 20, 15 or 10 %, or a stated threshold, and a power "
    "saver or dimming may have started; a note where it is recorded at which level it does.",
    to_do='Record power_saver and dimming ("off", or their thresholds); do not rank such a phase '
    "between devices otherwise.",
    source=DERIVED,
)
def power_saver_may_start(facts: Facts) -> Iterator[Doubt]:
    for run, number_ in enumerate(facts.runs):
        for p, phase in enumerate(facts.phases):
            passing, below, known = _crossings(facts, run, p)
            if not passing and not below:
                continue
            told = [*passing, *below]
            yield Doubt(
                severity="note" if known else "caution",
                place="setup" if facts.session.has_setup else "log",
                column="conditions.power_saver" if facts.session.has_setup else "",
                found=f"low levels in '{phase}': {joined(told)}",
                expected="a phase above the levels at which savers and dimming start, or both "
                "recorded as off",
                remedy="A saver starts there as recorded: a phase that passes the level mixes both "
                "states, and runtimes compare only between devices set alike."
                if known
                else "A power saver or dimming may have begun, which lowers the rate by 15 to 40 "
                "% unseen: record power_saver and dimming, off or with their thresholds. "
                "Unknown, do not rank this phase between devices, and keep it out of a mix.",
                phase=phase,
                run=number_,
            )


@rule(
    "reading-wakes-device",
    "caution",
    "note",
    sees="Looks at a device in a phase with its screen off, where looking wakes it or that is not "
    "recorded; a caution from 0.5 pp in one phase.",
    to_do="Look less often in such phases, or read a display that needs no waking.",
    source=DERIVED,
)
def reading_wakes_device(facts: Facts) -> Iterator[Doubt]:
    seen, n = facts.readings, len(facts.devices)
    dark = np.array([phase.screen_on is False for phase in facts.session.phases], dtype=np.bool_)
    if not dark.any() or not seen.unit.size:
        return
    each = facts.session.assumptions.wake_drain_pp
    asleep = (seen.phase >= 0) & dark[seen.phase]
    cells = seen.unit[asleep] * len(facts.phases) + seen.phase[asleep]
    counts = np.bincount(cells, minlength=len(facts.runs) * n * len(facts.phases))
    looks = counts.reshape(len(facts.runs), n, len(facts.phases))
    for run, p in np.argwhere(looks.any(axis=1)).tolist():
        wakes = [d.gauge.reading_wakes_device for d in facts.session.devices]
        woken = [d for d in range(n) if looks[run, d, p] and wakes[d] is not False]
        if not woken:
            continue
        most = int(max(looks[run, d, p] for d in woken))
        cost = most * each
        unknown = [facts.devices[d] for d in woken if wakes[d] is None]
        names = [facts.devices[d] for d in woken]
        yield Doubt(
            severity="caution" if cost >= WAKE_EFFECT_PP else "note",
            place="setup" if facts.session.has_setup else "log",
            column="devices.gauge.reading_wakes_device" if facts.session.has_setup else "",
            found=f"up to {most} looks at {quoted(names)} in '{facts.phases[p]}', a phase with the "
            "screen off"
            + (f"; whether a look wakes {quoted(unknown)} is not recorded" if unknown else ""),
            expected="no look that wakes a sleeping device, or few",
            remedy=f"Each look may cost about {number(each, 2)} pp (wake_drain_pp), up to "
            f"{number(cost, 2)} pp here. State gauge.reading_wakes_device; next time look at the "
            "ends of such a phase only.",
            phase=facts.phases[p],
            run=facts.runs[run],
        )


@rule(
    "display-may-lag",
    "note",
    sees="Neighbouring phases whose rates differ so much (9.6 pp/h or more) that a display which "
    "shows the level of five minutes ago would move more from one drain to the other than the "
    "display rounds off (0.8 pp).",
    to_do="Judge the two phases as one sum, or let devices settle before the reading; a lag does "
    "not touch sums, standings by more than its size, or runtimes.",
    source="five minutes: common practice, no source; the effect: derived in docs/measurement.md",
)
def display_may_lag(facts: Facts) -> Iterator[Doubt]:
    rate = facts.rate
    with np.errstate(invalid="ignore"):
        moved = LAG_MIN / 60.0 * np.abs(rate[:, 1:] - rate[:, :-1])
        large = moved >= LAG_EFFECT_PP
    for run, number_ in enumerate(facts.runs):
        for p in (np.flatnonzero(large[run].any(axis=1)) + 1).tolist():
            size = np.where(large[run, p - 1], moved[run, p - 1], 0.0)
            worst = int(np.argmax(size))
            names = [facts.devices[d] for d in np.flatnonzero(large[run, p - 1])]
            yield Doubt(
                severity="note",
                found=f"rates in '{facts.phases[p]}' far from those in '{facts.phases[p - 1]}': "
                f"{quoted(names)}, most for '{facts.devices[worst]}' "
                f"({number(float(rate[run, p - 1, worst]), 1)} to "
                f"{number(float(rate[run, p, worst]), 1)} pp/h)",
                expected="rates that differ by less than "
                f"{number(LAG_EFFECT_PP / LAG_MIN * 60, 1)} pp/h, or a display known to follow at "
                "once",
                remedy=f"A display that shows the level of {number(LAG_MIN)} min ago would move "
                f"{pp(float(size[worst]))} of '{facts.devices[worst]}' between this phase and its "
                "neighbours. That is not in the interval: read the phases as one sum where they "
                "would decide something.",
                phase=facts.phases[p],
                run=number_,
            )


@rule(
    "soc-jumps",
    "caution",
    sees="In a dense log, a fall of 3 pp or more within two minutes that no rate of that device "
    "explains.",
    to_do="Re-check the reading; if it stands, the gauge corrected itself there.",
)
def soc_jumps(facts: Facts) -> Iterator[Doubt]:
    seen, n = facts.readings, len(facts.devices)
    if seen.unit.size < 2:
        return
    apart = np.diff(seen.t)
    fall = -np.diff(seen.soc)
    near = (np.diff(seen.unit) == 0) & (apart <= DENSE_MIN) & (apart > 0) & (fall >= JUMP_PP)
    near &= seen.timed[1:] & seen.timed[:-1]
    jumps = np.flatnonzero(near) + 1
    run, device = np.divmod(seen.unit[jumps], max(n, 1))
    rate = facts.busiest[run, device]
    jumps = jumps[~(fall[jumps - 1] <= JUMP_FACTOR * np.maximum(rate, 0) * (apart[jumps - 1] + 1)
                    / 60.0)]  # fmt: skip
    for unit in np.unique(seen.unit[jumps]).tolist():
        mine = jumps[seen.unit[jumps] == unit]
        worst = int(mine[np.argmax(fall[mine - 1])])
        r, d = divmod(unit, n)
        more = f" (the largest of {mine.size})" if mine.size > 1 else ""
        yield Doubt(
            severity="caution",
            line=int(seen.line[worst]),
            column=facts.column(d),
            found=f"a fall of '{facts.devices[d]}' from {pct(seen.soc[worst - 1])} to "
            f"{pct(seen.soc[worst])} within {minutes(float(seen.t[worst] - seen.t[worst - 1]))}"
            f"{more}",
            expected="steps that the rate of the device explains",
            remedy="Compare the reading with the footage. If it stands, the gauge corrected "
            f"itself by about {pp(float(fall[worst - 1]))}: that is in the drain of this phase and "
            "was drained before it.",
            device=facts.devices[d],
            phase=facts.phases[seen.phase[worst]] if seen.phase[worst] >= 0 else "",
            run=facts.runs[r],
        )


RULES = (gauge_steps, power_saver_may_start, reading_wakes_device, display_may_lag, soc_jumps)
