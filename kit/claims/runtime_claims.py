"""Claims on runtimes in one run: figures, reason and a true sentence."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.claims.verdicts import CANNOT, NOT_SUPPORTED, SUPPORTED
from kit.claims.words import chance, span
from kit.units import duration, joined

if TYPE_CHECKING:
    from kit.claims.evidence import Evidence
    from kit.claims.verdicts import Claim
    from kit.claims.words import Speech

__all__ = ["Told", "tell_runtime"]


METHOD = (
    "bounds of the noted times: an order is claimed where they leave no other, so it needs no "
    "allowance for the number of pairs"
)


class Told(NamedTuple):
    """What a row of the claims table says beside the sentence and its verdict.

    ``lead`` with its bounds, and ``needed``, in ``unit``; NaN where there is none.
    """

    lead: float
    lead_low: float
    lead_high: float
    needed: float
    unit: str
    method: str
    reason: str
    wording: str


def _finite(value: float) -> float:
    return float(value) if math.isfinite(value) else math.nan


def _lead(evidence: Evidence, a: int, b: int) -> tuple[float, float, float]:
    """Return middle and bounds of the lead of a over b (min); NaN: no bound."""
    offs = evidence.offs
    low = _finite(offs.least_lead[a, b])
    high = _finite(-offs.least_lead[b, a])
    return (low + high) / 2.0, low, high


def _rivals(claim: Claim) -> list[int]:
    return [need.j for need in claim.needs]


def _closest(evidence: Evidence, claim: Claim) -> int:
    """Return the rival that is hardest to be ahead of."""
    p = evidence.p_longer[claim.a]
    offs = evidence.offs

    def key(j: int) -> tuple[float, float]:
        lead = offs.least_lead[claim.a, j]
        return (-1.0 if np.isnan(p[j]) else float(p[j]), float(lead) if lead == lead else -math.inf)

    return min(_rivals(claim), key=key)


def _unseen(speech: Speech, evidence: Evidence, a: int, b: int) -> str:
    """Return why a pair cannot be compared."""
    offs = evidence.offs
    charged = [speech.unlike.how_charged(k, evidence.run) for k in (a, b) if offs.charged[k]]
    if charged:
        names = [speech.name(k) for k in (a, b) if offs.charged[k]]
        return joined(f"{name} was {how}" for name, how in zip(names, charged, strict=True))
    for k in (a, b):
        if np.isnan(offs.low[k]):
            return f"nothing was recorded of when {speech.name(k)} powered off"
    if np.isinf(offs.high[a]) and np.isinf(offs.high[b]):
        if offs.status[a] == offs.status[b] == "still_on":
            return "both were still on when the session was stopped"
        return "of neither the power-off was recorded"
    lost = a if np.isinf(offs.high[a]) else b
    other = b if lost == a else a
    return (
        f"{speech.name(lost)} was last seen on before {speech.name(other)} powered off, and its "
        "own power-off was not recorded"
    )


def _how_far_on(evidence: Evidence, a: int, low: float, whom: str) -> str:
    """Return how a device that was not seen off outlasted others."""
    stopped = evidence.offs.status[a] == "still_on"
    seen = "still on when the session was stopped" if stopped else "last seen on"
    after = f"at least {duration(math.floor(low))} after" if low >= 1.0 else "after"
    return (
        f"it was {seen}, {after} {whom} powered off, and how much longer it would have run was "
        "not seen"
    )


def _overlap(p: float) -> str:
    """Return why a pair is open, with the probability that a would have run longer."""
    return (
        "their power-offs may fall into the same minutes (probability, if they are independent: "
        f"{chance(p)})"
    )


def _pair_words(
    speech: Speech, evidence: Evidence, a: int, b: int, verdict: str
) -> tuple[str, str]:
    """Return reason and wording for a pair; a is claimed to have run longer."""
    name_a, name_b = speech.name(a), speech.name(b)
    p = float(evidence.p_longer[a, b])
    _, low, high = _lead(evidence, a, b)
    if verdict == SUPPORTED:
        reason = "their power-offs do not overlap"
        if math.isnan(high):
            reason = f"it was seen on after {name_b} was off"
            told = _how_far_on(evidence, a, low, name_b)
            return reason, f"In this session {name_a} outlasted {name_b}: {told}."
        by = f"by {span(low, high)}" if low >= 1.0 else f"by at most {duration(math.ceil(high))}"
        return reason, f"In this session {name_a} outlasted {name_b}, {by}."
    if verdict == CANNOT:
        why = _unseen(speech, evidence, a, b)
        return why, f"Whether {name_a} or {name_b} lasted longer cannot be said: {why}."
    if math.isnan(low) or math.isnan(high):
        first, second = (a, b) if math.isnan(high) else (b, a)
        return (
            _overlap(p),
            f"{speech.name(first)} and {speech.name(second)} are too close to call: "
            f"{speech.name(first)} was last seen on in the minutes in which "
            f"{speech.name(second)} powered off.",
        )
    return (
        _overlap(p),
        f"{name_a} and {name_b} powered off too close together to call: the notes allow anything "
        f"from {duration(math.ceil(-low))} earlier to {duration(math.ceil(high))} later for "
        f"{name_a}.",
    )


def _of_several(speech: Speech, evidence: Evidence, claim: Claim, verdict: str) -> tuple[str, str]:
    a, name = claim.a, speech.name(claim.a)
    of_all = speech.of_all(claim)
    ahead = evidence.facts[claim.needs[0].table]
    rivals = _rivals(claim)
    if verdict == SUPPORTED:
        closest = _closest(evidence, claim)
        _, low, high = _lead(evidence, a, closest)
        reason = (
            f"its power-off overlaps with none of the others; closest to {speech.name(closest)}"
        )
        if math.isnan(high):
            reason = "it was seen on after " + (
                f"{speech.name(rivals[0])} was off"
                if len(rivals) == 1
                else f"all the others were off; closest to {speech.name(closest)}"
            )
            whom = speech.name(rivals[0]) if len(rivals) == 1 else "the last of the others"
            told = _how_far_on(evidence, a, low, whom)
            return reason, f"In this session {name} lasted longest {of_all}: {told}."
        whom = speech.name(rivals[0]) if len(rivals) == 1 else "any other"
        by = f", at least {duration(math.floor(low))} longer than {whom}" if low >= 1.0 else ""
        return reason, f"In this session {name} lasted longest {of_all}{by}."
    better = [j for j in rivals if ahead[j, a]]
    if better:
        reason = f"{speech.names(better)} lasted longer"
        return reason, f"In this session {speech.names(better)} outlasted {name}."
    if verdict == CANNOT:
        unseen = [j for j in rivals if not evidence.open_pairs[claim.needs[0].table][a, j]]
        unseen = [j for j in unseen if not ahead[a, j]]
        why = _unseen(speech, evidence, a, unseen[0])
        return why, f"Which lasted longest {of_all} cannot be said: {why}."
    close = [j for j in rivals if not ahead[a, j]]
    reason = f"too close to {speech.names(close)}"
    return (
        reason,
        f"{speech.names([a, *close])} powered off too close together to say which lasted longest "
        f"{of_all}.",
    )


def tell_runtime(speech: Speech, evidence: Evidence, claim: Claim, verdict: str) -> Told:
    """Return figures, reason and wording of a claim on runtimes.

    Parameters
    ----------
    speech
        Names to say.
    evidence
        The run.
    claim, verdict
        ``longest``, ``first_in_group`` or ``outlasted``, and its verdict.

    Examples
    --------
    a off between 300 and 304 min, b between 350 and 353: b lasted 350 − 304 = 46 to
    353 − 300 = 53 min longer, the middle of which is 49.5:

    >>> from kit.claims.evidence import evidence
    >>> from kit.claims.verdicts import Claim
    >>> from kit.claims.words import Speech
    >>> from kit.drain.phases import prepare
    >>> from kit.results import Settings
    >>> from kit.units import NO_BREAK
    >>> from tests.helpers.builders import make_session, seen
    >>> s = make_session(devices=["a", "b"], phases={"p1": 900}, start=None,
    ...     power_offs={"a": seen(300, 303), "b": seen(350, 352)})
    >>> told = tell_runtime(Speech.of(s), evidence(prepare(s), 0, Settings()),
    ...     Claim(code="outlasted", a=1, b=0), "supported")
    >>> told.lead, told.lead_low, told.lead_high, told.unit
    (49.5, 46.0, 53.0, 'min')
    >>> told.wording.replace(NO_BREAK, " ")
    'In this session b outlasted a, by 46 to 53 min.'
    """
    pair = claim.code == "outlasted"
    b = claim.b if pair else _closest(evidence, claim)
    lead, low, high = _lead(evidence, claim.a, b)
    if pair:
        if verdict == NOT_SUPPORTED:
            reason, wording = _pair_words(speech, evidence, b, claim.a, SUPPORTED)
            reason = f"the opposite holds: {reason}"
        else:
            reason, wording = _pair_words(speech, evidence, claim.a, b, verdict)
    else:
        reason, wording = _of_several(speech, evidence, claim, verdict)
    return Told(lead, low, high, math.nan, "min", METHOD, reason, wording)
