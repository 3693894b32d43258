"""The only reader of the setup file of a session (``session.toml``).

It reads what the file says and checks each value by itself and against the others; how the log
fits to it is told by :mod:`kit.record`. Every fault is a finding with the dotted key and line.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field, fields
from datetime import date, datetime, time
from typing import TYPE_CHECKING, cast, get_args
from zoneinfo import ZoneInfo

from kit.cells import hint, nearest, quoted
from kit.clock import parse_date, parse_times
from kit.conditions import CONDITIONS
from kit.errors import Finding
from kit.session import (
    Assumptions,
    Device,
    Gauge,
    GaugeCounts,
    Phase,
    PhaseKind,
    RoundingConvention,
)
from kit.toml_table import NOT_RECORDED, Notes, Table, is_number, key_lines

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kit.conditions import Condition

__all__ = [
    "CONDITIONS",
    "ClockTime",
    "RunSetup",
    "Setup",
    "clock_of",
    "read_setup",
    "setup_of",
]

CLOCK_EXPECTED = 'a time of day such as "08:00", or a date and time'
CLOCK_REMEDY = 'Write hours and minutes with a colon, in quotation marks: "08:00".'
SPAN_EXPECTED = 'hours and minutes such as "9:10"'
SPAN_REMEDY = 'Write hours and minutes with a colon, in quotation marks: "9:10".'


@dataclass(frozen=True, kw_only=True)
class ClockTime:
    """A time of day as noted, with its date and offset from UTC where they were noted."""

    second: float
    resolution_min: float
    day: int | None = None
    offset_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class RunSetup:
    """What the setup file says of one run; ``None`` where it says nothing."""

    number: int = 1
    date: date | None = None
    start: ClockTime | None = None
    stop: ClockTime | None = None
    stated_elapsed_min: float | None = None


@dataclass(frozen=True, kw_only=True)
class Setup:
    """What a setup file says. ``runs`` is one unnumbered run unless ``[[runs]]`` are given.

    Parameters
    ----------
    devices, phases
        Empty when the file names none: then they are those of the log.
    phase_times
        Phase id → (start, end) as noted in the setup file, each ``None`` if it is not.
    """

    id: str = ""
    title: str = ""
    date: date | None = None
    timezone: str = ""
    operator: str = ""
    revision: int = 1
    notes: str = ""
    log: str = ""
    runs: tuple[RunSetup, ...] = (RunSetup(),)
    numbered_runs: bool = False
    devices: tuple[Device, ...] = ()
    phases: tuple[Phase, ...] = ()
    phase_times: Mapping[str, tuple[ClockTime | None, ClockTime | None]] = field(
        default_factory=dict
    )
    conditions: Mapping[str, object] = field(default_factory=dict)
    assumptions: Assumptions = field(default_factory=Assumptions)
    mixes: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    declared_comparison: tuple[str, str] | None = None


def read_setup(data: bytes, file: str) -> tuple[Setup, tuple[Finding, ...]]:
    r"""Read the bytes of a setup file.

    Returns
    -------
    setup
        What could be read; of use only if no finding is an error.
    findings
        All that is wrong with it.

    Examples
    --------
    >>> data = b'[session]\nid = "day1"\nstrat = "08:00"\n'
    >>> setup, findings = read_setup(data, "session.toml")
    >>> print(findings[0].where, "|", findings[0].remedy)  # doctest: +ELLIPSIS
    session.toml, line 3, key session.strat | Correct ... 'start'?
    """
    notes = Notes(file, {})
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
        content = tomllib.loads(text)
    except UnicodeDecodeError as error:
        notes.findings.append(
            Finding(
                rule="setup-encoding",
                severity="error",
                file=file,
                line=data.count(b"\n", 0, error.start) + 1,
                found=f"byte 0x{data[error.start]:02x}, which is no UTF-8",
                expected="text in UTF-8",
                remedy="Save the file with the encoding UTF-8.",
            )
        )
        return Setup(), tuple(notes.findings)
    except (tomllib.TOMLDecodeError, ValueError, RecursionError) as error:
        notes.tell_syntax(str(error))
        return Setup(), tuple(notes.findings)
    notes.lines = key_lines(text)
    top = Table(content, "", notes)
    setup = setup_of(top)
    top.finish()
    return setup, tuple(notes.findings)


def setup_of(top: Table) -> Setup:
    """Read the tables of a setup file from the whole file; the findings go to its notes."""
    session = top.table("session")
    devices = _devices(top.tables("devices"), top.notes)
    phases, phase_times = _phases(top.tables("phases"), devices, top.notes)
    day = _date(session)
    zone = _zone(session)
    runs, numbered = _runs(top, session, phase_times)
    setup = Setup(
        id=session.text("id"),
        title=session.text("title"),
        date=day,
        timezone=zone,
        operator=session.text("operator"),
        revision=session.whole("revision") or 1,
        notes=session.text("notes"),
        log=session.text("log"),
        runs=runs,
        numbered_runs=numbered,
        devices=devices,
        phases=phases,
        phase_times=phase_times,
        conditions=_conditions(top.table("conditions")),
        assumptions=_assumptions(top.table("assumptions")),
        mixes=_mixes(top.table("mixes"), phases),
        declared_comparison=_claims(top.table("claims"), devices),
    )
    session.finish()
    return setup


def _date(table: Table) -> date | None:
    value = table.value("date")
    if value is None or value == NOT_RECORDED:
        return None
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    day = parse_date(value.strip()) if isinstance(value, str) else None
    if day is None:
        table.wrong("date", "a date such as 2026-05-16", "Write year-month-day.")
    return day


def _zone(table: Table) -> str:
    name = table.text("timezone")
    if not name or name == NOT_RECORDED:
        return ""
    try:
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


def clock_of(table: Table, name: str) -> ClockTime | None:
    """Read a time of day from a text or from a time or date-time of TOML."""
    value = table.value(name)
    if value is None or value == NOT_RECORDED:
        return None
    if isinstance(value, (datetime, time)):
        value = value.isoformat()
    cells = parse_times([value.strip() if isinstance(value, str) else "?"], bare="clock")
    if cells.bad[0] or cells.resolution_min[0] != cells.resolution_min[0]:
        table.wrong(name, CLOCK_EXPECTED, CLOCK_REMEDY)
        return None
    day, offset = cells.day[0], cells.offset_s[0]
    return ClockTime(
        second=float(cells.second[0]),
        resolution_min=float(cells.resolution_min[0]),
        day=None if day != day else int(day),
        offset_s=None if offset != offset else float(offset),
    )


def _span(table: Table, name: str) -> float | None:
    """Read hours and minutes (min)."""
    value = table.value(name)
    if value is None or value == NOT_RECORDED:
        return None
    text = value.strip() if isinstance(value, str) and ":" in value else "?"
    cells = parse_times([text], bare="elapsed")
    if cells.bad[0] or cells.elapsed_min[0] < 0:
        table.wrong(name, SPAN_EXPECTED, SPAN_REMEDY)
        return None
    return float(cells.elapsed_min[0])


def _runs(
    top: Table,
    session: Table,
    phase_times: Mapping[str, tuple[ClockTime | None, ClockTime | None]],
) -> tuple[tuple[RunSetup, ...], bool]:
    """Read ``[[runs]]``; without them the one run of ``[session]``."""
    tables = top.tables("runs")
    only = RunSetup(
        start=clock_of(session, "start"),
        stop=clock_of(session, "stop"),
        stated_elapsed_min=_span(session, "stated_elapsed"),
    )
    if not tables:
        return (only,), False
    for name in ("start", "stop", "stated_elapsed"):
        if session.has(name):
            session.wrong(
                name,
                "times of the runs under [[runs]], since there are runs",
                "Move it to the run that it belongs to.",
                rule="setup-run",
            )
    runs: dict[int, RunSetup] = {}
    for i, table in enumerate(tables, start=1):
        number = table.whole("number") or i
        run = RunSetup(
            number=number,
            date=_date(table),
            start=clock_of(table, "start"),
            stop=clock_of(table, "stop"),
            stated_elapsed_min=_span(table, "stated_elapsed"),
        )
        if number in runs:
            table.wrong("number", "every run once", "Number the runs 1, 2, 3, …", rule="setup-run")
        runs[number] = run
        table.finish()
    if len(runs) > 1 and any(t for pair in phase_times.values() for t in pair):
        top.notes.add(
            "setup-run",
            "phases",
            found="clock times of phases for several runs",
            expected="start and end of phases in the log when there are several runs",
            remedy="Note them as phase_start and phase_end rows with the number of the run.",
        )
    return tuple(runs[n] for n in sorted(runs)), True


def _id(table: Table, seen: Sequence[str], what: str) -> str:
    """Read the id of a device or phase; "" if there is none."""
    name = table.text("id")
    if not name:
        table.wrong(
            "id",
            f"an id for the {what}, as the log uses it",
            'Write id = "…".',
            rule="setup-id",
        )
    elif name in seen:
        table.wrong(
            "id", f"every {what} once", f"Give each {what} an id of its own.", rule="setup-twice"
        )
    elif isinstance(raw := table.data["id"], str) and raw != name:
        table.notes.add(
            "setup-blanks",
            table.key("id"),
            found=f"blanks around the id in {quoted(raw)}",
            expected="an id without blanks around it",
            severity="note",
            remedy=f"It was read as {quoted(name)}; remove the blanks.",
        )
    return name


def _devices(tables: Sequence[Table], notes: Notes) -> tuple[Device, ...]:
    devices: list[Device] = []
    places: dict[int, str] = {}
    for table in tables:
        name = _id(table, [d.id for d in devices], "device")
        gauge = table.table("gauge")
        conditions = table.table("conditions")
        position = table.whole("position")
        if position is not None and position in places:
            table.wrong(
                "position",
                f"a place of its own ({quoted(places[position])} stands there)",
                "Number the places in the row 1, 2, 3, …",
                rule="setup-twice",
            )
        elif position is not None:
            places[position] = name
        device = Device(
            id=name,
            label=table.text("label") or name,
            position=position,
            model=table.text("model"),
            groups=table.texts("groups"),
            display_diagonal_in=table.number("display_diagonal_in", low=0.1, unit="inch"),
            display_px=_pixels(table),
            rated_energy_wh=table.number("rated_energy_wh", low=0.001, unit="Wh"),
            rated_energy_tol_pct=table.number("rated_energy_tol_pct", low=0, high=100, unit="%"),
            rated_capacity_mah=table.number("rated_capacity_mah", low=0.1, unit="mAh"),
            nominal_voltage_v=table.number("nominal_voltage_v", low=0.1, unit="V"),
            health_pct=table.number("health_pct", low=1, high=150, unit="%"),
            health_u_pct=table.number("health_u_pct", low=0, high=100, unit="%"),
            software=table.text("software"),
            notes=table.text("notes"),
            gauge=_gauge(gauge),
            conditions=_conditions(conditions),
        )
        table.finish()
        if name and name not in {d.id for d in devices}:
            devices.append(device)
    return tuple(devices)


def _pixels(table: Table) -> tuple[int, int] | None:
    value = table.value("display_px")
    if value is None or value == NOT_RECORDED:
        return None
    if (
        isinstance(value, list)
        and len(value) == 2
        and all(isinstance(v, int) and not isinstance(v, bool) and v > 0 for v in value)
    ):
        return value[0], value[1]
    table.wrong("display_px", "width and height in pixels", "Write display_px = [2560, 1600].")
    return None


def _gauge(table: Table) -> Gauge:
    gauge = Gauge(
        rounding=cast(
            "RoundingConvention",
            table.choice("rounding", get_args(RoundingConvention), "unknown"),
        ),
        counts=cast("GaugeCounts", table.choice("counts", get_args(GaugeCounts), "unknown")),
        step_pct=table.number("step_pct", low=0.001, high=50, unit="%"),
        reading_wakes_device=table.flag("reading_wakes_device"),
    )
    table.finish()
    return gauge


def _phases(
    tables: Sequence[Table], devices: Sequence[Device], notes: Notes
) -> tuple[tuple[Phase, ...], dict[str, tuple[ClockTime | None, ClockTime | None]]]:
    phases: list[Phase] = []
    times: dict[str, tuple[ClockTime | None, ClockTime | None]] = {}
    known = [d.id for d in devices]
    for table in tables:
        name = _id(table, [p.id for p in phases], "phase")
        kind = cast("PhaseKind", table.choice("kind", get_args(PhaseKind), "plain"))
        evaluated = table.flag("evaluated")
        phase = Phase(
            id=name,
            label=table.text("label") or name,
            activity=table.text("activity"),
            kind=kind,
            planned_min=_planned(table),
            content=table.text("content"),
            script=table.texts("script"),
            screen_on=table.flag("screen_on"),
            parts=_parts_of(table, kind),
            first_half=_first_half(table, kind, known),
            turn_min=table.number("turn_min", low=0.01, unit="min"),
            evaluated=evaluated is not False,
            notes=table.text("notes"),
        )
        pair = clock_of(table, "start"), clock_of(table, "end")
        table.finish()
        if name and name not in times:
            phases.append(phase)
            times[name] = pair
    return tuple(phases), times


def _planned(table: Table) -> float | None:
    value = table.value("planned_min")
    if value is None or value in ("unknown", NOT_RECORDED):
        return None
    if is_number(value) and value > 0:
        return float(value)
    table.wrong(
        "planned_min",
        'a number of minutes above 0, or "unknown"',
        'Write the number of minutes alone, or "unknown".',
    )
    return None


def _parts_of(table: Table, kind: PhaseKind) -> tuple[str, str] | None:
    parts = table.texts("parts")
    split = kind in ("crossover", "rotation")
    if len(parts) == 2 and parts[0] != parts[1]:
        return parts[0], parts[1]
    if split or table.has("parts"):
        table.wrong(
            "parts",
            "the two activities of the split phase",
            'Write parts = ["first activity", "second activity"].',
            rule="setup-split",
        )
    return None


def _first_half(table: Table, kind: PhaseKind, known: Sequence[str]) -> tuple[str, ...]:
    names = table.texts("first_half")
    if kind == "crossover" and not names:
        table.wrong(
            "first_half",
            "the devices that do the first part first",
            'Write first_half = ["device", …].',
            rule="setup-split",
        )
    for name in names:
        if known and name not in known:
            table.notes.add(
                "setup-device",
                table.key("first_half"),
                found=f"the device {quoted(name)}",
                expected=f"ids of [[devices]]: {', '.join(known)}",
                remedy="Correct the id." + hint(name, known),
            )
    return names


def _conditions(table: Table) -> dict[str, object]:
    """Read conditions; known keys are checked, what was not recorded is left out."""
    read: dict[str, object] = {}
    for name in table.data:
        value = table.value(name)
        known = CONDITIONS.get(name)
        if isinstance(value, str):
            value = value.strip()
        if known and value in (NOT_RECORDED, ""):
            continue
        if known is None:
            if _free(table, name, value):
                read[name] = value
        elif _fits(known, value):
            read[name] = value
        else:
            table.wrong(
                name,
                f"{EXPECTED[known.kind]}{f' ({known.unit})' if known.unit else ''}",
                f'Correct the value; "{NOT_RECORDED}" if it was not recorded.',
            )
    return read


EXPECTED = {
    "number": "a plausible number",
    "text": "a text in quotation marks",
    "switch": 'true, false, or a text such as "on"',
    "number_or_text": "a number or a text in quotation marks",
}


def _fits(known: Condition, value: object) -> bool:
    if is_number(value):
        return known.kind in ("number", "number_or_text") and known.low <= value <= known.high
    if isinstance(value, str):
        return known.kind != "number"
    return isinstance(value, bool) and known.kind == "switch"


def _free(table: Table, name: str, value: object) -> bool:
    """Check a free condition; tell one that is nearly a known key."""
    plain = (str, int, float, bool, date, datetime, time)
    if not (
        isinstance(value, plain)
        or (isinstance(value, list) and all(isinstance(v, plain) for v in value))
    ):
        table.wrong(
            name,
            "a number, a text, true or false, or a list of these",
            "Give each condition a key of its own.",
        )
        return False
    known = nearest(name, CONDITIONS)
    if known and known not in table.data:
        table.notes.add(
            "setup-free-key",
            table.key(name),
            severity="note",
            found=f"the free condition {quoted(name)}",
            expected=f"perhaps the known condition {quoted(known)}",
            remedy="It is shown as it stands; correct the name if the known one was meant.",
        )
    return True


def _assumptions(table: Table) -> Assumptions:
    stated: dict[str, object] = {}
    for f in fields(Assumptions):
        if f.name == "stated" or not table.has(f.name):
            continue
        if f.name == "clock_rounding":
            stated[f.name] = table.choice(f.name, ("floor", "nearest", "unknown"), "floor")
        else:
            value = table.number(f.name, low=0)
            if value is not None:
                stated[f.name] = value
    table.asked = [f.name for f in fields(Assumptions) if f.name != "stated"]
    table.finish()
    return Assumptions(**stated, stated=frozenset(stated))  # type: ignore[arg-type]  # by name


def _mixes(table: Table, phases: Sequence[Phase]) -> dict[str, dict[str, float]]:
    activities = _activities(phases)
    mixes: dict[str, dict[str, float]] = {}
    for name in table.data:
        mix = table.table(name)
        weights: dict[str, float] = {}
        for activity in mix.data:
            weight = mix.number(activity, low=0)
            if weight is not None:
                weights[activity] = weight
            if phases and activity not in activities:
                mix.notes.add(
                    "setup-activity",
                    mix.key(activity),
                    found=f"the activity {quoted(activity)}",
                    expected=f"an activity or part of a phase: {', '.join(activities)}",
                    remedy="Correct the name." + hint(activity, activities),
                )
        if mix.data and not sum(weights.values()) > 0:
            table.wrong(name, "weights of which one at least is above 0", "Correct the weights.")
        mixes[name] = weights
    return mixes


def _activities(phases: Sequence[Phase]) -> list[str]:
    names = [n for p in phases for n in (p.activity, *(p.parts or ())) if n]
    return list(dict.fromkeys(names))


def _claims(table: Table, devices: Sequence[Device]) -> tuple[str, str] | None:
    names = table.texts("declared_comparison")
    table.finish()
    if not table.has("declared_comparison"):
        return None
    known = [d.id for d in devices]
    if len(names) != 2 or names[0] == names[1]:
        table.wrong("declared_comparison", "the ids of two devices", 'Write ["one", "other"].')
        return None
    for name in names:
        if known and name not in known:
            table.notes.add(
                "setup-device",
                table.key("declared_comparison"),
                found=f"the device {quoted(name)}",
                expected=f"one of {', '.join(known)}",
                remedy="Correct the id." + hint(name, known),
            )
    return names[0], names[1]
