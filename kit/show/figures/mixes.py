"""Who lasts longest as one activity of a mix takes more or less of the time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.labels import FIGURE_WIDTH, shorten, text_width
from kit.show.cells import rows_of
from kit.show.figures.base import bare, named_rows, short_names, styles_of, write
from kit.show.look import INK, SMALL_PT
from kit.show.wording.mixing import changing_shifts

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.results import Results

__all__ = ["plot_mix_shifts"]

CHARACTER = 0.021
"""Width of one character of a name on the axis of shares, which runs from 0 to 1."""
HALF = 0.18
BELOW, MARK_AT = 0.39, 0.25
"""Half the height of a strip in its row; below its middle, names that do not fit, and the share."""


def plot_mix_shifts(results: Results, ax: Axes) -> Axes:
    """Draw a strip for each activity of a mix: the device in front at each share of the time.

    Filled: the lead stands. Outlined: in front by the estimate alone. The tick is the share that
    the activity has in the mix.

    Returns
    -------
    Axes
        ``ax``. Share of the time (%) from left to right.
    """
    from matplotlib.patches import Rectangle

    names, styles = short_names(results), styles_of(results)
    labels = []
    strips = changing_shifts(results).groupby(["mix", "activity"], sort=False)
    for y, ((mix, activity), here) in enumerate(strips):
        labels.append(shorten(f"{activity} in {mix}", FIGURE_WIDTH + 8))
        for row in rows_of(here):
            colour = styles[row.device].colour
            width = row.share_to - row.share_from
            ax.add_patch(
                Rectangle(
                    (row.share_from + 0.003, y - HALF), width - 0.006, 2 * HALF,
                    facecolor=colour if row.supported else "none", edgecolor=colour,
                    alpha=0.45 if row.supported else 1.0, linewidth=1.3,
                )
            )  # fmt: skip
            name = names.device[row.device]
            if text_width(name) * CHARACTER < width:
                write(ax, row.share_from + width / 2, y, name, ha="center", va="center")
            else:
                at_end = row.share_to > 0.9
                write(ax, 1.0 if at_end else row.share_from, y + BELOW, name,
                      ha="right" if at_end else "left", va="center",
                      fontsize=SMALL_PT - 0.5)  # fmt: skip
        share = float(here["share"].iloc[0])
        ax.plot([share], [y + MARK_AT], marker="^", color=INK, markersize=4.5, linestyle="none",
                clip_on=False)  # fmt: skip
    named_rows(ax, labels)
    ax.set_ylim(len(labels) - 0.42, -0.75)  # the last names stand above the axis
    ax.set_xlim(0, 1)
    ax.set_xticks([0, 0.25, 0.5, 0.75, 1.0], ["0", "25", "50", "75", "100"])
    ax.set_xlabel("Share of the time that the activity takes (%)")
    bare(ax, "bottom")
    return ax
