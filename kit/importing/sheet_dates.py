"""The date of a sheet, and its title, from the cells above its headings."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from kit.importing.dates import DateOrder, ReadDate, date_order, read_date
from kit.importing.grid import at, tell
from kit.importing.layout import as_text
from kit.read.cells import quoted
from kit.read.checkpoints import plain_words

if TYPE_CHECKING:
    from kit.errors import Finding
    from kit.importing.layout import Table
    from kit.importing.mapping import Decisions

__all__ = ["SheetDates"]

MOST_DATED = 2_000
"""So many cells of a sheet are looked at for the order of day and month."""

LONGEST_TITLE = 120


class SheetDates:
    """Reads dates of one sheet.

    Attributes
    ----------
    day
        Date of the sheet: what the mapping file says, else the one date above the headings.
    order
        Order of day and month in its texts.
    title
        First text above the headings that stands by itself.
    """

    def __init__(self, table: Table, decisions: Decisions) -> None:
        self.grid = table.grid
        self.decisions = decisions
        self.findings: list[Finding] = []
        self.facts: list[tuple[str, str]] = []
        self.aside: list[str] = []
        self.title = ""
        values = [self.grid.rows[r][c] for r, c in table.titles]
        values += [w for v in values if isinstance(v, str) for w in v.split()]
        dated = [c for c, h in enumerate(table.headings) if h.role in ("date", "time", "clock")]
        for c in dated:
            if table.shape == "scorecard":
                values += [table.value(i, c) for i in range(len(table.places))][:MOST_DATED]
            else:
                values += [r[c] for r in self.grid.rows[table.header_row + 1 :]][:MOST_DATED]
        self.order: DateOrder = date_order(values)
        if decisions.dates:
            self.order = "day_first" if decisions.dates == "day_first" else "month_first"
        self.day: date | None = None
        self._titles(table)
        self._choose()

    def _titles(self, table: Table) -> None:
        found: dict[date, tuple[int, int]] = {}
        for r, c in table.titles:
            value = self.grid.rows[r][c]
            read = self._within(value if not isinstance(value, str) else as_text(value))
            if read is None:
                self._text(as_text(value), r, c)
                continue
            if read.is_open and self._chosen() is None:
                self._tell_open((r, c))
            elif not read.is_open:
                found.setdefault(read.day, (r, c))
        if len(found) == 1:
            [(self.day, place)] = found.items()
            self.facts.append(("date", f"{self.day.isoformat()} (from {at(self.grid, *place)})"))
        elif len(found) > 1 and self._chosen() is None:
            for place in found.values():
                self._ambiguous(
                    place,
                    expected="one date above the headings; there are several",
                    remedy="Say by session.date of the mapping file which it is.",
                    decide="session.date",
                )

    def _within(self, value: object) -> ReadDate | None:
        """Return the date that a cell is or holds among other words."""
        if isinstance(value, date):
            return read_date(value)
        if not isinstance(value, str):
            return None
        whole = read_date(value, self.order)
        after = value.partition(":")[2].strip()
        parts = [whole, read_date(after, self.order) if after else None]
        parts += [read_date(w.strip(",;()"), self.order) for w in value.split() if not w.isdigit()]
        return next((p for p in parts if p is not None and not p.is_serial), None)

    def _text(self, text: str, row: int, column: int) -> None:
        alone = sum(1 for v in self.grid.rows[row] if v != "") == 1
        if not self.title and alone and plain_words(text) and len(text) <= LONGEST_TITLE:
            self.title = text
            self.facts.append(("title", f"{text} (from {at(self.grid, row, column)})"))
        else:
            self.aside.append(f"{at(self.grid, row, column)} {quoted(text)}")

    def _chosen(self) -> date | None:
        choice = self.decisions.by_sheet.get(self.grid.sheet)
        return (choice.date if choice else None) or self.decisions.date

    def _choose(self) -> None:
        chosen = self._chosen()
        if chosen is not None:
            self.day = chosen
            self.facts = [f for f in self.facts if f[0] != "date"]
            self.facts.append(("date", f"{chosen.isoformat()} (from the mapping file)"))

    def text(self, place: tuple[int, int]) -> str:
        """Return the date of a cell as a log writes it; what is open or none is told and "" ."""
        value = self.grid.rows[place[0]][place[1]]
        old = self.grid.serials_1904
        if self.decisions.serials:
            old = self.decisions.serials == "1904"
        read = read_date(value, self.order, serials_1904=bool(old))
        if read is None:
            self._ambiguous(
                place,
                expected="a date",
                remedy="Correct the cell, or say by units.dates of the mapping file how dates "
                "are written.",
                decide="units.dates",
            )
            return ""
        if read.is_serial and old is None:
            self._ambiguous(
                place,
                expected="a date; the day number could count from 1900 or from 1904",
                remedy='Write serials = "1900" or serials = "1904" under [units].',
                decide="units.serials",
            )
            return ""
        if read.is_open:
            self._tell_open(place)
            return ""
        return read.day.isoformat()

    def _tell_open(self, place: tuple[int, int]) -> None:
        self._ambiguous(
            place,
            expected="a date; day and month could be either way round",
            remedy='Write dates = "day_first" or dates = "month_first" under [units].',
            decide="units.dates",
        )

    def _ambiguous(
        self, place: tuple[int, int], *, expected: str, remedy: str, decide: str
    ) -> None:
        row, column = place
        self.findings.append(
            tell(
                self.grid,
                "import-ambiguous",
                row=row,
                column=column,
                expected=expected,
                remedy=remedy,
                decide=decide,
            )
        )
