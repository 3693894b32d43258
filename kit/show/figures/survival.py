"""The share of runs still on over time, for devices that were run several times."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.labels import FIGURE_WIDTH
from kit.show.curves import curves_drawn, whose
from kit.show.figures.base import bare, styles_of, write
from kit.show.look import BAND
from kit.show.tables.cells import rows_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.results import Results

__all__ = ["plot_survival"]


def plot_survival(results: Results, ax: Axes) -> Axes:
    """Draw a step for each device, else each kind, with its pointwise interval, where stated.

    Between the two ends of a window the share falls somewhere: the line there is slanted.

    Returns
    -------
    Axes
        ``ax``. Share of the runs (%) over the runtime (h).
    """
    styles = list(styles_of(results).values())
    frame = curves_drawn(results)
    for k, (_, here) in enumerate(frame.groupby(["device", "name"], sort=False)):
        style = styles[k]
        t, share, low, high = [0.0], [100.0], [100.0], [100.0]
        for row in rows_of(here):
            t += [row.time_h_low, row.time_h_high]
            share += [share[-1], row.share_on * 100]
            low += [low[-1], row.share_on_low * 100]
            high += [high[-1], row.share_on_high * 100]
        ax.plot(t, share, color=style.colour, linewidth=1.6, dashes=style.dashes or (1, 0))
        ax.plot(t[2::2], share[2::2], linestyle="none", marker=style.marker, markersize=4.5,
                color=style.colour)  # fmt: skip
        ax.fill_between(t, low, high, color=style.colour, alpha=0.10, linewidth=0)
        y = 0.95 - 0.09 * k
        ax.plot([1.03, 1.075], [y, y], color=style.colour, linewidth=1.5, marker=style.marker,
                markersize=5, markevery=[1], transform=ax.transAxes, clip_on=False,
                dashes=style.dashes or (1, 0))  # fmt: skip
        whom = whose(results, next(iter(rows_of(here))), FIGURE_WIDTH)
        write(ax, 1.095, y, whom, transform=ax.transAxes, va="center")
    first = float(frame["time_h_low"].min())
    last = float(frame["time_h_high"].max())
    ax.set_xlim(max(0.0, first - 0.25 * (last - first)), last + 0.05 * (last - first))
    ax.set_ylim(-3, 103)
    ax.set_xlabel("Runtime (h)")
    ax.set_ylabel("Runs still on (%)")
    ax.grid(visible=True, axis="y", color=BAND, alpha=0.25, linewidth=0.6)
    bare(ax, "left", "bottom")
    return ax
