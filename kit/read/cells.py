"""What the readers of a record share: quoting a value, the nearest name, numbers, collecting.

A column of a table is handled as a categorical: every rule looks at the distinct texts only and
then at the rows that hold them, so that a log of a million rows costs little more than one of a
thousand.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from kit.errors import Finding, Severity

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd
    from numpy.typing import NDArray

__all__ = [
    "MOST_ALIKE",
    "Collector",
    "distinct_texts",
    "hint",
    "nearest",
    "parse_numbers",
    "quoted",
]

MOST_ALIKE = 200
"""So many cells with the same fault are listed one by one; the rest in one more finding."""

LONGEST_QUOTE = 80
"""Longer values are cut in messages (never in the record)."""

NUMBER = re.compile(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]{1,3})?")
THOUSANDS_POINT = re.compile(r"[+-]?[0-9]{1,3}\.[0-9]{3}")
THOUSANDS_COMMA = re.compile(r"[+-]?[0-9]{1,3},[0-9]{3}")
PLAIN = frozenset("0123456789.")


def distinct_texts(column: pd.Series) -> list[str]:
    """Return the distinct texts of a categorical column, in the order of its codes."""
    texts: list[str] = column.cat.categories.tolist()
    return texts


def quoted(value: object) -> str:
    r"""Return a value as it stands in a message: in quotes, on one line, cut if long.

    Examples
    --------
    >>> print(quoted("87 %"), quoted("a\nb"), quoted("\u200bx"), quoted(""))
    '87 %' 'a\nb' '\u200bx' an empty cell
    """
    if value == "":
        return "an empty cell"
    text = value if isinstance(value, str) else repr(value)
    if len(text) > LONGEST_QUOTE:
        text = text[: LONGEST_QUOTE - 1] + "…"
    shown = "".join(
        c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text
    )
    return f"'{shown}'" if isinstance(value, str) else shown


def nearest(value: str, known: Iterable[str]) -> str:
    """Return the known name that is most like ``value``; "" if none is.

    Examples
    --------
    >>> nearest("limpit", ["dunlin", "limpet"]), nearest("zzz", ["dunlin"])
    ('limpet', '')
    """
    import difflib

    by_plain = {name.casefold(): name for name in known}
    found = difflib.get_close_matches(value.casefold(), list(by_plain), n=1, cutoff=0.6)
    return by_plain[found[0]] if found else ""


def hint(value: str, known: Iterable[str]) -> str:
    """Return " Did you mean 'x'?" with the nearest known name, or "".

    Examples
    --------
    >>> hint("limpit", ["dunlin", "limpet"])
    " Did you mean 'limpet'?"
    """
    name = nearest(value, known)
    return f" Did you mean {quoted(name)}?" if name else ""


def parse_numbers(
    texts: Sequence[str], *, comma_is_separator: bool = False
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Read numbers written with a decimal point or a decimal comma.

    Parameters
    ----------
    texts
        Distinct cell texts.
    comma_is_separator
        Whether the file separates its columns by commas: then ``1,234`` may be a thousand or one
        and a bit, and is refused; ``87,5`` is not ambiguous and is read.

    Returns
    -------
    values
        The numbers; NaN for a blank cell or one that is no number.
    bad
        Where a cell is neither blank nor a number.

    Examples
    --------
    >>> values, bad = parse_numbers(["87", "87,5", "", "87 %"])
    >>> values.tolist(), bad.tolist()
    ([87.0, 87.5, nan, nan], [False, False, False, True])

    In a column with decimal commas ``1.234`` could be a thousand:

    >>> parse_numbers(["87,5", "1.234"])[1].tolist()
    [False, True]
    """
    if PLAIN.issuperset("".join(texts)):
        try:
            values = np.array([t or "nan" for t in texts], dtype=object).astype(np.float64)
        except ValueError:
            pass
        else:
            if not np.isinf(values).any():
                return values, np.zeros(len(texts), dtype=bool)
    with_comma = any("," in t and NUMBER.fullmatch(t.strip()) for t in texts)
    values = np.full(len(texts), np.nan)
    bad = np.zeros(len(texts), dtype=bool)
    for i, raw in enumerate(texts):
        text = raw.strip().replace("\u2212", "-")
        if not text:
            continue
        ambiguous = (with_comma and THOUSANDS_POINT.fullmatch(text)) or (
            comma_is_separator and THOUSANDS_COMMA.fullmatch(text)
        )
        if NUMBER.fullmatch(text) and not ambiguous:
            values[i] = float(text.replace(",", "."))
        bad[i] = not np.isfinite(values[i])
        if bad[i]:
            values[i] = np.nan
    return values, bad


@dataclass
class Collector:
    """Gathers the findings of one file while it is read.

    Parameters
    ----------
    file
        Name of the file as the user gave it.
    lines
        Line of every row as a text editor counts it.
    origin
        For a table that was turned from wide to long: the heading in the file under which the
        value of each row stands.
    own
        Columns that such a table has itself: findings on them keep their name.
    """

    file: str
    lines: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    origin: Sequence[str] | None = None
    own: frozenset[str] = frozenset()
    findings: list[Finding] = field(default_factory=list)

    def add(
        self,
        rule: str,
        *,
        found: str,
        expected: str,
        remedy: str,
        severity: Severity = "error",
        row: int | None = None,
        column: str = "",
        device: str = "",
        phase: str = "",
        run: int | None = None,
    ) -> None:
        """Add one finding on a row (0-based) or, without ``row``, on the file."""
        line = None if row is None else int(self.lines[row])
        if self.origin is not None and row is not None and column not in self.own:
            column = self.origin[row]
        self.findings.append(
            Finding(
                rule=rule,
                severity=severity,
                file=self.file,
                line=line,
                column=column,
                found=found,
                expected=expected,
                remedy=remedy,
                device=device,
                phase=phase,
                run=run,
            )
        )

    def add_rows(
        self,
        rule: str,
        rows: NDArray[np.intp],
        texts: Sequence[str],
        *,
        column: str,
        expected: str,
        remedy: str,
        severity: Severity = "error",
        likely: Sequence[str] = (),
    ) -> None:
        """Add one finding for each row, with its text; past ``MOST_ALIKE`` one for the rest.

        ``likely`` are the names of which the most alike is proposed.
        """
        for row, text in zip(rows[:MOST_ALIKE].tolist(), texts[:MOST_ALIKE], strict=True):
            self.add(
                rule,
                row=row,
                column=column,
                found=quoted(text),
                expected=expected,
                remedy=remedy + (hint(text, likely) if likely else ""),
                severity=severity,
            )
        self.add_rest(
            rule, rows, column=column, expected=expected, remedy=remedy, severity=severity
        )

    def add_rest(
        self,
        rule: str,
        rows: NDArray[np.intp],
        *,
        column: str,
        expected: str,
        remedy: str,
        severity: Severity = "error",
    ) -> None:
        """Add one finding for the rows past ``MOST_ALIKE``, if there are any."""
        rest = rows[MOST_ALIKE:]
        if rest.size:
            self.add(
                rule,
                row=int(rest[0]),
                column=column,
                severity=severity,
                expected=expected,
                found=f"{rest.size} more of this kind, from here to line {self.lines[rest[-1]]}",
                remedy=remedy,
            )
