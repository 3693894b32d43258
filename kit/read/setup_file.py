"""The only reader of the setup file of a session (``session.toml``).

It reads what the file says and checks each value by itself and against the others; how the log
fits to it is told by :mod:`kit.read.record`. Every fault is a finding with the dotted key and line.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from kit.errors import Finding
from kit.read.cells import hint, quoted
from kit.read.clock import ClockTime, parse_date, parse_times, plausible_day
from kit.read.conditions import CONDITIONS
from kit.read.setup_devices import read_conditions, read_devices
from kit.read.setup_phases import clock_of, read_phases
from kit.read.toml_table import NOT_RECORDED, Notes, Table, key_lines
from kit.session import Assumptions, Device, Phase

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = [
    "CONDITIONS",
    "ClockTime",
    "RunSetup",
    "Setup",
    "clock_of",
    "read_setup",
    "setup_of",
]

LEAST = {"gauge_correlation_pp": 0.001}
"""Least values of the assumptions that something is divided by; of the others it is 0."""
SPAN_EXPECTED = 'hours and minutes such as "9:10"'
SPAN_REMEDY = 'Write hours and minutes with a colon, in quotation marks: "9:10".'


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
    look_every_min
        How often the recorder reminds of looking along the row near empty (min).
    lines
        Line of each key, for findings that need the log too.
    """

    id: str = ""
    title: str = ""
    date: date | None = None
    timezone: str = ""
    operator: str = ""
    revision: int = 1
    notes: str = ""
    log: str = ""
    look_every_min: float | None = None
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
    lines: Mapping[str, int] = field(default_factory=dict)


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
    return replace(setup, lines=notes.lines), tuple(notes.findings)


def setup_of(top: Table) -> Setup:
    """Read the tables of a setup file from the whole file; the findings go to its notes."""
    session = top.table("session")
    devices = read_devices(top.tables("devices"))
    phases, phase_times = read_phases(top.tables("phases"), devices)
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
        look_every_min=session.number("look_every_min", low=0.01, unit="min"),
        runs=runs,
        numbered_runs=numbered,
        devices=devices,
        phases=phases,
        phase_times=phase_times,
        conditions=read_conditions(top.table("conditions")),
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
    if isinstance(value, date):
        given = value.date() if isinstance(value, datetime) else value
        day = given if plausible_day(given) else None
    else:
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
    if only.stop is not None and only.start is None and not tables:
        session.notes.add(
            "setup-run",
            session.key("stop"),
            severity="caution",
            found="a stop without a start",
            expected="the start of the session, from which times are counted",
            remedy='The stop is not used; state the start: start = "08:00".',
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
            table.wrong(
                "number", "every run once", "Number the runs 1, 2, 3 and so on.", rule="setup-run"
            )
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


def _assumptions(table: Table) -> Assumptions:
    stated: dict[str, object] = {}
    for f in fields(Assumptions):
        if f.name == "stated" or not table.has(f.name):
            continue
        if f.name == "clock_rounding":
            stated[f.name] = table.choice(f.name, ("floor", "nearest", "unknown"), "floor")
        else:
            value = table.number(f.name, low=LEAST.get(f.name, 0.0))
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
