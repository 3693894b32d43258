"""A bench session with a reading a minute."""

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
from kit.simulate.record import csv_text, log_rows
from make.hidden import Hidden, setup, true_devices, true_phases

if TYPE_CHECKING:
    from kit.simulate import Truth

__all__ = ["make", "scenario"]

TRUTH = {
    "turnstone": Hidden(
        capacity_wh=31.2,
        power_w=(5.60, 3.30),
        gauge=TrueGauge(rounding="nearest", counts="charge"),
        extra={"shape": CHARGE_SHAPE},
    ),
    "cockle": Hidden(
        capacity_wh=19.7,
        power_w=(3.45, 2.02),
        gauge=TrueGauge(rounding="truncated"),
        extra={"saver_at_pct": 20.0, "saver_cut": 0.25},
    ),
    "razorshell": Hidden(
        capacity_wh=36.6,
        power_w=(6.10, 3.80),
        gauge=TrueGauge(rounding="rounded_up", deviation=((0, 0), (35, 1.5), (75, -1.5), (100, 0))),
    ),
}

COLUMNS = ("event", "phase", "point", "device", "elapsed_min", "soc_pct")


def scenario() -> Scenario:
    """Return the bench session with a reading a minute as it really was."""
    toml = setup("minute-log")
    return Scenario(
        id=toml["session"]["id"],
        devices=true_devices(toml, ("camera", "notes"), TRUTH),
        phases=true_phases(toml, {}, {}),
        operator=Operator(
            delay_max_min=0.0, dense_every_min=1.0, pass_every_min=1.0, pass_takes_min=0.0,
            first_pass_min=0.0,
        ),
    )  # fmt: skip


def make() -> tuple[Truth, str]:
    """Return the truth and the text of the minute log.

    Times are minutes since the start with two decimals, as a program writes them: a plain "57"
    would only say that it was in that minute.
    """
    truth, session = simulate_day(scenario(), np.random.default_rng(20260411))
    rows = [{**row, "elapsed_min": f"{float(row['elapsed_min']):.2f}"} for row in log_rows(session)]
    return truth, csv_text(rows, COLUMNS)
