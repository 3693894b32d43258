"""Cells of the tables of sentences: the sentence, its margin, and the verdict in short."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.claims.words import told_apart
from kit.units import MISSING, NO_BREAK, estimate, number

if TYPE_CHECKING:
    from kit.show.cells import Row

__all__ = ["VERDICTS", "margin", "short_verdict", "statement"]

VERDICTS = {
    "supported": "supported",
    "not_supported": "not supported, the opposite holds",
    "tied": "tied",
    "cannot_be_said": "cannot be said",
}
_DECIMALS = {"min": 0, "pp": 1}
_MOST_DECIMALS = 2


def statement(row: Row) -> str:
    """Return the sentence; one on drains by the display says so."""
    return f"{row.statement}, by the display" if row.measurand == "displayed" else row.statement


def _seen_and_needed(row: Row) -> tuple[str, str] | None:
    """Return the lead seen and what is needed, ``None`` where the margin is an interval.

    It is none for kinds of device, and for means of which only the least lead is known.
    """
    known = not (math.isnan(row.lead) or math.isnan(row.needed))
    of_kinds = row.kind == "kind_of_device"
    if not known or row.unit_symbol != "min" or not (of_kinds or math.isnan(row.lead_high)):
        return None
    lead, needed = told_apart(row.lead, row.needed)
    return (f"at least {lead}" if math.isnan(row.lead_high) else lead), needed


def margin(row: Row) -> str:
    """Return by how much: lead and interval, or what was seen and what is needed.

    A lead that is known to be above 0 does not read as 0: it has one more decimal.
    """
    both = _seen_and_needed(row)
    if both is not None:
        return f"{both[0]}, {both[1]} needed"
    decimals = _DECIMALS.get(row.unit_symbol)
    one_sided = math.isnan(row.lead_high)
    if decimals is not None and row.verdict == "supported":
        while 0.0 < row.lead_low < 10.0**-decimals and decimals < _MOST_DECIMALS:
            decimals += 1
        if one_sided and 0.0 <= row.lead_low < 10.0**-decimals:
            return f"more than 0{NO_BREAK}{row.unit_symbol}"
    if one_sided and row.lead_low < 0:
        scale = 10.0 ** (decimals or 0)
        least = number(math.floor(row.lead_low * scale) / scale)
        return f"from {least}{NO_BREAK}{row.unit_symbol} on"
    return estimate(row.lead, row.lead_low, row.lead_high, row.unit_symbol, decimals=decimals)


def short_verdict(row: Row) -> str:
    """Return verdict and margin in one cell, which a narrow screen can wrap."""
    verdict = VERDICTS.get(row.verdict, row.verdict)
    both = _seen_and_needed(row)
    if both is not None and row.verdict == "cannot_be_said":
        return f"{verdict} ({both[0]} seen, {both[1]} needed)"
    told = margin(row).replace(f"least{NO_BREAK}", "least ")
    return verdict if told == MISSING else f"{verdict}: {told}"
