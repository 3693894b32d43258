"""Logs of several devices, each kept by the device's own clock, as one log of the session."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from kit.importing.grid import tell

if TYPE_CHECKING:
    from collections.abc import Sequence
    from collections.abc import Set as AbstractSet

    from numpy.typing import NDArray

    from kit.errors import Finding
    from kit.importing.device_log import DeviceLog
    from kit.importing.mapping import Decisions

__all__ = ["Merged", "merge_logs"]


class Merged(NamedTuple):
    """One log made of several.

    Parameters
    ----------
    columns
        Columns of a log, shape (n,) each.
    source
        For each row the number of its device log.
    row
        For each row the row of that log's grid.
    timezone
        Zone of the times where they were instants; "" else.
    """

    columns: dict[str, NDArray[np.object_]]
    source: NDArray[np.intp]
    row: NDArray[np.intp]
    timezone: str
    findings: tuple[Finding, ...]


def merge_logs(logs: Sequence[DeviceLog], decisions: Decisions, timezone: str) -> Merged:
    """Merge logs by time.

    Parameters
    ----------
    timezone
        Zone of the session as its setup file says it; "" if it does not.
    """
    findings: list[Finding] = []
    zone = decisions.timezone or timezone
    axes = {log.axis for log in logs if log.seconds.size}
    if len(axes) > 1 and not (axes == {"utc", "local"} and zone):
        findings.extend(_tell_axes(logs, axes))
    seconds = [_instants(log, zone) if axes == {"utc", "local"} else log.seconds for log in logs]
    axis = "utc" if "utc" in axes else next(iter(axes), "elapsed")
    events = [_events(log, decisions) for log in logs]
    fine = np.concatenate([np.full(log.seconds.size, log.to_second) for log in logs])
    whole = np.concatenate(seconds)
    whole = np.where(fine, np.round(whole), 60 * np.round(whole / 60))
    source = np.repeat(np.arange(len(logs)), [log.seconds.size for log in logs])
    order = np.argsort(whole, kind="stable")
    times, used = _time_texts(axis, whole[order].astype(np.int64), fine[order], zone)
    columns = {
        "event": np.concatenate(events)[order],
        "device": np.array([log.device for log in logs], dtype=object)[source][order],
        **times,
        "soc_pct": np.concatenate([log.soc for log in logs])[order],
    }
    rows = np.concatenate([log.rows for log in logs])[order]
    return Merged(columns, source[order], rows, used, tuple(findings))


def _events(log: DeviceLog, decisions: Decisions) -> NDArray[np.object_]:
    """Say which rows are ticks.

    A changed percentage is a tick where the row before is no further back than times are noted:
    only then did the display change in that second or minute. A log that has a row for each
    change (``log_rows = "changes"``) has ticks only, but for its first row.
    """
    event = np.full(log.soc.size, "reading", dtype=object)
    if log.soc.size < 2 or decisions.log_rows == "samples":
        return event
    changed = log.soc[1:] != log.soc[:-1]
    gap = np.diff(log.seconds)
    near = (gap > 0) & (gap <= (1.0 if log.to_second else 60.0))
    if decisions.log_rows == "changes":
        near = gap > 0
    event[1:][changed & near] = "tick"
    return event


def _instants(log: DeviceLog, zone: str) -> NDArray[np.float64]:
    if log.axis != "local" or not zone:
        return log.seconds
    stamps = pd.DatetimeIndex(log.seconds.astype(np.int64).astype("datetime64[s]"))
    placed = stamps.tz_localize(ZoneInfo(zone), ambiguous=True, nonexistent="shift_forward")
    instants = placed.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[s]")
    return instants.astype(np.int64).astype(np.float64)


def _tell_axes(logs: Sequence[DeviceLog], axes: AbstractSet[str]) -> list[Finding]:
    words = {
        "utc": "instants (UTC)",
        "local": "times of the wall clock",
        "day": "times without a date",
        "elapsed": "times since the start",
    }
    remedy = "Give all logs the same kind of time."
    if axes == {"utc", "local"}:
        remedy = 'Say which zone the wall clocks showed: timezone = "…" under [session].'
    elif axes == {"local", "day"}:
        remedy = "Say of which day they are: date = … under [session], or for one sheet."
    return [
        tell(
            log.part.grid,
            "import-ambiguous",
            found=words[log.axis],
            expected="the same kind of time in all logs; others have "
            + " and ".join(words[a] for a in sorted(axes - {log.axis})),
            remedy=remedy,
            decide="session.timezone" if axes == {"utc", "local"} else "session.date",
        )
        for log in logs
        if log.seconds.size
    ]


def _time_texts(
    axis: str, whole: NDArray[np.int64], fine: NDArray[np.bool_], zone: str
) -> tuple[dict[str, NDArray[np.object_]], str]:
    """Return the columns that say the times, and the zone if they were instants."""
    if axis == "elapsed":
        minutes, rest = whole // 60, whole % 60
        texts = [
            f"{m // 60}:{m % 60:02d}:{s:02d}" if f else f"{m // 60}:{m % 60:02d}"
            for m, s, f in zip(minutes.tolist(), rest.tolist(), fine.tolist(), strict=True)
        ]
        return {"elapsed_min": np.array(texts, dtype=object)}, ""
    stamps = whole.astype("datetime64[s]")
    used = ""
    suffix = np.full(whole.size, "", dtype=object)
    if axis == "utc":
        used = zone or "UTC"
        placed = pd.DatetimeIndex(stamps).tz_localize("UTC").tz_convert(ZoneInfo(used))
        wall = placed.tz_localize(None).to_numpy().astype("datetime64[s]")
        offsets = (wall - stamps).astype(np.int64)
        stamps = wall
        if len(np.unique(offsets)) > 1:  # the clocks changed: some times come twice
            minutes, codes = np.unique(offsets // 60, return_inverse=True)
            suffix = np.array([_offset(m) for m in minutes.tolist()], dtype=object)[codes]
    texts19 = np.datetime_as_string(stamps, unit="s")
    if axis == "day":
        texts19 = np.array([t[11:] for t in texts19.tolist()])
    cut = 5 if axis == "day" else 16
    text = texts19.astype(object)
    if not fine.all():
        coarse = texts19.astype(f"U{cut}").astype(object)
        text = np.where(fine, text, coarse)
    clock: NDArray[np.object_] = (text + suffix).astype(object)
    return {"clock": clock}, used


def _offset(minutes: int) -> str:
    """Return an offset from UTC as ISO 8601 writes it.

    Examples
    --------
    >>> _offset(60), _offset(-210)
    ('+01:00', '-03:30')
    """
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
