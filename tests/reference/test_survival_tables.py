"""Published survival analyses against ours.

Data: E. J. Freireich et al. (1963), Blood 21:699-716, remission times in weeks, as printed in
Introductory Biostatistics, example 11.1, and on the data page of Ø. Borgan (both seen). 6-MP arm
(9 relapses of 21) and placebo arm (21 of 21). Typed.
"""

from __future__ import annotations

import numpy as np
import pytest

from kit.stats.interval_censored import fit_censored
from kit.stats.survival import gehan_pairs, log_rank, product_limit, restricted_mean

SIX_MP = [6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
SIX_MP_SEEN = [True] * 9 + [False] * 12
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]
PLACEBO_SEEN = [True] * 21


def test_six_mp_survival_table():
    # Textbook table 11.1 (from memory; recomputed with two libraries): survival to 4 digits,
    # numbers at risk and Greenwood's standard errors. The three censored-or-not times at 6
    # weeks pin the tie rule: a censored time equal to an observed one counts as later.
    curve = product_limit(SIX_MP, SIX_MP_SEEN)
    assert curve.time.tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert curve.at_risk.tolist() == [21, 17, 15, 12, 11, 7, 6]
    assert curve.events.tolist() == [3, 1, 1, 1, 1, 1, 1]
    np.testing.assert_allclose(
        curve.survival, [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482], atol=5e-5
    )
    np.testing.assert_allclose(
        curve.survival_se, [0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346], atol=5e-5
    )
    assert curve.median == 23


def test_log_rank_of_both_arms():
    # chi-square 16.79, p 4.17e-5 (from memory; recomputed with two libraries: 16.792941).
    result = log_rank(SIX_MP, SIX_MP_SEEN, PLACEBO, PLACEBO_SEEN)
    assert result.chi_square == pytest.approx(16.79, abs=0.005)
    assert result.p_value == pytest.approx(4.17e-5, abs=5e-8)


def test_exponential_mean_is_total_time_over_events():
    # Derived from the data: 359 weeks in all, 9 relapses: 359/9 = 39.889.
    high = [t if seen else np.inf for t, seen in zip(SIX_MP, SIX_MP_SEEN, strict=True)]
    assert sum(SIX_MP) == 359
    fit = fit_censored(SIX_MP, high, family="exponential")
    assert fit.mean == pytest.approx(359 / 9, rel=1e-6)
    # Information of the rate: events/rate^2, so u(mean) = mean/sqrt(9).
    assert fit.mean_u == pytest.approx(359 / 9 / 3, rel=1e-4)


def test_gehan_score():
    # W = 271 as printed by Gehan (1965), Biometrika 52:203-223 (from memory; recomputed).
    # The counts 335, 64, 42 of 441 and the permutation variance are derived, not published.
    high = [t if seen else np.inf for t, seen in zip(SIX_MP, SIX_MP_SEEN, strict=True)]
    count = gehan_pairs(SIX_MP, high, PLACEBO, PLACEBO)
    assert count.score == 271
    assert (count.longer, count.shorter, count.undecided) == (335, 64, 42)
    assert count.variance == pytest.approx(5644.39, abs=0.005)
    assert count.z == pytest.approx(3.607, abs=5e-4)


@pytest.mark.system
@pytest.mark.filterwarnings("ignore:Starting with pandas")
def test_lifelines_recomputes_the_same():
    lifelines = pytest.importorskip("lifelines")
    from lifelines.statistics import logrank_test
    from lifelines.utils import restricted_mean_survival_time

    fit = lifelines.KaplanMeierFitter().fit(SIX_MP, SIX_MP_SEEN)
    curve = product_limit(SIX_MP, SIX_MP_SEEN)
    np.testing.assert_allclose(
        fit.survival_function_at_times(curve.time).to_numpy(), curve.survival, rtol=1e-12
    )
    low, high = curve.bands(coverage=0.95)
    theirs = fit.confidence_interval_survival_function_.loc[curve.time].to_numpy()
    np.testing.assert_allclose(np.column_stack([low, high]), theirs, rtol=1e-9)
    test = logrank_test(SIX_MP, PLACEBO, SIX_MP_SEEN, PLACEBO_SEEN)
    ours = log_rank(SIX_MP, SIX_MP_SEEN, PLACEBO, PLACEBO_SEEN)
    assert ours.chi_square == pytest.approx(test.test_statistic, rel=1e-10)
    assert ours.p_value == pytest.approx(test.p_value, rel=1e-8)
    for horizon in (12.0, 23.0, 30.0):
        mean, _ = restricted_mean(curve, horizon=horizon)
        assert mean == pytest.approx(restricted_mean_survival_time(fit, t=horizon), rel=1e-9)


@pytest.mark.system
def test_lifelines_data_are_the_same_arms():
    # Guards against swapped arms: Rx == 0 is 6-MP (9 events, 359 weeks).
    datasets = pytest.importorskip("lifelines.datasets")
    table = datasets.load_leukemia()
    arm = table[table["Rx"] == 0]
    assert sorted(arm["t"].tolist()) == sorted(SIX_MP)
    assert int(arm["status"].sum()) == 9
    assert sorted(table[table["Rx"] == 1]["t"].tolist()) == sorted(PLACEBO)


@pytest.mark.system
def test_greenwood_of_a_library_agrees():
    duration = pytest.importorskip("statsmodels.duration.survfunc")
    theirs = duration.SurvfuncRight(SIX_MP, np.array(SIX_MP_SEEN, dtype=int))
    curve = product_limit(SIX_MP, SIX_MP_SEEN)
    np.testing.assert_allclose(theirs.surv_prob, curve.survival, rtol=1e-12)
    np.testing.assert_allclose(theirs.surv_prob_se, curve.survival_se, rtol=1e-12)
