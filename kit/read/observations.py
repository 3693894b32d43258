"""From the rows of a log to the observation frames of a session.

Everything that contradicts itself or the setup file is told here; whether an observation is
plausible as a measurement is for :mod:`kit.checks`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.read.cells import MOST_ALIKE, quoted
from kit.session import FRAME_COLUMNS, column_dtype

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from kit.read.cells import Collector
    from kit.read.runs import LogTimes, RunTimes
    from kit.read.session_csv import Log

__all__ = [
    "DENSE_ROWS",
    "charges",
    "incidents",
    "power_offs",
    "readings",
    "temperatures",
    "turns",
]

DENSE_ROWS = 10_000
"""Frames with more rows keep their texts as categories."""


def _frame(
    name: str, log: Log, rows: NDArray[np.intp], given: Mapping[str, object]
) -> pd.DataFrame:
    """Return an observation frame of some rows: given columns, the others from the log."""
    columns: dict[str, object] = {}
    for column in FRAME_COLUMNS[name]:
        if column in given:
            values = given[column]
        elif column == "line":
            values = log.lines[rows]
        elif column in ("run", "order", "soc_pct", "temperature_c", "duration_min"):
            values = getattr(log, column)[rows]
        else:
            values = log.rows(column, rows)
        if isinstance(values, pd.Categorical):
            columns[column] = _texts(values)
        else:
            columns[column] = pd.Series(values, dtype=column_dtype(column))
    return pd.DataFrame(columns, columns=list(FRAME_COLUMNS[name]))


def _texts(values: pd.Categorical) -> pd.Series:
    if len(values) > DENSE_ROWS:
        return pd.Series(values.remove_unused_categories())
    return pd.Series(np.asarray(values, dtype=object), dtype=object)


def readings(
    log: Log,
    times: LogTimes,
    spans: pd.DataFrame,
    phases: Sequence[str],
    notes: Collector,
) -> pd.DataFrame:
    """Return the frame of readings and ticks.

    A reading with a time but without phase and point is put into the phase that was going on,
    as a reading inside it.
    """
    wanted = log.is_event("reading", "tick") & log.filled["device"]
    blank = wanted & log.is_event("reading") & ~log.filled["soc_pct"]
    _tell_not_taken(log, np.flatnonzero(blank), notes)
    rows = np.flatnonzero(wanted & np.isfinite(log.soc_pct))
    t_min, resolution = times.t_min[rows], times.resolution_min[rows].copy()
    phase = _phase_codes(log, rows, phases)
    point = log.frame["point"].cat
    names = ["", "start", "end", "inside"]
    back = np.array([names.index(str(c)) for c in point.categories], dtype=np.int8)
    point_codes = back[point.codes.to_numpy()[rows]]
    open_point = (point_codes == 0) & np.isfinite(t_min)
    fill = open_point & (phase == 0)
    named = open_point & ~fill & log.is_event("reading")[rows]
    at_edge = named & _at_edge(t_min, log.run[rows], phase, spans, phases)
    _tell_no_point(log, rows[at_edge], notes)
    phase[fill] = _phase_at(t_min[fill], log.run[rows][fill], spans, phases)
    point_codes[open_point & (phase > 0)] = names.index("inside")
    kind = np.where(log.is_event("tick")[rows], 1, 0).astype(np.int8)
    frame = _frame(
        "readings",
        log,
        rows,
        {
            "phase": pd.Categorical.from_codes(phase, categories=pd.Index(["", *phases])),
            "point": pd.Categorical.from_codes(point_codes, categories=pd.Index(names)),
            "kind": pd.Categorical.from_codes(kind, categories=pd.Index(["reading", "tick"])),
            "t_min": t_min,
            "t_resolution_min": resolution,
        },
    )
    _tell_twice(log, rows, kind, point_codes, notes)
    return frame


def _at_edge(
    t_min: NDArray[np.float64],
    run: NDArray[np.int64],
    phase: NDArray[np.int32],
    spans: pd.DataFrame,
    phases: Sequence[str],
) -> NDArray[np.bool_]:
    """Return which times are the very start or end of their phase (1 + its place)."""
    found = np.zeros(t_min.size, dtype=bool)
    place = {name: i for i, name in enumerate(phases, start=1)}
    for span in spans.itertuples(index=False):
        ours = (run == span.run) & (phase == place[str(span.phase)])
        found |= ours & ((t_min == span.start_min) | (t_min == span.end_min))
    return found


def _tell_no_point(log: Log, rows: NDArray[np.intp], notes: Collector) -> None:
    """Tell readings on the boundary of their phase that do not say that they are of it."""
    expected = "'start' or 'end', as it was made on the boundary of the phase"
    for row in rows[:MOST_ALIKE].tolist():
        device, phase = log.text("device", row), log.text("phase", row)
        notes.add(
            "point-open",
            row=row,
            column="point",
            severity="note",
            found=f"an empty cell, for a reading of {quoted(device)} in {quoted(phase)}",
            expected=expected,
            remedy="It counts as a reading inside the phase; write the point to make it the one "
            "of the boundary.",
            device=device,
            phase=phase,
            run=int(log.run[row]),
        )
    notes.add_rest(
        "point-open",
        rows,
        column="point",
        severity="note",
        expected=expected,
        remedy="They count as readings inside the phase.",
    )


def _tell_not_taken(log: Log, rows: NDArray[np.intp], notes: Collector) -> None:
    for row in rows[:MOST_ALIKE].tolist():
        note = log.text("note", row)
        notes.add(
            "reading-missing",
            row=row,
            column="soc_pct",
            severity="note",
            found=f"no percentage{f', with the note {quoted(note)}' if note else ''}",
            expected="a percentage, if one was read",
            remedy="The reading counts as missing.",
            device=log.text("device", row),
            phase=log.text("phase", row),
            run=int(log.run[row]),
        )
    notes.add_rest(
        "reading-missing",
        rows,
        column="soc_pct",
        severity="note",
        expected="a percentage, if one was read",
        remedy="The readings count as missing.",
    )


def _phase_codes(log: Log, rows: NDArray[np.intp], phases: Sequence[str]) -> NDArray[np.int32]:
    """Return 0 for no (or an unknown) phase, else 1 + its place."""
    place = {name: i for i, name in enumerate(phases, start=1)}
    column = log.frame["phase"].cat
    back = np.array([place.get(str(c), 0) for c in column.categories], dtype=np.int32)
    return back[column.codes.to_numpy()[rows]]


def _phase_at(
    t_min: NDArray[np.float64],
    run: NDArray[np.int64],
    spans: pd.DataFrame,
    phases: Sequence[str],
) -> NDArray[np.int32]:
    """Return 1 + the place of the phase that went on at each time, 0 for none.

    The moment at which one phase ends and the next starts belongs to the next.
    """
    found = np.zeros(t_min.size, dtype=np.int32)
    place = {name: i for i, name in enumerate(phases, start=1)}
    known = spans[spans["start_min"].notna() & spans["end_min"].notna()]
    starts, ends = (known[c].to_numpy(dtype=float) for c in ("start_min", "end_min"))
    numbers = known["run"].to_numpy(dtype=np.int64)
    for i, name in enumerate(known["phase"].astype(str)):
        inside = (run == numbers[i]) & (t_min >= starts[i]) & (t_min <= ends[i])
        found[inside] = place[name]
    return found


def _tell_twice(
    log: Log,
    rows: NDArray[np.intp],
    kind: NDArray[np.int8],
    point: NDArray[np.int8],
    notes: Collector,
) -> None:
    """Tell a second reading of a device at the same boundary."""
    boundary = (kind == 0) & ((point == 1) | (point == 2))
    ours = rows[boundary]
    keys = pd.DataFrame(
        {
            "run": log.run[ours],
            "device": log.frame["device"].cat.codes.to_numpy()[ours],
            "phase": log.frame["phase"].cat.codes.to_numpy()[ours],
            "point": point[boundary],
        }
    )
    for at in np.flatnonzero(keys.duplicated().to_numpy()).tolist():
        first = int(ours[np.flatnonzero((keys == keys.iloc[at]).all(axis=1))[0]])
        row = int(ours[at])
        device, phase = log.text("device", row), log.text("phase", row)
        notes.add(
            "reading-twice",
            row=row,
            column="point",
            device=device,
            phase=phase,
            run=int(log.run[row]),
            found=f"a second reading of {quoted(device)} at the {log.text('point', row)} of "
            f"{quoted(phase)}",
            expected=f"one; the first stands in line {log.lines[first]}",
            remedy="Delete one of them, or write 'inside' for a further reading.",
        )


def power_offs(log: Log, times: LogTimes, notes: Collector) -> pd.DataFrame:
    """Return the frame of power-offs and of devices still on at the stop."""
    from kit.read.timeline import near_time

    rows = np.flatnonzero(log.is_event("power_off", "still_on") & log.filled["device"])
    t_min, resolution = times.t_min[rows], times.resolution_min[rows]
    still_on = log.is_event("still_on")[rows]
    noted = np.where(still_on, np.nan, t_min)
    limits = {"last_on": np.full(rows.size, np.nan), "first_off": np.full(rows.size, np.nan)}
    finest = np.full(rows.size, np.nan)
    number = log.run[rows]
    for run in times.runs:
        ours = np.flatnonzero(number == run.run.number)
        reference = _reference(run, times.t_min, rows[ours])
        for name in ("first_off", "last_on"):
            found = near_time(log.limit(name, rows[ours]), reference, run.clock)
            limits[name][ours] = found.t_min
            finest[ours] = np.fmax(finest[ours], found.resolution_min)
            reference = np.where(np.isfinite(reference), reference, found.t_min)
            _tell_limits(log, name, rows[ours], found.problem, run, notes)
        stop = run.run.stop_min
        on = ours[still_on[ours]]
        seen = np.where(np.isfinite(t_min[on]), t_min[on], np.nan if stop is None else stop)
        limits["last_on"][on] = np.fmax(seen, limits["last_on"][on])
        unknown = on[np.isnan(resolution[on]) & np.isfinite(limits["last_on"][on])]
        resolution[unknown] = run.stop_resolution_min
    resolution = np.where(np.isnan(resolution), finest, resolution)
    frame = _frame(
        "power_offs",
        log,
        rows,
        {
            "still_on": still_on,
            "noted_min": noted,
            "last_on_min": limits["last_on"],
            "first_off_min": limits["first_off"],
            "t_resolution_min": resolution,
        },
    )
    _tell_order(log, rows, noted, limits["last_on"], limits["first_off"], notes)
    _tell_off_twice(log, rows, notes)
    return frame


def _reference(
    run: RunTimes, t_min: NDArray[np.float64], rows: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Return for each row its own time, or that of the last timed row of the run before it."""
    timed = run.rows[np.isfinite(t_min[run.rows])]
    if not timed.size:
        return np.full(rows.size, np.nan)
    last = np.searchsorted(timed, rows, side="right") - 1
    return np.where(last >= 0, t_min[timed[np.maximum(last, 0)]], np.nan)


