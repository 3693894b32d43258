"""All sheets of all files put together: one session, its log and its setup file."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from kit.errors import Finding, UsageError
from kit.importing.grid import CellFinding, Grid, tell
from kit.importing.one_table import IMPORT, Locate, from_logs, from_tables
from kit.importing.open_file import open_files
from kit.importing.setup_text import setup_text, toml_string
from kit.importing.sheets import decided, hidden_cells, no_table, tables_of, unused_keys
from kit.read.cells import quoted
from kit.read.csv_dialect import RawTable, read_table
from kit.read.log_writer import log_text
from kit.read.record import SETUP_NAME, session_from
from kit.read.setup_file import Setup, read_setup
from kit.safe_text import starts_formula

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.importing.layout import Table
    from kit.importing.mapping import Decisions
    from kit.importing.part import Part
    from kit.session import Session

__all__ = ["Imported", "understand"]

FAMILIES = {"scorecard": "wide", "devices_in_rows": "wide", "list": "long", "device_log": "logs"}


@dataclass(frozen=True, kw_only=True)
class Imported:
    """What was understood of some files.

    Parameters
    ----------
    parts
        Sheets that hold readings.
    aside
        Sheets that were left aside, in words.
    session
        ``None`` where an error stands in the way.
    log, setup
        Texts of the log and of the setup file; "" where there is no session, and ``setup`` also
        where the folder has one.
    findings
        Errors, cautions and notes; ambiguous cells are errors of the rule ``import-ambiguous``.
    """

    parts: tuple[Part, ...]
    aside: tuple[str, ...] = ()
    session: Session | None = None
    log: str = ""
    setup: str = ""
    findings: tuple[Finding, ...] = ()

    @property
    def in_places(self) -> tuple[Finding, ...]:
        """Return the findings as the cells stand in the files, row by row."""
        return tuple(sorted(self.findings, key=_place))

    @property
    def is_settled(self) -> bool:
        """Whether nothing is wrong or open."""
        return not any(f.severity == "error" for f in self.findings)


def _place(finding: Finding) -> tuple[str, str, int, int, str]:
    sheet = finding.sheet if isinstance(finding, CellFinding) else ""
    return finding.file, sheet, finding.line or 0, len(finding.column), finding.column


def understand(
    files: Sequence[str | Path], decisions: Decisions, *, into: Path | None = None
) -> Imported:
    """Read files and put what they hold together; write nothing.

    Parameters
    ----------
    into
        Folder of the session; its setup file is used if it has one.

    Raises
    ------
    UsageError
        If a file cannot be read, or a sheet that was asked for is not there.
    """
    grids, found = open_files(files, decisions)
    findings = list(found)
    setup, setup_file, told = _setup(into, decisions)
    findings += told
    grids = [decided(g, decisions) for g in grids]
    findings += unused_keys(grids, decisions)
    tables, aside = tables_of(grids, decisions)
    findings += [f for t in tables for f in hidden_cells(t)]
    if not tables and not any(f.severity == "error" for f in findings):
        findings += [no_table(files)]
    families = {FAMILIES[t.shape] for t in tables}
    if len(families) > 1:
        findings += [_mixed(t) for t in tables]
        return Imported(parts=(), aside=tuple(aside), findings=tuple(findings))
    if not tables:
        return Imported(parts=(), aside=tuple(aside), findings=tuple(findings))
    if families == {"logs"}:
        parts, raw, origin, zone = from_logs(tables, decisions, setup, findings)
        setup = setup if setup.timezone or not zone else replace(setup, timezone=zone)
    else:
        parts, raw, origin = from_tables(tables, decisions, setup, findings)
    state = Imported(parts=tuple(parts), aside=tuple(aside), findings=tuple(findings))
    if not state.is_settled or not len(raw.lines):
        return state
    folder = Path(files[0]).with_suffix("") if into is None else into.resolve()
    return _composed(state, raw, origin, setup, setup_file, decisions, folder)


# ------------------------------------------------------------------------ setup


def _setup(into: Path | None, decisions: Decisions) -> tuple[Setup, str, tuple[Finding, ...]]:
    """Return the setup of the folder, or one with what the mapping file says of the session."""
    path = into / SETUP_NAME if into is not None else None
    if path is not None and path.is_file():
        try:
            data = path.read_bytes()
        except OSError as error:
            message = f"{quoted(str(path))} cannot be read: {error.strerror}"
            raise UsageError(message) from error
        setup, findings = read_setup(data, SETUP_NAME)
        return setup, SETUP_NAME, findings
    lines = ["[session]"]
    if decisions.title:
        lines.append(f"title = {toml_string(decisions.title)}")
    if decisions.date is not None:
        lines.append(f"date = {decisions.date.isoformat()}")
    if decisions.timezone:
        lines.append(f"timezone = {toml_string(decisions.timezone)}")
    if decisions.start:
        lines.append(f"start = {toml_string(decisions.start)}")
    setup, findings = read_setup("\n".join(lines).encode(), "")
    return setup, "", findings


def _mixed(table: Table) -> Finding:
    return tell(
        table.grid,
        "import-mixed",
        found=f"a table of the kind {table.shape}",
        expected="tables of one kind in one import",
        remedy="Import scorecards, lists and logs of devices each by themselves, or name the "
        "sheets that are meant.",
    )


def _composed(
    state: Imported,
    raw: RawTable,
    origin: Locate,
    setup: Setup,
    setup_file: str,
    decisions: Decisions,
    folder: Path,
) -> Imported:
    met: list[Finding] = []
    session = session_from(raw, setup, setup_file, findings=met, path=folder / IMPORT)
    met = [f for f in met if not _is_gap(f, origin)]
    findings = [*state.findings, *(_led_back(f, origin, state.parts[0].grid) for f in met)]
    if session is None or any(f.severity == "error" for f in findings):
        return replace(state, findings=tuple(findings))
    findings += _formulas(session, state.parts[0].grid)
    if not setup_file:
        session = _named(session, state.parts, decisions, folder)
    files = tuple(dict.fromkeys(p.grid.file for p in state.parts))
    log = log_text(session)
    text = "" if setup_file else setup_text(session, files=files)
    if text:
        setup, told = read_setup(text.encode(), SETUP_NAME)
        findings += [f for f in told if f.severity == "error"]
    findings += _read_again(session, log, setup, state.parts[0].grid)
    if any(f.severity == "error" for f in findings):
        return replace(state, findings=tuple(findings))
    return replace(state, session=session, log=log, setup=text, findings=tuple(findings))


def _named(session: Session, parts: Sequence[Part], decisions: Decisions, folder: Path) -> Session:
    """Return the session with labels and title that the mapping file or the sheets give."""
    titles = [decisions.title, *(p.title for p in parts)]
    devices = tuple(
        replace(d, label=decisions.devices[d.id].label or d.label)
        if d.id in decisions.devices else d
        for d in session.devices
    )  # fmt: skip
    title = next((t for t in titles if t), folder.name)
    return replace(session, id=folder.name, title=title, devices=devices)


def _formulas(session: Session, grid: Grid) -> list[Finding]:
    """Tell names of phases and parts that a spreadsheet would take for formulas."""
    names = [p.id for p in session.phases] + session.turns["activity"].tolist()
    return [
        tell(
            grid,
            "import-formula",
            found=quoted(name),
            expected="the name of a phase; a spreadsheet would take this for a formula",
            remedy="Rename it in the file, or under [rows] of the mapping file.",
        )
        for name in dict.fromkeys(names)
        if starts_formula(name)
    ]


def _is_gap(finding: Finding, origin: Locate) -> bool:
    """Whether a missing reading is only a part of a divided row that another part has."""
    return (
        finding.rule == "reading-missing"
        and finding.file == IMPORT
        and finding.line is not None
        and finding.line >= 0
        and origin(finding.line, finding.column) is None
    )


def _led_back(finding: Finding, origin: Locate, grid: Grid) -> Finding:
    """Return a finding of the reader on the cell that it is about."""
    if finding.file not in (IMPORT, ""):
        return finding
    known = (
        None if finding.line is None or finding.line < 0 else origin(finding.line, finding.column)
    )
    sheet, row, column = known if known is not None else (grid, None, None)
    told = tell(
        sheet,
        finding.rule,
        row=row,
        column=column,
        found=finding.found,
        expected=finding.expected,
        remedy=finding.remedy,
        severity=finding.severity,
        device=finding.device,
    )
    return CellFinding(**{**told.as_dict(), "phase": finding.phase, "run": finding.run})  # type: ignore[arg-type]  # its own fields


def _read_again(session: Session, log: str, setup: Setup, grid: Grid) -> list[Finding]:
    """Return the errors that reading the new log would meet, and whether it says something else."""
    met: list[Finding] = []
    back = None
    table, found = read_table(log.encode(), "log.csv")
    met += found
    if table is not None:
        back = session_from(table, setup, SETUP_NAME, findings=met, path=Path(IMPORT))
    errors = [f for f in met if f.severity == "error"]
    if errors or (back is not None and _same(session, back)):
        return errors
    return [
        tell(
            grid,
            "import-not-same",
            found="times without a date, in an order that a log cannot keep without one",
            expected="a log that says the same when it is read again",
            remedy="Say the date: date = … under [session] of the mapping file.",
            decide="session.date",
        )
    ]


def _same(one: Session, two: Session) -> bool:
    """Whether two sessions have the same percentages and times, whatever their rows' order."""
    for name in ("readings", "power_offs"):
        first, second = getattr(one, name), getattr(two, name)
        if len(first) != len(second):
            return False
        for column in first.columns:
            if column.endswith(("_min", "_pct")):
                a, b = (np.sort(f[column].to_numpy(dtype=float)) for f in (first, second))
                if not np.allclose(a, b, rtol=0, atol=1e-6, equal_nan=True):
                    return False
    return True
