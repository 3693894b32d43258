"""What is different between two versions of a setup file: key by key."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Any

from kit.read.toml_table import key_lines
from kit.revise.changes import CellChange

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["diff_setups"]

NAMES = ("id", "number")
"""Keys that name a table of an array, so that it keeps its name when the order changes."""


def diff_setups(old: bytes, new: bytes, *, file: str) -> tuple[CellChange, ...]:
    r"""Return what changed between two versions of a setup file, in line order.

    Tables of an array are told apart by their ``id`` or ``number``, else by their place. A file
    that is not there is given as ``b""``.

    Examples
    --------
    >>> old = b'[[devices]]\nid = "a"\nhealth_pct = 90\n'
    >>> new = b'[[devices]]\nid = "a"\nhealth_pct = 95\nmodel = "A"\n'
    >>> for change in diff_setups(old, new, file="session.toml"):
    ...     print(change.sentence)
    session.toml, line 3, key devices[a].health_pct: '90' became '95'
    session.toml, line 4, key devices[a].model: 'A' was added
    """
    before, after = _keys(old), _keys(new)
    found = []
    for key in [*after, *(key for key in before if key not in after)]:
        one, other = before.get(key), after.get(key)
        if one is not None and other is not None and one[0] == other[0]:
            continue
        held = other or one
        found.append(
            CellChange(
                kind="changed" if one and other else "added" if other else "removed",
                file=file,
                line=held[1] if held else None,
                column=key,
                old=one[0] if one else "",
                new=other[0] if other else "",
            )
        )
    return tuple(sorted(found, key=lambda c: c.line or 0))


def _keys(data: bytes) -> dict[str, tuple[str, int | None]]:
    """Return dotted key → value as text, and its line."""
    text = data.decode("utf-8-sig").replace("\r\n", "\n")
    lines = key_lines(text)
    return {shown: (value, _line(path, lines)) for shown, path, value in _flat(tomllib.loads(text))}


def _flat(table: dict[str, Any], shown: str = "", path: str = "") -> Iterator[tuple[str, str, str]]:
    """Yield each key as it is shown, as `kit.read.toml_table.key_lines` has it, and its value."""
    for key, value in table.items():
        here, there = (f"{p}.{key}" if p else key for p in (shown, path))
        if isinstance(value, dict):
            yield from _flat(value, here, there)
        elif isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
            for number, part in enumerate(value, start=1):
                name = next((part[n] for n in NAMES if n in part), number)
                yield from _flat(part, f"{here}[{name}]", f"{there}[{number}]")
        else:
            yield here, there, _text(value)


def _text(value: object) -> str:
    """Return a value as it is read, without the quotation marks of TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "[" + ", ".join(_text(part) for part in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} = {_text(v)}" for k, v in value.items()) + "}"
    return str(value)


def _line(path: str, lines: dict[str, int]) -> int | None:
    """Return the line of a key, else that of the nearest table around it."""
    while path and path not in lines:
        path = re.sub(r"(\.[^.]*|\[\d+\]|^[^.]*)$", "", path)
    return lines.get(path)
