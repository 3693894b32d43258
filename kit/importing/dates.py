"""What a cell says of a date; whether 03/04 is March or April is not in the cell."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Literal

from kit.importing.percent import cleaned
from kit.read.clock import parse_date

if TYPE_CHECKING:
    from collections.abc import Iterable

    from kit.importing.grid import Value

__all__ = ["DateOrder", "ReadDate", "date_order", "read_date"]

DateOrder = Literal["day_first", "month_first", "unknown"]

PARTED = re.compile(
    r"(?P<a>[0-9]{1,2})(?P<mark>[./-])(?P<b>[0-9]{1,2})(?P=mark)(?P<y>[0-9]{4}|[0-9]{2})"
)
YEAR_FIRST = re.compile(r"([0-9]{4})[./]([0-9]{1,2})[./]([0-9]{1,2})")
WORDED = re.compile(
    r"(?:[A-Za-z]{3,9},? )?(?:(?P<d>[0-9]{1,2})(?:st|nd|rd|th)?[ -.]+(?P<m>[A-Za-z]{3,9})|"
    r"(?P<m2>[A-Za-z]{3,9})\.? (?P<d2>[0-9]{1,2})(?:st|nd|rd|th)?),?[ -]+(?P<y>[0-9]{4})"
)
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
SERIALS = (20_000.0, 80_000.0)
"""Day numbers of the years 1954 to 2119; other numbers are no dates of a session."""


@dataclass(frozen=True)
class ReadDate:
    """A date, and whether day and month could be either way round."""

    day: date
    is_open: bool = False
    is_serial: bool = False


def read_date(
    value: Value, order: DateOrder = "unknown", *, serials_1904: bool = False
) -> ReadDate | None:
    """Return the date of a cell; ``None`` if it is none.

    Examples
    --------
    >>> read_date("16.05.2026").day, read_date("5/16/2026").day, read_date("16 May 2026").day
    (datetime.date(2026, 5, 16), datetime.date(2026, 5, 16), datetime.date(2026, 5, 16))
    >>> read_date("03/04/2026").is_open, read_date("03/04/2026", "day_first").day.month
    (True, 4)
    """
    if isinstance(value, datetime):
        return ReadDate(value.date())
    if isinstance(value, date):
        return ReadDate(value)
    if isinstance(value, float):
        return _serial(value, serials_1904=serials_1904)
    if not isinstance(value, str):
        return None
    text = cleaned(value)
    whole = parse_date(text)
    if whole is not None:
        return ReadDate(whole)
    parted = PARTED.fullmatch(text)
    if parted:
        return _parted(parted, order)
    year = YEAR_FIRST.fullmatch(text)
    if year:
        return _made(int(year[1]), int(year[2]), int(year[3]))
    words = WORDED.fullmatch(text)
    if words:
        name = (words["m"] or words["m2"])[:3].lower()
        if name in MONTHS:
            return _made(int(words["y"]), MONTHS.index(name) + 1, int(words["d"] or words["d2"]))
    number = re.fullmatch(r"[0-9]{5}(?:[.,]0+)?", text)
    return _serial(float(text[:5]), serials_1904=serials_1904) if number else None


def _serial(value: float, *, serials_1904: bool) -> ReadDate | None:
    if not SERIALS[0] <= value < SERIALS[1] or value != int(value):
        return None
    zero = date(1904, 1, 1) if serials_1904 else date(1899, 12, 30)
    return ReadDate(zero + timedelta(days=int(value)), is_serial=True)


def _parted(parts: re.Match[str], order: DateOrder) -> ReadDate | None:
    """Read a/b/year; with points the day comes first, as nobody writes it otherwise."""
    a, b, year = int(parts["a"]), int(parts["b"]), int(parts["y"])
    year += 2000 if len(parts["y"]) == 2 else 0
    if parts["mark"] == ".":
        order = "day_first"
    if order == "unknown" and a <= 12 and b <= 12:
        made = _made(year, b, a)
        return None if made is None else ReadDate(made.day, is_open=a != b)
    day_first = order == "day_first" or (order == "unknown" and a > 12)
    return _made(year, b, a) if day_first else _made(year, a, b)


def _made(year: int, month: int, day: int) -> ReadDate | None:
    try:
        return ReadDate(date(year, month, day))
    except ValueError:
        return None


def date_order(values: Iterable[Value]) -> DateOrder:
    """Return the order of day and month that texts of one sheet show, by a number above 12.

    Examples
    --------
    >>> date_order(["03/04/2026", "03/16/2026"]), date_order(["03/04/2026"])
    ('month_first', 'unknown')
    """
    seen: set[DateOrder] = set()
    for value in values:
        text = cleaned(value) if isinstance(value, str) else ""
        match = PARTED.match(text)
        if match and match["mark"] != ".":
            if int(match["a"]) > 12 >= int(match["b"]):
                seen.add("day_first")
            elif int(match["b"]) > 12 >= int(match["a"]):
                seen.add("month_first")
    return seen.pop() if len(seen) == 1 else "unknown"
