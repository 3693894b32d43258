"""A log that one device kept of itself: a time and a percentage in every row.

Times become seconds on one axis: of the wall clock, of UTC where the file says instants (an offset,
or seconds since 1970), or since the start. What the device's own clock was ahead is taken off.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from kit.importing.dense import distinct
from kit.importing.grid import column_letters, tell
from kit.importing.part import Part
from kit.importing.readings import Readings
from kit.importing.sheet_dates import SheetDates
from kit.importing.time_column import EPOCH_DAY, TimeReader
from kit.importing.times import DAY_S
from kit.read.cells import quoted
from kit.read.clock import parse_times

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from kit.importing.dense import Distinct
    from kit.importing.layout import Table
    from kit.importing.mapping import Decisions, DeviceChoice

__all__ = ["DeviceLog", "is_whole", "read_device_log"]

Axis = Literal["utc", "local", "day", "elapsed"]

BACK_S = 6 * 3600
"""A step back of more than this in times without a date is midnight (as in `kit.read.timeline`)."""


@dataclass(frozen=True, kw_only=True)
class DeviceLog:
    """The log of one device.

    Parameters
    ----------
    part
        What was understood of the sheet; it has no columns of its own.
    rows
        Rows of the grid, shape (n,).
    axis
        ``utc`` and ``local``: seconds since 1970 of UTC or of the wall clock; ``day``: of a day
        without date, going on after midnight; ``elapsed``: since the start.
    seconds
        Times, shape (n,).
    to_second
        Whether seconds were noted.
    soc
        Percentages as a log writes them, shape (n,).
    """

    part: Part
    device: str
    rows: NDArray[np.intp]
    axis: Axis
    seconds: NDArray[np.float64]
    to_second: bool
    soc: NDArray[np.object_]


@dataclass(frozen=True)
class _Stamps:
    """Times of one column, one for each row; NaN for a part that a cell does not have."""

    second: NDArray[np.float64]
    day: NDArray[np.float64]
    offset: NDArray[np.float64]
    span: NDArray[np.bool_]
    to_second: bool

    def where(self, kept: NDArray[np.bool_]) -> _Stamps:
        return _Stamps(
            self.second[kept], self.day[kept], self.offset[kept], self.span[kept], self.to_second
        )


def read_device_log(table: Table, decisions: Decisions, device: str) -> DeviceLog:
    """Read the log of a device.

    Parameters
    ----------
    device
        Id of the device.
    """
    grid = table.grid
    part = Part(grid, table.shape, "long", devices=[device])
    roles: dict[str, int] = {}
    for c, heading in enumerate(table.headings):
        if heading.role in ("percent", "clock", "time", "elapsed", "date"):
            roles.setdefault(heading.role, c)
        elif heading.text:
            part.aside.append(f"heading {quoted(heading.text)} (column {column_letters(c)})")
    percent = roles["percent"]
    role = _time_role(roles) or "time"
    rows = [
        r for r in range(table.header_row + 1, len(grid.rows))
        if grid.rows[r][percent] != "" or grid.rows[r][roles[role]] != ""
    ]  # fmt: skip
    dates = SheetDates(table, decisions)
    column = distinct(grid, rows, percent)
    readings = Readings(grid, column.places, decisions)
    texts = [t if t[:1].isdigit() else "" for t in map(readings.text, column.places)]
    soc = column.spread(texts)
    times = TimeReader(grid, decisions, dates.order)
    stamps = _stamps(
        distinct(grid, rows, roles[role]), times, role, table.headings[roles[role]].unit
    )
    days = _dates(table, rows, roles.get("date"), dates)
    stamps = _Stamps(
        stamps.second, np.where(np.isnan(stamps.day), days, stamps.day), stamps.offset,
        stamps.span, stamps.to_second,
    )  # fmt: skip
    kept = (soc != "") & np.isfinite(stamps.second)
    left = int(np.sum(~kept))
    if left:
        part.aside.append(f"{left} rows without a time or a percentage")
    choice = decisions.devices.get(device)
    axis, seconds = _on_axis(stamps.where(kept), choice, decisions, part, times)
    part.findings += [*dates.findings, *times.findings, *readings.findings]
    part.title = dates.title
    part.aside += dates.aside
    _facts(part, device, choice, axis, seconds, readings, column_letters(roles[role]), dates)
    return DeviceLog(
        part=part,
        device=device,
        rows=np.array(rows, dtype=np.intp)[kept],
        axis=axis,
        seconds=seconds,
        to_second=stamps.to_second or bool((stamps.second[kept] % 60 != 0).any()),
        soc=soc[kept],
    )


def _time_role(roles: Mapping[str, int]) -> str:
    """Return which column of times a log has; "" if none."""
    return next((r for r in ("time", "clock", "elapsed") if r in roles), "")


def is_whole(table: Table) -> bool:
    """Whether a table has the columns of a log: times, and percentages."""
    roles = {h.role: c for c, h in enumerate(table.headings)}
    return "percent" in roles and bool(_time_role(roles))


def _stamps(column: Distinct, times: TimeReader, role: str, unit: str) -> _Stamps:
    """Read a column of times, at one go where all its cells are of one kind."""
    fast = _fast(column, times, role, unit)
    if fast is None:
        cells = times.cells(column.places, role, unit)
        convention = times.convention(cells, role)
        for place, cell in zip(column.places, cells, strict=True):
            times.text(place, cell, convention)
        is_span = [
            c.sort == "span" or (c.sort == "colon" and convention == "elapsed") for c in cells
        ]
        usable = [c.sort in ("moment", "span") or (c.sort == "colon" and convention != "open")
                  for c in cells]  # fmt: skip
        fast = _Stamps(
            np.array([c.seconds if u else np.nan for c, u in zip(cells, usable, strict=True)]),
            np.array([np.nan if c.day is None else float(c.day) for c in cells]),
            np.array([np.nan if c.offset_s is None else c.offset_s for c in cells]),
            np.array(is_span, dtype=bool),
            any(c.to_second for c in cells),
        )
    codes = column.codes
    return _Stamps(
        fast.second[codes], fast.day[codes], fast.offset[codes], fast.span[codes], fast.to_second
    )


def _fast(column: Distinct, times: TimeReader, role: str, unit: str) -> _Stamps | None:
    """Read many times of one kind; ``None`` where the cells must be looked at one by one."""
    values = column.values
    size = len(values)
    nan, no = np.full(size, np.nan), np.zeros(size, dtype=bool)
    kinds = {type(v) for v in values}
    if any(p in times.grid.faults for p in column.places):
        return None
    if kinds == {str} and role != "elapsed":
        texts = [str(v).strip() for v in values]
        read = parse_times(texts, bare="clock")
        dated = np.isfinite(read.day)
        if read.bad.any() or np.isnan(read.second).any() or not (dated.all() or role == "clock"):
            return _epoch_texts(texts, times, unit)
        return _Stamps(read.second, read.day, read.offset_s, no,
                       bool((read.resolution_min < 1).all()))  # fmt: skip
    if kinds == {float}:
        return _epochs(np.array(values, dtype=np.float64), times, unit)
    if kinds <= {datetime, date} and datetime in kinds:
        stamp = np.array(values, dtype="datetime64[s]").astype(np.int64).astype(np.float64)
        day = stamp // DAY_S
        return _Stamps(stamp - day * DAY_S, day + EPOCH_DAY, nan, no, bool((stamp % 60).any()))
    return None


def _epoch_texts(texts: Sequence[str], times: TimeReader, unit: str) -> _Stamps | None:
    try:
        values = np.array(texts, dtype=object).astype(np.float64)
    except ValueError:
        return None
    return _epochs(values, times, unit)


def _epochs(values: NDArray[np.float64], times: TimeReader, unit: str) -> _Stamps | None:
    """Read seconds or milliseconds since 1970; the reader of one cell says which they are."""
    from kit.importing.time_column import EPOCH

    if values.size == 0 or not ((values >= EPOCH[0]) & (values < EPOCH[2])).all():
        return None
    milli = np.full(values.size, times.decisions.epoch == "milliseconds")
    if not times.decisions.epoch:
        milli = (values >= EPOCH[1]) | (unit == "milliseconds")
    seconds = np.where(milli, values / 1000, values)
    day = seconds // DAY_S
    return _Stamps(
        seconds - day * DAY_S, day + EPOCH_DAY, np.zeros(values.size),
        np.zeros(values.size, dtype=bool), True,  # noqa: FBT003 - a field, in its place
    )  # fmt: skip


def _dates(
    table: Table, rows: list[int], column: int | None, dates: SheetDates
) -> NDArray[np.float64]:
    """Return the day number of every row; NaN where none is known."""
    if column is None:
        known = np.nan if dates.day is None else float(dates.day.toordinal())
        return np.full(len(rows), known)
    found = distinct(table.grid, rows, column)
    texts = [
        dates.text(p) if v != "" else "" for p, v in zip(found.places, found.values, strict=True)
    ]
    days = [float(date.fromisoformat(t).toordinal()) if t else np.nan for t in texts]
    return np.array(days)[found.codes]


def _on_axis(
    stamps: _Stamps,
    choice: DeviceChoice | None,
    decisions: Decisions,
    part: Part,
    times: TimeReader,
) -> tuple[Axis, NDArray[np.float64]]:
    """Lay the times on one axis and take the offset of the device's clock off."""
    ahead = choice.clock_offset_s if choice else 0.0
    if stamps.second.size == 0:
        return "elapsed", stamps.second
    if stamps.span.all():
        return "elapsed", stamps.second - ahead
    if stamps.span.any():
        _tell_mixed(part, times, "times of day and times since the start")
    whole = (stamps.day - EPOCH_DAY) * DAY_S + stamps.second
    dated = np.isfinite(stamps.day)
    placed = np.isfinite(stamps.offset)
    if placed.any() and not placed.all():
        _tell_mixed(part, times, "times with and without an offset from UTC")
    if placed.all() and dated.all():
        return "utc", whole - stamps.offset - ahead
    if dated.all() and len(np.unique(stamps.day)) == 1 and (np.diff(stamps.second) < -BACK_S).any():
        dated = np.zeros(dated.shape, dtype=bool)  # one date for a log that runs past midnight
    elif dated.all():
        zone = choice.timezone if choice else ""
        return _local(whole, zone, decisions, part, times, ahead)
    steps = np.concatenate([[0.0], np.diff(stamps.second)])
    unwrapped = stamps.second + DAY_S * np.cumsum(steps < -BACK_S)
    known = stamps.day[np.isfinite(stamps.day)]
    if known.size:
        return "local", (known[0] - EPOCH_DAY) * DAY_S + unwrapped - ahead
    return "day", unwrapped - ahead


