"""The devices and conditions of a setup file."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import TYPE_CHECKING, cast, get_args

from kit.labels import full_name
from kit.read.cells import nearest, quoted
from kit.read.conditions import CONDITIONS
from kit.read.toml_table import NOT_RECORDED, is_number, toml_text
from kit.session import Device, Gauge, GaugeCounts, RoundingConvention

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.read.conditions import Condition
    from kit.read.toml_table import Table

__all__ = ["id_of", "read_conditions", "read_devices"]


def id_of(table: Table, seen: Sequence[str], what: str) -> str:
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


def read_devices(tables: Sequence[Table]) -> tuple[Device, ...]:
    """Read ``[[devices]]``."""
    devices: list[Device] = []
    places: dict[int, str] = {}
    for table in tables:
        name = id_of(table, [d.id for d in devices], "device")
        gauge = table.table("gauge")
        conditions = table.table("conditions")
        position = table.whole("position")
        if position is not None and position in places:
            table.wrong(
                "position",
                f"a place of its own ({quoted(places[position])} stands there)",
                "Number the places in the row 1, 2, 3 and so on.",
                rule="setup-twice",
            )
        elif position is not None:
            places[position] = name
        label = table.text("label") or name
        _tell_alike(table, label, devices)
        device = Device(
            id=name,
            label=label,
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
            conditions=read_conditions(conditions),
        )
        table.finish()
        if name and name not in {d.id for d in devices}:
            devices.append(device)
    return tuple(devices)


def _tell_alike(table: Table, label: str, before: Sequence[Device]) -> None:
    """Tell a label that reads like that of another device."""
    name = table.text("id")
    seen = {full_name(d.label, d.id).casefold(): d.id for d in before if d.id != name}
    twin = seen.get(full_name(label, name).casefold(), "")
    if name and twin:
        key = "label" if table.has("label") else "id"
        table.notes.add(
            "setup-alike",
            table.key(key),
            severity="caution",
            found=toml_text(table.data[key]),
            expected=f"a label of its own ({quoted(twin)} has the same)",
            remedy="The report adds their places; better say what tells the two apart, such as "
            '"unit A" and "unit B".',
        )


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


def read_conditions(table: Table) -> dict[str, object]:
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
