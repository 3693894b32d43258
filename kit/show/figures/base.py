"""What all figures share: names, styles, plain text, bare axes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from kit.labels import FIGURE_WIDTH, text_width
from kit.show.cells import Names
from kit.show.look import BAND, FONT_PT, INK, SMALL_PT, device_styles

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from matplotlib.axes import Axes
    from matplotlib.transforms import Transform

    from kit.results import Results
    from kit.session import Run
    from kit.show.look import Style

__all__ = [
    "LABELS_PT",
    "MIN_PER_H",
    "NARROW_IN",
    "NORMAL_IN",
    "ROW_IN",
    "SHORT_LABELS_PT",
    "Key",
    "bare",
    "device_ticks",
    "draw_device_key",
    "keys_below",
    "keys_height_in",
    "moved_up",
    "named_rows",
    "row_grid",
    "row_line",
    "row_words",
    "run_of",
    "short_names",
    "styles_of",
    "write",
]

MIN_PER_H = 60.0

NARROW_IN = 3.55
"""Width that fits a phone (375 px less its margins) at its own size: no text shrinks, none has to
be scrolled to."""
NORMAL_IN = 5.0
"""Width at which a figure is set where it needs more: a phone scrolls it, its text shrinks not."""
ROW_IN = 0.46
"""Height of a row with its name and words above what is drawn."""
LIFT = 0.40
"""Of that row: how far the words stand above the middle of what is drawn."""
ROW_LINE = (-0.22, 0.40)
"""Of that row: from where to where it is crossed by upright lines."""

KEY_PT = 12.5
LABELS_PT, SHORT_LABELS_PT = 56.0, 44.0
"""Height of a line of the key, and room for the labels of the axis above it: with two lines at
each tick, or one."""
LONG_KEY = 20
"""Columns up to which three keys stand side by side."""


@dataclass(frozen=True)
class Key:
    """One sign of the key below a figure: its words, and what draws it.

    ``draw(ax, x, transform)`` draws to the right of ``x`` (fraction of the axes), about y = 0.
    """

    text: str
    draw: Callable[[Axes, float, Transform], object]
    italic: bool = False


def styles_of(results: Results) -> dict[str, Style]:
    """Return device id → style, the same in every figure."""
    return device_styles([d.id for d in results.session.devices])


def short_names(results: Results) -> Names:
    """Return names short enough for a figure."""
    return Names.of(results.session, FIGURE_WIDTH)


def run_of(results: Results, number: int) -> Run:
    """Return the run with this number."""
    return next(run for run in results.session.runs if run.number == number)


def write(ax: Axes, x: float, y: float, text: str, **look: Any) -> None:
    """Write plain text: ``$`` means nothing in it."""
    given = {"color": INK, "fontsize": SMALL_PT, "parse_math": False, **look}
    ax.text(x, y, text, **given)


def bare(ax: Axes, *keep: str) -> None:
    """Leave only the spines named, without the others' ticks."""
    import seaborn as sns

    sns.despine(
        ax=ax,
        left="left" not in keep,
        right="right" not in keep,
        top="top" not in keep,
        bottom="bottom" not in keep,
    )


def device_ticks(ax: Axes, labels: Sequence[str]) -> None:
    """Write names down the left side, first at the top."""
    ax.set_yticks(range(len(labels)))
    ax.set_yticklabels(labels, parse_math=False)
    ax.set_ylim(len(labels) - 0.4, -0.6)
    ax.tick_params(axis="y", length=0)


def named_rows(ax: Axes, labels: Sequence[str]) -> None:
    """Write names above their rows, first at the top; the rows stand at whole numbers."""
    ax.set_yticks([y - LIFT for y in range(len(labels))])
    ax.set_yticklabels(labels, parse_math=False, ha="left", va="center", fontsize=FONT_PT)
    ax.set_ylim(len(labels) - 0.55, -0.75)
    ax.tick_params(axis="y", length=0, pad=0)


def row_words(ax: Axes, y: float, text: str, **look: Any) -> None:
    """Write words at the right end of a row, level with its name."""
    right = ax.get_yaxis_transform()
    write(ax, 1.0, y - LIFT, text, transform=right, ha="right", va="center", **look)


def row_grid(ax: Axes, rows: int) -> None:
    """Set the ticks of the axis and draw them through the rows, not through their words.

    To be called when the limits of the axis are set.
    """
    from matplotlib.ticker import MaxNLocator

    low, high = ax.get_xlim()
    ticks = [t for t in MaxNLocator(6).tick_values(low, high) if low <= t <= high]
    ax.set_xticks(ticks)
    for t in ticks:
        row_line(ax, t, rows, color=BAND, alpha=0.3, linewidth=0.6, zorder=0)


def row_line(ax: Axes, x: float, rows: int, **look: Any) -> None:
    """Draw an upright line through every row, but for its words."""
    up, down = ROW_LINE
    ax.vlines([x] * rows, [y + up for y in range(rows)], [y + down for y in range(rows)], **look)


def _columns(keys: Sequence[Key]) -> int:
    longest = max((text_width(key.text) for key in keys), default=0)
    return 3 if longest <= LONG_KEY else 2


def keys_height_in(keys: Sequence[Key]) -> float:
    """Return how tall the key is, with the labels of the axis above it (inch)."""
    lines = -(-len(keys) // _columns(keys))
    return (LABELS_PT + KEY_PT * lines) / 72.0


def moved_up(ax: Axes, transform: Transform, points: float) -> Transform:
    """Return the transform moved up on the page."""
    from matplotlib.transforms import ScaledTranslation

    return transform + ScaledTranslation(0.0, points / 72.0, ax.figure.dpi_scale_trans)


def keys_below(ax: Axes, keys: Sequence[Key], *, labels_pt: float = SHORT_LABELS_PT) -> None:
    """Write the key below the labels of the axis, which take so much room, line by line."""
    columns = _columns(keys)
    for k, key in enumerate(keys):
        line, column = divmod(k, columns)
        down = moved_up(ax, ax.transAxes, -labels_pt - line * KEY_PT)
        x = -0.11 + column * 1.13 / columns
        key.draw(ax, x, down)
        style = "italic" if key.italic else "normal"
        write(ax, x + 0.085, 0.0, key.text, transform=down, va="center", style=style)


def draw_device_key(style: Style, ax: Axes, x: float, transform: Transform) -> None:
    """Draw line and mark of a device for the key."""
    ax.plot([x, x + 0.055], [0, 0], color=style.colour, linewidth=1.5, marker=style.marker,
            markersize=5, markeredgewidth=0, markevery=[1], transform=transform, clip_on=False,
            dashes=style.dashes or (1, 0))  # fmt: skip
