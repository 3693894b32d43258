"""Figures: ``plot_x(results, ax) -> ax``. They draw on the axes given, and nothing else.

No statistics, no saving, no pyplot state. Intervals are always drawn. Labels are shortened to
``kit.labels.FIGURE_WIDTH`` columns and are never read as mathematics. ``kit.pictures`` puts the
axes together, sets the type and writes SVG.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from kit.labels import FIGURE_WIDTH, shorten, text_width
from kit.lasting import by_order, off_known, runtime_bounds, runtime_words
from kit.look import BAND, BAND_ALPHA, FONT_PT, INK, SMALL_PT, device_styles
from kit.tables.cells import Names, of_run, place_word, rows_of
from kit.units import MISSING, clock, estimate

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from matplotlib.axes import Axes

    from kit.look import Style
    from kit.results import Results
    from kit.session import Run

__all__ = ["plot_charge", "plot_pairs", "plot_rates", "plot_replicates", "plot_runtimes"]

MIN_PER_H = 60.0
MAX_POINTS = 400
"""Points of one device's line that are drawn; a denser log is thinned to its changes."""
MAX_MARKERS = 40
"""Readings of one device up to which each gets its marker."""


def _styles(results: Results) -> dict[str, Style]:
    return device_styles([d.id for d in results.session.devices])


def _names(results: Results) -> Names:
    return Names.of(results.session, FIGURE_WIDTH)


def _run(results: Results, number: int) -> Run:
    return next(run for run in results.session.runs if run.number == number)


def _write(ax: Axes, x: float, y: float, text: str, **look: Any) -> None:
    """Write plain text: ``$`` means nothing in it."""
    given = {"color": INK, "fontsize": SMALL_PT, "parse_math": False, **look}
    ax.text(x, y, text, **given)


def _bare(ax: Axes, *keep: str) -> None:
    """Leave only the spines named, without the others' ticks."""
    import seaborn as sns

    sns.despine(
        ax=ax,
        left="left" not in keep,
        right="right" not in keep,
        top="top" not in keep,
        bottom="bottom" not in keep,
    )


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
        (_run(results, run).stop_min or math.nan) / MIN_PER_H,
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
        _write(
            ax, (low + high) / 2, 1.015, number,
            transform=ax.get_xaxis_transform(), ha="center", va="bottom", fontsize=SMALL_PT - 0.5,
        )  # fmt: skip


def _hour_ticks(results: Results, ax: Axes, run: int, end: float) -> None:
    """Label the hours since the start, with the clock below where it is known."""
    step = next((s for s in (0.25, 0.5, 1, 2, 3, 4, 6, 12) if end / s <= 11), 24)
    start = _run(results, run).start
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
    styles = _styles(results)
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
    _bare(ax, "left", "bottom")
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
    names = _names(results)
    rows = by_order(of_run(results.runtimes, run))
    step = min(0.095, 1.0 / (len(rows) + 1.35))
    for k, row in enumerate(rows):
        style, y = styles[row.device], 0.97 - k * step
        ax.plot([1.03, 1.075], [y, y], color=style.colour, linewidth=1.5, marker=style.marker,
                markersize=5, markeredgewidth=0, markevery=[1], transform=ax.transAxes,
                clip_on=False, dashes=style.dashes or (1, 0))  # fmt: skip
        text = names.device[row.device] + (" (still on)" if row.status == "still_on" else "")
        _write(ax, 1.095, y, text, transform=ax.transAxes, va="center")
    if any(off_known(row) for row in rows):
        y = 0.97 - (len(rows) + 0.35) * step
        ax.plot([1.0525], [y], marker="x", color=INK, markersize=6, markeredgewidth=1.6,
                transform=ax.transAxes, clip_on=False)  # fmt: skip
        _write(ax, 1.095, y, "powered off", transform=ax.transAxes, va="center")


