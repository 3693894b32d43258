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

__all__ = [
    "GOOD_ROW",
    "HEAD",
    "LOG",
    "SETUP",
    "errors",
    "one_error",
    "read",
    "row",
    "written",
]

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

LOG = """
event,phase,point,device,clock,soc_pct,order,last_on,first_off,temperature_c,by,evidence,note
reading,map,start,limpet,08:00,100,1,,,,Wren,cam 00:10,
reading,map,start,dunlin,08:00,100,2,,,,Wren,cam 00:14,
phase_end,map,,,09:00,,,,,,,,
reading,map,end,limpet,09:01,90,2,,,,Wren,,
reading,map,end,dunlin,09:00,88.5,1,,,,Wren,,second look
phase_start,photo,,,09:05,,,,,,,,
temperature,,,,09:10,,,,,21.5,,,
temperature,photo,,limpet,09:20,,,,,35.2,,,
tick,photo,,limpet,09:22,84,,,,,,,
power_off,photo,,dunlin,09:31,3,,09:29,09:31,,Teal,cam 01:31,
still_on,photo,,limpet,09:40,70,,,,,,,
"""
"""A log of that session, with a row of almost every event."""

HEAD = "event,run,phase,point,device,date,clock,elapsed_min,soc_pct,last_on,first_off,part,cause\n"
"""Heading of the rows that `row` makes."""


def row(event: str, **cells: object) -> str:
    """Return one row of a log under `HEAD`."""
    names = HEAD.strip().split(",")[1:]
    assert set(cells) <= set(names)
    return ",".join([event, *(str(cells.get(n, "")) for n in names)]) + "\n"


GOOD_ROW = row("reading", phase="map", point="start", device="limpet", soc_pct=100)


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
