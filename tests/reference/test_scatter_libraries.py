"""Other programs recompute what repeated runs say: scipy, statsmodels and lifelines.

Resolution is set to nothing, so that only the scatter between runs is left to be compared.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from kit.results import RESULT_COLUMNS
from kit.runtime.replicate_pairs import pairs_of
from kit.runtime.replicates import RUNTIME, Quantity
from kit.stats.components import mean_of_kind, one_way
from kit.stats.interval_censored import fit_censored
from tests.helpers.builders import make_session

A = [9.7, 10.1, 9.9, 10.6]
B = [9.2, 9.5, 9.1, 9.8, 9.0]
C = [8.1, 9.9, 9.0]


def apart(*devices):
    """Runs of each device of its own; hours without any uncertainty of their own."""
    value = np.full((sum(map(len, devices)), len(devices)), np.nan)
    begin = 0
    for j, runs in enumerate(devices):
        value[begin : begin + len(runs), j] = runs
        begin += len(runs)
    return exact(value)


def exact(value):
    nothing = np.zeros(np.shape(value))
    return Quantity(RUNTIME, "h", np.asarray(value), nothing, nothing, nothing > 0)


def pairs(quantity, **fields):
    """Return the rows of all pairs as dicts, by the names of both devices."""
    session = make_session(devices="abc"[: quantity.value.shape[1]], **fields)
    columns = RESULT_COLUMNS["replicate_pairs"]
    rows = [dict(zip(columns, row, strict=True)) for row in pairs_of(quantity, session, 0.95)]
    return {(row["device_a"], row["device_b"]): row for row in rows}


def test_welch_interval_of_scipy():
    """Two devices that never ran together: difference, degrees of freedom and interval."""
    from scipy import stats

    row = pairs(apart(A, B))["a", "b"]
    theirs = stats.ttest_ind(A, B, equal_var=False)
    ends = theirs.confidence_interval(0.95)
    assert row["method"] == "welch"
    assert row["difference"] == pytest.approx(np.mean(A) - np.mean(B))
    assert row["dof"] == pytest.approx(theirs.df)
    assert (row["difference_low"], row["difference_high"]) == pytest.approx(tuple(ends))
    assert row["verdict"] == "a"


def test_three_welch_intervals_share_the_error():
    """Three pairs, each at 1 − 0.05/3; of a declared pair at 0.95, and the others at 1 − 0.05/2."""
    from scipy import stats

    data = {"a": A, "b": B, "c": C}

    def theirs(i, j, level):
        found = stats.ttest_ind(data[i], data[j], equal_var=False)
        return tuple(found.confidence_interval(level))

    quantity = apart(A, B, C)
    for (i, j), row in pairs(quantity).items():
        ends = row["difference_low"], row["difference_high"]
        assert ends == pytest.approx(theirs(i, j, 1 - 0.05 / 3), rel=1e-6)
    for (i, j), row in pairs(quantity, declared_comparison=("a", "c")).items():
        level = 0.95 if (i, j) == ("a", "c") else 1 - 0.05 / 2
        ends = row["difference_low"], row["difference_high"]
        assert ends == pytest.approx(theirs(i, j, level), rel=1e-6)


def test_paired_interval_of_scipy():
    """The declared pair of devices that ran side by side."""
    from scipy import stats

    other = [9.2, 9.8, 9.1, 10.1]
    quantity = exact(np.column_stack([A, other]))
    row = pairs(quantity, declared_comparison=("a", "b"))["a", "b"]
    theirs = stats.ttest_rel(A, other)
    assert (row["method"], row["dof"]) == ("paired", theirs.df)
    ends = tuple(theirs.confidence_interval(0.95))
    assert (row["difference_low"], row["difference_high"]) == pytest.approx(ends)


UNITS = [[600, 606, 603], [620, 614, 617], [590, 596, 602], [611, 605, 614]]


@pytest.mark.system
def test_one_way_components_of_statsmodels():
    """Balanced groups: restricted maximum likelihood gives the components of the mean squares."""
    regression = pytest.importorskip("statsmodels.regression.mixed_linear_model")
    values, units = np.ravel(UNITS).astype(float), np.repeat(np.arange(4), 3)
    fit = regression.MixedLM(values, np.ones((12, 1)), groups=units).fit(reml=True)
    table = one_way(UNITS)
    assert table.s_r**2 == pytest.approx(fit.scale, rel=1e-4)
    assert table.s_l**2 == pytest.approx(fit.cov_re.item(), rel=1e-4)
    # runs of their own: u of the mean over units is that of the fitted intercept
    apart_ = np.full((12, 4), np.nan)
    for j, runs in enumerate(UNITS):
        apart_[3 * j : 3 * j + 3, j] = runs
    kind = mean_of_kind(apart_)
    assert kind.mean == pytest.approx(fit.fe_params.item())
    assert kind.u_units == pytest.approx(fit.bse_fe.item(), rel=1e-4)
    assert (kind.s_r, kind.s_l) == pytest.approx((table.s_r, table.s_l))


@pytest.mark.system
def test_unequal_groups_of_statsmodels():
    """Groups of 3, 2 and 4: mean squares and F of the analysis of variance."""
    api = pytest.importorskip("statsmodels.formula.api")
    from statsmodels.stats.anova import anova_lm

    groups = [[600.0, 606, 603], [620.0, 614], [590.0, 596, 602, 599]]
    frame = pd.DataFrame(
        {"y": np.concatenate(groups), "unit": np.repeat(["a", "b", "c"], [len(g) for g in groups])}
    )
    theirs = anova_lm(api.ols("y ~ unit", frame).fit())
    table = one_way(groups)
    assert table.ms_between == pytest.approx(theirs.loc["unit", "mean_sq"])
    assert table.ms_within == pytest.approx(theirs.loc["Residual", "mean_sq"])
    assert table.f == pytest.approx(theirs.loc["unit", "F"])
    # n₀ = (9 − (9 + 4 + 16)/9)/2 = 2.8889
    expected = (theirs.loc["unit", "mean_sq"] - theirs.loc["Residual", "mean_sq"]) / 2.8888889
    assert table.s_l**2 == pytest.approx(expected)


@pytest.mark.system
def test_differences_side_by_side_of_statsmodels():
    """Devices and runs separated by least squares, one value missing: u and degrees of freedom."""
    api = pytest.importorskip("statsmodels.formula.api")
    value = np.array([[9.7, 9.2, 8.9], [10.1, 9.8, 9.6], [9.9, 9.1, np.nan], [10.6, 10.1, 9.7]])
    run, device = np.nonzero(~np.isnan(value))
    frame = pd.DataFrame(
        {"y": value[run, device], "run": run.astype(str), "device": device.astype(str)}
    )
    fit = api.ols("y ~ device + run", frame).fit()
    rows = pairs(exact(value))
    for j, name in ((1, "b"), (2, "c")):
        row = rows["a", name]
        assert (row["method"], row["dof"]) == ("tukey", fit.df_resid)
        assert row["difference"] == pytest.approx(-fit.params[f"device[T.{j}]"])
        assert row["difference_u"] == pytest.approx(fit.bse[f"device[T.{j}]"])


@pytest.mark.system
def test_u_of_a_mean_from_windows_of_lifelines():
    """A normal fit of six windows, one open: mean, scatter and u of the mean.

    That program fits the logarithm of times, so it is given exp((t − 600)/10).
    """
    lifelines = pytest.importorskip("lifelines")
    low = np.array([600.0, 610, 618, 604, 622, 630])
    high = np.array([604.0, 614, 622, 608, 630, math.inf])
    ours = fit_censored(low, high, family="normal")
    theirs = lifelines.LogNormalFitter().fit_interval_censoring(
        np.exp((low - 600) / 10), np.exp((high - 600) / 10)
    )
    assert ours.mean == pytest.approx(600 + 10 * theirs.mu_, abs=1e-2)
    assert ours.sd == pytest.approx(10 * theirs.sigma_, rel=1e-3)
    assert ours.mean_u == pytest.approx(10 * theirs.summary.loc["mu_", "se(coef)"], rel=1e-3)
