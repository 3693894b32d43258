"""From the entries of a journal to the rows of the log, and back from a log edited by hand."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

from kit.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from kit.recorder.journal import Entry

__all__ = [
    "COLUMNS",
    "Row",
    "adopted",
    "alive",
    "effective_rows",
    "last_alive",
    "log_bytes",
    "parse_log",
    "says_something",
]

COLUMNS = (
    "event", "phase", "point", "device", "date", "clock", "soc_pct", "order", "last_on",
    "first_off", "temperature_c", "part", "duration_min", "completed", "cause", "by", "evidence",
    "note",
)  # fmt: skip
"""Columns of a recorded log, in order; others follow when a log that was taken over has them."""

PLACES = frozenset({"event", "run", "phase", "point", "device", "order", "part", "by"})
"""Columns that say where a row belongs; a row with nothing else has yet to be filled in."""

_DECIMAL_COMMA = re.compile(r"-?[0-9]+,[0-9]+")


@dataclass(frozen=True, kw_only=True)
class Row:
    """One row of the log; ``id`` says in which entry it was made, and where in it."""

    id: str
    cells: Mapping[str, str]

    def get(self, column: str) -> str:
        """Return the text of a cell, "" for none."""
        return self.cells.get(column, "")


def alive(entries: Sequence[Entry]) -> frozenset[int]:
    """Return the numbers of the entries that are not withdrawn.

    An undo that is itself withdrawn withdraws nothing.
    """
    dead: set[int] = set()
    for entry in reversed(entries):
        if entry.kind == "undo" and entry.n not in dead:
            dead.add(int(str(entry.facts["of"])))
    return frozenset(e.n for e in entries if e.n not in dead)


def last_alive(entries: Sequence[Entry]) -> Entry | None:
    """Return the last entry that can be withdrawn: none before a log that was taken over."""
    kept = alive(entries)
    for entry in reversed(entries):
        if entry.kind == "adopt":
            return None
        if entry.kind == "enter" and entry.n in kept:
            return entry
    return None


def effective_rows(entries: Sequence[Entry]) -> tuple[Row, ...]:
    """Return the rows that a journal amounts to: without what was withdrawn, as corrected."""
    kept = alive(entries)
    rows: dict[str, dict[str, str]] = {}
    for entry in entries:
        if entry.kind == "adopt":
            rows = _after_adoption(entry, rows, entries, kept)
        if entry.kind != "enter" or entry.n not in kept:
            continue
        for place, cells in enumerate(entry.rows, start=1):
            rows[f"{entry.n}.{place}"] = dict(cells)
        for name, cells in entry.changes.items():
            if name in rows:
                rows[name].update(cells)
    return tuple(Row(id=name, cells={c: t for c, t in r.items() if t}) for name, r in rows.items())


def _after_adoption(
    entry: Entry,
    rows: Mapping[str, dict[str, str]],
    entries: Sequence[Entry],
    kept: frozenset[int],
) -> dict[str, dict[str, str]]:
    """Return the rows taken over, then those of entries that the taken log did not have yet."""
    through = int(str(entry.facts["through"]))
    names = [str(n) for n in cast("list[object]", entry.facts["ids"])]
    taken = dict(zip(names, (dict(r) for r in entry.rows), strict=True))
    later = {n: dict(r) for n, r in rows.items() if int(n.partition(".")[0]) > through}
    merged = {**taken, **later}
    for other in entries[through : entry.n - 1]:
        if other.kind == "enter" and other.n in kept:
            for name, cells in other.changes.items():
                if name in merged:
                    merged[name].update(cells)
    return merged


def adopted(
    found: Sequence[Mapping[str, str]], written: Iterable[Row], n: int
) -> tuple[tuple[str, ...], tuple[Mapping[str, str], ...]]:
    """Return ids and cells of the rows of a log that was edited by hand, for entry ``n``.

    Parameters
    ----------
    found
        Rows of the log as it is.
    written
        Rows as the recorder wrote them last: a row that is still the same keeps its id, so that
        it can be corrected like any other.
    """
    known: dict[tuple[tuple[str, str], ...], list[str]] = {}
    for row in written:
        known.setdefault(_key(row.cells), []).append(row.id)
    names = []
    for place, cells in enumerate(found, start=1):
        same = known.get(_key(cells))
        names.append(same.pop(0) if same else f"{n}.{place}")
    return tuple(names), tuple(found)


def _key(cells: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    return tuple(sorted((c, t) for c, t in cells.items() if t))


def log_bytes(rows: Sequence[Row]) -> bytes:
    r"""Return the log as a file: UTF-8, comma, line ends LF.

    Examples
    --------
    >>> log_bytes([Row(id="1.1", cells={"event": "note", "note": "tea, then on"})]).splitlines()[-1]
    b'note,,,,,,,,,,,,,,,,,"tea, then on"'
    """
    more = dict.fromkeys(c for row in rows for c in row.cells if c not in COLUMNS)
    stream = io.StringIO()
    writer = csv.DictWriter(stream, [*COLUMNS, *more], restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(row.cells for row in rows)
    return stream.getvalue().encode("utf-8", "replace")


def says_something(cells: Mapping[str, str]) -> bool:
    """Whether a row holds an observation; a row of a plan that waits to be filled in does not.

    Examples
    --------
    >>> says_something({"event": "reading", "phase": "p1", "device": "a", "order": "1"})
    False
    >>> says_something({"event": "reading", "device": "a", "soc_pct": "0"})
    True
    """
    return any(text for column, text in cells.items() if column not in PLACES)


def parse_log(data: bytes, file: str) -> tuple[Mapping[str, str], ...]:
    """Read the rows of a log in long form as texts, blank cells left out.

    Raises
    ------
    UsageError
        If it is no such log.
    """
    from kit.read.csv_dialect import read_table
    from kit.read.log_columns import is_long_form, plain_name

    table, found = read_table(data, file)
    errors = [f.sentence for f in found if f.severity == "error"]
    if table is None or errors:
        message = f"{file} cannot be taken over: " + " ".join(errors or ["it is no table"])
        raise UsageError(message)
    if not is_long_form(table):
        message = (
            f"{file} is a scorecard with a column for each device; the recorder keeps a log with "
            "one row for each observation. Record in a folder of its own."
        )
        raise UsageError(message)
    names = [plain_name(str(c)) for c in table.frame.columns]
    columns = [table.frame[c].astype(str).tolist() for c in table.frame.columns]
    rows = []
    for texts in zip(*columns, strict=True):
        cells = {n: _point(n, t) for n, t in zip(names, texts, strict=True) if t.strip()}
        if cells:
            rows.append(cells)
    return tuple(rows)


def _point(column: str, text: str) -> str:
    """Return a cell with a decimal point, since the log is written with commas between cells."""
    numeric = column in ("soc_pct", "temperature_c", "duration_min", "elapsed_min")
    if numeric and _DECIMAL_COMMA.fullmatch(text.strip()):
        return text.strip().replace(",", ".")
    return text
