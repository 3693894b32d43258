"""Five tablets through a whole day, with most of what can happen in one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.simulate import (
    CHARGE_SHAPE,
    Operator,
    Scenario,
    TrueGauge,
    simulate_day,
)
from kit.simulate.record import csv_text, log_rows, number_text
from make.hidden import Hidden, Row, setup, true_devices, true_phases

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.simulate import Truth

__all__ = ["ACTIVITIES", "COLUMNS", "TRUTH", "make", "scenario"]

ACTIVITIES = (
    "map", "photo", "stream", "forms", "guide", "call", "video", "sketch", "idle",
)  # fmt: skip

TRUTH = {
    "limpet": Hidden(
        capacity_wh=29.30,
        power_w=(2.56, 4.46, 3.39, 2.65, 2.91, 5.20, 2.94, 3.45, 1.93),
        gauge=TrueGauge(rounding="nearest", deviation=((0, 0.6), (50, -0.8), (100, 0))),
    ),
    "kelpfin": Hidden(
        capacity_wh=38.10,
        power_w=(3.11, 4.84, 3.68, 3.19, 3.34, 5.95, 3.30, 3.91, 2.30),
        gauge=TrueGauge(rounding="rounded_up", deviation=((0, 0), (30, 1.2), (70, -0.6), (100, 0))),
    ),
    "periwinkle": Hidden(
        capacity_wh=18.64,
        power_w=(1.81, 2.94, 2.05, 1.86, 1.96, 3.67, 1.73, 2.33, 1.32),
        gauge=TrueGauge(rounding="truncated", counts="charge"),
        extra={"shape": CHARGE_SHAPE},
    ),
    "dunlin": Hidden(
        capacity_wh=21.88,
        power_w=(2.27, 3.80, 2.87, 2.34, 2.50, 4.64, 2.56, 2.98, 1.66),
        gauge=TrueGauge(rounding="nearest", deviation=((0, 2.6), (40, 0.9), (100, 0))),
        extra={"saver_at_pct": 10.0, "saver_cut": 0.2},
    ),
    "whelk": Hidden(
        capacity_wh=34.90,
        power_w=(3.20, 5.00, 3.77, 3.38, 3.56, 5.99, 3.31, 4.33, 2.46),
        gauge=TrueGauge(rounding="nearest", deviation=((0, 1.3), (60, 0.5), (100, 0))),
    ),
}

GAPS_MIN = {"p1": 3, "p2": 5, "p3": 14, "p4": 4, "p5": 3, "p6": 6, "p7": 5}
"""Together 40 minutes that no phase accounts for."""

OPERATOR = Operator(
    delay="walk",
    order="alternating",
    first_pass_min=2.4,
    reads_starts=("p4", "p7"),
    notes_spans="clock",
)

COLUMNS = (
    "event", "phase", "point", "device", "clock", "soc_pct", "order", "last_on", "first_off",
    "temperature_c", "part", "duration_min", "completed", "by", "evidence", "note",
)  # fmt: skip

CAMERA_START_MIN = -1.5
"""The cameras were started at 07:58:30."""

MEAL_BREAK_MIN = 270.0


def timecode(t_min: float) -> str:
    """Return the footage timecode of a moment.

    >>> timecode(60.4)
    'cam-1 01:01:54'
    """
    seconds = round((t_min - CAMERA_START_MIN) * 60.0)
    return f"cam-1 {seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


TEMPERATURES = (
    # minute, phase, device ("" = the room), °C, note
    (0, "p1", "", 20.5, "wall thermometer"),
    (140, "p2", "limpet", 35.2, "infrared thermometer, hottest spot of the back"),
    (140, "p2", "kelpfin", 33.8, ""),
    (141, "p2", "periwinkle", 37.4, ""),
    (141, "p2", "dunlin", 40.1, ""),
    (142, "p2", "whelk", 34.9, ""),
    (275, "", "", 22.0, "wall thermometer"),
    (351, "p5", "limpet", 37.0, "at the end of its turn"),
    (361, "p5", "kelpfin", 35.6, "at the end of its turn"),
    (371, "p5", "periwinkle", 39.8, "at the end of its turn"),
    (378, "p5", "dunlin", 44.6, "when the call dropped; too warm to hold comfortably"),
    (391, "p5", "whelk", 36.3, "at the end of its turn"),
    (600, "p8", "", 23.0, "wall thermometer"),
)
"""Invented: the simulator has no heat in it."""

NOTES = {
    ("turn", "p5", "dunlin", "14:11"): "the call dropped after 7 min; field guide for the rest",
    ("reading", "p6", "end", "dunlin"): "screen lock had come up; not read",
    ("reading", "p5", "end", "periwinkle"): "arm in front of the camera",
    ("power_off", "", "", "periwinkle"): "between two phases, while the chart was set up",
    ("power_off", "p8", "", "whelk"): "looked along the row every three minutes from 17:00",
}


def _seconds_of_looks(truth: Truth) -> dict[tuple[str, str, str], float]:
    ids = [d.id for d in truth.scenario.devices]
    return {(look.phase, look.point, ids[look.device]): look.t_min for look in truth.looks[0]}


def log_of(truth: Truth, rows: Sequence[Row]) -> tuple[Row, ...]:
    """Return the rows of the simulator with what people add: who, footage, notes, warmth."""
    when = _seconds_of_looks(truth)
    done: list[Row] = []
    for row in rows:
        place = (row["event"], row["phase"], row.get("point", ""), row.get("device", ""))
        added = dict(row)
        t = _minutes(row["clock"])
        if row["event"] in ("reading", "power_off", "still_on"):
            added["by"] = "Wren" if t < MEAL_BREAK_MIN else "Teal"
            seen = when.get(place[1:], t + 0.5)
            added["evidence"] = timecode(seen)
        if place == ("reading", "p5", "end", "periwinkle"):
            added["evidence"] = ""
        if place == ("reading", "p6", "end", "dunlin"):
            added["soc_pct"] = ""
        key = (*place[:2], place[3], row["clock"]) if row["event"] == "turn" else place
        added["note"] = NOTES.get(key, "")
        done.append(added)
        if place[:3] == ("reading", "p3", "end") and place[3] == "whelk":
            done.append(
                {"event": "note", "clock": "12:25", "note": "meal break, all on the home screen"}
            )
    return tuple(_with_temperatures(done))


def _minutes(clock: str) -> float:
    hours, minutes = clock.split(":")
    return (int(hours) - 8) * 60.0 + int(minutes)


def _with_temperatures(rows: Sequence[Row]) -> list[Row]:
    """Put each temperature behind the last row of its minute or before."""
    done = list(rows)
    for minute, phase, device, value, note in TEMPERATURES:
        last = max(k for k, row in enumerate(done) if _minutes(row["clock"]) <= minute)
        row = {
            "event": "temperature", "phase": phase, "device": device,
            "clock": f"{8 + minute // 60:02d}:{minute % 60:02d}",
            "temperature_c": number_text(value), "note": note,
        }  # fmt: skip
        done.insert(last + 1, row)
    return done


def scenario() -> Scenario:
    """Return the full day of five tablets as it really was."""
    toml = setup("full-day")
    return Scenario(
        id=toml["session"]["id"],
        devices=true_devices(toml, ACTIVITIES, TRUTH),
        phases=true_phases(toml, GAPS_MIN, {"dunlin": 7.0}),
        operator=OPERATOR,
        stop_min=600.0,
    )


def make() -> tuple[Truth, str]:
    """Return the truth and the text of the full day's log."""
    truth, session = simulate_day(scenario(), np.random.default_rng(20260516))
    return truth, csv_text(log_of(truth, log_rows(session)), COLUMNS)
