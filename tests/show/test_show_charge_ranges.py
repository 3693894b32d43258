"""The figure of the charge: what each reading, power-off and open end is drawn as.

What can be seen is judged at the width of the page's figure, of whose 5 in the axis takes about
0.88: 5 × 72 × 0.88 = 317 pt.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from kit.session import Assumptions, Device, Gauge
from kit.show import figures, look, pictures, wording
from kit.show.figures.charge import charge_view
from kit.show.figures.charge_bars import ACROSS, BANDS, BARS, MAX_POINTS
from kit.show.reading_ranges import reading_ranges
from tests.helpers.builders import frame, make_session
from tests.helpers.fake_results import fake_results

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from matplotlib.axes import Axes

    from kit.session import Session

NEVER_OFF: dict[str, Any] = {"power_offs": {}, "still_on": {}}


def axes() -> Axes:
    """Return axes of a figure that nothing else knows."""
    figure = Figure(figsize=(look.WIDTH_IN, 4.0), layout="constrained")
    FigureCanvasAgg(figure)
    return figure.add_subplot()


def one(gauge: Gauge, values: list[float], **more: Any) -> Session:
    """Return a session of one device, read at the start and after each hour."""
    phases = {f"p{k}": 60.0 for k in range(1, len(values))}
    device = Device(id="a", label="Limpet 10", gauge=gauge)
    return make_session(devices=[device], phases=phases, readings={"a": values}, **more)


def free(rows: Iterable[Mapping[str, Any]], session: Session) -> Session:
    """Return the session with readings of its first device that stand at no boundary."""
    given = [
        {"device": session.devices[0].id, "phase": session.phases[0].id, "point": "inside",
         "kind": "reading", "t_resolution_min": 1.0, **row}
        for row in rows
    ]  # fmt: skip
    object.__setattr__(session, "readings", frame("readings", given))
    return session


def segments(ax: Axes, label: str) -> list[list[list[float]]]:
    """Return the ends of all bars drawn with a label, rounded."""
    found = [c for c in ax.collections if c.get_label() == label]
    return [np.round(s, 6).tolist() for c in found for s in c.get_segments()]


# A display of step q that shows n: truncated n … n + q, nearest n ± q/2, rounded up n − q … n,
# not recorded: any of the three, n ± q
@pytest.mark.parametrize(
    ("rounding", "step", "shown", "low", "high"),
    [
        ("truncated", 1.0, 88.0, 88.0, 89.0),
        ("nearest", 1.0, 88.0, 87.5, 88.5),
        ("rounded_up", 1.0, 88.0, 87.0, 88.0),
        ("unknown", 1.0, 88.0, 87.0, 89.0),
        ("truncated", 5.0, 85.0, 85.0, 90.0),
        ("nearest", 5.0, 85.0, 82.5, 87.5),
        ("rounded_up", 5.0, 85.0, 80.0, 85.0),
        ("unknown", 5.0, 85.0, 80.0, 90.0),
    ],
)
def test_an_upright_bar_is_what_the_display_can_mean(
    rounding: Any, step: float, shown: float, low: float, high: float
) -> None:
    session = one(Gauge(rounding=rounding, step_pct=step), [100.0, shown], **NEVER_OFF)
    ax = figures.plot_charge(fake_results(session), axes())
    # the start is a known full charge and has no bar
    assert segments(ax, BARS) == [[[1.0, low], [1.0, high]]]


def test_the_step_is_the_one_that_the_readings_show() -> None:
    # only multiples of 10, four of them below 100: a step of 10
    session = one(Gauge(), [100, 90, 70, 50, 30])
    found = reading_ranges(session)
    assert found.low.tolist() == [100, 80, 60, 40, 20]
    assert found.high.tolist() == [100, 100, 80, 60, 40]


def test_nothing_is_more_than_full_or_less_than_empty() -> None:
    # 100 once more after an hour is no known full charge: 99 … 101, of which 99 … 100 can be
    found = reading_ranges(one(Gauge(), [100, 100, 0]))
    assert found.low.tolist() == [100, 99, 0]
    assert found.high.tolist() == [100, 100, 1]


@pytest.mark.parametrize(
    ("rounding", "low", "high"),
    [
        ("truncated", 89.0, 89.0),
        ("nearest", 88.5, 88.5),
        ("rounded_up", 88.0, 88.0),
        ("unknown", 88.0, 89.0),
    ],
)
def test_a_change_of_the_display_to_88_is_the_edge_between_88_and_89(
    rounding: Any, low: float, high: float
) -> None:
    session = one(Gauge(rounding=rounding), [100, 80])
    found = reading_ranges(free([{"t_min": 30.0, "soc_pct": 88.0, "kind": "tick"}], session))
    assert (found.low.tolist(), found.high.tolist()) == ([low], [high])
    # noted by a clock that shows minutes: 30:00 to 30:59
    assert (found.early.tolist(), found.late.tolist()) == ([30.0], [31.0])


def test_readings_that_share_a_minute_were_made_somewhere_in_the_walk() -> None:
    session = make_session(
        phases={"p1": 60}, readings={d: [100, 88] for d in "abcd"},
        assumptions=Assumptions(reading_delay_min=2.0),
    )  # fmt: skip
    order = session.readings["order"].where(session.readings["point"] != "end", 0)
    object.__setattr__(session, "readings", session.readings.assign(order=order))
    found = reading_ranges(session)
    ends = found.late[found.t == 60.0]
    # no order at the end: minute 60 has begun, and the walk takes 2 min: 60 to 60 + 1 + 2
    assert found.early[found.t == 60.0].tolist() == [60.0] * 4
    assert ends.tolist() == [63.0] * 4


def test_the_place_in_the_walk_narrows_when_a_reading_was_made() -> None:
    session = make_session(
        phases={"p1": 60}, readings={d: [100, 88] for d in "abcd"},
        assumptions=Assumptions(reading_delay_min=2.0),
    )  # fmt: skip
    place = session.readings["device"].map({"a": 1, "b": 2, "c": 3, "d": 4})
    object.__setattr__(session, "readings", session.readings.assign(order=place))
    found = reading_ranges(session)
    # kth of four in 2 min: around (k − ½)/4 × 2 = 0.25, 0.75, 1.25, 1.75, half a minute later at
    # most and within the walk; and up to 1 min by the clock
    assert found.late[found.t == 60.0].tolist() == [61.75, 62.25, 62.75, 63.0]


def test_readings_with_times_of_their_own_are_open_by_the_clock_alone() -> None:
    session = make_session(phases={"p1": 60}, readings={"a": [100, 88], "b": [100, 89]})
    minutes = [0.0, 0.0, 60.0, 61.0]
    object.__setattr__(session, "readings", session.readings.assign(t_min=minutes))
    found = reading_ranges(session)
    assert found.t.tolist() == [0, 60, 0, 61]
    # at the start both in one minute: a, first of two in 2 min, until 0.5 + 0.5 + 1, b until 3
    assert found.late.tolist() == [2, 61, 3, 62]


@pytest.mark.parametrize(
    ("clock", "early", "late"),
    [("floor", 60.0, 61.0), ("nearest", 59.5, 60.5), ("unknown", 59.5, 61.0)],
)
def test_a_clock_is_read_in_the_way_that_is_assumed(clock: Any, early: float, late: float) -> None:
    assumed = Assumptions(reading_delay_min=0.0, clock_rounding=clock)
    found = reading_ranges(one(Gauge(), [100, 88], assumptions=assumed))
    assert (found.early[1], found.late[1]) == (early, late)


def test_a_display_that_lags_shows_an_earlier_charge() -> None:
    assumed = Assumptions(reading_delay_min=0.0, display_lag_min=4.0)
    found = reading_ranges(one(Gauge(), [100, 88], assumptions=assumed))
    assert (found.early[1], found.late[1]) == (56.0, 61.0)


def test_a_level_bar_is_drawn_where_it_is_longer_than_a_mark() -> None:
    # one hour on 317 pt: 3 min are 15.8 pt, to be seen; ten hours: 1.6 pt, not to be seen
    short = one(Gauge(), [100, 88], **NEVER_OFF)
    drawn = segments(figures.plot_charge(fake_results(short), axes()), ACROSS)
    assert drawn == [[[0.0, 100.0], [0.05, 100.0]], [[1.0, 88.0], [1.05, 88.0]]]
    long = one(Gauge(), [100 - 9 * k for k in range(11)], **NEVER_OFF)
    ax = figures.plot_charge(fake_results(long), axes())
    assert segments(ax, ACROSS) == []
    assert len(segments(ax, BARS)) == 10
    assert "Level bar: when it was read." in pictures.charge(fake_results(short)).caption
    words = pictures.charge(fake_results(long)).caption.replace("\N{NO-BREAK SPACE}", " ")
    assert "Each was read within 3 min" in words


def boxes(ax: Axes) -> list[tuple[float, ...]]:
    """Return left, bottom, width and height of the boxes of power-offs."""
    found = [p for p in ax.patches if isinstance(p, Rectangle) and p.get_zorder() == 2.5]
    return [
        tuple(round(float(v), 6) for v in (*p.get_xy(), p.get_width(), p.get_height()))
        for p in found
    ]


def crosses(ax: Axes) -> list[tuple[float, float]]:
    """Return where the crosses of power-offs stand, but for the one that explains the sign."""
    found = [m for m in ax.lines if m.get_marker() == "x" and m.get_transform() != ax.transAxes]
    return [
        (round(float(m.get_xdata()[0]), 6), float(m.get_ydata()[0]))
        for m in found
        if m.get_transform().contains_branch(ax.transData)
    ]


def test_a_power_off_is_its_window_by_what_was_left() -> None:
    off = {"a": {"phase": "p1", "noted_min": 150.0, "last_on_min": 132.0, "first_off_min": 150.0,
                 "soc_pct": 3.0}}  # fmt: skip
    session = one(Gauge(), [100, 60, 20], power_offs=off)
    ax = figures.plot_charge(fake_results(session), axes())
    # 2.2 to 2.5 h; 3 % shown last, 4 % at most
    assert boxes(ax) == [(2.2, 0.0, 0.3, 4.0)]
    assert crosses(ax) == [(2.35, 3.0)]


def test_without_a_percentage_the_box_is_as_high_as_the_assumption() -> None:
    off = {"a": {"phase": "p1", "noted_min": 150.0, "last_on_min": 132.0, "first_off_min": 150.0}}
    session = one(Gauge(), [100, 60, 20], power_offs=off)
    results = fake_results(session)
    ax = figures.plot_charge(results, axes())
    assert boxes(ax) == [(2.2, 0.0, 0.3, 5.0)]
    assert crosses(ax) == [(2.35, 2.5)]
    caption = pictures.charge(results).caption.replace("\N{NO-BREAK SPACE}", " ")
    assert "0 to 5 % where nothing was noted" in caption


def test_a_device_that_read_two_before_it_went_off_had_no_more_than_three() -> None:
    off = {"a": {"phase": "p1", "noted_min": 150.0, "last_on_min": 132.0, "first_off_min": 150.0}}
    session = one(Gauge(), [100, 60, 2], power_offs=off)
    assert boxes(figures.plot_charge(fake_results(session), axes())) == [(2.2, 0.0, 0.3, 3.0)]


def test_a_survivor_ends_in_an_arrow_where_it_was_last_seen_on() -> None:
    session = one(Gauge(), [100, 60], still_on={"a": 90.0})
    results = fake_results(session)
    ax = figures.plot_charge(results, axes())
    arrows = [t for t in ax.texts if getattr(t, "arrow_patch", None) is not None]
    # the second explains the sign
    assert next(t.xy for t in arrows) == (1.5, 60.0)
    assert len(arrows) == 2
    dashed = [m for m in ax.lines if list(m.get_xdata()) == [1.0, 1.5]]
    assert [list(m.get_ydata()) for m in dashed] == [[60.0, 60.0]]
    caption = pictures.charge(results).caption
    assert "Arrow: not seen off; dashed: on, but not read." in caption
    assert "Box" not in caption


def dense(level: Any, *, every_min: float = 1.0) -> Session:
    """Return a log of one device with a reading every so many minutes."""
    session = one(Gauge(), [100, 50], **NEVER_OFF)
    t = np.arange(len(level)) * every_min
    object.__setattr__(session.phases[0], "planned_min", float(t[-1]))
    return free(
        [{"t_min": float(a), "soc_pct": float(b)} for a, b in zip(t, level, strict=True)], session
    )


def test_a_dense_log_is_a_band_that_holds_the_range_of_every_reading() -> None:
    level = np.floor(100.0 - np.arange(600) / 6.5)
    view = charge_view(fake_results(dense(level)))
    assert [len(item.apart) for item in view.drawn] == [0]
    (band,) = view.drawn[0].bands
    t = np.arange(600) / 60.0
    low, high = np.interp(t, band.t, band.low), np.interp(t, band.t, band.high)
    # by hand: one step either way, within 0 and 100 %, the very first reading a full charge
    assert np.allclose(low[1:], np.maximum(level[1:] - 1.0, 0.0))
    assert np.allclose(high, np.minimum(level + 1.0, 100.0))
    ax = figures.plot_charge(fake_results(dense(level)), axes())
    assert [c.get_label() for c in ax.collections if c.get_label() == BANDS] == [BANDS]
    assert segments(ax, BARS) == []


def test_a_band_of_a_wavering_display_is_stepped_and_still_holds_every_reading() -> None:
    level = np.round(90.0 - np.arange(3000) / 50.0 + 0.3 * np.sin(np.arange(3000) * 1.7), 1)
    (band,) = charge_view(fake_results(dense(level))).drawn[0].bands
    assert band.stepped
    assert band.t.size <= MAX_POINTS + 1
    t = np.arange(3000) / 60.0
    at = np.clip(np.searchsorted(band.t, t, side="right") - 1, 0, band.t.size - 2)
    # a display that shows tenths: 0.1 either way
    assert np.all(band.low[at] <= level - 0.1 + 1e-9)
    assert np.all(band.high[at] >= level + 0.1 - 1e-9)
    # one step falls by 3000/400 readings × 0.02 = 0.15; the wave goes 0.6 up and down
    assert float((band.high - band.low).max()) <= 0.15 + 0.6 + 0.2 + 0.1


def test_a_band_ends_where_nobody_read_for_a_while() -> None:
    t = np.concatenate([np.arange(100.0), [250.0], 400.0 + np.arange(100.0)])
    session = one(Gauge(), [100, 50], **NEVER_OFF)
    level = np.floor(100.0 - t / 6.0)
    free([{"t_min": float(a), "soc_pct": float(b)} for a, b in zip(t, level, strict=True)], session)
    view = charge_view(fake_results(session))
    found = view.drawn[0]
    # 0 to 99 min and 400 to 499 min; the lone reading at 250 min keeps its bar: 100 − 41.7 → 58
    assert [(b.t[0] * 60, round(b.t[-1] * 60)) for b in found.bands] == [(0, 99), (400, 499)]
    assert found.apart.t.tolist() == [250.0]
    assert (found.apart.low.tolist(), found.apart.high.tolist()) == ([57.0], [59.0])
    caption = pictures.charge(fake_results(session)).caption
    assert "Upright bar" in caption
    assert "pale band: the same for readings close together" in caption


def test_bands_are_told_by_marks_as_well() -> None:
    devices = [Device(id=i, label=i) for i in "ab"]
    session = make_session(devices=devices, phases={"p1": 300}, readings={}, **NEVER_OFF)
    t = np.arange(300.0)
    rows = [
        {"device": i, "phase": "p1", "point": "inside", "kind": "reading", "t_min": float(m),
         "t_resolution_min": 1.0, "soc_pct": float(np.floor(100 - m / (5 + k)))}
        for k, i in enumerate("ab")
        for m in t
    ]  # fmt: skip
    object.__setattr__(session, "readings", frame("readings", rows))
    ax = figures.plot_charge(fake_results(session), axes())
    marks = [m for m in ax.lines if m.get_linestyle() == "None" and m.get_marker() in ("o", "s")]
    assert [m.get_marker() for m in marks] == ["o", "s"]
    first, second = (np.asarray(m.get_xdata()) for m in marks)
    assert len(first) == len(second) == 7
    assert not set(first) & set(second)


def test_the_caption_says_how_far_rounding_is_known() -> None:
    words = {
        name: pictures.charge(fake_results(one(Gauge(rounding=name), [100, 88]))).caption
        for name in ("unknown", "nearest")
    }
    assert "since how it rounds was not recorded" in words["unknown"]
    assert "by the step of the display and how it rounds" in words["nearest"]
    for caption in words.values():
        assert "100 % at the start counts as full" in caption
        assert "own error is not in it" in caption


def test_the_alternative_text_gives_the_range_of_the_last_reading() -> None:
    results = fake_results(one(Gauge(rounding="nearest"), [100, 88], still_on={"a": 60.0}))
    text = wording.alt_charge(results, 1).replace("\N{NO-BREAK SPACE}", " ")
    assert "Limpet 10, last read 88 % (87.5 to 88.5), still on after 1:00 h" in text
