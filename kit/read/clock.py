"""What a cell that holds a time says, without yet knowing of which day or run.

A time is written as a time of day (``14:05``, ``14:05:30``, ``2:05 PM``), as a full ISO 8601 date
and time with or without offset from UTC, as minutes since the start (``125`` or ``125.5``), or as
hours and minutes since the start (``2:05``, only in the elapsed column). How finely it was
noted is kept with it: whole minutes count as 1 min, seconds as 1/60 min, decimals of a minute as
their last place.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.read.cells import PLAIN, parse_numbers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = [
    "DAY_S",
    "ClockTime",
    "TimeCells",
    "moment",
    "parse_date",
    "parse_dates",
    "parse_times",
    "plausible_day",
    "time_cells",
]

DAY_S = 86_400
LARGEST_OFFSET_S = 14 * 3600
"""No place on Earth keeps a time further from UTC."""

LONGEST_MIN = 1_000_000.0
"""No run lasts that long (almost two years); a greater number is no elapsed time."""

MINUTE = 1.0
SECOND = 1 / 60

CLOCK = re.compile(
    r"(?P<h>[0-9]{1,2}):(?P<m>[0-5][0-9])(:(?P<s>[0-5][0-9](?:[.,][0-9]+)?))?"
    r"( ?(?P<half>[AaPp])[Mm])?"
)
ISO = re.compile(
    r"(?P<date>[0-9]{4}-[0-9]{2}-[0-9]{2})[T ]"
    r"(?P<h>[0-9]{2}):(?P<m>[0-5][0-9])(:(?P<s>[0-5][0-9](?:[.,][0-9]+)?))?"
    r"(?P<offset>Z|[+-][0-9]{2}:?[0-9]{2})?"
)
SPAN = re.compile(
    r"(?P<sign>[+-]?)(?P<h>[0-9]{1,3}):(?P<m>[0-5][0-9])(:(?P<s>[0-5][0-9](?:[.,][0-9]+)?))?"
)
FIRST_YEAR, LAST_YEAR = 1970, 2999
"""Years of a session; year 1 stands for a start of which only the time of day was recorded."""
DOTTED_DATE = re.compile(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})")

Bare = Literal["clock", "elapsed", "either"]


@dataclass(frozen=True, kw_only=True)
class TimeCells:
    """Times as written, one entry for each distinct text.

    Parameters
    ----------
    second
        Second of the day by the wall clock; NaN where there is none.
    day
        Day number (``date.toordinal``) written in the cell; NaN where none is.
    offset_s
        Offset from UTC written in the cell (s); NaN where none is.
    elapsed_min
        Time since the start of the run (min); NaN where none is.
    resolution_min
        How finely the time was noted (min); NaN for a blank cell.
    bad
        Where the cell is neither blank nor a time.
    """

    second: NDArray[np.float64]
    day: NDArray[np.float64]
    offset_s: NDArray[np.float64]
    elapsed_min: NDArray[np.float64]
    resolution_min: NDArray[np.float64]
    bad: NDArray[np.bool_]

    def take(self, codes: NDArray[np.integer]) -> TimeCells:
        """Return one entry for each row from the codes of a categorical or from row numbers."""
        return TimeCells(
            second=_gathered(self.second, codes),
            day=_gathered(self.day, codes),
            offset_s=_gathered(self.offset_s, codes),
            elapsed_min=_gathered(self.elapsed_min, codes),
            resolution_min=_gathered(self.resolution_min, codes),
            bad=self.bad[codes],
        )


def _gathered(values: NDArray[np.float64], codes: NDArray[np.integer]) -> NDArray[np.float64]:
    """Return ``values[codes]``; most columns of a log hold no time of a kind at all."""
    if np.isnan(values).all():
        return np.full(codes.size, np.nan)
    gathered: NDArray[np.float64] = values[codes]
    return gathered


@dataclass(frozen=True, kw_only=True)
class ClockTime:
    """A time of day as noted, with its date and offset from UTC where they were noted."""

    second: float
    resolution_min: float
    day: int | None = None
    offset_s: float | None = None


def parse_date(text: str) -> date | None:
    """Read ``2026-05-16`` or ``16.05.2026``; ``None`` if it is no day on which one ran.

    Examples
    --------
    >>> parse_date("16.05.2026"), parse_date("2026-02-30"), parse_date("0026-05-16")
    (datetime.date(2026, 5, 16), None, None)
    """
    dotted = DOTTED_DATE.fullmatch(text)
    try:
        if dotted:
            day = date(int(dotted[3]), int(dotted[2]), int(dotted[1]))
        else:
            day = date.fromisoformat(text)
    except ValueError:
        return None
    return day if plausible_day(day) else None


def plausible_day(day: date) -> bool:
    """Return whether a session can have been on that day."""
    return FIRST_YEAR <= day.year <= LAST_YEAR


def parse_dates(texts: Sequence[str]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return the day number of each text (NaN if blank or bad), and which are bad."""
    days = [parse_date(t) if t else None for t in texts]
    values = np.array([np.nan if d is None else d.toordinal() for d in days])
    return values, np.array([bool(t) for t in texts], dtype=bool) & np.isnan(values)


