"""Where the table of a sheet is and what shape it has."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

from kit.importing.grid import column_letters
from kit.importing.percent import cleaned, percent_of
from kit.importing.sub_columns import over_checkpoints, two_rows
from kit.importing.words import Heading, heading_of, names_checkpoint
from kit.read.cells import quoted

if TYPE_CHECKING:
    from kit.importing.grid import Grid, Value
    from kit.importing.mapping import Decisions, Shape
    from kit.importing.sub_columns import Checkpoints, TwoRows

__all__ = ["Table", "find_table"]

MOST_TITLE_ROWS = 40
LOOK_BELOW = 15
"""Rows under a heading that show what its columns hold."""

LOG_COLUMNS = frozenset({"event", "device", "soc_pct", "phase", "point", "last_on", "first_off"})


@dataclass
class Table:
    """The table of a sheet.

    Parameters
    ----------
    header_row
        Row of the headings in the grid.
    headings
        One for each column, of a sheet with devices in rows one for each row of it.
    places
        For each row of the table (as turned upright) the (row, column) of its cells.
    titles
        (row, column) of cells above the heading.
    spans
        For each row of the table the phase whose heading spans it; "" where none does.
    aside
        Columns that were left aside, in words.
    own_times
        Column with the percentages of a device → column with the times of these readings, and
        what its heading says of them.
    """

    grid: Grid
    shape: Shape
    header_row: int
    headings: list[Heading]
    heads: list[tuple[int, int]]
    places: list[list[tuple[int, int]]]
    titles: list[tuple[int, int]] = field(default_factory=list)
    spans: list[str] = field(default_factory=list)
    aside: list[str] = field(default_factory=list)
    own_times: dict[int, tuple[int, str]] = field(default_factory=dict)

    def value(self, row: int, column: int) -> Value:
        """Return a cell of the table as it is turned."""
        r, c = self.places[row][column]
        return self.grid.rows[r][c]

    def text(self, row: int, column: int) -> str:
        """Return the text of a cell, cleaned; a number in its shortest form."""
        return as_text(self.value(row, column))


def as_text(value: Value) -> str:
    """Return a cell as text; whole numbers without decimals."""
    if isinstance(value, str):
        return cleaned(value)
    if isinstance(value, float):
        return f"{value:.10g}"
    return str(value)


def find_table(grid: Grid, decisions: Decisions) -> Table | None:
    """Find the heading of a sheet and tell what shape the table under it has.

    Returns
    -------
    Table or None
        ``None`` if the sheet holds no table of readings.
    """
    choice = decisions.by_sheet.get(grid.sheet)
    shape: Shape | None
    wanted = (choice.header_row if choice else None) or decisions.header_row
    shape = (choice.shape if choice else None) or decisions.shape
    if wanted is not None:
        if wanted not in grid.lines[: len(grid.rows)]:
            return None
        row = grid.lines.index(wanted)
    else:
        best = max(
            ((_score(grid, r, decisions), -r) for r in range(min(len(grid.rows), MOST_TITLE_ROWS))),
            default=(0, 0),
        )
        if best[0] <= 0:
            return None
        row = -best[1]
    return _table(grid, row, shape, decisions)


def _score(grid: Grid, row: int, decisions: Decisions) -> int:
    """Return how much a row looks like the headings of a table of readings."""
    cells = grid.rows[row]
    named = [c for c, v in enumerate(cells) if isinstance(v, str) and cleaned(v)]
    if not named or any(not isinstance(v, str) for v in cells):
        return 0
    below = [r for r in grid.rows[row + 1 : row + 1 + LOOK_BELOW] if any(v != "" for v in r)]
    if not below:
        return 0
    score = 0
    texts = [cleaned(str(cells[c])) for c in named]
    if len(set(texts)) == 1 and len(texts) > 1:
        return 0
    for c, text in zip(named, texts, strict=True):
        heading = heading_of(text, column_letters(c), decisions)
        if heading.decided:
            score += 4
        elif heading.role:
            score += 2
        if percent_of(text).sort in ("percent", "bare"):
            score -= 4
        score += any(_is_reading(r[c]) for r in below)
    return score if len(named) > 1 else 0


def _is_reading(value: Value) -> bool:
    cell = percent_of(value)
    return cell.sort in ("percent", "bare") and 0 <= cell.value <= 100


def _table(grid: Grid, row: int, shape: Shape | None, decisions: Decisions) -> Table:
    two = two_rows(grid, row, decisions) if shape in (None, "scorecard") else None
    if two is not None:
        return _of_two_rows(grid, two)
    over = over_checkpoints(grid, row, decisions) if shape in (None, "devices_in_rows") else None
    if over is not None:
        return _turned_two(grid, over, decisions)
    texts = [as_text(v) for v in grid.rows[row]]
    first_data = row + 1
    titles = [
        (r, c) for r in range(row) for c, v in enumerate(grid.rows[r])
        if v != ""
    ]  # fmt: skip
    groups = _groups(grid, row)
    if groups:
        titles = [(r, c) for r, c in titles if r != row - 1]
    headings = [heading_of(t, column_letters(c), decisions) for c, t in enumerate(texts)]
    rows = [r for r in range(first_data, len(grid.rows)) if any(v != "" for v in grid.rows[r])]
    shape = shape or _shape(grid, headings, rows, groups)
    if shape == "devices_in_rows":
        return _turned(grid, row, rows, texts, groups, titles, decisions)
    return Table(
        grid=grid,
        shape=shape,
        header_row=row,
        headings=headings,
        heads=[(row, c) for c in range(len(headings))],
        places=[[(r, c) for c in range(len(headings))] for r in rows]
        if shape == "scorecard" else [],
        titles=titles,
    )  # fmt: skip


def _of_two_rows(grid: Grid, two: TwoRows) -> Table:
    """Return a scorecard under headings of two rows."""
    return Table(
        grid=grid,
        shape="scorecard",
        header_row=two.upper + 1,
        headings=two.headings,
        heads=two.heads,
        places=[
            [(r, c) for c in range(grid.width)]
            for r in range(two.upper + 2, len(grid.rows))
            if any(v != "" for v in grid.rows[r])
        ],
        titles=[(r, c) for r in range(two.upper) for c, v in enumerate(grid.rows[r]) if v != ""],
        own_times=two.times,
    )


def _groups(grid: Grid, row: int) -> dict[int, str]:
    """Return column → text of the heading above that spans it.

    Merged cells say how far a heading reaches; in a file without merged cells it reaches over the
    blank cells after it, if there are any.
    """
    if row == 0:
        return {}
    above = grid.rows[row - 1]
    found: dict[int, str] = {}
    merged = {(r0, c0): c1 for r0, c0, r1, c1 in grid.merged if r0 <= row - 1 <= r1 and c1 > c0}
    for c, value in enumerate(above):
        text = as_text(value)
        if not text or (row - 1, c) not in merged:
            continue
        last = merged[row - 1, c]
        if last + 1 < grid.width or c > 0:
            found.update(dict.fromkeys(range(c, last + 1), text))
    if not grid.merged and not found:
        named = [c for c, v in enumerate(above) if v != ""]
        apart = any(b - a > 1 for a, b in pairwise(named))
        if len(named) > 1 and named[0] > 0 and apart:
            for a, b in zip(named, [*named[1:], grid.width], strict=True):
                found.update(dict.fromkeys(range(a, b), as_text(above[a])))
    return found


def _shape(
    grid: Grid,
    headings: list[Heading],
    rows: list[int],
    groups: dict[int, str],
) -> Shape:
    roles = [h.role for h in headings]
    plain = {h.text.casefold().replace(" ", "_") for h in headings}
    percent = roles.count("percent")
    timed = any(r in roles for r in ("time", "clock", "elapsed"))
    if "event" in plain and len(plain & LOG_COLUMNS) >= 3:
        return "list"
    if "device" in roles and percent == 1:
        return "list"
    others = [h for h in headings if h.text and not h.role and not h.other]
    if timed and percent == 1 and not any(_has_readings(grid, c, rows) for c, h in
                                          enumerate(headings) if h in others):  # fmt: skip
        return "device_log"
    spots = [c for c, h in enumerate(headings) if c and names_checkpoint(h.text)]
    spanned = [c for c in spots if c in groups]
    if len(spots) >= 2 and (len(spots) > len(others) / 2 or spanned):
        return "devices_in_rows"
    if roles and roles[0] == "device" and not percent:
        return "devices_in_rows"
    return "scorecard"


def _has_readings(grid: Grid, column: int, rows: list[int]) -> bool:
    return any(_is_reading(grid.rows[r][column]) for r in rows[:LOOK_BELOW])


def _turned(
    grid: Grid,
    row: int,
    rows: list[int],
    texts: list[str],
    groups: dict[int, str],
    titles: list[tuple[int, int]],
    decisions: Decisions,
) -> Table:
    """Return a table with devices in rows, turned upright."""
    asides = {c: t for c, t in enumerate(texts) if c and _is_beside(t, c, decisions)}
    columns = [c for c, t in enumerate(texts) if c == 0 or (t and c not in asides)]
    headings = [Heading("checkpoint", "checkpoint")]
    headings += [heading_of(as_text(grid.rows[r][0]), str(grid.lines[r]), decisions) for r in rows]
    return Table(
        grid=grid,
        shape="devices_in_rows",
        header_row=row,
        headings=headings,
        heads=[(row, 0), *((r, 0) for r in rows)],
        places=[[(row, c), *((r, c) for r in rows)] for c in columns[1:]],
        titles=titles,
        spans=[groups.get(c, "") for c in columns[1:]],
        aside=[f"column {column_letters(c)} {quoted(t)}" for c, t in asides.items()],
    )


def _turned_two(grid: Grid, over: Checkpoints, decisions: Decisions) -> Table:
    """Return a table with devices in rows and a time beside each percentage, turned upright."""
    first = over.upper + 2
    rows = [r for r in range(first, len(grid.rows)) if any(v != "" for v in grid.rows[r])]
    columns = [c for c, n in over.columns.items() if not _is_beside(n, c, decisions)]
    devices = [heading_of(as_text(grid.rows[r][0]), str(grid.lines[r]), decisions) for r in rows]
    size = len(rows)

    def time_of(row: int, column: int) -> tuple[int, int]:
        beside = over.times.get(column)
        return (first - 1, column) if beside is None else (row, beside)  # there the cell is blank

    return Table(
        grid=grid,
        shape="devices_in_rows",
        header_row=over.upper + 1,
        headings=[
            Heading("checkpoint", "checkpoint"),
            *devices,
            *(Heading(f"{d.text} time", "own_time", over.unit) for d in devices),
        ],
        heads=[(over.upper, 0), *((r, 0) for r in rows), *((r, 0) for r in rows)],
        places=[
            [(over.upper, c), *((r, c) for r in rows), *(time_of(r, c) for r in rows)]
            for c in columns
        ],
        titles=[(r, c) for r in range(over.upper) for c, v in enumerate(grid.rows[r]) if v != ""],
        aside=[
            f"column {column_letters(c)} {quoted(n)}"
            for c, n in over.columns.items()
            if c not in columns
        ],
        own_times={k: (k + size, over.role) for k in range(1, size + 1)},
    )


def _is_beside(text: str, column: int, decisions: Decisions) -> bool:
    """Whether a column beside checkpoints holds no readings of a checkpoint."""
    heading = heading_of(text, column_letters(column), decisions)
    return heading.role in ("note", "by", "evidence", "order", "ignore") or (
        heading.other and not names_checkpoint(text)
    )
