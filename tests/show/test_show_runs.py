"""Repeated runs as they are shown without a distribution: counted, as a curve, as windows."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from kit import report
from kit.display import Picture, Prose
from kit.runtime.group_tests import exact_p, group_fits, group_pairs
from kit.runtime.survival_tables import restricted_means, survival_curves
from kit.show import figures, pictures, tables, wording
from kit.show.look import device_styles
from kit.show.pair_order import order_over_runs
from kit.show.tables.runs import p_text
from tests.helpers.builders import join_runs, make_session
from tests.helpers.fake_results import fake_results, rows
from tests.helpers.shown import plain

if TYPE_CHECKING:
    from kit.results import Results
    from kit.session import Session

INF = float("inf")


def runs_of(**hours: list[float]) -> tuple[Session, pd.DataFrame]:
    """Return a session of several runs and its runtimes, each seen off within 6 minutes."""
    n = len(next(iter(hours.values())))
    one = make_session(phases={"p1": 60}, readings={d: [100, 90] for d in hours})
    items = [
        {"run": r + 1, "device": d, "status": "observed" if t < INF else "still_on",
         "runtime_h": t, "runtime_h_low": abs(t) - 0.05, "runtime_h_high": t + 0.05,
         "right_censored": False}
        for d, times in hours.items() for r, t in enumerate(times)
    ]  # fmt: skip
    return join_runs(*([one] * n)), rows("runtimes", items)


def results_of(session: Session, runtimes: pd.DataFrame) -> Results:
    extra = {
        "survival": survival_curves(session, runtimes),
        "restricted_means": restricted_means(session, runtimes),
        "group_fits": group_fits(session, runtimes),
        "group_pairs": group_pairs(session, runtimes),
    }
    return replace(fake_results(session), extra=extra)


def test_every_run_against_every_run_by_hand() -> None:
    """7, 4, 9 against 5, 6, 8: 7 beats 5 and 6, 4 none, 9 all three: 5 won, 4 lost.

    The score is 1; p counts, over all 20 ways of choosing three of the six, how often the first
    three win at least one pair more or less than they lose, which here is always: with nine pairs
    the difference is odd.
    """
    session, runtimes = runs_of(a=[7, 4, 9], b=[5, 6, 8])
    (row,) = group_pairs(session, runtimes).itertuples(index=False)
    assert (row.pairs_a_longer, row.pairs_b_longer, row.pairs_open) == (5, 4, 0)
    assert row.p_exact == 1.0
    assert row.p_least == pytest.approx(2 / 20)


def test_a_clean_sweep_of_three_runs_decides_nothing_and_the_report_says_so() -> None:
    session, runtimes = runs_of(a=[7, 8, 9], b=[4, 5, 6])
    results = results_of(session, runtimes)
    table = tables.group_pairs(results)
    assert table is not None
    assert [plain(c) for c in table.rows[0][2:6]] == ["9 : 0", "0", "0.10", "0.10"]
    (text,) = wording.runs_counted(results)
    assert text.startswith("Every run of one outlasted every run of the other: a over b. ")
    assert "three runs of each cannot decide" in text
    assert "p = 0.10" in text
    # 2 of C(8, 4) = 70 ways: 0.029
    assert "A verdict needs at least four runs of each" in text


def test_four_runs_each_can_decide() -> None:
    """C(8, 4) = 70 ways: the least p is 2/70 = 0.029."""
    session, runtimes = runs_of(a=[6, 7, 8, 9], b=[2, 3, 4, 5])
    results = results_of(session, runtimes)
    table = tables.group_pairs(results)
    assert table is not None
    assert [plain(c) for c in table.rows[0][2:6]] == ["16 : 0", "0", "0.029", "0.029"]
    assert "cannot decide" not in wording.runs_counted(results)[0]


def test_windows_that_overlap_leave_a_pair_open() -> None:
    session, runtimes = runs_of(a=[5.00, 7], b=[5.06, 6])
    (row,) = group_pairs(session, runtimes).itertuples(index=False)
    # 5.00 ± 0.05 and 5.06 ± 0.05 overlap; 7 beats both; 6 beats 5.00
    assert (row.pairs_a_longer, row.pairs_b_longer, row.pairs_open) == (2, 1, 1)


def test_the_exact_p_is_that_of_a_naive_count() -> None:
    """Independent: pairs counted one by one for every choice of runs."""
    a, b = np.array([5.0, 9.0, 7.5]), np.array([4.0, 6.0, 8.0, 3.0])
    everything = np.concatenate((a, b))

    def score(first: tuple[int, ...]) -> int:
        rest = [i for i in range(7) if i not in first]
        return sum(int(np.sign(everything[i] - everything[j])) for i in first for j in rest)

    all_scores = [score(c) for c in combinations(range(7), 3)]
    seen = score((0, 1, 2))
    expected = sum(abs(s) >= abs(seen) for s in all_scores) / 35
    p, least = exact_p(a, a, b, b)
    assert p == pytest.approx(expected)
    assert least == pytest.approx(2 / 35)


def test_many_runs_use_the_normal_approximation() -> None:
    """Twelve runs against twelve are 2 704 156 ways; fully apart, z² = (n_A n_B)²/var."""
    a, b = np.arange(13.0, 25.0), np.arange(1.0, 13.0)
    p, _ = exact_p(a, a, b, b)
    # scores 23, 21, … −23: Σ U² = 2 (1 + 9 + … + 529) = 4600; var = 144 × 4600/(24 × 23) = 1200
    # z = 144/√1200 = 4.157: two-sided 3.2e-5
    assert p == pytest.approx(3.2e-5, rel=0.02)


def test_means_that_count_runs_not_seen_to_their_end() -> None:
    """4, 5, 6 h: mean 5, s² = 2/3, u = √(2/3)/√3 = 0.471 (Greenwood), half were off at 5:00."""
    session, runtimes = runs_of(a=[4, 5, 6])
    table = tables.run_means(results_of(session, runtimes))
    assert table is not None
    assert plain(table.caption).startswith("Mean runtime counted up to 6:00")
    name, seen, mean, median, fitted, scatter = (plain(c) for c in table.rows[0])
    assert (name, seen, mean, median) == ("a", "3 of 3", "5.00 h, u = 0.47 h", "5:00")
    # maximum likelihood of three windows about 4, 5, 6: sd √(2/3) = 0.82, u = 0.82/√3 = 0.47
    assert (fitted, scatter) == ("5.00 h, u = 0.47 h", "0.82")


def test_runs_that_do_not_scatter_have_no_fit() -> None:
    session, runtimes = runs_of(a=[5.00, 5.02, 5.04])
    (row,) = group_fits(session, runtimes).itertuples(index=False)
    assert (row.runs, row.observed) == (3, 3)
    assert np.isnan(row.mean_h)


def test_the_curve_falls_by_a_third_a_run_and_is_drawn_from_five_runs_on() -> None:
    session, runtimes = runs_of(a=[4, 5, 6])
    table = tables.survival(results_of(session, runtimes))
    assert table is not None
    assert [plain(r[1]) for r in table.rows] == ["3:57 to 4:03", "4:57 to 5:03", "5:57 to 6:03"]
    assert [r[4] for r in table.rows] == ["67", "33", "0"]
    assert pictures.survival(results_of(session, runtimes)) is None
    five = results_of(*runs_of(a=[4, 5, 6, 7, 8], b=[5, 6, 7, 8, 9]))
    picture = pictures.survival(five)
    assert isinstance(picture, Picture)
    assert "a 80 % after 4.05 h; 60 % after 5.05 h" in picture.alt


def test_a_curve_is_drawn_within_its_interval_and_as_its_device_everywhere() -> None:
    # a was never seen to its end: there are curves of b and c alone
    session, runtimes = runs_of(a=[4] * 5, b=[4, 5, 6, 7, 8], c=[5, 6, 7, 8, 9])
    runtimes = runtimes[runtimes["device"] != "a"]
    results = results_of(session, runtimes)
    figure = Figure(layout="constrained")
    ax = figures.plot_survival(results, figure.add_subplot())
    look = device_styles(["a", "b", "c"])
    lines = [m for m in ax.lines if m.get_transform() == ax.transData]
    curves = [m for m in lines if m.get_linewidth() == 1.6]
    assert [m.get_color() for m in curves] == [look["b"].colour, look["c"].colour]
    edges = [m for m in lines if m.get_linewidth() == 0.8]
    assert len(edges) == 4
    for curve, low, high in zip(curves, edges[::2], edges[1::2], strict=True):
        share, least, most = (np.asarray(m.get_ydata()) for m in (curve, low, high))
        known = ~np.isnan(least)
        assert np.all(least[known] <= share[known])
        assert np.all(share[known] <= most[known])
        # the first of five is off within 3:57 to 4:03: from 100 to 80 %
        assert share[:3].tolist() == [100.0, 100.0, pytest.approx(80.0)]
    assert {"b", "c"} <= {t.get_text() for t in ax.texts}


def test_one_run_has_nothing_of_it() -> None:
    session, runtimes = runs_of(a=[4], b=[5])
    results = results_of(session, runtimes)
    shown = (tables.survival, tables.run_means, tables.group_pairs, pictures.survival)
    assert [make(results) for make in shown] == [None] * 4
    assert wording.runs_counted(results) == ()
    assert "every device ran once" in wording.not_computed(results)[-1]


@pytest.mark.parametrize(
    ("p", "text"), [(0.1, "0.10"), (0.0246, "0.025"), (2e-5, "< 0.001"), (float("nan"), "–")]
)
def test_p_values_have_two_digits(p: float, text: str) -> None:
    assert plain(p_text(p)) == text


def test_the_first_page_of_several_runs_has_the_staircase_of_the_means() -> None:
    results = report.load("sample_sessions/replicates", draws=10_000)
    order = order_over_runs(results)
    assert order is not None
    assert order.devices[0] == "turnstone"
    assert order.places == ("1st", "2nd or 3rd", "2nd or 3rd")
    page = report.glance(results)
    assert any(isinstance(i, Picture) and i.id == "figure-pairs" for i in page)
    shown = report.replicates(results)
    assert any(isinstance(i, Prose) and "Run against run" in i.text for i in shown)


def test_no_text_of_the_new_figures_is_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    drawn = []
    original = pictures.as_picture

    def keep(figure, *args, **options):  # type: ignore[no-untyped-def]  # wraps any call
        picture = original(figure, *args, **options)
        drawn.append(figure)
        return picture

    monkeypatch.setattr(pictures, "as_picture", keep)
    long = "Whelk with an extraordinarily long name"
    session, runtimes = runs_of(a=[4, 5, 6, 7, 8], b=[5, 6, 7, 8, 9])
    devices = tuple(replace(d, label=long + d.id) for d in session.devices)
    results = results_of(replace(session, devices=devices), runtimes)
    assert pictures.survival(results) is not None
    shifts = rows(
        "mix_shifts",
        [
            {"run": 1, "mix": "a day of use with a long name", "activity": "an activity " * 3,
             "share": 0.3, "share_from": low, "share_to": high, "device": d, "supported": False}
            for low, high, d in ((0.0, 0.05, "a"), (0.05, 0.95, "b"), (0.95, 1.0, "a"))
        ],
    )  # fmt: skip
    mixed = replace(results, extra={**results.extra, "mix_shifts": shifts})
    assert pictures.mix_shifts(mixed) is not None
    for figure in drawn:
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        box = figure.get_tightbbox(canvas.get_renderer())
        width, height = figure.get_size_inches()
        assert box.x0 >= -0.01
        assert box.x1 <= width + 0.01
        assert box.y0 >= -0.01
        assert box.y1 <= height + 0.01
