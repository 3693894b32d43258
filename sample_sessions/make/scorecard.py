"""Three tablets in a wide table from a spreadsheet."""

from __future__ import annotations

from datetime import date, time
from typing import TYPE_CHECKING

import numpy as np

from kit.simulate import (
    Operator,
    Scenario,
    TrueDevice,
    TrueGauge,
    simulate_day,
)
from kit.simulate.record import moment, number_text
from make.hidden import setup, true_phases

if TYPE_CHECKING:
    from kit.simulate import Truth

__all__ = ["make", "scenario"]

DEVICES = (
    TrueDevice(
        id="Cockle 8",
        capacity_wh=18.1,
        power_w={"map": 2.02, "photo": 2.97, "forms": 2.05, "lecture": 1.90, "idle": 1.40},
        gauge=TrueGauge(rounding="nearest", deviation=((0, 0.8), (50, 0.6), (100, 0))),
    ),
    TrueDevice(
        id="Sandpiper 7",
        capacity_wh=15.8,
        power_w={"map": 1.69, "photo": 2.62, "forms": 1.83, "lecture": 1.71, "idle": 1.25},
        gauge=TrueGauge(rounding="truncated", step_pct=0.1),
    ),
    TrueDevice(
        id="Urchin 9",
        capacity_wh=25.4,
        power_w={"map": 2.37, "photo": 3.21, "forms": 2.48, "lecture": 2.31, "idle": 1.80},
        gauge=TrueGauge(rounding="rounded_up", deviation=((0, 0), (40, -0.9), (100, 0))),
    ),
)

GAPS_MIN = {"photo": 8, "lecture": 4}

CHECKPOINTS = {
    ("map", "start"): "start",
    ("map", "end"): "after map",
    ("photo", "end"): "after photo",
    ("forms", "end"): "after forms",
    ("lecture", "end"): "after lecture",
}

MISSED_ON_SCORECARD = ("after forms", "Cockle 8")


def scenario() -> Scenario:
    """Return the small day behind the scorecard as it really was."""
    return Scenario(
        id="scorecard",
        devices=DEVICES,
        phases=true_phases(setup("scorecard"), GAPS_MIN, {}),
        operator=Operator(pass_every_min=5.0, notes_spans="clock"),
        date=date(2026, 3, 7),
        start=time(9, 30),
        stop_min=540.0,
    )


def make() -> tuple[Truth, str]:
    """Return the truth and the text of a table as a European spreadsheet saves it."""
    truth, session = simulate_day(scenario(), np.random.default_rng(20260307))
    ids = [d.id for d in DEVICES]
    start = session.runs[0].start
    if start is None:
        msg = "the scorecard needs a start by the clock"
        raise ValueError(msg)

    def clock(cell: object) -> str:
        minutes = float(str(cell))
        return "" if minutes != minutes else f"{moment(start, minutes):%H:%M}"

    spans = session.spans.set_index("phase")
    cells = session.readings.set_index(["phase", "point", "device"])["soc_pct"].to_dict()
    lines = [["checkpoint", "phase", "clock", *ids]]
    for (phase, point), name in CHECKPOINTS.items():
        values = [
            "" if (name, d) == MISSED_ON_SCORECARD else number_text(cells[phase, point, d])
            for d in ids
        ]
        lines.append([name, phase, clock(spans.loc[phase, f"{point}_min"]), *values])
    ends = session.power_offs.set_index("device")
    gone = {d: not ends.loc[d, "still_on"] for d in ids}
    for name, column in (
        ("last seen on", "last_on_min"),
        ("first seen off", "first_off_min"),
    ):
        lines.append(
            [name, "map-2", "", *(clock(ends.loc[d, column]) if gone[d] else "" for d in ids)]
        )
    lines.append(
        [
            "still on",
            "map-2",
            "",
            *("" if gone[d] else clock(ends.loc[d, "last_on_min"]) for d in ids),
        ]
    )
    text = "".join(";".join(c.replace(".", ",") for c in line) + "\r\n" for line in lines)
    return truth, "\ufeff" + text
