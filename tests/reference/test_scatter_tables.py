"""Certified and printed numbers for scatter and multiple comparisons, typed from the sources."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kit.drain.phases import phase_drain
from kit.results import Settings
from kit.runtime.replicates import replicates
from kit.runtime.runtimes import runtimes
from kit.stats.components import one_way, repeatability_limit
from kit.stats.scatter import tukey_factor
from kit.units import h_mm, interval
from tests.helpers.builders import join_runs, make_session, seen

# NIST StRD, analysis of variance, data set SiRstv (resistivity of silicon, 5 instruments, 5
# measurements each); certified values from the data file (seen). Components are derived.
SIRSTV = [
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
]


def test_sirstv_certified_analysis_of_variance():
    table = one_way(SIRSTV)
    assert (table.dof_between, table.dof_within) == (4, 20)
    # certified sums of squares, 9 digits; the data carry 7, so differences keep about 9
    assert table.ms_between * 4 == pytest.approx(5.11462616000e-02, rel=1e-9)
    assert table.ms_within * 20 == pytest.approx(2.16636560000e-01, rel=1e-9)
    assert table.f == pytest.approx(1.18046237440255, rel=1e-9)
    assert table.s_r == pytest.approx(0.104076068334656, rel=1e-9)


def test_sirstv_components():
    # Derived from the certified mean squares: (.0127865654 - .0108318280)/5 = 3.90947e-4.
    table = one_way(SIRSTV)
    assert table.s_l**2 == pytest.approx(3.90947e-4, rel=1e-5)
    assert table.s_reproducibility == pytest.approx(0.1059376, abs=1e-7)


def test_scipy_agrees_on_sirstv():
    from scipy.stats import f_oneway

    assert one_way(SIRSTV).f == pytest.approx(f_oneway(*SIRSTV).statistic, rel=1e-9)


def test_repeatability_limits_of_the_sulfur_table():
    # Total sulfur, three levels, s_r .021 .042 .047 with r .059 .118 .131, and s_R .057 .137
    # .102 with R .160 .383 .284: https://projects.bre.co.uk/aggregate/TStest/TSrvals.htm (seen).
    # r = 2.8 s_r: ISO 5725-6:1994, 4.1 (from memory). s is printed to .001: 2.8 * .0005 = .0014.
    for s, limit in [(0.021, 0.059), (0.042, 0.118), (0.047, 0.131), (0.057, 0.160),
                     (0.137, 0.383), (0.102, 0.284)]:  # fmt: skip
        assert repeatability_limit(s) == pytest.approx(limit, abs=0.002)


# NIST/SEMATECH e-Handbook 7.4.7.1; means 5.34 and 8.56 and which pairs differ seen, the data and
# the other numbers from memory, recomputed.
HANDBOOK = [
    [6.9, 5.4, 5.8, 4.6, 4.0],
    [8.3, 6.8, 7.8, 9.2, 6.5],
    [8.0, 10.5, 8.1, 6.9, 9.3],
    [5.8, 3.8, 6.1, 5.6, 6.2],
]


def tukey_intervals(groups):
    table = one_way(groups)
    n = len(groups[0])
    half = tukey_factor(0.95, len(groups), table.dof_within) * table.s_r * math.sqrt(2 / n)
    means = [float(np.mean(g)) for g in groups]
    return {
        (i, j): (means[i] - means[j] - half, means[i] - means[j] + half)
        for i in range(len(groups))
        for j in range(len(groups))
        if i != j
    }


def test_handbook_tukey_intervals():
    assert one_way(HANDBOOK).ms_within == pytest.approx(1.331, abs=5e-4)
    assert tukey_factor(0.95, 4, 16) * math.sqrt(2) == pytest.approx(4.05, abs=0.005)
    got = tukey_intervals(HANDBOOK)
    printed = {
        (1, 0): (0.29, 4.47),
        (2, 0): (1.13, 5.31),
        (0, 3): (-2.25, 1.93),
        (1, 2): (-2.93, 1.25),
        (1, 3): (0.13, 4.31),
        (2, 3): (0.97, 5.15),
    }
    for pair, bounds in printed.items():
        # the handbook rounds q and MSE before use
        assert got[pair] == pytest.approx(bounds, abs=0.011)


def test_handbook_groups_as_letters():
    # mu1 - mu4 and mu2 - mu3 are not significant (seen): two groups, {2, 3} and {1, 4}.
    from kit.stats.order import tie_letters

    got = tukey_intervals(HANDBOOK)
    above = np.zeros((4, 4), dtype=bool)
    for (i, j), (low, _) in got.items():
        above[i, j] = low > 0
    assert tie_letters(above) == ("b", "a", "a", "b")


def test_quantile_of_the_handbook():
    # q(.05; 5, 10) = 4.65: e-Handbook 7.4.7.1 (seen).
    assert tukey_factor(0.95, 5, 10) * math.sqrt(2) == pytest.approx(4.65, abs=0.005)


def test_scipy_documentation_example():
    # Documentation of scipy.stats.tukey_hsd (seen): confidence intervals of the example.
    groups = [
        [24.5, 23.5, 26.4, 27.1, 29.9],
        [28.4, 34.2, 29.5, 32.2, 30.1],
        [26.1, 28.3, 24.3, 26.2, 27.8],
    ]
    got = tukey_intervals(groups)
    assert got[0, 1] == pytest.approx((-8.249159, -0.950841), abs=1e-5)
    assert got[2, 0] == pytest.approx((-3.389159, 3.909159), abs=1e-5)
    assert got[1, 2] == pytest.approx((0.690841, 7.989159), abs=1e-5)


def test_hardwood_pairs():
    # Montgomery and Runger, S13-1 (seen): means 10.0 15.667 17.0 21.167, n = 6, MSE 6.51,
    # q(.05; 4, 20) = 3.96; only the pair 10 % and 15 % (15.667, 17.0) does not differ.
    half = tukey_factor(0.95, 4, 20) * math.sqrt(6.51 * 2 / 6)
    assert tukey_factor(0.95, 4, 20) * math.sqrt(2) == pytest.approx(3.96, abs=0.005)
    means = [10.0, 15.667, 17.0, 21.167]
    close = {(i, j) for i in range(4) for j in range(i) if abs(means[i] - means[j]) <= half}
    assert close == {(2, 1)}


def mean_runtime(*runs):
    """Return the kit's mean over runs of one device, its lower bound (h), and its flags."""
    whole = join_runs(*(make_session(devices=["a"], phases={"p": 600}, **run) for run in runs))
    frame = replicates(whole, runtimes(whole), phase_drain(whole, Settings()))
    row = frame[frame["quantity"] == "runtime"].iloc[0]
    return row["mean"], row["mean_low"], row["flags"]


