"""What was understood of one sheet: texts as `kit.read` reads them, and where each came from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Callable

    from kit.errors import Finding
    from kit.importing.grid import Grid
    from kit.importing.mapping import Shape

__all__ = ["Part"]


@dataclass
class Part:
    """One sheet, turned into rows of a scorecard or a log.

    Parameters
    ----------
    family
        ``wide``: ``columns`` are those of a scorecard. ``long``: those of a log.
    columns
        Name of a column → its texts, all of one length.
    place
        (row of ``columns``, name of a column) → (row, column) in the grid; ``None`` for a cell
        that stands nowhere, since its row was divided.
    facts
        (what, in words) for the preview, in order.
    aside
        What was left aside, in words.
    devices
        Ids of devices in the order of the sheet.
    """

    grid: Grid
    shape: Shape
    family: Literal["wide", "long"]
    columns: dict[str, list[str]] = field(default_factory=dict)
    place: Callable[[int, str], tuple[int, int | None] | None] = lambda row, name: None
    facts: list[tuple[str, str]] = field(default_factory=list)
    aside: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    devices: list[str] = field(default_factory=list)
    title: str = ""

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(next(iter(self.columns.values()), ()))
