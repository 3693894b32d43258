"""A simulated day: from a scenario to the truth and to the session that was noted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from kit.session import FRAME_COLUMNS, Assumptions, Device, Phase, Run, Session, empty_frames
from kit.simulate.observe import (
    dense_looks,
    looks,
    noted_end,
    noted_minute,
    off_seen,
    slipped,
    tick_times,
)
from kit.simulate.timeline import run_truth

if TYPE_CHECKING:
    from kit.simulate.observe import Look, Seen
    from kit.simulate.scenario import Operator, Scenario, TrueDevice, TruePhase
    from kit.simulate.timeline import RunTruth

__all__ = ["TRUTH_COLUMNS", "Truth", "simulate_day"]

TIMER_U_MIN = 0.05
"""Standard uncertainty of a phase's length kept by a timer (min)."""
CLOCK_U_MIN = (2.0 / 12.0) ** 0.5
"""Of a length between two minutes read from a clock (min)."""
PROGRAM_STEP_MIN = 0.01
"""To which a program that keeps a dense log notes its times (min)."""

TRUTH_COLUMNS: dict[str, tuple[str, ...]] = {
    # completed: on until the end of the phase; exposure_h: how long it was on in the phase
    "drains": (
        "run", "phase", "device", "length_h", "exposure_h", "completed", "start_charge_pct",
        "end_charge_pct", "charge_drain_pp", "start_shown_pct", "end_shown_pct",
        "shown_drain_pp", "energy_wh",
    ),
    "runtimes": ("run", "device", "off_min", "still_on"),
    "parts": ("run", "phase", "device", "part", "exposure_h", "charge_drain_pp", "completed"),
}  # fmt: skip
"""Columns of the frames of a `Truth`. Percentages are not rounded."""


@dataclass(frozen=True, kw_only=True)
class Truth:
    """What really happened.

    Parameters
    ----------
    drains
        One row per run, phase and device: drain of true charge and of the gauge before it rounds,
        between the real start and end of the phase (or the power-off, if that came first).
    runtimes
        One row per run and device: true power-off (min since start), also for a device that was
        still on at the stop.
    parts
        One row per stretch of one activity in crossover and rotation phases.
    runs
        Tracks and times behind the frames, for questions at any moment:
        ``truth.runs[0].tracks[k].charge_pct(t_min)``.
    looks
        Per run the readings at the boundaries with their true times.
    """

    scenario: Scenario
    drains: pd.DataFrame
    runtimes: pd.DataFrame
    parts: pd.DataFrame
    runs: tuple[RunTruth, ...]
    looks: tuple[tuple[Look, ...], ...]


def simulate_day(scenario: Scenario, rng: np.random.Generator) -> tuple[Truth, Session]:
    """Return the truth of a scenario and the session its operator noted.

    Parameters
    ----------
    scenario
        Devices, phases, operator.
    rng
        Source of all chance; the same state gives the same day.

    Returns
    -------
    Truth, Session
        The session has no source files (``sources`` is empty). It knows of the gauges only what
        is declared: by default nothing, as in most records.

    Examples
    --------
    A device drawing 3 W from 30 Wh loses 10 pp in an hour and runs 10 h.

    >>> from kit.simulate import Operator, Scenario, TrueDevice, TruePhase
    >>> day = Scenario(id="x", devices=(TrueDevice(id="a", capacity_wh=30, power_w={"map": 3}),),
    ...                phases=(TruePhase(id="p1", activity="map"),),
    ...                operator=Operator(delay_max_min=0.0))
    >>> truth, session = simulate_day(day, np.random.default_rng(1))
    >>> truth.drains.charge_drain_pp.round(6).tolist(), truth.runtimes.off_min.round(6).tolist()
    ([10.0], [600.0])
    >>> session.readings.soc_pct.tolist()
    [100.0, 90.0]
    """
    rows: dict[str, list[tuple[object, ...]]] = {name: [] for name in FRAME_COLUMNS}
    dense: list[pd.DataFrame] = []
    runs: list[RunTruth] = []
    reads: list[tuple[Look, ...]] = []
    for number in range(1, scenario.runs + 1):
        run = run_truth(scenario, number, rng)
        read = looks(scenario, run, rng)
        seen = off_seen(scenario, run, rng, read)
        rows["readings"] += _reading_rows(scenario, run, read, rng)
        rows["power_offs"] += _off_rows(scenario, run, seen, rng)
        rows["spans"] += _span_rows(scenario, run)
        rows["turns"] += _turn_rows(scenario, run)
        dense += _dense_frames(scenario, run)
        runs.append(run)
        reads.append(read)
    frames = {name: _frame(name, rows[name]) for name in FRAME_COLUMNS}
    if dense:
        joined = pd.concat([frames["readings"], *dense], ignore_index=True)
        joined = joined.astype(_DTYPES["readings"])
        frames["readings"] = joined.sort_values(["run", "t_min"], kind="stable", ignore_index=True)
    return _truth(scenario, tuple(runs), tuple(reads)), _session(scenario, runs, frames)


