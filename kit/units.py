"""How numbers are set: symbols, rounding to the uncertainty, intervals, durations, clock times.

The one place for unit symbols and number formats of the report. All functions are pure and take
plain numbers; a missing value (NaN or ``None``) becomes ``MISSING``, a value that was never
recorded is said in words by ``recorded``.

Rounding. A standard uncertainty is printed with two significant digits and its value to the same
place (JCGM 100:2008, 7.2.6, from memory). The ends of an interval are rounded *outwards*, to a
step between a 75th and two fifteenths of its half-width, so that the printed interval never
claims more than the computed one (common practice, no source).
"""

from __future__ import annotations

import math
from datetime import UTC, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

__all__ = [
    "MINUS",
    "MISSING",
    "NOT_RECORDED",
    "NO_BREAK",
    "PLUS_MINUS",
    "UNDATED_YEAR",
    "clock",
    "common_decimals",
    "count",
    "duration",
    "estimate",
    "h_mm",
    "interval",
    "interval_decimals",
    "joined",
    "number",
    "ordinal",
    "percent",
    "quantity",
    "recorded",
    "signed",
    "u_decimals",
    "with_u",
]

MINUS = "\N{MINUS SIGN}"
PLUS_MINUS = "\N{PLUS-MINUS SIGN}"
NO_BREAK = "\N{NO-BREAK SPACE}"
MISSING = "\N{EN DASH}"
NOT_RECORDED = "not recorded"

HALF_WIDTH_PER_STEP = 7.5
"""An interval is rounded to the largest power of ten that is at most half-width / 7.5."""
MAX_DECIMALS = 4
UNDATED_YEAR = 1
"""Year of a start of which only the time of day was recorded (`kit.session.Run`)."""
ROUNDING_SLACK = 1e-9
"""Ends closer than this to a printed step are that step (binary representation, not data)."""

_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
          "eleven", "twelve")  # fmt: skip


def _absent(value: float | None) -> bool:
    return value is None or math.isnan(value)


def number(value: float | None, decimals: int = 0) -> str:
    """Return a number with a true minus sign; ``MISSING`` when there is none.

    Parameters
    ----------
    value
        The number; NaN or ``None`` is missing.
    decimals
        Digits after the point; negative rounds to tens, hundreds, …

    Examples
    --------
    >>> number(-1.25, 1), number(float("nan")), number(0.04, 1), number(-0.04, 1)
    ('−1.2', '–', '0.0', '0.0')
    >>> number(1234.5, -2), number(float("inf"))
    ('1200', '∞')
    """
    if value is None or math.isnan(value):
        return MISSING
    if math.isinf(value):
        return "∞" if value > 0 else f"{MINUS}∞"
    # a float is rounded as well by being written; other numbers have a rounding of their own
    if decimals < 0 or type(value) is not float:
        value = round(value, decimals)
    text = f"{value:.{decimals}f}" if decimals > 0 else f"{value:.0f}"
    if text[0] == "-":
        return text[1:] if not text.strip("-0.") else MINUS + text[1:]
    return text


def signed(value: float | None, decimals: int = 0) -> str:
    """Return a number that always carries its sign, but for zero.

    Examples
    --------
    >>> signed(2.0, 1), signed(-2.0, 1), signed(0.01, 1)
    ('+2.0', '−2.0', '0.0')
    """
    text = number(value, decimals)
    if text in (MISSING,) or text.startswith(MINUS) or not text.strip("0."):
        return text
    return f"+{text}"


def quantity(value: float | None, unit: str, decimals: int = 0) -> str:
    """Return number and unit, kept on one line by a no-break space.

    Examples
    --------
    >>> quantity(12, "pp").replace(NO_BREAK, "_")
    '12_pp'
    """
    text = number(value, decimals)
    return text if text == MISSING or not unit else f"{text}{NO_BREAK}{unit}"


def percent(share: float, decimals: int = 0) -> str:
    """Return a share of one as per cent; digits that matter are kept (0.995 is not 100 %).

    Examples
    --------
    >>> percent(0.95).replace(NO_BREAK, " "), percent(0.995).replace(NO_BREAK, " ")
    ('95 %', '99.5 %')
    """
    while decimals < MAX_DECIMALS and round(share * 100, decimals) != round(share * 100, 6):
        decimals += 1
    return quantity(share * 100, "%", decimals)


def u_decimals(u: float | None) -> int:
    """Return the decimals at which a standard uncertainty has two significant digits.

    Parameters
    ----------
    u
        Standard uncertainty, in the unit that is printed. Zero, NaN or ``None`` gives 1.

    References
    ----------
    JCGM 100:2008 (GUM), 7.2.6: at most two significant digits (from memory).

    Examples
    --------
    0.408 prints as 0.41; 0.0996 rounds up to 0.10, which already has two; 12.3 prints as 12.

    >>> u_decimals(0.408), u_decimals(0.0996), u_decimals(12.3), u_decimals(0.0)
    (2, 2, 0, 1)
    """
    if u is None or not math.isfinite(u) or u <= 0:
        return 1
    exponent = math.floor(math.log10(float(f"{u:.1e}")))
    return min(1 - exponent, MAX_DECIMALS)


