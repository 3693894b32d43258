"""Three runs of two units of one model and one unit of another."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time
from typing import TYPE_CHECKING

import numpy as np

from kit.simulate import (
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
    "barnacle-a": Hidden(
        capacity_wh=29.4,
        power_w=(3.00, 3.75, 5.75),
        gauge=TrueGauge(rounding="nearest"),
    ),
    "barnacle-b": Hidden(
        capacity_wh=28.6,
        power_w=(2.97, 3.72, 5.79),
        gauge=TrueGauge(rounding="nearest", deviation=((0, 1.1), (50, 0.7), (100, 0))),
    ),
    "turnstone": Hidden(
        capacity_wh=31.2,
        power_w=(3.10, 3.60, 5.60),
        gauge=TrueGauge(rounding="rounded_up"),
    ),
}

COLUMNS = (
    "run", "event", "phase", "point", "device", "clock", "soc_pct", "last_on", "first_off",
)  # fmt: skip


def scenario() -> Scenario:
    """Return the three runs of three tablets as they really were."""
    toml = setup("replicates")
    return Scenario(
        id=toml["session"]["id"],
        devices=true_devices(toml, ("map", "stream", "film"), TRUTH),
        phases=true_phases(toml, {}, {}),
        operator=Operator(pass_every_min=2.0),
        runs=3,
        run_cv=0.02,
    )


def make() -> tuple[Truth, str]:
    """Return the truth and the text of the log of three runs, each by its own clock."""
    truth, session = simulate_day(scenario(), np.random.default_rng(20260418))
    starts = {
        run["number"]: datetime.combine(run["date"], time.fromisoformat(run["start"]), tzinfo=UTC)
        for run in setup("replicates")["runs"]
    }
    by_clock = tuple(replace(run, start=starts[run.number]) for run in session.runs)
    rows = log_rows(replace(session, runs=by_clock))
    return truth, csv_text(rows, COLUMNS)