def test_worked_run_time_is_rounded_down():
    # IEC TS 62393:2005, 2.1 (seen): (195 min + 487 min)/2 = 5.683 h, "rounded down to 5,6 h".
    # Off in the minute in which it was last seen on: start and end are half a minute late alike.
    mean, _, flags = mean_runtime(
        {"power_offs": {"a": seen(195, 195)}}, {"power_offs": {"a": seen(487, 487)}}
    )
    assert mean == pytest.approx(5.683, abs=5e-4)
    assert (h_mm(60 * mean), flags) == ("5:41", "")
    # A runtime given as a bound is rounded down here too, never to the nearest (5.7).
    assert interval(mean, None, "h", decimals=1) == "at least\u00a05.6\u00a0h"


def test_lower_bound_of_that_run_time():
    # On at both stops: at least 195 and 487 min since a start up to a minute later than noted,
    # (194 + 486)/2 = 340 min = 5:40, and no value.
    mean, low, flags = mean_runtime({"still_on": {"a": 195}}, {"still_on": {"a": 487}})
    assert (h_mm(60 * low), flags) == ("5:40", "lower_bound")
    assert mean == low
    assert interval(low, None, "h", decimals=1) == "at least\u00a05.6\u00a0h"


@pytest.mark.system
def test_statsmodels_agrees_on_tukey():
    module = pytest.importorskip("statsmodels.stats.multicomp")
    values = np.concatenate([np.array(g) for g in HANDBOOK])
    labels = np.repeat([0, 1, 2, 3], 5)
    theirs = module.pairwise_tukeyhsd(values, labels).confint
    got = tukey_intervals(HANDBOOK)
    pairs = [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)]
    for (i, j), (low, high) in zip(pairs, theirs, strict=True):
        assert got[j, i] == pytest.approx((low, high), abs=1e-3)