def _tell_limits(
    log: Log,
    column: str,
    rows: NDArray[np.intp],
    problem: NDArray[np.int8],
    run: RunTimes,
    notes: Collector,
) -> None:
    from kit.read.runs import TELL
    from kit.read.timeline import PROBLEMS

    for row, code in zip(rows.tolist(), problem.tolist(), strict=True):
        if code:
            rule, expected, remedy = TELL[PROBLEMS[code]]
            notes.add(
                rule,
                row=row,
                column=column,
                found=quoted(log.text(column, row)),
                expected=expected,
                remedy=remedy,
                run=run.run.number,
            )


def _tell_order(
    log: Log,
    rows: NDArray[np.intp],
    noted: NDArray[np.float64],
    last_on: NDArray[np.float64],
    first_off: NDArray[np.float64],
    notes: Collector,
) -> None:
    """Tell times of a power-off that cannot all be true."""
    for name, early, late, words in (
        ("last_on", last_on, first_off, ("last seen on", "first seen off")),
        ("last_on", last_on, noted, ("last seen on", "noted off")),
    ):
        for at in np.flatnonzero(early > late).tolist():
            row = int(rows[at])
            other = "first_off" if late is first_off else "clock"
            if other == "clock" and not log.filled["clock"][row]:
                other = "elapsed_min"
            notes.add(
                "off-order",
                row=row,
                column=name,
                device=log.text("device", row),
                run=int(log.run[row]),
                found=f"{words[0]} at {quoted(log.text(name, row))}, {words[1]} at "
                f"{quoted(log.text(other, row))}",
                expected=f"{words[0]} no later than {words[1]}",
                remedy="Correct one of the two times.",
            )


