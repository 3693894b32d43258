"""Times of one column or row: whether they are of the day or since the start, and in what unit."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, time, timedelta
from typing import TYPE_CHECKING, Literal

from kit.importing.dates import SERIALS, DateOrder
from kit.importing.grid import Grid, tell
from kit.importing.percent import number_text
from kit.importing.readings import cell_key, tell_fault
from kit.importing.times import DAY_S, TimeCell, clock_text, elapsed_text, from_number, times_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.errors import Finding
    from kit.importing.mapping import Decisions

__all__ = ["Convention", "TimeReader", "surely_minutes"]

Convention = Literal["clock", "elapsed", "open"]
Place = tuple[int, int]

EARLY_S = 5 * 3600
"""Hours and minutes before 5:00 under the heading "time" may as well count from the start; later
ones are times of day, for a first reading is not made hours after the start (derived in
docs/importing.md)."""

EPOCH = (1e8, 1e11, 1e14)
"""Seconds since 1970 lie between the first two (1973 to 5138), milliseconds between the last."""
EPOCH_DAY = 719_163
"""``date(1970, 1, 1).toordinal()``."""

MINUTES_FROM = 48.0
"""A bare number from here on is minutes: no day of recording lasts that many hours."""

HOUR_S = 3600
HALF_DAY_S = 12 * HOUR_S


def surely_minutes(value: float) -> bool:
    """Whether a number since the start can only be one of minutes.

    Examples
    --------
    >>> surely_minutes(540.0), surely_minutes(8.5), surely_minutes(0.0)
    (True, False, True)
    """
    return value == 0 or value >= MINUTES_FROM


@dataclass
class TimeReader:
    """Reads times of one sheet.

    Parameters
    ----------
    order
        Order of day and month in the sheet's dates.
    """

    grid: Grid
    decisions: Decisions
    order: DateOrder = "unknown"
    findings: list[Finding] = field(default_factory=list)

    def cells(self, places: Sequence[Place], role: str, unit: str = "") -> list[TimeCell]:
        """Read cells; numbers become what their unit says, what is open is told and blank."""
        values = [self.grid.rows[r][c] for r, c in places]
        days = sum(type(v) is date for v in values)
        if days and days == sum(v != "" for v in values):  # dates alone, without a time
            values = ["a date" if v != "" else v for v in values]
        read = times_of(values, self.order)
        return [self._cell(p, c, role, unit) for p, c in zip(places, read, strict=True)]

    def _cell(self, place: Place, cell: TimeCell, role: str, unit: str) -> TimeCell:
        if place in self.grid.faults:
            self.findings.append(tell_fault(self.grid, *place))
            return TimeCell("blank")
        if cell.open_date:
            self.tell_date(place)
        if cell.sort == "number":
            return self._number(place, cell, role, unit)
        if role == "clock" and cell.sort == "span" and 0 <= cell.seconds < DAY_S:
            value = self.grid.rows[place[0]][place[1]]
            if isinstance(value, timedelta):
                return replace(cell, sort="colon")
        return cell

    def _number(self, place: Place, cell: TimeCell, role: str, unit: str) -> TimeCell:
        value = cell.seconds
        if role != "elapsed" and EPOCH[0] <= value < EPOCH[2]:
            return self._epoch(value, unit)
        unit = self.decisions.numbers or (unit if unit != "milliseconds" else "")
        serial = role != "elapsed" and SERIALS[0] <= value < SERIALS[1]
        if serial:
            return self._serial(place, cell)
        if not unit and role == "clock" and 0 <= value < 1 and self._is_day_fraction(value):
            unit = "days"
        if unit or value == 0:
            return from_number(cell, unit or "minutes")
        if role == "off" and surely_minutes(value):
            return from_number(cell, "minutes")
        if role == "off" and 0 < value < 1 and self.grid.kind != "text":
            return from_number(cell, "days")
        self.tell(
            place,
            "a time; the number could be minutes, hours or parts of a day",
            'Write numbers = "minutes" (or "seconds", "hours", "days") under [units], or say by '
            f"{cell_key(self.grid, *place)} what was noted.",
            "units.numbers",
        )
        return TimeCell("blank")

    def _is_day_fraction(self, value: float) -> bool:
        return self.grid.kind != "text" or len(number_text(value)) > len("0.00")

    def _epoch(self, value: float, unit: str) -> TimeCell:
        milli = self.decisions.epoch == "milliseconds" or (
            not self.decisions.epoch and (value >= EPOCH[1] or unit == "milliseconds")
        )
        days, rest = divmod(value / 1000 if milli else value, DAY_S)
        return TimeCell("moment", rest, to_second=True, day=EPOCH_DAY + int(days), offset_s=0.0)

    def _serial(self, place: Place, cell: TimeCell) -> TimeCell:
        old = self.grid.serials_1904
        if self.decisions.serials:
            old = self.decisions.serials == "1904"
        if old is None:
            self.tell(
                place,
                "a time; as a day number it could count from 1900 or from 1904",
                'Write serials = "1900" or serials = "1904" under [units].',
                "units.serials",
            )
            return TimeCell("blank")
        return from_number(cell, "days", serials_1904=old)

    def convention(self, cells: Sequence[TimeCell], role: str) -> Convention:
        """Return whether hours and minutes of these cells are of the day or since the start."""
        if role in ("clock", "elapsed"):
            return "clock" if role == "clock" else "elapsed"
        sorts = {c.sort for c in cells}
        if "moment" in sorts:
            return "clock"
        if self.decisions.times:
            return "clock" if self.decisions.times == "clock" else "elapsed"
        if "span" in sorts:
            return "elapsed"
        first = next((c for c in cells if c.sort == "colon"), None)
        return "open" if first is not None and first.seconds < EARLY_S else "clock"

    def texts(
        self, places: Sequence[Place], cells: Sequence[TimeCell], convention: Convention
    ) -> list[str]:
        """Return cells as a log writes them: h:mm since the start, or times of day."""
        fine = any(
            c.to_second and isinstance(self.grid.rows[r][k], time)
            for (r, k), c in zip(places, cells, strict=True)
        )
        return [
            self.text(p, c, convention, to_second=fine and self._typed(p))
            for p, c in zip(places, cells, strict=True)
        ]

    def _typed(self, place: Place) -> bool:
        return not isinstance(self.grid.rows[place[0]][place[1]], str)

    def text(
        self, place: Place, cell: TimeCell, convention: Convention, *, to_second: bool = False
    ) -> str:
        """Return one cell as a log writes it; what is open or no time is told and "" ."""
        if cell.sort == "blank":
            return ""
        if cell.sort == "moment" and convention != "elapsed":
            return clock_text(cell, to_second=to_second)
        if cell.sort == "colon" and convention == "open":
            self.tell(
                place,
                "a time; it could be a time of day or hours and minutes since the start",
                'Write times = "clock" or times = "elapsed" under [units].',
                "units.times",
            )
            return ""
        if cell.sort == "colon" and convention == "clock" and cell.seconds < DAY_S:
            return clock_text(cell, to_second=to_second)
        if cell.sort in ("colon", "span") and convention != "clock":
            return elapsed_text(cell)
        key = cell_key(self.grid, *place)
        wanted = "a time of day" if convention == "clock" else "a time since the start"
        self.tell(place, f"{wanted}, or a blank cell", f"Say by {key} what was noted.", key)
        return ""

    def halves(
        self, places: Sequence[Place], cells: Sequence[TimeCell], days: Sequence[str] = ()
    ) -> list[TimeCell]:
        """Settle times of a twelve-hour clock without AM and PM.

        Such a column has no hour above 12 and steps back where a column of 24 hours would not.
        With ``hours = "12"`` each time is the first one after that of the row before. ``days``
        says of each cell to which run and day it belongs; each begins anew.
        """
        rows = [i for i, c in enumerate(cells) if c.sort == "colon"]
        twelve = all(HOUR_S <= cells[i].seconds < 13 * HOUR_S for i in rows)
        sure = any(c.half or c.day is not None for c in cells)
        if sure or not twelve or self.decisions.hours == "24":
            return list(cells)
        settled = list(cells)
        before, day = -1.0, ""
        for i in rows:
            seconds = cells[i].seconds % HALF_DAY_S if cells[i].seconds >= HALF_DAY_S else (
                cells[i].seconds
            )  # fmt: skip
            today = days[i] if days else ""
            if today != day:
                before, day = -1.0, today
            if cells[i].seconds >= before and self.decisions.hours != "12":
                before = cells[i].seconds
                continue
            if self.decisions.hours == "12":
                if before < 0:
                    seconds = cells[i].seconds
                while seconds < before:
                    seconds += HALF_DAY_S
                before = seconds
                settled[i] = replace(cells[i], seconds=seconds % DAY_S)
                continue
            self._tell_hours(places[i])
            settled[i] = TimeCell("blank")
        return settled

    def after(
        self, place: Place, cell: TimeCell, others: Sequence[TimeCell], last: float
    ) -> TimeCell:
        """Settle a time of a twelve-hour clock that came after a reading at ``last`` (s).

        Parameters
        ----------
        others
            Times of the column of clocks, which show whether the sheet may have such a clock.
        """
        plain = [c for c in others if c.sort in ("colon", "moment")]
        twelve = any(c.half for c in plain) or all(HOUR_S <= c.seconds < 13 * HOUR_S for c in plain)
        fits = cell.sort == "colon" and HOUR_S <= cell.seconds < 13 * HOUR_S
        if not plain or not fits or self.decisions.hours == "24":
            return cell
        if self.decisions.hours == "12":
            seconds = cell.seconds % HALF_DAY_S
            while seconds < last:
                seconds += HALF_DAY_S
            return replace(cell, seconds=seconds % DAY_S)
        if twelve and cell.seconds < last:
            self._tell_hours(place)
            return TimeCell("blank")
        return cell

    def _tell_hours(self, place: Place) -> None:
        self.tell(
            place,
            "a time after the one before; on a clock of twelve hours it would be in the "
            "afternoon, on one of 24 hours on the next day",
            'Write hours = "12" or hours = "24" under [units].',
            "units.hours",
        )

    def tell_date(self, place: Place) -> None:
        """Tell a date whose day and month could be either way round."""
        self.tell(
            place,
            "a date; day and month could be either way round",
            'Write dates = "day_first" or dates = "month_first" under [units].',
            "units.dates",
        )

    def tell(self, place: Place, expected: str, remedy: str, decide: str) -> None:
        """Tell a cell that could mean several things."""
        self.findings.append(
            tell(
                self.grid,
                "import-ambiguous",
                row=place[0],
                column=place[1],
                expected=expected,
                remedy=remedy,
                decide=decide,
            )
        )
