"""Headings of two rows: the name of a device over a percentage, a time and what else was noted."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from kit.importing.grid import column_letters
from kit.importing.percent import cleaned
from kit.importing.words import UNIT_WORDS, Heading, heading_of, names_checkpoint

if TYPE_CHECKING:
    from kit.importing.grid import Grid
    from kit.importing.mapping import Decisions

__all__ = ["Checkpoints", "TwoRows", "over_checkpoints", "two_rows"]

TIMES = ("time", "clock", "elapsed")
BESIDE = ("note", "by", "evidence", "order")
FORMS = frozenset({"hh:mm", "h:mm", "hh:mm:ss", "h:mm:ss", "c"})
"""What stands in a row of units, besides the names of units and quantities."""


@dataclass
class TwoRows:
    """Headings that take two rows.

    Parameters
    ----------
    upper
        Row of the names; the row below it says what stands under each.
    headings
        One for each column, of both rows together.
    heads
        (row, column) of the cell that names each column.
    times
        Column with the percentages of a device → column with the times of these readings, and
        what its heading says of them.
    """

    upper: int
    headings: list[Heading] = field(default_factory=list)
    heads: list[tuple[int, int]] = field(default_factory=list)
    times: dict[int, tuple[int, str]] = field(default_factory=dict)


def two_rows(grid: Grid, row: int, decisions: Decisions) -> TwoRows | None:
    """Return the headings of two rows of which one is ``row``; ``None`` if it stands alone."""
    for upper in (row - 1, row):
        if 0 <= upper < len(grid.rows) - 1:
            names = _reach(grid, upper)
            lower = [_text(grid, upper + 1, c) for c in range(grid.width)]
            if _are_two(names, lower, decisions):
                return _joined(grid, upper, names, lower, decisions)
    return None


@dataclass(frozen=True)
class Checkpoints:
    """Checkpoints that each have a percentage and a time, over devices in rows.

    Parameters
    ----------
    upper
        Row of their names.
    columns
        Column → name of the checkpoint, or of the end, that it holds.
    times
        Column with percentages → column with the times of these readings.
    role, unit
        What the headings of the times say.
    """

    upper: int
    columns: dict[int, str]
    times: dict[int, int]
    role: str
    unit: str


def over_checkpoints(grid: Grid, row: int, decisions: Decisions) -> Checkpoints | None:
    """Return the headings of two rows over devices in rows; ``None`` if these are none."""
    for upper in (row - 1, row):
        if not 0 <= upper < len(grid.rows) - 1:
            continue
        names = _reach(grid, upper)
        lower = [_text(grid, upper + 1, c) for c in range(grid.width)]
        below = [heading_of(t, column_letters(c), decisions) for c, t in enumerate(lower)]
        measured = {n: c for c, (n, h) in enumerate(zip(names, below, strict=True))
                    if h.role == "percent" and names_checkpoint(n)}  # fmt: skip
        times = {measured[n]: c for c, (n, h) in enumerate(zip(names, below, strict=True))
                 if n in measured and h.role in TIMES}  # fmt: skip
        percents = sum(h.role == "percent" for h in below)
        if len(measured) < 2 or not percents == len(measured) == len(times):
            continue
        heads = {below[c].role for c in times.values()}, {below[c].unit for c in times.values()}
        if all(len(h) == 1 for h in heads):
            ends = {c: n for c, (n, t) in enumerate(zip(names, lower, strict=True))
                    if c and n and not t}  # fmt: skip
            columns = dict(sorted(({c: n for n, c in measured.items()} | ends).items()))
            return Checkpoints(upper, columns, times, heads[0].pop(), heads[1].pop())
    return None


def _text(grid: Grid, row: int, column: int) -> str:
    value = grid.rows[row][column]
    return cleaned(value) if isinstance(value, str) else "?"


def _reach(grid: Grid, row: int) -> list[str]:
    """Return the name over each column.

    Merged cells say how far a name reaches; without them it reaches over the blank cells after it
    under which something stands.
    """
    names = [_text(grid, row, c) for c in range(grid.width)]
    merged = [m for m in grid.merged if m[0] <= row <= m[2] and m[3] > m[1]]
    for _, first, _, last in merged:
        names[first : last + 1] = [names[first]] * len(names[first : last + 1])
    if not merged:
        for c in range(1, grid.width):
            names[c] = names[c] or (names[c - 1] if _text(grid, row + 1, c) else "")
    return names


def _are_two(names: list[str], lower: list[str], decisions: Decisions) -> bool:
    """Whether the lower row only says what stands under names of devices."""
    under = [(n, heading_of(t, column_letters(c), decisions), t)
             for c, (n, t) in enumerate(zip(names, lower, strict=True)) if t]  # fmt: skip
    if not all(
        h.decided or h.role in ("percent", *TIMES, *BESIDE) or h.other or t.casefold() in FORMS
        or t.casefold() in UNIT_WORDS
        for _, h, t in under
    ):  # fmt: skip
        return False
    devices = [n for n, h, _ in under if h.role == "percent"]
    return len(set(devices)) > 1 and not any(
        not n or names_checkpoint(n) or heading_of(n, "", decisions).role not in ("", "readings")
        for n in devices
    )


def _joined(
    grid: Grid, upper: int, names: list[str], lower: list[str], decisions: Decisions
) -> TwoRows:
    rows = TwoRows(upper)
    below = [heading_of(t, "", decisions) for t in lower]
    measured = {n: c for c, (n, h) in enumerate(zip(names, below, strict=True))
                if h.role == "percent"}  # fmt: skip
    for c, (name, text) in enumerate(zip(names, lower, strict=True)):
        rows.heads.append((upper if grid.rows[upper][c] != "" else upper + 1, c))
        said = heading_of(name, column_letters(c), decisions)
        whole = f"{name} {text}".strip()
        exact = heading_of(whole, column_letters(c), decisions)
        if exact.decided and not decisions.device_called(whole):
            rows.headings.append(exact)
        elif below[c].role == "percent":
            rows.headings.append(said if said.decided else Heading(name, "readings"))
        elif name in measured and below[c].role in TIMES and measured[name] not in rows.times:
            rows.times[measured[name]] = c, below[c].role
            rows.headings.append(Heading(whole, "own_time", below[c].unit))
        elif name in measured:
            rows.headings.append(Heading(whole, other=True))
        else:
            rows.headings.append(_plain(name, text, column_letters(c), decisions))
    return rows


def _plain(name: str, text: str, letters: str, decisions: Decisions) -> Heading:
    """Return the heading of a column that belongs to no device."""
    if not text or not name:
        return heading_of(name or text, letters, decisions)
    below = heading_of(text, letters, decisions)
    both = heading_of(f"{name} ({text})", letters, decisions)
    if below.role in ("clock", "date") or not (both.role or both.other):
        return below if below.role in (*TIMES, *BESIDE) else heading_of(name, letters, decisions)
    return both
