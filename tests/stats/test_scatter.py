"""Scatter between runs and units: hand-worked numbers, refusals, simulated coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kit.stats.scatter import additive_fit, runs_needed, tukey_factor, welch
from kit.stats.uncertainty import coverage_factor, replicate_mean_half_width


def test_welch_hand_case():
    # 606 s s 6 n 3; 590 s 4 n 3: se^2 = 12 + 5.3333 = 17.3333, se 4.163;
    # nu = 17.3333^2/(12^2/2 + 5.3333^2/2) = 300.44/(72 + 14.22) = 3.485; t(.975) = 2.946.
    d = welch(606, 6, 3, 590, 4, 3)
    assert d.u == pytest.approx(4.1633, abs=1e-4)
    assert d.dof == pytest.approx(3.4845, abs=1e-3)
    assert d.half_width(0.95) == pytest.approx(12.27, abs=0.02)
    with pytest.raises(ValueError, match="two values on each side"):
        welch(606, 6, 1, 590, 4, 3)


def test_resolution_joins_in_quadrature():
    # s = 0: only the resolution is left, whatever n.
    d = welch(606, 0.3, 3, 590, 0.4, 3)
    wide = d.half_width(0.95)
    assert d.half_width(0.95, resolution=2.0) == pytest.approx(math.hypot(2.0, wide))


@pytest.mark.parametrize(
    ("ratio", "n"),
    [
        (0.25, 253), (0.5, 64), (0.75, 29), (1, 17), (1.25, 12),
        (1.5, 9), (2, 6), (2.5, 4), (3, 4), (4, 3),
    ],
)  # fmt: skip
def test_runs_per_device_for_two_groups(ratio, n):
    # The next smaller number must fall short: checked by drawing both samples 40 000 times.
    assert runs_needed(ratio, 1.0, design="two_groups") == n
    if n <= 17:
        rng = np.random.default_rng(n)

        def power(k):
            a = rng.standard_normal((40_000, k)) + ratio
            b = rng.standard_normal((40_000, k))
            s = np.sqrt((a.var(axis=1, ddof=1) + b.var(axis=1, ddof=1)) / 2)
            t = (a.mean(axis=1) - b.mean(axis=1)) / (s * np.sqrt(2 / k))
            return (np.abs(t) > coverage_factor(0.95, 2 * k - 2)).mean()

        # 4 standard errors of a share near .8 in 40 000: .008
        assert power(n) > 0.8 - 0.008
        assert power(n - 1) < 0.8 + 0.008


def test_paired_runs():
    # n = 34 pairs for an effect of half a standard deviation (two-sided 5 %, power 80 %):
    # normal theory (1.960 + 0.842)^2/.25 = 31.4, plus about 1.96^2/2 = 1.9 for t: 33.3.
    assert runs_needed(0.5, 1.0, design="paired") == 34


@pytest.mark.parametrize(
    ("difference", "s", "answer"), [(0.0, 1.0, None), (5.0, 0.0, 2), (1e-4, 1.0, None)]
)
def test_runs_at_the_edges(difference, s, answer):
    assert runs_needed(difference, s, design="paired") == answer


@pytest.mark.parametrize("ratio", [15, 40, 1e4])
def test_huge_differences_need_two_or_three_runs(ratio):
    assert runs_needed(ratio, 1.0, design="paired") in (2, 3)


def test_bad_power_is_refused():
    with pytest.raises(ValueError, match="between 0 and 1"):
        runs_needed(1, 1, design="paired", power=1.0)


def test_tukey_with_two_groups_is_t():
    assert tukey_factor(0.95, 2, 10) == pytest.approx(coverage_factor(0.95, 10), rel=1e-6)


def test_additive_fit_by_hand():
    # Devices A, B; runs 1..3: A 10, 12, 11; B 13, 16, 13. Means 11 and 14; run means 11.5, 14,
    # 12, grand 12.5: effects -1, 1.5, -.5. Residuals A: 10-11+1 = 0, 12-11-1.5 = -.5,
    # 11-11+.5 = .5; B the opposite: SS = 4 * .25 = 1 on 2 dof, s^2 = .5.
    fit = additive_fit([[10, 13], [12, 16], [11, 13]])
    assert fit.device_mean.tolist() == pytest.approx([11, 14])
    assert fit.run_effect.tolist() == pytest.approx([-1, 1.5, -0.5])
    assert (fit.s**2, fit.dof) == pytest.approx((0.5, 2))
    # A - B: u^2 = .5 * 2/3; a run effect: u^2 = .5 * (1/2)(1 - 1/3) = 1/6.
    assert fit.difference(0, 1).u ** 2 == pytest.approx(1 / 3)
    assert fit.run_effect_u.tolist() == pytest.approx([math.sqrt(1 / 6)] * 3)


def test_missing_run_does_not_tilt_a_device():
    # B is missing in the bad run 3; its plain mean would be 15, the adjusted one is 14.
    truth = np.array([[10.0, 13], [12, 15], [8, 11]])
    shaken = truth + np.array([[0.1, -0.1], [-0.1, 0.1], [0.0, 0.0]])
    shaken[2, 1] = np.nan
    fit = additive_fit(shaken)
    assert fit.difference(1, 0).difference == pytest.approx(3, abs=0.2)
    assert abs(float(np.nanmean(shaken[:, 1]) - shaken[:, 0].mean()) - 3) > 0.9


@pytest.mark.parametrize("values", [[[1.0, 2.0]], [[1, np.nan], [np.nan, 2], [3, np.nan]]])
def test_what_cannot_be_separated_is_refused(values):
    with pytest.raises(ValueError, match="cannot separate"):
        additive_fit(values)


# --- naive formulas on simulated repeats -----------------------------------------------------


@pytest.mark.parametrize(("n", "covered"), [(2, 0.70), (3, 0.81), (5, 0.88)])
def test_z_for_few_runs_covers_too_little_and_t_covers(n, covered):
    rng = np.random.default_rng(50 + n)
    runs = rng.standard_normal((20_000, n))
    error = np.abs(runs.mean(axis=1))
    u = runs.std(axis=1, ddof=1) / math.sqrt(n)
    # 4 standard errors of 20 000: .013
    assert (error <= 1.96 * u).mean() == pytest.approx(covered, abs=0.013)
    assert (error <= coverage_factor(0.95, n - 1) * u).mean() == pytest.approx(0.95, abs=0.007)


def test_equal_integers_are_not_exact():
    # Three repeats from full charge, true drain 8.37 with run scatter .05 pp, truncating
    # display: all three read 9 (100 - 91). t s/sqrt(n) says 0; the resolution of one drain from
    # full charge, 1.00, still covers. Over fractions 0..1 and scatter .2 pp:
    rng = np.random.default_rng(56)
    fraction = rng.random((20_000, 1))
    true = 8 + fraction + 0.2 * rng.standard_normal((20_000, 3))
    read = 100 - np.floor(100 - true)
    mean, s = read.mean(axis=1), read.std(axis=1, ddof=1)
    t_only = coverage_factor(0.95, 2) * s / math.sqrt(3)
    error = np.abs(mean - (8 + fraction[:, 0]))
    naive = (error <= t_only).mean()
    ours = np.array([replicate_mean_half_width(one, 3, 1.0, 0.95) for one in s.tolist()])
    joined = (error <= ours).mean()
    assert naive < 0.5
    assert joined >= 0.95
    assert (s == 0).mean() > 0.4
