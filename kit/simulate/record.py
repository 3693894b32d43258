"""A simulated session as rows of a log, in the order in which a person would write them."""

from __future__ import annotations

import csv
import io
from datetime import UTC, timedelta
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from datetime import datetime

    import pandas as pd

    from kit.session import Session

__all__ = ["csv_text", "log_rows", "moment", "number_text"]

Row = dict[str, str]
_Key = tuple[float, float, float, float]

_RANK = {
    "phase_end": 0,
    "reading end": 1,
    "charge_end": 2,
    "phase_start": 3,
    "reading start": 4,
    "reading inside": 4,
    "tick": 4,
    "turn": 5,
    "temperature": 6,
    "incident": 7,
    "note": 7,
    "power_off": 8,
    "still_on": 9,
    "charge_start": 9,
}
"""What comes first within one minute."""


def number_text(value: float) -> str:
    """Return a number without needless decimals; empty for NaN.

    Examples
    --------
    >>> number_text(87.0), number_text(86.5), number_text(float("nan"))
    ('87', '86.5', '')
    """
    return "" if value != value else f"{value:.10g}"


def moment(start: datetime, minutes: float) -> datetime:
    """Return what the clock on the wall says so many minutes after the start.

    Minutes are real minutes: in the night in which the clocks go back at 02:00, 04:00 comes
    nine hours after 20:00.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> from datetime import datetime
    >>> evening = datetime(2026, 10, 24, 20, 0, tzinfo=ZoneInfo("Europe/London"))
    >>> moment(evening, 540.0).isoformat()
    '2026-10-25T04:00:00+00:00'
    """
    return (start.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(start.tzinfo)


class _Clock:
    """Clock times of the runs, as they would be written down."""

    def __init__(self, session: Session) -> None:
        self.starts = {run.number: run.start for run in session.runs}

    def text(self, run: int, minutes: float) -> str:
        """Return ``HH:MM``; empty for NaN."""
        start = self.starts[run]
        if start is None:
            msg = f"run {run} has no start by the clock"
            raise ValueError(msg)
        return "" if minutes != minutes else f"{moment(start, minutes):%H:%M}"

    def both(self, run: int, minutes: float) -> Row:
        """Return the cells ``clock`` and ``elapsed_min``."""
        return {"clock": self.text(run, minutes), "elapsed_min": number_text(minutes)}


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return frame.to_dict("records")  # type: ignore[return-value]  # column names are str


def _key(run: float, t_min: float, rank: str, place: float = 0.0) -> _Key:
    return (run, t_min, _RANK[rank], place)


def _boundary_min(session: Session) -> list[float]:
    """Return for each reading the time that it is sorted by: that of its boundary, if any."""
    readings = session.readings
    ends = {
        (s["run"], s["phase"], end): s[f"{end}_min"]
        for s in _records(session.spans)
        for end in ("start", "end")
    }
    first = readings.groupby(["run", "phase", "point"])["t_min"].transform("min")
    walked = first.where(readings["order"] > 0, readings["t_min"])
    places = zip(readings["run"], readings["phase"], readings["point"], strict=True)
    return [ends.get(place, t) for place, t in zip(places, walked.tolist(), strict=True)]


def _reading_rows(session: Session, clock: _Clock) -> Iterator[tuple[_Key, Row]]:
    together = _boundary_min(session)
    for r, t_key in zip(_records(session.readings), together, strict=True):
        tick = r["kind"] == "tick"
        rank = "tick" if tick else f"reading {r['point'] or 'inside'}"
        yield (
            _key(r["run"], t_key, rank, r["order"]),
            {
                "event": r["kind"],
                "phase": r["phase"],
                "point": "" if tick else r["point"],
                "device": r["device"],
                **clock.both(r["run"], r["t_min"]),
                "soc_pct": number_text(r["soc_pct"]),
                "order": str(r["order"]) if r["order"] else "",
            },
        )


def _span_rows(session: Session, clock: _Clock) -> Iterator[tuple[_Key, Row]]:
    for s in _records(session.spans):
        for end in ("start", "end"):
            if s[f"{end}_source"] == "clock":
                event, t = f"phase_{end}", s[f"{end}_min"]
                yield (
                    _key(s["run"], t, event),
                    {"event": event, "phase": s["phase"], **clock.both(s["run"], t)},
                )


def _turn_rows(session: Session, clock: _Clock) -> Iterator[tuple[_Key, Row]]:
    for place, t in enumerate(_records(session.turns)):
        yield (
            _key(t["run"], t["start_min"], "turn", place),
            {
                "event": "turn",
                "phase": t["phase"],
                "device": t["device"],
                **clock.both(t["run"], t["start_min"]),
                "part": t["activity"],
                "duration_min": number_text(round(t["duration_min"], 1)),
                "completed": t["completed"],
            },
        )


def _end_rows(session: Session, clock: _Clock) -> Iterator[tuple[_Key, Row]]:
    for place, p in enumerate(_records(session.power_offs)):
        event = "still_on" if p["still_on"] else "power_off"
        t = p["last_on_min"] if p["still_on"] else p["noted_min"]
        row = {
            "event": event,
            "phase": p["phase"],
            "device": p["device"],
            **clock.both(p["run"], t),
            "soc_pct": number_text(p["soc_pct"]),
        }
        if not p["still_on"]:
            for end in ("last_on", "first_off"):
                row[end] = clock.text(p["run"], p[f"{end}_min"])
                row[f"{end}_min"] = number_text(p[f"{end}_min"])
        yield _key(p["run"], t, event, place), row


def log_rows(session: Session) -> tuple[Row, ...]:
    """Return the rows of ``log.csv`` for a session of the simulator, in order of time.

    Parameters
    ----------
    session
        Its runs must have a start by the clock.

    Returns
    -------
    tuple of dict
        Column name → text; a column that a row does not need is absent. Each has the time as
        ``clock`` (``HH:MM``) and as ``elapsed_min``: write the one you want; a power-off also has
        ``last_on_min`` and ``first_off_min``, minutes since the start, beside the columns without
        ``_min``. The readings of one boundary stay together, in walking order. ``run`` is there
        only with several runs.

    Raises
    ------
    ValueError
        If a run has no start by the clock.
    """
    clock = _Clock(session)
    keyed: list[tuple[_Key, Row]] = []
    for rows in (_reading_rows, _span_rows, _turn_rows, _end_rows):
        keyed += rows(session, clock)
    keyed.sort(key=lambda item: item[0])
    several = len(session.runs) > 1
    return tuple({"run": str(key[0]), **row} if several else row for key, row in keyed)


def csv_text(
    rows: Iterable[Mapping[str, str]], columns: Sequence[str], *, delimiter: str = ","
) -> str:
    """Return these columns of the rows as CSV text; a column that a row lacks is an empty cell."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(
        out,
        fieldnames=list(columns),
        delimiter=delimiter,
        lineterminator="\n",
        extrasaction="ignore",
    )
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
