"""What all figures share: names, styles, plain text, bare axes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from kit.labels import FIGURE_WIDTH
from kit.show.look import INK, SMALL_PT, device_styles
from kit.show.tables.cells import Names

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from kit.results import Results
    from kit.session import Run
    from kit.show.look import Style

__all__ = ["MIN_PER_H", "bare", "device_ticks", "run_of", "short_names", "styles_of", "write"]

MIN_PER_H = 60.0


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
