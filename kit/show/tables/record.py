"""Tables of what was recorded: session, devices, conditions, protocol, findings."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.labels import device_names, full_name
from kit.read.conditions import CONDITIONS
from kit.show.cells import Names, of_run, rows_of, run_slug, run_words
from kit.units import (
    MISSING,
    NO_BREAK,
    NOT_RECORDED,
    UNDATED_YEAR,
    clock,
    count,
    duration,
    h_mm,
    joined,
    number,
)
from kit.units import recorded as said

if TYPE_CHECKING:
    from kit.results import Results
    from kit.session import Device, Phase, Run, Session

__all__ = [
    "conditions",
    "devices",
    "gauges",
    "phase_details",
    "protocol",
    "title_block",
]

_GAP_MIN = 0.5
_SOURCE_WORDS = {
    "clock": "clock",
    "elapsed": "elapsed time",
    "planned": "plan only",
    "reading": "time of a reading",
    "": MISSING,
}


def title_block(results: Results, *, kit_version: str) -> Table:
    """Return who, when, which data: the identity of the report."""
    session = results.session
    row = f"{count(len(session.devices), 'device')}, {count(len(session.runs), 'run')}"
    facts = (
        ("Session", full_name(session.title, session.id)),
        ("Date and start", _start_words(session)),
        ("In the row", row),
        ("Operator", said(session.operator)),
        ("Record", f"{session.id}, revision {session.revision}"),
        ("Data fingerprint", session.fingerprint),
        ("Made with", f"Rundown Kit {kit_version}"),
    )
    return Table(
        id="session",
        caption="The session",
        columns=(Column(name="Item"), Column(name="Value")),
        rows=facts,
    )


def _start_words(session: Session) -> str:
    """Return date and clock time of the start, of each run if there are several."""
    date = f"{session.date:%Y-%m-%d}" if session.date else f"date {NOT_RECORDED}"
    starts = [run.start for run in session.runs if run.start is not None]
    if not starts:
        return f"{date}, clock time {NOT_RECORDED}" if session.date else NOT_RECORDED
    zone = f" ({session.timezone})" if session.timezone else ""
    if len(session.runs) == 1:
        return f"{date}, {starts[0]:%H:%M}{zone}"
    texts = (
        f"{start:%H:%M}" if start.year == UNDATED_YEAR else f"{start:%Y-%m-%d %H:%M}"
        for start in starts
    )
    return "; ".join(dict.fromkeys(texts)) + zone


def _display_words(device: Device) -> str:
    parts = []
    if device.display_diagonal_in is not None:
        parts.append(said(device.display_diagonal_in, "in"))
    if device.display_px is not None:
        width, height = device.display_px
        parts.append(f"{width}{NO_BREAK}×{NO_BREAK}{height}{NO_BREAK}px")
    return ", ".join(parts) or NOT_RECORDED


def _battery_words(device: Device) -> str:
    parts = []
    if device.rated_energy_wh is not None:
        tolerance = (
            f"{NO_BREAK}±{NO_BREAK}{said(device.rated_energy_tol_pct, '%')}"
            if device.rated_energy_tol_pct is not None
            else ""
        )
        parts.append(said(device.rated_energy_wh, "Wh") + tolerance)
    if device.rated_capacity_mah is not None:
        parts.append(said(device.rated_capacity_mah, "mAh"))
    if device.nominal_voltage_v is not None:
        parts.append(said(device.nominal_voltage_v, "V"))
    return ", ".join(parts) or NOT_RECORDED


def _health_words(device: Device) -> str:
    if device.health_pct is None:
        return NOT_RECORDED
    text = said(device.health_pct, "%")
    return text + (f", u{NO_BREAK}={NO_BREAK}{said(device.health_u_pct, '%')}"
                   if device.health_u_pct is not None else "")  # fmt: skip


def devices(results: Results) -> Table:
    """Return the devices in row order, every label in full."""
    session = results.session
    with_model = any(d.model.strip() or d.groups for d in session.devices)
    columns = [
        Column(name="Device"),
        Column(name="Place", align="right", numeric_sort=True),
        Column(name="Display"),
        Column(name="Battery, rated"),
        Column(name="Battery health"),
        Column(name="Software"),
    ]
    if with_model:
        columns.append(Column(name="Kind and groups"))
    rows = []
    for device in session.devices:
        cells = [
            full_name(device.label, device.id),
            said(device.position),
            _display_words(device),
            _battery_words(device),
            _health_words(device),
            said(device.software),
        ]
        if with_model:
            kinds = [device.model.strip(), *device.groups]
            cells.append(", ".join(k for k in kinds if k) or NOT_RECORDED)
        rows.append(tuple(cells))
    names = device_names(session)
    return Table(
        id="devices",
        caption="The devices, in the order of the row",
        columns=tuple(columns),
        rows=tuple(rows),
        notes=tuple(
            f"{names[d.id]}: {d.notes.strip()}" for d in session.devices if d.notes.strip()
        ),
    )


_ROUNDING_WORDS = {
    "nearest": "to the nearest step",
    "truncated": "down",
    "rounded_up": "up",
    "unknown": NOT_RECORDED,
}


def gauges(results: Results) -> Table:
    """Return how each device's percentage display behaves, as far as it was recorded."""
    names = device_names(results.session)
    return Table(
        id="gauges",
        caption="The percentage displays",
        columns=(
            Column(name="Device"),
            Column(name="Rounds"),
            Column(name="Counts"),
            Column(name="Step", unit="%", align="right", numeric_sort=True),
            Column(name="Looking wakes it"),
        ),
        rows=tuple(
            (
                names[d.id],
                _ROUNDING_WORDS[d.gauge.rounding],
                NOT_RECORDED if d.gauge.counts == "unknown" else d.gauge.counts,
                said(d.gauge.step_pct),
                said(d.gauge.reading_wakes_device),
            )
            for d in results.session.devices
        ),
    )


