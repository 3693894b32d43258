"""The frame of spans: when each phase of each run began and ended, and what contradicts itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.errors import Finding
from kit.read.cells import quoted
from kit.read.clock import time_cells
from kit.read.runs import TELL
from kit.read.spans import Noted, phase_spans
from kit.read.timeline import PROBLEMS, SOURCES, resolve_times
from kit.session import FRAME_COLUMNS, column_dtype

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.errors import Severity
    from kit.read.cells import Collector
    from kit.read.log import Log
    from kit.read.runs import LogTimes, RunTimes
    from kit.read.setup_file import Setup
    from kit.read.spans import Span, SpanSource
    from kit.read.toml_table import Notes
    from kit.session import Phase

__all__ = ["spans_of"]

OVERLAP_MIN = 1.0
"""A phase may start so long before the noted end of the one before (min): minutes are rounded."""


@dataclass(frozen=True, kw_only=True)
class _Context:
    """What all steps look at or write to."""

    log: Log
    times: LogTimes
    setup: Setup
    notes: Collector
    setup_notes: Notes


def spans_of(
    log: Log,
    times: LogTimes,
    offs: pd.DataFrame,
    phases: Sequence[Phase],
    devices: int,
    setup: Setup,
    notes: Collector,
    setup_notes: Notes,
) -> pd.DataFrame:
    """Return the frame of spans, one row for each run and phase in order.

    Parameters
    ----------
    offs
        The frame of power-offs.
    devices
        How many devices there are: a run until empty ends when all of them are off.
    """
    at = _Context(log=log, times=times, setup=setup, notes=notes, setup_notes=setup_notes)
    rows: list[dict[str, object]] = []
    for run in times.runs:
        stated = _noted_in_setup(run, at) if len(times.runs) == 1 else ({}, {})
        spans = phase_spans(
            phases,
            starts={**stated[0], **_noted_in_log(run, "phase_start", at)},
            ends={**stated[1], **_noted_in_log(run, "phase_end", at)},
            start_readings=_earliest(run, "start", at),
            end_readings=_earliest(run, "end", at),
            origin=_origin(run),
            last=_last(run, offs, devices),
            assumptions=setup.assumptions,
        )
        _tell_spans(spans, run.run.number, at)
        rows.extend(
            {c: getattr(s, c, None) for c in FRAME_COLUMNS["spans"]} | {"run": run.run.number}
            for s in spans
        )
    return pd.DataFrame(
        {c: pd.Series([r[c] for r in rows], dtype=column_dtype(c)) for c in FRAME_COLUMNS["spans"]}
    )


def _noted_in_log(run: RunTimes, event: str, at: _Context) -> dict[str, Noted]:
    noted: dict[str, Noted] = {}
    log = at.log
    of_event = (log.is_event(event) & log.filled["phase"])[run.rows]
    for row in run.rows[of_event].tolist():
        phase = log.text("phase", row)
        if phase in noted:
            at.notes.add(
                "phase-twice",
                row=row,
                column="event",
                phase=phase,
                run=run.run.number,
                found=f"a second {event} of {quoted(phase)} in run {run.run.number}",
                expected=f"one; the first stands in line {noted[phase].line}",
                remedy="Delete the one that is wrong.",
            )
        elif np.isfinite(at.times.t_min[row]):
            noted[phase] = _noted(row, at, SOURCES[at.times.source[row]])
    return noted


def _noted(row: int, at: _Context, source: SpanSource) -> Noted:
    return Noted(
        t_min=float(at.times.t_min[row]),
        resolution_min=float(at.times.resolution_min[row]),
        source=source,
        line=int(at.log.lines[row]),
    )


def _noted_in_setup(run: RunTimes, at: _Context) -> tuple[dict[str, Noted], dict[str, Noted]]:
    """Place the clock times of phases in the setup file, in their order."""
    noted: tuple[dict[str, Noted], dict[str, Noted]] = ({}, {})
    times = [t for pair in at.setup.phase_times.values() for t in pair]
    if not any(times):
        return noted
    found = resolve_times(time_cells(times), time_cells([None] * len(times)), run.clock)
    names = [(i, name, side) for i, name in enumerate(at.setup.phase_times, 1) for side in (0, 1)]
    for i, (number, name, side) in enumerate(names):
        if np.isfinite(found.t_min[i]) and not found.problem[i]:
            noted[side][name] = Noted(
                t_min=float(found.t_min[i]),
                resolution_min=float(found.resolution_min[i]),
                source="clock",
            )
        elif found.problem[i]:
            rule, expected, remedy = TELL[PROBLEMS[found.problem[i]]]
            at.setup_notes.add(
                rule,
                f"phases[{number}].{('start', 'end')[side]}",
                phase=name,
                found="this time",
                expected=expected,
                remedy=remedy,
            )
    return noted


def _earliest(run: RunTimes, point: str, at: _Context) -> dict[str, Noted]:
    """Return for each phase the earliest reading with a time at one of its ends."""
    log = at.log
    wanted = (
        log.is_event("reading")
        & log.holds("point", point)
        & np.isfinite(at.times.t_min)
        & np.isfinite(log.soc_pct)
    )
    found: dict[str, Noted] = {}
    for row in run.rows[wanted[run.rows]].tolist():
        phase = log.text("phase", row)
        if phase not in found or at.times.t_min[row] < found[phase].t_min:
            found[phase] = _noted(row, at, "reading")
    return found


def _origin(run: RunTimes) -> Noted:
    by_clock = run.clock.second is not None
    return Noted(
        t_min=0.0,
        resolution_min=run.clock.resolution_min,
        source="clock" if by_clock else "elapsed",
    )


def _last(run: RunTimes, offs: pd.DataFrame, devices: int) -> Noted | None:
    """Return the end of a run until empty: the last power-off, or the stop."""
    ours = offs[offs["run"] == run.run.number]
    off = ours["noted_min"].fillna(ours["first_off_min"]).to_numpy(dtype=float)
    source: SpanSource = "clock" if run.clock.second is not None else "elapsed"
    if 0 < len(ours) == devices and np.isfinite(off).all() and not ours["still_on"].any():
        at = int(np.argmax(off))
        return Noted(
            t_min=float(off[at]),
            resolution_min=float(ours["t_resolution_min"].iloc[at]),
            source=source,
        )
    stop = run.run.stop_min
    if stop is None:
        return None
    return Noted(t_min=stop, resolution_min=run.stop_resolution_min, source=source)


def _tell_spans(spans: Sequence[Span], run: int, at: _Context) -> None:
    """Tell phases that end before they start, overlap, or were read before their planned end."""
    noted = ("clock", "elapsed")
    before: Span | None = None
    for number, span in enumerate(spans, start=1):
        both = span.start_source in noted and span.end_source in noted
        if both and span.end_min <= span.start_min:
            _tell_phase(
                "phase-order",
                span,
                (number, run, "error"),
                at,
                found=f"a phase that ends {_at(span.end_min)} and starts {_at(span.start_min)}",
                expected="an end after the start",
                remedy="Correct one of the two times.",
            )
        after = before is not None and before.end_source in noted and span.start_source in noted
        if before is not None and after and span.start_min < before.end_min - OVERLAP_MIN:
            _tell_phase(
                "phase-overlap",
                span,
                (number, run, "error"),
                at,
                found=f"a phase that starts {_at(span.start_min)}",
                expected=f"a start after the end of {quoted(before.phase)}, {_at(before.end_min)}",
                remedy="Correct one of the two times, or the order of the phases.",
            )
        if not np.isnan(span.early_reading_min):
            _tell_phase(
                "phase-read-early",
                span,
                (number, run, "caution"),
                at,
                found=f"readings at its end {_at(span.early_reading_min)}",
                expected=f"the planned end, {_at(span.end_min)}",
                remedy="Note when the phase really started and ended (phase_start, phase_end).",
            )
        if not np.isnan(span.end_min):
            before = span


def _at(t_min: float) -> str:
    return f"{t_min:g} min after the start"


def _tell_phase(
    rule: str,
    span: Span,
    place: tuple[int, int, Severity],
    at: _Context,
    *,
    found: str,
    expected: str,
    remedy: str,
) -> None:
    """Tell in the log if the phase has a line there, else in the setup file."""
    number, run, severity = place
    if not span.line and at.setup_notes.file:
        at.setup_notes.add(
            rule,
            f"phases[{number}]",
            severity=severity,
            phase=span.phase,
            run=run,
            found=found,
            expected=expected,
            remedy=remedy,
        )
        return
    at.notes.findings.append(
        Finding(
            rule=rule,
            severity=severity,
            file=at.notes.file,
            line=span.line or None,
            column="phase",
            phase=span.phase,
            run=run,
            found=found,
            expected=expected,
            remedy=remedy,
        )
    )
