"""One small day in many tables, as people and programs keep them.

The day: two tablets, two phases. What every table of it must give is written out in ``READINGS``,
``TIMES`` and ``OFF``; how it is stored differs from case to case.
"""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from pathlib import Path

import openpyxl

from kit.importing.gather import Imported, understand
from kit.importing.mapping import read_mapping

READINGS = {
    ("Limpet 10", "map", "start"): 100.0,
    ("Limpet 10", "map", "end"): 91.0,
    ("Limpet 10", "photo", "end"): 76.0,
    ("Dunlin 9", "map", "start"): 100.0,
    ("Dunlin 9", "map", "end"): 88.0,
}
TIMES = {("map", "start"): 0.0, ("map", "end"): 61.0, ("photo", "end"): 123.0}
"""08:00, 09:01 and 10:03 in minutes since 08:00."""
OFF = {"Dunlin 9": (116.0, 118.0)}
"""Last seen on at 09:56, first seen off at 09:58."""

HEAD = ["Checkpoint", "Clock", "Limpet 10", "Dunlin 9"]
CLOCKS = [dt.time(8, 0), dt.time(9, 1), dt.time(10, 3)]
VALUES = [(100, 100), (91, 88), (76, None)]
NAMES = ["start", "after map", "after photo"]
DAY = dt.date(2026, 5, 16)


def card(values=VALUES, clocks=CLOCKS, head=HEAD, *, ends=True, extra=()):
    """Return the rows of the scorecard."""
    rows = [list(head)]
    for name, clock, row in zip(NAMES, clocks, values, strict=True):
        rows.append([name, clock, *row])
    if ends:
        rows.append(["last seen on", None, None, dt.time(9, 56)])
        rows.append(["first seen off", None, None, dt.time(9, 58)])
    return [*rows, *extra]


def csv_card(sep=",", decimal="", quote=""):
    """Return the scorecard as text."""
    rows = [HEAD]
    for name, clock, row in zip(NAMES, CLOCKS, VALUES, strict=True):
        cells = ["-" if v is None else f"{quote}{v}{decimal}{quote}" for v in row]
        rows.append([name, f"{clock:%H:%M}", *cells])
    rows += [["last seen on", "", "", "09:56"], ["first seen off", "", "", "09:58"]]
    return "\n".join(sep.join(r) for r in rows) + "\n"


def book(path: Path, rows, *, sheet="Card", top=(), shape=None) -> Path:
    """Write rows to a workbook; ``top`` stands above them, ``shape`` changes the sheet."""
    workbook = openpyxl.Workbook()
    page = workbook.active
    page.title = sheet
    for row in [*top, *rows]:
        page.append(list(row))
    if shape is not None:
        shape(workbook, page)
    workbook.save(path)
    return path


def formatted(code, cells="C2:D4"):
    """Return a change that gives cells a number format."""

    def change(_, page):
        for row in page[cells]:
            for cell in row:
                cell.number_format = code

    return change


def edited(path: Path, part: str, old: str, new: str) -> Path:
    """Replace a text in a part of a spreadsheet file."""
    with zipfile.ZipFile(path) as archive:
        parts = {n: archive.read(n) for n in archive.namelist()}
    text = parts[part].decode()
    assert re.search(old, text), text[:400]
    parts[part] = re.sub(old, new, text, count=1).encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return path


ODS_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>{dtd}<office:document-content '
    'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" '
    'xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0" '
    'office:version="1.2"><office:body><office:spreadsheet>'
)


def ods(path: Path, sheets: dict[str, list[list[str]]], dtd: str = "") -> Path:
    """Write an ODS file from cells that are XML already; see `cell`."""
    body = ODS_HEAD.format(dtd=dtd)
    for name, rows in sheets.items():
        body += f'<table:table table:name="{name}">'
        body += "".join(f"<table:table-row>{''.join(r)}</table:table-row>" for r in rows)
        body += "</table:table>"
    body += "</office:spreadsheet></office:body></office:document-content>"
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", kind)
        archive.writestr("content.xml", body)
        archive.writestr(
            "META-INF/manifest.xml",
            "<manifest:manifest "
            'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
            f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
            '<manifest:file-entry manifest:full-path="content.xml" '
            'manifest:media-type="text/xml"/></manifest:manifest>',
        )
    return path


def cell(value, **attributes) -> str:
    """Return a cell of an ODS file, with the type that a spreadsheet program would give it."""
    said = "".join(f' {k.replace("_", ":", 1).replace("_", "-")}="{v}"'
                   for k, v in attributes.items())  # fmt: skip
    if value is None:
        return f"<table:table-cell{said}/>"
    if isinstance(value, dt.time):
        kind = f'office:value-type="time" office:time-value="PT{value:%HH%MM%SS}"'
    elif isinstance(value, dt.date):
        kind = f'office:value-type="date" office:date-value="{value.isoformat()}"'
    elif isinstance(value, float):
        kind = f'office:value-type="percentage" office:value="{value}"'
    elif isinstance(value, int):
        kind = f'office:value-type="float" office:value="{value}"'
    else:
        kind = 'office:value-type="string"'
    return f"<table:table-cell {kind}{said}><text:p>{value}</text:p></table:table-cell>"


def imported(*files: Path, mapping: str = "", into: Path | None = None) -> Imported:
    """Read files with the text of a mapping file."""
    decisions, findings = read_mapping(mapping.encode(), "mapping.toml")
    assert not findings, [f.sentence for f in findings]
    return understand(files, decisions, into=into)


def assert_the_day(state: Imported, *, times=True, off=True, limits=True) -> None:
    """Hold what was imported to the day written out above."""
    assert state.is_settled, "\n".join(f.sentence for f in state.in_places)
    session = state.session
    assert session is not None
    rows = session.readings
    rows = rows[rows["soc_pct"].notna()]
    found = {
        (d, p, q): s
        for d, p, q, s in zip(
            rows["device"], rows["phase"], rows["point"], rows["soc_pct"], strict=True
        )
    }
    assert found == READINGS
    if times:
        when = {
            (p, q): t for p, q, t in zip(rows["phase"], rows["point"], rows["t_min"], strict=True)
        }
        assert when == TIMES
    offs = session.power_offs
    ends = {
        d: (a, b)
        for d, a, b in zip(offs["device"], offs["last_on_min"], offs["first_off_min"], strict=True)
    }
    if off and limits:
        assert ends == OFF
    elif off:
        assert set(ends) == {"Dunlin 9"}


def open_cells(state: Imported) -> dict[str, str]:
    """Return cell → key that decides it, of all that is open."""
    return {
        getattr(f, "cell", ""): getattr(f, "decide", "")
        for f in state.findings
        if f.rule in ("import-ambiguous", "import-no-value")
    }


def wrong_rules(state: Imported) -> set[str]:
    """Return the rules of all errors."""
    return {f.rule for f in state.findings if f.severity == "error"}