def plot_rates(
    results: Results,
    ax: Axes,
    *,
    run: int = 1,
    phase: str,
    show_names: bool = True,
    title_width: int = 2 * FIGURE_WIDTH,
) -> Axes:
    """Draw the rates of all devices in one phase: dots with two nested intervals.

    The thick bar is the interval of the displayed rate; the thin line, with the gauge's error
    in it, is the one for comparing devices.

    Parameters
    ----------
    phase
        Id of the phase.
    show_names
        Write the devices' names to the left of the axes.
    title_width
        Columns that the phase's name may take above the axes.

    Returns
    -------
    Axes
        ``ax``. Rates in pp/h, devices in row order from the top.
    """
    from kit.flag_words import status_text

    names, styles = _names(results), _styles(results)
    devices = [d.id for d in results.session.devices]
    frame = of_run(results.phase_drain, run)
    frame = frame[frame["phase"] == phase]
    for measurand, width, alpha in (("true_charge", 1.0, 1.0), ("displayed", 4.5, 0.45)):
        for row in rows_of(frame[frame["measurand"] == measurand]):
            y = devices.index(row.device)
            colour = styles[row.device].colour
            if not math.isnan(row.rate_pp_per_h_low):
                ax.hlines(y, row.rate_pp_per_h_low, row.rate_pp_per_h_high, color=colour,
                          linewidth=width, alpha=alpha, zorder=2)  # fmt: skip
            if measurand == "displayed" and not math.isnan(row.rate_pp_per_h):
                face = "none" if row.status == "died" else colour
                ax.plot([row.rate_pp_per_h], [y], marker=styles[row.device].marker, color=colour,
                        markerfacecolor=face, markersize=5.5, linestyle="none",
                        zorder=3)  # fmt: skip
            elif measurand == "displayed" and math.isnan(row.rate_pp_per_h_low):
                _write(ax, 0.02, y, status_text(row.status), va="center", fontsize=SMALL_PT - 1,
                       style="italic", transform=ax.get_yaxis_transform())  # fmt: skip
    title = shorten(f"{names.number[phase]} {Names.of(results.session).phase[phase]}", title_width)
    _write(ax, 0.0, 1.03, title, transform=ax.transAxes, va="bottom", fontweight="bold")
    _device_ticks(ax, [names.device[d] if show_names else "" for d in devices])
    ax.grid(visible=True, axis="x", color=BAND, alpha=0.25, linewidth=0.6)
    _bare(ax, "bottom")
    return ax


def plot_runtimes(results: Results, ax: Axes, *, run: int = 1) -> Axes:
    """Draw runtimes as intervals, longest first; an arrow for a device that was not seen off.

    Returns
    -------
    Axes
        ``ax``. Runtime in hours; the axis need not start at zero and says where it does.
    """
    names, styles = _names(results), _styles(results)
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
            if row.status == "still_on":
                words += ", still on"
            elif row.right_censored:
                words += ", end not seen"
        _write(ax, 1.02, y, words, transform=ax.get_yaxis_transform(), va="center")
        if y + 1 < len(rows):
            pair = verdicts.get(frozenset((row.device, rows[y + 1].device)), "")
            if pair == "too_close":
                _write(ax, 1.02, y + 0.5, "≈ too close to call", va="center", style="italic",
                       fontsize=SMALL_PT - 0.5, transform=ax.get_yaxis_transform())  # fmt: skip
    _device_ticks(ax, [names.device[r.device] for r in rows])
    ax.set_xlim(left, right)
    ax.set_xlabel("Runtime (h)" + ("" if left == 0 else f"; the axis starts at {left:.1f} h"))
    _bare(ax, "bottom")
    return ax


def _draw_runtime(ax: Axes, y: int, row: Any, style: Style, right: float) -> None:
    if row.right_censored:
        ax.annotate(
            "", xy=(right, y), xytext=(row.runtime_h_low, y), annotation_clip=False,
            arrowprops={"arrowstyle": "->", "color": style.colour, "linewidth": 1.6,
                        "linestyle": (0, (4, 2)), "shrinkA": 0, "shrinkB": 0},
        )  # fmt: skip
        ax.plot([row.runtime_h_low], [y], marker=style.marker, color=style.colour, markersize=6.5,
                markerfacecolor="none", markeredgewidth=1.5, linestyle="none")  # fmt: skip
        return
    ax.hlines(y, row.runtime_h_low, row.runtime_h_high, color=style.colour, linewidth=4.5,
              alpha=0.45, zorder=2)  # fmt: skip
    ax.plot([row.runtime_h], [y], marker=style.marker, color=style.colour, markersize=6,
            linestyle="none", zorder=3)  # fmt: skip


def _device_ticks(ax: Axes, labels: Sequence[str]) -> None:
    """Write names down the left side, first at the top."""
    ax.set_yticks(range(len(labels)))
    ax.set_yticklabels(labels, parse_math=False)
    ax.set_ylim(len(labels) - 0.4, -0.6)
    ax.tick_params(axis="y", length=0)


SIGNS = {"too_close": "≈", "both_still_on": "≈", "unknown": "?", "b": "×"}
SIGN_WORDS = {
    "●": "the row's device lasted longer",
    "≈": "too close to call",
    "?": "cannot be said",
    "×": "the column's device lasted longer",
}


