"""Figures: everything drawn, nothing cut, no meaning by colour, equal bytes from equal results."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from kit.labels import FIGURE_WIDTH, text_width
from kit.session import Device, Phase
from kit.show import figures, look, pictures
from kit.show.figures.charge_bars import MAX_POINTS
from kit.show.look import device_styles
from kit.show.pair_order import order_of_run
from tests.helpers.builders import frame, join_runs, make_session
from tests.helpers.fake_results import fake_results, field_day, rows

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.display import Picture
    from kit.results import Results

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = ("<script>alert(1)</script>", "**x** $x^2$ \\frac{1}{2}", "שלום 漢字 🐚", "&amp; \x07]]>")


def axes() -> Axes:
    """Return axes of a figure that nothing else knows."""
    figure = Figure(figsize=(look.WIDTH_IN, 4.0), layout="constrained")
    FigureCanvasAgg(figure)
    return figure.add_subplot()


def all_pictures(results: Results) -> list[Picture]:
    """Return every picture of the first run."""
    found = [
        pictures.charge(results),
        *pictures.rates(results),
        pictures.runtimes(results),
        pictures.pairs(results),
        pictures.replicates(results),
    ]
    return [picture for picture in found if picture is not None]


def texts(picture: Picture) -> list[str]:
    """Return all texts in a picture."""
    return ["".join(e.itertext()).strip() for e in ET.fromstring(picture.svg).iter(f"{SVG}text")]


def linear(colour: str) -> Any:
    """Return the linear-light components of ``#rrggbb`` (IEC 61966-2-1)."""
    value = np.array([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)])
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def contrast(a: str, b: str) -> float:
    """Return the contrast ratio of two colours (WCAG 2.2, definition of relative luminance)."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    light, dark = sorted((float(weights @ linear(c)) for c in (a, b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def lab(rgb: Any) -> Any:
    """Return CIE 1976 L*a*b* of linear-light sRGB, white D65."""
    to_xyz = np.array(
        [
            [0.4124564, 0.3575761, 0.1804375],
            [0.2126729, 0.7151522, 0.0721750],
            [0.0193339, 0.1191920, 0.9503041],
        ]
    )
    x, y, z = (to_xyz @ rgb) / np.array([0.95047, 1.0, 1.08883])
    fx, fy, fz = (v ** (1 / 3) if v > 0.008856 else 7.787 * v + 16 / 116 for v in (x, y, z))
    return np.array([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)])


# Severity 1.0; G. M. Machado, M. M. Oliveira, L. A. F. Fernandes (2009), A physiologically-based
# model for simulation of color vision deficiency, IEEE Trans. Vis. Comput. Graph. 15:1291-1298
# (matrices from memory).
DEFICIENCIES = {
    "none": np.eye(3),
    "protanopia": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deuteranopia": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritanopia": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}


@pytest.mark.parametrize("hue", look.HUES)
def test_hues_stand_out_on_white_and_on_dark(hue: str) -> None:
    # WCAG 2.2, 1.4.11: at least 3:1 for the parts of a graphic
    assert contrast(hue, "#ffffff") >= 3.0
    assert contrast(hue, look.DARK) >= 3.0


@pytest.mark.parametrize("matrix", DEFICIENCIES.values(), ids=DEFICIENCIES)
def test_hues_stay_apart_without_full_colour_vision(matrix: Any) -> None:
    seen = [lab(np.clip(matrix @ linear(hue), 0, 1)) for hue in look.HUES]
    assert min(float(np.linalg.norm(a - b)) for a, b in combinations(seen, 2)) >= 13.0


def test_twelve_devices_are_told_apart_without_colour() -> None:
    styles = device_styles([str(k) for k in range(12)])
    assert len({style.marker for style in styles.values()}) == 12


def test_every_device_and_power_off_is_drawn() -> None:
    ax = figures.plot_charge(fake_results(), axes())
    crosses = [line for line in ax.lines if line.get_marker() == "x"]
    # whelk, dunlin, limpet and periwinkle powered off; one more explains the sign
    assert len(crosses) == 5
    written = [t.get_text() for t in ax.texts]
    assert "kelpfin (still on)" in written
    assert {"limpet", "periwinkle", "dunlin", "whelk", "powered off"} <= set(written)
    assert ax.get_ylabel() == "State of charge, displayed (%)"


def test_readings_without_a_time_stand_at_their_boundary() -> None:
    session = make_session(phases={"p1": 60, "p2": 30}, readings={"a": [100, 88, 80]}, timed=False)
    ax = figures.plot_charge(fake_results(session), axes())
    line = next(found for found in ax.lines if found.get_linestyle() == "-")
    assert list(line.get_xdata()) == [0.0, 1.0, 1.5]
    assert list(line.get_ydata()) == [100.0, 88.0, 80.0]


def test_a_dense_log_is_thinned_to_its_changes() -> None:
    n = 60_000
    t = np.arange(n) / 60.0
    level = np.floor(100 - t / 10.0)
    readings = pd.DataFrame({"t_min": t, "soc_pct": level}).assign(
        run=1, device="a", phase="p1", point="inside", kind="reading", t_resolution_min=0.02,
        order=0, by="", evidence="", note="", line=0,
    )  # fmt: skip
    session = make_session(devices=("a",), phases={"p1": 1000.0}, readings={})
    results = fake_results(session)
    object.__setattr__(session, "readings", readings[frame("readings", []).columns])
    ax = figures.plot_charge(results, axes())
    line = max(ax.lines, key=lambda found: len(found.get_xdata()))
    assert 100 < len(line.get_xdata()) <= MAX_POINTS
    # first and last reading are kept, and no level is lost
    assert line.get_ydata()[0] == 100.0
    assert set(line.get_ydata()) == set(level)


def test_rates_show_both_intervals_and_open_marks_for_a_phase_cut_short() -> None:
    results = fake_results()
    ax = figures.plot_rates(results, axes(), phase="draw")
    segments = [s for c in ax.collections for s in c.get_segments()]
    assert len(segments) == 10
    # whelk powered off there: 40 − 3 = 37 pp in 70 min = 31.71 pp/h
    marks = {round(float(m.get_xdata()[0]), 2): m for m in ax.lines}
    assert marks[31.71].get_markerfacecolor() == "none"
    assert marks[17.33].get_markerfacecolor() != "none"


def test_a_rate_that_goes_on_beyond_the_axis_ends_in_an_arrowhead() -> None:
    results = fake_results()
    # by true charge, phase of 90 min: kelpfin 20 ± 4 pp, 10.67 to 16 pp/h; dunlin 34 ± 4 pp, 20 to
    # 25.33; displayed, ± 0.8: 21.07 … 23.2; an axis that ends at 22
    ax = figures.plot_rates(results, axes(), phase="draw", right=22.0)
    heads = [m for m in ax.lines if m.get_marker() == ">"]
    ends = {(float(m.get_xdata()[0]), float(m.get_ydata()[0])) for m in heads}
    assert (22.0, 3.0) in ends
    assert not any(y == 2.0 for _, y in ends)
    assert max(s[1][0] for c in ax.collections for s in c.get_segments()) == 22.0


def test_a_device_without_a_rate_is_named_and_says_why() -> None:
    ax = figures.plot_rates(fake_results(), axes(), phase="empty")
    assert {"no reading", "off before"} <= {t.get_text() for t in ax.texts}
    assert [t.get_text() for t in ax.get_yticklabels()] == [
        "limpet", "periwinkle", "kelpfin", "dunlin", "whelk",
    ]  # fmt: skip


def test_runtimes_have_intervals_and_an_open_end() -> None:
    ax = figures.plot_runtimes(fake_results(), axes())
    assert ax.get_yticklabels()[0].get_text() == "kelpfin"
    written = " | ".join(t.get_text() for t in ax.texts).replace("\N{NO-BREAK SPACE}", " ")
    assert "> 8:30 h, still on" in written
    assert "7:29 h  (7:28 to 7:30)" in written
    assert written.count("too close to call") == 1
    assert "axis starts at" in ax.get_xlabel()
    assert any(t.arrow_patch is not None for t in ax.texts if hasattr(t, "arrow_patch"))


def test_pairs_are_told_by_signs_not_by_colour() -> None:
    results = fake_results()
    ax = figures.plot_pairs(results, axes(), order=order_of_run(results, 1))
    discs = [line for line in ax.lines if line.get_marker() == "o"]
    assert len(discs) == 9
    signs = [t for t in ax.texts if t.get_text() == "≈"]
    assert len(signs) == 1
    # the tie is that of rows 1 and 2 (periwinkle and limpet)
    assert signs[0].get_position() == (2, 1)
    assert "2nd or 3rd" in [t.get_text() for t in ax.texts]


def test_pairs_that_are_open_get_a_question_mark() -> None:
    pairs = fake_results().runtime_pairs.assign(verdict="unknown")
    results = fake_results(runtime_pairs=pairs)
    ax = figures.plot_pairs(results, axes(), order=order_of_run(results, 1))
    assert sum(t.get_text() == "?" for t in ax.texts) == 10


def test_replicates_show_every_run_and_the_mean() -> None:
    session = join_runs(field_day(), field_day())
    means = rows(
        "replicates",
        [{"device": "limpet", "quantity": "runtime", "runs": 2, "mean": 7.48, "mean_low": 7.2,
          "mean_high": 7.8, "unit_symbol": "h"}],
    )  # fmt: skip
    ax = figures.plot_replicates(fake_results(session, replicates=means), axes())
    # two runs of five devices, and one mean
    assert len(ax.lines) == 11
    # limpet, first of five: on until 448 min, off from 450 min, in both runs; then its mean
    bars = [np.round(s, 3).tolist() for c in ax.collections for s in c.get_segments()]
    bounds = [[a[0], b[0]] for a, b in bars if a[1] == b[1] and a[1] < 0.5]
    assert bounds == [[7.467, 7.5], [7.467, 7.5], [7.2, 7.8]]
    # a lane for each run, none on another
    assert len({a[1] for a, b in bars if a[1] == b[1] and a[1] < 0.5}) == 3
    open_marks = [line for line in ax.lines if line.get_markerfacecolor() == "none"]
    assert len(open_marks) == 2  # kelpfin was still on in both


def test_a_single_device_and_a_bare_record_can_be_drawn() -> None:
    single = fake_results(make_session(phases={"p1": 60}, readings={"a": [100, 90]}))
    assert pictures.pairs(single) is None
    assert pictures.replicates(single) is None
    assert len(all_pictures(single)) == 3
    bare = fake_results(make_session(devices=("a", "b"), phases={"p1": 60}, readings={}))
    assert pictures.rates(bare) == ()
    assert "not recorded" in texts(pictures.runtimes(bare))


def crowded() -> Results:
    """Return twelve devices with 300-character labels in twelve phases."""
    long = "An exceedingly long name that goes on, and on, and on; " * 6
    devices = [Device(id=f"d{k}", label=f"{long[:290]} {k}") for k in range(12)]
    phases = [
        Phase(id=f"p{k}", label=f"{long} {k}", activity=long, planned_min=30) for k in range(12)
    ]
    return fake_results(
        make_session(
            devices=devices,
            phases=phases,
            readings={d.id: [100 - 6 * k for k in range(13)] for d in devices},
            power_offs={
                f"d{k}": {
                    "noted_min": 350.0 - k,
                    "last_on_min": 348.0 - k,
                    "first_off_min": 350.0 - k,
                    "phase": "p11",
                }
                for k in range(11)
            },
            still_on={"d11": 360.0},
        )
    )


def size_pt(svg: str) -> tuple[float, float]:
    """Return width and height of a picture in points."""
    root = ET.fromstring(svg)
    width, height = (float(root.attrib[k].removesuffix("pt")) for k in ("width", "height"))
    return width, height


def repeated() -> Results:
    """Return three runs of five devices, with means."""
    session = join_runs(field_day(), field_day(), field_day())
    means = [
        {"device": d.id, "quantity": "runtime", "runs": 3, "mean": 6.0, "mean_low": 5.0,
         "mean_high": 8.0, "unit_symbol": "h"}
        for d in session.devices
    ]  # fmt: skip
    return fake_results(session, replicates=rows("replicates", means))


def figures_drawn(
    results: Results, monkeypatch: pytest.MonkeyPatch
) -> list[tuple[Picture, Figure]]:
    """Return all pictures of a run with the figures that they were made of."""
    drawn: list[Figure] = []
    original = pictures.as_picture

    def keep(figure: Figure, *args: Any, **options: Any) -> Picture:
        picture = original(figure, *args, **options)
        drawn.append(figure)
        return picture

    monkeypatch.setattr(pictures, "as_picture", keep)
    return list(zip(all_pictures(results), drawn, strict=True))


def written(figure: Figure, renderer: Any) -> list[tuple[str, Any]]:
    """Return all texts that stand upright or level, with their boxes less 0.7 px."""
    found: Any = figure.findobj(lambda artist: hasattr(artist, "get_text"))
    return [
        (text.get_text(), text.get_window_extent(renderer).padded(-0.7))
        for text in found
        if text.get_visible() and text.get_text().strip() and text.get_rotation() in (0, 90)
    ]


MAKERS = pytest.mark.parametrize(
    "make", [fake_results, crowded, repeated], ids=["five", "twelve", "three runs"]
)


@MAKERS
def test_no_text_is_cut_or_on_another_and_every_figure_fits_an_a4_page_and_a_phone(
    make: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    for picture, figure in figures_drawn(make(), monkeypatch):
        width, height = size_pt(picture.svg)
        # 375 px less the page's margins of 16 px, at 96 px an inch: 343/96 = 3.57 in
        on_phone = picture.id.startswith(("figure-runtimes", "figure-replicates"))
        # the page never shrinks a figure below 480 px = 5.0 in
        never_shrunk = picture.id.startswith(("figure-charge", "figure-rates"))
        most = 3.57 if on_phone else 5.0 if never_shrunk else look.WIDTH_IN
        assert width <= most * 72 + 0.1
        assert height <= 9.6 * 72
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        # everything that is drawn, in inches
        drawn_box = figure.get_tightbbox(canvas.get_renderer())
        width, height = figure.get_size_inches()
        assert drawn_box.x0 >= -0.01
        assert drawn_box.y0 >= -0.01
        assert drawn_box.x1 <= width + 0.01
        assert drawn_box.y1 <= height + 0.01
        for (one, a), (other, b) in combinations(written(figure, canvas.get_renderer()), 2):
            assert not a.overlaps(b), f"{picture.id}: {one!r} on {other!r}"


def test_names_in_figures_are_short() -> None:
    for picture in all_pictures(crowded()):
        assert all(text_width(text) <= 60 for text in texts(picture))
    ax = figures.plot_runtimes(crowded(), axes())
    assert all(text_width(t.get_text()) <= FIGURE_WIDTH for t in ax.get_yticklabels())


@pytest.mark.parametrize("label", HOSTILE)
def test_hostile_labels_are_text_and_nothing_else(label: str) -> None:
    session = make_session(
        devices=[Device(id="a", label=label), Device(id="b", label="Dunlin 9")],
        phases=[Phase(id="p1", label=label, activity=label, planned_min=60)],
        readings={"a": [100, 90], "b": [100, 80]},
        power_offs={"a": 100.0, "b": 90.0},
    )
    start = re.split(r"[\x07…]", label)[0][:12]
    for picture in all_pictures(fake_results(session)):
        root = ET.fromstring(picture.svg)
        assert not list(root.iter(f"{SVG}script"))
        assert any(start in text for text in texts(picture))


def test_equal_results_give_equal_bytes_and_figures_share_no_ids() -> None:
    once, again = all_pictures(fake_results()), all_pictures(fake_results())
    assert [p.svg for p in once] == [p.svg for p in again]
    assert not any("<dc:date>" in p.svg for p in once)
    assert len({p.id for p in once}) == len(once)


def test_pictures_leave_no_trace_in_the_settings() -> None:
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    all_pictures(fake_results())
    assert dict(mpl.rcParams) == before


def test_every_picture_has_a_caption_and_a_full_alternative_text() -> None:
    for picture in all_pictures(fake_results(join_runs(field_day(), field_day()))):
        assert picture.caption.endswith(".")
        assert picture.alt.endswith(".")
        assert "nan" not in picture.alt