def _condition(key: str, value: object) -> str:
    """Return the value of a condition, with its unit if it is a number."""
    known = CONDITIONS.get(key)
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return said(value, known.unit if known is not None and is_number else "")


def conditions(results: Results) -> Table:
    """Return the conditions of the session, with the devices that were an exception."""
    session = results.session
    names = device_names(session)
    keys = list(CONDITIONS)
    keys += [k for k in session.conditions if k not in keys]
    for device in session.devices:
        keys += [k for k in device.conditions if k not in keys]
    rows = []
    for key in keys:
        exceptions = [
            f"{names[d.id]}: {_condition(key, d.conditions[key])}"
            for d in session.devices
            if key in d.conditions
        ]
        rows.append(
            (
                CONDITIONS[key].label if key in CONDITIONS else key,
                _condition(key, session.conditions.get(key)),
                "; ".join(exceptions) or MISSING,
            )
        )
    return Table(
        id="conditions",
        caption="Conditions of the session and exceptions of single devices",
        columns=(
            Column(name="Condition"),
            Column(name="All devices"),
            Column(name="Exceptions"),
        ),
        rows=tuple(rows),
    )


def _planned_words(phase: Phase) -> str:
    if phase.kind == "until_empty":
        return "until empty"
    return number(phase.planned_min) if phase.planned_min is not None else "unknown"


def _time(run: Run, t_min: float, source: str) -> str:
    if not math.isfinite(t_min) or source in ("", "planned"):
        return NOT_RECORDED
    return clock(run.start, t_min) if run.start else h_mm(t_min)


