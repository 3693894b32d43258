"""Figures put together and written as SVG, each with a sentence for those who cannot see it.

No pyplot and no global state beyond the time of drawing: a ``Figure`` with its SVG canvas,
text as text, ids from a fixed salt per figure and no date, so equal results give equal bytes.
"""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING

from kit.display import Picture
from kit.labels import text_width
from kit.show import figures
from kit.show.canvas import as_picture, one_axes, sheet, type_set
from kit.show.cells import run_slug, run_words
from kit.show.curves import curves_drawn
from kit.show.figures.base import NARROW_IN, NORMAL_IN, ROW_IN, keys_height_in, short_names
from kit.show.look import FONT_PT, INK, WIDTH_IN
from kit.show.pair_order import order_of_run, order_over_runs
from kit.show.wording import alt_charge, alt_pairs, alt_rates, alt_replicates, alt_runtimes
from kit.show.wording.captions import caption_charge
from kit.show.wording.mixing import alt_mix_shifts, changing_shifts
from kit.show.wording.replicated import alt_survival

if TYPE_CHECKING:
    from kit.results import Results
    from kit.show.pair_order import PairOrder

__all__ = [
    "charge",
    "mix_shifts",
    "pairs",
    "pairs_over_runs",
    "rates",
    "replicates",
    "runtimes",
    "survival",
]

CHARGE_IN = 4.6
"""Height of the charge over time, without its key: one point in a hundred is then about as much
as a mark."""

MAX_HEIGHT_IN = 9.0
"""Tallest figure that leaves room for its caption on an A4 page."""

LEAST_FOR_A_STAIRCASE = 3
"""Two devices are one pair, which a sentence says as well."""
CELL_IN = 0.25
CHARACTER_IN = 0.075
SLANTED_IN = 0.052
PLACE_IN = 1.05
LEGEND_IN = 2.0
"""Sizes in the staircase (inch): a cell, one character of a name, the same slanted in height, the
places, and the least width that the meaning of the signs takes."""

STRIP_IN = 0.56
"""Height of a strip of the figure of mixes, with its words."""

NAME_PT, TITLE_PT = 5.2, 5.1
"""Width of one column of a device's name and of a panel's title, which is bold (pt)."""


def charge(results: Results, run: int = 1) -> Picture:
    """Return the state of charge over time."""
    with type_set():
        view = figures.charge_view(results, run=run)
        height = CHARGE_IN + keys_height_in(figures.charge_keys(results, view))
        figure, ax = one_axes(height, NORMAL_IN)
        figures.plot_charge(results, ax, run=run, view=view)
        return as_picture(
            figure,
            f"figure-charge{run_slug(results, run)}",
            alt=alt_charge(results, run, view.readings),
            caption=caption_charge(results, view),
        )


def rates(results: Results, run: int = 1) -> tuple[Picture, ...]:
    """Return the rates by phase, one panel a phase, on as many figures as pages need."""
    from matplotlib.ticker import MaxNLocator

    frame = results.phase_drain
    frame = frame[(frame["run"] == run) & frame["rate_pp_per_h_low"].notna()]
    shown = set(frame["phase"])
    phases = [p.id for p in results.session.phases if p.id in shown]
    if not phases:
        return ()
    right = float(frame["rate_pp_per_h_high"].quantile(0.99)) * 1.05
    beyond = bool((frame["rate_pp_per_h_high"] > right).any())
    across = min(len(phases), 2)
    names = max(text_width(name) for name in short_names(results).device.values())
    title_width = int((NORMAL_IN * 72.0 - 20.0 - NAME_PT * names) / across / TITLE_PT)
    panel = 0.62 + 0.165 * len(results.session.devices)
    down = max(1, int(MAX_HEIGHT_IN / panel))
    per_figure = across * down
    groups = [phases[k : k + per_figure] for k in range(0, len(phases), per_figure)]
    pictures = []
    for number, group in enumerate(groups, start=1):
        part = f" ({number} of {len(groups)})" if len(groups) > 1 else ""
        with type_set():
            lines = math.ceil(len(group) / across)
            figure = sheet(max(lines * panel + 0.3, 1.4), NORMAL_IN)
            grid = figure.subplots(lines, across, sharex=True, squeeze=False)
            for k, ax in enumerate(grid.flat):
                if k >= len(group):
                    ax.set_axis_off()
                    continue
                figures.plot_rates(
                    results,
                    ax,
                    run=run,
                    phase=group[k],
                    show_names=k % across == 0,
                    title_width=title_width,
                    right=right,
                )
                ax.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10], integer=True))
                ax.tick_params(axis="x", labelbottom=k + across >= len(group))
            grid[0, 0].set_xlim(0, right)
            figure.supxlabel("Rate (pp/h)", fontsize=FONT_PT, color=INK)
            pictures.append(
                as_picture(
                    figure,
                    f"figure-rates{run_slug(results, run)}" + (f"-{number}" if part else ""),
                    alt=alt_rates(results, run, group),
                    caption=f"Rate of each device in each phase{run_words(results, run)}{part}. "
                    "Thick bar: interval of the displayed rate; thin line: gauge error "
                    "included, for comparing devices; open mark: powered off in that phase"
                    + ("; arrowhead: goes on beyond the axis." if beyond else "."),
                )
            )
    return tuple(pictures)


