"""Sessions built by hand, for tests of everything that works on a `Session`.

``make_session`` is enough for nearly every test: name the devices, give the phases with their
lengths, and one list of percentages per device, the first at the very start and then one at the
end of each phase. Everything it does not mention is "not recorded". Frames come out with exactly
the columns and types of ``kit.session.FRAME_COLUMNS``.

Lines are numbered as if the observations stood in one log file, header = line 1: readings by
checkpoint (and by device within a checkpoint), then the rows of ``more_readings``, power-offs,
temperatures, charges, incidents, turns, phases. A row may bring its own ``line``.

>>> s = make_session(phases={"p1": 60, "p2": 30}, readings={"a": [100, 88, 80], "b": [100, 90]})
>>> for row in s.readings[["device", "phase", "point", "t_min", "soc_pct", "line"]].values.tolist():
...     print(*row)
a p1 start 0.0 100.0 2
b p1 start 0.0 100.0 3
a p1 end 60.0 88.0 4
b p1 end 60.0 90.0 5
a p2 end 90.0 80.0 6
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any, Literal

import pandas as pd

from kit.session import (
    FRAME_COLUMNS,
    Assumptions,
    Device,
    Phase,
    Run,
    Session,
    Source,
    empty_frames,
)

__all__ = ["BARE", "COMPLETE_CONDITIONS", "frame", "join_runs", "make_session", "seen"]

BARE = Assumptions(reading_delay_min=0.0, phase_length_u_min=0.0, gauge_error_pp=0.0)
"""Nothing but the resolution of the display."""
START = datetime(2026, 5, 16, 8, 0, tzinfo=UTC)

COMPLETE_CONDITIONS: Mapping[str, object] = {
    "network": "house Wi-Fi, 5 GHz",
    "brightness_pct": 60,
    "luminance_cd_m2": 180,
    "auto_brightness": "off",
    "notifications": "off",
    "volume": "50 %",
    "room_start_c": 21.5,
    "room_end_c": 22.0,
    "refresh_rate_hz": 60,
    "start_charge_pct": 100,
    "held_full_min": 30,
    "off_charger_min": 5,
    "power_saver": "off",
    "power_saver_threshold_pct": 20,
    "dimming": "off",
    "dimming_threshold_pct": 10,
}
"""Every condition of the setup file, filled in: nothing is missing, nothing is unusual."""


_DTYPES = {
    name: {column: str(kind) for column, kind in empty.dtypes.items()}
    for name, empty in empty_frames().items()
}


def frame(name: str, rows: Iterable[Mapping[str, Any]]) -> pd.DataFrame:
    """Return observation frame ``name`` with ``rows``; cells not given are "not recorded"."""
    rows = list(rows)
    kinds = _DTYPES[name]
    if not rows:
        return empty_frames()[name]
    defaults: dict[str, Any] = {"run": 1, "line": 0, "order": 0, "still_on": False}
    unknown = {key for row in rows for key in row} - set(kinds)
    if unknown:
        msg = f"{name} has no column {sorted(unknown)}"
        raise KeyError(msg)
    data = {}
    for column, kind in kinds.items():
        missing = defaults.get(column, float("nan") if kind == "float64" else "")
        cells = [missing if row.get(column) is None else row[column] for row in rows]
        data[column] = pd.Series(cells, dtype=kind)
    return pd.DataFrame(data)


def _phases(phases: Mapping[str, float | None] | Sequence[Phase]) -> tuple[Phase, ...]:
    if isinstance(phases, Mapping):
        return tuple(
            Phase(id=key, label=key, activity=key, planned_min=length)
            for key, length in phases.items()
        )
    return tuple(phases)


def _spans(
    phases: Sequence[Phase],
    gaps: Mapping[str, float],
    lengths: Mapping[str, float],
    source: str,
) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    t: float = 0.0
    for phase in phases:
        t += gaps.get(phase.id, 0.0)
        length = lengths.get(phase.id, phase.planned_min)
        end = float("nan") if length is None else t + length
        rows.append(
            {
                "phase": phase.id,
                "start_min": t,
                "end_min": end,
                "start_source": source if t == t else "",
                "end_source": source if end == end else "",
                "duration_min": end - t,
                "duration_u_min": 0.05 if source == "planned" else 0.41,
                "t_resolution_min": 0.0 if source == "planned" else 1.0,
                **({"line": 0} if source == "planned" else {}),
            }
        )
        t = end
    return rows


def _boundary_readings(
    phases: Sequence[Phase],
    spans: Sequence[Mapping[str, Any]],
    readings: Mapping[str, Sequence[float | None]],
    timed: bool,
) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for boundary in range(len(phases) + 1 if phases and readings else 0):
        first = boundary == 0
        span = spans[0 if first else boundary - 1]
        t = span.get("start_min" if first else "end_min")
        for place, (device, values) in enumerate(readings.items(), start=1):
            value = values[boundary] if boundary < len(values) else None
            if value is not None:
                rows.append(
                    {
                        "device": device,
                        "phase": span["phase"],
                        "point": "start" if first else "end",
                        "kind": "reading",
                        "t_min": t if timed else None,
                        "t_resolution_min": 1.0 if timed else None,
                        "soc_pct": value,
                        "order": place,
                    }
                )
    return rows


def _power_off_rows(
    power_offs: Mapping[str, float | Mapping[str, Any]], still_on: Mapping[str, float]
) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for device, value in power_offs.items():
        given = dict(value) if isinstance(value, Mapping) else {"noted_min": value}
        rows.append({"device": device, "t_resolution_min": 1.0, **given})
    rows += [
        {"device": d, "still_on": True, "noted_min": t, "last_on_min": t, "t_resolution_min": 1.0}
        for d, t in still_on.items()
    ]
    return rows


def seen(on: float, off: float) -> dict[str, float]:
    """Return a power-off between being last seen on and first seen off, in minutes."""
    return {"last_on_min": float(on), "first_off_min": float(off)}


def make_session(
    *,
    devices: Sequence[str | Device] = (),
    phases: Mapping[str, float | None] | Sequence[Phase] = (),
    readings: Mapping[str, Sequence[float | None]] | None = None,
    more_readings: Iterable[Mapping[str, Any]] = (),
    power_offs: Mapping[str, float | Mapping[str, Any]] | None = None,
    still_on: Mapping[str, float] | None = None,
    gaps: Mapping[str, float] | None = None,
    lengths: Mapping[str, float] | None = None,
    span_source: Literal["clock", "elapsed", "planned"] = "clock",
    spans: Iterable[Mapping[str, Any]] | None = None,
    timed: bool = True,
    temperatures: Iterable[Mapping[str, Any]] = (),
    charges: Iterable[Mapping[str, Any]] = (),
    incidents: Iterable[Mapping[str, Any]] = (),
    turns: Iterable[Mapping[str, Any]] = (),
    conditions: Mapping[str, object] | None = None,
    assumptions: Assumptions | None = None,
    start: datetime | None = START,
    stop_min: float | None = None,
    stated_elapsed_min: float | None = None,
    sources: Sequence[str] = ("log.csv", "session.toml"),
    **fields: Any,
) -> Session:
    """Return a `Session` of one run from a few plain numbers.

    Parameters
    ----------
    devices
        Ids or `Device` objects in row order; empty: the keys of ``readings``.
    phases
        ``{id: planned minutes or None}`` (label and activity = id), or `Phase` objects.
    readings
        Per device the percentages at the start of the first phase and at the end of each phase;
        ``None`` or a short list = no reading there.
    more_readings
        Rows of the frame ``readings`` beyond those: ticks, readings inside a phase, start
        readings, … (``{"device": "a", "phase": "p2", "point": "start", "soc_pct": 71}``).
    power_offs
        ``{device: minute noted off}``, or a mapping of columns of the frame ``power_offs``.
    still_on
        ``{device: minute at which it was last seen on}`` for devices on at the stop.
    gaps
        ``{phase id: minutes between the end of the phase before and its start}``.
    lengths
        ``{phase id: actual minutes}`` where they differ from the planned ones.
    span_source
        How the ends of the phases were noted; ``"planned"``: not at all, the plan is used.
    spans
        Rows that replace the computed ones altogether.
    timed
        ``False``: the readings carry no time.
    conditions
        ``None`` = none recorded; see ``COMPLETE_CONDITIONS``.
    **fields
        Further fields of `Session` (``mixes=…``, ``declared_comparison=…``, ``form=…``).
    """
    readings = readings or {}
    rows_phases = _phases(phases)
    row = tuple(
        d if isinstance(d, Device) else Device(id=d, label=d, position=i)
        for i, d in enumerate(devices or tuple(readings), start=1)
    )
    tables: dict[str, list[dict[str, Any]]] = {}
    span_rows = (
        [dict(s) for s in spans]
        if spans is not None
        else _spans(rows_phases, gaps or {}, lengths or {}, span_source)
    )
    tables["readings"] = [
        *_boundary_readings(rows_phases, span_rows, readings, timed),
        *({"kind": "reading", "t_resolution_min": 1.0, **r} for r in more_readings),
    ]
    tables["power_offs"] = _power_off_rows(power_offs or {}, still_on or {})
    tables["temperatures"] = [dict(r) for r in temperatures]
    tables["charges"] = [dict(r) for r in charges]
    tables["incidents"] = [dict(r) for r in incidents]
    tables["turns"] = [dict(r) for r in turns]
    tables["spans"] = span_rows
    line = 2
    for rows in tables.values():
        for record in rows:
            record.setdefault("line", line)
            line += 1
    return Session(
        **{
            "id": "test-session",
            "title": "Test session",
            "date": date(2026, 5, 16),
            "devices": row,
            "phases": rows_phases,
            "runs": (
                Run(
                    number=1,
                    start=start,
                    stop_min=stop_min,
                    stated_elapsed_min=stated_elapsed_min,
                ),
            ),
            "conditions": dict(conditions or {}),
            "assumptions": assumptions or Assumptions(),
            "sources": tuple(Source(name=n, sha256="0" * 64, size=0) for n in sources),
            **{name: frame(name, rows) for name, rows in tables.items()},
            **fields,
        }
    )


def join_runs(*sessions: Session) -> Session:
    """Return one session whose runs 1, 2, … are the single runs of ``sessions``.

    Devices, phases, conditions and sources are those of the first; lines are kept as they are.
    """
    frames = {
        name: pd.concat(
            [getattr(s, name).assign(run=number) for number, s in enumerate(sessions, start=1)],
            ignore_index=True,
        )
        for name in FRAME_COLUMNS
    }
    runs = tuple(replace(s.runs[0], number=n) for n, s in enumerate(sessions, start=1))
    return replace(sessions[0], runs=runs, **frames)
