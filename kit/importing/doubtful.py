"""Columns of plain numbers that may be no percentages, though nothing in their heading says so."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.importing.grid import tell
from kit.importing.setup_text import toml_string

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kit.errors import Finding
    from kit.importing.card_columns import CardColumns
    from kit.importing.layout import Table
    from kit.importing.readings import Readings

__all__ = ["doubtful_columns", "unlike_a_battery"]

FULL = 100.0
LOW, HIGH = 50.0, 80.0
"""A column that never shows more than the first beside one that began above the second (%) is no
battery that was charged like the others (common practice, no source)."""


def doubtful_columns(table: Table, columns: CardColumns, readings: Readings) -> list[Finding]:
    """Tell columns whose numbers do not run down as those of the other columns do."""
    if readings.unit == "open":
        return []  # the cells themselves are open
    scale = 100.0 if readings.unit == "fraction" else 1.0
    values: dict[int, list[float]] = {}
    for c in columns.devices:
        cells = [readings.cells.get(row[c]) for row in table.places]
        sorts = {cell.sort for cell in cells if cell is not None}
        if not table.headings[c].decided and "percent" not in sorts:
            values[c] = [x.value * scale for x in cells if x is not None and x.sort == "bare"]
    everything = {
        c: [x.value * (scale if x.sort == "bare" else 1.0) for row in table.places
            if (x := readings.cells.get(row[c])) is not None and x.sort in ("bare", "percent")]
        for c in columns.devices
    }  # fmt: skip
    return [
        _told(table, c) for c in values
        if unlike_a_battery(values[c], {k: v for k, v in everything.items() if k != c})
    ]  # fmt: skip


def unlike_a_battery(values: Sequence[float], others: Mapping[int, Sequence[float]]) -> bool:
    """Whether numbers do not run down as those beside them do.

    They end no lower than they began, or never come above 50 where another began above 80.

    Examples
    --------
    >>> others = {2: [100.0, 91.0, 77.0], 3: [100.0, 88.0, 70.0]}
    >>> unlike_a_battery([21.0, 21.5, 22.0], others), unlike_a_battery([22.0, 20.0], others)
    (True, True)
    >>> unlike_a_battery([99.0, 90.0, 72.0], others), unlike_a_battery([100.0], others)
    (False, False)
    """
    falling = [v for v in others.values() if len(v) > 1 and v[-1] < v[0]]
    if len(values) < 2 or not falling or max(values) > FULL:
        return False
    return values[-1] >= values[0] or (max(values) < LOW and max(v[0] for v in falling) > HIGH)


def _told(table: Table, column: int) -> Finding:
    row, c = table.heads[column]
    key = f"columns.{toml_string(table.headings[column].text)}"
    return tell(
        table.grid,
        "import-ambiguous",
        row=row,
        column=c,
        expected="a device; its numbers do not run down like the others and could as well be "
        "something else, such as a temperature",
        remedy=f'Write {key} = "ignore" in the mapping file, or "readings" if it is a device.',
        decide=key,
    )
