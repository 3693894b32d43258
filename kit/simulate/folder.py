"""A session as a record: the setup file and the log that `rundown check` and `report` read."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.errors import UsageError
from kit.importing.setup_text import toml_string
from kit.session import Assumptions, Device, Gauge, Phase
from kit.simulate.record import csv_text, log_rows, moment

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from kit.session import Session

__all__ = ["record_files", "write_record"]

Times = Literal["clock", "elapsed"]

_COLUMNS = (
    "event", "phase", "point", "device", "clock", "elapsed_min", "soc_pct", "order", "last_on",
    "first_off", "part", "duration_min", "completed",
)  # fmt: skip


def record_files(session: Session, *, times: Times = "clock") -> dict[str, str]:
    """Return the files of a record: name → text.

    Parameters
    ----------
    session
        From `kit.simulate.simulate_day`. Its runs must have a start by the clock.
    times
        ``clock``: as a person notes them, ``HH:MM``. ``elapsed``: minutes since the start, with
        decimals where there are any, as of a program that keeps a dense log.

    Returns
    -------
    dict
        ``session.toml`` and ``log.csv``, docs/record-format.md.

    Raises
    ------
    ValueError
        If a run has no start by the clock.

    Examples
    --------
    >>> import numpy as np
    >>> from kit.simulate import Operator, Scenario, TrueDevice, TruePhase, simulate_day
    >>> day = Scenario(id="x", devices=(TrueDevice(id="a", capacity_wh=30, power_w={"map": 3}),),
    ...                phases=(TruePhase(id="p1", activity="map"),),
    ...                operator=Operator(delay_max_min=0.0))
    >>> files = record_files(simulate_day(day, np.random.default_rng(1))[1])
    >>> print(files["log.csv"])
    event,phase,point,device,clock,soc_pct,order
    phase_start,p1,,,08:00,,
    reading,p1,start,a,08:00,100,1
    phase_end,p1,,,09:00,,
    reading,p1,end,a,09:00,90,1
    still_on,p1,,a,09:00,90,
    <BLANKLINE>
    """
    rows = log_rows(session)
    if times == "elapsed":
        rows = tuple(
            {**row, **{end: row.get(f"{end}_min", "") for end in ("last_on", "first_off")}}
            for row in rows
        )
    unused = "clock" if times == "elapsed" else "elapsed_min"
    columns = [c for c in ("run", *_COLUMNS) if c != unused and any(row.get(c) for row in rows)]
    return {
        "session.toml": "\n".join(_setup_lines(session)) + "\n",
        "log.csv": csv_text(rows, columns),
    }


def write_record(session: Session, folder: str | Path, *, times: Times = "clock") -> Path:
    """Write a session as a record and return its folder.

    Parameters
    ----------
    session, times
        As for `record_files`.
    folder
        Made if there is none; it must hold no record yet.

    Raises
    ------
    ValueError
        If a run has no start by the clock.
    UsageError
        If the folder holds a record.
    """
    files = record_files(session, times=times)
    target = Path(folder)
    there = [name for name in files if (target / name).exists()]
    if there:
        msg = f"{target} has a {there[0]}; nothing was written. Name another folder."
        raise UsageError(msg)
    target.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (target / name).write_text(text, encoding="utf-8", newline="")
    return target


def _value(value: object) -> str:
    """Return a value as TOML."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return f"{value!r}"
    if isinstance(value, (tuple, list)):
        return f"[{', '.join(_value(v) for v in value)}]"
    return toml_string(str(value))


def _key(name: str) -> str:
    return name if name.isascii() and name.replace("_", "").isalnum() else toml_string(name)


def _lines(pairs: Iterable[tuple[str, object]]) -> Iterator[str]:
    for name, value in pairs:
        yield f"{_key(name)} = {_value(value)}"


def _stated(thing: object, standard: object, *, leave_out: tuple[str, ...]) -> dict[str, object]:
    """Return the fields of a dataclass that say something other than its standard."""
    pairs = {f.name: getattr(thing, f.name) for f in fields(thing)}  # type: ignore[arg-type]  # dataclass
    return {
        name: value
        for name, value in pairs.items()
        if name not in leave_out and value is not None and value != getattr(standard, name)
    }


def _table(head: str, values: Mapping[str, object]) -> Iterator[str]:
    if values:
        yield from ("", head, *_lines(values.items()))


def _setup_lines(session: Session) -> Iterator[str]:
    yield "[session]"
    named = {
        "id": session.id, "title": session.title,
        "date": session.date.isoformat() if session.date else "", "timezone": session.timezone,
    }  # fmt: skip
    yield from _lines((name, value) for name, value in named.items() if value)
    runs = [_run_times(session, k) for k in range(len(session.runs))]
    if len(runs) == 1:
        yield from _lines(runs[0].items())
    else:
        for run, said in zip(session.runs, runs, strict=True):
            yield from _table("[[runs]]", {"number": run.number, **said})
    yield from _table("[conditions]", session.conditions)
    given = _stated(session.assumptions, Assumptions(), leave_out=("stated",))
    yield from _table("[assumptions]", given)
    if session.declared_comparison:
        yield from _table("[claims]", {"declared_comparison": session.declared_comparison})
    for name, mix in session.mixes.items():
        yield from _table(f"[mixes.{_key(name)}]", mix)
    for device in session.devices:
        yield from _device_lines(device)
    for phase in session.phases:
        yield from _phase_lines(phase)


def _run_times(session: Session, place: int) -> dict[str, object]:
    """Return start and stop of a run by the clock."""
    run = session.runs[place]
    if run.start is None:
        msg = f"run {run.number} has no start by the clock"
        raise ValueError(msg)
    said = {"start": f"{run.start:%H:%M}"}
    if run.stop_min is not None:
        said["stop"] = f"{moment(run.start, run.stop_min):%H:%M}"
    return dict(said)


def _device_lines(device: Device) -> Iterator[str]:
    standard = Device(id=device.id, label=device.id)
    simple = _stated(device, standard, leave_out=("id", "gauge", "conditions"))
    yield from _table("[[devices]]", {"id": device.id, **simple})
    yield from _table("[devices.gauge]", _stated(device.gauge, Gauge(), leave_out=()))
    yield from _table("[devices.conditions]", device.conditions)


def _phase_lines(phase: Phase) -> Iterator[str]:
    standard = Phase(id=phase.id, label=phase.id)
    simple = _stated(phase, standard, leave_out=("id", "planned_turns", "start_read_after_min"))
    yield from _table("[[phases]]", {"id": phase.id, **simple})
