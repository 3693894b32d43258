"""The state of charge over time, with what each reading can stand for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from kit.drain.gauge import FULL_PCT
from kit.labels import shorten, text_width
from kit.show.cells import Names, of_run, rows_of
from kit.show.figures.base import (
    LABELS_PT,
    MIN_PER_H,
    NORMAL_IN,
    SHORT_LABELS_PT,
    Key,
    bare,
    draw_device_key,
    keys_below,
    moved_up,
    run_of,
    short_names,
    styles_of,
    write,
)
from kit.show.figures.charge_bars import CAP_PT, MARK_PT, as_drawn, draw_readings, seen_across
from kit.show.figures.charge_ends import (
    ARROW_PT,
    draw_off_boxes,
    draw_open_ends,
    off_boxes,
    open_ends,
)
from kit.show.lasting import by_order
from kit.show.look import BAND, BAND_ALPHA, INK, SMALL_PT
from kit.show.reading_ranges import reading_ranges
from kit.units import clock

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from matplotlib.axes import Axes
    from matplotlib.transforms import Transform

    from kit.results import Results
    from kit.show.figures.charge_bars import DeviceReadings
    from kit.show.figures.charge_ends import OffBox, OpenEnd
    from kit.show.look import Style
    from kit.show.reading_ranges import ReadingRanges

__all__ = ["ChargeView", "charge_keys", "charge_view", "plot_charge"]

AXES_SHARE = 0.88
"""Share of the figure's width that the time axis takes, about."""
ROOM_FOR_ARROWS = 1.05
SIGNS = {
    "bar": "range of a reading",
    "band": "range of readings",
    "off": "powered off",
    "open": "not seen off",
}
"""Signs explained after the devices."""


@dataclass(frozen=True, kw_only=True)
class ChargeView:
    """What the figure of one run draws, made once for the figure and its words.

    Parameters
    ----------
    end_h, pt_per_h
        Last hour on the axis, and the scale of the axis.
    """

    run: int
    readings: ReadingRanges
    drawn: tuple[DeviceReadings, ...]
    off: tuple[OffBox, ...]
    open: tuple[OpenEnd, ...]
    end_h: float
    pt_per_h: float

    @property
    def has_bands(self) -> bool:
        """Return whether readings of any device run into a band."""
        return any(item.bands for item in self.drawn)

    @property
    def has_bars(self) -> bool:
        """Return whether any reading has an upright bar."""
        return any(bool((item.apart.high > item.apart.low).any()) for item in self.drawn)

    @property
    def has_across(self) -> bool:
        """Return whether any reading has a level bar."""
        return any(bool(seen_across(item.apart, self.pt_per_h).any()) for item in self.drawn)

    @property
    def starts_full(self) -> bool:
        """Return whether a reading of 100 % counts as a full charge."""
        return bool(np.any((self.readings.low == FULL_PCT) & (self.readings.soc == FULL_PCT)))

    @property
    def longest_min(self) -> float:
        """Return the longest time within which a reading was made (min); 0 without readings."""
        return float((self.readings.late - self.readings.early).max(initial=0.0))


def charge_view(results: Results, *, run: int = 1, width_in: float = NORMAL_IN) -> ChargeView:
    """Return what the figure of a run draws, at a width of the whole figure (inch)."""
    readings = reading_ranges(results.session, run)
    end = _end_of_run(results, run, readings)
    pt_per_h = width_in * 72.0 * AXES_SHARE / end
    return ChargeView(
        run=run,
        readings=readings,
        drawn=as_drawn(readings, len(results.session.devices), pt_per_h=pt_per_h),
        off=off_boxes(results, readings, run=run),
        open=open_ends(results, readings, run=run),
        end_h=end,
        pt_per_h=pt_per_h,
    )


def _end_of_run(results: Results, run: int, readings: ReadingRanges) -> float:
    """Return the last hour that anything was seen."""
    session = results.session
    spans = of_run(session.spans, run)
    offs = of_run(results.runtimes, run)
    ends = [
        float(readings.t.max(initial=-math.inf)) / MIN_PER_H,
        spans["end_min"].max() / MIN_PER_H,
        offs["off_high_min"].max() / MIN_PER_H,
        offs["off_low_min"].max() / MIN_PER_H,
        (run_of(results, run).stop_min or math.nan) / MIN_PER_H,
    ]
    return max((float(e) for e in ends if math.isfinite(e) and e > 0.0), default=1.0)


def _phase_bands(results: Results, ax: Axes, run: int, end: float) -> None:
    """Shade every other phase and write the phases' numbers, and names where they fit."""
    session = results.session
    names = Names.of(session)
    spans = {row.phase: row for row in rows_of(of_run(session.spans, run))}
    width_pt = ax.figure.get_figwidth() * 72 * AXES_SHARE  # type: ignore[union-attr]  # a Figure here
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


