"""Make the logs of the sample sessions, and the statement of what is true in them.

    python sample_sessions/make_samples.py

Each sample's ``session.toml`` is written by hand; it names the devices and the phases. This
script adds what only the simulator knows (batteries, powers, gauges, the real minute of every
power-off), lets an operator read the row, and writes ``log.csv`` and the truth. Seeds are fixed:
running it again gives the same bytes, and a test holds that.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from kit.simulate import (
    CHARGE_SHAPE,
    Operator,
    Scenario,
    TrueDevice,
    TrueGauge,
    TruePhase,
    simulate_day,
)
from kit.simulate.record import csv_text, log_rows, moment, number_text

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from kit.simulate import Truth

HERE = Path(__file__).resolve().parent
Row = dict[str, str]


@dataclass(frozen=True, kw_only=True)
class Hidden:
    """What is true of one device and stands in no setup file."""

    capacity_wh: float
    power_w: Sequence[float]
    gauge: TrueGauge = field(default_factory=TrueGauge)
    extra: Mapping[str, Any] = field(default_factory=dict)


def setup(folder: str) -> dict[str, Any]:
    """Return the hand-written setup file of a sample."""
    return tomllib.loads((HERE / folder / "session.toml").read_text(encoding="utf-8"))


def true_devices(
    toml: Mapping[str, Any], activities: Sequence[str], truth: Mapping[str, Hidden]
) -> tuple[TrueDevice, ...]:
    """Return the devices of a setup file with what is true of them."""
    return tuple(
        TrueDevice(
            id=d["id"],
            label=d["label"],
            position=d["position"],
            capacity_wh=truth[d["id"]].capacity_wh,
            power_w=dict(zip(activities, truth[d["id"]].power_w, strict=True)),
            gauge=truth[d["id"]].gauge,
            **truth[d["id"]].extra,
        )
        for d in toml["devices"]
    )


def true_phases(
    toml: Mapping[str, Any], gaps: Mapping[str, float], short_turns: Mapping[str, float]
) -> tuple[TruePhase, ...]:
    """Return the phases of a setup file with the gaps after them and the turns broken off."""
    return tuple(
        TruePhase(
            id=p["id"],
            label=p["label"],
            activity=p.get("activity", ""),
            kind=p.get("kind", "plain"),
            length_min=p.get("planned_min"),
            gap_after_min=gaps.get(p["id"], 0.0),
            parts=tuple(p["parts"]) if "parts" in p else None,
            first_half=tuple(p.get("first_half", ())),
            turn_min=p.get("turn_min"),
            short_turns=short_turns if p.get("kind") == "rotation" else {},
        )
        for p in toml["phases"]
    )


# ------------------------------------------------------------------------------ full-day

FULL_DAY_ACTIVITIES = (
    "map", "photo", "stream", "forms", "guide", "call", "video", "sketch", "idle",
)  # fmt: skip

FULL_DAY_TRUTH = {
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

FULL_DAY_GAPS_MIN = {"p1": 3, "p2": 5, "p3": 14, "p4": 4, "p5": 3, "p6": 6, "p7": 5}
"""Together 40 minutes that no phase accounts for."""

FULL_DAY_OPERATOR = Operator(
    delay="walk",
    order="alternating",
    first_pass_min=2.4,
    reads_starts=("p4", "p7"),
    notes_spans="clock",
)

FULL_DAY_COLUMNS = (
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


FULL_DAY_TEMPERATURES = (
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

FULL_DAY_NOTES = {
    ("turn", "p5", "dunlin", "14:11"): "the call dropped after 7 min; field guide for the rest",
    ("reading", "p6", "end", "dunlin"): "screen lock had come up; not read",
    ("reading", "p5", "end", "periwinkle"): "arm in front of the camera",
    ("power_off", "", "", "periwinkle"): "between two phases, while the chart was set up",
    ("power_off", "p8", "", "whelk"): "looked along the row every three minutes from 17:00",
}


def _seconds_of_looks(truth: Truth) -> dict[tuple[str, str, str], float]:
    ids = [d.id for d in truth.scenario.devices]
    return {(look.phase, look.point, ids[look.device]): look.t_min for look in truth.looks[0]}


def full_day_log(truth: Truth, rows: Sequence[Row]) -> tuple[Row, ...]:
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
        added["note"] = FULL_DAY_NOTES.get(key, "")
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
    for minute, phase, device, value, note in FULL_DAY_TEMPERATURES:
        last = max(k for k, row in enumerate(done) if _minutes(row["clock"]) <= minute)
        row = {
            "event": "temperature", "phase": phase, "device": device,
            "clock": f"{8 + minute // 60:02d}:{minute % 60:02d}",
            "temperature_c": number_text(value), "note": note,
        }  # fmt: skip
        done.insert(last + 1, row)
    return done


def full_day_scenario() -> Scenario:
    """Return the full day of five tablets as it really was."""
    toml = setup("full-day")
    return Scenario(
        id=toml["session"]["id"],
        devices=true_devices(toml, FULL_DAY_ACTIVITIES, FULL_DAY_TRUTH),
        phases=true_phases(toml, FULL_DAY_GAPS_MIN, {"dunlin": 7.0}),
        operator=FULL_DAY_OPERATOR,
        stop_min=600.0,
    )


# -------------------------------------------------------------------------- autumn-check

AUTUMN_DAY = 1.02
"""What that day did to every power: the content was a little livelier."""

AUTUMN_TRUTH = {
    "limpet": replace(
        FULL_DAY_TRUTH["limpet"],
        capacity_wh=28.80,
        power_w=tuple(round(AUTUMN_DAY * w, 2) for w in FULL_DAY_TRUTH["limpet"].power_w),
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

AUTUMN_GAPS_MIN = {"p1": 4, "p2": 5, "p3": 12, "p4": 4, "p5": 5, "p6": 4, "p7": 6}

AUTUMN_COLUMNS = (
    "event", "phase", "point", "device", "clock", "soc_pct", "order", "last_on", "first_off",
    "part", "duration_min", "completed",
)  # fmt: skip


def autumn_check_scenario() -> Scenario:
    """Return the day of two new tablets and a known one as it really was."""
    toml = setup("autumn-check")
    return Scenario(
        id=toml["session"]["id"],
        devices=true_devices(toml, FULL_DAY_ACTIVITIES, AUTUMN_TRUTH),
        phases=true_phases(toml, AUTUMN_GAPS_MIN, {}),
        operator=Operator(
            delay="walk", order="alternating", reads_starts=("p4",), notes_spans="clock"
        ),
        date=toml["session"]["date"],
        stop_min=720.0,
    )


def make_autumn_check() -> tuple[Truth, str]:
    """Return the truth and the text of the log of the autumn check."""
    truth, session = simulate_day(autumn_check_scenario(), np.random.default_rng(20261010))
    return truth, csv_text(log_rows(session), AUTUMN_COLUMNS)


# ----------------------------------------------------------------------------- scorecard

SCORECARD_DEVICES = (
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

SCORECARD_GAPS_MIN = {"photo": 8, "lecture": 4}

SCORECARD_CHECKPOINTS = {
    ("map", "start"): "start",
    ("map", "end"): "after map",
    ("photo", "end"): "after photo",
    ("forms", "end"): "after forms",
    ("lecture", "end"): "after lecture",
}

MISSED_ON_SCORECARD = ("after forms", "Cockle 8")


def scorecard_scenario() -> Scenario:
    """Return the small day behind the scorecard as it really was."""
    return Scenario(
        id="scorecard",
        devices=SCORECARD_DEVICES,
        phases=true_phases(setup("scorecard"), SCORECARD_GAPS_MIN, {}),
        operator=Operator(pass_every_min=5.0, notes_spans="clock"),
        date=date(2026, 3, 7),
        start=time(9, 30),
        stop_min=540.0,
    )


def make_scorecard() -> tuple[Truth, str]:
    """Return the truth and the text of a table as a European spreadsheet saves it."""
    truth, session = simulate_day(scorecard_scenario(), np.random.default_rng(20260307))
    ids = [d.id for d in SCORECARD_DEVICES]
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
    for (phase, point), name in SCORECARD_CHECKPOINTS.items():
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


# ---------------------------------------------------------------------------- minute-log

MINUTE_LOG_TRUTH = {
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

MINUTE_LOG_COLUMNS = ("event", "phase", "point", "device", "elapsed_min", "soc_pct")


def minute_log_scenario() -> Scenario:
    """Return the bench session with a reading a minute as it really was."""
    toml = setup("minute-log")
    return Scenario(
        id=toml["session"]["id"],
        devices=true_devices(toml, ("camera", "notes"), MINUTE_LOG_TRUTH),
        phases=true_phases(toml, {}, {}),
        operator=Operator(
            delay_max_min=0.0, dense_every_min=1.0, pass_every_min=1.0, pass_takes_min=0.0,
            first_pass_min=0.0,
        ),
    )  # fmt: skip


def make_minute_log() -> tuple[Truth, str]:
    """Return the truth and the text of the minute log.

    Times are minutes since the start with two decimals, as a program writes them: a plain "57"
    would only say that it was in that minute.
    """
    truth, session = simulate_day(minute_log_scenario(), np.random.default_rng(20260411))
    rows = [{**row, "elapsed_min": f"{float(row['elapsed_min']):.2f}"} for row in log_rows(session)]
    return truth, csv_text(rows, MINUTE_LOG_COLUMNS)


# ---------------------------------------------------------------------------- replicates

REPLICATES_TRUTH = {
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

REPLICATES_COLUMNS = (
    "run", "event", "phase", "point", "device", "clock", "soc_pct", "last_on", "first_off",
)  # fmt: skip


def replicates_scenario() -> Scenario:
    """Return the three runs of three tablets as they really were."""
    toml = setup("replicates")
    return Scenario(
        id=toml["session"]["id"],
        devices=true_devices(toml, ("map", "stream", "film"), REPLICATES_TRUTH),
        phases=true_phases(toml, {}, {}),
        operator=Operator(pass_every_min=2.0),
        runs=3,
        run_cv=0.02,
    )


def make_replicates() -> tuple[Truth, str]:
    """Return the truth and the text of the log of three runs, each by its own clock."""
    truth, session = simulate_day(replicates_scenario(), np.random.default_rng(20260418))
    starts = {
        run["number"]: datetime.combine(run["date"], time.fromisoformat(run["start"]), tzinfo=UTC)
        for run in setup("replicates")["runs"]
    }
    by_clock = tuple(replace(run, start=starts[run.number]) for run in session.runs)
    rows = log_rows(replace(session, runs=by_clock))
    return truth, csv_text(rows, REPLICATES_COLUMNS)


# ------------------------------------------------------------------------ after-midnight

AFTER_MIDNIGHT_TRUTH = {
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

AFTER_MIDNIGHT_COLUMNS = (
    "event", "phase", "point", "device", "date", "clock", "elapsed_min", "soc_pct", "last_on",
    "first_off", "note",
)  # fmt: skip

TICKS_NOTED = {90.0, 80.0, 70.0, 60.0, 50.0, 40.0, 30.0, 20.0, 10.0, 5.0}


def after_midnight_scenario() -> Scenario:
    """Return the night of two tablets as it really was."""
    toml = setup("after-midnight")
    return Scenario(
        id=toml["session"]["id"],
        devices=true_devices(toml, ("gauge", "radio"), AFTER_MIDNIGHT_TRUTH),
        phases=true_phases(toml, {}, {}),
        operator=Operator(ticks=True, notes_spans="clock", pass_every_min=10.0),
        date=toml["session"]["date"],
        start=time(20, 0),
        timezone="Europe/London",
        stop_min=580.0,
    )


def make_after_midnight() -> tuple[Truth, str]:
    """Return the truth and the text of a log whose times are written in three ways."""
    truth, session = simulate_day(after_midnight_scenario(), np.random.default_rng(20261024))
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
    return truth, csv_text(rows, AFTER_MIDNIGHT_COLUMNS)


def _night_row(row: Row, start: datetime) -> Row:
    """Write the time of a row as the person on watch did."""
    at = moment(start, float(row["elapsed_min"]))
    if row["event"] == "tick":
        return {**row, "clock": ""}
    written = {**row, "elapsed_min": "", "date": f"{at:%Y-%m-%d}"}
    if at.hour == 1:
        written |= {"date": "", "clock": at.isoformat(timespec="minutes")}
    return written


# ------------------------------------------------------------------------------ all of them


def make_full_day() -> tuple[Truth, str]:
    """Return the truth and the text of the full day's log."""
    truth, session = simulate_day(full_day_scenario(), np.random.default_rng(20260516))
    return truth, csv_text(full_day_log(truth, log_rows(session)), FULL_DAY_COLUMNS)


