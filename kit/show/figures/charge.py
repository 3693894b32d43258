"""The state of charge over time."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from kit.labels import shorten, text_width
from kit.show.figures.base import MIN_PER_H, bare, run_of, short_names, styles_of, write
from kit.show.lasting import by_order, off_known
from kit.show.look import BAND, BAND_ALPHA, INK, SMALL_PT
from kit.show.tables.cells import Names, of_run, rows_of
from kit.units import clock

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from matplotlib.axes import Axes

    from kit.results import Results
    from kit.show.look import Style

__all__ = ["plot_charge"]

MAX_POINTS = 400
"""Points of one device's line that are drawn; a denser log is thinned to its changes."""
MAX_MARKERS = 40
"""Readings of one device up to which each gets its marker."""


def _thinned(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the readings of one device, at most ``MAX_POINTS``: changes first, then evenly."""
    if len(frame) <= MAX_POINTS:
        return frame
    level = frame["soc_pct"]
    keep = (level != level.shift()) | (level != level.shift(-1))
    keep.iloc[[0, -1]] = True
    frame = frame[keep]
    return frame.iloc[:: max(1, math.ceil(len(frame) / MAX_POINTS))]


def _readings(results: Results, run: int) -> pd.DataFrame:
    """Return device, t_h, soc_pct of one run, times filled from the phases where not noted."""
    import pandas as pd

    session = results.session
    frame = of_run(session.readings, run)
    spans = of_run(session.spans, run).drop_duplicates("phase").set_index("phase")
    at_start = frame["phase"].map(spans["start_min"])
    at_end = frame["phase"].map(spans["end_min"])
    planned = at_start.where(frame["point"] == "start", at_end)
    t = frame["t_min"].fillna(planned.where(frame["point"].isin(["start", "end"])))
    points = pd.DataFrame(
        {"device": frame["device"], "t_h": t / MIN_PER_H, "soc_pct": frame["soc_pct"]}
    ).dropna()
    points = points.sort_values("t_h", kind="stable")
    parts = [_thinned(part) for _, part in points.groupby("device", sort=False, observed=True)]
    return pd.concat(parts) if parts else points


def _end_of_run(results: Results, run: int, points: pd.DataFrame) -> float:
    """Return the last hour that anything was seen."""
    session = results.session
    spans = of_run(session.spans, run)
    offs = of_run(results.runtimes, run)
    ends = [
        points["t_h"].max(),
        spans["end_min"].max() / MIN_PER_H,
        offs["off_high_min"].max() / MIN_PER_H,
        offs["off_low_min"].max() / MIN_PER_H,
        (run_of(results, run).stop_min or math.nan) / MIN_PER_H,
    ]
    return max((float(e) for e in ends if e == e), default=1.0)


def _phase_bands(results: Results, ax: Axes, run: int, end: float) -> None:
    """Shade every other phase and write the phases' numbers, and names where they fit."""
    session = results.session
    names = Names.of(session)
    spans = {row.phase: row for row in rows_of(of_run(session.spans, run))}
    width_pt = ax.figure.get_figwidth() * 72 * 0.70  # type: ignore[union-attr]  # a Figure here
    for k, phase in enumerate(session.phases):
        span = spans.get(phase.id)
        if span is None or math.isnan(span.start_min):
            continue
        low = span.start_min / MIN_PER_H
        high = end if math.isnan(span.end_min) else min(span.end_min / MIN_PER_H, end)
        if high <= low:
            continue
        if k % 2 == 0:
            ax.axvspan(low, high, facecolor=BAND, alpha=BAND_ALPHA, edgecolor="none", zorder=0)
        room = int((high - low) / end * width_pt / (SMALL_PT * 0.6))
        name = names.phase[phase.id]
        number = str(names.number[phase.id])
        if text_width(f"{number} {name}") <= room:
            number = f"{number} {name}"
        elif room >= 9:
            number = f"{number} {shorten(name, room - 2)}"
        write(
            ax, (low + high) / 2, 1.015, number,
            transform=ax.get_xaxis_transform(), ha="center", va="bottom", fontsize=SMALL_PT - 0.5,
        )  # fmt: skip


def _hour_ticks(results: Results, ax: Axes, run: int, end: float) -> None:
    """Label the hours since the start, with the clock below where it is known."""
    step = next((s for s in (0.25, 0.5, 1, 2, 3, 4, 6, 12) if end / s <= 11), 24)
    start = run_of(results, run).start
    ticks = [k * step for k in range(int(end / step) + 1)]
    labels = [f"{t:g}" for t in ticks]
    if start is not None:
        labels = [f"{t:g}\n{clock(start, t * MIN_PER_H)[:5]}" for t in ticks]
    ax.set_xticks(ticks, labels)
    ax.set_xlabel("Time since the start (h)" + (", clock time below" if start else ""))


def plot_charge(results: Results, ax: Axes, *, run: int = 1) -> Axes:
    """Draw the displayed state of charge over time, phases as bands, power-offs as crosses.

    Parameters
    ----------
    results
        Results of a session.
    ax
        Axes to draw on; names are written to the right of it.
    run
        Number of the run.

    Returns
    -------
    Axes
        ``ax``. Times in hours since the start, state of charge in per cent.
    """
    import seaborn as sns

    points = _readings(results, run)
    styles = styles_of(results)
    end = _end_of_run(results, run, points)
    _phase_bands(results, ax, run, end)
    if len(points):
        dashes: dict[str, Any] = {d: s.dashes or "" for d, s in styles.items()}
        dense = points.groupby("device", observed=True).size().max() > MAX_MARKERS
        sns.lineplot(
            data=points, x="t_h", y="soc_pct", hue="device", style="device",
            palette={d: s.colour for d, s in styles.items()},
            dashes=dashes,
            markers=False if dense else {d: s.marker for d, s in styles.items()},
            estimator=None, errorbar=None, sort=False, legend=False, ax=ax,
            linewidth=1.5, markersize=5.0, markeredgewidth=0.0, zorder=3,
        )  # fmt: skip
    _draw_power_offs(results, ax, run, points, styles)
    _list_devices(results, ax, run, styles)
    ax.set_xlim(0, end * 1.01)
    ax.set_ylim(-3, 103)
    ax.set_yticks(range(0, 101, 20))
    ax.set_ylabel("State of charge, displayed (%)")
    ax.grid(visible=True, axis="y", color=BAND, alpha=0.25, linewidth=0.6)
    _hour_ticks(results, ax, run, end)
    bare(ax, "left", "bottom")
    return ax


def _draw_power_offs(
    results: Results, ax: Axes, run: int, points: pd.DataFrame, styles: Mapping[str, Style]
) -> None:
    """Carry each line on, dotted, from its last reading to the power-off, marked by a cross.

    The cross stands at the percentage last seen, at 0 where none was noted.
    """
    last = points.groupby("device", observed=True).last() if len(points) else points
    for row in rows_of(of_run(results.runtimes, run)):
        if row.device not in last.index or not off_known(row):
            continue
        colour = styles[row.device].colour
        t, level = float(last.t_h[row.device]), float(last.soc_pct[row.device])
        off = (row.off_low_min + row.off_high_min) / 2 / MIN_PER_H
        seen = min(level, 0.0 if math.isnan(row.last_soc_pct) else float(row.last_soc_pct))
        ax.plot([t, off], [level, seen], color=colour, linewidth=1.2, linestyle=(0, (1, 1.5)),
                zorder=2)  # fmt: skip
        ax.plot([off], [seen], marker="x", color=colour, markersize=7, markeredgewidth=2.0,
                linestyle="none", zorder=4, clip_on=False)  # fmt: skip


def _list_devices(results: Results, ax: Axes, run: int, styles: Mapping[str, Style]) -> None:
    """List the devices to the right of the axes, longest-lasting first."""
    names = short_names(results)
    rows = by_order(of_run(results.runtimes, run))
    step = min(0.095, 1.0 / (len(rows) + 1.35))
    for k, row in enumerate(rows):
        style, y = styles[row.device], 0.97 - k * step
        ax.plot([1.03, 1.075], [y, y], color=style.colour, linewidth=1.5, marker=style.marker,
                markersize=5, markeredgewidth=0, markevery=[1], transform=ax.transAxes,
                clip_on=False, dashes=style.dashes or (1, 0))  # fmt: skip
        text = names.device[row.device] + (" (still on)" if row.status == "still_on" else "")
        write(ax, 1.095, y, text, transform=ax.transAxes, va="center")
    if any(off_known(row) for row in rows):
        y = 0.97 - (len(rows) + 0.35) * step
        ax.plot([1.0525], [y], marker="x", color=INK, markersize=6, markeredgewidth=1.6,
                transform=ax.transAxes, clip_on=False)  # fmt: skip
        write(ax, 1.095, y, "powered off", transform=ax.transAxes, va="center")
