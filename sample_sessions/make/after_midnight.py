"""A night across midnight and the end of summer time."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time
from typing import TYPE_CHECKING

import numpy as np

from kit.simulate import (
    Operator,
    Scenario,
    TrueGauge,
    simulate_day,
)
from kit.simulate.record import csv_text, log_rows, moment
from make.hidden import Hidden, Row, setup, true_devices, true_phases

if TYPE_CHECKING:
    from kit.simulate import Truth

__all__ = ["make", "scenario"]

TRUTH = {
    "dogwhelk": Hidden(
        capacity_wh=26.8,
        power_w=(3.10, 3.42),
        gauge=TrueGauge(rounding="truncated"),
    ),
    "sanderling": Hidden(
        capacity_wh=24.8,
        power_w=(2.42, 2.58),
        gauge=TrueGauge(rounding="nearest"),
    ),
}

COLUMNS = (
    "event", "phase", "point", "device", "date", "clock", "elapsed_min", "soc_pct", "last_on",
    "first_off", "note",
)  # fmt: skip

TICKS_NOTED = {90.0, 80.0, 70.0, 60.0, 50.0, 40.0, 30.0, 20.0, 10.0, 5.0}


def scenario() -> Scenario:
    """Return the night of two tablets as it really was."""
    toml = setup("after-midnight")
    return Scenario(
        id=toml["session"]["id"],
        devices=true_devices(toml, ("gauge", "radio"), TRUTH),
        phases=true_phases(toml, {}, {}),
        operator=Operator(ticks=True, notes_spans="clock", pass_every_min=10.0),
        date=toml["session"]["date"],
        start=time(20, 0),
        timezone="Europe/London",
        stop_min=580.0,
    )


def make() -> tuple[Truth, str]:
    """Return the truth and the text of a log whose times are written in three ways."""
    truth, session = simulate_day(scenario(), np.random.default_rng(20261024))
    ticks = session.readings["kind"] == "tick"
    kept = ~ticks | session.readings["soc_pct"].isin(TICKS_NOTED)
    session = replace(session, readings=session.readings[kept])
    start = session.runs[0].start
    if start is None:
        msg = "the night watch needs a start by the clock"
        raise ValueError(msg)
    zones = {moment(start, t).tzname() for t in (0.0, 580.0)}
    if len(zones) != 2:
        msg = "the clocks should have changed during the night"
        raise ValueError(msg)
    rows = [_night_row(row, start) for row in log_rows(session)]
    return truth, csv_text(rows, COLUMNS)


def _night_row(row: Row, start: datetime) -> Row:
    """Write the time of a row as the person on watch did."""
    at = moment(start, float(row["elapsed_min"]))
    if row["event"] == "tick":
        return {**row, "clock": ""}
    written = {**row, "elapsed_min": "", "date": f"{at:%Y-%m-%d}"}
    if at.hour == 1:
        written |= {"date": "", "clock": at.isoformat(timespec="minutes")}
    return written
