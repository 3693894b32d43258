"""What a cell says of a percentage: 0.83, 83, "83 %", "83,0", or a word.

A number without a unit is read with the others of its sheet: 0.83 among fractions of one is 83 %,
among percentages it could be 0.83 % as well. What stays open is told, not guessed.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from kit.safe_text import displayable

if TYPE_CHECKING:
    from collections.abc import Iterable

    from kit.importing.grid import Value

__all__ = ["Percent", "Unit", "cleaned", "number_text", "percent_of", "unit_of"]

Sort = Literal["blank", "percent", "bare", "word", "odd"]
Unit = Literal["percent", "fraction", "open"]

NUMBER = re.compile(r"[+-]?(?:[0-9]{1,9}(?:[.,][0-9]{0,15})?|[.,][0-9]{1,15})")
SIGN = r"(?:%|pct\.?|percent|per cent)"
BEFORE = re.compile(rf"{SIGN}\s*(?P<number>{NUMBER.pattern})", re.IGNORECASE)
AFTER = re.compile(rf"(?P<number>{NUMBER.pattern})\s*(?P<sign>{SIGN})?", re.IGNORECASE)
BLANKS = re.compile(r"\s+")

ALIKE = 2
"""So many fractions of one, and nothing above one, show that a sheet keeps fractions."""

PLACES = 9
"""Decimals kept when a fraction is turned into percent; 0.29 × 100 is 28.999999999999996."""


@dataclass(frozen=True)
class Percent:
    """What one cell says.

    Parameters
    ----------
    sort
        ``percent``: ``value`` is in %. ``bare``: a number whose unit the cell does not say.
        ``word``: a text without a number. ``odd``: anything else.
    value
        The number; NaN if there is none.
    text
        The text of a word, cleaned; "" else.
    """

    sort: Sort
    value: float = math.nan
    text: str = ""


def cleaned(text: str) -> str:
    r"""Return a text without invisible characters, in plain forms, with single blanks.

    Full-width digits and the narrow blanks before a per cent sign become plain ones; the
    apostrophe by which a spreadsheet marks a number as text is taken off.

    Examples
    --------
    >>> cleaned("\ufeff 83\u202f% "), cleaned("８３％"), cleaned("'83"), cleaned("−5")
    ('83 %', '83%', '83', '-5')
    """
    plain = unicodedata.normalize("NFKC", displayable(text)).replace("\u2212", "-")
    plain = BLANKS.sub(" ", plain).strip()
    return plain[1:].lstrip() if plain[:1] == "'" and plain[1:2].isdigit() else plain


def percent_of(value: Value, *, times100: bool = False, sign: bool = False) -> Percent:
    """Return what a cell says of a percentage.

    Parameters
    ----------
    times100, sign
        Whether the cell's format multiplies by a hundred, or only adds a per cent sign.

    Examples
    --------
    >>> percent_of("83,5 %"), percent_of(0.29, times100=True), percent_of(0.83)
    (Percent(sort='percent', value=83.5, text=''), Percent(sort='percent', value=29.0, text=''), \
Percent(sort='bare', value=0.83, text=''))
    >>> percent_of("off").sort, percent_of("ca. 83").sort, percent_of("").sort
    ('word', 'odd', 'blank')
    """
    if isinstance(value, float):
        if not math.isfinite(value):
            return Percent("odd")
        if times100:
            return Percent("percent", round(value * 100, PLACES))
        return Percent("percent" if sign else "bare", value)
    if not isinstance(value, str):
        return Percent("odd")
    text = cleaned(value)
    if not text:
        return Percent("blank")
    match = BEFORE.fullmatch(text) or AFTER.fullmatch(text)
    if match:
        number = float(match["number"].replace(",", "."))
        return Percent("bare" if _bare(match) else "percent", number)
    return Percent("odd" if any(c.isdigit() for c in text) else "word", text=text)


def _bare(match: re.Match[str]) -> bool:
    return match.re is AFTER and match["sign"] is None


def unit_of(cells: Iterable[Percent]) -> Unit:
    """Return the unit of the bare numbers of a sheet; ``open`` if they do not settle it.

    Settled are numbers of which none lies between 0 and 1 while some are greater, and numbers of
    which none is greater than 1 while two or more lie between, and nothing else there is in %.

    Examples
    --------
    >>> of = lambda *values: unit_of([percent_of(v) for v in values])
    >>> of(100.0, 83.0, 1.0), of(1.0, 0.83, 0.5), of(100.0, 0.5), of(1.0, 1.0)
    ('percent', 'fraction', 'open', 'open')
    >>> of("83 %", 0.5, 0.4), of("83 %", 42.0)
    ('open', 'percent')
    """
    bare, said = [], False
    for cell in cells:
        if cell.sort == "bare":
            bare.append(cell.value)
        said = said or cell.sort == "percent"
    inner = sum(1 for v in bare if 0 < v < 1)
    above = any(v > 1 for v in bare)
    if above and not inner:
        return "percent"
    if inner >= ALIKE and not above and not said:
        return "fraction"
    return "percent" if not any(0 < v <= 1 for v in bare) else "open"


def number_text(value: float) -> str:
    """Return a number in its shortest form, with a decimal point.

    Examples
    --------
    >>> number_text(83.0), number_text(83.5), number_text(-0.0)
    ('83', '83.5', '0')
    """
    if value == int(value):
        return str(int(value))
    return repr(round(value, PLACES))