def parse_times(texts: Sequence[str], *, bare: Bare, comma_is_separator: bool = False) -> TimeCells:
    """Read the distinct texts of a column of times.

    Parameters
    ----------
    texts
        Distinct cell texts, "" for blank.
    bare
        ``"clock"``: times of day only. ``"elapsed"``: minutes, or h:mm since the start.
        ``"either"``: times of day, and bare numbers as minutes since the start.
    comma_is_separator
        See :func:`kit.read.cells.parse_numbers`.

    Examples
    --------
    >>> cells = parse_times(["14:05", "2:05:30 PM", "2026-05-16T14:05+02:00", ""], bare="clock")
    >>> cells.second.tolist(), cells.offset_s.tolist()
    ([50700.0, 50730.0, 50700.0, nan], [nan, nan, 7200.0, nan])
    >>> cells = parse_times(["125.5", "2:05", "2:05:30", "125"], bare="elapsed")
    >>> cells.elapsed_min.tolist(), cells.resolution_min.round(4).tolist()
    ([125.5, 125.0, 125.5, 125.0], [0.1, 1.0, 0.0167, 1.0])
    """
    n = len(texts)
    nan = np.full((5, n), np.nan)
    second, day, offset, elapsed, resolution = nan
    bad = np.zeros(n, dtype=bool)
    if bare == "clock" and _fixed_width_clock(texts, second, day, resolution):
        rest: list[int] = []
    elif bare == "clock":
        rest = [i for i, t in enumerate(texts) if t]
    else:
        rest = [i for i, t in enumerate(texts) if ":" in t]
        _decimals(texts, elapsed, resolution, bad, comma_is_separator=comma_is_separator)
    for i in rest:
        text = texts[i].strip().replace("\u2212", "-")
        found = _one_span(text) if bare == "elapsed" else _one_clock(text)
        bad[i] = found is None
        if found is not None:
            nan[:, i] = found
    if bare != "clock":
        _even_decimals(texts, elapsed, resolution)
        bad |= np.abs(elapsed) > LONGEST_MIN
        elapsed[bad] = resolution[bad] = np.nan
    return TimeCells(
        second=second,
        day=day,
        offset_s=offset,
        elapsed_min=elapsed,
        resolution_min=resolution,
        bad=bad,
    )


def _decimals(
    texts: Sequence[str],
    elapsed: NDArray[np.float64],
    resolution: NDArray[np.float64],
    bad: NDArray[np.bool_],
    *,
    comma_is_separator: bool,
) -> None:
    """Read the minutes among the texts, those without a colon."""
    plain = PLAIN.issuperset("".join(texts))
    numbers = texts if plain else ["" if ":" in t else t.strip() for t in texts]
    elapsed[:], bad[:] = parse_numbers(numbers, comma_is_separator=comma_is_separator)
    if plain:
        written = np.array(numbers, dtype=np.str_)
        point = np.strings.find(written, ".")
        places = np.where(point < 0, 0, np.strings.str_len(written) - 1 - point)
        resolution[:] = np.where(np.isnan(elapsed), np.nan, 10.0**-places)
    else:
        known = np.flatnonzero(np.isfinite(elapsed))
        resolution[known] = [_last_place(numbers[i]) for i in known.tolist()]


Parsed = tuple[float, float, float, float, float]
"""Second, day, offset, elapsed and resolution of one cell."""


def _one_span(text: str) -> Parsed | None:
    """Return what hours and minutes since the start say, or ``None``."""
    span = SPAN.fullmatch(text)
    if span is None:
        return None
    nan = float("nan")
    sign = -1 if span["sign"] == "-" else 1
    return nan, nan, nan, sign * _seconds(span) / 60, SECOND if span["s"] else MINUTE