_EMPTY = empty_frames()
_DTYPES = {name: dict(frame.dtypes) for name, frame in _EMPTY.items()}


def _frame(name: str, rows: list[tuple[object, ...]]) -> pd.DataFrame:
    if not rows:
        return _EMPTY[name].copy()
    columns = zip(*rows, strict=True)
    return pd.DataFrame(
        {
            c: pd.Series(values, dtype=_DTYPES[name][c])
            for c, values in zip(FRAME_COLUMNS[name], columns, strict=True)
        }
    )


def _reading_rows(
    scenario: Scenario, run: RunTruth, read: tuple[Look, ...], rng: np.random.Generator
) -> list[tuple[object, ...]]:
    times = np.array([look.t_min for look in read])
    by_program = scenario.operator.dense_every_min is not None
    minutes = (
        times
        if by_program
        else slipped(scenario.operator, noted_minute(scenario.operator, run, times), rng)
    )
    step = PROGRAM_STEP_MIN if by_program else 1.0
    ids = [d.id for d in scenario.devices]
    return [
        (
            run.number, ids[look.device], look.phase, look.point, "reading", minute, step,
            look.soc_pct, look.order, "", "", "", 0,
        )
        for look, minute in zip(read, minutes.tolist(), strict=True)
    ]  # fmt: skip


def _phase_at(scenario: Scenario, run: RunTruth, t_min: float) -> str:
    for phase, start, end in zip(scenario.phases, run.starts_min, run.ends_min, strict=True):
        if start <= t_min < end:
            return phase.id
    return ""


def _off_rows(
    scenario: Scenario, run: RunTruth, seen: tuple[Seen | None, ...], rng: np.random.Generator
) -> list[tuple[object, ...]]:
    operator = scenario.operator
    stop = float(noted_minute(operator, run, run.stop_min))
    rows: list[tuple[object, ...]] = []
    for device, track, end in zip(scenario.devices, run.tracks, seen, strict=True):
        if end is None:
            at = stop
            soc = float(track.display(run.stop_min))
            rows.append(
                (run.number, device.id, scenario.phases[-1].id, True, np.nan, at, np.nan, 1.0, soc,
                 "", "", "", "", 0)
            )  # fmt: skip
            continue
        looks_at = np.array([end.last_on_min, end.first_off_min])
        right = noted_minute(operator, run, looks_at)
        last_on, first_off = noted_end(operator, right, stop, rng)
        if operator.notes_off == "first_off":
            last_on = np.nan
        rows.append(
            (run.number, device.id, _phase_at(scenario, run, track.off_min), False, first_off,
             last_on, first_off, 1.0, end.soc_pct, "", "", "", "", 0)
        )  # fmt: skip
    return rows


