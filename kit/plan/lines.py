"""Lines of text for a terminal, at most `WIDTH` columns wide, and times of a plan in them."""

from __future__ import annotations

import re
from math import isfinite
from typing import TYPE_CHECKING, Literal

from kit.labels import shorten, text_width
from kit.safe_text import displayable
from kit.units import MISSING, NO_BREAK, clock, duration, h_mm

if TYPE_CHECKING:
    from kit.plan.planned import Plan

__all__ = ["INDENT", "WIDTH", "broken", "cell", "moment", "short_time", "title", "wrapped"]

WIDTH = 100
INDENT = "  "


def moment(plan: Plan, t_min: float | None) -> str:
    """Return a time of the plan: by the clock, or as h:mm since the start where none is set.

    Examples
    --------
    >>> from kit.plan.planned import Plan
    >>> moment(Plan(id="p", title="P", devices=(), phases=()), 75)
    '1:15'
    """
    if t_min is None or not isfinite(t_min):
        return MISSING
    return h_mm(t_min) if plan.start is None else clock(plan.start, t_min)


def short_time(minutes: float) -> str:
    """Return a short time to the second where it is no whole number of minutes.

    Examples
    --------
    >>> [short_time(m).replace(NO_BREAK, " ") for m in (2.0, 4 / 3, 0.5, 75.0)]
    ['2 min', '1 min 20 s', '30 s', '1 h 15 min']
    """
    seconds = round(minutes * 60)
    if seconds % 60 == 0 or minutes >= 10:
        return duration(minutes)
    text = f"{seconds // 60}{NO_BREAK}min{NO_BREAK}" if seconds >= 60 else ""
    return f"{text}{seconds % 60}{NO_BREAK}s"


def title(text: str) -> str:
    """Return a heading with a rule below it."""
    return f"{text.upper()}\n{'─' * WIDTH}"


def wrapped(text: str, indent: str = INDENT, first: str | None = None) -> str:
    r"""Return text broken into lines by its width on a terminal; a longer word is cut.

    Examples
    --------
    >>> wrapped("x" * 94 + " 55\N{NO-BREAK SPACE}% of it").splitlines()[1]
    '  55\xa0% of it'
    """
    start = indent if first is None else first
    lines = broken(displayable(text), WIDTH, hang=len(indent), start=start)
    return "\n".join(lines)


def broken(text: str, width: int, *, hang: int = 0, start: str = "") -> list[str]:
    """Return text in lines of a width; a longer word is cut.

    Parameters
    ----------
    hang
        How far all lines but the first are indented.
    start
        What the first line begins with.

    Examples
    --------
    >>> broken("call: Tablet 1, Tablet 6", 16, hang=2)
    ['call: Tablet 1,', '  Tablet 6']
    """
    lines = [start]
    empty = True
    for word in re.split(r"[ \t\n]+", text.strip()):
        shown = shorten(word, width - hang)
        if not empty and text_width(lines[-1]) + 1 + text_width(shown) > width:
            lines.append(" " * hang)
            empty = True
        lines[-1] += shown if empty else f" {shown}"
        empty = False
    return lines


def cell(text: str, width: int, align: Literal["left", "right"] = "left") -> str:
    """Return text in a cell of a width, shortened where it has to be."""
    shown = shorten(displayable(text), width)
    pad = " " * (width - text_width(shown))
    return shown + pad if align == "left" else pad + shown