def _one_clock(text: str) -> Parsed | None:
    """Return what a time of day or a full date and time says, or ``None``."""
    day = offset = elapsed = float("nan")
    clock = CLOCK.fullmatch(text)
    iso = ISO.fullmatch(text)
    found = clock or iso
    if found is None:
        return None
    second = _seconds(found)
    if clock and clock["half"]:
        if not 1 <= int(clock["h"]) <= 12:
            return None
        second = second % (12 * 3600) + 12 * 3600 * (clock["half"] in "pP")
    if iso:
        when = parse_date(iso["date"])
        if when is None:
            return None
        day = when.toordinal()
        offset = _offset(iso["offset"]) if iso["offset"] else offset
    if second >= DAY_S or abs(offset) > LARGEST_OFFSET_S:
        return None
    return second, day, offset, elapsed, SECOND if found["s"] else MINUTE


def _seconds(found: re.Match[str]) -> float:
    second = float(found["s"].replace(",", ".")) if found["s"] else 0.0
    return int(found["h"]) * 3600 + int(found["m"]) * 60 + second


def _offset(text: str) -> float:
    if text == "Z":
        return 0.0
    sign = -1 if text[0] == "-" else 1
    return sign * (int(text[1:3]) * 3600 + int(text[-2:]) * 60)


def _last_place(text: str) -> float:
    """Return the place value of the last decimal; 1 for whole minutes.

    A number with an exponent is a program's; its last place is taken as a second.
    """
    if "e" in text.lower():
        return SECOND
    _, _, decimals = text.replace(",", ".").partition(".")
    return float(10.0 ** -len(decimals))


def _even_decimals(
    texts: Sequence[str], elapsed: NDArray[np.float64], resolution: NDArray[np.float64]
) -> None:
    """Give all numbers of minutes the finest place if most times of a column have decimals.

    Programs drop trailing zeros: among ``0.98``, ``1`` and ``1.02`` the 1 was not noted to the
    minute.
    """
    timed = np.isfinite(elapsed)
    if not timed.any():
        return
    decimal = timed & np.array([":" not in t for t in texts], dtype=bool)
    if np.sum(resolution[decimal] < MINUTE) > 0.5 * np.sum(timed):
        resolution[decimal] = resolution[decimal].min()


def _fixed_width_clock(
    texts: Sequence[str],
    second: NDArray[np.float64],
    day: NDArray[np.float64],
    resolution: NDArray[np.float64],
) -> bool:
    """Read a column of hh:mm:ss or of ISO date and time to the second at one go, if it is one."""
    widths = {len(t) for t in texts}
    if widths == {8}:
        digits = _digits(texts, "00:00:00")
        if digits is None:
            return False
    elif widths == {19}:
        digits = _digits(texts, "0000-00-00 00:00:00")
        if digits is None:
            return False
        dates = [t[:10] for t in texts]
        number = {d: parse_date(d) for d in set(dates)}
        if None in number.values():
            return False
        ordinal = {d: v.toordinal() for d, v in number.items() if v is not None}
        day[:] = [ordinal[d] for d in dates]
        digits = digits[:, 8:]
    else:
        return False
    hour, minute, sec = (digits[:, i] * 10 + digits[:, i + 1] for i in (0, 2, 4))
    if (hour > 23).any() or (minute > 59).any() or (sec > 59).any():
        return False
    second[:] = hour * 3600.0 + minute * 60.0 + sec
    resolution[:] = SECOND
    return True


def _digits(texts: Sequence[str], shape: str) -> NDArray[np.int64] | None:
    """Return the digits of texts of one fixed shape, (texts, digits); ``None`` if one differs."""
    codes = np.array(texts, dtype=f"U{len(shape)}").view(np.uint32).reshape(len(texts), -1)
    columns = []
    for i, mark in enumerate(shape):
        column = codes[:, i]
        if mark == "0":
            if ((column < ord("0")) | (column > ord("9"))).any():
                return None
            columns.append(column.astype(np.int64) - ord("0"))
        elif mark == " ":
            if not np.isin(column, (ord("T"), ord(" "))).all():
                return None
        elif (column != ord(mark)).any():
            return None
    return np.stack(columns, axis=1)


def moment(day: float, second: float) -> datetime:
    """Return the wall-clock time of a day number and a second of (or beyond) that day."""
    return datetime.fromordinal(int(day)) + timedelta(seconds=second)


def time_cells(times: Sequence[ClockTime | None]) -> TimeCells:
    """Return times of the setup file in the form of cells of a log."""
    nan = float("nan")

    def column(name: str) -> NDArray[np.float64]:
        values = [None if t is None else getattr(t, name) for t in times]
        return np.array([nan if v is None else float(v) for v in values])

    return TimeCells(
        second=column("second"),
        day=column("day"),
        offset_s=column("offset_s"),
        elapsed_min=np.full(len(times), nan),
        resolution_min=column("resolution_min"),
        bad=np.zeros(len(times), dtype=bool),
    )
