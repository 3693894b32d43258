"""Reading tables of a TOML file key by key, telling every key that is wrong, with its line.

A :class:`Table` hands out checked values; what was not asked for by the time of
:meth:`Table.finish` is an unknown key. The parser of the standard library gives no line numbers,
so the lines of the keys are found by a small scan of the text (:func:`key_lines`).
"""

from __future__ import annotations

import json
import math
import re
from datetime import date, datetime, time
from typing import TYPE_CHECKING, TypeGuard

from kit.errors import Finding
from kit.read.cells import hint, quoted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kit.errors import Severity

__all__ = ["LARGEST", "NOT_RECORDED", "Notes", "Table", "is_number", "key_lines", "toml_text"]

NOT_RECORDED = "not recorded"
"""The text that stands in a setup file for a value that was not recorded."""

LARGEST = 1_000_000
"""No quantity of a session or plan is larger, in its unit: that of minutes is two years."""

HEADING = re.compile(r"\s*(\[\[?)\s*(.+?)\s*\]\]?\s*(?:#.*)?$")
NAME = r"""(?:"[^"]*"|'[^']*'|[A-Za-z0-9_-]+)"""
KEY = re.compile(rf"\s*({NAME}(?:\s*\.\s*{NAME})*)\s*=")
PART = re.compile(r"""\s*(?:"([^"]*)"|'([^']*)'|([A-Za-z0-9_-]+))\s*""")


def toml_text(value: object) -> str:
    """Return a value about as it stands in the file.

    Examples
    --------
    >>> toml_text(True), toml_text("on"), toml_text([1, 2]), toml_text({"a": 1})
    ('true', "'on'", '[1, 2]', 'a table')
    """
    if isinstance(value, dict) or (isinstance(value, list) and any(map(_is_table, value))):
        return "a table" if isinstance(value, dict) else "an array with tables"
    if isinstance(value, str):
        return quoted(value) if value else "an empty text"
    if isinstance(value, (date, datetime, time)):
        return value.isoformat()
    return json.dumps(value, default=str, ensure_ascii=False)


def _is_table(value: object) -> bool:
    return isinstance(value, dict)


def key_lines(text: str) -> dict[str, int]:
    r"""Return the line on which each key stands, by its dotted path; arrays count from 1.

    Examples
    --------
    >>> key_lines('[session]\nid = "a"\n[[devices]]\nid = "x"\n[[devices]]\ngauge.rounding = 1')
    ... # doctest: +NORMALIZE_WHITESPACE
    {'session': 1, 'session.id': 2, 'devices[1]': 3, 'devices[1].id': 4, 'devices[2]': 5,
     'devices[2].gauge.rounding': 6}
    """
    lines: dict[str, int] = {}
    count: dict[str, int] = {}
    prefix = ""
    closing = ""
    for number, line in enumerate(text.split("\n"), start=1):
        if closing:
            closing = "" if closing in line else closing
            continue
        heading = HEADING.match(line)
        key = KEY.match(line)
        if key:
            path = ".".join(_parts(key[1]))
            lines.setdefault(f"{prefix}.{path}" if prefix else path, number)
            rest = line[key.end() :]
            for mark in ('"""', "'''"):
                if rest.count(mark) % 2:
                    closing = mark
        elif heading:
            prefix = _placed(_parts(heading[2]), count, is_array=heading[1] == "[[")
            lines.setdefault(prefix, number)
    return lines


def _parts(text: str) -> list[str]:
    return [next(p for p in (*m.groups(), "") if p is not None) for m in PART.finditer(text)]


def _placed(parts: list[str], count: dict[str, int], *, is_array: bool) -> str:
    """Return the dotted path of a heading with the running numbers of its arrays of tables."""
    prefix = ""
    for i, part in enumerate(parts):
        prefix = f"{prefix}.{part}" if prefix else part
        if is_array and i == len(parts) - 1:
            count[prefix] = count.get(prefix, 0) + 1
        if prefix in count:
            prefix = f"{prefix}[{count[prefix]}]"
    return prefix


class Notes:
    """Gathers the findings of one TOML file.

    Parameters
    ----------
    also
        Keys that others read: path of a table without numbers ("devices") → names.
    """

    def __init__(
        self,
        file: str,
        lines: Mapping[str, int],
        also: Mapping[str, Sequence[str]] | None = None,
    ) -> None:
        self.file = file
        self.lines = lines
        self.also = also or {}
        self.findings: list[Finding] = []

    def line(self, path: str) -> int | None:
        """Return the line of a key, or of the nearest table around it."""
        while path:
            if path in self.lines:
                return self.lines[path]
            whole = re.sub(r"\[[0-9]+\]$", "", path)  # a table in braces has no line of its own
            path = path.rpartition(".")[0] if whole == path else whole
        return None

    def tell_syntax(self, message: str) -> None:
        """Add the finding that the file is no TOML, with the line that the parser names."""
        at = re.search(r"\(at line ([0-9]+)", message)
        self.lines = {"": int(at[1])} if at else {}
        self.findings.append(
            Finding(
                rule="setup-syntax",
                severity="error",
                file=self.file,
                line=int(at[1]) if at else None,
                found=f"text that is no TOML ({message})",
                expected='keys and values such as title = "…" under headings such as [session]',
                remedy="Correct the line; docs/record-format.md shows a whole setup file, "
                "docs/planning.md a plan.",
            )
        )

    def add(
        self,
        rule: str,
        path: str,
        *,
        found: str,
        expected: str,
        remedy: str,
        severity: Severity = "error",
        phase: str = "",
        run: int | None = None,
    ) -> None:
        """Add a finding on a key."""
        self.findings.append(
            Finding(
                rule=rule,
                severity=severity,
                file=self.file,
                line=self.line(path),
                column=path,
                found=found,
                expected=expected,
                remedy=remedy,
                phase=phase,
                run=run,
            )
        )


