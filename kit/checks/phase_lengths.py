"""Rules on the length of each phase: unlike its plan, or not known."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.checks.rule import DERIVED, Doubt, rule
from kit.checks.stretches import stretches
from kit.checks.text import minutes, number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.checks.facts import Facts

__all__ = ["RULES"]

MINUTE = 1.0
"""Times are noted to the minute (min)."""


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


RULES = (phase_length_differs, phase_length_unknown)
