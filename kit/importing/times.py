"""What a cell says of a time: a time of day, a length of time, a date with a time, a number.

A spreadsheet keeps 08:00 as a third of a day and may show it as a time, a duration or a number; a
text may say ``8:00``, ``08.00.00 AM`` or ``2 h 05 min``. Whether ``2:05`` is five past two or two
hours after the start is not in the cell: the heading, the other cells or the user say it.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Literal

from kit.importing.dates import DateOrder, read_date
from kit.importing.percent import cleaned, number_text
from kit.read.clock import parse_times

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.importing.grid import Value
    from kit.read.clock import TimeCells

__all__ = ["DAY_S", "TimeCell", "clock_text", "elapsed_text", "from_number", "time_of", "times_of"]

Sort = Literal["blank", "colon", "moment", "span", "number", "word", "odd"]

DAY_S = 86_400
OLD_DAYS = 1910
"""A date before this year is a length of time of more than a day, counted from day 0."""

UNITS = {"seconds": 1.0, "minutes": 60.0, "hours": 3600.0, "days": float(DAY_S)}

NUMBER = re.compile(r"-?[0-9]{1,15}(?:[.,][0-9]{1,12})?")
HALVES = re.compile(r"(?<=[0-9 ])([ap])\.? ?m\.?$", re.IGNORECASE)
O_CLOCK = re.compile(r"(?<=[0-9]) ?(?:o'clock|hrs?|uhr|h)$", re.IGNORECASE)
H_BETWEEN = re.compile(r"([0-9]{1,2}) ?h ?([0-5][0-9])(?: ?m(?:in)?)?")
WORDED = re.compile(
    r"(?:(?P<h>[0-9]{1,4}(?:[.,][0-9]+)?) ?(?:h|hrs?|hours?)\b\.?)? ?"
    r"(?:(?P<m>[0-9]{1,6}(?:[.,][0-9]+)?) ?(?:m|mins?|minutes?)\b\.?)? ?"
    r"(?:(?P<s>[0-9]{1,8}(?:[.,][0-9]+)?) ?(?:s|secs?|seconds?)\b\.?)?",
    re.IGNORECASE,
)
DATE_FIRST = re.compile(r"(?P<date>[^ T,]*[0-9][./-][^ T,]*)(?:,? +|T)(?P<time>[0-9].*)")


@dataclass(frozen=True)
class TimeCell:
    """What one cell says.

    Parameters
    ----------
    sort
        ``colon``: hours and minutes, of the day or since the start. ``moment``: surely a time of
        day (it has a date, an offset or AM/PM). ``span``: surely a length of time. ``number``: a
        number whose unit the cell does not say.
    seconds
        Of the day, or since the start.
    to_second
        Whether seconds were noted.
    day
        Day number where a date stands in the cell.
    offset_s
        Offset from UTC (s) where one stands in the cell.
    half
        Whether AM or PM stands in the cell.
    open_date
        Whether day and month of the cell could be either way round.
    text
        Of a word; of minutes as a number, as they were written.
    """

    sort: Sort
    seconds: float = math.nan
    to_second: bool = False
    day: int | None = None
    offset_s: float | None = None
    half: bool = False
    open_date: bool = False
    text: str = ""


def time_of(value: Value, order: DateOrder = "unknown") -> TimeCell:
    """Return what a cell says of a time.

    Parameters
    ----------
    order
        Order of day and month in dates that are texts.

    Examples
    --------
    >>> [time_of(v).sort for v in ("8:05", "8:05 PM", "30:00", "2 h 05 min", "125", "off", "")]
    ['colon', 'moment', 'span', 'span', 'number', 'word', 'blank']
    >>> time_of(timedelta(hours=2)).seconds, time_of("2 h 05 min").seconds
    (7200.0, 7500.0)
    >>> time_of("16.05.2026 08:00").day == date(2026, 5, 16).toordinal()
    True
    """
    if isinstance(value, str):
        return _of_text(cleaned(value), order)
    if isinstance(value, float):
        return TimeCell("number", value) if math.isfinite(value) else TimeCell("odd")
    if isinstance(value, datetime):
        seconds = value.hour * 3600.0 + value.minute * 60 + value.second
        if value.year < OLD_DAYS:
            return TimeCell("colon", seconds + DAY_S * _days_since_zero(value), value.second != 0)
        return TimeCell("moment", seconds, value.second != 0, value.toordinal())
    if isinstance(value, timedelta):
        seconds = value.total_seconds()
        return TimeCell("span", seconds, seconds % 60 != 0)
    if isinstance(value, date):
        return TimeCell("moment", 0.0, day=value.toordinal())
    seconds = value.hour * 3600.0 + value.minute * 60 + value.second
    return TimeCell("colon", seconds, value.second != 0)


def _days_since_zero(value: datetime) -> int:
    """Return whole days of a length of time that a spreadsheet shows as a day of 1899 to 1904."""
    first = date(1904, 1, 1) if value.year >= 1904 else date(1899, 12, 31)
    return max(value.date().toordinal() - first.toordinal(), 0)


def _of_text(text: str, order: DateOrder) -> TimeCell:
    if not text:
        return TimeCell("blank")
    if NUMBER.fullmatch(text):
        plain = text.replace(",", ".")
        return TimeCell("number", float(plain), text=plain)
    if not any(c.isdigit() for c in text):
        return TimeCell("word", text=text)
    plain = HALVES.sub(r" \1m", text)
    plain = H_BETWEEN.sub(r"\1:\2", plain) if not WORDED.fullmatch(plain) else plain
    for form in (plain, O_CLOCK.sub("", plain)):
        clock = parse_times([" ".join(form.split())], bare="clock")
        if not clock.bad[0]:
            return _of_clock(form, clock, 0)
    return _dated(plain, order) or _spanned(plain) or TimeCell("odd", text=text)


def times_of(values: Sequence[Value], order: DateOrder = "unknown") -> list[TimeCell]:
    """Return what each of many cells says; as `time_of`, but plain texts are read at one go.

    Examples
    --------
    >>> [c.sort for c in times_of(["8:05", "2026-05-16T08:05", "off", ""])]
    ['colon', 'moment', 'word', 'blank']
    """
    texts = [cleaned(v) if isinstance(v, str) else "" for v in values]
    clock = parse_times(texts, bare="clock")
    return [
        time_of(value, order) if not text or bad else _of_clock(text, clock, i)
        for i, (value, text, bad) in enumerate(zip(values, texts, clock.bad.tolist(), strict=True))
    ]


def _of_clock(form: str, clock: TimeCells, i: int) -> TimeCell:
    half = form[-1:] in "mM"
    day, offset = float(clock.day[i]), float(clock.offset_s[i])
    dated, placed = not math.isnan(day), not math.isnan(offset)
    return TimeCell(
        "moment" if half or dated else "colon",
        round(float(clock.second[i]), 3),
        bool(clock.resolution_min[i] < 1),
        int(day) if dated else None,
        offset if placed else None,
        half,
    )


def _dated(text: str, order: DateOrder) -> TimeCell | None:
    """Read a date that is not ISO, followed by a time."""
    match = DATE_FIRST.fullmatch(text)
    if match is None:
        return None
    day = read_date(match["date"], order)
    rest = _of_text(match["time"], order)
    if day is None or rest.sort not in ("colon", "moment") or rest.day is not None:
        return None
    return replace(rest, sort="moment", day=day.day.toordinal(), open_date=day.is_open)


def _spanned(text: str) -> TimeCell | None:
    span = parse_times([text], bare="elapsed") if ":" in text else None
    if span is not None and not span.bad[0]:
        return TimeCell("span", float(span.elapsed_min[0]) * 60, text.count(":") == 2)
    words = WORDED.fullmatch(text)
    if words is None or not any(words.groups()):
        return None
    hours, minutes, seconds = (float((words[g] or "0").replace(",", ".")) for g in "hms")
    return TimeCell("span", 3600 * hours + 60 * minutes + seconds, words["s"] is not None)


def from_number(cell: TimeCell, unit: str, *, serials_1904: bool = False) -> TimeCell:
    """Return a number as the time that it is in a unit; ``days`` with a date part is a moment.

    Examples
    --------
    >>> from_number(time_of(46158.3333333333), "days").seconds  # 16 May 2026, eight o'clock
    28800.0
    >>> from_number(time_of(125.0), "minutes").sort
    'span'
    """
    seconds = round(cell.seconds * UNITS[unit], 3)
    if unit == "minutes":  # how many decimals were noted stays with them
        text = cell.text or number_text(cell.seconds)
        return TimeCell("span", seconds, seconds % 60 != 0, text=text)
    if unit != "days":
        return TimeCell("span", seconds, unit == "seconds" or seconds % 60 != 0)
    seconds = float(round(seconds))
    days, rest = divmod(seconds, DAY_S)
    if days == 0:
        return TimeCell("colon", rest, rest % 60 != 0)
    # Day 60 of the count from 1900 is a day that there never was, so day 0 is 30 December 1899.
    zero = date(1904, 1, 1) if serials_1904 else date(1899, 12, 30)
    return TimeCell("moment", rest, rest % 60 != 0, zero.toordinal() + int(days))


def clock_text(cell: TimeCell, *, to_second: bool = False) -> str:
    """Return a time of day as a log writes it, with date and offset where they are known.

    Examples
    --------
    >>> clock_text(time_of("8:05 PM")), clock_text(time_of("2026-05-16T08:00:30Z"))
    ('20:05', '2026-05-16T08:00:30+00:00')
    """
    day, second = divmod(round(cell.seconds), DAY_S)
    fine = to_second or cell.to_second
    text = f"{second // 3600:02d}:{second // 60 % 60:02d}" + (f":{second % 60:02d}" if fine else "")
    if cell.day is None:
        return text
    text = f"{date.fromordinal(cell.day + day).isoformat()}T{text}"
    if cell.offset_s is None:
        return text
    minutes = round(abs(cell.offset_s) / 60)
    return f"{text}{'-' if cell.offset_s < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


def elapsed_text(cell: TimeCell) -> str:
    """Return a length of time as a log writes it: h:mm, h:mm:ss, or minutes with decimals.

    Examples
    --------
    >>> elapsed_text(time_of("2 h 05 min")), elapsed_text(time_of(timedelta(hours=30, seconds=5)))
    ('2:05', '30:00:05')
    >>> elapsed_text(from_number(time_of("61,50"), "minutes"))
    '61.50'
    """
    if cell.text:
        return cell.text
    seconds = abs(cell.seconds)
    if seconds != int(seconds):
        return number_text(cell.seconds / 60)
    whole = int(seconds)
    text = f"{whole // 3600}:{whole // 60 % 60:02d}"
    if cell.to_second or whole % 60:
        text += f":{whole % 60:02d}"
    return f"-{text}" if cell.seconds < 0 else text