def with_u(value: float | None, u: float | None, unit: str = "") -> str:
    """Return value and standard uncertainty to the same place, ``12.00 pp, u = 0.41 pp``.

    Examples
    --------
    >>> with_u(12.0, 0.40825, "pp").replace(NO_BREAK, " ")
    '12.00 pp, u = 0.41 pp'
    """
    if _absent(value) or _absent(u):
        return MISSING
    places = u_decimals(u)
    return f"{quantity(value, unit, places)}, u{NO_BREAK}={NO_BREAK}{quantity(u, unit, places)}"


def interval_decimals(low: float, high: float) -> int:
    """Return the decimals to which an interval is printed.

    The step is the largest power of ten that is at most half-width / 7.5.

    Examples
    --------
    Half-width 0.88: 0.88/7.5 = 0.117, so steps of 0.1; 4.4 → 0.59 → 0.1; 0.44 → 0.059 → 0.01;
    9.0 → 1.2 → 1.

    >>> [interval_decimals(12 - w, 12 + w) for w in (0.88, 4.4, 0.44, 9.0)]
    [1, 1, 2, 0]
    """
    half = (high - low) / 2
    if not math.isfinite(half) or half <= 0:
        return 1
    return max(min(math.ceil(-math.log10(half / HALF_WIDTH_PER_STEP)), MAX_DECIMALS), -2)


