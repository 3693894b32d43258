"""How each device's line ends in the figure of the charge: a box, or an arrow."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.show.cells import of_run, rows_of
from kit.show.figures.base import MIN_PER_H
from kit.show.lasting import off_known
from kit.show.reading_ranges import READ_OFF

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from matplotlib.axes import Axes

    from kit.results import Results
    from kit.show.look import Style
    from kit.show.reading_ranges import ReadingRanges

__all__ = ["OffBox", "OpenEnd", "draw_off_boxes", "draw_open_ends", "off_boxes", "open_ends"]

ARROW_PT = (15.0, -5.0)
"""An open end goes on to the right, and down: how fast is not said."""


@dataclass(frozen=True, kw_only=True)
class OffBox:
    """A power-off: between which two moments, and at which charge by the display.

    Parameters
    ----------
    last_t, last_pct
        Time (min) and percentage of the last reading.
    low_min, high_min
        Last seen on, first seen off (min).
    mark_pct, high_pct
        Where the cross stands, and the highest charge that the display allows (%); the lowest
        is 0.
    noted
        Whether a percentage was noted with the power-off.
    """

    device: str
    last_t: float
    last_pct: float
    low_min: float
    high_min: float
    mark_pct: float
    high_pct: float
    noted: bool


@dataclass(frozen=True, kw_only=True)
class OpenEnd:
    """A device that was not seen off: its last reading, and when it was last seen on (min)."""

    device: str
    last_t: float
    last_pct: float
    last_on_min: float


def _last(readings: ReadingRanges, device: int) -> tuple[float, float] | None:
    mine = readings.of(device)
    return (float(mine.t[-1]), float(mine.soc[-1])) if len(mine) else None


def off_boxes(results: Results, readings: ReadingRanges, *, run: int = 1) -> tuple[OffBox, ...]:
    """Return the power-offs of a run; devices without a reading are left out.

    Notes
    -----
    A percentage noted with the power-off is the last one seen: the charge was then at most what
    that number stands for. Where none was noted it was at most ``off_pct_max``, as everywhere in
    the analysis, and not above the last reading.
    """
    session = results.session
    place = {d.id: i for i, d in enumerate(session.devices)}
    noted = of_run(session.power_offs, run).drop_duplicates("device").set_index("device")
    boxes = []
    for row in rows_of(of_run(results.runtimes, run)):
        last = _last(readings, place[row.device])
        if last is None or not off_known(row):
            continue
        mine = readings.of(place[row.device])
        shown = float(noted["soc_pct"].get(row.device, math.nan))
        if math.isnan(shown):
            high = min(session.assumptions.off_pct_max, float(mine.high[-1]))
            mark = high / 2.0
        else:
            step = float(readings.step[place[row.device]])
            above = READ_OFF[session.device(row.device).gauge.rounding][1] * step
            mark, high = shown, shown + above
        boxes.append(
            OffBox(
                device=row.device, last_t=last[0], last_pct=last[1],
                low_min=float(row.off_low_min), high_min=float(row.off_high_min),
                mark_pct=mark, high_pct=high, noted=not math.isnan(shown),
            )
        )  # fmt: skip
    return tuple(boxes)


def open_ends(results: Results, readings: ReadingRanges, *, run: int = 1) -> tuple[OpenEnd, ...]:
    """Return the devices of a run that were not seen off; those without a reading left out."""
    place = {d.id: i for i, d in enumerate(results.session.devices)}
    ends = []
    for row in rows_of(of_run(results.runtimes, run)):
        last = _last(readings, place[row.device])
        if last is None or not row.right_censored or math.isnan(row.runtime_h_low):
            continue
        seen = last[0] if math.isnan(row.off_low_min) else max(last[0], float(row.off_low_min))
        ends.append(OpenEnd(device=row.device, last_t=last[0], last_pct=last[1], last_on_min=seen))
    return tuple(ends)


def draw_off_boxes(ax: Axes, boxes: Sequence[OffBox], styles: Mapping[str, Style]) -> None:
    """Draw each power-off as a box with a cross, and a dotted line to it from the last reading."""
    from matplotlib.patches import Rectangle

    for box in boxes:
        colour = styles[box.device].colour
        low, high = box.low_min / MIN_PER_H, box.high_min / MIN_PER_H
        middle = (low + high) / 2.0
        ax.plot([box.last_t / MIN_PER_H, middle], [box.last_pct, box.mark_pct], color=colour,
                linewidth=1.1, linestyle=(0, (1, 1.5)), zorder=2)  # fmt: skip
        ax.add_patch(
            Rectangle((low, 0.0), high - low, box.high_pct, facecolor=(colour, 0.3),
                      edgecolor=colour, linewidth=0.8, zorder=2.5, clip_on=False)
        )  # fmt: skip
        ax.plot([middle], [box.mark_pct], marker="x", color=colour, markersize=5.5,
                markeredgewidth=1.6, linestyle="none", zorder=5, clip_on=False)  # fmt: skip


def draw_open_ends(ax: Axes, ends: Sequence[OpenEnd], styles: Mapping[str, Style]) -> None:
    """Draw an arrow on from the last reading, after a dashed line to when it was last seen on."""
    for end in ends:
        colour = styles[end.device].colour
        t = end.last_on_min / MIN_PER_H
        if end.last_on_min > end.last_t:
            ax.plot([end.last_t / MIN_PER_H, t], [end.last_pct] * 2, color=colour, linewidth=1.1,
                    linestyle=(0, (4, 2)), zorder=2)  # fmt: skip
        ax.annotate(
            "", xy=(t, end.last_pct), xytext=ARROW_PT, textcoords="offset points",
            annotation_clip=False,
            arrowprops={"arrowstyle": "<-", "color": colour, "linewidth": 1.3, "shrinkA": 0,
                        "shrinkB": 0},
        )  # fmt: skip
