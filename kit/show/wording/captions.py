"""Captions that depend on what a figure holds."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.show.cells import run_words
from kit.units import joined, number, quantity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.results import Results
    from kit.show.figures.charge import ChargeView
    from kit.show.reading_ranges import ReadingRanges

__all__ = ["caption_charge", "range_words"]


def range_words(readings: ReadingRanges, row: int) -> str:
    """Return the percentage of a reading and what it can stand for, ``7 % (6 to 8)``."""
    decimals = 0 if float(readings.step[readings.device[row]]) >= 1.0 else 1
    ends = [float(v) for v in (readings.low[row], readings.high[row])]
    halves = any(not v.is_integer() for v in ends) or decimals
    low, high = (number(v, 1 if halves else 0) for v in ends)
    soc = quantity(float(readings.soc[row]), "%", decimals)
    return soc if low == high else f"{soc} ({low} to {high})"


def caption_charge(results: Results, view: ChargeView) -> str:
    """Return what the bars, bands, boxes and arrows of the figure of the charge are."""
    return " ".join(_charge(results, view))


def _charge(results: Results, view: ChargeView) -> Iterator[str]:
    yield f"Displayed state of charge over time{run_words(results, view.run)}."
    what = "the charge that the number shown can stand for"
    if view.has_bars:
        band = "; pale band: the same for readings close together" if view.has_bands else ""
        yield f"Upright bar: {what}, {_rounding(results)}{band}."
    elif view.has_bands:
        yield f"Pale band: {what}, {_rounding(results)}."
    if view.has_bars or view.has_bands:
        full = " 100 % at the start counts as full." if view.starts_full else ""
        yield f"The gauge\u2019s own error is not in it.{full}"
    if view.has_across:
        yield "Level bar: when it was read."
    elif view.longest_min > 0.0:
        within = quantity(math.ceil(view.longest_min), "min")
        yield f"Each was read within {within}, too little to be seen here."
    if view.off:
        what = "Box with a cross: powered off, from last seen on to first seen off"
        yield f"{what}; {_left(results, view)}."
    if view.open:
        unread = any(end.last_on_min > end.last_t for end in view.open)
        dashed = "; dashed: on, but not read" if unread else ""
        yield f"Arrow: not seen off{dashed}."
    yield "Shaded: the numbered phases. Longest-lasting first."


def _rounding(results: Results) -> str:
    """Return by what the range of a reading is taken."""
    known = [d.gauge.rounding != "unknown" for d in results.session.devices]
    either = "one step of the display either way"
    if not any(known):
        return f"{either}, since how it rounds was not recorded"
    if all(known):
        return "by the step of the display and how it rounds"
    return f"by how the display rounds, {either} where that was not recorded"


def _left(results: Results, view: ChargeView) -> str:
    most = quantity(results.session.assumptions.off_pct_max, "%", 0)
    words = [
        *(["what was last shown"] if any(box.noted for box in view.off) else []),
        *([f"{most} where nothing was noted"] if any(not box.noted for box in view.off) else []),
    ]
    return f"upright, 0 to {joined(words, 'or')}"
