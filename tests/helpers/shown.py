"""What a reader sees: texts with ordinary spaces, and the cells of a table by their headings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.units import NO_BREAK

if TYPE_CHECKING:
    from kit.display import Table

__all__ = ["cell", "plain"]


def plain(text: str) -> str:
    """Return the text with ordinary spaces."""
    return text.replace(NO_BREAK, " ")


def cell(table: Table, row: str, column: str) -> str:
    """Return the cell in the row whose first cell starts with ``row``."""
    headings = [c.name for c in table.columns]
    found = [r for r in table.rows if plain(r[0]).startswith(row)]
    assert len(found) == 1, f"{len(found)} rows start with {row!r}"
    return plain(found[0][headings.index(column)])