def _tell_off_twice(log: Log, rows: NDArray[np.intp], notes: Collector) -> None:
    first: dict[tuple[int, str], int] = {}
    for row in rows.tolist():
        key = int(log.run[row]), log.text("device", row)
        if key in first:
            notes.add(
                "off-twice",
                row=row,
                column="event",
                device=key[1],
                run=key[0],
                found=f"a second {log.text('event', row)} of {quoted(key[1])} in run {key[0]}",
                expected="one power_off or still_on for each device; the first stands in line "
                f"{log.lines[first[key]]}",
                remedy="Delete the one that is wrong.",
            )
        else:
            first[key] = row


def temperatures(log: Log, times: LogTimes) -> pd.DataFrame:
    """Return the frame of temperatures, also those noted in rows of other events."""
    with_value = np.isfinite(log.temperature_c)
    rows = np.flatnonzero(with_value & log.filled["event"])
    return _frame("temperatures", log, rows, {"t_min": times.t_min[rows]})


def incidents(log: Log, times: LogTimes) -> pd.DataFrame:
    """Return the frame of incidents."""
    rows = np.flatnonzero(log.is_event("incident"))
    return _frame("incidents", log, rows, {"t_min": times.t_min[rows]})


def turns(log: Log, times: LogTimes) -> pd.DataFrame:
    """Return the frame of turns: who really did which part of a split phase."""
    rows = np.flatnonzero(log.is_event("turn"))
    start = times.t_min[rows]
    return _frame(
        "turns",
        log,
        rows,
        {
            "activity": log.rows("part", rows),
            "start_min": start,
            "end_min": start + log.duration_min[rows],
        },
    )


