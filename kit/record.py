"""Reading a record: a folder with a log and perhaps a setup file, or a log alone.

``read_record`` is the only way in. It finds the files, has each read by its reader, puts the
parts together, and raises once with everything that is structurally wrong in all of them.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from kit import observations
from kit.cells import Collector, quoted
from kit.csv_dialect import read_table
from kit.errors import Finding, RecordError, UsageError, in_order
from kit.runs import log_times, time_cells
from kit.session import FRAME_COLUMNS, Device, Phase, Session, Source, empty_frames
from kit.session_csv import is_long_form, read_log
from kit.setup_file import Setup, read_setup
from kit.spans import Noted, phase_spans
from kit.timeline import SOURCES, resolve_times

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from kit.runs import RunTimes
    from kit.session_csv import Log
    from kit.spans import Span

__all__ = ["SETUP_NAME", "read_record"]

SETUP_NAME = "session.toml"
LOG_NAME = "log.csv"


def read_record(path: str | Path) -> tuple[Session, tuple[Finding, ...]]:
    """Read a record.

    Parameters
    ----------
    path
        A folder with a log (and usually ``session.toml``), or a log. A log in a folder that also
        has a ``session.toml`` is read with it.

    Returns
    -------
    session
        All that the record says.
    findings
        Cautions and notes met on reading, in order.

    Raises
    ------
    RecordError
        If anything is structurally wrong; it carries all findings of log and setup file.
    UsageError
        If there is no such path, or no log in the folder.
    """
    given = Path(path)
    if not given.exists():
        message = f"there is no file or folder {quoted(str(path))}"
        raise UsageError(message)
    folder = given if given.is_dir() else given.parent
    findings: list[Finding] = []
    sources: list[Source] = []
    setup, setup_file = Setup(), ""
    if (folder / SETUP_NAME).is_file():
        data = _bytes(folder / SETUP_NAME)
        setup_file = SETUP_NAME
        setup, found = read_setup(data, SETUP_NAME)
        findings.extend(found)
        sources.append(_source(folder / SETUP_NAME, data))
    log_path = _log_path(given, setup, setup_file, findings)
    session = None
    if log_path is not None:
        data = _bytes(log_path)
        sources.append(_source(log_path, data))
        session = _session(data, log_path, setup, setup_file, tuple(sources), findings)
    if session is None or any(f.severity == "error" for f in findings):
        raise RecordError(findings)
    return session, in_order(findings)


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        message = f"{quoted(str(path))} cannot be read: {error.strerror}"
        raise UsageError(message) from error


def _source(path: Path, data: bytes) -> Source:
    digest = hashlib.sha256(data).hexdigest()
    return Source(name=path.name, sha256=digest, size=len(data), path=str(path))


def _log_path(given: Path, setup: Setup, setup_file: str, findings: list[Finding]) -> Path | None:
    """Return the log to read; ``None`` if the setup file names one that is not there."""
    if not given.is_dir():
        if given.name == SETUP_NAME:
            return _log_path(given.parent, setup, setup_file, findings)
        if setup.log and setup.log != given.name:
            findings.append(
                Finding(
                    rule="log-other",
                    severity="note",
                    file=setup_file,
                    column="session.log",
                    found=f"the log {quoted(setup.log)}",
                    expected=f"{quoted(given.name)}, which was asked for",
                    remedy="The log that was asked for is read with this setup file.",
                )
            )
        return given
    if setup.log:
        if (given / setup.log).is_file() and Path(setup.log).name == setup.log:
            return given / setup.log
        findings.append(
            Finding(
                rule="log-missing",
                severity="error",
                file=setup_file,
                column="session.log",
                found=f"the log {quoted(setup.log)}",
                expected="the name of a file in the same folder",
                remedy="Correct the name or put the file there.",
            )
        )
        return None
    if (given / LOG_NAME).is_file():
        return given / LOG_NAME
    tables = sorted(p for p in given.iterdir() if p.suffix.lower() == ".csv" and p.is_file())
    if len(tables) == 1:
        return tables[0]
    names = ", ".join(quoted(p.name) for p in tables)
    message = (
        f"the folder {quoted(str(given))} has no {LOG_NAME} and "
        + (f"several other tables ({names})" if tables else "no other CSV file")
        + f'; name the log in {SETUP_NAME}: log = "…" under [session]'
    )
    raise UsageError(message)


def _session(
    data: bytes,
    path: Path,
    setup: Setup,
    setup_file: str,
    sources: tuple[Source, ...],
    findings: list[Finding],
) -> Session | None:
    table, found = read_table(data, path.name)
    findings.extend(found)
    if table is None:
        return None
    notes = Collector(path.name, table.lines)
    form: Literal["long", "wide"] = "long"
    log = read_log(table, notes) if is_long_form(table) else None
    if log is None:
        from kit.scorecard import read_scorecard

        form = "wide"
        log, notes, setup = read_scorecard(table, setup)
    session = None
    if not len(log):
        notes.add(
            "log-empty",
            found="a heading without rows",
            expected="one row for each observation",
            remedy="Keep the log in this file; docs/record-format.md shows one.",
        )
    else:
        session = _put_together(log, notes, setup, setup_file, sources, findings, path, form)
    findings.extend(notes.findings)
    return session


def _put_together(
    log: Log,
    notes: Collector,
    setup: Setup,
    setup_file: str,
    sources: tuple[Source, ...],
    findings: list[Finding],
    path: Path,
    form: Literal["long", "wide"],
) -> Session:
    devices = setup.devices or tuple(Device(id=n, label=n) for n in log.names("device"))
    phases = setup.phases or tuple(Phase(id=n, label=n) for n in log.names("phase"))
    names = [p.id for p in phases]
    observations.tell_ids(
        log, [d.id for d in setup.devices], [p.id for p in setup.phases], notes, setup_file
    )
    observations.tell_missing(log, notes)
    observations.tell_notes(log, notes)
    runs, found = log_times(setup, log, notes, setup_file=setup_file)
    findings.extend(found)
    offs = observations.power_offs(log, runs, notes)
    spans = _spans(log, runs, offs, phases, devices, setup, notes, findings, setup_file)
    name = setup.id or (path.parent.resolve().name if setup_file else path.stem)
    return Session(
        id=name,
        title=setup.title or name,
        date=setup.date
        or next(
            (r.run.start.date() for r in runs if r.clock.dated and r.run.start is not None), None
        ),
        timezone=setup.timezone,
        operator=setup.operator,
        revision=setup.revision,
        notes=setup.notes,
        devices=devices,
        phases=phases,
        runs=tuple(r.run for r in runs),
        conditions=setup.conditions,
        assumptions=setup.assumptions,
        mixes=setup.mixes,
        declared_comparison=setup.declared_comparison,
        sources=sources,
        form=form,
        has_setup=bool(setup_file),
        readings=observations.readings(log, runs, spans, names, notes),
        power_offs=offs,
        spans=spans,
        temperatures=observations.temperatures(log, runs),
        charges=observations.charges(log, runs, notes),
        incidents=observations.incidents(log, runs),
        turns=observations.turns(log, runs),
    )


def _spans(
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
    from kit.runs import TELL
    from kit.timeline import PROBLEMS

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
    source = "clock" if run.clock.second is not None else "elapsed"
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
