"""Two devices of which one was still on in a run: which rule decides, and what it says."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from kit.results import RESULT_COLUMNS, Settings
from kit.runtime.replicate_pairs import replicate_pairs, run_effects
from kit.runtime.replicates import RUNTIME, Quantity
from kit.runtime.runtimes import runtimes
from tests.helpers.repeated_runs import NO_DRAIN, runs_of, table

INF = math.inf


def pair(session, **settings):
    frame = replicate_pairs(session, runtimes(session), NO_DRAIN, Settings(**settings))
    assert tuple(frame.columns) == RESULT_COLUMNS["replicate_pairs"]
    assert len(frame) == 1
    return frame.iloc[0]


def minutes(row, *columns):
    return [row[c] * 60 for c in columns]


def test_six_runs_all_won_are_counted():
    # b is seen off in [m, m + 2), a is on at its stop: leads of 20, 13, 28, 8, 18, 38 min at least.
    # 2 of 2^6 signs: p = 0.031; the interval starts at the least lead, 8 min.
    b = [600, 610, 595, 605, 612, 590]
    a = [622, 625, 625, 615, 632, 630]
    row = pair(runs_of({"a": a, "b": b}, still_on={("a", r) for r in range(6)}))
    assert (row["method"], row["verdict"], row["flags"]) == ("signed_rank", "a", "lower_bound")
    assert (row["p_exact"], row["p_least"], row["runs_least"]) == (1 / 32, 1 / 32, 6)
    assert (row["runs"], row["runs_a_longer"], row["runs_b_longer"]) == (6, 6, 0)
    assert minutes(row, "difference_low") == pytest.approx([8])
    assert math.isnan(row["difference_high"])
    # the middle of the 21 averages of two of 8, 13, 18, 20, 28, 38 is 20
    assert minutes(row, "difference") == pytest.approx([20])


def test_the_other_way_round_is_the_mirror_image():
    a, b = [600, 610, 595, 605, 612, 590], [622, 625, 625, 615, 632, 630]
    row = pair(runs_of({"a": a, "b": b}, still_on={("b", r) for r in range(6)}))
    assert (row["method"], row["verdict"]) == ("signed_rank", "b")
    assert minutes(row, "difference", "difference_high") == pytest.approx([-20, -8])
    assert math.isnan(row["difference_low"])


def test_three_runs_take_the_scatter_of_the_one_that_was_seen():
    # b: middles 601, 611, 591, s = 10: u = √(2/3)·10 = 8.165; the leads 120, 115, 125 scatter by 5.
    # t(2) = 4.303: 120 − 35.1 = 84.9 min at least. Counting would take six runs.
    session = runs_of(
        {"a": [722, 727, 717], "b": [600, 610, 590]}, still_on={("a", r) for r in range(3)}
    )
    row = pair(session)
    assert (row["method"], row["verdict"]) == ("seen_scatter", "a")
    assert row["flags"] == "lower_bound;few_runs_to_count"
    assert minutes(row, "difference", "difference_u") == pytest.approx([120, 8.16497], abs=1e-4)
    assert minutes(row, "difference_low") == pytest.approx([84.87], abs=0.01)
    assert (row["dof"], row["p_least"], row["runs_least"]) == (2, 0.25, 6)
    # 35.1 min are needed: leads of 30, 25, 35 are not
    close = runs_of(
        {"a": [632, 637, 627], "b": [600, 610, 590]}, still_on={("a", r) for r in range(3)}
    )
    row = pair(close)
    assert (row["verdict"], row["runs_a_longer"]) == ("unknown", 3)
    assert minutes(row, "difference_low") == pytest.approx([30 - 35.13], abs=0.01)


def test_one_open_run_of_three_is_enough_to_need_the_bound():
    session = runs_of({"a": [722, 727, 717], "b": [600, 610, 590]}, still_on={("a", 1)})
    row = pair(session)
    # bounds 722 − 602 = 120 and so on, as if all had been open
    assert (row["method"], row["verdict"]) == ("seen_scatter", "a")
    assert minutes(row, "difference") == pytest.approx([120])


def test_both_open_in_three_runs_cannot_be_said():
    session = runs_of({"a": [722, 600, 717], "b": [600, 640, 590]}, still_on={("a", 0), ("b", 1)})
    row = pair(session)
    assert (row["method"], row["verdict"]) == ("", "unknown")
    assert (row["p_exact"], row["runs_least"]) == (1, 6)


def test_one_that_was_taken_away_early_leads_nothing():
    session = runs_of({"a": [300, 310, 290], "b": [600, 610, 590]}, still_on={("a", 0)})
    row = pair(session)
    assert row["verdict"] == "unknown"
    assert row["difference_low"] < 0


def test_two_that_are_close_with_one_open_run_among_many():
    # 12 runs won in turns by 10 min: P(W ≤ 13) = 0.0212, so both ends are the 14th of 78 averages,
    # of which the one open run reaches 12.
    a = [600 + 10 * (-1) ** r for r in range(12)]
    session = runs_of({"a": a, "b": [600] * 12}, still_on={("a", 0)})
    row = pair(session)
    assert (row["method"], row["verdict"]) == ("signed_rank", "too_close")
    assert row["difference_low"] < 0 < row["difference_high"]
    assert math.isnan(row["difference"])


def test_three_pairs_share_the_probability_of_error():
    # six runs do for one pair (1/32), not for one of three (0.05/3 = 0.0167): seven do (1/64).
    b, c = [600, 610, 595, 605, 612, 590, 601], [580, 591, 574, 585, 593, 570, 580]
    a = [m + 22 for m in b]
    for n, method in ((6, "seen_scatter"), (7, "signed_rank")):
        session = runs_of(
            {"a": a[:n], "b": b[:n], "c": c[:n]}, still_on={("a", r) for r in range(n)}
        )
        frame = table(replicate_pairs, session).set_index(["device_a", "device_b"])
        assert frame["method"].to_dict() == {
            ("a", "b"): method, ("a", "c"): method, ("b", "c"): "tukey"
        }  # fmt: skip
        assert frame.loc[("a", "b"), "runs_least"] == 7
    # b and c, two devices seen whole, hold one of the three shares: t with 6 dof at 0.05/3
    row = frame.loc[("b", "c")]
    d = np.array(b) - np.array(c)
    factor = stats.t.ppf(1 - 0.05 / 6, 6)
    scatter = factor * d.std(ddof=1) / math.sqrt(7)
    wide = math.hypot(scatter, 2 - math.sqrt(0.2))
    assert (row["difference_high"] - row["difference"]) * 60 == pytest.approx(wide, rel=1e-6)


def test_the_declared_pair_has_the_whole_probability():
    b, c = [600, 610, 595, 605, 612, 590], [580, 591, 574, 585, 593, 570]
    session = runs_of(
        {"a": [m + 22 for m in b], "b": b, "c": c}, still_on={("a", r) for r in range(6)}
    )
    session = replace(session, declared_comparison=("a", "b"))
    frame = table(replicate_pairs, session).set_index(["device_a", "device_b"])
    row = frame.loc[("a", "b")]
    assert (row["method"], row["flags"]) == ("signed_rank", "lower_bound;declared")
    # two pairs are left for the others: 0.05/2 takes seven runs
    assert frame.loc[("a", "c"), "runs_least"] == 7


def test_a_device_with_an_open_run_does_not_make_the_others_look_steadier():
    # a's runs that were seen to their end are its shorter ones: b and c alone give the scatter.
    session = runs_of(
        {"a": [640, 600, 590], "b": [605, 611, 597], "c": [580, 592, 571]}, still_on={("a", 0)}
    )
    alone = runs_of({"b": [605, 611, 597], "c": [580, 592, 571]})
    with_a = table(replicate_pairs, session).set_index(["device_a", "device_b"]).loc[("b", "c")]
    without = pair(alone)
    assert with_a["difference_u"] == pytest.approx(without["difference_u"])
    assert table(run_effects, session)["effect"].tolist() == pytest.approx(
        table(run_effects, alone)["effect"].tolist()
    )


def test_runs_of_their_own():
    # a on 700 and 690 at the stop, b off in [600, 602) …: 4 : 0 pairs; 2 of C(4, 2) orders = 0.33.
    session = runs_of(
        {"a": [700, 690, None, None], "b": [None, None, 600, 606]}, still_on={("a", 0), ("a", 1)}
    )
    row = pair(session)
    assert (row["method"], row["runs"]) == ("seen_scatter", 0)
    assert (row["p_least"], row["runs_least"]) == (pytest.approx(1 / 3), 4)
    # 695 − (602 + 608)/2 = 90; s_B = 4.243, s_A = 7.071 is the larger: u² = 50/2 + 18/2 = 34
    assert minutes(row, "difference", "difference_u") == pytest.approx([90, math.sqrt(34)])
    # t(1) = 12.706
    assert minutes(row, "difference_low") == pytest.approx([90 - 12.7062 * math.sqrt(34)], abs=1e-3)
    four = runs_of(
        {"a": [700, 690, 680, 670, *[None] * 4], "b": [*[None] * 4, 600, 606, 590, 610]},
        still_on={("a", 0), ("a", 1)},
    )
    row = pair(four)
    assert (row["method"], row["verdict"]) == ("rank_sum", "a")
    assert row["p_exact"] == pytest.approx(2 / 70)
    # the least of the 16 leads: 670 − 612
    assert minutes(row, "difference_low") == pytest.approx([58])


def test_runs_of_their_own_share_the_probability_of_error_too():
    # three devices that never ran together: Welch's t at 1 − 0.05/3 each
    none = [None] * 3
    session = runs_of(
        {"a": [600, 606, 612, *none, *none], "b": [*none, 650, 656, 662, *none],
         "c": [*none, *none, 700, 706, 712]}
    )  # fmt: skip
    row = table(replicate_pairs, session).iloc[0]
    # s = 6 each: u² = 12 + 12, 4 dof
    wide = math.hypot(stats.t.ppf(1 - 0.05 / 6, 4) * math.sqrt(24), 2 - math.sqrt(0.2))
    assert row["method"] == "welch"
    assert (row["difference_high"] - row["difference"]) * 60 == pytest.approx(wide)


def test_a_lower_confidence_takes_fewer_runs():
    session = runs_of({"a": [640] * 3, "b": [600, 610, 590]}, still_on={("a", r) for r in range(3)})
    row = pair(session, coverage=0.75)
    assert (row["method"], row["verdict"], row["runs_least"]) == ("signed_rank", "a", 3)
    assert minutes(row, "difference_low") == pytest.approx([28])


# --- false claims over a whole table ------------------------------------------------------------


def simulated(rng, devices, runs, *, shared, how, after):
    """Return the runtimes (h) of devices truly equal, looked at every minute, some still on."""
    true = 600 + rng.normal(0, 6, (runs, devices)) + rng.normal(0, shared, (runs, 1))
    if how == "last_but_one":
        stop = np.sort(true, axis=1)[:, [-2]] + after
    else:
        stop = np.full((runs, 1), 600.0 + after)
    open_end = true >= stop
    low = np.floor(np.minimum(true, stop))
    half = np.where(open_end, np.nan, 1.0)
    return Quantity(
        RUNTIME, "h", np.where(open_end, low, low + 1) / 60, half / 60, half / 104, open_end
    )


@pytest.mark.parametrize(
    ("devices", "runs", "how", "after"),
    [
        (2, 3, "last_but_one", 3.0),
        (3, 3, "time", 8.0),
        (2, 7, "time", 4.0),
        (3, 8, "last_but_one", 5.0),
    ],
)
def test_equal_devices_with_open_runs_are_hardly_ever_told_apart(
    monkeypatch, devices, runs, how, after
):
    from kit.runtime import replicates

    rng = np.random.default_rng([devices, runs, int(after)])
    session = runs_of({f"d{k}": [600] * runs for k in range(devices)})
    drawn = [simulated(rng, devices, runs, shared=3.0, how=how, after=after) for _ in range(1500)]
    assert np.mean([q.at_least.any() for q in drawn]) > 0.5
    wrong = decided = 0
    for quantity in drawn:
        monkeypatch.setattr(replicates, "quantities", lambda *_, q=quantity: [q])
        frame = replicate_pairs(session, None, None)
        wrong += frame["verdict"].isin(["a", "b"]).any()
        low = frame["difference_low"].fillna(-INF)
        high = frame["difference_high"].fillna(INF)
        decided += not ((low <= 0) & (high >= 0)).all()
    # 5 %, and 3 standard errors of 0.56 %
    assert wrong / 1500 <= 0.067
    # an interval that starts at 0 is a lead, too: the difference lies above its bound
    assert decided <= wrong