def charges(log: Log, times: LogTimes, notes: Collector) -> pd.DataFrame:
    """Return the frame of charges: each start with the next end of the same device.

    The percentage is that at the end, or where none was noted, that at the start.
    """
    rows = np.flatnonzero(log.is_event("charge_start", "charge_end") & log.filled["device"])
    t_min = times.t_min[rows]
    is_end = log.is_event("charge_end")
    open_at: dict[tuple[int, str], int] = {}
    first: list[int] = []
    span: list[list[float]] = []
    for row, t in zip(rows.tolist(), t_min.tolist(), strict=True):
        key = int(log.run[row]), log.text("device", row)
        if is_end[row] and key in open_at:
            at = open_at.pop(key)
            span[at][1] = t
            if np.isfinite(log.soc_pct[row]):
                span[at][2] = float(log.soc_pct[row])
            if t < span[at][0]:
                notes.add(
                    "charge-order",
                    row=row,
                    column="event",
                    device=key[1],
                    run=key[0],
                    found="a charge that ends before it starts",
                    expected=f"an end after the start in line {log.lines[first[at]]}",
                    remedy="Correct one of the two times.",
                )
            continue
        if is_end[row]:
            span.append([np.nan, t, float(log.soc_pct[row])])
        else:
            open_at[key] = len(span)
            span.append([t, np.nan, float(log.soc_pct[row])])
        first.append(row)
    values = np.array(span, dtype=float).reshape(-1, 3)
    return _frame(
        "charges",
        log,
        np.array(first, dtype=np.intp),
        {"start_min": values[:, 0], "end_min": values[:, 1], "soc_pct": values[:, 2]},
    )
