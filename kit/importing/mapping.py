"""The mapping file: what a user decides where a table leaves it open.

Every key is documented in docs/importing.md. A wrong key or value is a finding with key and line.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import TYPE_CHECKING, Literal, get_args
from zoneinfo import ZoneInfo

from kit.read.cells import hint
from kit.read.clock import parse_date, parse_times
from kit.read.toml_table import Notes, Table, is_number, key_lines

if TYPE_CHECKING:
    import collections.abc as abc

    from kit.errors import Finding

__all__ = ["ROLES", "Decisions", "DeviceChoice", "Shape", "SheetChoice", "read_mapping"]

Shape = Literal["scorecard", "devices_in_rows", "list", "device_log"]
SHAPES: tuple[Shape, ...] = get_args(Shape)

ROLES = (
    "checkpoint", "phase", "point", "clock", "elapsed", "time", "date", "run", "device", "percent",
    "readings", "order", "by", "evidence", "note", "event", "ignore",
)  # fmt: skip
"""What a column may be said to hold; docs/importing.md explains each."""

SEPARATOR_WORDS = {",": ",", ";": ";", "tab": "\t", "\t": "\t"}
ENCODINGS = (
    "utf-8",
    "utf-16",
    "cp1250",
    "cp1251",
    "cp1252",
    "iso8859-1",
    "iso8859-15",
    "mac-roman",
)
CELL_KEY = re.compile(r"(?:(?P<sheet>.+)!)?(?P<cell>[A-Z]{1,3}[1-9][0-9]{0,6})")
OFFSET_MAX_S = 366 * 86_400
"""A clock that was never set may be years off; more than one is a slip (common practice)."""


@dataclass(frozen=True, kw_only=True)
class SheetChoice:
    """What is said of one sheet; of a CSV file under its name without ending."""

    run: int | None = None
    date: date | None = None
    header_row: int | None = None
    shape: Shape | None = None


@dataclass(frozen=True, kw_only=True)
class DeviceChoice:
    """What is said of one device.

    Parameters
    ----------
    names
        Headings, cells, names of files or sheets that stand for the device.
    clock_offset_s
        How far its own clock was ahead (s); taken off its times.
    timezone
        Zone that its clock showed; "" = that of the session.
    """

    label: str = ""
    names: tuple[str, ...] = ()
    clock_offset_s: float = 0.0
    timezone: str = ""


@dataclass(frozen=True, kw_only=True)
class Decisions:
    """Everything that a mapping file decides; the defaults decide nothing.

    Parameters
    ----------
    cells
        (sheet or "", reference) → what the cell is to hold instead.
    source, lines
        Name of the mapping file, and the line of each of its keys.
    columns
        Heading in small letters, or letters of a column → role.
    rows
        Name of a row in small letters → the name that it is to have, or ``ignore``.
    """

    sheets: tuple[str, ...] = ()
    shape: Shape | None = None
    header_row: int | None = None
    separator: str = ""
    encoding: str = ""
    fill_down: bool = False
    percent: str = ""
    dates: str = ""
    serials: str = ""
    times: str = ""
    numbers: str = ""
    hours: str = ""
    epoch: str = ""
    log_rows: str = ""
    title: str = ""
    date: date | None = None
    timezone: str = ""
    start: str = ""
    off: tuple[str, ...] = ()
    missed: tuple[str, ...] = ()
    columns: abc.Mapping[str, str] = field(default_factory=dict)
    rows: abc.Mapping[str, str] = field(default_factory=dict)
    by_sheet: abc.Mapping[str, SheetChoice] = field(default_factory=dict)
    devices: abc.Mapping[str, DeviceChoice] = field(default_factory=dict)
    cells: abc.Mapping[tuple[str, str], str] = field(default_factory=dict)
    source: str = ""
    lines: abc.Mapping[str, int] = field(default_factory=dict)

    def device_called(self, name: str) -> str:
        """Return the id of the device that a heading, cell, file or sheet names; "" if none."""
        plain = name.strip().casefold()
        for device, choice in self.devices.items():
            if plain in {n.casefold() for n in (device, choice.label, *choice.names) if n}:
                return device
        return ""


def read_mapping(data: bytes, file: str) -> tuple[Decisions, tuple[Finding, ...]]:
    r"""Read the bytes of a mapping file.

    Returns
    -------
    decisions
        Of use only if no finding is an error.
    findings
        All that is wrong with the file.

    Examples
    --------
    >>> decisions, findings = read_mapping(b'[units]\npercent = "fraction"\nhuors = 12\n', "m.toml")
    >>> decisions.percent, findings[0].where
    ('fraction', 'm.toml, line 3, key units.huors')
    """
    notes = Notes(file, {})
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
        content = tomllib.loads(text)
    except (UnicodeDecodeError, ValueError, RecursionError) as error:
        notes.tell_syntax(str(error))
        return Decisions(), tuple(notes.findings)
    notes.lines = key_lines(text)
    top = Table(content, "", notes)
    decisions = _decisions(top)
    top.finish()
    return replace(decisions, source=file, lines=notes.lines), tuple(notes.findings)


def _decisions(top: Table) -> Decisions:
    file, units, session = top.table("file"), top.table("units"), top.table("session")
    words = top.table("words")
    header = file.whole("header_row")
    separator = file.choice("separator", tuple(SEPARATOR_WORDS), "")
    decisions = Decisions(
        sheets=file.texts("sheets"),
        shape=_shape(file),
        header_row=header,
        separator=SEPARATOR_WORDS.get(separator, ""),
        encoding=file.choice("encoding", ENCODINGS, ""),
        fill_down=bool(file.flag("fill_down")),
        percent=units.choice("percent", ("percent", "fraction"), ""),
        dates=units.choice("dates", ("day_first", "month_first"), ""),
        serials=units.choice("serials", ("1900", "1904"), ""),
        times=units.choice("times", ("clock", "elapsed"), ""),
        numbers=units.choice("numbers", ("seconds", "minutes", "hours", "days"), ""),
        hours=units.choice("hours", ("12", "24"), ""),
        epoch=units.choice("epoch", ("seconds", "milliseconds"), ""),
        log_rows=units.choice("log_rows", ("samples", "changes"), ""),
        title=session.text("title"),
        date=_date(session),
        timezone=_zone(session),
        start=_start(session),
        off=words.texts("off"),
        missed=words.texts("missed"),
        columns=_columns(top.table("columns")),
        rows=_rows(top.table("rows")),
        by_sheet=_sheets(top.table("sheets")),
        devices=_devices(top.table("devices")),
        cells=_cells(top.table("cells")),
    )
    for table in (file, units, session, words):
        table.finish()
    return decisions


def _shape(table: Table) -> Shape | None:
    word = table.choice("shape", SHAPES, "")
    return next((s for s in SHAPES if s == word), None)


def _date(table: Table) -> date | None:
    value = table.value("date")
    if isinstance(value, datetime):
        return value.date()
    if value is None or isinstance(value, date):
        return value
    day = parse_date(value.strip()) if isinstance(value, str) else None
    if day is None:
        table.wrong("date", "a date such as 2026-05-16", "Write year-month-day.")
    return day


def _zone(table: Table) -> str:
    name = table.text("timezone")
    try:
        if name:
            ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        from zoneinfo import available_timezones

        table.wrong(
            "timezone",
            'the name of an IANA time zone such as "Europe/Lisbon"',
            "Write the name of a time zone, area/city." + hint(name, available_timezones()),
        )
        return ""
    return name


def _start(table: Table) -> str:
    value = table.value("start")
    if value is None:
        return ""
    text = value.strip() if isinstance(value, str) else "?"
    if parse_times([text], bare="clock").bad[0]:
        table.wrong("start", 'a time of day such as "08:00"', "Write hours and minutes, quoted.")
        return ""
    return text


def _columns(table: Table) -> dict[str, str]:
    columns = {name.strip().casefold(): table.choice(name, ROLES, "") for name in table.data}
    return {name: role for name, role in columns.items() if role}


def _rows(table: Table) -> dict[str, str]:
    from kit.read.checkpoints import plain_words

    rows = {plain_words(name): table.text(name) for name in table.data}
    return {name: meant for name, meant in rows.items() if meant}


def _sheets(table: Table) -> dict[str, SheetChoice]:
    sheets = {}
    for name in table.data:
        sheet = table.table(name)
        sheets[name] = SheetChoice(
            run=sheet.whole("run"),
            date=_date(sheet),
            header_row=sheet.whole("header_row"),
            shape=_shape(sheet),
        )
        sheet.finish()
    return sheets


def _devices(table: Table) -> dict[str, DeviceChoice]:
    devices: dict[str, DeviceChoice] = {}
    taken: dict[str, str] = {}
    for name in table.data:
        device = table.table(name)
        offset = device.number("clock_offset_s", low=-OFFSET_MAX_S, high=OFFSET_MAX_S, unit="s")
        devices[name] = DeviceChoice(
            label=device.text("label"),
            names=device.texts("names"),
            clock_offset_s=offset or 0.0,
            timezone=_zone(device),
        )
        device.finish()
        for called in dict.fromkeys(n.casefold() for n in (name, *devices[name].names)):
            if called in taken:
                device.wrong(
                    "names",
                    f"names that no other device has ({taken[called]} has one of these)",
                    "Give each name to one device.",
                )
            taken[called] = name
    return devices


def _cells(table: Table) -> dict[tuple[str, str], str]:
    cells = {}
    for name in table.data:
        value = table.value(name)
        place = CELL_KEY.fullmatch(name)
        if not place:
            table.wrong(name, 'a cell as the key, such as C7 or "Run 1!C7"', "Correct the key.")
        elif is_number(value):
            cells[place["sheet"] or "", place["cell"]] = f"{value:.10g}"
        elif isinstance(value, str):
            cells[place["sheet"] or "", place["cell"]] = value.strip()
        else:
            table.wrong(name, 'a number, or a text such as "off"', "Correct the value.")
    return cells
