"""The frame of spans: when each phase of each run began and ended, and what contradicts itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from kit.cells import quoted
from kit.clock import time_cells
from kit.errors import Finding
from kit.runs import TELL
from kit.session import FRAME_COLUMNS, empty_frames
from kit.spans import Noted, phase_spans
from kit.timeline import PROBLEMS, SOURCES, resolve_times

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.cells import Collector
    from kit.runs import RunTimes
    from kit.session import Device, Phase
    from kit.session_csv import Log
    from kit.setup_file import Setup
    from kit.spans import Span, SpanSource

__all__ = ["spans_of"]


def spans_of(
    log: Log,
    runs: Sequence[RunTimes],
    offs: pd.DataFrame,
    phases: Sequence[Phase],
    devices: Sequence[Device],
    setup: Setup,
    notes: Collector,
    findings: list[Finding],
    setup_file: str,
) -> pd.DataFrame:
    """Return the frame of spans, one row for each run and phase in order."""
    rows: list[dict[str, object]] = []
    for run in runs:
        noted = {
            event: _noted_in_log(log, run, event, notes) for event in ("phase_start", "phase_end")
        }
        stated = _noted_in_setup(setup, run, findings, setup_file) if len(runs) == 1 else ({}, {})
        spans = phase_spans(
            phases,
            starts={**stated[0], **noted["phase_start"]},
            ends={**stated[1], **noted["phase_end"]},
            start_readings=_earliest(log, run, "start"),
            end_readings=_earliest(log, run, "end"),
            origin=_origin(log, run),
            last=_last(run, offs, len(devices)),
            assumptions=setup.assumptions,
        )
        _tell_spans(spans, run, notes, findings, setup_file)
        rows.extend(
            {c: getattr(s, c, None) for c in FRAME_COLUMNS["spans"]} | {"run": run.run.number}
            for s in spans
        )
    frame = empty_frames()["spans"]
    return pd.DataFrame(
        {c: pd.Series([r[c] for r in rows], dtype=frame[c].dtype) for c in FRAME_COLUMNS["spans"]}
    )


def _noted_in_log(log: Log, run: RunTimes, event: str, notes: Collector) -> dict[str, Noted]:
    noted: dict[str, Noted] = {}
    rows = np.flatnonzero(run.rows & log.is_event(event) & log.filled["phase"])
    for row in rows.tolist():
        phase = log.text("phase", row)
        if phase in noted:
            notes.add(
                "phase-twice",
                row=row,
                column="event",
                phase=phase,
                run=run.run.number,
                found=f"a second {event} of {quoted(phase)} in run {run.run.number}",
                expected=f"one; the first stands in line {noted[phase].line}",
                remedy="Delete the one that is wrong.",
            )
        elif np.isfinite(run.t_min[row]):
            noted[phase] = _noted(run, row, log)
    return noted


def _noted(run: RunTimes, row: int, log: Log, *, reading: bool = False) -> Noted:
    return Noted(
        t_min=float(run.t_min[row]),
        resolution_min=float(run.resolution_min[row]),
        source="reading" if reading else SOURCES[run.source[row]],
        line=int(log.lines[row]),
    )


def _noted_in_setup(
    setup: Setup, run: RunTimes, findings: list[Finding], setup_file: str
) -> tuple[dict[str, Noted], dict[str, Noted]]:
    """Place the clock times of phases in the setup file, in their order."""
    noted: tuple[dict[str, Noted], dict[str, Noted]] = ({}, {})
    times = [t for pair in setup.phase_times.values() for t in pair]
    if not any(times):
        return noted
    cells = time_cells(times)
    blank = time_cells([None] * len(times))
    found = resolve_times(cells, blank, run.clock)
    for i, name in enumerate(setup.phase_times):
        for side in (0, 1):
            at = 2 * i + side
            if np.isfinite(found.t_min[at]):
                noted[side][name] = Noted(
                    t_min=float(found.t_min[at]),
                    resolution_min=float(found.resolution_min[at]),
                    source="clock",
                )
            elif found.problem[at]:
                _tell_setup_time(
                    i + 1, ("start", "end")[side], int(found.problem[at]), findings, setup_file
                )
    return noted


def _tell_setup_time(
    number: int, key: str, problem: int, findings: list[Finding], setup_file: str
) -> None:
    rule, expected, remedy = TELL[PROBLEMS[problem]]
    findings.append(
        Finding(
            rule=rule,
            severity="error",
            file=setup_file,
            column=f"phases[{number}].{key}",
            found="this time",
            expected=expected,
            remedy=remedy,
        )
    )


def _earliest(log: Log, run: RunTimes, point: str) -> dict[str, Noted]:
    """Return for each phase the earliest reading with a time at one of its ends."""
    rows = np.flatnonzero(
        run.rows
        & log.is_event("reading")
        & log.holds("point", point)
        & np.isfinite(run.t_min)
        & np.isfinite(log.soc_pct)
    )
    found: dict[str, Noted] = {}
    for row in rows.tolist():
        phase = log.text("phase", row)
        if phase not in found or run.t_min[row] < found[phase].t_min:
            found[phase] = _noted(run, row, log, reading=True)
    return found


def _origin(log: Log, run: RunTimes) -> Noted:
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
    if len(ours) == devices and np.isfinite(off).all() and not ours["still_on"].any():
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


def _tell_spans(
    spans: Sequence[Span],
    run: RunTimes,
    notes: Collector,
    findings: list[Finding],
    setup_file: str,
) -> None:
    """Tell phases that end before they start, overlap, or were read before their planned end."""
    noted = ("clock", "elapsed")
    before: Span | None = None
    for i, span in enumerate(spans, start=1):
        both = span.start_source in noted and span.end_source in noted
        if both and span.end_min <= span.start_min:
            _tell_phase(
                "phase-order",
                span,
                i,
                run,
                notes,
                findings,
                setup_file,
                found=f"a phase that ends {_at(span.end_min)} and starts {_at(span.start_min)}",
                expected="an end after the start",
                remedy="Correct one of the two times.",
            )
        if (
            before is not None
            and span.start_source in noted
            and before.end_source in noted
            and span.start_min < before.end_min - 1
        ):
            _tell_phase(
                "phase-overlap",
                span,
                i,
                run,
                notes,
                findings,
                setup_file,
                found=f"a phase that starts {_at(span.start_min)}",
                expected=f"a start after the end of {quoted(before.phase)}, {_at(before.end_min)}",
                remedy="Correct one of the two times, or the order of the phases.",
            )
        if not np.isnan(span.early_reading_min):
            _tell_phase(
                "phase-read-early",
                span,
                i,
                run,
                notes,
                findings,
                setup_file,
                found=f"readings at its end {_at(span.early_reading_min)}",
                expected=f"the planned end, {_at(span.end_min)}",
                remedy="Note when the phase really started and ended (phase_start, phase_end).",
                severity="caution",
            )
        if not np.isnan(span.end_min):
            before = span


def _at(t_min: float) -> str:
    return f"{t_min:g} min after the start"


def _tell_phase(
    rule: str,
    span: Span,
    number: int,
    run: RunTimes,
    notes: Collector,
    findings: list[Finding],
    setup_file: str,
    *,
    found: str,
    expected: str,
    remedy: str,
    severity: Literal["error", "caution"] = "error",
) -> None:
    in_log = bool(span.line) or not setup_file
    findings.append(
        Finding(
            rule=rule,
            severity=severity,
            file=notes.file if in_log else setup_file,
            line=span.line or None,
            column="phase" if in_log else f"phases[{number}]",
            found=found,
            expected=expected,
            remedy=remedy,
            phase=span.phase,
            run=run.run.number,
        )
    )
