"""Names of devices and phases as they are shown: harmless, never empty, never alike.

A label is whatever somebody typed. Tables and sentences show it at up to ``TABLE_WIDTH``
columns, figures at up to ``FIGURE_WIDTH``; what is longer ends in ``…``. Names that would look
alike are cut in the middle, and get their number in the row where that does not help. The setup
table has every label in full.
"""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING

from kit.safe_text import displayable

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from kit.session import Session

__all__ = [
    "FIGURE_WIDTH",
    "TABLE_WIDTH",
    "device_names",
    "full_name",
    "phase_names",
    "phase_numbers",
    "shorten",
    "text_width",
]

FIGURE_WIDTH = 20
TABLE_WIDTH = 40


def text_width(text: str) -> int:
    r"""Return how many columns of a fixed-width type the text takes.

    Examples
    --------
    >>> text_width("Limpet"), text_width("漢字"), text_width("e\u0301")
    (6, 4, 1)
    """
    return sum(
        0
        if unicodedata.combining(char)
        else 2
        if unicodedata.east_asian_width(char) in ("W", "F")
        else 1
        for char in text
    )


def shorten(text: str, width: int = FIGURE_WIDTH) -> str:
    """Return the text cut to ``width`` columns, the cut marked by ``…``.

    Examples
    --------
    >>> shorten("Whelk 10 Plus"), shorten("A very long name for one device", 12)
    ('Whelk 10 Plus', 'A very long…')
    """
    if text_width(text) <= width:
        return text
    kept = ""
    for char in text:
        if text_width(kept + char) > width - 1:
            break
        kept += char
    return kept.rstrip() + "…"


def full_name(label: str, key: str) -> str:
    r"""Return the whole label fit to be shown; the key where nothing of it is visible.

    Examples
    --------
    >>> full_name("  Limpet 10 ", "limpet"), full_name("\u202e", "limpet")
    ('Limpet 10', 'limpet')

    A mark that only stands over another character takes no room by itself:

    >>> full_name("\u0301", "limpet")
    'limpet'
    """
    for text in (" ".join(displayable(label).split()), displayable(key)):
        if text_width(text):
            return text
    return "(no name)"


def _apart(pairs: Sequence[tuple[str, str]], width: int) -> dict[str, str]:
    """Return key → short name, each different from the others."""
    whole = {key: full_name(label, key) for key, label in pairs}
    ends = {key: shorten(text, width) for key, text in whole.items()}
    alike = _repeated(ends.values())
    middles = {key: _cut_middle(text, width) for key, text in whole.items()}
    short = {k: middles[k] if end.casefold() in alike else end for k, end in ends.items()}
    alike = _repeated(short.values())
    taken = {name.casefold() for name in short.values()}
    names: dict[str, str] = {}
    for place, (key, name) in enumerate(short.items(), start=1):
        suffix = ""
        # a label may itself end like a suffix, so one suffix is not always enough
        while name.casefold() in (taken if suffix else alike):
            suffix += f" [{place}]"
            name = shorten(whole[key], width - len(suffix)) + suffix
        names[key] = name
        taken.add(name.casefold())
    return names


def _repeated(names: Iterable[str]) -> set[str]:
    """Return the names, without case, that occur more than once."""
    seen = [name.casefold() for name in names]
    return {name for name in seen if seen.count(name) > 1}


def _cut_middle(text: str, width: int) -> str:
    """Return the text cut to ``width`` columns in its middle."""
    if text_width(text) <= width:
        return text
    tail = ""
    for char in reversed(text):
        if text_width(char + tail) > width // 2:
            break
        tail = char + tail
    return shorten(text, width - text_width(tail)) + tail


def device_names(session: Session, width: int = TABLE_WIDTH) -> Mapping[str, str]:
    """Return device id → name to show, at most ``width`` columns, all different."""
    return _apart([(d.id, d.label) for d in session.devices], width)


def phase_names(session: Session, width: int = TABLE_WIDTH) -> Mapping[str, str]:
    """Return phase id → name to show, at most ``width`` columns, all different."""
    return _apart([(p.id, p.label) for p in session.phases], width)


def phase_numbers(session: Session) -> Mapping[str, int]:
    """Return phase id → its number in the order of the session, from 1."""
    return {p.id: n for n, p in enumerate(session.phases, start=1)}
