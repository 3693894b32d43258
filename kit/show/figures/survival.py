"""The share of runs still on over time, for devices that were run several times."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from kit.labels import FIGURE_WIDTH
from kit.show.cells import rows_of
from kit.show.curves import curves_drawn, whose
from kit.show.figures.base import Key, bare, draw_device_key, keys_below, styles_of
from kit.show.look import BAND

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd
    from matplotlib.axes import Axes

    from kit.results import Results
    from kit.show.look import Style

__all__ = ["plot_survival", "survival_keys"]


def plot_survival(results: Results, ax: Axes) -> Axes:
    """Draw a step for each device, else each kind, with its pointwise interval, where stated.

    Between the two ends of a window the share falls somewhere: the line there is slanted.

    Returns
    -------
    Axes
        ``ax``. Share of the runs (%) over the runtime (h).
    """
    frame = curves_drawn(results)
    for style, _, here in _curves(results):
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
        for edge in (low, high):  # where bands lie on each other, and on paper without colour
            ax.plot(t, edge, color=style.colour, linewidth=0.8, linestyle=(0, (1, 1.5)))
    first = float(frame["time_h_low"].min())
    last = float(frame["time_h_high"].max())
    ax.set_xlim(max(0.0, first - 0.25 * (last - first)), last + 0.05 * (last - first))
    ax.set_ylim(-3, 103)
    ax.set_xlabel("Runtime (h)")
    ax.set_ylabel("Runs still on (%)")
    ax.grid(visible=True, axis="y", color=BAND, alpha=0.25, linewidth=0.6)
    bare(ax, "left", "bottom")
    keys_below(ax, survival_keys(results))
    return ax


def _curves(results: Results) -> Iterator[tuple[Style, str, pd.DataFrame]]:
    """Return style, name and rows of each curve; a device is drawn as in every figure."""
    own = styles_of(results)
    by_place = list(own.values())
    groups = curves_drawn(results).groupby(["device", "name"], sort=False)
    for k, (_, here) in enumerate(groups):
        row = next(iter(rows_of(here)))
        style = own[row.device] if row.of == "device" else by_place[k]
        yield style, whose(results, row, FIGURE_WIDTH), here


def survival_keys(results: Results) -> list[Key]:
    """Return what the curves are of, in their order."""
    return [Key(name, partial(draw_device_key, style)) for style, name, _ in _curves(results)]