def _local(
    whole: NDArray[np.float64],
    zone: str,
    decisions: Decisions,
    part: Part,
    times: TimeReader,
    ahead: float,
) -> tuple[Axis, NDArray[np.float64]]:
    """Return wall-clock times, as instants where the device showed another zone than the day's."""
    if not zone or zone == decisions.timezone:
        return "local", whole - ahead
    stamps = pd.DatetimeIndex(whole.astype(np.int64).astype("datetime64[s]"))
    try:
        placed = stamps.tz_localize(ZoneInfo(zone), ambiguous="raise", nonexistent="raise")
    except ValueError as error:
        _tell_mixed(part, times, f"times that the zone {zone} has twice or not at all ({error})")
        return "local", whole - ahead
    instants = placed.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[s]")
    return "utc", instants.astype(np.int64).astype(np.float64) - ahead


def _tell_mixed(part: Part, times: TimeReader, what: str) -> None:
    part.findings.append(
        tell(
            times.grid,
            "import-ambiguous",
            found=what,
            expected="times of one kind in a log",
            remedy="Split the file, or correct the times that differ.",
        )
    )


def _facts(
    part: Part,
    device: str,
    choice: DeviceChoice | None,
    axis: Axis,
    seconds: NDArray[np.float64],
    readings: Readings,
    letters: str,
    dates: SheetDates,
) -> None:
    words = {
        "utc": "instants (UTC)",
        "local": "wall clock",
        "day": "wall clock, without a date",
        "elapsed": "since the start of the log",
    }
    part.facts = [
        ("device", device),
        ("entries", str(seconds.size)),
        ("percentages", readings.unit_words),
        *dates.facts,
        ("times", f"{words[axis]} (column {letters})"),
    ]
    if choice and choice.clock_offset_s:
        by = choice.clock_offset_s
        part.facts.append(
            ("clock", f"{abs(by):g} s {'ahead' if by > 0 else 'behind'}; taken off its times")
        )
