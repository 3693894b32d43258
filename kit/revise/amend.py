"""``rundown amend``: correct cells of a log, with a reason that stays beside it."""

from __future__ import annotations

import hashlib
import tempfile
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from kit.errors import RecordError, RenderError, UsageError
from kit.read.cells import quoted
from kit.read.record import SETUP_NAME, read_record
from kit.revise.cell_edit import edited
from kit.revise.corrections import (
    Correction,
    corrections_path,
    read_corrections,
    row_text,
)
from kit.revise.lock import alone_in
from kit.revise.swap import finish, place_of, replace_files, unfinished

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kit.errors import Finding

__all__ = ["Amended", "Cell", "amend", "amend_cells", "cell_of", "today"]

KEPT = "earlier_logs"
"""Folder beside the log in which the log as it was before each correction is kept."""


UNWRITABLE = "Make that folder writable, or correct a copy of the record elsewhere."


@dataclass(frozen=True, kw_only=True)
class Cell:
    """A cell of a log and what it is to hold, as `kit.revise.cell_edit.edited` takes them."""

    line: int
    column: str
    to: str


@dataclass(frozen=True, kw_only=True)
class Amended:
    """What was done.

    Parameters
    ----------
    corrections
        The rows added to ``corrections.csv``.
    log, kept
        The log, and the file that holds its bytes from before.
    findings
        What the checks say of the corrected record: cautions and notes.
    """

    corrections: tuple[Correction, ...]
    log: Path
    kept: Path
    findings: tuple[Finding, ...]


def today(environment: Mapping[str, str]) -> date:
    """Return the day of a correction made now: that of ``SOURCE_DATE_EPOCH`` if it is set."""
    stated = environment.get("SOURCE_DATE_EPOCH", "")
    if stated.isdecimal():
        return datetime.fromtimestamp(int(stated), tz=UTC).date()
    return datetime.now().astimezone().date()


def cell_of(text: str) -> Cell:
    """Return a cell written as ``LINE:COLUMN=VALUE``.

    Raises
    ------
    UsageError
        If the text is not of that form.

    Examples
    --------
    >>> cell_of("14:first_off=17:42")
    Cell(line=14, column='first_off', to='17:42')
    """
    line, colon, rest = text.partition(":")
    column, equals, to = rest.partition("=")
    if not (colon and equals and line.strip().isdecimal() and column.strip()):
        message = (
            f"{quoted(text)} names no cell and its new text; write LINE:COLUMN=VALUE, such as "
            "14:soc_pct=87, and nothing after = for a blank cell"
        )
        raise UsageError(message)
    return Cell(line=int(line), column=column.strip(), to=to)


def amend(
    record: Path,
    *,
    line: int,
    column: str,
    to: str,
    reason: str,
    by: str = "",
    on: date,
) -> Amended:
    """Correct one cell of the log of a record; see `amend_cells`."""
    cell = Cell(line=line, column=column, to=to)
    return amend_cells(record, (cell,), reason=reason, by=by, on=on)


