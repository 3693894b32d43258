"""Times of rows: from the cells of a log to moments, and back.

A moment is a datetime with an offset from UTC, so that differences are true across a change of
the clocks and after the computer has slept.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import tzinfo

__all__ = ["minutes_between", "moment_of", "near", "parse_clock", "stamp", "stamp_of_limit"]

_CLOCK = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9])(?:[.,][0-9]+)?)?")
_DAY = timedelta(days=1)


def parse_clock(text: str) -> time | None:
    """Return a time of day written as 9:05, 09:05 or 09:05:30; ``None`` for anything else."""
    found = _CLOCK.fullmatch(text.strip())
    return None if found is None else time(int(found[1]), int(found[2]), int(found[3] or 0))


def near(clock: time, reference: datetime) -> datetime:
    """Return the moment with this time of day that is nearest to a reference.

    Examples
    --------
    >>> near(time(23, 58), datetime(2026, 5, 17, 0, 3, tzinfo=UTC)).isoformat()
    '2026-05-16T23:58:00+00:00'
    """
    around = [
        datetime.combine(reference.date() + days * _DAY, clock, reference.tzinfo)
        for days in (-1, 0, 1)
    ]
    folds = [m.replace(fold=f) for m in around for f in (0, 1)]
    return min(folds, key=lambda m: abs(m.astimezone(UTC) - reference.astimezone(UTC)))


def moment_of(
    cells: Mapping[str, str], zone: tzinfo, reference: datetime | None, start: datetime | None
) -> datetime | None:
    """Return when a row was, ``None`` where it does not say.

    Parameters
    ----------
    reference
        Moment of a row before it: a clock time without a date is the one nearest to it.
    start
        Start of the run, for elapsed times.
    """
    text, day = cells.get("clock", "").strip(), cells.get("date", "").strip()
    if "T" in text or (" " in text and "-" in text):
        try:
            full = datetime.fromisoformat(text)
        except ValueError:
            return None
        return full if full.tzinfo else full.replace(tzinfo=zone)
    clock = parse_clock(text)
    if clock is not None:
        if day:
            try:
                return datetime.combine(_date(day), clock, zone)
            except ValueError:
                return None
        known = reference or start
        return None if known is None else near(clock, known.astimezone(zone))
    minutes = _elapsed(cells.get("elapsed_min", "").strip())
    if minutes is None or start is None:
        return None
    return (start.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(zone)


def _date(text: str) -> date:
    if "." in text:
        day, month, year = (int(p) for p in text.split("."))
        return date(year, month, day)
    return date.fromisoformat(text)


def _elapsed(text: str) -> float | None:
    try:
        if ":" in text:
            hours, minutes, *seconds = (float(p) for p in text.split(":"))
            return hours * 60 + minutes + sum(seconds) / 60
        return float(text.replace(",", "."))
    except ValueError:
        return None


def stamp(moment: datetime, *, zoned: bool) -> dict[str, str]:
    """Return the cells that say a moment, to the second.

    Parameters
    ----------
    zoned
        Whether the session has a time zone. Then a time that the clock shows twice, in the night
        when clocks are put back, is written with its offset.

    Examples
    --------
    >>> stamp(datetime(2026, 5, 16, 9, 0, 12, tzinfo=UTC), zoned=True)
    {'date': '2026-05-16', 'clock': '09:00:12'}
    """
    if zoned and _twice(moment):
        return {"clock": _with_offset(moment)}
    return {"date": f"{moment:%Y-%m-%d}", "clock": f"{moment:%H:%M:%S}"}


def stamp_of_limit(moment: datetime, row: datetime, *, zoned: bool) -> str:
    """Return the cell for a time beside the time of its row."""
    if zoned and _twice(moment):
        return _with_offset(moment)
    same_day = moment.date() == row.date()
    return f"{moment:%H:%M:%S}" if same_day else f"{moment:%Y-%m-%dT%H:%M:%S}"


def _with_offset(moment: datetime) -> str:
    return moment.replace(microsecond=0).isoformat()


def _twice(moment: datetime) -> bool:
    early, late = (moment.replace(fold=f).utcoffset() for f in (0, 1))
    return early is not None and late is not None and early > late


def minutes_between(earlier: datetime, later: datetime) -> float:
    """Return the minutes that really passed between two moments.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> zone = ZoneInfo("Europe/London")
    >>> minutes_between(datetime(2026, 10, 25, 0, 30, tzinfo=zone),
    ...                 datetime(2026, 10, 25, 2, 30, tzinfo=zone))
    180.0
    """
    return (later.astimezone(UTC) - earlier.astimezone(UTC)).total_seconds() / 60
