"""Claims on kinds of device in words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.claims.runtime_claims import Told
from kit.claims.words import told_apart
from kit.labels import full_name
from kit.units import count, joined

if TYPE_CHECKING:
    from kit.claims.kinds import Kind
    from kit.claims.kinds_compared import KindPair
    from kit.claims.words import Speech

__all__ = ["EQUAL_HEALTH", "kind_statement", "tell_kinds"]

EQUAL_HEALTH = "at equal battery health"
"""Said of a lead between runtimes that are referred to batteries of rated capacity."""


def _kind_name(speech: Speech, kind: Kind, *, second: bool = False) -> str:
    """Return ``the model X``, or ``a device like Y`` (``one like Y``) where there is no model."""
    model = speech.session.devices[kind.devices[0]].model
    if model:
        return f"the model {full_name(model, model)}"
    return f"{'one' if second else 'a device'} like {speech.name(kind.devices[0])}"


def kind_statement(speech: Speech, pair: KindPair) -> str:
    """Return the sentence that somebody may want to say of two kinds."""
    first = _kind_name(speech, pair.a)
    second = _kind_name(speech, pair.b, second=True)
    return f"{first[0].upper()}{first[1:]} lasts longer than {second}"


def _basis(pair: KindPair) -> str:
    measured = [pair.a.measured, pair.b.measured]
    if measured[0] == measured[1]:
        rests = f"each from {measured[0]}"
    else:
        rests = f"from {measured[0]} against {measured[1]}"
    return f"{rests}; assumed: {joined(pair.assumed)}" if pair.assumed else rests


def _why(speech: Speech, pair: KindPair) -> str:
    differ = speech.different_settings(pair.a.devices[0], pair.b.devices[0])
    return {
        "no_runtime": "no runtime of one of them was recorded",
        "charged": "one of them was charged during a run",
        "open_end": "the shorter runtime was not seen to its end",
        "settings": f"they ran under different settings ({differ})",
        "start": "they did not start from the same charge",
    }[pair.barred]


def tell_kinds(speech: Speech, pair: KindPair) -> tuple[str, Told]:
    """Return verdict, and figures, reason and wording, of a pair of kinds."""
    a, b = _kind_name(speech, pair.a), _kind_name(speech, pair.b, second=True)
    if pair.comparisons == 1:
        method = f"t interval of the one {'declared ' if pair.declared else ''}pair"
    else:
        method = f"t intervals over {count(pair.comparisons, 'pair')} (Bonferroni)"
    if pair.barred:
        why = _why(speech, pair)
        wording = f"Whether {a} or {b} generally lasts longer cannot be said: {why}."
        told = Told(math.nan, math.nan, math.nan, math.nan, "min", method, why, wording)
        return pair.verdict, told
    difference, needed = pair.difference_min, pair.needed_min
    low = difference - needed
    high = math.nan if pair.a.at_least else difference + needed
    health = f" {EQUAL_HEALTH}" if pair.scaled else ""
    if_so = (
        ", if units and days differ as is assumed here"
        if any("scatter" in words for words in pair.assumed)
        else ""
    )
    lead, bar = told_apart(difference, needed, at_least=pair.a.at_least)
    if pair.a.at_least and difference <= 0.0:
        reason = f"no lead is sure{health}, {bar} needed; {_basis(pair)}"
        wording = (
            f"This record does not show that {a} generally lasts longer than {b}: "
            f"not even in this session is it sure to be ahead{health}."
        )
        return pair.verdict, Told(difference, low, high, needed, "min", method, reason, wording)
    reason = f"{lead} apart{health}, {bar} needed; {_basis(pair)}"
    if pair.supported:
        wording = (
            f"On this record, {a} can be expected to last longer than {b}, not only these units on "
            f"this day: the difference of {lead}{health} is more than another unit or another day "
            f"would change ({bar}){if_so}."
        )
        return pair.verdict, Told(difference, low, high, needed, "min", method, reason, wording)
    wording = (
        f"This record does not show that {a} generally lasts longer than {b}: the difference of "
        f"{lead}{health} is no more than another unit or another day may change ({bar}){if_so}."
    )
    return pair.verdict, Told(difference, low, high, needed, "min", method, reason, wording)
