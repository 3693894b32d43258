"""Cells of percentages, with the unit that a sheet shows, as texts of a log."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.importing.grid import Grid, at, tell
from kit.importing.percent import Percent, Unit, number_text, percent_of, unit_of
from kit.importing.setup_text import toml_string
from kit.importing.words import is_missed, is_off

if TYPE_CHECKING:
    from collections.abc import Iterable

    from kit.errors import Finding
    from kit.importing.mapping import Decisions

__all__ = ["Readings", "cell_key", "tell_fault"]

OFF = "off"
MISSED = "-"
Place = tuple[int, int]


def cell_key(grid: Grid, row: int, column: int) -> str:
    """Return the key of the mapping file that decides one cell."""
    cell = at(grid, row, column)
    return (
        f"cells.{cell}" if grid.kind == "text" else f"cells.{toml_string(f'{grid.sheet}!{cell}')}"
    )


def tell_fault(grid: Grid, row: int, column: int) -> Finding:
    """Return the finding on a cell that has no value though something stands in it."""
    key = cell_key(grid, row, column)
    return tell(
        grid,
        "import-no-value",
        row=row,
        column=column,
        found=grid.faults[row, column],
        expected="a value",
        remedy=f"Open the file in a spreadsheet program and save it again, or say by {key} what "
        "the cell is to hold.",
        decide=key,
    )


class Readings:
    """Reads the percentages of one sheet.

    Parameters
    ----------
    places
        (row, column) of all cells that hold readings; together they show the unit.
    """

    def __init__(self, grid: Grid, places: Iterable[Place], decisions: Decisions) -> None:
        self.grid = grid
        self.decisions = decisions
        self.cells = {p: self._cell(p) for p in places}
        self.unit: Unit = unit_of(self.cells.values())
        if decisions.percent == "percent":
            self.unit = "percent"
        elif decisions.percent == "fraction":
            self.unit = "fraction"
        self.findings: list[Finding] = []

    def _cell(self, place: Place) -> Percent:
        row, column = place
        return percent_of(
            self.grid.rows[row][column],
            times100=place in self.grid.percent,
            sign=place in self.grid.percent_sign,
        )

    @property
    def unit_words(self) -> str:
        """Return how percentages stand in the sheet, for the preview."""
        sorts = {c.sort for c in self.cells.values()}
        kinds = []
        if any(p in self.grid.percent for p in self.cells):
            kinds.append("cells formatted as percentages (0.83 is 83 %)")
        if "percent" in sorts and any(
            c.sort == "percent" and p not in self.grid.percent for p, c in self.cells.items()
        ):
            kinds.append("numbers with a per cent sign")
        if "bare" in sorts:
            kinds.append(
                {
                    "percent": "plain numbers in per cent (83 is 83 %)",
                    "fraction": "fractions of one (0.83 is 83 %)",
                    "open": "plain numbers whose unit is not settled",
                }[self.unit]
            )
        return "; ".join(kinds) or "none"

    def text(self, place: Place) -> str:
        """Return a number in %, ``off``, ``-`` or ""; what is open or odd is told and "" ."""
        cell = self.cells[place]
        if place in self.grid.faults:
            self.findings.append(tell_fault(self.grid, *place))
            return ""
        if cell.sort == "blank":
            return ""
        if cell.sort == "word":
            return self._word(place, cell.text)
        if cell.sort == "odd":
            self._tell(
                place,
                "a percentage, off, or a missing reading; this is none of them plainly",
                f"Say by {cell_key(self.grid, *place)} what was read.",
            )
            return ""
        return self._number(place, cell)

    def _word(self, place: Place, text: str) -> str:
        if is_missed(text, self.decisions):
            return MISSED
        if is_off(text, self.decisions):
            return OFF
        self._tell(
            place,
            "a percentage; the word could mean found off, or not read",
            "Put the word into words.off or words.missed of the mapping file.",
            decide="words.off or words.missed",
        )
        return ""

    def _number(self, place: Place, cell: Percent) -> str:
        value = cell.value
        typed_before = place in self.grid.percent and value > 100
        if typed_before and value <= 10_000:
            self._tell(
                place,
                f"0 to 100 %; this is {number_text(value)} % as the cell is formatted, or "
                f"{number_text(value / 100)} % if the format came later",
                f"Say by {cell_key(self.grid, *place)} which.",
            )
            return ""
        if cell.sort == "bare":
            if self.unit == "open" and 0 < value <= 1:
                self._tell(
                    place,
                    f"a percentage; it could be {number_text(value)} % or "
                    f"{number_text(value * 100)} %",
                    'Write percent = "percent" or percent = "fraction" under [units], or say by '
                    f"{cell_key(self.grid, *place)} what was read.",
                    decide="units.percent",
                )
                return ""
            if self.unit == "fraction":
                value = value * 100
        return number_text(round(value, 9))

    def _tell(self, place: Place, expected: str, remedy: str, decide: str = "") -> None:
        self.findings.append(
            tell(
                self.grid,
                "import-ambiguous",
                row=place[0],
                column=place[1],
                expected=expected,
                remedy=remedy,
                decide=decide or cell_key(self.grid, *place),
            )
        )