def amend_cells(
    record: Path, cells: Sequence[Cell], *, reason: str, by: str = "", on: date
) -> Amended:
    """Correct cells of the log of a record, all of them or none.

    Nothing is changed unless the corrected record passes; the cells are checked together, for
    what holds a time may be in several of them. Then the log as it was, the corrected log and the
    reason in ``corrections.csv`` are put in place together (`kit.revise.swap`).

    Parameters
    ----------
    record
        Folder of a session, or its log.
    cells
        What is to be corrected; lines are counted in the log as it is.
    reason, by, on
        Why, who and when. The reason is not empty.

    Raises
    ------
    RecordError
        If the corrected record does not pass; it carries all findings.
    UsageError
        If there is no such record or cell, a cell holds that text already or is named twice, or
        there is no reason.
    RenderError
        If a file cannot be written, or another correction is under way; nothing was changed.
    """
    if not reason.strip():
        message = "a correction needs a reason; say it with --reason"
        raise UsageError(message)
    if not cells:
        message = "no cell is named that is to be corrected"
        raise UsageError(message)
    finish(record if record.is_dir() else record.parent)
    log = log_of(record)
    folder = log.parent
    with alone_in(folder / KEPT, doing="correcting the log", remedy=UNWRITABLE):
        data = log.read_bytes()
        after, olds = _edited(data, log.name, cells)
        findings = _checked(record, log, after)
        corrections = tuple(
            Correction(
                date=on.isoformat(),
                by=by.strip(),
                file=log.name,
                line=str(cell.line),
                column=column,
                old=old,
                new=cell.to,
                reason=reason.strip(),
            )
            for cell, (column, old) in zip(cells, olds, strict=True)
        )
        kept = folder / KEPT / f"{log.stem}-{hashlib.sha256(data).hexdigest()[:12]}{log.suffix}"
        _write(log, data, after, kept, corrections)
    return Amended(corrections=corrections, log=log, kept=kept, findings=findings)


def _edited(data: bytes, file: str, cells: Sequence[Cell]) -> tuple[bytes, list[tuple[str, str]]]:
    """Return the log with all cells replaced, and heading and old text of each cell."""
    olds: dict[int, tuple[str, str]] = {}
    # from the last line up: a text of several lines moves only those below it
    for place, cell in sorted(enumerate(cells), key=lambda one: -one[1].line):
        made = edited(data, file=file, line=cell.line, column=cell.column, to=cell.to)
        if any((cell.line, made.column) == (cells[k].line, olds[k][0]) for k in olds):
            message = (
                f"line {cell.line}, column {made.column} is to be corrected twice; name it once"
            )
            raise UsageError(message)
        data = made.data
        olds[place] = (made.column, made.old)
    return data, [olds[k] for k in range(len(cells))]


def log_of(record: Path) -> Path:
    """Return the log of a record; a record that does not pass still has one, if it is there."""
    try:
        session, _ = read_record(record)
    except RecordError:
        if record.is_file() and record.name != SETUP_NAME:
            return record
        folder = record if record.is_dir() else record.parent
        if (folder / "log.csv").is_file():
            return folder / "log.csv"
        raise
    return Path(session.sources[-1].path)


def _checked(record: Path, log: Path, data: bytes) -> tuple[Finding, ...]:
    """Return the findings of the record with other bytes in its log."""
    from kit.checks import check_session
    from kit.errors import in_order

    # the folder keeps its name: a session without an id takes it
    with tempfile.TemporaryDirectory(prefix="rundown-amend-") as name:
        folder = Path(name) / (log.parent.resolve().name or "record")
        folder.mkdir()
        (folder / log.name).write_bytes(data)
        setup = log.parent / SETUP_NAME
        if setup.is_file():
            (folder / SETUP_NAME).write_bytes(setup.read_bytes())
        session, met = read_record(folder / log.name if not record.is_dir() else folder)
    return in_order((*met, *check_session(session)))


def _write(
    log: Path, before: bytes, after: bytes, kept: Path, corrections: Sequence[Correction]
) -> None:
    """Keep the old log, replace the log and note the corrections: all three or none."""
    notes = corrections_path(log)
    was = notes.read_bytes() if notes.exists() else b""
    if was:
        read_corrections(was)  # a file that is no list of corrections is not added to
    broken = bool(was) and not was.endswith(b"\n")
    row = ("\n" if broken else "") + row_text(*corrections, heading=not was)
    files = {} if kept.exists() else {kept.relative_to(log.parent).as_posix(): before}
    files |= {log.name: after, notes.name: was + row.encode("utf-8")}
    try:
        replace_files(log.parent, files)
    except OSError as error:
        state = (
            "Nor could the record be put back whole; the next correction or report does that first."
            if unfinished(log.parent)
            else "The record is as it was."
        )
        message = f"Cannot write {place_of(error, log.parent)}: {error.strerror}. {state}"
        raise RenderError(message) from error
