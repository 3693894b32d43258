"""Claims on drains and standings in one run: figures, reason and a true sentence."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.claims.runtime_claims import Told
from kit.claims.verdicts import CANNOT, NOT_SUPPORTED, SUPPORTED
from kit.claims.words import points
from kit.drain.phases import MEASURANDS
from kit.units import NO_BREAK, count, joined, number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.claims.evidence import Evidence
    from kit.claims.pair_tables import PairTable
    from kit.claims.verdicts import Claim, Need
    from kit.claims.words import Speech

__all__ = ["tell_levels", "weakest_pairs"]

_OF_DRAINS = ("drained_least", "drained_less", "least_doing", "gained")
"""Codes of claims on drains; the others are on standings."""

DISPLAYED = MEASURANDS[0]

_MORE_IS_KNOWN_PP = 0.3
"""What was shown and what is known differ by so much that a sentence says both (pp; assumption)."""


@lru_cache(maxsize=1024)
def _method(comparisons: int) -> str:
    family = count(comparisons, "comparison")
    return (
        f"table rule over {family} (Bonferroni), with the hard bound of what the displays round off"
    )


@lru_cache(maxsize=1024)
def _declared_method(comparisons: int) -> str:
    family = count(comparisons, "comparison")
    return (
        f"rule of the pair declared beforehand, over its own {family} (Bonferroni): its drains in "
        "every phase, by the display and by the charge, and what is left after every phase"
    )


def _pct(value: float) -> str:
    whole = float(value)
    return f"{number(whole) if whole.is_integer() else number(value, 1)}{NO_BREAK}%"


class _Pair(NamedTuple):
    """One comparison, turned so that a positive lead speaks for the claim."""

    need: Need
    lead: float
    margin: float
    compared: bool
    known: bool

    @property
    def apart(self) -> str:
        lead, margin = number(abs(self.lead), 1), number(self.margin, 1)
        if lead == margin:
            lead, margin = number(abs(self.lead), 2), number(self.margin, 2)
        asked = "needed" if abs(self.lead) > self.margin else "would be needed"
        joint = "," if asked == "needed" else ";"
        return f"{lead}{NO_BREAK}pp apart{joint} {margin}{NO_BREAK}pp {asked}"


def weakest_pairs(evidence: Evidence, claims: Sequence[Claim]) -> list[_Pair]:
    """Return of each claim the comparison whose lead exceeds its margin least.

    Parameters
    ----------
    evidence
        The run.
    claims
        On drains or standings. A comparison that is none comes first, one that is decided without
        a figure last.
    """
    found: list[_Pair | None] = [None] * len(claims)
    asked: dict[tuple[bool, str, bool], list[int]] = {}
    for k, claim in enumerate(claims):
        doing = claim.code == "least_doing" and evidence.doing is not None
        asked.setdefault((claim.code in _OF_DRAINS, claim.measurand, doing), []).append(k)
    for (drains, measurand, doing), places in asked.items():
        table = _table(evidence, measurand, drains=drains, doing=doing)
        needs = [need for k in places for need in claims[k].needs]
        at = tuple(np.array([(need.phase, need.i, need.j) for need in needs]).T)
        # a smaller drain speaks for the claim, a higher level does
        lead = table.difference[at] if not drains else -table.difference[at]
        margin, compared, known = table.margin[at], table.compared[at], table.known[at]
        spare = np.where(known, np.inf, np.where(compared, lead - margin, -np.inf)).tolist()
        rows = list(zip(lead.tolist(), margin.tolist(), compared.tolist(), known.tolist(),
                        strict=True))  # fmt: skip
        begin = 0
        for k in places:
            end = begin + len(claims[k].needs)
            least = min(range(begin, end), key=spare.__getitem__)
            found[k] = _Pair(needs[least], *rows[least])
            begin = end
    return [pair for pair in found if pair is not None]


def _table(evidence: Evidence, measurand: str, *, drains: bool, doing: bool) -> PairTable:
    """Return the comparisons that a claim rests on."""
    if doing and evidence.doing is not None:
        return evidence.doing
    return (evidence.drains if drains else evidence.levels)[measurand]


_WHY_LEFT_OUT = {
    "died": "powered off",
    "saver": "may have been saving power",
    "charged": "charged",
    "saturated": "still at 100 %",
    "start_saturated": "at 100 % until then",
    "hold_too_long": "at 100 % until then",
    "rises": "the display rose",
}
"""Flags that keep a device out of comparisons, in a few words; first come, first told."""


def _family(evidence: Evidence, claim: Claim) -> int:
    """Return the number of comparisons that the margin of a claim allows for."""
    doing = claim.code == "least_doing"
    table = _table(evidence, claim.measurand, drains=claim.code in _OF_DRAINS, doing=doing)
    return int(table.comparisons)


def _left_out(speech: Speech, evidence: Evidence, claim: Claim) -> str:
    """Return who was on and is not compared, and why; nothing if everybody is."""
    if not claim.left_out:
        return ""
    phases, else_why = [claim.phase_from], "no drain to compare"
    if claim.code == "least_doing":
        stretch = evidence.stretches[claim.needs[0].phase]
        phases = list(stretch.phases)
        if stretch.half:
            else_why = "did something else then"
    told = []
    for k in claim.left_out:
        barred = (w for code, w in _WHY_LEFT_OUT.items() if evidence.barred[code][k, phases].any())
        told.append(f"{speech.name(k)} ({next(barred, else_why)})")
    return f" Not compared: {joined(told)}."


def _drain_words(
    speech: Speech, evidence: Evidence, claim: Claim, verdict: str, weakest: _Pair
) -> tuple[str, str]:
    m = claim.measurand
    a, first = claim.a, claim.needs[0]
    if claim.code == "least_doing":
        where, drain = f"the time spent {speech.doing(claim)}", evidence.doing_pp[:, first.phase]
    else:
        where = speech.in_phase(claim.phase_from)
        drain = evidence.drain_pp[m][:, first.phase]
    shown = m == DISPLAYED
    facts = evidence.facts[first.table][first.phase]
    others = [need.j for need in claim.needs]
    less = [j for j in others if facts[j, a]]
    close = [j for j in others if not facts[a, j] and not facts[j, a]]
    if verdict == SUPPORTED:
        rival = weakest.need.j
        fell = f"about {points(drain[a], 1)}"
        reason = f"against {speech.name(rival)}: {weakest.apart}"
        whom = speech.name(others[0]) if len(others) == 1 else "any other"
        if claim.left_out and len(others) > 1:
            whom = f"any other of those that can be compared ({speech.names(claim.members)})"
        tail = _left_out(speech, evidence, claim)
        if shown:
            return reason, (
                f"In {where}, the display of {speech.name(a)} fell less than that of {whom}: "
                f"{fell}, against {points(drain[rival], 1)} for {speech.name(rival)}.{tail}"
            )
        return reason, (
            f"In {where}, {speech.name(a)} used a smaller share of its charge than {whom}, even "
            f"with what the gauges may be wrong counted: {fell}, against "
            f"{points(drain[rival], 1)} for {speech.name(rival)}.{tail}"
        )
    if verdict == NOT_SUPPORTED:
        reason = f"the opposite holds for {speech.names(less)}"
        return reason, f"In {where}, {speech.names(less)} drained less than {speech.name(a)}."
    if verdict == CANNOT:
        reason = f"no comparable drains of {speech.names([a, *close])}"
        return reason, (
            f"Who drained least in {where} cannot be said: some drains are missing or may not be "
            "compared."
        )
    reason = f"against {speech.name(weakest.need.j)}: {weakest.apart}"
    what = (
        "their displays fell by too nearly the same"
        if shown
        else "with what the gauges may be wrong counted, their shares of charge used are too near"
    )
    return reason, (f"In {where}, {speech.names([a, *close])} are too close to call: {what}.")


def _led_words(
    speech: Speech, evidence: Evidence, claim: Claim, verdict: str, weakest: _Pair
) -> tuple[str, str]:
    name = speech.name(claim.a)
    first, last = claim.phase_from, claim.phase_to
    facts = evidence.facts[claim.needs[0].table]
    when = (
        f"after {speech.in_phase(first)}"
        if first == last
        else f"after every phase from {speech.number(first)} to {speech.number(last)}"
    )
    if verdict == SUPPORTED:
        rival = speech.name(weakest.need.j)
        reason = (
            "every rival was off"
            if weakest.known
            else f"least after phase {speech.number(weakest.need.phase)}, against {rival}: "
            f"{weakest.apart}"
        )
        among = speech.among(claim)
        other = "any other of these" if among else "every other"
        return reason, f"{among}{name} led {when}: its display stood higher than {other}."
    against = sorted({need.phase for need in claim.needs if facts[need.reverse]})
    if against:
        listed = joined(str(speech.number(p)) for p in against)
        reason = f"another was ahead after phase {listed}"
        return reason, f"{name} did not lead {when}: {reason}."
    unread = {need.j for need in claim.needs if evidence.unread[need.j, need.phase]
              and not facts[need.place]}  # fmt: skip
    if verdict == CANNOT:
        gaps = {need.phase for need in claim.needs if need.j in unread and not facts[need.place]}
        listed = joined(str(speech.number(p)) for p in sorted(gaps))
        names = speech.names(sorted(unread))
        reason = f"{names} {'were' if len(unread) > 1 else 'was'} not read after phase {listed}"
        return reason, (
            f"Whether {name} led {when} cannot be said: {reason}, and may have stood higher."
        )
    weak = sorted({need.phase for need in claim.needs if not facts[need.place]})
    listed = joined(str(speech.number(p)) for p in weak)
    reason = f"too close after phase {listed}"
    return reason, (
        f"{name} showed the highest percentage {when}, but after phase {listed} another display "
        "was too close to speak of a lead."
    )


def _tie_words(
    speech: Speech, evidence: Evidence, claim: Claim, verdict: str, pair: _Pair
) -> tuple[str, str]:
    phase = claim.phase_from
    level = evidence.level_pct[:, phase]
    names = f"{speech.name(claim.a)} and {speech.name(claim.b)}"
    shown = f"{_pct(level[claim.a])} and {_pct(level[claim.b])} shown"
    if abs(abs(level[claim.a] - level[claim.b]) - abs(pair.lead)) >= _MORE_IS_KNOWN_PP:
        shown += (
            f", {number(abs(pair.lead), 1)}{NO_BREAK}pp apart by the moments at which the displays "
            "were read or changed"
        )
    after = f"After {speech.in_phase(phase)}"
    if verdict == NOT_SUPPORTED:
        ahead, behind = (claim.a, claim.b) if pair.lead > 0 else (claim.b, claim.a)
        return pair.apart, (
            f"{after}, {speech.name(ahead)} was ahead of {speech.name(behind)}: {shown}."
        )
    return pair.apart, f"{after}, {names} were too close to call: {shown}."


def _ahead_words(
    speech: Speech, evidence: Evidence, claim: Claim, verdict: str, pair: _Pair
) -> tuple[str, str]:
    level = evidence.level_pct[:, claim.phase_from]
    a, b = speech.name(claim.a), speech.name(claim.b)
    shown = f"{_pct(level[claim.a])} and {_pct(level[claim.b])} shown"
    after = f"After {speech.in_phase(claim.phase_from)}"
    if verdict == SUPPORTED:
        return pair.apart, f"{after}, {a} was ahead of {b}: {shown}."
    if verdict == NOT_SUPPORTED:
        return pair.apart, f"{after}, {b} was ahead of {a}, though with {shown}."
    return pair.apart, f"{after}, {a} and {b} were too close to call: {shown}."


def _gain_words(speech: Speech, claim: Claim, verdict: str, pair: _Pair) -> tuple[str, str]:
    a, b = speech.name(claim.a), speech.name(claim.b)
    where = speech.in_phase(claim.phase_from)
    if verdict == SUPPORTED:
        return pair.apart, (
            f"In {where}, {a} gained on {b}: its display fell {points(pair.lead, 1)} less."
        )
    if verdict == NOT_SUPPORTED:
        return pair.apart, f"In {where}, {b} gained on {a}."
    return pair.apart, (
        f"In {where}, the displays of {a} and {b} fell by too nearly the same to say that either "
        "gained on the other."
    )


def tell_levels(
    speech: Speech,
    evidence: Evidence,
    claim: Claim,
    verdict: str,
    *,
    weakest: _Pair | None = None,
) -> Told:
    """Return figures, reason and wording of a claim on drains or standings.

    Parameters
    ----------
    speech
        Names to say.
    evidence
        The run.
    claim, verdict
        Any claim but those on runtimes, and its verdict.
    weakest
        From `weakest_pairs`, if it was found already.
    """
    if weakest is None:
        weakest = weakest_pairs(evidence, [claim])[0]
    if claim.code in ("drained_least", "drained_less", "least_doing"):
        reason, wording = _drain_words(speech, evidence, claim, verdict, weakest)
    elif claim.code == "led":
        reason, wording = _led_words(speech, evidence, claim, verdict, weakest)
    elif claim.code == "tied_after":
        reason, wording = _tie_words(speech, evidence, claim, verdict, weakest)
    elif claim.code == "ahead_after":
        reason, wording = _ahead_words(speech, evidence, claim, verdict, weakest)
    else:
        reason, wording = _gain_words(speech, claim, verdict, weakest)
    known = weakest.known or not weakest.compared or verdict == CANNOT
    lead, margin = (np.nan, np.nan) if known else (weakest.lead, weakest.margin)
    declared = evidence.declared
    chosen = declared is not None and declared.is_pair(weakest.need.i, weakest.need.j)
    chosen &= claim.code != "least_doing"
    method = (
        _declared_method(declared.comparisons)
        if declared is not None and chosen
        else _method(_family(evidence, claim))
    )
    return Told(lead, lead - margin, lead + margin, margin, "pp", method, reason, wording)
