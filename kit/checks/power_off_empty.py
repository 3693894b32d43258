"""Rules on whether the battery was empty when a device powered off."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.checks.power_off_doubt import at_power_off
from kit.checks.rule import DERIVED, Doubt, rule
from kit.checks.text import h_min, minutes, number, pct
from kit.drain.gauge import FULL_PCT

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.checks.facts import Facts, OffNote

__all__ = ["RULES"]

LEFT_PP = 3.0
"""Charge left at a power-off (%) that neither rounding nor timing explains."""

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
        yield at_power_off(
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
            yield at_power_off(
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
        yield at_power_off(
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
    power_off_high,
    power_off_overdue,
    power_off_other_cause,
)
