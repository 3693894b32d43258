"""The all-time order as a figure: every device against the first that was seen to its end."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.compare.order_tables import against_first, bounds_cell, league_places, reference_of
from kit.compare.words import to_percent
from kit.labels import FIGURE_WIDTH, shorten
from kit.show.canvas import as_picture, one_axes, type_set
from kit.show.cells import place_word
from kit.show.figures.base import NARROW_IN, ROW_IN, bare, named_rows, row_grid, row_line, row_words
from kit.show.look import INK, device_styles
from kit.units import percent

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.compare.analysis import Comparison
    from kit.compare.field import Bounds
    from kit.compare.order import Place
    from kit.display import Picture
    from kit.show.look import Style

__all__ = ["order_pictures", "plot_order"]

Ends = tuple[float, float]


def _ends(bounds: Bounds | None, sign: int) -> Ends:
    if bounds is None:
        return -math.inf, math.inf
    low, high = (bounds.low, bounds.high) if sign > 0 else (-bounds.high, -bounds.low)
    return to_percent(low), to_percent(high)


def _names(found: Comparison, places: list[Place]) -> list[str]:
    """Return names short enough for a figure, all different."""
    names: list[str] = []
    for item in places:
        name = shorten(found.standing.field.entries[item.entry].name, FIGURE_WIDTH)
        if name in names:
            name = f"{shorten(name, FIGURE_WIDTH - 4)} [{len(names)}]"
        names.append(name)
    return names


def plot_order(found: Comparison, places: list[Place], ax: Axes) -> Axes:
    """Draw one group of the order: thick the interval of one comparison, thin that of all.

    Returns
    -------
    Axes
        ``ax``. Per cent of the reference, which is drawn as a line at 0; an arrow is an open end.
    """
    reference = reference_of(places)
    styles = device_styles([str(p.entry) for p in found.standing.places])
    spans: list[tuple[Ends, Ends, float]] = []
    for item in places:
        if reference is None or item.entry == reference.entry:
            spans.append(((0.0, 0.0), (0.0, 0.0), 0.0))
            continue
        alone, family, sign = against_first(found, item.entry, reference.entry)
        middle = math.nan if alone is None else to_percent(sign * alone.difference)
        spans.append((_ends(alone, sign), _ends(family, sign), middle))
    finite = [v for s in spans for ends in s[:2] for v in ends if math.isfinite(v)]
    low, high = min([-1.0, *finite]), max([1.0, *finite])
    pad = 0.12 * (high - low)
    left, right = low - pad, high + pad
    row_line(ax, 0.0, len(places), color=INK, linewidth=0.8, zorder=1)
    for y, (item, span) in enumerate(zip(places, spans, strict=True)):
        style = styles[str(item.entry)]
        is_reference = reference is not None and item.entry == reference.entry
        _draw(ax, y, span, style, (left, right), is_reference=is_reference)
        words = place_word(item.best, item.worst)
        if is_reference:
            words += ", reference"
        elif item.at_least:
            words += ", not seen off"
        row_words(ax, y, words)
    named_rows(ax, _names(found, places))
    ax.set_xlim(left, right)
    name = "" if reference is None else found.standing.field.entries[reference.entry].name
    ax.set_xlabel(f"Runtime against {shorten(name, FIGURE_WIDTH)} (%)", parse_math=False)
    row_grid(ax, len(places))
    bare(ax, "bottom")
    return ax


def _draw(
    ax: Axes,
    y: int,
    span: tuple[Ends, Ends, float],
    style: Style,
    edge: Ends,
    *,
    is_reference: bool,
) -> None:
    alone, family, middle = span
    if is_reference:
        ax.plot([0.0], [y], marker=style.marker, color=style.colour, markersize=5.5, zorder=3)
        return
    for ends, width, alpha in ((family, 1.0, 1.0), (alone, 6.0, 0.45)):
        low, high = max(ends[0], edge[0]), min(ends[1], edge[1])
        ax.hlines(y, low, high, color=style.colour, linewidth=width, alpha=alpha, zorder=2)
    for end, tip, inward in ((family[0], edge[0], 1), (family[1], edge[1], -1)):
        if math.isinf(end):
            step = 0.05 * (edge[1] - edge[0]) * inward
            ax.annotate(
                "", xy=(tip, y), xytext=(tip + step, y), annotation_clip=False,
                arrowprops={"arrowstyle": "->", "color": style.colour, "linewidth": 1.4,
                            "shrinkA": 0, "shrinkB": 0},
            )  # fmt: skip
    known = math.isfinite(middle)
    at = middle if known else next((e for e in alone if math.isfinite(e)), math.nan)
    if math.isfinite(at):
        ax.plot(
            [at], [y], marker=style.marker, color=style.colour, markersize=4.5,
            markerfacecolor=style.colour if known else "none", linestyle="none", zorder=3,
        )  # fmt: skip


def _alt(found: Comparison, places: list[Place]) -> str:
    reference = reference_of(places)
    parts = []
    for item in places:
        name = found.standing.field.entries[item.entry].name
        text = f"{name}, place {place_word(item.best, item.worst)}"
        if reference is not None and item.entry != reference.entry:
            alone, _, sign = against_first(found, item.entry, reference.entry)
            text += f", {bounds_cell(alone, sign)} per cent"
        parts.append(text)
    against = (
        "" if reference is None
        else f" against {found.standing.field.entries[reference.entry].name}"
    )  # fmt: skip
    return f"Runtimes{against}, longest first: {'; '.join(parts)}."


def order_pictures(found: Comparison) -> tuple[Picture, ...]:
    """Return the order of every group of at least two devices, one figure a group."""
    groups = [g for g in league_places(found) if len(g) > 1 and reference_of(g) is not None]
    share = percent(found.settings.coverage)
    pictures = []
    for number, group in enumerate(groups, start=1):
        with type_set():
            figure, ax = one_axes(0.65 + ROW_IN * len(group), NARROW_IN)
            plot_order(found, group, ax)
            which = f" (group {number} of {len(groups)})" if len(groups) > 1 else ""
            pictures.append(
                as_picture(
                    figure,
                    "figure-order" if number == 1 else f"figure-order-{number}",
                    alt=_alt(found, group),
                    caption=f"All-time order{which}. Thick bar: {share} interval of one "
                    "comparison; thin line: of all pairs together; open mark and arrow: only a "
                    "bound is known. To the right, the places that each device can have.",
                )
            )
    return tuple(pictures)
