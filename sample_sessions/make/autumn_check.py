"""Two new tablets beside one of the full day, five months later."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from kit.simulate import (
    Operator,
    Scenario,
    TrueGauge,
    simulate_day,
)
from kit.simulate.record import csv_text, log_rows
from make import full_day
from make.hidden import Hidden, setup, true_devices, true_phases

if TYPE_CHECKING:
    from kit.simulate import Truth

__all__ = ["make", "scenario"]

DAY = 1.02
"""What that day did to every power: the content was a little livelier."""

TRUTH = {
    "limpet": replace(
        full_day.TRUTH["limpet"],
        capacity_wh=28.80,
        power_w=tuple(round(DAY * w, 2) for w in full_day.TRUTH["limpet"].power_w),
    ),
    "curlew": Hidden(
        capacity_wh=31.60,
        power_w=(3.05, 5.20, 3.98, 3.10, 3.42, 6.05, 3.46, 4.05, 2.30),
        gauge=TrueGauge(rounding="truncated"),
    ),
    "goby": Hidden(
        capacity_wh=37.40,
        power_w=(2.72, 4.70, 3.52, 2.81, 3.06, 5.50, 3.10, 3.66, 2.02),
        gauge=TrueGauge(rounding="nearest", deviation=((0, 0.5), (40, -0.7), (100, 0))),
    ),
}

GAPS_MIN = {"p1": 4, "p2": 5, "p3": 12, "p4": 4, "p5": 5, "p6": 4, "p7": 6}

COLUMNS = (
    "event", "phase", "point", "device", "clock", "soc_pct", "order", "last_on", "first_off",
    "part", "duration_min", "completed",
)  # fmt: skip


def scenario() -> Scenario:
    """Return the day of two new tablets and a known one as it really was."""
    toml = setup("autumn-check")
    return Scenario(
        id=toml["session"]["id"],
        devices=true_devices(toml, full_day.ACTIVITIES, TRUTH),
        phases=true_phases(toml, GAPS_MIN, {}),
        operator=Operator(
            delay="walk", order="alternating", reads_starts=("p4",), notes_spans="clock"
        ),
        date=toml["session"]["date"],
        stop_min=720.0,
    )


def make() -> tuple[Truth, str]:
    """Return the truth and the text of the log of the autumn check."""
    truth, session = simulate_day(scenario(), np.random.default_rng(20261010))
    return truth, csv_text(log_rows(session), COLUMNS)
