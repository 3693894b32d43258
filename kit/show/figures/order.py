"""Runtimes, the order of pairs, and repeated runs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from kit.runtime.replicates import RUNTIME
from kit.show.cells import of_run, rows_of
from kit.show.figures.base import (
    MIN_PER_H,
    bare,
    device_ticks,
    named_rows,
    row_grid,
    row_words,
    short_names,
    styles_of,
    write,
)
from kit.show.lasting import by_order, runtime_bounds, runtime_words, was_charged
from kit.show.look import BAND, BAND_ALPHA, FONT_PT, INK, SMALL_PT
from kit.units import MISSING, estimate, h_mm

if TYPE_CHECKING:
    from collections.abc import Iterable

    from matplotlib.axes import Axes

    from kit.results import Results
    from kit.show.look import Style
    from kit.show.pair_order import PairOrder

__all__ = ["plot_pairs", "plot_replicates", "plot_runtimes"]

TICK_STEPS_MIN = (5, 10, 15, 30, 60, 120, 180, 360)

MAX_LANES = 8
"""Runs that get a lane each in the figure of all runs; more share them."""
RUNS_FROM, RUNS_SPAN, MEAN_AT = -0.19, 0.42, 0.29
"""Within a row: the first lane, what the lanes take, and the mean."""

SIGNS = {"too_close": "≈", "both_still_on": "?", "unknown": "?", "b": "×"}
SIGN_WORDS = {
    "●": "row outlasted column",
    "≈": "too close to call",
    "?": "cannot be said",
    "×": "column outlasted row",
}


def plot_runtimes(results: Results, ax: Axes, *, run: int = 1) -> Axes:
    """Draw runtimes as intervals, longest first; an arrow for a device that was not seen off.

    Returns
    -------
    Axes
        ``ax``. Runtime in hours; the axis need not start at zero and says where it does.
    """
    names, styles = short_names(results), styles_of(results)
    rows = by_order(of_run(results.runtimes, run))
    ends = [v for r in rows for v in (r.runtime_h_low, r.runtime_h_high) if v == v]
    low, high = (min(ends), max(ends)) if ends else (0.0, 1.0)
    pad = max(high - low, 0.25)
    left, right = max(0.0, low - 0.08 * pad), high + 0.12 * pad
    verdicts = {
        frozenset((p.device_a, p.device_b)): p.verdict
        for p in rows_of(of_run(results.runtime_pairs, run))
    }
    for y, row in enumerate(rows):
        style = styles[row.device]
        words = "not recorded"
        if not math.isnan(row.runtime_h_low):
            ax.hlines(y, left, row.runtime_h_low, color=BAND, alpha=0.35, linewidth=0.8, zorder=1)
            _draw_runtime(ax, y, row, style, right)
            bounds = runtime_bounds(row)
            words = f"{runtime_words(row)} h" + ("" if row.right_censored else f"  ({bounds})")
            if was_charged(row):
                words += ", charged"
            elif row.status == "still_on":
                words += ", still on"
            elif row.right_censored:
                words += ", end not seen"
        row_words(ax, y, words)
        if y + 1 < len(rows):
            pair = verdicts.get(frozenset((row.device, rows[y + 1].device)), "")
            if pair == "too_close":
                write(ax, 1.0, y + 0.24, "≈ too close to call", ha="right", va="center",
                      style="italic", fontsize=SMALL_PT - 0.5,
                      transform=ax.get_yaxis_transform())  # fmt: skip
    named_rows(ax, [names.device[r.device] for r in rows])
    step = next((s for s in TICK_STEPS_MIN if pad * MIN_PER_H / s <= 7), 720)
    first = math.ceil(left * MIN_PER_H / step)
    ticks = [k * step for k in range(first, int(right * MIN_PER_H / step) + 1)]
    ax.set_xticks([t / MIN_PER_H for t in ticks], [h_mm(t) for t in ticks])
    ax.set_xlim(left, right)
    starts = "" if left == 0 else f"; the axis starts at {h_mm(left * MIN_PER_H)}"
    ax.set_xlabel(f"Runtime (h:mm){starts}")
    bare(ax, "bottom")
    return ax


def _draw_open(
    ax: Axes, y: float, row: Any, style: Style, right: float, *, linewidth: float
) -> None:
    """Draw the arrow of a run that was not seen to its end."""
    ax.annotate(
        "", xy=(right, y), xytext=(row.runtime_h_low, y), annotation_clip=False,
        arrowprops={"arrowstyle": "->", "color": style.colour, "linewidth": linewidth,
                    "linestyle": (0, (4, 2)), "shrinkA": 0, "shrinkB": 0},
    )  # fmt: skip


def _draw_runtime(ax: Axes, y: int, row: Any, style: Style, right: float) -> None:
    if row.right_censored:
        _draw_open(ax, y, row, style, right, linewidth=1.6)
        ax.plot([row.runtime_h_low], [y], marker=style.marker, color=style.colour, markersize=5.5,
                markerfacecolor="none", markeredgewidth=1.4, linestyle="none")  # fmt: skip
        return
    ax.hlines(y, row.runtime_h_low, row.runtime_h_high, color=style.colour, linewidth=6.0,
              alpha=0.45, zorder=2)  # fmt: skip
    ax.plot([row.runtime_h], [y], marker=style.marker, color=style.colour, markersize=4.5,
            markeredgewidth=0.0, linestyle="none", zorder=3)  # fmt: skip


def plot_pairs(results: Results, ax: Axes, *, order: PairOrder) -> Axes:
    """Draw who outlasted whom: a disc where the row's device lasted longer, ``≈`` for a tie.

    Rows and columns run from the longest-lasting device to the shortest, so the figure is a
    staircase; the place of each device stands to the right, and what the signs mean.

    Parameters
    ----------
    order
        Of a run or over runs (`kit.show.pair_order`).

    Returns
    -------
    Axes
        ``ax``, its cells square. One cell for each pair of devices.
    """
    from matplotlib.patches import Rectangle

    names, styles = short_names(results), styles_of(results)
    n = len(order.devices)
    used = []
    right = ax.get_yaxis_transform()
    for y, device in enumerate(order.devices):
        for x in range(y + 1, n):
            sign = SIGNS.get(order.verdict(device, order.devices[x]), "●")
            used.append(sign)
            ax.add_patch(
                Rectangle((x - 0.46, y - 0.46), 0.92, 0.92, facecolor=BAND, alpha=BAND_ALPHA,
                          edgecolor="none")
            )  # fmt: skip
            if sign == "●":
                ax.plot([x], [y], marker="o", markersize=10, color=styles[device].colour,
                        markeredgewidth=0)  # fmt: skip
            else:
                write(ax, x, y, sign, ha="center", va="center_baseline", fontsize=FONT_PT + 3)
        write(ax, 1.06, y, order.places[y], transform=right, va="center", fontsize=FONT_PT)
    write(ax, 1.06, -0.85, "place", transform=right, va="center", style="italic")
    device_ticks(ax, [names.device[d] for d in order.devices])
    ax.set_xticks(range(1, n))
    ax.set_xticklabels(
        [names.device[d] for d in order.devices[1:]],
        rotation=40, ha="left", rotation_mode="anchor", parse_math=False, fontsize=FONT_PT,
    )  # fmt: skip
    ax.xaxis.tick_top()
    ax.tick_params(axis="x", length=0, pad=1)
    ax.set_xlim(0.45, n - 0.45)
    ax.set_aspect("equal", adjustable="box", anchor="W")
    signs = "\n".join(f"{sign}  {SIGN_WORDS[sign]}" for sign in SIGN_WORDS if sign in used)
    ax.annotate(
        signs, (0.0, 0.0), xycoords="axes fraction", xytext=(0, -5), textcoords="offset points",
        va="top", color=INK, fontsize=FONT_PT,
    )  # fmt: skip
    bare(ax)
    return ax


def plot_replicates(results: Results, ax: Axes) -> Axes:
    """Draw the runtimes of every run with their bounds, and the mean with its interval.

    Returns
    -------
    Axes
        ``ax``. Runtime in hours; a lane for each run under the name, in their order, and below
        them the mean: a tick on a thick bar. An arrow for a run whose end was not seen.
    """
    names, styles = short_names(results), styles_of(results)
    devices = [d.id for d in results.session.devices]
    means = {r.device: r for r in rows_of(results.replicates) if r.quantity == RUNTIME}
    place = {run.number: k for k, run in enumerate(results.session.runs)}
    lanes = min(len(place), MAX_LANES)
    right = _right_of_runs(results, means.values())
    for y, device in enumerate(devices):
        style = styles[device]
        for row in rows_of(results.runtimes[results.runtimes["device"] == device]):
            if not math.isnan(row.runtime_h_low):
                lane = place[row.run] % lanes
                _draw_run(ax, y + RUNS_FROM + lane * RUNS_SPAN / lanes, row, style, right)
        mean = means.get(device)
        words = MISSING
        if mean is not None and not math.isnan(mean.mean):
            at = y + MEAN_AT
            ax.hlines(at, mean.mean_low, mean.mean_high, color=style.colour, linewidth=4.5,
                      alpha=0.45)  # fmt: skip
            ax.plot([mean.mean], [at], marker="|", color=style.colour, markersize=10,
                    markeredgewidth=2.0)  # fmt: skip
            words = estimate(mean.mean, mean.mean_low, mean.mean_high, "h")
        if mean is not None and "charged_run" in mean.flags.split(";"):
            words += "; ×: charged, left out"
        row_words(ax, y, words)
    named_rows(ax, [names.device[d] for d in devices])
    ax.margins(x=0.04)
    ax.set_xlabel("Runtime (h)")
    row_grid(ax, len(devices))
    bare(ax, "bottom")
    return ax


def _right_of_runs(results: Results, means: Iterable[Any]) -> float:
    """Return where arrows of open runs end: a little beyond all that is known."""
    ends = results.runtimes[["runtime_h_low", "runtime_h_high"]].to_numpy(dtype=float).ravel()
    known = [v for v in (*ends, *(m.mean_high for m in means)) if math.isfinite(v)]
    low, high = min(known, default=0.0), max(known, default=1.0)
    return high + max(0.12 * (high - low), 0.05)


def _draw_run(ax: Axes, y: float, row: Any, style: Style, right: float) -> None:
    """Draw one run: its bounds, or an arrow from the last time that it was seen on.

    A cross for a run in which the device was charged, which no mean has.
    """
    if was_charged(row):
        ax.plot([row.runtime_h_low], [y], marker="x", color=style.colour, markersize=4.0,
                linestyle="none", zorder=3)  # fmt: skip
        return
    if row.right_censored:
        _draw_open(ax, y, row, style, right, linewidth=1.2)
        ax.update_datalim([(right, y)])
        at, face = row.runtime_h_low, "none"
    else:
        ax.hlines(y, row.runtime_h_low, row.runtime_h_high, color=style.colour, linewidth=1.4,
                  zorder=2)  # fmt: skip
        at, face = row.runtime_h, style.colour
    ax.plot([at], [y], marker=style.marker, color=style.colour, markerfacecolor=face,
            markersize=4.0, linestyle="none", zorder=3)  # fmt: skip
