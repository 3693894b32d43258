"""Small records written to a folder and read back, for the tests of the readers."""

from __future__ import annotations

import tempfile
from pathlib import Path
from textwrap import dedent
from typing import TYPE_CHECKING

from kit.errors import RecordError
from kit.read.record import read_record

if TYPE_CHECKING:
    from kit.errors import Finding
    from kit.session import Session

__all__ = ["SETUP", "errors", "one_error", "read", "written"]

SETUP = """
[session]
id = "day"
date = 2026-05-16
start = "08:00"

[[devices]]
id = "limpet"
label = "Limpet 10"

[[devices]]
id = "dunlin"
label = "Dunlin 9"

[[phases]]
id = "map"
label = "Map and tide table"
planned_min = 60

[[phases]]
id = "photo"
label = "Quadrat photographs"
planned_min = 30
"""
"""Two devices and two phases; line 2 is ``[session]``."""


def written(folder: Path, log: str | bytes | None, setup: str | None, name: str) -> Path:
    """Write a record into a folder and return what to read."""
    if log is not None:
        data = log if isinstance(log, bytes) else dedent(log).lstrip("\n").encode()
        (folder / name).write_bytes(data)
    if setup is not None:
        (folder / "session.toml").write_text(setup, encoding="utf-8")
        return folder
    return folder / name


def read(
    log: str | bytes, setup: str | None = SETUP, *, name: str = "log.csv"
) -> tuple[Session, tuple[Finding, ...]]:
    """Read a record given as texts. A log that begins with a line break has its indent removed."""
    with tempfile.TemporaryDirectory() as folder:
        return read_record(written(Path(folder), log, setup, name))


def errors(log: str | bytes, setup: str | None = SETUP) -> list[Finding]:
    """Return the errors in a record; none if it is read."""
    try:
        read(log, setup)
    except RecordError as error:
        return [f for f in error.findings if f.severity == "error"]
    return []


def one_error(log: str | bytes, setup: str | None = SETUP) -> Finding:
    """Return the one error in a record."""
    found = errors(log, setup)
    assert len(found) == 1, "\n".join(f.sentence for f in found) or "no error"
    return found[0]
