"""The run sheet before the start: what is checked, who is present, what to be careful about."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.display import Block, Column, Prose, Table
from kit.plan.lines import moment
from kit.plan.timetable import unattended
from kit.read.conditions import CONDITIONS
from kit.safety.advice import ALWAYS, SOURCES
from kit.safety.temperatures import CHARGE_HIGH_C, CHARGE_LOW_C
from kit.sheet.contents import BOX, prose
from kit.units import NOT_RECORDED, joined, number, recorded

if TYPE_CHECKING:
    from kit.plan.planned import Plan
    from kit.sheet.contents import Sheet

__all__ = ["cautions", "on_every_device", "once_for_the_row", "people"]

Page = tuple["Table | Prose", ...]

ROW_CHECKS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("Room temperature", "Measure in the shade of the row; no heater, no sun on the devices.",
     ("room_start_c",)),
    ("Place", "Hard surface that does not burn; a hand's width between devices, air above and "
     "behind, nothing stacked or covered.", ()),
    ("Row order", "Positions marked, kept all day; cameras see every display.", ()),
    ("Network", "The same for all; other users told.", ("network",)),
    ("Luminance", "With a meter: full white page, dim room, meter on the glass in the middle. Set "
     "the first device, then turn each other until the meter says the same within 3 %. Note "
     "luminance and percent. Without a meter: the same picture side by side, through a camera "
     "with fixed exposure; write that it was matched by eye.",
     ("luminance_cd_m2", "brightness_pct")),
    ("Clock", "One clock for all notes, seconds visible; it and the devices agree.", ()),
    ("Cautions", "Everybody present has read the cautions on heat and charging in this sheet.", ()),
    ("Recording", "Folder made, log open, camera running, spare pen.", ()),
)  # fmt: skip
"""What is done once: what, how, and the conditions of the plan it has to meet."""

DEVICE_CHECKS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("Charged to 100 % and held", "Minutes after full", ("held_full_min",)),
    ("Off the charger before the start", "Minutes", ("off_charger_min",)),
    ("System and apps updated, then updates off", "Version", ()),
    ("Battery health", "% as shown", ()),
    ("Brightness", "% set", ("brightness_pct",)),
    ("Luminance", "cd/m²", ("luminance_cd_m2",)),
    ("Automatic brightness off", "", ("auto_brightness",)),
    ("Power saver and dimming off", "Or from _ %", ("power_saver", "dimming")),
    ("Notifications", "", ("notifications",)),
    ("Refresh rate", "Hz", ("refresh_rate_hz",)),
    ("Volume", "", ("volume",)),
    ("Other apps closed, sync finished", "", ()),
    ("Content of every phase at hand, signed in", "", ()),
    ("Percentage visible without waking", "", ()),
    ("No swelling, smell or damage", "", ()),
)
"""What is done on every device: what, what to write, and the conditions of the plan it meets."""


def _planned(plan: Plan, keys: tuple[str, ...]) -> str:
    """Return what the plan says of some conditions, with units; "" if nothing."""
    stated = [
        recorded(plan.conditions[k], CONDITIONS[k].unit) for k in keys if k in plan.conditions
    ]
    found = "; ".join(dict.fromkeys(text for text in stated if text != NOT_RECORDED))
    return f"Planned: {found}." if found else ""


def _exception(key: str, value: object) -> str:
    """Return what is different on one device, in the words of the report."""
    known = CONDITIONS.get(key)
    if known is None:
        return f"{key} {recorded(value)}"
    return f"{known.label[:1].lower()}{known.label[1:]} {recorded(value, known.unit)}"


def once_for_the_row(sheet: Sheet) -> Page:
    """Return the check list of what is done once, with what the plan says of it."""
    rows = tuple(
        (f"{BOX} {what}", " ".join(filter(None, (how, _planned(sheet.plan, keys)))), "")
        for what, how, keys in ROW_CHECKS
    )
    return (
        Table(
            id="once",
            caption="Once for the row",
            columns=tuple(Column(name=name) for name in ("What", "How", "Found")),
            rows=rows,
            writing=True,
        ),
    )


def on_every_device(sheet: Sheet) -> Page:
    """Return the check list of what is done on every device, one box each."""
    names = sheet.names
    rows = []
    for what, unit, keys in DEVICE_CHECKS:
        note = _planned(sheet.plan, keys) or unit
        rows.append((what, note, *(BOX for _ in names)))
    exceptions = tuple(
        f"{device.label}: {'; '.join(_exception(k, v) for k, v in device.conditions.items())}."
        for device in sheet.plan.devices
        if device.conditions
    )
    return (
        Table(
            id="devices",
            caption="On every device: tick, and write the number where there is one",
            columns=(
                Column(name="What"),
                Column(name="Write"),
                *(Column(name=names[d]) for d in names),
            ),
            rows=tuple(rows),
            notes=exceptions,
            writing=True,
        ),
    )


def people(sheet: Sheet) -> Page:
    """Return who is present when, and when nobody is."""
    plan = sheet.plan
    if not plan.people:
        return prose(
            "The plan does not say who is present when. Somebody is with the devices at all "
            "times, from charging to the last power-off: write names and times here before "
            "the start."
        )
    rows = tuple(
        (p.name, moment(plan, p.from_min), moment(plan, p.to_min), p.task, "") for p in plan.people
    )
    alone = [
        f"{moment(plan, a)} to {moment(plan, b)}" for a, b in unattended(plan, sheet.view.table)
    ]
    table = Table(
        id="people",
        caption="Who is present when",
        columns=(
            Column(name="Who"),
            Column(name="From"),
            Column(name="To"),
            Column(name="Does"),
            Column(name="Telephone"),
        ),
        rows=rows,
        writing=True,
    )
    if not alone:
        return (table,)
    warning = (
        f"Nobody is with the devices from {joined(alone)}. Find somebody, or end the session "
        "before: do not leave a row of running devices alone."
    )
    return (table, *prose(warning, kind="caution"))


def cautions(sheet: Sheet) -> Page:
    """Return the cautions on heat and charging for those who stand beside the devices."""
    _ = sheet
    keys = dict.fromkeys(key for advice in ALWAYS for key in advice.sources)
    pages = "; ".join(SOURCES[key] for key in keys if key != "practice")
    window = f"{number(CHARGE_LOW_C)} to {number(CHARGE_HIGH_C)} °C"
    return (
        Prose(
            blocks=(
                *(Block(kind="bullet", text=advice.text) for advice in ALWAYS),
                Block(
                    kind="bullet",
                    text=f"Charge only in a room at {window} (US Fire Administration, citing "
                    "NFPA), or within the maker's narrower window.",
                ),
                Block(
                    text=f"Paraphrased from public advice: {pages}. The rest is common practice, "
                    "without a source."
                ),
            )
        ),
    )
