"""Writing the observations of a session as a log in its long form.

What :func:`kit.read.record.read_record` reads from the written log, with the same setup file, is
the same session, but for the lines on which things stand and for rows that were notes only (they
are findings, not observations). Times are written as finely as they were noted: by the clock, with
the date, where the start of the run is known, else as elapsed time.
"""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from kit.read.log_writer_dense import DENSE, reading_columns
from kit.read.table_schema import log_schema

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from kit.session import Run, Session

__all__ = ["log_text"]

Row = dict[str, str]
TimedRow = tuple[float, Row]

MINUTE = 1.0
SECOND = 1 / 60
READING_RANK = 1
"""Place of readings among the kinds of rows at one time; see `_rows`."""


def log_text(session: Session) -> str:
    r"""Return the log of a session as text (CSV, comma, decimal point, line ends LF).

    Columns in which nothing stands are left out.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> from kit.read.record import read_record
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder, "x.csv")
    ...     _ = path.write_text("event;device;elapsed_min;soc_pct\nreading;a;0:30;92,5\n")
    ...     print(log_text(read_record(path)[0]))
    event,run,device,elapsed_min,soc_pct
    reading,1,a,0:30,92.5
    <BLANKLINE>
    """
    if len(session.readings) >= DENSE:
        runs = {r.number: r for r in session.runs}
        columns = reading_columns(session.readings, runs, _number)
        if columns is not None:
            return _dense_text(session, columns)
    rows = sorted(_rows(session), key=lambda pair: pair[0])
    names = [n for n in log_schema().names if any(row.get(n) for _, row in rows) or n == "event"]
    stream = io.StringIO()
    writer = csv.DictWriter(stream, names, restval="", extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(row for _, row in rows)
    return stream.getvalue()


def _dense_text(session: Session, columns: Mapping[str, NDArray[np.object_]]) -> str:
    """Return the log of a session whose readings are written column by column."""
    other = list(_rows(replace(session, readings=session.readings.iloc[:0])))
    readings = session.readings
    keys = [
        readings["run"].tolist(), readings["t_min"].tolist(), [READING_RANK] * len(readings),
        readings["line"].tolist(),
    ]  # fmt: skip
    for k, column in enumerate(keys):
        column.extend(key[k] for key, _ in other)
    order = np.lexsort([np.array(k) for k in reversed(keys)])
    names = [
        n for n in log_schema().names
        if n == "event" or any(row.get(n) for _, row in other)
        or (n in columns and (columns[n] != "").any())
    ]  # fmt: skip
    blank = np.full(len(readings), "", dtype=object)
    texts = []
    for name in names:
        rest = np.array([row.get(name, "") for _, row in other], dtype=object)
        texts.append(np.concatenate([columns.get(name, blank), rest])[order].tolist())
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(names)
    writer.writerows(zip(*texts, strict=True))
    return stream.getvalue()


def _rows(session: Session) -> Iterator[tuple[tuple[int, float, int, int], Row]]:
    """Yield the rows with a key that orders them: run, time, kind, line in the file read."""
    runs = {r.number: r for r in session.runs}
    bounds = _boundaries(session.spans)
    kinds: tuple[tuple[pd.DataFrame, Callable[[Mapping[str, object], Run], list[TimedRow]]], ...]
    kinds = (
        (session.spans, _span_rows),
        (session.readings, _reading_rows),
        (session.turns, _turn_rows),
        (session.temperatures, _temperature_rows),
        (session.charges, _charge_rows),
        (session.incidents, _incident_rows),
        (session.power_offs, _off_rows),
    )
    for rank, (frame, rows_of) in enumerate(kinds):
        for said in _records(frame):
            number, line = int(str(said["run"])), int(str(said["line"]))
            for t, row in rows_of(said, runs[number]):
                place = t
                if math.isnan(t):
                    key = number, str(said.get("phase", "")), str(said.get("point", "end"))
                    place = bounds.get(key, math.inf)
                yield (number, place, rank, line), {"run": str(number), **row}


def _boundaries(spans: pd.DataFrame) -> dict[tuple[int, str, str], float]:
    """Return where in time the ends of each phase lie, for the order of rows without a time."""
    found: dict[tuple[int, str, str], float] = {}
    last = 0.0
    for said in _records(spans):
        for point in ("start", "end"):
            t = _float(said[f"{point}_min"])
            last = last if math.isnan(t) else t
            found[int(str(said["run"])), str(said["phase"]), point] = last
    return found


def _records(frame: pd.DataFrame) -> Iterator[Mapping[str, object]]:
    columns = {str(c): frame[c].tolist() for c in frame.columns}
    for values in zip(*columns.values(), strict=True):
        yield dict(zip(columns, values, strict=True))


def _float(value: object) -> float:
    return float(str(value))


def _number(value: object) -> str:
    """Return a number in its shortest form, "" for not recorded."""
    number = _float(value)
    if math.isnan(number):
        return ""
    return str(int(number)) if number == int(number) else repr(number)


def _texts(said: Mapping[str, object], *names: str) -> Row:
    return {n: str(said[n]) for n in names if said[n] != ""}


def _span_rows(said: Mapping[str, object], run: Run) -> list[TimedRow]:
    rows: list[TimedRow] = []
    for point in ("start", "end"):
        t, source = _float(said[f"{point}_min"]), said[f"{point}_source"]
        stopwatch = source == "elapsed" and point == "start" and t == 0
        if source in ("clock", "elapsed") and not stopwatch:
            when = _when(t, _float(said["t_resolution_min"]), run, by_clock=source == "clock")
            rows.append((t, {"event": f"phase_{point}", **_texts(said, "phase"), **when}))
    return rows


def _reading_rows(said: Mapping[str, object], run: Run) -> list[TimedRow]:
    t = _float(said["t_min"])
    row = {
        "event": str(said["kind"]),
        **_texts(said, "phase", "point", "device", "by", "evidence", "note"),
        **_when(t, _float(said["t_resolution_min"]), run),
        "soc_pct": _number(said["soc_pct"]),
        "order": _number(said["order"]) if said["order"] else "",
    }
    return [(t, row)]


def _turn_rows(said: Mapping[str, object], run: Run) -> list[TimedRow]:
    t = _float(said["start_min"])
    row = {
        "event": "turn",
        **_texts(said, "phase", "device", "completed", "note"),
        "part": str(said["activity"]),
        "duration_min": _number(said["duration_min"]),
        **_when(t, _finest(t), run),
    }
    return [(t, row)]


def _temperature_rows(said: Mapping[str, object], run: Run) -> list[TimedRow]:
    t = _float(said["t_min"])
    row = {
        "event": "temperature",
        **_texts(said, "phase", "device", "note"),
        "temperature_c": _number(said["temperature_c"]),
        **_when(t, _finest(t), run),
    }
    return [(t, row)]


def _charge_rows(said: Mapping[str, object], run: Run) -> list[TimedRow]:
    start, end = _float(said["start_min"]), _float(said["end_min"])
    shared, soc = _texts(said, "phase", "device"), _number(said["soc_pct"])
    note = _texts(said, "note")
    if math.isnan(end):
        when = _when(start, _finest(start), run)
        return [(start, {"event": "charge_start", **shared, "soc_pct": soc, **note, **when})]
    last = {"event": "charge_end", **shared, "soc_pct": soc, **_when(end, _finest(end), run)}
    if math.isnan(start):
        return [(end, {**last, **note})]
    first = {"event": "charge_start", **shared, **note, **_when(start, _finest(start), run)}
    return [(start, first), (end, last)]


def _incident_rows(said: Mapping[str, object], run: Run) -> list[TimedRow]:
    t = _float(said["t_min"])
    row = {
        "event": "incident",
        **_texts(said, "phase", "device", "cause", "evidence", "note"),
        **_when(t, _finest(t), run),
    }
    return [(t, row)]


def _off_rows(said: Mapping[str, object], run: Run) -> list[TimedRow]:
    still_on = bool(said["still_on"])
    resolution = _float(said["t_resolution_min"])
    t = _float(said["last_on_min"] if still_on else said["noted_min"])
    row = {
        "event": "still_on" if still_on else "power_off",
        **_texts(said, "phase", "device", "cause", "by", "evidence", "note"),
        **_when(t, resolution, run),
        "soc_pct": _number(said["soc_pct"]),
    }
    for name in () if still_on else ("last_on", "first_off"):
        limit = _float(said[f"{name}_min"])
        row[name] = _limit(limit, resolution, run)
        t = limit if math.isnan(t) else t
    return [(t, row)]


def _finest(t_min: float) -> float:
    """Return the coarsest resolution in which a time can be written exactly."""
    if math.isnan(t_min) or t_min == int(t_min):
        return MINUTE
    seconds = t_min * 60
    return SECOND if abs(seconds - round(seconds)) < 1e-6 else 0.0


def _when(t_min: float, resolution: float, run: Run, *, by_clock: bool = True) -> Row:
    """Return the cells that say a time, by the clock if that can be, else as elapsed time."""
    if math.isnan(t_min):
        return {}
    wall = _wall(t_min, resolution, run) if by_clock else None
    if wall is None:
        return {"elapsed_min": _elapsed(t_min, resolution)}
    if run.start is not None and run.start.year == 1:
        return {"clock": _clock(wall, resolution), "elapsed_min": _elapsed(t_min, resolution)}
    if _twice(wall):
        return {"clock": f"{wall:%Y-%m-%dT}{_clock(wall, resolution)}{_offset(wall)}"}
    return {"date": f"{wall:%Y-%m-%d}", "clock": _clock(wall, resolution)}


def _limit(t_min: float, resolution: float, run: Run) -> str:
    """Return a cell that says a time by itself."""
    if math.isnan(t_min):
        return ""
    wall = _wall(t_min, resolution, run)
    if wall is None:
        return _decimal(t_min, resolution)
    if run.start is not None and run.start.year == 1:
        return _clock(wall, resolution)
    offset = _offset(wall) if _twice(wall) else ""
    return f"{wall:%Y-%m-%dT}{_clock(wall, resolution)}{offset}"


def _wall(t_min: float, resolution: float, run: Run) -> datetime | None:
    """Return the wall-clock time, or ``None`` where the clock cannot say it as finely."""
    if run.start is None or _finest(t_min) < resolution or resolution not in (MINUTE, SECOND):
        return None
    seconds = timedelta(seconds=round(t_min * 60))
    if run.start.tzinfo is None:
        return run.start + seconds
    return (run.start.astimezone(UTC) + seconds).astimezone(run.start.tzinfo)


def _clock(wall: datetime, resolution: float) -> str:
    return f"{wall:%H:%M}" if resolution == MINUTE else f"{wall:%H:%M:%S}"


def _twice(wall: datetime) -> bool:
    """Whether the wall-clock time came twice that night."""
    return wall.replace(fold=0).utcoffset() != wall.replace(fold=1).utcoffset()


def _offset(wall: datetime) -> str:
    text = f"{wall:%z}"
    return f"{text[:3]}:{text[3:5]}"


def _elapsed(t_min: float, resolution: float) -> str:
    finest = _finest(t_min)
    if resolution == MINUTE and finest == MINUTE:
        hours, minutes = divmod(abs(int(t_min)), 60)
        return f"{'-' if t_min < 0 else ''}{hours}:{minutes:02d}"
    if resolution == SECOND and finest >= SECOND:
        minutes, seconds = divmod(round(abs(t_min) * 60), 60)
        hours, minutes = divmod(minutes, 60)
        return f"{'-' if t_min < 0 else ''}{hours}:{minutes:02d}:{seconds:02d}"
    return _decimal(t_min, resolution)


def _decimal(t_min: float, resolution: float) -> str:
    """Return decimal minutes with as many places as they were noted to, or as they need."""
    if math.isnan(resolution) or resolution <= 0:
        return repr(t_min)
    text = f"{t_min:.{max(0, round(-math.log10(resolution)))}f}"
    return text if float(text) == t_min else repr(t_min)
