"""The rule on readings noted long after, or before, their boundary."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.checks.observations import END, START
from kit.checks.rule import DERIVED, Doubt, rule
from kit.checks.text import minutes, number, pp

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.checks.facts import Facts

__all__ = ["RULES"]

MINUTE = 1.0
"""Times are noted to the minute (min)."""

LATE_EFFECT_PP = 0.5
"""Late readings that can cost this much (pp) are a caution."""


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


RULES = (reading_late,)
