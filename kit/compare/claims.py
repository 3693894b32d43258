"""Sentences people want to say across sessions, with verdict, margin and a true wording."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from kit.claims.verdicts import CANNOT, NOT_SUPPORTED, SUPPORTED, TIED
from kit.compare.order import leading
from kit.compare.words import longer_words, to_percent
from kit.units import NO_BREAK, count, joined, number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.compare.changes import Change
    from kit.compare.field import Bounds
    from kit.compare.members import Member
    from kit.compare.order import Led, Standing
    from kit.compare.units import Unit

__all__ = ["LISTED", "PRINTED", "Said", "claims_of"]

PRINTED, LISTED = 1, 2
"""Priorities of a claim."""


@dataclass(frozen=True, kw_only=True)
class Said:
    """One sentence and what becomes of it.

    Parameters
    ----------
    code
        ``longer``, ``leads``, ``changed`` or ``changed_against_the_others``.
    statement, verdict, reason, wording
        What somebody may want to say; whether the record bears it out; why; what is true.
    lead_pct, low_pct, high_pct
        The difference and the interval that decides (%), NaN or infinite where open.
    priority
        1 is printed, 2 is in the full list only.
    """

    code: str
    statement: str
    verdict: str
    lead_pct: float
    low_pct: float
    high_pct: float
    method: str
    reason: str
    wording: str
    priority: int = 1


def _numbers(bounds: Bounds | None, sign: int = 1) -> tuple[float, float, float]:
    if bounds is None:
        return math.nan, math.nan, math.nan
    low, high = (bounds.low, bounds.high) if sign > 0 else (-bounds.high, -bounds.low)
    return to_percent(sign * bounds.difference), to_percent(low), to_percent(high)


def _ends(bounds: Bounds, sign: int) -> str:
    low, high = (bounds.low, bounds.high) if sign > 0 else (-bounds.high, -bounds.low)
    return longer_words(low, high)


def _room(bounds: Bounds) -> str:
    """Return the larger end of an interval that holds 0, in words."""
    ends = [abs(to_percent(v)) for v in (bounds.low, bounds.high) if math.isfinite(v)]
    return f"up to {number(math.ceil(max(ends)))}{NO_BREAK}% either way is open"


def _longer(standing: Standing, a: int, b: int, method: str, priority: int) -> Said:
    """Return the claim that entry a runs longer than entry b."""
    pair, sign = standing.pair(a, b)
    names = [standing.field.entries[k].name for k in (a, b)]
    statement = f"{names[0]} runs longer than {names[1]}"
    lead, low, high = _numbers(pair.family, sign)
    basis = pair.basis
    verdict, reason = pair.verdict, pair.ties.why or basis
    if pair.family is None or verdict == CANNOT:
        if not pair.ties.why:
            reason = "a runtime was not seen to its end, and its lower bound does not decide"
        wording = f"Which of {names[0]} and {names[1]} runs longer cannot be said: {reason}."
    elif pair.longer * sign > 0:
        wording = (
            f"Over these sessions, {names[0]} runs longer than {names[1]}, by "
            f"{_ends(pair.family, sign)} ({basis})."
        )
    elif pair.longer * sign < 0:
        verdict = NOT_SUPPORTED
        wording = (
            f"Over these sessions it is the other way round: {names[1]} runs longer than "
            f"{names[0]}, by {_ends(pair.family, -sign)} ({basis})."
        )
    else:
        wording = (
            f"{names[0]} and {names[1]} are too close to call over these sessions: "
            f"{_room(pair.family)} ({basis})."
        )
    return Said(
        code="longer", statement=statement, verdict=verdict, lead_pct=lead, low_pct=low,
        high_pct=high, method=method, reason=reason, wording=wording, priority=priority,
    )  # fmt: skip


def _leads(standing: Standing, league: int, method: str) -> Said | None:
    """Return the claim that the first of a group runs longest; ``None`` for a group of one."""
    lead = leading(standing, league)
    if not lead.rivals:
        return None
    entries = standing.field.entries
    name, level = entries[lead.entry].name, joined(entries[k].name for k in lead.level)
    of_all = f"of the {count(lead.rivals + 1, 'device')} that can be compared"
    start = of_all[0].upper() + of_all[1:]
    if lead.verdict == SUPPORTED:
        wording = f"{start}, {name} runs longest: longer than each of the others."
        reason = f"ahead of all {count(lead.rivals, 'other')}"
    elif lead.verdict == TIED:
        wording = (
            f"{start}, {name} has the longest runtime, but {level} "
            f"{'is' if len(lead.level) == 1 else 'are'} too close to call."
        )
        reason = f"not separated from {level}"
    else:
        wording = (
            f"{start}, it cannot be said which runs longest: {name} cannot be told from {level}, "
            "and not every runtime was seen to its end."
        )
        reason = f"not every runtime was seen to its end ({name}, {level})"
    return Said(
        code="leads", statement=f"{name} runs longest {of_all}", verdict=lead.verdict,
        lead_pct=math.nan, low_pct=math.nan, high_pct=math.nan, method=method, reason=reason,
        wording=wording,
    )  # fmt: skip


def _changed(
    members: Sequence[Member], units: Sequence[Unit], change: Change, rows: int, priority: int
) -> Said:
    """Return the claim that a device runs longer or shorter than before."""
    name = units[change.unit].name
    early, late = (members[p.member].said for p in (change.before, change.after))
    against = change.way == "against_the_others"
    sign = change.longer
    if not sign:
        bounds = change.alone
        middle = 0.0 if bounds is None else bounds.difference
        sign = 1 if middle > 0.0 else -1
    what = "longer" if sign > 0 else "shorter"
    others = f", measured against {joined(change.controls)}" if change.controls else ""
    tail = (others or ", measured against the others") if against else ""
    statement = f"{name} ran {what} in {late} than in {early}{tail}"
    lead, low, high = _numbers(change.family)
    basis = (
        "the change less that of the others, which drops what the day did to all"
        if against
        else "against the scatter assumed from day to day"
    )
    unlike = ", ".join(dict.fromkeys(c.label.lower() for c in change.differs))
    also = f" Recorded as different: {unlike}." if unlike else ""
    if change.verdict == SUPPORTED and change.family is not None:
        size = (
            _shorter(change.family)
            if sign < 0
            else longer_words(change.family.low, change.family.high)
        )
        wording = f"{name} ran {what} in {late} than in {early}{tail}, by {size}.{also}"
        if not against:
            wording += " Whether that was the device or the day, this alone does not tell."
    elif change.verdict == TIED and change.family is not None:
        wording = (
            f"{name} in {late} cannot be told from {name} in {early}{tail}: "
            f"{_room(change.family)}.{also}"
        )
    else:
        aside = f"{tail}," if tail else ""
        wording = (
            f"Whether {name} changed from {early} to {late}{aside} cannot be said: {change.why}."
        )
    return Said(
        code="changed_against_the_others" if against else "changed",
        statement=statement,
        verdict=change.verdict,
        lead_pct=lead,
        low_pct=low,
        high_pct=high,
        method=f"t interval, {count(rows, 'return')} together (Bonferroni)"
        if rows > 1
        else "t interval of one return",
        reason=change.why or basis,
        wording=wording,
        priority=priority,
    )


def _shorter(bounds: Bounds) -> str:
    """Return by how much a later runtime is shorter, as per cent of the earlier one."""
    least, most = -to_percent(bounds.high), -to_percent(bounds.low)
    first = number(math.floor(least * 10.0 + 1e-9) / 10.0, 1)
    if math.isinf(most):
        return f"at least {first}{NO_BREAK}%"
    return f"{first}{NO_BREAK}% to {number(math.ceil(most * 10.0 - 1e-9) / 10.0, 1)}{NO_BREAK}%"


def claims_of(
    members: Sequence[Member],
    units: Sequence[Unit],
    standing: Standing,
    led: Sequence[Led],
    changes: Sequence[Change],
) -> tuple[Said, ...]:
    """Return the claims of a comparison, most urgent first.

    Parameters
    ----------
    members, units, standing, led, changes
        What the comparison found.

    Returns
    -------
    tuple of Said
        Who leads each group; whoever led before the last session, and whoever leads now,
        against every other; neighbours in the order; what became of each device that returned.
    """
    compared = sum(
        standing.field.contrasts(p.a, p.b) for p in standing.pairs if p.ties.tie != "apart"
    )
    method = f"t intervals, {count(compared, 'comparison')} together (Bonferroni)"
    leagues = list(dict.fromkeys(p.league for p in standing.places))
    leads = [_leads(standing, league, method) for league in leagues]
    found = [claim for claim in leads if claim is not None]
    asked: set[frozenset[int]] = set()
    entries = standing.field.entries
    newest = len(members) - 1
    # whoever led before the last session, then whoever leads now, against every other
    for name in dict.fromkeys((led[-2].leader, led[-1].leader)):
        for champion in [k for k, e in enumerate(entries) if e.name == name]:
            for rival in [p.entry for p in standing.places if p.entry != champion]:
                if frozenset((champion, rival)) in asked:
                    continue
                asked.add(frozenset((champion, rival)))
                apart = standing.pair(champion, rival)[0].ties.tie == "apart"
                fresh = any(p.member == newest for p in entries[rival].appearances)
                urgent = not apart or (fresh and name == led[-2].leader)
                if entries[rival].unit == entries[champion].unit:
                    urgent = False  # the same device changed: the table of changes says it
                found.append(
                    _longer(standing, champion, rival, method, PRINTED if urgent else LISTED)
                )
    for one, two in pairwise(standing.places):
        if one.league == two.league and frozenset((one.entry, two.entry)) not in asked:
            found.append(_longer(standing, one.entry, two.entry, method, PRINTED))
    latest = {change.unit: change.after for change in changes}
    for change in changes:
        # ties of earlier returns stand in the table of changes
        urgent = change.verdict == SUPPORTED or (
            change.after == latest[change.unit] and _is_next(units[change.unit], change)
        )
        found.append(
            _changed(members, units, change, len(changes) // 2, PRINTED if urgent else LISTED)
        )
    return tuple(found)


def _is_next(unit: Unit, change: Change) -> bool:
    """Whether a change is from one appearance to the next."""
    return (change.before, change.after) in pairwise(unit.appearances)
