"""The figure of the all-time order: both intervals, open ends, words that no line crosses."""

import math
from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from kit.compare import figure as figure_of
from kit.compare.field import Bounds
from kit.compare.order_tables import league_places
from kit.show.figures.base import NARROW_IN
from tests.helpers.compare_days import compared, day, device

NAMES = ("dunlin", "kelpfin", "limpet")


def ratio(estimate, low, high):
    """Return bounds in ln(runtime) from ratios of runtimes; a ratio of 0 is an open end."""
    low_end, high_end = (math.log(v) if v > 0.0 else -math.inf for v in (low, high))
    middle = math.nan if estimate is None else math.log(estimate)
    return Bounds(difference=middle, low=low_end, high=high_end, link=None)


@pytest.fixture
def drawn(monkeypatch):
    """Return the axes of an order: a reference, one seen off and one that was not."""
    offs = [{"dunlin": 600.0, "limpet": 540.0}, {"dunlin": 610.0, "limpet": 545.0}]
    days = [day(k, off, still_on={"kelpfin": 570.0}) for k, off in enumerate(offs, start=1)]
    found = compared(*days)
    places = league_places(found)[0]
    entries = {e.name: k for k, e in enumerate(found.standing.field.entries)}
    bounds = {
        # 8 % shorter, by itself −12 to −4 %, with all pairs −15 to 0 %
        entries["limpet"]: (ratio(0.92, 0.88, 0.96), ratio(0.92, 0.85, 1.0), 1),
        # not seen off, at most 5 % shorter; as reference minus device, the other way round
        entries["kelpfin"]: (
            ratio(None, 0.0, 1 / 0.95),
            ratio(None, 0.0, 1 / 0.9),
            -1,
        ),
    }
    monkeypatch.setattr(figure_of, "against_first", lambda _, entry, __: bounds[entry])
    figure = Figure(figsize=(NARROW_IN, 2.5), layout="constrained")
    FigureCanvasAgg(figure)
    ax = figure_of.plot_order(found, places, figure.add_subplot())
    names = [t.get_text() for t in ax.get_yticklabels()]
    return ax, {name: names.index(name) for name in names}


def level(ax, y):
    """Return width → ends of the level lines of a row, in per cent."""
    found = {}
    for group in ax.collections:
        for (x0, y0), (x1, y1) in np.round(group.get_segments(), 6).tolist():
            if y0 == y1 == y:
                found[float(group.get_linewidth()[0])] = (round(x0, 3), round(x1, 3))
    return found


def test_thick_is_one_comparison_and_thin_is_all_pairs(drawn):
    ax, row = drawn
    assert level(ax, row["limpet"]) == {6.0: (-12.0, -4.0), 1.0: (-15.0, 0.0)}
    marks = [m for m in ax.lines if list(m.get_ydata()) == [row["limpet"]]]
    assert [round(float(m.get_xdata()[0]), 3) for m in marks] == [-8.0]


def test_an_open_end_goes_to_the_edge_and_ends_in_an_arrow(drawn):
    ax, row = drawn
    right = round(ax.get_xlim()[1], 3)
    # reference minus device is at most ln(1/0.95): device against reference at least −5 %
    assert level(ax, row["kelpfin"]) == {6.0: (-5.0, right), 1.0: (-10.0, right)}
    arrows = [t for t in ax.texts if getattr(t, "arrow_patch", None) is not None]
    assert [(round(a.xy[0], 3), a.xy[1]) for a in arrows] == [(right, row["kelpfin"])]
    (mark,) = [m for m in ax.lines if list(m.get_ydata()) == [row["kelpfin"]]]
    assert mark.get_markerfacecolor() == "none"


def test_no_word_is_on_another_or_crossed_by_a_line(drawn):
    ax, _ = drawn
    canvas = FigureCanvasAgg(ax.figure)
    canvas.draw()
    texts = [t for t in (*ax.texts, *ax.get_yticklabels()) if t.get_text()]
    boxes = [t.get_window_extent(canvas.get_renderer()).padded(-0.7) for t in texts]
    assert len(boxes) == 6
    assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))
    for group in ax.collections:
        for segment in group.get_segments():
            (x0, y0), (x1, y1) = ax.transData.transform(segment)
            low, high = sorted((y0, y1))
            left, right = sorted((x0, x1))
            for box in boxes:
                assert high < box.y0 or low > box.y1 or right < box.x0 or left > box.x1


def test_the_picture_fits_a_phone():
    found = compared(
        *(day(k, {name: 600.0 + 9 * i for i, name in enumerate(NAMES)}, devices=[
            device(name) for name in NAMES]) for k in (1, 2))
    )  # fmt: skip
    (picture,) = figure_of.order_pictures(found)
    # 375 px less margins of 16 px: 343 px = 257 pt
    width = float(picture.svg.split('width="')[1].split("pt")[0])
    assert width <= 257.3