README_HEAD = """\
# Sample sessions

The volunteers of the Saltmarsh tide-pool survey are choosing field tablets. Everything here is
invented: survey, people, tablets, numbers. The logs come from a simulator whose truth is known
and stated below, so that what a report says of a sample can be held against it.

- `full-day/`: five tablets through eight phases of 60 to 120 minutes, with a crossover, a rotation
  in which one turn was broken off, two power-offs too close to call, a power-off between two
  phases, a survivor, forty minutes that no phase accounts for, a stated run time that leaves
  them out, a missing reading, and an older software whose saver stayed on.
- `autumn-check/`: two new tablets beside one of the full day, five months later and in the same
  phases: to be compared with it (`rundown compare`).
- `scorecard/`: three tablets in a wide table from a spreadsheet with European settings
  (semicolons, decimal commas, CRLF line ends, byte-order mark), with a very small setup file.
- `minute-log/`: a reading a minute, with a gauge that counts charge, a power saver nobody knew
  of, and a gauge that is not straight.
- `replicates/`: three runs of two units of one model and one unit of another.
- `after-midnight/`: a night across midnight and the end of summer time, with dates, full times
  and elapsed minutes mixed, and display changes noted to the minute.

Each folder is one record: `session.toml` (written by hand) and a log. To look at one:

    rundown check sample_sessions/full-day
    rundown report sample_sessions/full-day

To make the logs, `truth/` and this page again, byte for byte:

    python sample_sessions/make_samples.py

Temperatures, notes and footage timecodes are invented beside the simulation; there is no heat in
it.

# What is true

Energy is what the tablet can use from full to power-off. Power is constant while an activity
lasts, so the true drain of a phase is power × time / energy. A gauge that *counts energy* and has
no deviation shows just that before it rounds. "Deviation" lists (level %, shown minus true in pp),
straight in between. "Charge shape" is a cell whose voltage falls as it empties: at constant power
its charge falls 8 % slower than on average when full, 13 % faster when nearly empty; a gauge that
counts charge shows it. What each device lost in each phase is in `truth/FOLDER.csv`.
"""


