"""Ways in which a number is misread or miswritten, most likely first.

Which slips happen, and which of them most, is common practice, without a source: a neighbour of
the right number far more often than a confused digit, and that more often than digits exchanged.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Literal, NamedTuple

__all__ = ["SLIP_WORDS", "WEIGHTS", "Slip", "SlipKind", "minute_slips", "percentage_slips"]

SlipKind = Literal["one_off", "ten_off", "confused", "transposed"]

WEIGHTS: dict[SlipKind, float] = {
    "one_off": 1.0,
    "ten_off": 0.3,
    "confused": 0.3,
    "transposed": 0.2,
}
"""How likely a slip is beside a neighbouring number (assumption; used for the order only)."""

SLIP_WORDS: dict[SlipKind, str] = {
    "one_off": "one off",
    "ten_off": "ten off",
    "confused": "a digit confused",
    "transposed": "digits exchanged",
}

LOOK_ALIKE: dict[str, str] = {
    "0": "68", "1": "7", "2": "7", "3": "58", "4": "9",
    "5": "36", "6": "058", "7": "12", "8": "036", "9": "4",
}  # fmt: skip
"""Digits taken for one another on a small display or in handwriting (assumption)."""


class Slip(NamedTuple):
    """A number that may stand in the place of the one noted, and how it came about."""

    value: float
    kind: SlipKind


def _digit_slips(digits: str) -> list[tuple[str, SlipKind]]:
    found: list[tuple[str, SlipKind]] = []
    for place, digit in enumerate(digits):
        for other in LOOK_ALIKE[digit]:
            found.append((digits[:place] + other + digits[place + 1 :], "confused"))
    if len(digits) == 2 and digits[0] != digits[1]:
        found.append((digits[::-1], "transposed"))
    return found


def _is_shown(percentage: str) -> bool:
    """Return whether a display shows a percentage in this way: no 09 in the place of 9."""
    return len(percentage) == 1 or not percentage.startswith("0")


def _once(value: float, slips: list[Slip], low: float, high: float) -> tuple[Slip, ...]:
    """Return slips within bounds, each number once, the likeliest way kept."""
    kept: dict[float, Slip] = {}
    for slip in sorted(slips, key=lambda s: -WEIGHTS[s.kind]):
        if low <= slip.value <= high and slip.value != value:
            kept.setdefault(slip.value, slip)
    return tuple(kept.values())


@lru_cache(maxsize=4096)
def percentage_slips(value: float, *, low: float = 0.0, high: float = 100.0) -> tuple[Slip, ...]:
    """Return what a percentage may have been instead.

    Parameters
    ----------
    value
        The percentage noted (%).
    low, high
        Bounds for the true one: what was read or seen after it and before it, for a display never
        rises.

    Returns
    -------
    tuple of Slip
        Likeliest first. A percentage with decimals has neighbours only. No digit is taken for a 0
        in front: a display shows 9, never 09.

    Examples
    --------
    54 between 60 and 51: a point off, or 54 for 59 (4 and 9); 45 lies below 51.

    >>> [(s.value, s.kind) for s in percentage_slips(54, low=51, high=60)]
    [(53.0, 'one_off'), (55.0, 'one_off'), (59.0, 'confused')]
    """
    slips = [Slip(value - 1.0, "one_off"), Slip(value + 1.0, "one_off")]
    if float(value).is_integer() and 0.0 <= value <= 100.0:
        slips += [
            Slip(float(text), kind)
            for text, kind in _digit_slips(str(int(value)))
            if _is_shown(text)
        ]
        slips += [Slip(value - 10.0, "ten_off"), Slip(value + 10.0, "ten_off")]
    return _once(value, slips, low, high)


def minute_slips(
    value: float, *, start_minute: float = 0.0, low: float = 0.0, high: float = float("inf")
) -> tuple[Slip, ...]:
    """Return what a noted time may have been instead.

    Parameters
    ----------
    value
        The time noted, in minutes since the start.
    start_minute
        Minutes past the hour at the start, so that the digits meant are those of the clock.
    low, high
        Bounds for the true one.

    Returns
    -------
    tuple of Slip
        A minute or ten off, a digit of the minutes confused or both exchanged; likeliest first.

    Examples
    --------
    14:03 after a start at 8:00 (363 min), not before 13:55: 14:13 and 14:30 among others.

    >>> [(s.value, s.kind) for s in minute_slips(363, low=355)]
    [(362.0, 'one_off'), (364.0, 'one_off'), (373.0, 'ten_off'), (365.0, 'confused'), \
(368.0, 'confused'), (390.0, 'transposed')]
    """
    slips = [Slip(value + step, "one_off") for step in (-1.0, 1.0)]
    slips += [Slip(value + step, "ten_off") for step in (-10.0, 10.0)]
    of_clock = value + start_minute
    if float(of_clock).is_integer():
        minute = int(of_clock) % 60
        slips += [
            Slip(float(value - minute + int(other)), kind)
            for other, kind in _digit_slips(f"{minute:02d}")
            if int(other) < 60
        ]
    return _once(value, slips, low, high)
