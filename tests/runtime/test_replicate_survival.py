"""Survival curves and restricted means of replicate runs."""

from __future__ import annotations

import pytest

from kit.results import RESULT_COLUMNS
from kit.runtime.runtimes import runtimes
from kit.runtime.survival_tables import restricted_means, survival_curves
from tests.helpers.repeated_runs import runs_of


def test_survival_of_four_runs_one_still_on():
    # Windows [540, 542), [560, 562), [580, 582); still on at 570 in run 3.
    session = runs_of({"a": [540, 560, 570, 580]}, still_on={("a", 2)})
    frame = survival_curves(session, runtimes(session))
    assert tuple(frame.columns) == RESULT_COLUMNS["survival"]
    # at risk 4, 3, 1: 3/4, 1/2, 0. Greenwood: .75 sqrt(1/12) = .2165; .5 sqrt(1/12 + 1/6) = .25
    assert (frame["time_h_low"] * 60).tolist() == pytest.approx([540, 560, 580])
    assert (frame["time_h_high"] * 60).tolist() == pytest.approx([542, 562, 582])
    assert frame["at_risk"].tolist() == [4, 3, 1]
    assert frame["share_on"].tolist() == pytest.approx([0.75, 0.5, 0])
    assert frame["share_on_u"].tolist() == pytest.approx([0.21651, 0.25, 0], abs=1e-5)


def test_survival_with_overlapping_windows():
    # [540, 542) and [541, 543): both can lie in [541, 542).
    session = runs_of({"a": [540, 541]})
    frame = survival_curves(session, runtimes(session))
    assert (frame["time_h_low"] * 60).tolist() == pytest.approx([541])
    assert frame["share_on"].tolist() == [0]
    # windows that pairwise overlap but have no common part: masses shared, no Greenwood
    chained = survival_curves(*(lambda s: (s, runtimes(s)))(runs_of({"a": [540, 541, 542]})))
    assert len(chained) >= 2
    assert chained["share_on_u"].isna().all()
    assert chained["share_on"].iloc[-1] == pytest.approx(0, abs=1e-6)


def test_restricted_means_share_a_horizon():
    # a: 541, 561, 570+, 581; b: 500, 520, 540 and 560+ -> horizon: b's last time 560.
    session = runs_of(
        {"a": [540, 560, 570, 580], "b": [499, 519, 539, 560]}, still_on={("a", 2), ("b", 3)}
    )
    frame = restricted_means(session, runtimes(session)).set_index("device")
    assert (frame["horizon_h"] * 60).tolist() == pytest.approx([560, 560])
    # a up to 560: 541 + .75 * 19 = 555.25; b: 500 + .75*20 + .5*20 + .25*20 = 530
    assert frame.loc["a", "mean_h"] * 60 == pytest.approx(555.25)
    assert frame.loc["b", "mean_h"] * 60 == pytest.approx(530)
    assert frame["observed"].tolist() == [3, 3]
    assert frame.loc["b", "median_h"] * 60 == pytest.approx(520)


def test_restricted_means_of_complete_runs_are_plain_means():
    session = runs_of({"a": [599, 605, 611], "b": [619, 625, 631]})
    frame = restricted_means(session, runtimes(session))
    assert (frame["mean_h"] * 60).tolist() == pytest.approx([606, 626])