def _gauge_words(device: TrueDevice) -> str:
    gauge = device.gauge
    words = [{"nearest": "nearest", "truncated": "truncated", "rounded_up": "rounded up"}[
        gauge.rounding
    ]]  # fmt: skip
    if gauge.step_pct != 1.0:
        words.append(f"steps of {number_text(gauge.step_pct)} %")
    words.append(f"counts {gauge.counts}")
    if device.shape == CHARGE_SHAPE:
        words.append("charge shape")
    if gauge.deviation:
        nodes = ", ".join(f"({number_text(a)}, {number_text(b)})" for a, b in gauge.deviation)
        words.append(f"deviation {nodes}".replace("-", "−"))
    return "; ".join(words)


def _saver_words(device: TrueDevice) -> str:
    if device.saver_at_pct is None:
        return "none"
    return f"−{100 * device.saver_cut:.0f} % power from {number_text(device.saver_at_pct)} % down"


def _hours(minutes: float) -> str:
    seconds = round(minutes * 60.0)
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    return [f"| {' | '.join(line)} |" for line in (head, ["---"] * len(head), *rows)]


def _truth_section(folder: str, truth: Truth) -> str:
    devices = truth.scenario.devices
    ends: dict[str, list[str]] = {d.id: [] for d in devices}
    for device, off_min, still_on in truth.runtimes[["device", "off_min", "still_on"]].to_numpy():
        ends[device].append(_hours(off_min) + (" (after the stop)" if still_on else ""))
    activities = list(devices[0].power_w)
    lines = [f"## {folder}", ""]
    lines += _table(
        ["device", "energy (Wh)", "true runtime (h:mm:ss)", "gauge", "saver"],
        [
            [d.label or d.id, f"{d.capacity_wh:.2f}", ", ".join(ends[d.id]), _gauge_words(d),
             _saver_words(d)]
            for d in devices
        ],
    )  # fmt: skip
    lines += ["", "Power (W) in each activity:" + _between_runs(truth.scenario), ""]
    lines += _table(
        ["device", *activities],
        [[d.label or d.id, *(f"{d.power_w[a]:.2f}" for a in activities)] for d in devices],
    )
    return "\n".join(lines) + "\n"


