"""One line for each device of a session: how many readings, from where to where, and its end."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.labels import shorten, text_width
from kit.units import MISSING, clock, count, h_mm, number

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd

    from kit.session import Run, Session

__all__ = ["courses"]

WIDEST = 24
MOST = 60
"""So many lines at most: a session of hundreds of devices and runs is told by its counts."""


def courses(session: Session) -> Iterator[str]:
    """Yield a line for each device and run, in which a misread number or time shows."""
    told = [(device, run) for run in session.runs for device in session.devices]
    width = min(WIDEST, max((text_width(device.label) for device in session.devices), default=0))
    for device, run in told[:MOST]:
        shown = shorten(device.label, width)
        pad = " " * (width - text_width(shown))
        prefix = f"run {run.number}, " if len(session.runs) > 1 else ""
        yield f"{shown}{pad}  {prefix}{_course(session, device.id, run)}"
    if len(told) > MOST:
        yield f"and {len(told) - MOST} more"


def _course(session: Session, device: str, run: Run) -> str:
    frame = session.readings
    mine = frame[(frame["device"] == device) & (frame["run"] == run.number)]
    read = mine[mine["soc_pct"].notna()]
    words = count(len(read), "reading")
    if len(read):
        ends = [_reading(run, read.iloc[0])]
        if len(read) > 1:
            ends.append(_reading(run, read.iloc[-1]))
        words += f", {' to '.join(ends)}"
    offs = session.power_offs
    for _, off in offs[(offs["device"] == device) & (offs["run"] == run.number)].iterrows():
        at = next(
            (off[c] for c in ("noted_min", "first_off_min", "last_on_min")
             if math.isfinite(off[c])),
            math.nan,
        )  # fmt: skip
        words += f"; {'still on' if off['still_on'] else 'off'}{_at(run, at)}"
    return words


def _reading(run: Run, row: pd.Series[float]) -> str:
    return f"{number(float(row['soc_pct']), _decimals(float(row['soc_pct'])))} %" + _at(
        run, float(row["t_min"])
    )


def _decimals(value: float) -> int:
    return 0 if value == round(value) else 1


def _at(run: Run, t_min: float) -> str:
    if not math.isfinite(t_min):
        return ""
    shown = clock(run.start, t_min) if run.start is not None else h_mm(t_min)
    return "" if shown == MISSING else f" at {shown}"
