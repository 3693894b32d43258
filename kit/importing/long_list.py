"""A sheet with one row for each observation, as the log that `kit.read` reads."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.importing.dense import LISTED, Distinct, distinct
from kit.importing.grid import column_letters, tell
from kit.importing.layout import as_text
from kit.importing.part import Part
from kit.importing.readings import OFF, Readings
from kit.importing.sheet_dates import SheetDates
from kit.importing.time_column import Convention, TimeReader
from kit.importing.times import TimeCell
from kit.importing.words import row_name
from kit.read.cells import Collector, quoted
from kit.read.checkpoints import TIME_ROWS, places_of, plain_words
from kit.read.log_columns import plain_name
from kit.read.table_schema import log_schema
from kit.safe_text import csv_cell, starts_formula

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.importing.layout import Table
    from kit.importing.mapping import Decisions
    from kit.read.setup_file import Setup

__all__ = ["read_list"]

FREE = ("note", "by", "evidence", "cause")
LOG_TIMES = ("clock", "elapsed_min", "last_on", "first_off")
BY_ROLE = {"elapsed": "elapsed_min", "percent": "soc_pct"}


def read_list(table: Table, decisions: Decisions, run: int, setup: Setup) -> Part:
    """Turn a table into columns of a log.

    Parameters
    ----------
    run
        Number of the run that the sheet is about, where no column says it.
    setup
        Phases that checkpoints may name.
    """
    return _List(table, decisions, run, setup).part


class _List:
    """One list while it is read."""

    def __init__(self, table: Table, decisions: Decisions, run: int, setup: Setup) -> None:
        self.table, self.decisions, self.run, self.setup = table, decisions, run, setup
        self.grid = table.grid
        self.part = Part(table.grid, table.shape, "long")
        self.columns: dict[str, int] = {}
        self._roles()
        must = [self.columns[n] for n in ("device", "soc_pct", "event") if n in self.columns]
        self.rows = [
            r for r in range(table.header_row + 1, len(self.grid.rows))
            if any(self.grid.rows[r][c] != "" for c in must)
        ]  # fmt: skip
        self.dates = SheetDates(table, decisions)
        self.times = TimeReader(self.grid, decisions, self.dates.order)
        self.texts: dict[str, NDArray[np.object_]] = {}
        if self.rows:
            self._fill()
        self._finish()

    def _roles(self) -> None:
        for c, heading in enumerate(self.table.headings):
            name = BY_ROLE.get(heading.role, heading.role)
            own = plain_name(heading.text)
            if own in log_schema().names and not heading.decided:
                name = own
            known = name in log_schema().names or name in ("time", "checkpoint")
            if known and name not in self.columns:
                self.columns[name] = c
            elif heading.text and heading.role != "ignore":
                self.part.aside.append(
                    f"heading {quoted(heading.text)} (column {column_letters(c)})"
                )
            elif heading.text:
                self.part.aside.append(f"column {column_letters(c)} {quoted(heading.text)}")

    def _distinct(self, name: str) -> Distinct:
        return distinct(self.grid, self.rows, self.columns[name])

    def _fill(self) -> None:
        for name in self.columns:
            if name in (*LOG_TIMES, "time", "date", "soc_pct"):
                continue
            column = self._distinct(name)
            texts = [self._plain(name, as_text(v)) for v in column.values]
            if name == "device":
                self._check_names(column, texts)
            self.texts[name] = column.spread(texts)
        self.texts.setdefault("run", np.full(len(self.rows), str(self.run), dtype=object))
        self._percentages()
        self._dates()
        self._clocks()
        if "event" not in self.texts:
            self._events()

    def _plain(self, name: str, text: str) -> str:
        if name in FREE:
            return csv_cell(text)
        if name == "device":
            return self.decisions.device_called(text) or text
        if name == "checkpoint":
            return row_name(text, self.decisions)
        if name == "run" and not text:
            return str(self.run)
        return text.casefold().replace(" ", "_") if name == "event" else text

    def _check_names(self, column: Distinct, texts: list[str]) -> None:
        for place, text in zip(column.places, texts, strict=True):
            if starts_formula(text):
                self.part.findings.append(
                    tell(
                        self.grid,
                        "import-formula",
                        row=place[0],
                        column=place[1],
                        expected="the name of a device; a spreadsheet would take this for a "
                        "formula",
                        remedy="Rename it in the file, or give the device a name of its own: "
                        '[devices.NAME] names = ["…"].',
                    )
                )

    def _percentages(self) -> None:
        if "soc_pct" not in self.columns:
            return
        column = self._distinct("soc_pct")
        readings = Readings(self.grid, column.places, self.decisions)
        texts = [readings.text(p) for p in column.places]
        self.texts["soc_pct"] = column.spread(["" if t == "-" else t for t in texts])
        self.part.findings += readings.findings
        self.part.facts.append(("percentages", readings.unit_words))

    def _dates(self) -> None:
        if "date" in self.columns:
            column = self._distinct("date")
            texts = [
                self.dates.text(p) if v != "" else ""
                for p, v in zip(column.places, column.values, strict=True)
            ]
            self.texts["date"] = column.spread(texts)
        elif self.dates.day is not None and {"clock", "time"} & self.columns.keys():
            self.texts["date"] = np.full(
                len(self.rows), self.dates.day.isoformat(), dtype=object
            )  # fmt: skip

    def _clocks(self) -> None:
        known: Convention = "open"
        for name in ("elapsed_min", "time", "clock"):
            if name not in self.columns:
                continue
            heading = self.table.headings[self.columns[name]]
            role = "elapsed" if name == "elapsed_min" else name
            unit = heading.unit or ("minutes" if plain_name(heading.text) == name else "")
            column = self._distinct(name)
            cells = self.times.cells(column.places, role, unit)
            known = self.times.convention(cells, role)
            spread = self._settled(column, cells, known)
            self.texts["elapsed_min" if known == "elapsed" else "clock"] = spread
            if "date" in self.texts and any(c.day is not None for c in cells):
                dated = column.spread(["y" if c.day is not None else "" for c in cells]) == "y"
                self.texts["date"] = np.where(dated, "", self.texts["date"])
            twelve = self.decisions.hours == "12" or any(c.half for c in cells)
            hours = "12 hours" if twelve else "24 hours"
            words = {"clock": f"by the clock, {hours}", "elapsed": "since the start",
                     "open": "not settled"}[known]  # fmt: skip
            letters = column_letters(self.columns[name])
            self.part.facts.append(("times", f"{words} (column {letters})"))
        for name in ("last_on", "first_off"):
            if name in self.columns:
                column = self._distinct(name)
                cells = self.times.cells(column.places, "off")
                limit: Convention = "clock" if known == "open" else known
                texts = [
                    f"{c.seconds / 60:.10g}" if c.sort == "span" else self.times.text(p, c, limit)
                    for p, c in zip(column.places, cells, strict=True)
                ]
                self.texts[name] = column.spread(texts)

    def _settled(
        self, column: Distinct, cells: list[TimeCell], known: Convention
    ) -> NDArray[np.object_]:
        """Return the texts of a column of times, a twelve-hour clock settled for each device."""
        if known != "clock" or len(self.rows) > LISTED:
            return column.spread(self.times.texts(column.places, cells, known))
        every = [cells[code] for code in column.codes.tolist()]
        places = [(r, column.places[0][1]) for r in self.rows]
        dates = self.texts.get("date", np.full(len(every), "", dtype=object)).tolist()
        days = [f"{r} {d}" for r, d in zip(self.texts["run"].tolist(), dates, strict=True)]
        names = self.texts["device"] if "device" in self.texts else np.zeros(len(every))
        for name in dict.fromkeys(names.tolist()):
            own = np.flatnonzero(names == name).tolist()
            settled = self.times.halves(
                [places[i] for i in own], [every[i] for i in own], [days[i] for i in own]
            )
            for i, cell in zip(own, settled, strict=True):
                every[i] = cell
        return np.array(self.times.texts(places, every, known), dtype=object)

    # ------------------------------------------------------------------- events

    def _events(self) -> None:
        """Say of every row what event it is, from its checkpoint and percentage."""
        size = len(self.rows)
        event = np.full(size, "reading", dtype=object)
        soc = self.texts.get("soc_pct", np.full(size, "", dtype=object))
        kinds = self._checkpoints(size)
        keep = np.ones(size, dtype=bool)
        off = (soc == OFF) | (kinds != "")
        self.texts["soc_pct"] = np.where(soc == OFF, "", soc)
        # a list that is called one may name no device: the rows then lack it, and are told
        devices = self.texts.get("device", np.full(size, "", dtype=object))
        offs: dict[tuple[str, str], int] = {}
        for i in np.flatnonzero(off).tolist():
            kind = kinds[i] or "first_off"
            key = str(self.texts["run"][i]), str(devices[i])
            row = offs.setdefault(key, i)
            keep[i] = row == i
            if row != i and not kinds[i]:
                continue
            for name in ("point", "order"):
                if name in self.texts:
                    self.texts[name][row] = ""
            event[row] = "still_on" if kind == "still_on" else "power_off"
            self._end(row, i, kind)
        self.texts["event"] = event
        self.rows = [r for r, kept in zip(self.rows, keep.tolist(), strict=True) if kept]
        self.texts = {n: t[keep] for n, t in self.texts.items() if n != "checkpoint"}

    def _end(self, row: int, source: int, kind: str) -> None:
        """Put the time of a row that tells of an end where it belongs."""
        clock, elapsed = (self.texts.get(n) for n in ("clock", "elapsed_min"))
        size = len(self.rows)
        when = str(clock[source]) if clock is not None else ""
        if kind in ("last_on", "first_off"):
            limit = self.texts.setdefault(kind, np.full(size, "", dtype=object))
            if when and "date" in self.texts and self.texts["date"][source] and "T" not in when:
                when = f"{self.texts['date'][source]}T{when}"
            if not when and elapsed is not None and elapsed[source]:
                from kit.read.clock import parse_times

                minutes = parse_times([str(elapsed[source])], bare="elapsed").elapsed_min[0]
                when = f"{minutes:.10g}"
            limit[row] = when
            if row == source:
                for column in (clock, elapsed):
                    if column is not None:
                        column[row] = ""
        elif row != source:
            for column in (clock, elapsed):
                if column is not None:
                    column[row] = column[source]

    def _checkpoints(self, size: int) -> NDArray[np.object_]:
        """Place the rows by their checkpoint; return the kind of those that tell of an end."""
        kinds = np.full(size, "", dtype=object)
        if "checkpoint" not in self.texts:
            return kinds
        names = [str(t) for t in self.texts["checkpoint"].tolist()]
        given = self.texts.get("phase")
        cells = [""] * size if given is None else [str(t) for t in given.tolist()]
        lines = np.array([self.grid.lines[r] for r in self.rows])
        notes = Collector(self.grid.file, lines)
        heading = self.table.headings[self.columns["checkpoint"]].text
        placed, _ = places_of(names, cells, self.setup, heading, notes)
        self.part.findings += notes.findings
        self.texts["phase"] = np.array(
            [c if p is None else p[0] for p, c in zip(placed, cells, strict=True)], dtype=object
        )
        self.texts["point"] = np.array(["" if p is None else p[1] for p in placed], dtype=object)
        kinds[:] = [
            TIME_ROWS[plain_words(n)] if p is None else ""
            for n, p in zip(names, placed, strict=True)
        ]
        found = list(dict.fromkeys(names))
        self.part.facts.append(("checkpoints", ", ".join(found)))
        return kinds

    # ------------------------------------------------------------------ preview

    def _finish(self) -> None:
        part = self.part
        part.columns = {n: t.tolist() for n, t in self.texts.items() if n in log_schema().names}
        part.devices = [d for d in dict.fromkeys(part.columns.get("device", [])) if d]
        heads = dict(self.columns)
        for name in ("clock", "elapsed_min"):
            heads.setdefault(name, heads.get("time", 0))
        rows = self.rows
        part.place = lambda row, name: (rows[row], heads.get(name))
        soc = self.texts.get("soc_pct")
        event = self.texts.get("event")
        readings = 0 if soc is None else int(np.sum(soc != ""))
        offs = 0 if event is None else int(np.sum(event == "power_off"))
        part.facts = [
            ("devices", ", ".join(part.devices)),
            ("readings", str(readings)),
            ("power-offs", str(offs)),
            *self.dates.facts,
            *part.facts,
        ]
        part.findings += [*self.dates.findings, *self.times.findings]
        part.title = self.dates.title
        part.aside += self.dates.aside
