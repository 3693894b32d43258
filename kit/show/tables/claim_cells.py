"""Cells of the tables of sentences: the sentence, its margin, and the verdict in short."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.claims.words import minutes, told_apart
from kit.units import MISSING, NO_BREAK, estimate

if TYPE_CHECKING:
    from kit.show.cells import Row

__all__ = ["VERDICTS", "margin", "short_verdict", "statement"]

VERDICTS = {
    "supported": "supported",
    "not_supported": "not supported, the opposite holds",
    "tied": "tied",
    "cannot_be_said": "cannot be said",
}
_DECIMALS = {"pp": 1}
_MOST_DECIMALS = 2
_LONG_MIN = 60.0
"""A time from here on is told in hours and minutes."""


def statement(row: Row) -> str:
    """Return the sentence; one on drains by the display says so."""
    return f"{row.statement}, by the display" if row.measurand == "displayed" else row.statement


def _needs(row: Row) -> bool:
    """Return whether a margin is a lead and what is needed, not an interval.

    It is for kinds of device, and for means of which only the least lead is known.
    """
    known = not (math.isnan(row.lead) or math.isnan(row.needed))
    of_kinds = row.kind == "kind_of_device"
    return known and row.unit_symbol == "min" and (of_kinds or math.isnan(row.lead_high))


def _lead_and_need(row: Row) -> tuple[str, str]:
    """Return the lead and what is needed; a least lead that is none is told as none."""
    bound = math.isnan(row.lead_high)
    lead, needed = told_apart(row.lead, row.needed, at_least=bound)
    return ("no sure lead" if bound and row.lead <= 0.0 else lead), needed


def _times(row: Row) -> str:
    """Return a time with its bounds, in hours and minutes where one of them is an hour or more.

    A lead that is known to be above 0 does not read as 0: it has one more decimal. The ends of the
    interval are rounded outwards.
    """
    lead, low, high = (round(value, 6) for value in (row.lead, row.lead_low, row.lead_high))
    decimals = 0
    if row.verdict == "supported":
        while 0.0 < low < 10.0**-decimals and decimals < _MOST_DECIMALS:
            decimals += 1
        if math.isnan(high) and 0.0 <= low < 10.0**-decimals:
            return f"more than 0{NO_BREAK}min"
    step = 10.0**decimals
    if math.isnan(low) or max(abs(low), abs(high) if high == high else 0.0) < _LONG_MIN:
        if math.isnan(high) and low < 0.0:
            return f"from {minutes(math.floor(low * step) / step, decimals)} on"
        return estimate(lead, low, high, "min", decimals=decimals)
    least = minutes(math.floor(low * step) / step, decimals)
    if math.isnan(high):
        return f"from {least} on" if low < 0.0 else f"at least {least}"
    return (
        f"{minutes(lead, decimals)} ({least} to {minutes(math.ceil(high * step) / step, decimals)})"
    )


def margin(row: Row) -> str:
    """Return by how much: lead and interval, or lead and what is needed."""
    if _needs(row):
        lead, needed = _lead_and_need(row)
        return f"{lead}, {needed} needed"
    if row.unit_symbol == "min":
        return _times(row)
    decimals = _DECIMALS.get(row.unit_symbol)
    if decimals is not None and row.verdict == "supported":
        while 0.0 < row.lead_low < 10.0**-decimals and decimals < _MOST_DECIMALS:
            decimals += 1
    return estimate(row.lead, row.lead_low, row.lead_high, row.unit_symbol, decimals=decimals)


def short_verdict(row: Row, *, health: str = "") -> str:
    """Return verdict and margin in one cell, which a narrow screen can wrap.

    Parameters
    ----------
    row
        Of the frame of claims.
    health
        Said of the lead of two kinds, where battery health is allowed for in it.
    """
    verdict = VERDICTS.get(row.verdict, row.verdict)
    if _needs(row):
        lead, needed = _lead_and_need(row)
        if row.verdict == "supported":
            # what is needed is not told here, so whole minutes are enough
            told = (
                lead
                if math.isnan(row.lead_high) or row.unit_symbol != "min"
                else f"about {minutes(row.lead)}"
            )
            return f"{verdict}: {told}{f' {health}' if health else ''}"
        if row.verdict == "cannot_be_said":
            seen = f" {health}" if health else " seen" if row.lead > 0.0 else ""
            return f"{verdict} ({lead}{seen}, {needed} needed)"
    told = margin(row).replace(f"least{NO_BREAK}", "least ")
    return verdict if told == MISSING else f"{verdict}: {told}"
