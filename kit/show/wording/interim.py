"""What is left of a session that is not over, in sentences."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

from kit.show.cells import Names
from kit.units import clock, duration, h_mm, joined, percent

if TYPE_CHECKING:
    from kit.plan.rest_of_day import Expected, RestOfDay
    from kit.session import Session

__all__ = ["interim_sentences", "moment_words"]

SURELY = 0.9
"""From this chance on only one device is named as the next."""
WORTH_NAMING = 0.1


def moment_words(session: Session, run: int, t_min: float) -> str:
    """Return a time of a run by the clock, or as h:mm since the start where no clock is known."""
    start = next((r.start for r in session.runs if r.number == run), None)
    if not isfinite(t_min):
        return "later than a week"
    return h_mm(t_min) if start is None else clock(start, t_min)


def interim_sentences(session: Session, rest: RestOfDay) -> tuple[str, ...]:
    """Return where the day is, what is left, who is next and when the last should be off."""
    return (
        f"As of {moment_words(session, rest.run, rest.now_min)}, "
        f"{duration(rest.now_min)} after the start: the session goes on, and what follows is its "
        "state so far. If it is over, say in the log which devices were still on (event still_on).",
        _left(session, rest),
        _next(session, rest),
        _last(session, rest),
    )


def _left(session: Session, rest: RestOfDay) -> str:
    names = Names.of(session)
    parts = []
    for phase in rest.phases:
        length = "open end" if phase.minutes is None else duration(phase.minutes)
        words = f"{length} left" if phase.running and phase.minutes is not None else length
        parts.append(f"{names.phase[phase.phase]} ({words})")
    text = f"Phases left: {joined(parts)}."
    if rest.planned_min <= 0:
        return text
    more = any(p.minutes is None for p in rest.phases)
    return f"{text} That is {duration(rest.planned_min)} of planned phases, pauses not counted" + (
        ", and the open end." if more else "."
    )


def _window(session: Session, rest: RestOfDay, found: Expected) -> str:
    low, high = (moment_words(session, rest.run, t) for t in (found.low_min, found.high_min))
    return f"{percent(rest.coverage)}: {low} to {high}"


def _next(session: Session, rest: RestOfDay) -> str:
    names = Names.of(session)
    known = [e for e in rest.devices if isfinite(e.expected_min)]
    if not known:
        return "No rate has been measured yet, so nobody's power-off can be foreseen."
    likely = sorted((e for e in known if e.p_next >= WORTH_NAMING), key=lambda e: -e.p_next)
    likely = likely[:1] if likely and likely[0].p_next >= SURELY else likely[:3]
    told = [
        f"{names.device[e.device]} about {moment_words(session, rest.run, e.expected_min)} "
        f"({_window(session, rest, e)}; chance to be next {percent(round(e.p_next, 2))})"
        for e in likely or known[:1]
    ]
    return f"Expected to power off next: {joined(told, 'or')}."


def _last(session: Session, rest: RestOfDay) -> str:
    names = Names.of(session)
    if rest.last is None:
        lost = joined(
            [names.device[e.device] for e in rest.devices if not isfinite(e.expected_min)]
        )
        return f"When the last will be off cannot be said: no rate is known of {lost}."
    left = rest.last.expected_min - rest.now_min
    hours = f", {duration(left)} from then" if isfinite(left) else ""
    return (
        f"The last is expected off about {moment_words(session, rest.run, rest.last.expected_min)}"
        f"{hours} ({_window(session, rest, rest.last)})."
    )
