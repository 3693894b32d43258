"""Reading the log of a session in its long form.

One row is one observation; the columns are those of ``schemas/log.schema.json``. Reading a log
checks it against that schema and takes its cells for what they are (numbers, times, ids); what
the rows mean together is the matter of :mod:`kit.read.spans`, :mod:`kit.read.readings`,
:mod:`kit.read.power_offs` and :mod:`kit.read.other_events`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from kit.read.cells import Collector, distinct_texts, parse_numbers, quoted
from kit.read.clock import TimeCells, parse_dates, parse_times
from kit.read.log import Log
from kit.read.log_columns import known_columns
from kit.read.table_schema import log_schema, validate

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from kit.read.csv_dialect import RawTable

__all__ = ["EVENT_USES", "read_log"]

STRIPPED = (
    "event",
    "run",
    "phase",
    "point",
    "device",
    "date",
    "clock",
    "elapsed_min",
    "soc_pct",
    "last_on",
    "first_off",
    "temperature_c",
    "part",
    "duration_min",
    "completed",
    "order",
)
"""Columns in which blanks around a text mean nothing. Free texts are kept as they are."""

IDS = ("phase", "device", "part")

EVERY_EVENT = frozenset(
    {
        "event",
        "run",
        "phase",
        "device",
        "date",
        "clock",
        "elapsed_min",
        "by",
        "evidence",
        "note",
        "temperature_c",
    }
)

EVENT_USES: dict[str, frozenset[str]] = {
    "reading": frozenset({"point", "soc_pct", "order"}),
    "tick": frozenset({"point", "soc_pct", "order"}),
    "power_off": frozenset({"last_on", "first_off", "soc_pct", "cause"}),
    "still_on": frozenset({"last_on", "soc_pct"}),
    "phase_start": frozenset(),
    "phase_end": frozenset(),
    "turn": frozenset({"part", "duration_min", "completed", "order"}),
    "charge_start": frozenset({"soc_pct"}),
    "charge_end": frozenset({"soc_pct"}),
    "temperature": frozenset(),
    "incident": frozenset({"cause", "soc_pct"}),
    "note": frozenset(),
}
"""Columns that an event uses besides those that every event may have."""


def read_log(
    table: RawTable,
    notes: Collector,
    *,
    form: Literal["long", "wide"] = "long",
    origin: Sequence[str] | None = None,
) -> Log:
    """Read the cells of a log and tell every one that the schema does not allow.

    Faulty cells are told and then count as blank, so that all other faults can be told too.
    """
    frame = known_columns(table, notes)
    frame = _stripped(frame, notes)
    comma = table.separator == ","
    faulty = validate(frame, log_schema(), notes, comma_is_separator=comma)
    size = len(table.frame)
    filled = {}
    for name in log_schema().names:
        if name not in frame:
            frame[name] = pd.Categorical.from_codes(
                np.zeros(size, dtype=np.int8), categories=pd.Index([""], dtype=object)
            )
        empty = [i for i, c in enumerate(frame[name].cat.categories) if not c]
        filled[name] = ~np.isin(frame[name].cat.codes.to_numpy(), empty)
        if name in faulty and faulty[name].any():
            texts = frame[name].astype(object).to_numpy(copy=True)
            texts[faulty[name]] = ""
            frame[name] = pd.Categorical(texts)
    frame = frame[list(log_schema().names)]
    log = Log(
        file=table.file,
        form=form,
        frame=frame,
        filled=filled,
        lines=table.lines,
        origin=origin,
        run=_numbers(frame["run"], blank=1).astype(np.int64),
        order=_numbers(frame["order"], blank=0).astype(np.int64),
        soc_pct=_numbers(frame["soc_pct"], comma=comma),
        temperature_c=_numbers(frame["temperature_c"], comma=comma),
        duration_min=_numbers(frame["duration_min"], comma=comma),
        clock=_clock(frame, notes),
        elapsed=_times(frame, "elapsed_min", "elapsed", notes, comma=comma).take(
            frame["elapsed_min"].cat.codes.to_numpy()
        ),
        limits={
            n: _times(frame, n, "either", notes, comma=comma) for n in ("last_on", "first_off")
        },
    )
    _tell_unused(log, notes)
    _tell_fractions(log, notes)
    return log


def _stripped(frame: pd.DataFrame, notes: Collector) -> pd.DataFrame:
    """Strip blanks around ids, words and numbers; tell those around ids."""
    for name in STRIPPED:
        if name not in frame:
            continue
        texts = distinct_texts(frame[name])
        together = "".join(texts)
        if together.split() == [together]:
            continue
        bare = [t.strip() for t in texts]
        if texts == bare:
            continue
        codes = frame[name].cat.codes.to_numpy()
        padded = np.array([b != t and bool(b) for t, b in zip(texts, bare, strict=True)])[codes]
        rows = np.flatnonzero(padded)
        if rows.size and name in IDS:
            first = texts[codes[rows[0]]]
            more = f" and in {rows.size - 1} more rows" if rows.size > 1 else ""
            notes.add(
                "cell-blanks",
                row=int(rows[0]),
                column=name,
                severity="note",
                found=f"blanks around the id in {quoted(first)}{more}",
                expected="an id without blanks around it",
                remedy=f"It was read as {quoted(first.strip())}.",
            )
        frame[name] = pd.Categorical(np.array(bare, dtype=object)[codes])
    return frame


def _numbers(
    column: pd.Series, *, blank: float = np.nan, comma: bool = False
) -> NDArray[np.float64]:
    texts = distinct_texts(column)
    values, _ = parse_numbers(texts, comma_is_separator=comma)
    values[[not t for t in texts]] = blank
    return values[column.cat.codes.to_numpy()]


def _times(
    frame: pd.DataFrame,
    name: str,
    bare: Literal["clock", "elapsed", "either"],
    notes: Collector,
    *,
    comma: bool = False,
) -> TimeCells:
    column = frame[name].cat
    texts = distinct_texts(frame[name])
    cells = parse_times(texts, bare=bare, comma_is_separator=comma)
    codes = column.codes.to_numpy()
    rows = np.flatnonzero(cells.bad[codes])
    field = next(f for f in log_schema().fields if f.name == name)
    notes.add_rows(
        "cell-time",
        rows,
        [texts[codes[r]] for r in rows],
        column=name,
        expected=field.expectation,
        remedy=field.remedy,
    )
    return cells


def _clock(frame: pd.DataFrame, notes: Collector) -> TimeCells:
    """Read the clock column and merge the date column into it."""
    cells = _times(frame, "clock", "clock", notes).take(frame["clock"].cat.codes.to_numpy())
    column = frame["date"].cat
    texts = distinct_texts(frame["date"])
    days, bad = parse_dates(texts)
    codes = column.codes.to_numpy()
    rows = np.flatnonzero(bad[codes])
    notes.add_rows(
        "cell-date",
        rows,
        [texts[codes[r]] for r in rows],
        column="date",
        expected="a day of the calendar",
        remedy="Correct the date.",
    )
    written = days[codes]
    conflict = np.isfinite(written) & np.isfinite(cells.day) & (written != cells.day)
    rows = np.flatnonzero(conflict)
    notes.add_rows(
        "cell-date",
        rows,
        [texts[codes[r]] for r in rows],
        column="date",
        expected="the date that the clock column of this row has",
        remedy="Correct one of them, or leave the date blank.",
    )
    return replace(cells, day=np.where(np.isfinite(cells.day), cells.day, written))


def _tell_unused(log: Log, notes: Collector) -> None:
    """Tell cells that their event does not use, once for each event and column."""
    for event, uses in EVENT_USES.items():
        rows_of = log.is_event(event)
        if not rows_of.any():
            continue
        for name in log.frame.columns:
            if name in uses or name in EVERY_EVENT:
                continue
            rows = np.flatnonzero(rows_of & log.filled[name])
            if rows.size:
                more = f", and {rows.size - 1} more like it" if rows.size > 1 else ""
                notes.add(
                    "cell-unused",
                    row=int(rows[0]),
                    column=name,
                    severity="note",
                    found=f"{quoted(log.text(name, int(rows[0])))} in a row of {event}{more}",
                    expected=f"a blank cell, for {event} does not use this column",
                    remedy="It is not read; move it to a row of the event that it belongs to.",
                )


def _tell_fractions(log: Log, notes: Collector) -> None:
    """Tell percentages that are written as fractions of one."""
    read = np.isfinite(log.soc_pct)
    if read.sum() < 3 or (log.soc_pct[read] > 1).any():
        return
    rows = np.flatnonzero(read & (log.soc_pct > 0) & (log.soc_pct < 1))
    if rows.size:
        notes.add(
            "soc-fraction",
            row=int(rows[0]),
            column="soc_pct",
            found=f"{quoted(log.text('soc_pct', int(rows[0])))}, and no value above 1 in the file",
            expected="percentages from 0 to 100",
            remedy="Write percent, not fractions of one: 87, not 0.87.",
        )