class Table:
    """One table of a TOML file.

    Parameters
    ----------
    data
        The table as ``tomllib`` gives it.
    path
        Its dotted path, "" for the file itself.
    """

    def __init__(self, data: Mapping[str, object], path: str, notes: Notes) -> None:
        self.data = data
        self.path = path
        self.notes = notes
        self.asked: list[str] = []

    def key(self, name: str) -> str:
        """Return the dotted path of a key of this table."""
        return f"{self.path}.{name}" if self.path else name

    def has(self, name: str) -> bool:
        """Whether the key is there."""
        return name in self.data

    def wrong(self, name: str, expected: str, remedy: str, *, rule: str = "setup-value") -> None:
        """Tell that the value of a key is not what it should be."""
        value = self.data.get(name)
        found = toml_text(value) if name in self.data else "no such key"
        if isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) > LARGEST:
            expected += f", no larger than {LARGEST}"
        self.notes.add(rule, self.key(name), found=found, expected=expected, remedy=remedy)

    def text(self, name: str, default: str = "") -> str:
        """Return a text, stripped of blanks around it."""
        value = self._take(name)
        if value is None:
            return default
        if isinstance(value, str):
            return default if value.strip() == NOT_RECORDED else value.strip()
        self.wrong(name, "a text in quotation marks", f'Write {name} = "…".')
        return default

    def number(
        self, name: str, *, low: float = -math.inf, high: float = math.inf, unit: str = ""
    ) -> float | None:
        """Return a number within bounds, or ``None`` if it is not there."""
        value = self._take(name)
        if value is None or (isinstance(value, str) and value.strip() == NOT_RECORDED):
            return None
        if is_number(value) and low <= value <= high:
            return float(value)
        self.wrong(
            name,
            f"a number{_bounds(low, high)}{f' ({unit})' if unit else ''}",
            f'Write the number alone, without unit; "{NOT_RECORDED}" if it was not recorded.',
        )
        return None

    def whole(self, name: str, *, low: int = 1) -> int | None:
        """Return a whole number from ``low`` on, or ``None`` if it is not there."""
        value = self._take(name)
        if value is None:
            return None
        if isinstance(value, int) and not isinstance(value, bool) and low <= value <= LARGEST:
            return value
        self.wrong(name, f"a whole number from {low}", "Write the number alone.")
        return None

    def flag(self, name: str) -> bool | None:
        """Return true or false, or ``None`` if it is not there."""
        value = self._take(name)
        if value is None or value == NOT_RECORDED:
            return None
        if isinstance(value, bool):
            return value
        self.wrong(name, "true or false", f"Write {name} = true or {name} = false.")
        return None

    def choice(self, name: str, choices: Sequence[str], default: str) -> str:
        """Return one of a few words."""
        value = self._take(name)
        if value is None:
            return default
        if isinstance(value, str) and value in choices:
            return value
        likely = hint(value, choices) if isinstance(value, str) else ""
        self.wrong(name, f"one of {', '.join(choices)}", f"Write one of these words.{likely}")
        return default

    def texts(self, name: str) -> tuple[str, ...]:
        """Return a list of texts."""
        value = self._take(name)
        if value is None:
            return ()
        if isinstance(value, list) and all(isinstance(v, str) for v in value):
            return tuple(v.strip() for v in value)
        self.wrong(name, "a list of texts", f'Write {name} = ["…", "…"].')
        return ()

    def value(self, name: str) -> object:
        """Return whatever stands there; ``None`` if nothing does."""
        return self._take(name)

    def table(self, name: str) -> Table:
        """Return a table of this table; an empty one if it is not there."""
        value = self._take(name)
        if isinstance(value, dict):
            return Table(value, self.key(name), self.notes)
        if value is not None:
            self.wrong(name, "a table", f"Write a heading [{self.key(name)}] and keys below it.")
        return Table({}, self.key(name), self.notes)

    def tables(self, name: str) -> list[Table]:
        """Return the tables of an array of tables."""
        value = self._take(name)
        if value is None:
            return []
        if isinstance(value, list) and all(isinstance(v, dict) for v in value):
            return [
                Table(v, f"{self.key(name)}[{i}]", self.notes) for i, v in enumerate(value, start=1)
            ]
        self.wrong(
            name, "an array of tables", f"Begin each of them with a heading [[{self.key(name)}]]."
        )
        return []

    def finish(self) -> None:
        """Tell every key that was not asked for."""
        known = [*self.asked, *self.notes.also.get(re.sub(r"\[[0-9]+\]", "", self.path), ())]
        for name in self.data:
            if name not in known:
                where = f"[{self.path}]" if self.path else "the file"
                self.notes.add(
                    "setup-key",
                    self.key(name),
                    found=f"the key {quoted(name)}",
                    expected=f"one of the keys of {where}: {', '.join(sorted(set(known)))}",
                    remedy="Correct the name or delete the line." + hint(name, known),
                )

    def _take(self, name: str) -> object:
        if name not in self.asked:
            self.asked.append(name)
        return self.data.get(name)


def is_number(value: object) -> TypeGuard[int | float]:
    """Whether a value is a number that a quantity can have (true, false and nan are not)."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) <= LARGEST


def _bounds(low: float, high: float) -> str:
    if math.isinf(low) and math.isinf(high):
        return ""
    if math.isinf(high):
        return f" from {low:g}"
    return f" from {low:g} to {high:g}"
