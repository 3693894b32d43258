"""A sheet with checkpoints in rows and devices in columns, as the scorecard that `kit.read` reads.

What is worked out here is only what stands in the cells; what the rows mean together (phases,
points, power-offs) is read from the result by the reader that reads any scorecard.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.importing.card_columns import CHECKPOINT, FREE, CardColumns
from kit.importing.doubtful import doubtful_columns
from kit.importing.grid import at, tell
from kit.importing.layout import as_text
from kit.importing.own_times import OwnTimes
from kit.importing.part import Part
from kit.importing.readings import Readings
from kit.importing.sheet_dates import SheetDates
from kit.importing.time_column import Convention, TimeReader
from kit.importing.times import clock_text
from kit.importing.words import is_footnote, is_missed, row_name
from kit.read.cells import quoted
from kit.read.checkpoints import FIRST, HALF_WAY, LAST, TIME_ROWS, plain_words
from kit.read.scorecard import NO, YES
from kit.safe_text import csv_cell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.importing.layout import Table
    from kit.importing.mapping import Decisions
    from kit.importing.times import TimeCell

__all__ = ["read_card"]

NAMED_POINTS = FIRST | LAST | HALF_WAY


def read_card(table: Table, decisions: Decisions, run: int, *, by_clock: bool = False) -> Part:
    """Turn a table into columns of a scorecard.

    Parameters
    ----------
    run
        Number of the run that the sheet is about, where no column says it.
    by_clock
        Whether times of power-offs are known to be by the clock (a start is known).
    """
    return _Card(table, decisions, run, by_clock=by_clock).part


class _Card:
    """One scorecard while it is read."""

    def __init__(self, table: Table, decisions: Decisions, run: int, *, by_clock: bool) -> None:
        self.table, self.decisions, self.run = table, decisions, run
        self.grid = table.grid
        self.by_clock = by_clock
        self.clocks: list[TimeCell] = []
        self.part = Part(table.grid, table.shape, "wide", aside=list(table.aside))
        self.names = [""] * len(table.places)
        self.dates = SheetDates(table, decisions)
        columns = CardColumns(table, decisions, self.part)
        self.roles, self.devices, self._spot = columns.roles, columns.devices, columns.spot
        self._rows()
        self.readings = Readings(
            self.grid,
            [self.table.places[i][c] for i in self.kept for c in self.devices
             if self._kind(i) in ("", "soc_pct")],
            decisions,
        )  # fmt: skip
        self.part.findings += doubtful_columns(table, columns, self.readings)
        self.times = TimeReader(self.grid, decisions, self.dates.order)
        self._fill()
        self._facts()

    # --------------------------------------------------------------------- rows

    def _rows(self) -> None:
        """Name every row; rows of totals are left aside, headings of phases are taken along."""
        spans = self.table.spans or [""] * len(self.names)
        self.phases = list(spans)
        self.kept: list[int] = []
        section = ""
        at = self.roles.get(CHECKPOINT)
        for i in range(len(self.names)):
            text = self.table.text(i, at) if at is not None else ""
            name = row_name(text, self.decisions)
            if self._is_heading_again(i):
                self._tell_second(i)
                break
            if at is not None and self._is_section(i, at, text):
                section = text
                continue
            rest = [c for c in range(len(self.table.headings)) if c != at]
            alone = not any(self.table.text(i, c) for c in rest)
            if name == "ignore" or (alone and is_footnote(text)):
                r, _ = self.table.places[i][at or 0]
                self.part.aside.append(f"row {self.grid.lines[r]} {quoted(text)}")
                continue
            own = [c for c, _ in self.table.own_times.values()]
            if not any(self.table.text(i, c) for c in (*self.devices, *self.roles.values(), *own)):
                continue
            self.names[i] = name
            if section and plain_words(name) in NAMED_POINTS:
                self.phases[i] = section
            self.kept.append(i)

    def _is_section(self, row: int, at: int, text: str) -> bool:
        """Whether a row is the heading of a phase over rows that only say start, half-way, end."""
        alone = text and not any(
            self.table.text(row, c) for c in range(len(self.table.headings)) if c != at
        )
        if not alone or plain_words(text) in NAMED_POINTS or row + 1 >= len(self.names):
            return False
        return plain_words(self.table.text(row + 1, at)) in NAMED_POINTS

    def _is_heading_again(self, row: int) -> bool:
        """Whether the names of all devices stand in a row again: another table begins."""
        texts = [self.table.text(row, c) for c in self.devices]
        return len(texts) > 1 and texts == [self.table.headings[c].text for c in self.devices]

    def _tell_second(self, row: int) -> None:
        r, _ = self.table.places[row][0]
        self.part.findings.append(
            tell(
                self.grid,
                "import-second-table",
                row=r,
                found="the headings a second time",
                expected="one table in a sheet",
                remedy="Put each table on a sheet of its own; sheets called Run 1, Run 2 are runs.",
            )
        )

    def _kind(self, row: int) -> str:
        """Return what the cells of a row of ends hold; "" for a row of readings."""
        return TIME_ROWS.get(plain_words(self.names[row]), "")

    # -------------------------------------------------------------------- cells

    def _fill(self) -> None:
        places, kept = self.table.places, self.kept
        columns: dict[str, list[str]] = {CHECKPOINT: [self.names[i] for i in kept]}
        if any(self.phases) or "phase" in self.roles:
            columns["phase"] = [self.phases[i] or self._meta(i, "phase") for i in kept]
        columns["run"] = [self._meta(i, "run") or str(self.run) for i in kept]
        columns["date"] = self._dates(kept)
        known = self._clocks(columns, kept)
        own = {d: t for d, t in self.table.own_times.items() if d in self.devices}
        rows = [i for i in kept if self._kind(i) == ""]
        days = [f"{r} {d}" for r, d in zip(columns["run"], columns["date"], strict=True)]
        self.own = OwnTimes(self.table, self.times, own, kept, rows, known, days)
        self.convention: Convention = self.own.convention
        for name in FREE:
            if name in self.roles:
                columns[name] = [csv_cell(self._meta(i, name)) for i in kept]
                self._tell_lost(name)
        for c, device in self.devices.items():
            columns[device] = [self._cell(i, c) for i in kept]
        if not any(columns["date"]):
            del columns["date"]
        self.whole = columns
        self.lines = self.own.lines(self.devices)
        self.part.columns = self._divided(columns)
        heads = {d: c for c, d in self.devices.items()} | self.roles
        heads["clock"] = heads.get("clock", heads.get("time", 0))
        heads["elapsed_min"] = heads.get("elapsed_min", heads.get("time", 0))

        def place(row: int, name: str) -> tuple[int, int | None] | None:
            line = self.lines[row]
            cells = places[kept[line.at]]
            if line.time and line.devices and name in ("clock", "elapsed_min"):
                return cells[self.own.columns[min(line.devices)][0]]
            if name not in heads:
                return cells[0][0], None
            gap = name in self.part.devices and line.devices is not None
            return None if gap and heads[name] not in (line.devices or ()) else cells[heads[name]]

        self.part.place = place
        self.part.findings += [*self.dates.findings, *self.times.findings,
                               *self.readings.findings]  # fmt: skip

    def _divided(self, columns: dict[str, list[str]]) -> dict[str, list[str]]:
        """Return the columns with a row for each time at which a part of a row was read."""
        if all(line.devices is None for line in self.lines):
            return columns
        divided = {name: [texts[line.at] for line in self.lines] for name, texts in columns.items()}
        time, other = "clock", "elapsed_min"
        if self.own.convention == "elapsed":
            time, other = other, time
        divided.setdefault(time, [""] * len(self.lines))
        for k, line in enumerate(self.lines):
            if line.time:
                divided[time][k] = line.time
                for name in (other, *(["date"] if line.day else [])):
                    if name in divided:
                        divided[name][k] = ""
            for c, device in self.devices.items():
                if line.devices is not None and c not in line.devices:
                    divided[device][k] = ""
        return divided

    def _tell_lost(self, name: str) -> None:
        """Tell notes that have no value to take over."""
        lost = [self.table.places[i][self.roles[name]] for i in self.kept]
        for row, column in lost:
            if (row, column) in self.grid.faults:
                self.part.findings.append(
                    tell(
                        self.grid,
                        "import-note-lost",
                        severity="note",
                        row=row,
                        column=column,
                        found=self.grid.faults[row, column],
                        expected="a text",
                        remedy="It is left aside.",
                    )
                )

    def _meta(self, row: int, role: str) -> str:
        """Return a text of a column that is no device; a merged cell counts for all its rows."""
        if role not in self.roles:
            return ""
        column = self.roles[role]
        text = self.table.text(row, column)
        if text or role in FREE:
            return text
        r, c = self.table.places[row][column]
        for r0, c0, r1, c1 in self.grid.merged:
            if r0 <= r <= r1 and c0 <= c <= c1:
                return as_text(self.grid.rows[r0][c0])
        if self.decisions.fill_down and role != CHECKPOINT:
            above = [self.table.text(i, column) for i in range(row)]
            return next((t for t in reversed(above) if t), "")
        return ""

    def _dates(self, kept: list[int]) -> list[str]:
        day = self.dates.day
        texts = [""] * len(kept) if day is None else [day.isoformat()] * len(kept)
        if "date" not in self.roles:
            return texts if self._timed() else [""] * len(kept)
        found = ""
        for k, i in enumerate(kept):
            place = self.table.places[i][self.roles["date"]]
            value = self.grid.rows[place[0]][place[1]]
            if value == "" and (self.decisions.fill_down or self._meta(i, "date")):
                texts[k] = found
            elif value != "":
                texts[k] = found = self.dates.text(place)
        return texts

    def _timed(self) -> bool:
        return "clock" in self.roles or "time" in self.roles

    def _clocks(self, columns: dict[str, list[str]], kept: list[int]) -> Convention:
        """Read the columns of times; return how hours and minutes of the sheet count."""
        known: Convention = "clock" if self.by_clock else "open"
        for role in ("elapsed_min", "time", "clock"):
            if role not in self.roles:
                continue
            at = self.roles[role]
            heading = self.table.headings[at]
            plain = "elapsed" if role == "elapsed_min" else role
            places = [self.table.places[i][at] for i in kept]
            cells = self.times.cells(places, plain, heading.unit)
            convention = self.times.convention(cells, plain)
            if convention == "clock":
                days = [f"{r} {d}" for r, d in zip(columns["run"], columns["date"], strict=True)]
                cells = self.clocks = self.times.halves(places, cells, days)
            texts = self.times.texts(places, cells, convention)
            columns["elapsed_min" if convention == "elapsed" else "clock"] = texts
            known = "open" if convention == "open" else convention
            self._say_times(convention, cells, at)
            if any(c.day is not None for c in cells):
                columns["date"] = [
                    "" if c.day is not None else d
                    for c, d in zip(cells, columns["date"], strict=True)
                ]
        if known == "elapsed" and "clock" in columns:
            known = "clock"
        return known

    def _say_times(self, convention: Convention, cells: Sequence[TimeCell], at: int) -> None:
        halves = any(c.half for c in cells)
        twelve = halves or self.decisions.hours == "12"
        words = {
            "clock": "by the clock, " + ("12 hours" if twelve else "24 hours"),
            "elapsed": "since the start",
            "open": "not settled: by the clock or since the start",
        }
        self.part.facts.append(("times", f"{words[convention]} ({self._spot(at)})"))

    def _cell(self, row: int, column: int) -> str:
        place = self.table.places[row][column]
        kind = self._kind(row)
        if kind in ("", "soc_pct"):
            return self.readings.text(place)
        if column in self.own.columns:
            place = self._beside(row, column, place)
        text = as_text(self.grid.rows[place[0]][place[1]])
        word = plain_words(text)
        if not text and place not in self.grid.faults:
            return ""
        if is_missed(text, self.decisions):
            return "-"
        if kind == "still_on" and word in (YES | NO):
            return word
        return self._end(place, kind, column)

    def _beside(self, row: int, column: int, place: tuple[int, int]) -> tuple[int, int]:
        """Return the cell with the time of an end; a percentage beside it is left aside."""
        beside = self.table.places[row][self.own.columns[column][0]]
        if self.grid.rows[beside[0]][beside[1]] == "":
            return place
        if self.table.text(row, column):
            cell = at(self.grid, *place)
            self.part.aside.append(f"{cell} {quoted(self.table.text(row, column))}")
        return beside

    def _end(self, place: tuple[int, int], kind: str, column: int) -> str:
        """Return a cell that tells when a device was on or off."""
        [cell] = self.times.cells([place], "off" if kind != "elapsed_min" else "runtime")
        if kind == "elapsed_min":
            return self.times.text(place, cell, "elapsed")
        convention = self.convention
        if self.decisions.times:
            convention = "clock" if self.decisions.times == "clock" else "elapsed"
        if cell.sort == "span":
            convention = "elapsed"
        if convention == "clock":
            clocks = self.clocks or list(self.own.clocks(column).values())
            cell = self.times.after(place, cell, clocks, self._last_read(column))
        text = self.times.text(place, cell, convention)
        if text and convention == "elapsed":
            return f"{cell.seconds / 60:.10g}"
        if text and cell.sort == "colon" and not cell.to_second:
            return clock_text(cell)
        return text

    def _last_read(self, column: int) -> float:
        """Return when a device was read last (s of the day); -1 if that is not known."""
        shared = dict(zip(self.kept, self.clocks, strict=False))
        times = [
            clock.seconds
            for i, clock in sorted((shared | self.own.clocks(column)).items())
            if clock.sort in ("colon", "moment")
            and self._kind(i) == ""
            and self.readings.cells[self.table.places[i][column]].sort in ("percent", "bare")
        ]
        return times[-1] if times else -1.0

    # ------------------------------------------------------------------ preview

    def _facts(self) -> None:
        kept = [i for i in self.kept if not self._kind(i)]
        cells = [self.whole[d] for d in self.part.devices]
        index = {i: k for k, i in enumerate(self.kept)}
        count = sum(1 for column in cells for i in kept if column[index[i]][:1].isdigit())
        off = sum(any(column[index[i]] == "off" for i in kept) for column in cells)
        told = sum(
            any(column[index[i]] not in ("", "-", "no") for i in self.kept
                if self._kind(i) in ("clock", "last_on", "first_off", "elapsed_min"))
            for column in cells
        )  # fmt: skip
        heads = ", ".join(f"{d} ({self._spot(c)})" for c, d in self.devices.items())
        names = list(dict.fromkeys(self.names[i] for i in kept if self.names[i]))
        facts = [("devices", heads)]
        if names:
            facts.append(("checkpoints", ", ".join(names)))
        facts.append(("readings", str(count)))
        facts.append(("power-offs", f"{told} with a time, {off} found off at a checkpoint"))
        facts.append(("percentages", self.readings.unit_words))
        if self.own.columns:
            said = {"clock": "by the clock", "elapsed": "since the start", "open": "not settled"}
            spots = ", ".join(self._spot(c) for c, _ in self.own.columns.values())
            facts.append(("times", f"of each reading, {said[self.own.convention]} ({spots})"))
        self.part.facts = [*facts, *self.dates.facts, *self.part.facts]
        self.part.title = self.dates.title
        self.part.aside += self.dates.aside
