"""The rule on the elapsed time that the operator stated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.checks.rule import DERIVED, Doubt, rule
from kit.checks.stretches import length_tolerance, stretches
from kit.checks.text import h_min, minutes, number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.checks.facts import Facts

__all__ = ["RULES"]

HOUR = 60.0
CLOCK_STEP_MIN = 1.0
"""Two times noted to the minute differ by up to this (min) for no reason."""


@dataclass(frozen=True, kw_only=True)
class _Computed:
    """One elapsed time that the record gives: minutes, half-width, and what it runs to."""

    value: float
    half: float
    what: str


def _candidates(facts: Facts, run: int) -> list[_Computed]:
    """Return the elapsed times that the record gives, the best first."""
    found = []
    stop = facts.session.runs[run].stop_min
    if stop is not None:
        found.append(_Computed(value=stop, half=0.5, what="to the stop"))
    window = facts.windows[run]
    finite = np.isfinite(window.high)
    if finite.any() and not np.isinf(window.high).any():
        last = int(np.argmax(np.where(finite, window.high, -np.inf)))
        found.append(
            _Computed(
                value=float(window.low[last] + window.high[last]) / 2.0,
                half=float(window.high[last] - window.low[last]) / 2.0,
                what="to the last power-off",
            )
        )
    ends = np.where(facts.spans.end_noted[run], facts.spans.end[run], np.nan)
    if not np.isnan(ends).all():
        found.append(
            _Computed(value=float(np.nanmax(ends)), half=0.5, what="to the end of the last phase")
        )
    return found


def _logged(facts: Facts, run: int, best: _Computed) -> tuple[float, float]:
    """Return the time that phases account for until ``best``, and its tolerance."""
    known = [s for s in stretches(facts, run) if s.t_begin < best.value]
    gaps = sum(max(s.unlogged, 0.0) for s in known if not np.isnan(s.unlogged))
    inside = sum(len(s.inside) for s in known)
    rounding = facts.session.assumptions.clock_rounding
    tolerance = length_tolerance(inside, rounding=rounding) + len(known) * CLOCK_STEP_MIN
    return best.value - gaps, tolerance


def _explained(facts: Facts, run: int, stated: float, best: _Computed) -> str:
    """Return in words why a stated elapsed time differs from the computed one."""
    difference = stated - best.value
    logged, tolerance = _logged(facts, run, best)
    gap = best.value - logged
    slack = best.half + CLOCK_STEP_MIN
    if gap > tolerance and abs(stated - logged) <= tolerance + slack:
        return (
            f"It leaves out the {minutes(gap)} that no phase accounts for (see unlogged-time): "
            "the devices ran in that time too."
        )
    hours = round(difference / HOUR)
    if hours and abs(difference - HOUR * hours) <= slack:
        n = abs(hours)
        kind = (
            "a 12-hour clock read as a 24-hour one, or a day miscounted"
            if n % 12 == 0
            else f"a slip of {number(n, 0)} hour{'s' if n > 1 else ''}, or a clock change in "
            "between"
        )
        return f"The difference is a whole number of hours: {kind}. Check start and stop."
    return (
        "The record does not explain the difference: check start, stop and the stated time "
        "against the footage."
    )


@rule(
    "elapsed-disagrees",
    "caution",
    sees="An elapsed time stated by the operator that the clock times do not give: it leaves out "
    "unlogged time, it slipped by whole hours, or it cannot be explained.",
    to_do="Correct the wrong one; the clock times are used, and both are shown.",
    source=DERIVED,
)
def elapsed_disagrees(facts: Facts) -> Iterator[Doubt]:
    for run, settings in enumerate(facts.session.runs):
        stated = settings.stated_elapsed_min
        found = _candidates(facts, run)
        if stated is None or not found:
            continue
        if any(abs(stated - c.value) <= c.half + CLOCK_STEP_MIN for c in found):
            continue
        best = found[0]
        several = len(facts.runs) > 1
        key = f"runs[{settings.number}].stated_elapsed" if several else "session.stated_elapsed"
        yield Doubt(
            severity="caution",
            place="setup",
            column=key if facts.session.has_setup else "",
            found=f"{h_min(stated)} as stated, {h_min(best.value)} by the clock {best.what} "
            f"({minutes(abs(stated - best.value))} "
            f"{'less' if stated < best.value else 'more'} stated)",
            expected="the same elapsed time by statement and by clock, to the minute",
            remedy=f"{_explained(facts, run, stated, best)} The clock times are used; both are "
            "shown.",
            run=settings.number,
        )


RULES = (elapsed_disagrees,)