def protocol(results: Results, run: int) -> Table:
    """Return the phases of one run with planned and actual times, and the time between them."""
    session = results.session
    this = next(r for r in session.runs if r.number == run)
    names = Names.of(session)
    spans = {row.phase: row for row in rows_of(of_run(session.spans, run))}
    rows: list[tuple[str, ...]] = []
    before = 0.0
    for phase in session.phases:
        span = spans.get(phase.id)
        if span is not None and span.start_min - before > _GAP_MIN:
            rows.append(
                ("not accounted for", MISSING, MISSING, MISSING, MISSING,
                 h_mm(span.start_min - before), MISSING)
            )  # fmt: skip
        rows.append(_protocol_row(names, phase, span, this))
        if span is not None and math.isfinite(span.end_min):
            before = span.end_min
    return Table(
        id=f"protocol{run_slug(results, run)}",
        caption=f"Phases in order, planned and as they were run{run_words(results, run)}",
        columns=(
            Column(name="Phase"),
            Column(name="Activity"),
            Column(name="Planned", unit="min", align="right", numeric_sort=True),
            Column(name="Start", align="right"),
            Column(name="End", align="right"),
            Column(name="Lasted", unit="h:mm", align="right"),
            Column(name="Times from"),
        ),
        rows=tuple(rows),
        notes=_protocol_notes(session, this),
    )


def _protocol_row(names: Names, phase: Phase, span: object, run: Run) -> tuple[str, ...]:
    activity = said(phase.activity) if phase.parts is None else " / ".join(phase.parts)
    head = (names.numbered(phase.id), activity, _planned_words(phase))
    if span is None:
        return (*head, NOT_RECORDED, NOT_RECORDED, MISSING, MISSING)
    start, end = getattr(span, "start_source", ""), getattr(span, "end_source", "")
    sources = list(dict.fromkeys(_SOURCE_WORDS.get(s, s) for s in (start, end)))
    return (
        *head,
        _time(run, getattr(span, "start_min", math.nan), start),
        _time(run, getattr(span, "end_min", math.nan), end),
        h_mm(getattr(span, "duration_min", math.nan)),
        ", ".join(sources),
    )


def _protocol_notes(session: Session, run: Run) -> tuple[str, ...]:
    notes = []
    if run.start is None:
        notes.append("Times are elapsed time since the start (h:mm); no clock time was noted.")
    if run.stop_min is not None:
        when = f" ({clock(run.start, run.stop_min)})" if run.start else ""
        notes.append(f"The session was stopped after {duration(run.stop_min)}{when}.")
    if run.stated_elapsed_min is not None:
        notes.append(f"Elapsed time stated by the operator: {duration(run.stated_elapsed_min)}.")
    left_out = [p for p in session.phases if not p.evaluated]
    if left_out:
        names = Names.of(session)
        listed = joined(names.phase[p.id] for p in left_out)
        notes.append(f"Shown but not evaluated (warm-up): {listed}.")
    return tuple(notes)


def _kind_words(session: Session, phase: Phase) -> str:
    names = device_names(session)
    if phase.kind == "until_empty":
        return "runs until the last device powers off"
    if phase.parts is None:
        return "all devices at once" if session.has_setup else NOT_RECORDED
    one, other = phase.parts
    if phase.kind == "crossover":
        first = joined(names.get(d, d) for d in phase.first_half) or "the first half"
        return f"crossover: {one} then {other} for {first}; the others the other way round"
    turn = "" if phase.turn_min is None else f" for {number(phase.turn_min)}{NO_BREAK}min"
    return f"rotation: one device at a time {one}{turn}, the others {other}"


def phase_details(results: Results) -> Table:
    """Return how the work of each phase was shared out, its content and its script."""
    session = results.session
    return Table(
        id="phase-details",
        caption="What was done in each phase",
        columns=(
            Column(name="Phase"),
            Column(name="Shared out"),
            Column(name="Screen"),
            Column(name="Content and steps"),
        ),
        rows=tuple(
            (
                f"{number(k)}{NO_BREAK}{full_name(phase.label, phase.id)}",
                _kind_words(session, phase),
                NOT_RECORDED if phase.screen_on is None else "on" if phase.screen_on else "off",
                "; ".join(t for t in (phase.content, *phase.script, phase.notes) if t.strip())
                or NOT_RECORDED,
            )
            for k, phase in enumerate(session.phases, start=1)
        ),
    )
