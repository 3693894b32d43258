"""From the rows of a log to the frame of readings and ticks.

Everything that contradicts itself or the setup file is told here; whether an observation is
plausible as a measurement is for :mod:`kit.checks`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.read.cells import MOST_ALIKE, quoted
from kit.read.observation_frame import observation_frame

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from kit.read.cells import Collector
    from kit.read.log import Log
    from kit.read.runs import LogTimes

__all__ = ["readings"]


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
    frame = observation_frame(
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