def common_decimals(bounds: Iterable[tuple[float, float]]) -> int:
    """Return one number of decimals for a whole table: that of its wider intervals.

    The lower quartile of the decimals that each interval would get by itself.

    Examples
    --------
    >>> common_decimals([(11.1, 12.9), (7.0, 9.0), (11.8, 12.2)])
    1
    """
    places = sorted(
        interval_decimals(low, high)
        for low, high in bounds
        if math.isfinite(high - low) and high > low
    )
    return places[len(places) // 4] if places else 1


def _floor(value: float, decimals: int) -> float:
    return math.floor(value * 10.0**decimals + ROUNDING_SLACK) / 10.0**decimals


def _ceil(value: float, decimals: int) -> float:
    return math.ceil(value * 10.0**decimals - ROUNDING_SLACK) / 10.0**decimals


def interval(
    low: float | None, high: float | None, unit: str = "", *, decimals: int | None = None
) -> str:
    """Return ``11.1 to 12.9 pp``, ends rounded outwards; an open end is said in words.

    Parameters
    ----------
    low, high
        Ends; one of them infinite or missing gives "at least" or "at most".
    decimals
        Digits after the point; ``None``: from the half-width.

    Examples
    --------
    >>> show = lambda *a, **k: interval(*a, **k).replace(NO_BREAK, " ")
    >>> show(11.12, 12.88, "pp")
    '11.1 to 12.9 pp'
    >>> show(0.0, 0.776, "pp", decimals=1)
    '0.0 to 0.8 pp'
    >>> show(8.5, float("inf"), "h", decimals=2)
    'at least 8.50 h'
    >>> show(-1.21, -0.8, "pp", decimals=1)
    '−1.3 to −0.8 pp'
    """
    low_known = low is not None and math.isfinite(low)
    high_known = high is not None and math.isfinite(high)
    unit_text = f"{NO_BREAK}{unit}" if unit else ""
    if low is None or high is None or not (low_known and high_known):
        places = 1 if decimals is None else decimals
        if low is not None and low_known:
            return f"at least{NO_BREAK}{number(_floor(low, places), places)}{unit_text}"
        if high is not None and high_known:
            return f"at most{NO_BREAK}{number(_ceil(high, places), places)}{unit_text}"
        return MISSING
    places = interval_decimals(low, high) if decimals is None else decimals
    return (
        f"{number(_floor(low, places), places)} to {number(_ceil(high, places), places)}{unit_text}"
    )


def estimate(
    value: float | None,
    low: float | None,
    high: float | None,
    unit: str = "",
    *,
    decimals: int | None = None,
) -> str:
    """Return ``12.0 (11.1 to 12.9) pp``: value and interval to the same place.

    Examples
    --------
    >>> estimate(12.0, 11.12, 12.88)
    '12.0 (11.1 to 12.9)'
    >>> estimate(float("nan"), 0.0, 1.0, decimals=1)
    '0.0 to 1.0'
    """
    text = interval(low, high, decimals=decimals)
    if text == MISSING:
        return MISSING
    if not _absent(value) and not text.startswith("at "):
        if decimals is None and low is not None and high is not None:
            decimals = interval_decimals(low, high)
        text = f"{number(value, 1 if decimals is None else decimals)} ({text})"
    return f"{text}{NO_BREAK}{unit}" if unit else text


def h_mm(minutes: float | None) -> str:
    """Return minutes as ``h:mm``, rounded to the minute.

    Examples
    --------
    55 h 43 min = 3343 min.

    >>> h_mm(3343), h_mm(59.7), h_mm(float("nan")), h_mm(-3)
    ('55:43', '1:00', '–', '−0:03')
    """
    if minutes is None or not math.isfinite(minutes):
        return MISSING
    whole = round(minutes)
    sign = MINUS if whole < 0 else ""
    return f"{sign}{abs(whole) // 60}:{abs(whole) % 60:02d}"


def duration(minutes: float | None) -> str:
    """Return minutes in words for prose: ``8 h 26 min``, ``40 min``, ``2 h``.

    Examples
    --------
    >>> [duration(m).replace(NO_BREAK, " ") for m in (506, 40, 120, 0.4)]
    ['8 h 26 min', '40 min', '2 h', '0 min']
    """
    if minutes is None or not math.isfinite(minutes):
        return MISSING
    hours, rest = divmod(round(minutes), 60)
    if not hours:
        return f"{rest}{NO_BREAK}min"
    return f"{hours}{NO_BREAK}h" + (f"{NO_BREAK}{rest:02d}{NO_BREAK}min" if rest else "")


def clock(start: datetime | None, t_min: float | None) -> str:
    """Return the clock time ``t_min`` minutes after the start, in the time zone of the start.

    Parameters
    ----------
    start
        Clock time of minute 0; in year 1 if its date was not recorded; ``None`` when only
        elapsed times were noted.
    t_min
        Minutes since the start, counted through a clock change.

    Returns
    -------
    str
        ``14:03``, ``00:10 (+1 d)`` past midnight; ``MISSING`` without start or time.

    Examples
    --------
    >>> from datetime import datetime
    >>> clock(datetime(2026, 5, 16, 8, 0), 363), clock(datetime(2026, 5, 16, 20, 0), 250)
    ('14:03', '00:10\N{NO-BREAK SPACE}(+1\N{NO-BREAK SPACE}d)')
    """
    if start is None or t_min is None or not math.isfinite(t_min):
        return MISSING
    step = timedelta(minutes=round(t_min))
    if start.year == UNDATED_YEAR:
        # only the time of day means anything, and no calendar says when clocks change
        start = start.replace(year=2001, tzinfo=None)
    if start.tzinfo is None:
        moment = start + step
    else:
        moment = (start.astimezone(UTC) + step).astimezone(start.tzinfo)
    days = (moment.date() - start.date()).days
    text = f"{moment:%H:%M}"
    return text if not days else f"{text}{NO_BREAK}({signed(days)}{NO_BREAK}d)"


def recorded(value: object, unit: str = "") -> str:
    """Return a recorded value as text, or ``not recorded``.

    Examples
    --------
    >>> recorded(None), recorded("not recorded"), recorded(""), recorded(False)
    ('not recorded', 'not recorded', 'not recorded', 'no')
    >>> recorded(21.50, "°C").replace(NO_BREAK, " "), recorded(["a", 2])
    ('21.5 °C', 'a, 2')
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return NOT_RECORDED
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        text = f"{value:.10g}" if isinstance(value, float) else str(value)
        text = text.replace("-", MINUS) if text.startswith("-") else text
        return f"{text}{NO_BREAK}{unit}" if unit else text
    if isinstance(value, (list, tuple)):
        return ", ".join(recorded(part, unit) for part in value) or NOT_RECORDED
    if isinstance(value, dict):
        return ", ".join(f"{key}: {recorded(part)}" for key, part in value.items()) or NOT_RECORDED
    text = str(value).strip()
    if not text or text.casefold() == NOT_RECORDED:
        return NOT_RECORDED
    return text


def count(n: int, noun: str, plural: str = "") -> str:
    """Return a counted noun; small numbers in words.

    Examples
    --------
    >>> count(1, "device"), count(3, "device"), count(0, "device"), count(13, "entry", "entries")
    ('one device', 'three devices', 'no devices', '13 entries')
    """
    word = _WORDS[n] if 0 <= n < len(_WORDS) else str(n)
    return f"{word} {noun if n == 1 else plural or noun + 's'}"


def joined(parts: Iterable[str], word: str = "and") -> str:
    """Return parts as a list in a sentence.

    Examples
    --------
    >>> joined(["a"]), joined(["a", "b"]), joined(["a", "b", "c"], "or")
    ('a', 'a and b', 'a, b or c')
    """
    items = list(parts)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {word} {items[-1]}"


def ordinal(n: int) -> str:
    """Return ``1st``, ``2nd``, ``11th``.

    Examples
    --------
    >>> [ordinal(n) for n in (1, 2, 3, 4, 11, 12, 13, 21, 102)]
    ['1st', '2nd', '3rd', '4th', '11th', '12th', '13th', '21st', '102nd']
    """
    if n % 100 in (11, 12, 13):
        return f"{n}th"
    return f"{n}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(n % 10, 'th') }"
