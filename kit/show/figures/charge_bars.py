"""Readings in the figure of the charge: bars where they stand apart, a band where they do not."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from kit.show.figures.base import MIN_PER_H

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from kit.show.look import Style
    from kit.show.reading_ranges import ReadingRanges

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

__all__ = [
    "BARS",
    "CAP_PT",
    "Band",
    "DeviceReadings",
    "as_drawn",
    "draw_readings",
    "seen_across",
]

MAX_POINTS = 400
"""Points of one device's line that are drawn; a denser log is thinned to its changes."""
CAP_PT = 4.5
"""Width of the cap at the end of a bar, and least length of a level bar that can be seen (pt)."""
MARK_PT = 4.0
CLOSE_PT = 4.0
"""Readings less than this apart along the axis (pt) run into a band."""
LEAST_FOR_A_BAND = 4
"""Fewer readings close together keep their bars."""
MARKS_ON_A_BAND = 7
"""Marks of one device along a band, by which it is told without colour."""
BARS = "_bars"
ACROSS = "_across"
BANDS = "_band"
"""Labels of what is drawn."""


@dataclass(frozen=True, kw_only=True)
class Band:
    """Readings close together: times (h), lowest and highest charge (%), stepped or not."""

    t: Floats
    low: Floats
    high: Floats
    stepped: bool


@dataclass(frozen=True, kw_only=True)
class DeviceReadings:
    """What is drawn of one device, times in hours.

    Parameters
    ----------
    device
        Position in the session.
    t, soc
        The line.
    apart
        Readings with a bar each.
    bands
        The others, run together.
    """

    device: int
    t: Floats
    soc: Floats
    apart: ReadingRanges
    bands: tuple[Band, ...]


def _changes(readings: ReadingRanges) -> Ints:
    """Return the rows at which a percentage, or what it stands for, is first and last shown."""
    moved = np.diff(readings.soc) != 0.0
    moved |= (np.diff(readings.low) != 0.0) | (np.diff(readings.high) != 0.0)
    keep = np.ones(len(readings), dtype=bool)
    keep[1:-1] = moved[:-1] | moved[1:]
    return np.flatnonzero(keep)


def _thinned(readings: ReadingRanges) -> ReadingRanges:
    """Return at most ``MAX_POINTS`` readings: changes first, then evenly."""
    if len(readings) <= MAX_POINTS:
        return readings
    rows = _changes(readings)
    return readings[rows[:: max(1, math.ceil(rows.size / MAX_POINTS))]]


def _band(readings: ReadingRanges) -> Band:
    """Return a band that holds the range of every reading.

    Readings at which nothing changes add nothing to it. Where more than ``MAX_POINTS`` are left,
    it goes in steps, each as wide as the readings in it need.
    """
    rows = readings
    if len(readings) > MAX_POINTS:
        rows = readings[_changes(readings)]
    if len(rows) <= MAX_POINTS:
        return Band(t=rows.t / MIN_PER_H, low=rows.low, high=rows.high, stepped=False)
    first = np.linspace(0, len(rows), MAX_POINTS, endpoint=False).astype(np.int64)
    low, high = np.minimum.reduceat(rows.low, first), np.maximum.reduceat(rows.high, first)
    t = np.append(rows.t[first], rows.t[-1]) / MIN_PER_H
    return Band(t=t, low=np.append(low, low[-1]), high=np.append(high, high[-1]), stepped=True)


def as_drawn(
    readings: ReadingRanges, devices: int, *, pt_per_h: float
) -> tuple[DeviceReadings, ...]:
    """Return what is drawn of every device that has readings.

    Parameters
    ----------
    readings
        Of one run.
    devices
        Number of devices.
    pt_per_h
        Scale of the time axis.
    """
    found = []
    for device in range(devices):
        mine = readings.of(device)
        if not len(mine):
            continue
        close = np.diff(mine.t) / MIN_PER_H * pt_per_h < CLOSE_PT
        edges = np.concatenate([[0], np.flatnonzero(~close) + 1, [len(mine)]])
        sizes = np.diff(edges)
        dense = sizes >= LEAST_FOR_A_BAND
        bands = tuple(_band(mine[edges[k] : edges[k + 1]]) for k in np.flatnonzero(dense).tolist())
        line = _thinned(mine)
        found.append(
            DeviceReadings(
                device=device, t=line.t / MIN_PER_H, soc=line.soc,
                apart=mine[~np.repeat(dense, sizes)], bands=bands,
            )
        )  # fmt: skip
    return tuple(found)


def _marks(item: DeviceReadings, devices: int) -> Ints:
    """Return the points of a banded line that get a mark: evenly in time, devices staggered."""
    share = (np.arange(MARKS_ON_A_BAND) + (item.device + 1.0) / (devices + 1.0)) / MARKS_ON_A_BAND
    at = item.t[0] + share * (item.t[-1] - item.t[0])
    return np.unique(np.minimum(np.searchsorted(item.t, at), item.t.size - 1))


def draw_readings(
    ax: Axes, drawn: Sequence[DeviceReadings], styles: Sequence[Style], *, pt_per_h: float
) -> None:
    """Draw bars, bands and marks; the lines are drawn elsewhere.

    Parameters
    ----------
    styles
        By position of the device.
    """
    for item in drawn:
        style = styles[item.device]
        for band in item.bands:
            ax.fill_between(
                band.t, band.low, band.high, step="post" if band.stepped else None,
                color=style.colour, alpha=0.28, linewidth=0.0, zorder=2, label=BANDS,
            )  # fmt: skip
        if item.bands:
            rows = _marks(item, len(styles))
            ax.plot(item.t[rows], item.soc[rows], linestyle="none", marker=style.marker,
                    markersize=MARK_PT, markeredgewidth=0.0, color=style.colour,
                    zorder=4)  # fmt: skip
        _draw_apart(ax, item.apart, style, pt_per_h)


def _draw_apart(ax: Axes, apart: ReadingRanges, style: Style, pt_per_h: float) -> None:
    if not len(apart):
        return
    look: dict[str, Any] = {"color": style.colour, "zorder": 3.5}
    t = apart.t / MIN_PER_H
    wide = apart.high > apart.low
    if wide.any():
        ax.vlines(t[wide], apart.low[wide], apart.high[wide], linewidth=1.1, label=BARS, **look)
        ends = np.concatenate([apart.low[wide], apart.high[wide]])
        ax.plot(np.tile(t[wide], 2), ends, linestyle="none", marker="_", markersize=CAP_PT,
                markeredgewidth=1.0, **look)  # fmt: skip
    long = seen_across(apart, pt_per_h)
    if long.any():
        early, late = apart.early[long] / MIN_PER_H, apart.late[long] / MIN_PER_H
        ax.hlines(apart.soc[long], early, late, linewidth=1.1, label=ACROSS, **look)
    ax.plot(t, apart.soc, linestyle="none", marker=style.marker, markersize=MARK_PT,
            markeredgewidth=0.0, **{**look, "zorder": 4})  # fmt: skip


def seen_across(readings: ReadingRanges, pt_per_h: float) -> Bools:
    """Return of which readings the time is open by more than a cap is wide."""
    return np.asarray((readings.late - readings.early) / MIN_PER_H * pt_per_h > CAP_PT)
