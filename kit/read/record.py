"""Reading a record: a folder with a log and perhaps a setup file, or a log alone.

``read_record`` is the only way in. It finds the files, has each read by its reader, puts the
parts together, and raises once with everything that is structurally wrong in all of them.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from kit.errors import Finding, RecordError, UsageError, in_order
from kit.read import log_rules, other_events
from kit.read.cells import Collector, quoted
from kit.read.csv_dialect import RawTable, read_table
from kit.read.log_columns import is_long_form
from kit.read.power_offs import power_offs
from kit.read.readings import readings
from kit.read.runs import log_times
from kit.read.session_csv import read_log
from kit.read.setup_file import Setup, read_setup
from kit.read.span_frame import spans_of
from kit.read.toml_table import Notes
from kit.session import Device, Phase, Session, Source

if TYPE_CHECKING:
    from kit.read.log import Log

__all__ = ["SETUP_NAME", "read_record", "record_files", "session_from"]

SETUP_NAME = "session.toml"
LOG_NAME = "log.csv"
NOT_A_SETUP = ("setup-syntax", "setup-encoding")
"""Rules of a setup file of which nothing could be read."""
CORRECTIONS_NAME = "corrections.csv"
"""Reasons of corrections, kept beside a log; no log itself."""


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
    try:
        there = given.exists()
    except (OSError, ValueError):
        there = False
    if not there:
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
        if any(f.rule in NOT_A_SETUP for f in found):
            raise RecordError(findings)  # what the log would lack is in there, unread
        sources.append(_source(folder / SETUP_NAME, data))
    setup_notes = Notes(setup_file, setup.lines)
    log_path = _log_path(given, setup, setup_notes)
    findings.extend(setup_notes.findings)
    session = None
    if log_path is not None:
        data = _bytes(log_path)
        sources.append(_source(log_path, data))
        session = _session(data, log_path, setup, setup_file, tuple(sources), findings)
    if session is None or any(f.severity == "error" for f in findings):
        raise RecordError(findings)
    return session, in_order(findings)


def record_files(path: str | Path) -> tuple[Path, ...]:
    """Return the files that `read_record` reads, the log last, without reading the log.

    Parameters
    ----------
    path
        A folder with a log, or a log.

    Returns
    -------
    tuple
        The setup file, if there is one, and the log, if it can be told.

    Raises
    ------
    UsageError
        If no file says which of several tables is the log, or one cannot be read.
    """
    given = Path(path)
    setup, files = Setup(), []
    candidate = (given if given.is_dir() else given.parent) / SETUP_NAME
    if candidate.is_file():
        files.append(candidate)
        setup, _ = read_setup(_bytes(candidate), SETUP_NAME)
    log = _log_path(given, setup, Notes(SETUP_NAME, setup.lines))
    return (*files, *(() if log is None else (log,)))


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        message = f"{quoted(str(path))} cannot be read: {error.strerror}"
        raise UsageError(message) from error


def _source(path: Path, data: bytes) -> Source:
    digest = hashlib.sha256(data).hexdigest()
    return Source(name=path.name, sha256=digest, size=len(data), path=str(path))


def _log_path(given: Path, setup: Setup, notes: Notes) -> Path | None:
    """Return the log to read; ``None`` if the setup file names one that is not there."""
    if not given.is_dir():
        if given.name == SETUP_NAME:
            return _log_path(given.parent, setup, notes)
        if setup.log and setup.log != given.name:
            notes.add(
                "log-other",
                "session.log",
                severity="note",
                found=f"the log {quoted(setup.log)}",
                expected=f"{quoted(given.name)}, which was asked for",
                remedy="The log that was asked for is read with this setup file.",
            )
        return given
    if setup.log:
        if Path(setup.log).name == setup.log and (given / setup.log).is_file():
            return given / setup.log
        notes.add(
            "log-missing",
            "session.log",
            found=f"the log {quoted(setup.log)}",
            expected="the name of a file in the same folder",
            remedy="Correct the name or put the file there.",
        )
        return None
    if (given / LOG_NAME).is_file():
        return given / LOG_NAME
    tables = sorted(p for p in given.iterdir() if p.suffix.lower() == ".csv" and p.is_file())
    tables = [p for p in tables if p.name != CORRECTIONS_NAME]
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
    return session_from(table, setup, setup_file, findings=findings, sources=sources, path=path)


def session_from(
    table: RawTable,
    setup: Setup,
    setup_file: str,
    *,
    findings: list[Finding],
    sources: tuple[Source, ...] = (),
    path: Path,
) -> Session | None:
    """Put a session together from a table of texts, a log or a scorecard, and a setup.

    Parameters
    ----------
    setup_file
        Name of the setup file; "" if there is none.
    findings
        What was met is added here; the session is of use only if none is an error.
    path
        Where the table is from; names a session that the setup does not name.

    Returns
    -------
    Session or None
        ``None`` if the table holds no observation.
    """
    notes = Collector(path.name, table.lines)
    form: Literal["long", "wide"] = "long" if is_long_form(table) else "wide"
    if form == "long":
        log = read_log(table, notes)
    else:
        from kit.read.scorecard import read_scorecard

        log, notes, setup = read_scorecard(table, setup)
    setup_notes = Notes(setup_file, setup.lines)
    session = None
    if len(log):
        session = _put_together(log, notes, setup, setup_notes, sources, path)
    elif not any(f.severity == "error" for f in notes.findings):
        notes.add(
            "log-empty",
            found="a heading without observations, so nothing has been recorded yet",
            expected="one row for each observation",
            remedy="On the day, rundown record keeps this log; by hand, write rows as "
            "docs/record-format.md shows them.",
        )
    findings.extend(dict.fromkeys([*notes.findings, *setup_notes.findings]))
    return session


def _put_together(
    log: Log,
    notes: Collector,
    setup: Setup,
    setup_notes: Notes,
    sources: tuple[Source, ...],
    path: Path,
) -> Session:
    devices = setup.devices or tuple(Device(id=n, label=n) for n in log.names("device"))
    phases = setup.phases or tuple(Phase(id=n, label=n) for n in log.names("phase"))
    log_rules.tell_ids(
        log,
        [d.id for d in setup.devices],
        [p.id for p in setup.phases],
        notes,
        setup_notes.file,
    )
    log_rules.tell_setup_devices(setup, [d.id for d in devices], setup_notes)
    log_rules.tell_missing(log, notes)
    log_rules.tell_parts(log, phases, notes)
    log_rules.tell_notes(log, notes)
    times = log_times(setup, log, notes, setup_notes)
    offs = power_offs(log, times, notes)
    spans = spans_of(log, times, offs, phases, len(devices), setup, notes, setup_notes)
    name = setup.id or (path.parent.resolve().name if setup_notes.file else path.stem)
    starts = [r.run.start for r in times.runs if r.clock.dated and r.run.start is not None]
    return Session(
        id=name,
        title=setup.title or name,
        date=setup.date or (starts[0].date() if starts else None),
        timezone=setup.timezone,
        operator=setup.operator,
        revision=setup.revision,
        notes=setup.notes,
        devices=devices,
        phases=phases,
        runs=tuple(r.run for r in times.runs),
        conditions=setup.conditions,
        assumptions=setup.assumptions,
        mixes=setup.mixes,
        declared_comparison=setup.declared_comparison,
        sources=sources,
        form=log.form,
        has_setup=bool(setup_notes.file),
        readings=readings(log, times, spans, [p.id for p in phases], notes),
        power_offs=offs,
        spans=spans,
        temperatures=other_events.temperatures(log, times),
        charges=other_events.charges(log, times, notes),
        incidents=other_events.incidents(log, times),
        turns=other_events.turns(log, times),
    )
