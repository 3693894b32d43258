"""Runtimes as they are shown: longest first, bounds rounded outwards, open ends said."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from kit.runtime.runtimes import CHARGED
from kit.units import MISSING, NO_BREAK, h_mm

if TYPE_CHECKING:
    from collections.abc import Iterable

    import pandas as pd

__all__ = ["bounds_min", "by_order", "off_known", "runtime_bounds", "runtime_words", "was_charged"]

MIN_PER_H = 60.0
_SLACK = 1e-6
"""Minutes: a bound this close to a whole minute is that minute."""

Row = Any
"""One row of the frame ``runtimes``, as ``DataFrame.itertuples`` gives it."""


def off_known(row: Row) -> bool:
    """Return whether the power-off itself was seen."""
    return not row.right_censored and not math.isnan(row.runtime_h_low)


def was_charged(row: Row) -> bool:
    """Return whether the device was charged during the run: a runtime compared with no other."""
    return str(row.basis).endswith(CHARGED)


def by_order(runtimes: pd.DataFrame) -> list[Row]:
    """Return rows of runtimes from longest to shortest; ties by bound, unknown ones last."""

    def key(row: Row) -> tuple[bool, float, float, float]:
        unknown = math.isnan(row.runtime_h_low)
        low = 0.0 if unknown else row.runtime_h_low
        return (unknown, _rank(row.rank_best), _rank(row.rank_worst), -low)

    items: Iterable[Row] = runtimes.itertuples(index=False)
    return sorted(items, key=key)


def _rank(value: float) -> float:
    return math.inf if math.isnan(value) else value


def bounds_min(row: Row) -> tuple[float, float]:
    """Return the bounds of a runtime in whole minutes, rounded outwards; inf = open end."""
    low = float(math.floor(row.runtime_h_low * MIN_PER_H + _SLACK))
    if row.right_censored or math.isnan(row.runtime_h_high):
        return low, math.inf
    return low, float(math.ceil(row.runtime_h_high * MIN_PER_H - _SLACK))


def runtime_words(row: Row) -> str:
    """Return ``7:29``, ``> 8:30`` for a device not seen off, or a dash."""
    if math.isnan(row.runtime_h_low):
        return MISSING
    if row.right_censored:
        return f">{NO_BREAK}{h_mm(bounds_min(row)[0])}"
    return h_mm(row.runtime_h * MIN_PER_H)


def runtime_bounds(row: Row) -> str:
    """Return ``7:28 to 7:30`` or ``at least 8:30``."""
    if math.isnan(row.runtime_h_low):
        return MISSING
    low, high = bounds_min(row)
    if math.isinf(high):
        return f"at least{NO_BREAK}{h_mm(low)}"
    return f"{h_mm(low)} to {h_mm(high)}"
