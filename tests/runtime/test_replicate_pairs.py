"""Pairs of devices over replicate runs, runs still needed, and effects of the runs."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from kit.results import RESULT_COLUMNS
from kit.runtime.replicate_pairs import replicate_pairs, run_effects
from tests.helpers.repeated_runs import runs_of, table


def test_all_pairs_by_the_studentized_range():
    # Three devices, three runs; run effects +10 and -10 min shared by all: taken out.
    # a 600 610 590, b 603 613 593 +-, c 640 650 630 with residuals of 1 min.
    session = runs_of({"a": [600, 609, 589], "b": [603, 613, 594], "c": [640, 651, 630]})
    frame = table(replicate_pairs, session).set_index(["device_a", "device_b"])
    assert frame["method"].unique().tolist() == ["tukey"]
    assert frame["verdict"].to_dict() == {
        ("a", "b"): "b", ("a", "c"): "b", ("b", "c"): "b",
    }  # fmt: skip
    row = frame.loc[("a", "b")]
    # means 599.33 and 603.33: -4 min. Residuals of the additive fit by hand: run means
    # 614.333, 624.333, 604.333 (grand 614.333): effects 0, 10, -10. a: 600-599.333 = .667, .
    # 609-609.333 = -.333, 589-589.333 = -.333; b: -.333, -.333, .667; c (640.333): -.333, .667,
    # -.333. SS = 3 * (.4444 + 2 * .1111) = 2.0 on 4 dof: s^2 = .5, u^2 = .5 * 2/3 = 1/3.
    assert row["difference"] * 60 == pytest.approx(-4)
    assert (row["difference_u"] * 60) ** 2 == pytest.approx(1 / 3)
    assert row["dof"] == 4
    # q(.05; 3, 4) = 5.040 (tables, from memory): 5.040/sqrt 2 * .57735 = 2.0576; resolution of
    # two windows of +-1 min: 2 - sqrt(.2) = 1.5528; together 2.578.
    assert (row["difference_high"] - row["difference"]) * 60 == pytest.approx(2.578, abs=2e-3)
    # windows [600,602) v [603,605) in run 1, [609,611) v [613,615), [589,591) v [594,596)
    assert (row["runs_a_longer"], row["runs_b_longer"]) == (0, 3)
    # separated: none more than the three
    assert (row["runs_more"], row["runs_needed"]) == (0, 3)


def test_how_many_more_runs_by_the_rule_of_the_verdict():
    # Three devices, three runs, residuals as drawn; a and b 2 min apart, X = 1.5528 min.
    session = runs_of({"a": [600, 609, 589], "b": [601, 612, 592], "c": [640, 651, 630]})
    frame = table(replicate_pairs, session).set_index(["device_a", "device_b"])
    row = frame.loc[("a", "b")]
    # a 599.333, b 601.667, c 640.333; runs 613.667, 624, 603.667, grand 613.778. Residuals a:
    # .778, -.556, -.222; b -.556, .111, .444; c -.222, .444, -.222: SS = 1.7778 on 4 dof: s^2 =
    # .4444. n runs: D normal about -2.3333 with sd s sqrt(2/n), s^2 from 2 (n - 1) dof.
    assert row["verdict"] == "too_close"
    assert (row["difference"] * 60, row["dof"]) == pytest.approx((-7 / 3, 4))

    def separated(n):
        rng = np.random.default_rng(n)
        u = math.sqrt(4 / 9 * 2 / n)
        d = 7 / 3 + u * rng.standard_normal(40_000)
        dof = 2 * (n - 1)
        u_found = u * np.sqrt(rng.chisquare(dof, 40_000) / dof)
        from scipy.stats import studentized_range

        q = studentized_range.ppf(0.95, 3, dof) / math.sqrt(2)
        return (np.abs(d) > np.hypot(2 - math.sqrt(0.2), q * u_found)).mean()

    total = 3 + int(row["runs_more"])
    assert row["runs_needed"] == total
    assert separated(total) > 0.79
    assert separated(total - 1) < 0.81
    # separated ones need none; a difference within its resolution no number of runs would tell
    assert frame.loc[("a", "c"), "runs_more"] == 0
    near = runs_of({"a": [600, 609, 589], "b": [601, 611, 589], "c": [640, 651, 630]})
    row = table(replicate_pairs, near).iloc[0]
    assert row["difference"] * 60 == pytest.approx(-1)
    assert math.isnan(row["runs_more"])


def test_unpaired_comparison_would_miss_what_runs_share():
    # The same data: sd between runs 10 min hides a 4-min difference from an unpaired t.
    from kit.stats.scatter import welch

    a, b = np.array([600, 609, 589]), np.array([603, 613, 594])
    d = welch(a.mean(), a.std(ddof=1), 3, b.mean(), b.std(ddof=1), 3)
    assert d.half_width(0.95) > 20


def test_declared_pair_uses_its_own_differences():
    session = runs_of({"a": [600, 609, 589], "b": [603, 613, 594], "c": [640, 651, 630]})
    session = replace(session, declared_comparison=("b", "a"))
    frame = table(replicate_pairs, session).set_index(["device_a", "device_b"])
    row = frame.loc[("a", "b")]
    # differences -3, -4, -5: mean -4, s = 1, u = .57735, t(2) = 4.3027: 2.484; with 1.5528: 2.930
    assert (row["method"], row["flags"], row["dof"]) == ("paired", "declared", 2)
    assert (row["difference_high"] - row["difference"]) * 60 == pytest.approx(2.930, abs=1e-3)
    assert row["verdict"] == "b"
    assert frame.loc[("a", "c"), "method"] == "tukey"


def test_devices_that_never_ran_together_are_compared_by_their_own_runs():
    session = runs_of({"a": [600, 606, None, None], "b": [None, None, 650, 656]})
    row = table(replicate_pairs, session).iloc[0]
    assert (row["method"], row["runs"]) == ("welch", 0)
    # means 604 and 654 (middles): -50; s = 4.243 each: u^2 = 9 + 9; dof 2
    assert row["difference"] * 60 == pytest.approx(-50)
    assert (row["difference_u"] * 60, row["dof"]) == pytest.approx((math.sqrt(18), 2))
    assert row["verdict"] == "b"
    assert row["runs_more"] == 0
    # 12 min apart, 4.3027 sqrt 18 = 18.3 needed: three of each have t(4) = 2.776 and u = sqrt 12
    # (U = 9.6 min), which falls short of 80 %; four t(6) = 2.447 and u = 3 (U = 7.3)
    session = runs_of({"a": [600, 606, None, None], "b": [None, None, 612, 618]})
    row = table(replicate_pairs, session).iloc[0]
    assert (row["verdict"], row["runs_more"]) == ("too_close", 2)


def test_pairs_that_cannot_be_compared():
    survivor = runs_of({"a": [600, 650], "b": [590, 596]}, still_on={("a", 1)})
    row = table(replicate_pairs, survivor).iloc[0]
    # still a fact of these runs: a [600, 602) v b [590, 592), and a on at 650 v b [596, 598)
    assert (row["verdict"], row["runs_a_longer"]) == ("unknown", 2)
    assert row["flags"] == "lower_bound;few_runs_to_count"
    single = runs_of({"a": [600, None], "b": [None, 596]})
    assert table(replicate_pairs, single)["flags"].tolist() == ["too_few_runs"]
    absent = runs_of({"a": [600, 601], "b": [None, None]})
    assert table(replicate_pairs, absent).empty


def test_run_effects():
    session = runs_of({"a": [600, 609, 589], "b": [603, 613, 594], "c": [640, 651, 630]})
    frame = table(run_effects, session)
    assert tuple(frame.columns) == RESULT_COLUMNS["run_effects"]
    assert (frame["effect"] * 60).tolist() == pytest.approx([0, 10, -10])
    # u^2 = s^2/m (1 - 1/n) = .5/3 * 2/3 = 1/9; t(4) = 2.7764: +-.9255
    assert (frame["effect_u"] * 60).tolist() == pytest.approx([1 / 3] * 3)
    assert (frame["effect_high"] - frame["effect"]).tolist() == pytest.approx(
        [0.92548 / 60] * 3, rel=1e-5
    )


def test_run_effects_need_two_devices():
    assert table(run_effects, runs_of({"a": [600, 609, 589]})).empty