def _span_rows(scenario: Scenario, run: RunTruth) -> list[tuple[object, ...]]:
    operator = scenario.operator
    rows: list[tuple[object, ...]] = []
    t = 0.0
    for phase, start, end in zip(scenario.phases, run.starts_min, run.ends_min, strict=True):
        if operator.notes_spans == "timer" and phase.length_min is not None:
            row = (
                t,
                t + phase.length_min,
                "planned",
                "planned",
                phase.length_min,
                TIMER_U_MIN,
                0.0,
            )
            t += phase.length_min
        else:
            begin, finish = (float(noted_minute(operator, run, v)) for v in (start, end))
            row = (begin, finish, "clock", "clock", finish - begin, CLOCK_U_MIN, 1.0)
        rows.append((run.number, phase.id, *row, 0))
    return rows


def _turn_rows(scenario: Scenario, run: RunTruth) -> list[tuple[object, ...]]:
    """Return the turns as noted: both halves of a crossover, the one turn of a rotation."""
    operator = scenario.operator
    kinds = {phase.id: phase for phase in scenario.phases}
    off = {t.device.id: t.off_min for t in run.tracks}
    rows: list[tuple[object, ...]] = []
    for turn in sorted(run.turns, key=lambda turn: turn.start_min):
        parts = kinds[turn.phase].parts
        if kinds[turn.phase].kind == "rotation" and parts and turn.activity != parts[0]:
            continue
        begin = float(noted_minute(operator, run, turn.start_min))
        if off[turn.device] <= turn.start_min:
            length, completed, finish = 0.0, "no", begin
        elif off[turn.device] < turn.end_min:
            finish = float(noted_minute(operator, run, off[turn.device]))
            length, completed = finish - begin, "partly"
        else:
            finish = float(noted_minute(operator, run, turn.end_min))
            length = turn.end_min - turn.start_min
            completed = "partly" if turn.device in kinds[turn.phase].short_turns else "yes"
        rows.append(
            (run.number, turn.phase, turn.device, turn.activity, begin, finish, length, completed,
             "", 0)
        )  # fmt: skip
    return rows


def _dense_frames(scenario: Scenario, run: RunTruth) -> list[pd.DataFrame]:
    operator = scenario.operator
    parts: list[tuple[str, str, np.ndarray, np.ndarray]] = []
    times, shown = dense_looks(scenario, run)
    for device, values in zip(scenario.devices, shown, strict=True):
        on = ~np.isnan(values)
        if on.any():
            parts.append((device.id, "reading", times[on], values[on]))
    if operator.ticks:
        for k, device in enumerate(scenario.devices):
            at, to = tick_times(run, k)
            parts.append((device.id, "tick", noted_minute(operator, run, at), to))
    edges = np.array(run.starts_min)
    ends = np.array(run.ends_min)
    names = np.array([p.id for p in scenario.phases], dtype=object)
    frames: list[pd.DataFrame] = []
    for device_id, kind, at, values in parts:
        inside = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, len(names) - 1)
        phase = np.where(at < ends[inside], names[inside], "")
        frames.append(
            pd.DataFrame(
                {
                    "run": run.number,
                    "device": device_id,
                    "phase": phase,
                    "point": np.where(phase == "", "", "inside"),
                    "kind": kind,
                    "t_min": at,
                    "t_resolution_min": PROGRAM_STEP_MIN if kind == "reading" else 1.0,
                    "soc_pct": values,
                    "order": 0,
                    "by": "",
                    "evidence": "",
                    "note": "",
                    "line": 0,
                }
            )
        )
    return frames


def _session_device(device: TrueDevice, place: int) -> Device:
    return Device(
        id=device.id,
        label=device.label or device.id,
        model=device.model,
        position=device.position or place,
        **device.declared,
    )


