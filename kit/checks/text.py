"""How the checks write numbers, times and lists of ids: plain text with plain spaces."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.units import MINUS, NO_BREAK, joined
from kit.units import clock as clock_time
from kit.units import number as fixed

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

__all__ = ["clock", "h_min", "joined", "minutes", "number", "pct", "pp", "quoted"]


def number(value: float, decimals: int = 1) -> str:
    """Return ``value`` with at most ``decimals`` digits after the point.

    Examples
    --------
    >>> number(12.0), number(0.816), number(-2.5), number(-0.04)
    ('12', '0.8', '−2.5', '0')
    """
    text = fixed(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def pct(value: float) -> str:
    """Return a displayed percentage.

    Examples
    --------
    >>> pct(83.0), pct(83.5)
    ('83 %', '83.5 %')
    """
    return f"{number(value)} %"


def pp(value: float) -> str:
    """Return a difference of percentages.

    Examples
    --------
    >>> pp(2.0), pp(0.25)
    ('2 pp', '0.2 pp')
    """
    return f"{number(value)} pp"


def minutes(value: float) -> str:
    """Return a length of time in minutes.

    Examples
    --------
    >>> minutes(40.0), minutes(2.5)
    ('40 min', '2.5 min')
    """
    return f"{number(value)} min"


def h_min(value: float) -> str:
    """Return a long time as hours and minutes.

    Examples
    --------
    >>> h_min(555), h_min(59.6), h_min(-61)
    ('9 h 15 min', '1 h 0 min', '−1 h 1 min')
    """
    whole = round(abs(value))
    sign = MINUS if value < 0 and whole else ""
    return f"{sign}{whole // 60} h {whole % 60} min"


def quoted(ids: Iterable[str]) -> str:
    """Return ids in quotation marks as an enumeration.

    Examples
    --------
    >>> quoted(["a", "b", "c"])
    "'a', 'b' and 'c'"
    """
    return joined([f"'{name}'" for name in ids])


def clock(t_min: float, start: datetime | None) -> str:
    """Return the time of day of ``t_min``, or the elapsed time when no start was noted.

    Examples
    --------
    >>> from datetime import datetime
    >>> clock(363.0, datetime(2026, 5, 16, 8, 0)), clock(363.0, None)
    ('14:03', '6 h 3 min')
    >>> clock(970.0, datetime(2026, 5, 16, 8, 0))
    '00:10 (+1 d)'
    """
    return h_min(t_min) if start is None else clock_time(start, t_min).replace(NO_BREAK, " ")
