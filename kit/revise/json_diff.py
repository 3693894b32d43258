"""Where two JSON documents differ, each place in words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from kit.revise.difference import Difference, cut_both

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

__all__ = ["json_differences"]

KEY_COLUMNS = (
    "run", "phase", "device", "device_a", "device_b", "measurand", "id", "number",
    "Device", "Phase",
)  # fmt: skip


def json_differences(
    found: Any, expected: Any, *, file: str, tolerance: float = 0.0
) -> Iterator[Difference]:
    """Yield every place in which two documents differ.

    Parameters
    ----------
    found, expected
        Plain data. A mapping with ``columns`` and ``rows`` is a table, whose places are named by
        row and column.
    file
        Name of the document.
    tolerance
        Relative difference up to which numbers count as equal; 0: exactly.
    """
    yield from _walk(found, expected, (), file, tolerance)


def _walk(
    found: Any, expected: Any, path: tuple[str, ...], file: str, tolerance: float
) -> Iterator[Difference]:
    if isinstance(found, dict) and isinstance(expected, dict):
        tables = [isinstance(v.get("rows"), list) and "columns" in v for v in (found, expected)]
        if all(tables) and found["columns"] == expected["columns"]:
            yield from _table(found, expected, path, file, tolerance)
            return
        for key in [*expected, *(k for k in found if k not in expected)]:
            if key not in found or key not in expected:
                yield _different(found.get(key), expected.get(key), (*path, key), file)
            else:
                yield from _walk(found[key], expected[key], (*path, key), file, tolerance)
        if list(found) != list(expected) and found.keys() == expected.keys():
            yield _different(list(found), list(expected), (*path, "order of keys"), file)
    elif isinstance(found, list) and isinstance(expected, list) and len(found) == len(expected):
        for i, (a, b) in enumerate(zip(found, expected, strict=True), start=1):
            yield from _walk(a, b, (*path, f"entry {i}"), file, tolerance)
    elif not _equal(found, expected, tolerance):
        yield _different(found, expected, path, file)


def _table(
    found: Any, expected: Any, path: tuple[str, ...], file: str, tolerance: float
) -> Iterator[Difference]:
    rows = found["rows"], expected["rows"]
    if len(rows[0]) != len(rows[1]):
        counts = [f"{len(part)} rows" for part in rows]
        yield _different(counts[0], counts[1], path, file)
    for i, (a, b) in enumerate(zip(*rows, strict=False), start=1):
        if a == b:
            continue
        name = _row_name(b, expected["columns"], i)
        if len(a) != len(b):
            yield _different(f"{len(a)} cells", f"{len(b)} cells", (*path, name), file)
            continue
        for column, one, other in zip(expected["columns"], a, b, strict=True):
            place = (*path, name, f"column {_column_name(column)}")
            yield from _walk(one, other, place, file, tolerance)


def _column_name(column: Any) -> str:
    """Return the name of a column, which a displayed table holds among other things."""
    return str(column.get("name", "")) if isinstance(column, dict) else str(column)


def _row_name(row: Sequence[Any], columns: Sequence[Any], number: int) -> str:
    named = dict(zip(map(_column_name, columns), row, strict=False))
    parts = [str(named[c]) for c in KEY_COLUMNS if named.get(c) not in (None, "")]
    return f"row {number} ({', '.join(parts)})" if parts else f"row {number}"


def _equal(found: Any, expected: Any, tolerance: float) -> bool:
    if type(found) is not type(expected):
        return tolerance > 0 and _both_numbers(found, expected) and found == expected
    if tolerance and isinstance(found, float):
        return math.isclose(found, expected, rel_tol=tolerance, abs_tol=tolerance)
    return bool(found == expected)


def _both_numbers(*values: Any) -> bool:
    return all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in values)


def _different(found: Any, expected: Any, path: tuple[str, ...], file: str) -> Difference:
    one, other = cut_both(found, expected)
    return Difference(file=file, place=", ".join(map(str, path)), found=one, expected=other)