def _session_phase(phase: TruePhase) -> Phase:
    return Phase(
        id=phase.id,
        label=phase.label or phase.id,
        activity=phase.activity,
        kind=phase.kind,
        planned_min=phase.length_min,
        parts=phase.parts,
        first_half=phase.first_half,
        turn_min=phase.turn_min,
    )


def _session(scenario: Scenario, runs: list[RunTruth], frames: dict[str, pd.DataFrame]) -> Session:
    zone = ZoneInfo(scenario.timezone) if scenario.timezone else UTC
    start = datetime.combine(scenario.date, scenario.start, tzinfo=zone)
    operator: Operator = scenario.operator
    return Session(
        id=scenario.id,
        title=scenario.title or scenario.id,
        date=scenario.date,
        timezone=scenario.timezone,
        devices=tuple(_session_device(d, k) for k, d in enumerate(scenario.devices, start=1)),
        phases=tuple(_session_phase(p) for p in scenario.phases),
        runs=tuple(
            Run(
                number=r.number,
                start=start,
                stop_min=float(noted_minute(operator, r, r.stop_min)),
            )
            for r in runs
        ),
        conditions=scenario.conditions,
        mixes=scenario.mixes,
        assumptions=scenario.assumptions or Assumptions(),
        declared_comparison=scenario.declared_comparison,
        readings=frames["readings"],
        power_offs=frames["power_offs"],
        spans=frames["spans"],
        temperatures=frames["temperatures"],
        charges=frames["charges"],
        incidents=frames["incidents"],
        turns=frames["turns"],
    )


def _truth(
    scenario: Scenario, runs: tuple[RunTruth, ...], reads: tuple[tuple[Look, ...], ...]
) -> Truth:
    drains: list[tuple[object, ...]] = []
    offs: list[tuple[object, ...]] = []
    parts: list[tuple[object, ...]] = []
    n = len(scenario.devices)
    for run in runs:
        starts, ends = np.array(run.starts_min), np.array(run.ends_min)
        charge = [t.charge_pct(np.concatenate([starts, ends])) for t in run.tracks]
        shown = [t.shown_pct(np.concatenate([starts, ends])) for t in run.tracks]
        energy = [
            (t.energy_pct(starts) - t.energy_pct(ends)) * t.device.capacity_wh / 100.0
            for t in run.tracks
        ]
        for p, phase in enumerate(scenario.phases):
            for k in range(n):
                c0, c1 = charge[k][p], charge[k][p + len(starts)]
                s0, s1 = shown[k][p], shown[k][p + len(starts)]
                off = run.tracks[k].off_min
                on = min(max(off - starts[p], 0.0), ends[p] - starts[p]) / 60.0
                drains.append(
                    (run.number, phase.id, scenario.devices[k].id, (ends[p] - starts[p]) / 60.0,
                     on, bool(off >= ends[p]), c0, c1, c0 - c1, s0, s1, s0 - s1, energy[k][p])
                )  # fmt: skip
        offs += [
            (run.number, t.device.id, t.off_min, bool(t.off_min >= run.stop_min))
            for t in run.tracks
        ]
        by_id = {t.device.id: t for t in run.tracks}
        for turn in run.turns:
            track = by_id[turn.device]
            finish = min(turn.end_min, max(track.off_min, turn.start_min))
            c0, c1 = track.charge_pct([turn.start_min, finish])
            parts.append(
                (run.number, turn.phase, turn.device, turn.activity,
                 (finish - turn.start_min) / 60.0, c0 - c1, bool(finish == turn.end_min))
            )  # fmt: skip
    return Truth(
        scenario=scenario,
        drains=pd.DataFrame(drains, columns=list(TRUTH_COLUMNS["drains"])),
        runtimes=pd.DataFrame(offs, columns=list(TRUTH_COLUMNS["runtimes"])),
        parts=pd.DataFrame(parts, columns=list(TRUTH_COLUMNS["parts"])),
        runs=runs,
        looks=reads,
    )
