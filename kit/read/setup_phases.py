"""The phases of a setup file."""

from __future__ import annotations

import math
from datetime import datetime, time
from typing import TYPE_CHECKING, cast, get_args

from kit.read.cells import hint, quoted
from kit.read.clock import ClockTime, parse_times
from kit.read.setup_devices import id_of
from kit.read.toml_table import NOT_RECORDED, is_number
from kit.session import Phase, PhaseKind, PlannedTurn

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.read.toml_table import Table
    from kit.session import Device

__all__ = ["clock_of", "read_phases"]

MINUTES_OF_A_WEEK = 7 * 24 * 60
CLOCK_EXPECTED = 'a time of day such as "08:00", or a date and time'
CLOCK_REMEDY = 'Write hours and minutes with a colon, in quotation marks: "08:00".'


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


def read_phases(
    tables: Sequence[Table], devices: Sequence[Device]
) -> tuple[tuple[Phase, ...], dict[str, tuple[ClockTime | None, ClockTime | None]]]:
    """Read ``[[phases]]``: the phases, and what is noted of their start and end by id."""
    phases: list[Phase] = []
    times: dict[str, tuple[ClockTime | None, ClockTime | None]] = {}
    known = [d.id for d in devices]
    for table in tables:
        name = id_of(table, [p.id for p in phases], "phase")
        kind = cast("PhaseKind", table.choice("kind", get_args(PhaseKind), "plain"))
        evaluated = table.flag("evaluated")
        phase = Phase(
            id=name,
            label=table.text("label") or name,
            activity=table.text("activity"),
            kind=kind,
            planned_min=_planned(table),
            start_read_after_min=_start_read(table),
            content=table.text("content"),
            script=table.texts("script"),
            screen_on=table.flag("screen_on"),
            parts=_parts_of(table, kind),
            first_half=_first_half(table, kind, known),
            turn_min=table.number("turn_min", low=0.01, unit="min"),
            planned_turns=_planned_turns(table, kind, known),
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


def _start_read(table: Table) -> float | None:
    """Read when the row is to be read again before a phase; ``inf`` for never."""
    if table.value("start_read_after_min") == "never":
        return math.inf
    value = table.value("start_read_after_min")
    if value is None or (is_number(value) and 0 <= value < MINUTES_OF_A_WEEK):
        return None if value is None else float(value)
    table.wrong(
        "start_read_after_min",
        'a number of minutes, or "never"',
        "Write how long after the readings before it the row is to be read again.",
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
    _know_devices(table, "first_half", names, known)
    return names


def _know_devices(table: Table, key: str, names: Sequence[str], known: Sequence[str]) -> None:
    """Tell devices that the file does not have."""
    for name in names:
        if known and name not in known:
            table.notes.add(
                "setup-device",
                table.key(key),
                found=f"the device {quoted(name)}",
                expected=f"ids of [[devices]]: {', '.join(known)}",
                remedy="Correct the id." + hint(name, known),
            )


def _planned_turns(table: Table, kind: PhaseKind, known: Sequence[str]) -> tuple[PlannedTurn, ...]:
    """Read who was to have a turn when; each turn after the one before, each device once in it."""
    turns: list[PlannedTurn] = []
    if table.has("planned_turns") and kind not in ("crossover", "rotation"):
        table.wrong(
            "planned_turns",
            "turns in a crossover or rotation only",
            'Delete it, or write kind = "rotation" or "crossover".',
            rule="setup-split",
        )
    for inner in table.tables("planned_turns"):
        start = inner.number("start_min", low=0.0, unit="min")
        end = inner.number("end_min", low=0.0, unit="min")
        names = inner.texts("devices")
        inner.finish()
        _know_devices(inner, "devices", names, known)
        after = turns[-1].end_min if turns else 0.0
        if start is None or end is None or not after <= start < end:
            inner.wrong(
                "start_min" if start is None or start < after else "end_min",
                f"start_min from {after:g} and an end_min after it",
                "Write the turns in order of time, in minutes since the start of the phase.",
                rule="setup-split",
            )
        elif not names or len(set(names)) < len(names):
            inner.wrong(
                "devices",
                "the devices of this turn, each once",
                'Write devices = ["device", …].',
                rule="setup-split",
            )
        else:
            turns.append(PlannedTurn(start_min=start, end_min=end, devices=names))
    return tuple(turns)
