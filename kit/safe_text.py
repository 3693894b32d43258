"""What may be shown: text from a record made harmless for display, never changed in the data.

A label, a note or a condition is whatever somebody typed. Three things stand between it and the
page: invisible characters that reorder or hide text are taken out (`displayable`), markup is
escaped where the text meets a markup language (`escape_html`, `escape_markdown`), and a cell of
a CSV table that a spreadsheet would take for a formula is quoted (`csv_cell`).
"""

from __future__ import annotations

import html
import re
import unicodedata

__all__ = [
    "csv_cell",
    "displayable",
    "displayable_lines",
    "escape_html",
    "escape_markdown",
    "starts_formula",
    "visible_code_points",
]

# Unicode Standard Annex #9, table 3 (explicit directional formatting) and section 2 (marks).
BIDI_CONTROLS = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
# Invisible characters that can hide a difference between two labels; ZWJ and ZWNJ stay, because
# emoji sequences and several scripts need them.
INVISIBLE = "\u00ad\u034f\u115f\u1160\u17b4\u17b5\u180e\u200b\u2060\u2061\u2062\u2063\u2064\ufeff"
# Interlinear annotation and tag characters: invisible, and refused by PDF/UA readers.
_TAKEN_OUT = re.compile(
    f"[{BIDI_CONTROLS}{INVISIBLE}\u206a-\u206f\ufff9-\ufffb\U000e0000-\U000e007f]"
)
_SHAPING = re.compile("[\u200c\u200d\ufe00-\ufe0f\U000e0100-\U000e01ef]")
_BREAKS = re.compile("[\t\n\x0b\x0c\r\x85\u2028\u2029]+")
# Characters that a spreadsheet takes for the start of a formula (OWASP, "CSV Injection").
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")
_MARKDOWN_SPECIAL = re.compile(r"([\\`*_{}\[\]()#+\-.!|~<>&$^=:\"'/@])")


def displayable(text: str) -> str:
    r"""Return ``text`` without characters that reorder, hide or break what is shown.

    Taken out: bidirectional controls, zero-width and other invisible characters, control,
    private-use and non-characters. Tabs and line breaks become one space, lone surrogates
    U+FFFD (they cannot be written as UTF-8). Everything else stays as it is, letters of
    right-to-left scripts and emoji included. For display only: data keep what was typed.

    Parameters
    ----------
    text
        Any text.

    Returns
    -------
    str
        Text safe to hand to a page maker, which still has to escape its markup.

    Examples
    --------
    >>> displayable("Kelpfin\u202e 11\x07\tpro")
    'Kelpfin 11 pro'
    >>> displayable("naïve 漢字 🐚 «א»")
    'naïve 漢字 🐚 «א»'
    """
    if text.isascii() and text.isprintable():
        return text
    text = _TAKEN_OUT.sub("", _BREAKS.sub(" ", text))
    return "".join(_shown(char) for char in text)


def displayable_lines(text: str) -> str:
    r"""Return a text of several lines, each made `displayable`, line breaks kept.

    Examples
    --------
    >>> displayable_lines("a\x00\n\tb")
    'a\n b'
    """
    return "\n".join(displayable(line) for line in text.split("\n"))


def _shown(char: str) -> str:
    """Return the character, its stand-in, or nothing."""
    category = unicodedata.category(char)
    if category == "Cs":
        return "\ufffd"
    if category in ("Cc", "Co"):
        return ""
    point = ord(char)
    if category == "Cn" and (point & 0xFFFE == 0xFFFE or 0xFDD0 <= point <= 0xFDEF):
        return ""
    return char


def escape_html(text: str) -> str:
    """Return displayable text escaped for HTML element content and quoted attributes.

    Examples
    --------
    >>> escape_html('<b title="x">')
    '&lt;b title=&quot;x&quot;&gt;'
    """
    return html.escape(displayable(text), quote=True)


def escape_markdown(text: str) -> str:
    r"""Return displayable text in which no character means anything to Markdown.

    Every punctuation character that CommonMark lets be escaped gets a backslash (CommonMark
    0.31.2, section 2.4), so the text comes out as it went in.

    Examples
    --------
    >>> escape_markdown("**x** [a](b)")
    '\\*\\*x\\*\\* \\[a\\]\\(b\\)'
    """
    return _MARKDOWN_SPECIAL.sub(r"\\\1", displayable(text))


def starts_formula(text: str) -> bool:
    """Return whether a spreadsheet may take the text for a formula; a plain number is none.

    Examples
    --------
    >>> [starts_formula(t) for t in ('=HYPERLINK("x")', "-1.5", "@SUM(1)", "Limpet 10", "-x")]
    [True, False, True, False, True]
    """
    return text.lstrip(" ").startswith(FORMULA_STARTS) and not _NUMBER.fullmatch(text)


def csv_cell(text: str) -> str:
    """Return text for a cell of a CSV table that no spreadsheet runs as a formula.

    A cell that would be taken for a formula gets an apostrophe in front, the spreadsheet's own
    mark for "this is text". The same value stands unchanged in ``results.json``.

    Examples
    --------
    >>> csv_cell("=1+1"), csv_cell("-0.25"), csv_cell("Dunlin 9")
    ("'=1+1", '-0.25', 'Dunlin 9')
    """
    return f"'{text}" if starts_formula(text) else text


def visible_code_points(text: str, missing: frozenset[str]) -> str:
    r"""Return the text with each missing character written by number (``[U+1F41A]``).

    Joiners and variation selectors, which only shape their neighbours, are left out instead.

    Examples
    --------
    >>> visible_code_points("shell \U0001f41a\ufe0f", frozenset("\U0001f41a\ufe0f"))
    'shell [U+1F41A]'
    """
    return "".join(
        ("" if _SHAPING.match(c) else f"[U+{ord(c):04X}]") if c in missing else c for c in text
    )
