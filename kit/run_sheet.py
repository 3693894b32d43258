"""What the cells of the run-sheet notebook call: one function a section, a plan in, pages out.

::

    from kit import run_sheet
    sheet = run_sheet.load(plan)
    run_sheet.show(run_sheet.timetable(sheet))

The sheet is printed and lies beside the devices all day. It holds no expected percentage: who
knows what should come reads what should come.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import kit
from kit.display import DataBundle, show
from kit.plan.lines import moment, short_time
from kit.safe_text import displayable
from kit.sheet.before import cautions, on_every_device, once_for_the_row, people
from kit.sheet.contents import Sheet, load, prose
from kit.sheet.day import limited_phases, near_the_end, power_offs, scorecard, ticks, timetable
from kit.units import count

if TYPE_CHECKING:
    from kit.display import Prose

__all__ = [
    "Sheet",
    "cautions",
    "data",
    "limited_phases",
    "load",
    "near_the_end",
    "on_every_device",
    "once_for_the_row",
    "people",
    "power_offs",
    "scorecard",
    "show",
    "ticks",
    "timetable",
    "title_block",
]

AT_ONCE = (
    "Swelling, a smell, hissing, smoke or more heat than usual: stop, move away, get everybody "
    "out, call the local emergency number. Read the section on heat and charging before anything "
    "is charged."
)
NEW_PAGE = ("Timetable", "Scorecard", "Near the end")
"""Sections of the template that begin on a page of their own, to be handed round."""


def title_block(sheet: Sheet) -> tuple[Prose, ...]:
    """Return what day it is about, in a sentence, and the doubts about the plan."""
    plan, view = sheet.plan, sheet.view
    until = (
        f"until {moment(plan, plan.stop_min)}"
        if plan.stop_min is not None
        else f"with the last timed phase over at {moment(plan, view.table.end_min)}"
    )
    lead = (
        f"{count(len(plan.devices), 'device').capitalize()}, "
        f"{count(len(plan.phases), 'phase')}, from {moment(plan, 0.0)} {until}. "
        f"One walk along the row takes {short_time(plan.walk_min)}."
    )
    return (
        *prose(lead, kind="lead"),
        *prose(AT_ONCE, kind="caution"),
        *prose(plan.notes),
        *prose(*(f.sentence for f in sheet.findings), kind="caution"),
    )


def data(sheet: Sheet) -> tuple[DataBundle, ...]:
    """Return the plan for machines: timetable and windows, and what heads the page."""
    plan = sheet.plan
    day = None if plan.date is None else plan.date.isoformat()
    items = [
        [item.kind, item.phase, item.point, item.direction, item.start_min, item.end_min]
        for item in sheet.view.table.items
    ]
    windows = [
        [device.id] + ([None] * 3 if w is None else [w.expected_min, w.low_min, w.high_min])
        for device, w in zip(plan.devices, sheet.view.windows, strict=True)
    ]
    return (
        DataBundle(
            {
                "session": {
                    "id": plan.id,
                    "title": plan.title,
                    "revision": 1,
                    "fingerprint": sheet.fingerprint,
                    "date": day,
                    "operator": plan.operator,
                    "sheet": {"new-page": list(NEW_PAGE)},
                    "running": f"Run sheet · plan {sheet.fingerprint}",
                    "facts": [
                        ["Planned for", day or "no date yet"],
                        ["Plan", displayable(sheet.file)],
                        ["Plan fingerprint", sheet.fingerprint],
                        ["Rundown Kit", kit.__version__],
                    ],
                },
                "tables": {
                    "timetable": {
                        "columns": [
                            "kind", "phase", "point", "direction", "start_min", "end_min",
                        ],
                        "rows": items,
                    },
                    "windows": {
                        "columns": ["device", "expected_min", "low_min", "high_min"],
                        "rows": windows,
                    },
                },
            }
        ),
    )  # fmt: skip