def _verdicts(results: Results, run: int) -> dict[tuple[str, str], str]:
    """Return the verdict on each pair, seen from either device (``a`` = the first)."""
    found = {}
    for pair in rows_of(of_run(results.runtime_pairs, run)):
        turned = {"a": "b", "b": "a"}.get(pair.verdict, pair.verdict)
        found[pair.device_a, pair.device_b] = pair.verdict
        found[pair.device_b, pair.device_a] = turned
    return found


def plot_pairs(results: Results, ax: Axes, *, run: int = 1) -> Axes:
    """Draw who outlasted whom: a disc where the row's device lasted longer, ``≈`` for a tie.

    Rows and columns run from the longest-lasting device to the shortest, so the figure is a
    staircase; the place of each device stands to the right, and what the signs mean.

    Returns
    -------
    Axes
        ``ax``, its cells square. One cell for each pair of devices.
    """
    from matplotlib.patches import Rectangle

    names, styles = _names(results), _styles(results)
    rows = by_order(of_run(results.runtimes, run))
    order = [r.device for r in rows]
    n = len(order)
    verdict = _verdicts(results, run)
    used = []
    right = ax.get_yaxis_transform()
    for y, row in enumerate(rows):
        for x in range(y + 1, n):
            sign = SIGNS.get(verdict.get((row.device, order[x]), "unknown"), "●")
            used.append(sign)
            ax.add_patch(
                Rectangle((x - 0.46, y - 0.46), 0.92, 0.92, facecolor=BAND, alpha=BAND_ALPHA,
                          edgecolor="none")
            )  # fmt: skip
            if sign == "●":
                ax.plot([x], [y], marker="o", markersize=9, color=styles[row.device].colour,
                        markeredgewidth=0)  # fmt: skip
            else:
                _write(ax, x, y, sign, ha="center", va="center_baseline", fontsize=FONT_PT + 2)
        _write(ax, 1.06, y, place_word(row.rank_best, row.rank_worst), transform=right,
               va="center")  # fmt: skip
    _device_ticks(ax, [names.device[d] for d in order])
    ax.set_xticks(range(1, n))
    ax.set_xticklabels(
        [names.device[d] for d in order[1:]],
        rotation=40, ha="left", rotation_mode="anchor", parse_math=False,
    )  # fmt: skip
    ax.xaxis.tick_top()
    ax.tick_params(axis="x", length=0, pad=1)
    ax.set_xlim(0.45, n - 0.45)
    ax.set_aspect("equal", adjustable="box", anchor="W")
    for k, sign in enumerate(s for s in SIGN_WORDS if s in used):
        ax.annotate(
            f"{sign}  {SIGN_WORDS[sign]}", (1.06, 0.75 * k), xycoords=right, xytext=(92, 0),
            textcoords="offset points", va="center", color=INK, fontsize=SMALL_PT,
        )  # fmt: skip
    _bare(ax)
    return ax


def plot_replicates(results: Results, ax: Axes) -> Axes:
    """Draw the runtimes of every run, device by device, with the mean and its interval.

    Returns
    -------
    Axes
        ``ax``. Runtime in hours; one small mark a run, a tick for the mean.
    """
    names, styles = _names(results), _styles(results)
    devices = [d.id for d in results.session.devices]
    means = {r.device: r for r in rows_of(results.replicates) if r.quantity == "runtime"}
    for y, device in enumerate(devices):
        style = styles[device]
        mine = results.runtimes[results.runtimes["device"] == device]
        for row in rows_of(mine):
            if math.isnan(row.runtime_h_low):
                continue
            face = "none" if row.right_censored else style.colour
            ax.plot([row.runtime_h], [y + 0.18], marker=style.marker, color=style.colour,
                    markerfacecolor=face, markersize=5, linestyle="none")  # fmt: skip
        mean = means.get(device)
        words = MISSING
        if mean is not None and not math.isnan(mean.mean):
            ax.hlines(y - 0.16, mean.mean_low, mean.mean_high, color=style.colour, linewidth=4.5,
                      alpha=0.45)  # fmt: skip
            ax.plot([mean.mean], [y - 0.16], marker="|", color=style.colour, markersize=11,
                    markeredgewidth=2.0)  # fmt: skip
            words = estimate(mean.mean, mean.mean_low, mean.mean_high, "h")
        _write(ax, 1.02, y, words, transform=ax.get_yaxis_transform(), va="center")
    _device_ticks(ax, [names.device[d] for d in devices])
    ax.set_xlabel("Runtime (h): each run as a mark, the mean as a bar with its interval")
    ax.grid(visible=True, axis="x", color=BAND, alpha=0.25, linewidth=0.6)
    _bare(ax, "bottom")
    return ax
