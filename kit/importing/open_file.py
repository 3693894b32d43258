"""A file opened by what is in it, not by its name."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from kit.errors import Finding, UsageError
from kit.importing.archive import RefusedError
from kit.read.cells import quoted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.importing.grid import Grid
    from kit.importing.mapping import Decisions

__all__ = ["LARGEST_FILE", "open_files"]

LARGEST_FILE = 200 * 2**20
"""A log of a million rows is a quarter of it (bytes)."""

ENDINGS = {"xlsx": (".xlsx", ".xlsm"), "ods": (".ods",), "text": (".csv", ".tsv", ".txt", ".log")}
OLD_BINARY = bytes.fromhex("d0cf11e0a1b11ae1")
"""Start of a compound file, from memory (MS-CFB, 2.2): old XLS, or a locked XLSX."""


def open_files(
    files: Sequence[str | Path], decisions: Decisions
) -> tuple[list[Grid], tuple[Finding, ...]]:
    """Read all sheets of all files.

    Returns
    -------
    grids
        In the order of files and sheets, hidden and empty ones included.
    findings
        Errors of files that are not read, notes on endings that mislead.

    Raises
    ------
    UsageError
        If a file is not there, cannot be read, or two files have the same name.
    """
    grids: list[Grid] = []
    findings: list[Finding] = []
    names: set[str] = set()
    for path in map(Path, files):
        if path.name in names:
            message = f"two files are called {quoted(path.name)}; rename one, so that each is named"
            raise UsageError(message)
        names.add(path.name)
        try:
            found, told = _open(_bytes(path), path.name, decisions)
        except RefusedError as refused:
            findings.append(
                Finding(
                    rule=refused.rule,
                    severity="error",
                    file=path.name,
                    found=refused.found,
                    expected=refused.expected,
                    remedy=refused.remedy,
                )
            )
            continue
        grids.extend(found)
        findings.extend(told)
        findings.extend(_ending(path, found))
    return grids, tuple(findings)


def _bytes(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > LARGEST_FILE:
            message = f"{quoted(path.name)} has {size} bytes; at most {LARGEST_FILE} are read"
            raise UsageError(message)
        return path.read_bytes()
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        message = f"{quoted(str(path))} cannot be read: {reason}"
        raise UsageError(message) from error


def _open(data: bytes, file: str, decisions: Decisions) -> tuple[list[Grid], Sequence[Finding]]:
    if data.startswith(b"PK"):
        from kit.importing.spreadsheet import read_spreadsheet

        return read_spreadsheet(data, file), ()
    if data.startswith(OLD_BINARY):
        raise RefusedError(
            rule="import-kind",
            found="an old binary spreadsheet, or one locked by a password",
            expected="CSV, XLSX or ODS",
            remedy="Save it as XLSX, ODS or CSV, without a password.",
        )
    from kit.importing.text_table import read_text_table

    grid, findings = read_text_table(data, file, decisions)
    return ([] if grid is None else [grid]), findings


def _ending(path: Path, grids: Sequence[Grid]) -> list[Finding]:
    kind = grids[0].kind if grids else None
    ending = path.suffix.lower()
    known = {e for names in ENDINGS.values() for e in names}
    if kind is None or ending not in known or ending in ENDINGS[kind]:
        return []
    called = {"text": "text, like CSV", "xlsx": "an XLSX file", "ods": "an ODS file"}[kind]
    return [
        Finding(
            rule="import-ending",
            severity="note",
            file=path.name,
            found=f"{called}, under a name that ends in {ending}",
            expected=f"a name that ends in {ENDINGS[kind][0]}",
            remedy="It was read as what it is.",
        )
    ]
