"""Sentences on runtimes and their order: who lasted longest, what is tied, what is open."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.show.lasting import bounds_min, off_known
from kit.units import NO_BREAK, count, duration, joined

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.show.wording.facts import Row, RunFacts

__all__ = ["longest", "ties", "unfinished"]


def _all(n: int) -> str:
    return {2: "Both devices"}.get(n, f"All {count(n, 'device')}")


def bounds_words(row: Row) -> str:
    """Return ``7 h 28 min to 7 h 30 min`` for a runtime whose end was seen."""
    low, high = bounds_min(row)
    return f"{duration(low)} to {duration(high)}"


def _at_stop(row: Row) -> str:
    """Return when a device was last seen on, in words."""
    stopped = row.status == "still_on"
    when = "when the session was stopped" if stopped else "when last seen"
    return f"{when}, after at least {duration(bounds_min(row)[0])}"


def longest(facts: RunFacts) -> str:
    """Return who lasted longest and by how much, or why that cannot be said."""
    known = facts.known()
    if not known:
        return "No power-off was recorded, so nothing is said about runtimes."
    if facts.charged and len(facts.rows) > 1:
        return _charged(facts)
    if len(facts.rows) == 1:
        return _alone(facts, known[0])
    if not any(off_known(r) for r in known):
        return _none_off(facts, known)
    top = [r for r in facts.rows if r.rank_best == 1]
    coverage = facts.results.settings.coverage
    if len(top) == 1 and top[0].p_longest >= coverage:
        return _winner(facts, top[0])
    if len(top) == 1:
        return (
            f"{facts.name(top[0].device)} outlasted each other device taken singly, but not "
            "surely enough all of them at once, so no longest-lasting device is named."
        )
    return _shared_top(facts, top)


def _charged(facts: RunFacts) -> str:
    """Return whom a charge keeps out of the order, and who lasted longest of the others."""
    names, rest = joined(facts.name(d) for d in facts.charged), facts.comparable
    several = len(facts.charged) > 1
    told = (
        f"{names} {'were' if several else 'was'} charged during the run, so "
        f"{'their runtimes are' if several else 'its runtime is'} compared with no other."
    )
    if len(rest.rows) < 2 or not rest.known():
        return told
    text = longest(rest)
    for first in ("Both", "All"):
        text = first.lower() + text.removeprefix(first) if text.startswith(f"{first} ") else text
    return f"{told} Apart from {'them' if several else 'it'}, {text}"


def _alone(facts: RunFacts, row: Row) -> str:
    name = facts.name(row.device)
    if off_known(row):
        return (
            f"{name} ran for {bounds_words(row)} until it powered off; there was no other device "
            "to compare it with."
        )
    return (
        f"{name} was still on {_at_stop(row)}; its full runtime was not seen, and there "
        "was no other device to compare it with."
    )


def _none_off(facts: RunFacts, known: Sequence[Row]) -> str:
    shortest = min(bounds_min(r)[0] for r in known)
    who = (
        _all(len(facts.rows))
        if len(known) == len(facts.rows)
        else joined(facts.name(r.device) for r in known)
    )
    was = "were" if len(known) > 1 else "was"
    stopped = all(r.status == "still_on" for r in known)
    when = "when the session was stopped" if stopped else "when last seen"
    return (
        f"{who} {was} still on {when}, after at least {duration(shortest)}; no runtime has been "
        "measured to its end."
    )


def _winner(facts: RunFacts, row: Row) -> str:
    name = facts.said(row.device)
    others = [r.device for r in facts.rows if r.device != row.device]
    leads = [facts.lead_min(row.device, b) for b in others]
    known = [lead for lead in leads if not math.isnan(lead)]
    lead = ""
    if len(known) == len(leads) and min(known) >= 1:
        lead = duration(math.floor(min(known)))
    one = facts.name(others[0]) if len(others) == 1 else ""
    unlike = facts.rivals(row.device)
    if off_known(row):
        by = f", at least {lead} longer than {one or 'any other device'}" if lead else ""
        return f"{name} lasted longest{unlike}: {bounds_words(row)}{by}."
    by = f", and had outlasted {one or 'every other device'} by at least {lead}" if lead else ""
    return (
        f"{name} lasted longest{unlike}: it was still on {_at_stop(row)}{by}. How much longer "
        "it would have run was not seen."
    )


def _shared_top(facts: RunFacts, top: Sequence[Row]) -> str:
    ids = [r.device for r in top]
    names = joined(facts.said(d) for d in ids)
    rest = [r.device for r in facts.rows if r.device not in ids]
    if all(not off_known(r) for r in top):
        low = min(bounds_min(r)[0] for r in top if not math.isnan(r.runtime_h_low))
        text = (
            f"{names} were still on when last seen, after at least {duration(low)}; which of "
            "them would have lasted longest was not seen"
        )
    elif facts.tied(ids):
        text = f"{names} share the longest runtime: their power-offs are too close together to call"
    else:
        text = f"{names} may each have lasted longest; the record does not say which"
    if rest and facts.outlasts_all(ids, rest):
        each = "Both" if len(ids) == 2 else "Each of them"
        whom = facts.said(rest[0]) if len(rest) == 1 else f"the other {count(len(rest), 'device')}"
        return f"{text}. {each} outlasted {whom}."
    return f"{text}."


def ties(facts: RunFacts) -> str:
    """Return what else is tied, or that the whole order stands; empty if there is no more."""
    facts = facts.comparable
    top = {r.device for r in facts.rows if r.rank_best == 1}
    groups = [g for g in facts.tie_groups() if not set(g) <= top]
    groups = [g for g in groups if facts.tied(g)]
    if groups:
        listed = "; ".join(joined(facts.name(d) for d in g) for g in groups[:2])
        more = len(groups) - 2
        text = f"Too close to call by their power-offs: {listed}"
        return f"{text}, and {count(more, 'further group')}." if more > 0 else f"{text}."
    if len(facts.rows) > 2 and facts.settled():
        order = joined(facts.said(r.device) for r in facts.rows)
        return f"The order from longest to shortest runtime stands: {order}."
    return ""


def unfinished(facts: RunFacts) -> str:
    """Return that the record is not complete: devices whose end is not in it."""
    run = next(r for r in facts.results.session.runs if r.number == facts.run)
    lost = [r.device for r in facts.rows if r.status == "not_recorded"]
    if not lost:
        return ""
    names = joined(facts.name(d) for d in lost)
    if len(lost) == len(facts.rows) and len(lost) > 3:
        names = "any device"
    text = f"The record does not say when {names} powered off"
    if run.stop_min is None:
        return (
            f"{text}, nor that the session was stopped; if it goes on, this report is an interim "
            "one."
        )
    return f"{text}.".replace("\n", NO_BREAK)
