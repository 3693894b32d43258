"""The rates of all devices in one phase, with their intervals."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.labels import FIGURE_WIDTH, shorten
from kit.show.cells import Names, of_run, rows_of
from kit.show.figures.base import bare, device_ticks, short_names, styles_of, write
from kit.show.flag_words import status_text
from kit.show.look import BAND, SMALL_PT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.results import Results

__all__ = ["plot_rates"]


def plot_rates(
    results: Results,
    ax: Axes,
    *,
    run: int = 1,
    phase: str,
    show_names: bool = True,
    title_width: int = 2 * FIGURE_WIDTH,
    right: float = math.inf,
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
    right
        Where the axis ends (pp/h): what goes on beyond it ends in an arrow there.

    Returns
    -------
    Axes
        ``ax``. Rates in pp/h, devices in row order from the top.
    """
    names, styles = short_names(results), styles_of(results)
    devices = [d.id for d in results.session.devices]
    frame = of_run(results.phase_drain, run)
    frame = frame[frame["phase"] == phase]
    for measurand, width, alpha in (("true_charge", 1.0, 1.0), ("displayed", 5.5, 0.45)):
        for row in rows_of(frame[frame["measurand"] == measurand]):
            y = devices.index(row.device)
            colour = styles[row.device].colour
            if not math.isnan(row.rate_pp_per_h_low):
                high = min(row.rate_pp_per_h_high, right)
                if row.rate_pp_per_h_low < high:
                    ax.hlines(y, row.rate_pp_per_h_low, high, color=colour, linewidth=width,
                              alpha=alpha, zorder=2)  # fmt: skip
                if row.rate_pp_per_h_high > right:
                    ax.plot([right], [y], marker=">", color=colour, markersize=4.5,
                            markeredgewidth=0.0, clip_on=False, zorder=3)  # fmt: skip
            if measurand == "displayed" and not math.isnan(row.rate_pp_per_h):
                face = "none" if row.status == "died" else colour
                ax.plot([row.rate_pp_per_h], [y], marker=styles[row.device].marker, color=colour,
                        markerfacecolor=face, markersize=4.0, linestyle="none",
                        zorder=3)  # fmt: skip
            elif measurand == "displayed" and math.isnan(row.rate_pp_per_h_low):
                write(ax, 0.02, y, status_text(row.status), va="center", fontsize=SMALL_PT - 1,
                       style="italic", transform=ax.get_yaxis_transform())  # fmt: skip
    title = shorten(f"{names.number[phase]} {Names.of(results.session).phase[phase]}", title_width)
    write(ax, 0.0, 1.03, title, transform=ax.transAxes, va="bottom", fontweight="bold")
    device_ticks(ax, [names.device[d] if show_names else "" for d in devices])
    ax.grid(visible=True, axis="x", color=BAND, alpha=0.25, linewidth=0.6)
    bare(ax, "bottom")
    return ax