def plot_charge(
    results: Results, ax: Axes, *, run: int = 1, view: ChargeView | None = None
) -> Axes:
    """Draw the state of charge over time with what each reading can stand for.

    An upright bar is the charge that the number shown can stand for, a level one when it was
    read, where that can be seen; readings close together run into a band. A power-off is a box:
    last seen on to first seen off, 0 to the charge last shown. An arrow: not seen off. Phases are
    bands behind it all.

    Parameters
    ----------
    results
        Results of a session.
    ax
        Axes to draw on; names are written below it.
    run
        Number of the run.
    view
        From `charge_view`, if made already.

    Returns
    -------
    Axes
        ``ax``. Times in hours since the start, state of charge in per cent.
    """
    view = charge_view(results, run=run) if view is None else view
    devices = [d.id for d in results.session.devices]
    styles = styles_of(results)
    _phase_bands(results, ax, run, view.end_h)
    _draw_lines(ax, view, devices, styles)
    draw_readings(ax, view.drawn, [styles[d] for d in devices], pt_per_h=view.pt_per_h)
    draw_off_boxes(ax, view.off, styles)
    draw_open_ends(ax, view.open, styles)
    clocks = run_of(results, run).start is not None
    labels_pt = LABELS_PT if clocks else SHORT_LABELS_PT
    keys_below(ax, charge_keys(results, view), labels_pt=labels_pt)
    ax.set_xlim(0, view.end_h * (ROOM_FOR_ARROWS if view.open else 1.01))
    ax.set_ylim(-3, 103)
    ax.set_yticks(range(0, 101, 20))
    ax.set_ylabel("State of charge, displayed (%)")
    ax.grid(visible=True, axis="y", color=BAND, alpha=0.25, linewidth=0.6)
    _hour_ticks(results, ax, run, view.end_h)
    bare(ax, "left", "bottom")
    return ax


def _draw_lines(
    ax: Axes, view: ChargeView, devices: Sequence[str], styles: Mapping[str, Style]
) -> None:
    import pandas as pd
    import seaborn as sns

    if not view.drawn:
        return
    points = pd.concat(
        [
            pd.DataFrame({"t_h": item.t, "soc_pct": item.soc}).assign(device=devices[item.device])
            for item in view.drawn
        ]
    )
    dashes: dict[str, Any] = {d: s.dashes or "" for d, s in styles.items()}
    sns.lineplot(
        data=points, x="t_h", y="soc_pct", hue="device", style="device",
        palette={d: s.colour for d, s in styles.items()}, dashes=dashes, markers=False,
        estimator=None, errorbar=None, sort=False, legend=False, ax=ax, linewidth=1.1, zorder=3,
    )  # fmt: skip


def charge_keys(results: Results, view: ChargeView) -> list[Key]:
    """Return the devices, longest-lasting first, and then the signs."""
    names, styles = short_names(results), styles_of(results)
    keys = []
    for row in by_order(of_run(results.runtimes, view.run)):
        text = names.device[row.device] + (" (still on)" if row.status == "still_on" else "")
        keys.append(Key(text, partial(draw_device_key, styles[row.device])))
    signs = {
        "bar": view.has_bars,
        "band": view.has_bands,
        "off": bool(view.off),
        "open": bool(view.open),
    }
    keys += [
        Key(SIGNS[sign], partial(_draw_sign, sign), italic=True)
        for sign, used in signs.items()
        if used
    ]
    return keys


def _draw_sign(sign: str, ax: Axes, x: float, transform: Transform) -> None:
    look: dict[str, Any] = {"color": INK, "transform": transform, "clip_on": False}
    middle = x + 0.03
    if sign == "off":
        ax.plot([middle], [0], marker="s", markersize=8, markerfacecolor=(INK, 0.15),
                markeredgewidth=0.8, **look)  # fmt: skip
        ax.plot([middle], [0], marker="x", markersize=5.5, markeredgewidth=1.6, **look)
    elif sign == "bar":
        ax.plot([middle], [0], marker="|", markersize=9, markeredgewidth=1.1, **look)
        for end in (-4.5, 4.5):
            up = {**look, "transform": moved_up(ax, transform, end)}
            ax.plot([middle], [0], marker="_", markersize=CAP_PT, markeredgewidth=1.0, **up)
        ax.plot([middle], [0], marker="o", markersize=MARK_PT, markeredgewidth=0.0, **look)
    elif sign == "band":
        ax.plot([x, x + 0.06], [0, 0], linewidth=6.0, alpha=0.28, solid_capstyle="butt", **look)
        ax.plot([x, x + 0.06], [0, 0], linewidth=1.1, **look)
    else:
        ax.annotate(
            "", xy=(x, 0.0), xycoords=moved_up(ax, transform, 2.5), xytext=ARROW_PT,
            textcoords="offset points", annotation_clip=False,
            arrowprops={"arrowstyle": "<-", "color": INK, "linewidth": 1.3, "shrinkA": 0,
                        "shrinkB": 0},
        )  # fmt: skip
