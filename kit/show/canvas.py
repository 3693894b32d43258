"""An empty figure with our type, and a drawn one as SVG: no pyplot, no date, equal bytes."""

from __future__ import annotations

import io
import warnings
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from kit.display import Picture
from kit.show.look import FONT_PT, INK, SMALL_PT, WIDTH_IN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["as_picture", "one_axes", "sheet", "type_set"]


@contextmanager
def type_set() -> Iterator[None]:
    """Set type and colours for the time of drawing."""
    import matplotlib as mpl
    import seaborn as sns

    look: Any = {  # the stubs want each key as a literal
        **sns.axes_style("ticks"),
        "font.family": ["DejaVu Sans"],
        "font.size": FONT_PT,
        "axes.labelsize": FONT_PT,
        "axes.titlesize": FONT_PT,
        "xtick.labelsize": SMALL_PT,
        "ytick.labelsize": FONT_PT,
        "axes.linewidth": 0.8,
        "xtick.major.width": 0.8,
        "xtick.major.size": 3.5,
        "ytick.major.width": 0.8,
        "ytick.major.size": 3.5,
        "svg.fonttype": "none",
        "svg.hashsalt": "rundown",
        "axes.facecolor": "none",
        "figure.facecolor": "none",
        **dict.fromkeys(
            ("text.color", "axes.labelcolor", "axes.edgecolor", "xtick.color", "ytick.color"), INK
        ),
    }
    with mpl.rc_context(look), warnings.catch_warnings():
        # a label may hold letters that this font lacks; the reader's font will have them
        warnings.filterwarnings("ignore", message="Glyph .* missing from", category=UserWarning)
        yield


def sheet(height_in: float, width_in: float = WIDTH_IN) -> Figure:
    """Return an empty figure with an SVG canvas, sizes in inches."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasSVG(figure)
    return figure


def as_picture(figure: Figure, picture_id: str, *, alt: str, caption: str) -> Picture:
    """Return a figure written as SVG, its ids salted by the picture's own."""
    import matplotlib as mpl

    out = io.StringIO()
    with mpl.rc_context({"svg.hashsalt": picture_id}):
        # not savefig, which draws everything once more to find the layout: same bytes, less time
        figure.canvas.print_svg(out, metadata={"Date": None})  # type: ignore[attr-defined]  # SVG
    return Picture(id=picture_id, svg=out.getvalue(), alt=alt, caption=caption)


def one_axes(height_in: float, width_in: float = WIDTH_IN) -> tuple[Figure, Axes]:
    """Return a figure with one set of axes."""
    figure = sheet(height_in, width_in)
    return figure, figure.add_subplot()
