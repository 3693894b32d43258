"""Reading a scorecard: one row for each checkpoint, one column for each device.

A scorecard is what people keep by hand. Its first column names the checkpoints (``start``,
``after Streaming``, ``Streaming``, …); columns named phase, clock, elapsed_min, date, run, note,
by and evidence are what they say; all others are devices. Further rows hold times for each device:
power off, last seen on, first seen off, still on. Cells may read ``87``, ``87 %`` or ``87,5``;
``-`` and blank are missing readings, ``off`` and ``dead`` say that the device was found off.

The table is turned into the rows of a log and then read like one, so that both forms obey the
same rules; findings name the line and the column of the scorecard.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.read.cells import Collector, hint, quoted
from kit.read.checkpoints import TIME_ROWS, UNKNOWN, places_of, plain_words
from kit.read.clock import parse_times
from kit.read.csv_dialect import RawTable
from kit.read.log_columns import plain_name
from kit.read.session_csv import read_log
from kit.read.table_schema import Schema, log_schema, validate
from kit.session import Device

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kit.read.checkpoints import Place
    from kit.read.log import Log
    from kit.read.setup_file import Setup

__all__ = ["read_scorecard"]

META = ("phase", "clock", "elapsed_min", "date", "run", "by", "evidence", "note")
"""Columns of a scorecard that are no devices."""

FOUND_OFF = frozenset({"off", "dead", "empty", "died", "power off", "powered off"})
NOT_READ = frozenset({"-", "–", "—", "?", "n/a", "na", "missing", "not read"})
YES = frozenset({"yes", "y", "x", "on", "still on", "✓", "true"})
NO = frozenset({"no", "n", "off", "false"})

PERCENT = re.compile(r"(?P<number>[^%]*?)\s*%?")
HEADING_UNIT = re.compile(r"\s*(?:\(%\)|\[%\]|%|, %)$")


@dataclass
class _Rows:
    """The rows of the log that a scorecard is turned into."""

    cells: list[dict[str, str]] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    origin: list[str] = field(default_factory=list)

    def add(self, line: int, origin: str, cells: dict[str, str]) -> None:
        self.cells.append(cells)
        self.lines.append(line)
        self.origin.append(origin)


@dataclass
class _Off:
    """What a scorecard says of the end of one device in one run."""

    line: int
    heading: str
    cells: dict[str, str]


def read_scorecard(table: RawTable, setup: Setup) -> tuple[Log, Collector, Setup]:
    """Read a scorecard.

    Returns
    -------
    log
        The same as a log would have been.
    notes
        The findings so far, for the further ones.
    setup
        The setup with the devices of the heading and the phases of the checkpoints where the
        setup file names none.
    """
    notes = Collector(table.file, table.lines, own=frozenset(META))
    meta, devices, first = _columns(table, setup, notes)
    if not setup.devices:
        setup = replace(setup, devices=tuple(Device(id=n, label=n) for n in devices.values()))
    texts = _checked_meta(table, meta, notes)
    checkpoints = [""] * len(table.lines)
    if first:
        checkpoints = [str(c).strip() for c in table.frame[first]]
    cells = texts.get("phase", [""] * len(checkpoints))
    places, setup = places_of(checkpoints, cells, setup, first, notes)
    rows = _rows(table, devices, checkpoints, texts, places, notes)
    long = _long_table(table, rows)
    log_notes = Collector(
        table.file,
        long.lines,
        origin=rows.origin,
        own=frozenset({*META, first}),
        findings=notes.findings,
    )
    log = read_log(long, log_notes, form="wide", origin=rows.origin)
    return log, log_notes, setup


def _columns(
    table: RawTable, setup: Setup, notes: Collector
) -> tuple[dict[str, str], dict[str, str], str]:
    """Return known columns (name → heading), devices (heading → id) and the checkpoint column."""
    headings = [str(c) for c in table.frame.columns]
    first = headings[0] if plain_name(headings[0]) not in META else ""
    meta: dict[str, str] = {}
    devices: dict[str, str] = {}
    by_name = {name.casefold(): d.id for d in setup.devices for name in (d.label, d.id)}
    heading_row = Collector(table.file, np.array([table.header_line]))
    for heading in headings[1 if first else 0 :]:
        name = plain_name(heading)
        label = HEADING_UNIT.sub("", heading).strip()
        if name in META and name not in meta:
            meta[name] = heading
            continue
        device = by_name.get(label.casefold(), "") if setup.devices else label or heading
        if not device:
            known = [d.label for d in setup.devices]
            heading_row.add(
                "device-unknown",
                row=0,
                column=heading,
                found=f"the heading {quoted(heading)}",
                expected=f"id or label of a device of the setup file ({', '.join(known)}), or one "
                f"of {', '.join(META)}",
                remedy="Correct the heading, or add the device to the setup file."
                + hint(label, [*known, *META]),
            )
        elif device in devices.values():
            heading_row.add(
                "column-twice",
                row=0,
                column=heading,
                found=f"a second column for the device {quoted(device)}",
                expected="every device once",
                remedy="Delete or rename one of them.",
            )
        else:
            devices[heading] = device
    if not devices and not heading_row.findings:
        heading_row.add(
            "scorecard-columns",
            row=0,
            found=f"the headings {', '.join(map(quoted, headings))}",
            expected="a log with a column 'event', or a scorecard with a column for each device",
            remedy="docs/record-format.md shows both; check the heading and the separator.",
        )
    notes.findings.extend(heading_row.findings)
    return meta, devices, first


def _checked_meta(
    table: RawTable, meta: Mapping[str, str], notes: Collector
) -> dict[str, list[str]]:
    """Return the texts of the known columns; faulty cells are told and blanked."""
    frame = pd.DataFrame({n: table.frame[h] for n, h in meta.items()}, index=table.frame.index)
    for name in frame:
        if name not in ("note", "by", "evidence"):
            frame[name] = pd.Categorical([str(c).strip() for c in frame[name]])
    schema = Schema(fields=tuple(f for f in log_schema().fields if f.name in meta))
    faulty = validate(frame, schema, notes, comma_is_separator=table.separator == ",")
    return {
        str(n): ["" if bad else str(c) for c, bad in zip(frame[n], faulty[str(n)], strict=True)]
        for n in frame
    }


def _rows(
    table: RawTable,
    devices: Mapping[str, str],
    checkpoints: Sequence[str],
    texts: Mapping[str, Sequence[str]],
    places: Sequence[Place | None],
    notes: Collector,
) -> _Rows:
    rows = _Rows()
    columns = {h: [str(c).strip() for c in table.frame[h]] for h in devices}
    offs = _offs(devices, columns, checkpoints, texts, places, notes)
    last_read: dict[tuple[str, str], int] = {}
    for row, place in enumerate(places):
        run = texts["run"][row] if "run" in texts else ""
        for heading in devices if place is not None else ():
            if _is_percent(columns[heading][row]):
                last_read[run, heading] = row
    placed: dict[int, list[_Off]] = {}
    for (run, heading), off in offs.items():
        placed.setdefault(last_read.get((run, heading), -1), []).append(off)
    for off in placed.get(-1, []):
        rows.add(off.line, off.heading, off.cells)
    for row, place in enumerate(places):
        if place is not None and place[1] != UNKNOWN:
            _readings(rows, row, place, devices, columns, texts, offs, last_read, notes)
        for off in placed.get(row, []):
            rows.add(off.line, off.heading, off.cells)
    return rows


def _is_percent(cell: str) -> bool:
    return any(c.isdigit() for c in cell)


def _readings(
    rows: _Rows,
    row: int,
    place: Place,
    devices: Mapping[str, str],
    columns: Mapping[str, Sequence[str]],
    texts: Mapping[str, Sequence[str]],
    offs: Mapping[tuple[str, str], _Off],
    last_read: Mapping[tuple[str, str], int],
    notes: Collector,
) -> None:
    """Add the readings of one checkpoint."""
    shared = {n: texts[n][row] for n in texts if n != "phase"}
    run = shared.get("run", "")
    for heading, device in devices.items():
        cell = columns[heading][row]
        word = plain_words(cell) if cell not in NOT_READ else cell
        if _is_percent(cell):
            match = PERCENT.fullmatch(cell)
            number = match["number"] if match else cell
            rows.add(
                int(notes.lines[row]),
                heading,
                {
                    "event": "reading",
                    "phase": place[0],
                    "point": place[1],
                    "device": device,
                    "soc_pct": number,
                    **shared,
                },
            )
        elif word in FOUND_OFF or word in NOT_READ or not cell:
            missed = not cell and last_read.get((run, heading), -1) > row
            known_off = word in FOUND_OFF and (run, heading) in offs
            if (cell and not known_off) or missed:
                notes.add(
                    "reading-missing",
                    row=row,
                    column=heading,
                    severity="note",
                    found=quoted(cell),
                    expected="a percentage, if one was read",
                    remedy="The reading counts as missing.",
                    device=device,
                    phase=place[0],
                )
        else:
            notes.add(
                "cell-type",
                row=row,
                column=heading,
                found=quoted(cell),
                expected="a percentage from 0 to 100; or -, off, dead, or a blank cell",
                remedy="Correct the cell; if the column is no device, name it "
                f"{', '.join(META[:-1])} or {META[-1]}.",
            )


def _offs(
    devices: Mapping[str, str],
    columns: Mapping[str, Sequence[str]],
    checkpoints: Sequence[str],
    texts: Mapping[str, Sequence[str]],
    places: Sequence[Place | None],
    notes: Collector,
) -> dict[tuple[str, str], _Off]:
    """Return (run, heading) → what is said of the end of the device."""
    offs: dict[tuple[str, str], _Off] = {}
    for row, place in enumerate(places):
        kind = TIME_ROWS.get(plain_words(checkpoints[row]), "") if place is None else ""
        for heading in devices if kind else ():
            cell = columns[heading][row]
            if not cell or cell in NOT_READ:
                continue
            found = _off_cell(kind, cell, row, heading, notes)
            if found:
                run = texts["run"][row] if "run" in texts else ""
                off = offs.setdefault(
                    (run, heading),
                    _Off(int(notes.lines[row]), heading, {"event": "power_off", "run": run}),
                )
                off.cells |= {"device": devices[heading], **found}
                for name in ("phase", "date", "note"):
                    if name in texts and texts[name][row]:
                        off.cells[name] = texts[name][row]
    _found_off(offs, devices, columns, texts, places, checkpoints, notes)
    return offs


def _off_cell(kind: str, cell: str, row: int, heading: str, notes: Collector) -> dict[str, str]:
    """Read a cell of a row such as "power off"; {} if it says nothing or is told as wrong."""
    word = plain_words(cell)
    if kind == "soc_pct":
        match = PERCENT.fullmatch(cell)
        return {"soc_pct": match["number"] if match else cell}
    if kind == "still_on":
        if word in NO:
            return {}
        if word in YES:
            return {"event": "still_on"}
    bare = "elapsed" if kind == "elapsed_min" else "either"
    if parse_times([cell], bare="elapsed" if bare == "elapsed" else "either").bad[0]:
        name = "elapsed_min" if kind == "elapsed_min" else "last_on"
        known = next(f for f in log_schema().fields if f.name == name)
        notes.add(
            "cell-time",
            row=row,
            column=heading,
            found=quoted(cell),
            expected=known.expectation,
            remedy=known.remedy,
        )
        return {}
    if kind in ("last_on", "first_off", "elapsed_min"):
        return {kind: cell}
    event = {"event": "still_on"} if kind == "still_on" else {}
    return {**event, "clock" if ":" in cell else "elapsed_min": cell}


def _found_off(
    offs: dict[tuple[str, str], _Off],
    devices: Mapping[str, str],
    columns: Mapping[str, Sequence[str]],
    texts: Mapping[str, Sequence[str]],
    places: Sequence[Place | None],
    checkpoints: Sequence[str],
    notes: Collector,
) -> None:
    """Take the first "off" in a column as seen off, where no row gives the times."""
    for heading, device in devices.items():
        for row, place in enumerate(places):
            run = texts["run"][row] if "run" in texts else ""
            if place is None or plain_words(columns[heading][row]) not in FOUND_OFF:
                continue
            if (run, heading) in offs:
                continue
            cells = {
                "event": "power_off",
                "run": run,
                "device": device,
                "phase": place[0],
                "note": f"{columns[heading][row]} at {checkpoints[row] or 'this row'}",
            }
            clock = texts["clock"][row] if "clock" in texts else ""
            elapsed = texts["elapsed_min"][row] if "elapsed_min" in texts else ""
            if clock:
                cells["first_off"] = clock
            elif elapsed:
                minutes = parse_times([elapsed], bare="elapsed").elapsed_min[0]
                cells["first_off"] = f"{minutes:.10g}"
            offs[run, heading] = _Off(int(notes.lines[row]), heading, cells)


def _long_table(table: RawTable, rows: _Rows) -> RawTable:
    names = [n for n in log_schema().names if any(n in c for c in rows.cells)] or ["event"]
    frame = pd.DataFrame({n: pd.Categorical([c.get(n, "") for c in rows.cells]) for n in names})
    return RawTable(
        file=table.file,
        frame=frame,
        lines=np.array(rows.lines, dtype=np.int64),
        header_line=table.header_line,
        separator=table.separator,
    )
