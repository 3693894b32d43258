"""A simulated session as rows of a log, in the order in which a person would write them."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    import pandas as pd

    from kit.session import Session

__all__ = ["csv_text", "log_rows", "number_text"]

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
        return "" if minutes != minutes else f"{start + timedelta(minutes=minutes):%H:%M}"


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return frame.to_dict("records")  # type: ignore[return-value]  # column names are str


def _key(run: float, t_min: float, rank: str, place: float = 0.0) -> _Key:
    return (run, t_min, _RANK[rank], place)


def _reading_rows(session: Session, clock: _Clock) -> Iterator[tuple[_Key, Row]]:
    readings = session.readings
    boundary = readings.groupby(["run", "phase", "point"])["t_min"].transform("min")
    together = boundary.where(readings["order"] > 0, readings["t_min"])
    for r, t_key in zip(_records(readings), together.tolist(), strict=True):
        tick = r["kind"] == "tick"
        rank = "tick" if tick else f"reading {r['point'] or 'inside'}"
        yield (
            _key(r["run"], t_key, rank, r["order"]),
            {
                "event": r["kind"],
                "phase": r["phase"],
                "point": "" if tick else r["point"],
                "device": r["device"],
                "clock": clock.text(r["run"], r["t_min"]),
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
                    {"event": event, "phase": s["phase"], "clock": clock.text(s["run"], t)},
                )


def _turn_rows(session: Session, clock: _Clock) -> Iterator[tuple[_Key, Row]]:
    for place, t in enumerate(_records(session.turns)):
        yield (
            _key(t["run"], t["start_min"], "turn", place),
            {
                "event": "turn",
                "phase": t["phase"],
                "device": t["device"],
                "clock": clock.text(t["run"], t["start_min"]),
                "part": t["activity"],
                "duration_min": number_text(round(t["duration_min"], 1)),
                "completed": t["completed"],
            },
        )


def _end_rows(session: Session, clock: _Clock) -> Iterator[tuple[_Key, Row]]:
    for place, p in enumerate(_records(session.power_offs)):
        event = "still_on" if p["still_on"] else "power_off"
        row = {
            "event": event,
            "phase": p["phase"],
            "device": p["device"],
            "clock": clock.text(p["run"], p["noted_min"]),
            "soc_pct": number_text(p["soc_pct"]),
        }
        if not p["still_on"]:
            row["last_on"] = clock.text(p["run"], p["last_on_min"])
            row["first_off"] = clock.text(p["run"], p["first_off_min"])
        yield _key(p["run"], p["noted_min"], event, place), row


def log_rows(session: Session) -> tuple[Row, ...]:
    """Return the rows of ``log.csv`` for a session of the simulator, in order of time.

    Parameters
    ----------
    session
        Its runs must have a start by the clock; times are written as ``HH:MM`` of that clock.

    Returns
    -------
    tuple of dict
        Column name → text; a column that a row does not need is absent. The readings of one
        boundary stay together, in walking order. ``run`` is there only with several runs.

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
    """Return rows as CSV text, lines ended by a line feed; absent columns are empty cells."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(
        out, fieldnames=list(columns), delimiter=delimiter, lineterminator="\n", restval=""
    )
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