def _between_runs(scenario: Scenario) -> str:
    if scenario.runs == 1:
        return ""
    return (
        f" (mean over runs; each run has all powers of a device times 1 + a normal deviate of "
        f"standard deviation {scenario.run_cv:.2f})"
    )


def readme(truths: Mapping[str, Truth]) -> str:
    """Return the page that describes the samples and states their truth."""
    sections = [_truth_section(folder, truth) for folder, truth in truths.items()]
    return "\n".join([README_HEAD, *sections])


SAMPLES: Mapping[str, tuple[str, Callable[[], tuple[Truth, str]]]] = {
    "full-day": ("log.csv", make_full_day),
    "autumn-check": ("log.csv", make_autumn_check),
    "scorecard": ("scorecard.csv", make_scorecard),
    "minute-log": ("log.csv", make_minute_log),
    "replicates": ("log.csv", make_replicates),
    "after-midnight": ("log.csv", make_after_midnight),
}
"""Folder → name of the log, and what makes it."""


def truth_csv(truth: Truth) -> str:
    """Return what is true of each device in each phase, as CSV.

    Columns: ``length_h`` of the phase, ``exposure_h`` (how long the device was on in it),
    ``completed`` (on until its end), charge left at its start and end (%), drain of charge and
    of the gauge before it rounds (pp), energy used (Wh).
    """
    table = truth.drains.drop(columns=["start_shown_pct", "end_shown_pct"])
    text: str = table.to_csv(index=False, float_format="%.3f", lineterminator="\n")
    return text


def make_all() -> dict[str, bytes]:
    """Return path (below this folder) → bytes of everything the script makes."""
    texts: dict[str, str] = {}
    truths: dict[str, Truth] = {}
    for folder, (log, make) in SAMPLES.items():
        truths[folder], texts[f"{folder}/{log}"] = make()
        texts[f"truth/{folder}.csv"] = truth_csv(truths[folder])
    texts["README.md"] = readme(truths)
    return {name: text.encode("utf-8") for name, text in texts.items()}


def main() -> None:
    """Write all files."""
    for name, content in make_all().items():
        path = HERE / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


if __name__ == "__main__":
    main()
