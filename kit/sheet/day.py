"""The run sheet of the day: timetable, limited phases, scorecard, power-offs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.display import Block, Column, Prose, Table
from kit.labels import shorten
from kit.plan.balance_words import imbalance
from kit.plan.limited_text import if_one_powers_off
from kit.plan.lines import moment, short_time
from kit.sheet.contents import BOX, prose
from kit.units import duration, joined, percent

if TYPE_CHECKING:
    from kit.plan.timetable import Item
    from kit.sheet.contents import Sheet

__all__ = ["limited_phases", "near_the_end", "power_offs", "scorecard", "ticks", "timetable"]

Page = tuple["Table | Prose", ...]

EXTRA_ROWS = 6
"""Blank rows at the end of the scorecard: readings in the last phase, and what goes wrong."""
TICK_ROWS = 20
"""As many as fill a page of Letter with rows high enough to write in."""
MOST_NAMED = 8
"""With more devices the scorecard gives the numbers of the phases alone: names would break."""
ARROWS = {"forward": "→", "backward": "←"}


def timetable(sheet: Sheet) -> Page:
    """Return the timetable, a box to tick and a place for the real time on every line."""
    numbers = {p.id: str(i) for i, p in enumerate(sheet.plan.phases, start=1)}
    rows = [
        (f"{BOX} {moment(sheet.plan, item.start_min)}", "", *_line(sheet, item, numbers))
        for item in sheet.view.table.items
    ]
    return (
        Table(
            id="day",
            caption="The day by the clock; write the real time beside the planned one",
            columns=(
                Column(name="Planned"),
                Column(name="Real"),
                Column(name="Phase"),
                Column(name="What"),
                Column(name="Length", align="right"),
            ),
            rows=tuple(rows),
            notes=("→ read along the row from left to right, ← from right to left.",),
            writing=True,
        ),
    )


def _line(sheet: Sheet, item: Item, numbers: dict[str, str]) -> tuple[str, str, str]:
    """Return phase number, what, and length of one line of the timetable."""
    plan = sheet.plan
    number_of = numbers.get(item.phase, "")
    if item.kind == "walk":
        where = {"start": "start", "end": "end", "inside": "swap"}[item.point or "end"]
        return number_of, f"{ARROWS[item.direction]} Read the row, {where}", _length(item)
    if item.kind == "phase":
        phase = plan.phase(item.phase)
        extra = "" if phase.evaluated else " (not evaluated)"
        text = f"{phase.label}{extra}" + (f": {phase.content}" if phase.content else "")
        return number_of, text, _length(item) or "until empty"
    if item.kind == "turn":
        names = sheet.names
        parts = sheet.view.table.schedules[item.phase].parts
        who = joined([names[d] for d in item.devices])
        return number_of, f"{parts[0]}: {who}; the others {parts[1]}", _length(item)
    return number_of if item.kind != "break" else "", item.label, _length(item)


def _length(item: Item) -> str:
    if item.end_min is None or item.end_min == item.start_min:
        return ""
    return duration(item.end_min - item.start_min)


def limited_phases(sheet: Sheet) -> Page:
    """Return how limited phases share out exposure and order, and what to do at a power-off."""
    blocks: list[Block] = []
    for phase in sheet.plan.phases:
        schedule = sheet.view.table.schedules.get(phase.id)
        if schedule is None:
            continue
        reasons = [x.reason for x in sheet.plan.limits if x.activity == schedule.parts[0]]
        why = f" ({reasons[0]})" if reasons and reasons[0] else ""
        blocks.append(Block(kind="heading", text=phase.label))
        blocks.append(
            Block(text=f"At most {schedule.at_once} at once do {schedule.parts[0]}{why}.")
        )
        told = imbalance(schedule, drawn=sheet.plan.phase_plan(phase.id).drawn)
        blocks += [Block(kind="bullet", text=text) for text in (*told, if_one_powers_off(schedule))]
    if not blocks:
        return prose("Every device does the same at the same time; nothing is shared out.")
    blocks.append(Block(kind="heading", text="If a device powers off before or in its turn"))
    blocks += [
        Block(kind="bullet", text=text)
        for text in (
            "Leave its place empty. Every other turn stays where it is: nobody moves up, nobody "
            "gets the free place.",
            "Note when it powered off and how much of its turn it had done.",
            "Read the whole row at that moment if you can: then the others can be compared with "
            "it over the time they share.",
        )
    ]
    return (Prose(blocks=tuple(blocks)),)


def scorecard(sheet: Sheet) -> Page:
    """Return the grid for percentages: one row a walk, one column a device, room to write."""
    plan, names = sheet.plan, sheet.names
    numbers = {p.id: i for i, p in enumerate(plan.phases, start=1)}
    rows: list[tuple[str, ...]] = []
    blank = ("",) * len(names)
    for item in sheet.view.table.items:
        if item.kind != "walk":
            continue
        point = {"start": "start", "end": "end", "inside": "swap"}[item.point or "end"]
        phase = shorten(plan.phase(item.phase).label, 26)
        number = f"{numbers[item.phase]}"
        named = f"{number} {phase}" if len(names) <= MOST_NAMED else number
        rows.append(
            (
                f"{ARROWS[item.direction]} {named}, {point}",
                moment(plan, item.start_min),
                "",
                *blank,
            )
        )
    rows += [(f"More {i}", "", "", *blank) for i in range(1, EXTRA_ROWS + 1)]
    return (
        Table(
            id="scorecard",
            caption="Percentages as shown; read in the direction of the arrow"
            + ("" if len(names) <= MOST_NAMED else "; phases as numbered in the timetable"),
            columns=(
                Column(name="Reading"),
                Column(name="Planned"),
                Column(name="Clock"),
                *(Column(name=names[d], unit="%") for d in names),
            ),
            rows=tuple(rows),
            notes=(
                "Missed a reading? Leave the cell empty and go on; never fill it in from memory.",
                "A percentage that rises, a device found off, a touch by mistake: write the clock "
                "time and what happened.",
            ),
            writing=True,
        ),
    )


def ticks(sheet: Sheet) -> Page:
    """Return the table for the minutes at which a display changed."""
    _ = sheet
    table = Table(
        id="ticks",
        caption="Changes of a display",
        columns=tuple(
            Column(name=name) for name in ("No.", "Device", "Phase", "Changed to", "At", "Remark")
        ),
        rows=tuple((str(i), *("",) * 5) for i in range(1, TICK_ROWS + 1)),
        writing=True,
    )
    return (table,)


def near_the_end(sheet: Sheet) -> Page:
    """Return when to watch closely, and how often."""
    plan, view = sheet.plan, sheet.view
    looks = view.looks
    every = (
        f"Look along the row every {short_time(looks.every_min)}"
        + (", and note seconds" if looks.note_seconds else "")
        + f": each power-off is then known to {short_time(looks.window_min)}. Begin when the "
        "first device shows 10 %, whatever the table says."
    )
    rows = []
    for device, window in zip(plan.devices, view.windows, strict=True):
        if window is None:
            rows.append((device.label, "no rate known", ""))
        else:
            rows.append(
                (
                    device.label,
                    f"{moment(plan, window.low_min)} to {moment(plan, window.high_min)}",
                    moment(plan, window.expected_min),
                )
            )
    table = Table(
        id="windows",
        caption=f"When each device is expected to power off, with {percent(plan.coverage)}",
        columns=(Column(name="Device"), Column(name="Between"), Column(name="Most likely about")),
        rows=tuple(rows),
    )
    return (*prose(every), table)


AT_A_POWER_OFF = (
    "Look, do not touch: no button, no charger, no tap. A device that wakes was not off.",
    "Write the clock time at which it was last seen on, and at which it was first seen off.",
    "Write the last percentage you saw on it, and in which phase it was.",
    "Look at once at its neighbours: two may go within a minute.",
    "If it shut down hot, or shows anything but an empty battery, write what you saw.",
    "Leave it lying. It cools before it is charged.",
    "At the stop: write for every device still on that it is on, with its percentage.",
)


def power_offs(sheet: Sheet) -> Page:
    """Return what to note at a power-off, and the table for it."""
    names = sheet.names
    table = Table(
        id="power-offs",
        caption="Power-offs",
        columns=tuple(
            Column(name=name)
            for name in (
                "Device", "Last seen on", "First seen off", "Last %", "Phase", "Still on at stop",
                "Cause, remarks", "By",
            )
        ),
        rows=tuple((names[d], *("",) * 7) for d in names),
        writing=True,
    )  # fmt: skip
    bullets = tuple(Block(kind="bullet", text=text) for text in AT_A_POWER_OFF)
    return (Prose(blocks=bullets), table)
