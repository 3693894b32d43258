"""Differences of runtimes in words: per cent, rounded outwards, open ends said."""

from __future__ import annotations

import math

from kit.units import MINUS, NO_BREAK, interval, number

__all__ = ["longer_words", "ratio_cell", "to_percent"]


def to_percent(log_ratio: float) -> float:
    """Return a difference of logarithms as per cent of the second; ends stay open.

    Examples
    --------
    >>> round(to_percent(0.0953), 1), to_percent(float("-inf")), to_percent(float("inf"))
    (10.0, -inf, inf)
    """
    if math.isinf(log_ratio):
        return log_ratio
    return math.expm1(log_ratio) * 100.0


def ratio_cell(difference: float, low: float, high: float) -> str:
    """Return ``+8.2 (+2.1 to +14.7)``, or ``at least +2.1``: per cent, signs always said.

    Parameters
    ----------
    difference, low, high
        In ln(runtime); NaN and infinite where there is none.

    Examples
    --------
    ln 1.10 = 0.0953, ln 1.02 = 0.0198, ln 1.20 = 0.1823.

    >>> ratio_cell(0.0953, 0.0198, 0.1824).replace(NO_BREAK, " ")
    '+10.0 (+1.9 to +20.1)'
    >>> ratio_cell(float("nan"), 0.0199, float("inf")).replace(NO_BREAK, " ")
    'at least +2.0'
    """
    a, b = to_percent(low), to_percent(high)
    if math.isinf(a) and math.isinf(b):
        return "open"
    if math.isinf(a) or math.isinf(b):
        text = interval(a, b, decimals=1)
        head, _, value = text.rpartition(NO_BREAK)
        return f"{head}{NO_BREAK}{_sign(value)}"
    ends = " to ".join(_sign(part) for part in interval(a, b, decimals=1).split(" to "))
    if math.isnan(difference):
        return ends
    return f"{_sign(number(to_percent(difference), 1))} ({ends})"


def _sign(text: str) -> str:
    if text.startswith(MINUS) or not text.strip("0."):
        return text
    return f"+{text}"


def longer_words(low: float, high: float) -> str:
    """Return by how much one runs longer, in words: ``2.0 % to 20.0 %``, ``at least 2.0 %``.

    Parameters
    ----------
    low, high
        In ln(runtime), ``low`` above 0.

    Examples
    --------
    >>> longer_words(0.0199, 0.1823).replace(NO_BREAK, " ")
    '2.0 % to 20.0 %'
    """
    a, b = to_percent(low), to_percent(high)
    first = number(math.floor(a * 10.0 + 1e-9) / 10.0, 1)
    if math.isinf(b):
        return f"at least {first}{NO_BREAK}%"
    return f"{first}{NO_BREAK}% to {number(math.ceil(b * 10.0 - 1e-9) / 10.0, 1)}{NO_BREAK}%"