def runtimes(results: Results, run: int = 1) -> Picture:
    """Return the runtimes as intervals."""
    with type_set():
        figure, ax = one_axes(0.65 + ROW_IN * len(results.session.devices), NARROW_IN)
        figures.plot_runtimes(results, ax, run=run)
        return as_picture(
            figure,
            f"figure-runtimes{run_slug(results, run)}",
            alt=alt_runtimes(results, run),
            caption=f"Runtimes (h:mm){run_words(results, run)}. Bar: from the earliest to the "
            "latest moment at which it can have ended; arrow: not seen off.",
        )


def pairs(results: Results, run: int = 1) -> Picture | None:
    """Return who outlasted whom in a run; ``None`` with two devices or nothing to say."""
    order = order_of_run(results, run)
    what = f"Who outlasted whom{run_words(results, run)}"
    return _pairs(results, order, f"figure-pairs{run_slug(results, run)}", what)


def pairs_over_runs(results: Results) -> Picture | None:
    """Return whose mean runtime is longer; ``None`` if nothing can be said of any pair."""
    order = order_over_runs(results)
    if order is None:
        return None
    return _pairs(results, order, "figure-pairs", "Who lasts longer by the mean of the runs")


def _pairs(results: Results, order: PairOrder, picture_id: str, what: str) -> Picture | None:
    n = len(order.devices)
    if n < LEAST_FOR_A_STAIRCASE or not order.decided:
        return None
    names = short_names(results).device
    longest = max(text_width(names[d]) for d in order.devices)
    signs = len({order.verdict(a, b) for a, b in combinations(order.devices, 2)})
    height = 0.25 + CELL_IN * n + SLANTED_IN * longest + 0.17 * signs
    # as wide as names, cells and places need, so that a phone need not shrink it
    width = min(WIDTH_IN, max(LEGEND_IN, PLACE_IN + CELL_IN * n) + CHARACTER_IN * longest)
    with type_set():
        figure, ax = one_axes(height, width)
        figures.plot_pairs(results, ax, order=order)
        return as_picture(
            figure,
            picture_id,
            alt=alt_pairs(results, order),
            caption=f"{what}. Read along a row: a disc under each device that was outlasted. To "
            "the right, its place.",
        )


def mix_shifts(results: Results) -> Picture | None:
    """Return where the winner changes with the mix; ``None`` where it does not."""
    frame = changing_shifts(results)
    if frame.empty:
        return None
    strips = frame.groupby(["mix", "activity"], sort=False).ngroups
    with type_set():
        figure, ax = one_axes(0.65 + STRIP_IN * strips, NARROW_IN)
        figures.plot_mix_shifts(results, ax)
        return as_picture(
            figure,
            "figure-mix-shifts",
            alt=alt_mix_shifts(results),
            caption="Which device lasts longest as one activity takes more of the time, the "
            "others keeping their proportions. Filled: the lead stands; outlined: in front by the "
            "estimate only, where the border may lie elsewhere; triangle: the share that the mix "
            "has.",
        )


def _run_row_in(results: Results) -> float:
    """Return the height of a device in the figure of all runs (inch), as tall as a page allows."""
    wanted = 0.42 + 0.08 * min(len(results.session.runs), figures.MAX_LANES)
    return max(ROW_IN, min(wanted, (MAX_HEIGHT_IN - 0.65) / len(results.session.devices)))


def replicates(results: Results) -> Picture | None:
    """Return the runtimes of all runs with their means; ``None`` for a single run."""
    if len(results.session.runs) < 2:
        return None
    with type_set():
        figure, ax = one_axes(0.65 + _run_row_in(results) * len(results.session.devices), NARROW_IN)
        figures.plot_replicates(results, ax)
        return as_picture(
            figure,
            "figure-replicates",
            alt=alt_replicates(results),
            caption="Runtimes of every run, one under the other, with their bounds; below them the "
            "mean, a tick on the bar of its interval. Open mark and arrow: not seen off.",
        )


def survival(results: Results) -> Picture | None:
    """Return the share of runs still on; ``None`` where no device or kind has runs enough."""
    if curves_drawn(results).empty:
        return None
    with type_set():
        figure, ax = one_axes(2.6 + keys_height_in(figures.survival_keys(results)), NORMAL_IN)
        figures.plot_survival(results, ax)
        return as_picture(
            figure,
            "figure-survival",
            alt=alt_survival(results),
            caption="Share of the runs still on; shaded, within dotted edges, its pointwise "
            "interval. Slanted where the moment of a power-off is known only to lie in a window.",
        )
