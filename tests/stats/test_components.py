"""Components of scatter, and the mean of a kind: hand-worked numbers, refusals, coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kit.stats.components import mean_of_kind, one_way, repeatability_limit
from kit.stats.uncertainty import coverage_factor

NAN = math.nan


def own_runs(units):
    """Return values (runs, units) of units that ran in runs of their own."""
    size = sum(len(unit) for unit in units)
    out = np.full((size, len(units)), NAN)
    run = 0
    for k, unit in enumerate(units):
        out[run : run + len(unit), k] = unit
        run += len(unit)
    return out


def test_two_units_two_runs_each():
    # 600, 606 / 620, 614. Unit means 603, 617; grand mean 610.
    # Within: 2*3^2 + 2*3^2 = 36 on 2 dof: MS 18, s_r 4.243.
    # Between: 2*(7^2 + 7^2) = 196 on 1 dof: s_L = sqrt((196 - 18)/2) = 9.434.
    table = one_way([[600, 606], [620, 614]])
    assert (table.ms_within, table.ms_between) == (18, 196)
    assert (table.s_r, table.s_l) == pytest.approx((4.2426, 9.4340), abs=1e-4)
    assert table.f == pytest.approx(196 / 18)
    # s_R = sqrt(18 + 89) = 10.344
    assert table.s_reproducibility == pytest.approx(math.sqrt(107))
    found = mean_of_kind(own_runs([[600, 606], [620, 614]]))
    assert (found.mean, found.dof_units, found.u_runs) == (610, 1, 0)
    assert found.u_units == pytest.approx(math.sqrt(196 / 4))
    assert (found.s_r, found.s_l) == (table.s_r, table.s_l)
    # +-12.706 * 7 = 89 min; as four independent values it would be +-14.
    assert found.half_width(0.95) == pytest.approx(88.94, abs=0.01)


def test_unequal_groups_use_the_smaller_effective_size():
    # sizes 3 and 1: n0 = (4 - (9 + 1)/4)/1 = 1.5
    table = one_way([[1, 2, 3], [6]])
    assert table.n0 == 1.5
    # within (1 + 0 + 1)/2 = 1; grand mean 3: between 3*1 + 9 = 12; s_L^2 = (12 - 1)/1.5
    assert (table.ms_within, table.ms_between) == (1, 12)
    assert table.s_l == pytest.approx(math.sqrt(11 / 1.5))


def test_negative_component_is_zero():
    table = one_way([[1, 3], [3, 1]])
    assert table.ms_between == 0
    assert table.s_l == 0


def test_single_runs_have_no_scatter_within():
    table = one_way([[1], [2]])
    assert math.isnan(table.ms_within)
    assert math.isnan(table.f)
    # what two single values differ by is of both scatters
    assert math.isnan(table.s_l)
    # values 1 apart: s^2 = .5; chi^2(.025; 1) = .000982: sqrt(.5/.000982) = 22.6
    assert table.s_l_bounds(0.95) == pytest.approx((0.0, 22.6), abs=0.05)


@pytest.mark.parametrize("groups", [[[1, 2]], [[1, 2], []]])
def test_components_need_two_filled_groups(groups):
    with pytest.raises(ValueError, match="at least two groups"):
        one_way(groups)


def test_units_need_two():
    with pytest.raises(ValueError, match="two units, got 1"):
        mean_of_kind([[1, math.nan], [2, math.nan]])


def test_side_by_side_by_hand():
    # Runs of two units: 600 612, 610 618, 590 606. Unit means 600, 612: s^2 = 72, u = 6, 1 dof.
    # Run means 606, 614, 598: s^2 = 64, u = 8/sqrt 3, 2 dof. Residuals 0 2 -2 and back: 16 on 2
    # dof. s_L^2 = 72 - 8/3 (MS_unit = 3 * 72 = 216, (216 - 8)/3 = 69.33).
    found = mean_of_kind([[600, 612], [610, 618], [590, 606]])
    assert (found.mean, found.dof_units, found.dof_runs) == (606, 1, 2)
    assert (found.u_units, found.u_runs) == pytest.approx((6, 8 / math.sqrt(3)))
    assert found.s_l**2 == pytest.approx(208 / 3)
    assert (found.between.ms_between, found.between.ms_within) == pytest.approx((216, 8))
    # sqrt((12.706 * 6)^2 + (4.3027 * 4.6188)^2) = sqrt(5812.0 + 394.9)
    assert found.half_width(0.95) == pytest.approx(78.78, abs=0.01)
    assert found.half_width(0.95, resolution=10.0) == pytest.approx(math.hypot(78.78, 10), abs=0.01)


def test_one_unit_missed_a_run_that_another_had():
    # Unit a in runs 1 and 2 (10, 14), unit b in run 2 and 3 (16, 12). Means 12 and 14: u = 1.
    # They share one run, each with weight 1/2: C = 1/4. Taking units out, runs 1 and 3 have
    # residuals -2 and -2, run 2 has 2 and 2: all of it is runs, SS = 16 on 2 dof (4 - 2 units:
    # 3 runs less one for the level), nothing is left for the rest.
    # k: each value less half of its own and half of the other one of its unit, (1/4 + 1/4) per
    # value: four values, run columns 1, 2, 3: |.|^2 = 1/2 + 1 + 1/2 = 2, over 2 dof: k = 1.
    found = mean_of_kind([[10, NAN], [14, 16], [NAN, 12]])
    assert (found.mean, found.u_units, found.dof_runs) == (13, 1, 2)
    assert found.u_runs == pytest.approx(math.sqrt(0.25 * 16 / 2 / 1))
    assert math.isnan(found.s_l)


def test_one_run_says_nothing_of_other_days():
    found = mean_of_kind([[600, 620]])
    assert math.isnan(found.u_runs)
    assert found.u_units == pytest.approx(10)
    assert found.half_width(0.95) == pytest.approx(127.06, abs=0.01)


def test_repeatability_limit():
    assert repeatability_limit(1.0) == 2.8


def test_runs_of_two_units_as_independent_cover_too_little():
    # sd 1 between units and 1 between runs; 2 units with 4 runs each taken as 8 values.
    rng = np.random.default_rng(55)
    units = rng.standard_normal((8000, 2, 1)) + rng.standard_normal((8000, 2, 4))
    flat = units.reshape(8000, 8)
    naive = np.abs(flat.mean(axis=1)) <= coverage_factor(0.95, 7) * flat.std(
        axis=1, ddof=1
    ) / math.sqrt(8)
    ours = []
    for session in units[:2000]:
        found = mean_of_kind(own_runs(session))
        ours.append(abs(found.mean) <= found.half_width(0.95))
    assert naive.mean() < 0.80
    assert np.mean(ours) == pytest.approx(0.95, abs=0.02)


@pytest.mark.parametrize("between", [0.0, 5.0])
@pytest.mark.parametrize(("units", "runs"), [(2, 3), (3, 3), (4, 3)])
def test_mean_of_a_kind_covers_where_its_units_shared_runs(units, runs, between):
    # run sd 9, residual 3 min. By the unit means alone the interval covers 36 to 92 %: what a
    # day did to all units is in none of their differences.
    rng = np.random.default_rng([units, runs, int(between)])
    sessions = 1500
    values = (
        between * rng.standard_normal((sessions, 1, units))
        + 9.0 * rng.standard_normal((sessions, runs, 1))
        + 3.0 * rng.standard_normal((sessions, runs, units))
    )
    found = [mean_of_kind(one) for one in values]
    error = np.abs([one.mean for one in found])
    ours = error <= [one.half_width(0.95) for one in found]
    alone = error <= [coverage_factor(0.95, units - 1) * one.u_units for one in found]
    assert ours.mean() >= 0.94
    assert alone.mean() < 0.94
    if between == 0.0:
        assert alone.mean() < 0.82


def test_mean_of_a_kind_covers_where_units_shared_some_runs():
    # Units 1 and 2 in runs 1 to 3, units 2 and 3 in runs 3 to 5, unit 4 on its own in 6 and 7.
    layout = np.zeros((7, 4), dtype=bool)
    layout[:3, 0] = layout[:5, 1] = layout[2:5, 2] = layout[5:, 3] = True
    rng = np.random.default_rng(8)
    for between in (0.0, 5.0, 15.0):
        covered = []
        for _ in range(700):
            values = (
                between * rng.standard_normal(4)
                + 9.0 * rng.standard_normal((7, 1))
                + 3.0 * rng.standard_normal((7, 4))
            )
            found = mean_of_kind(np.where(layout, values, NAN))
            covered.append(abs(found.mean) <= found.half_width(0.95))
        assert np.mean(covered) >= 0.94


def test_welch_satterthwaite_in_one_factor_would_cover_too_little():
    # Two units (sd 15) and eight runs (sd 9, residual 3): one t with effective degrees of freedom
    # of both parts covers 89 %, the parts expanded apart at least 95 %.
    from scipy.stats import t

    rng = np.random.default_rng(9)
    values = (
        15.0 * rng.standard_normal((1500, 1, 2))
        + 9.0 * rng.standard_normal((1500, 8, 1))
        + 3.0 * rng.standard_normal((1500, 8, 2))
    )
    ours, one_factor = [], []
    for one in values:
        found = mean_of_kind(one)
        squares = found.u_units**2, found.u_runs**2
        dof = sum(squares) ** 2 / (squares[0] ** 2 + squares[1] ** 2 / 7)
        one_factor.append(abs(found.mean) <= t.ppf(0.975, dof) * math.sqrt(sum(squares)))
        ours.append(abs(found.mean) <= found.half_width(0.95))
    assert np.mean(one_factor) < 0.92
    assert np.mean(ours) >= 0.94


@pytest.mark.parametrize("side_by_side", [False, True])
@pytest.mark.parametrize(("units", "runs", "between"), [(2, 3, 5.0), (3, 3, 2.0), (5, 4, 5.0)])
def test_bounds_of_the_scatter_between_units_cover_it(units, runs, between, side_by_side):
    rng = np.random.default_rng([units, runs, side_by_side])
    sessions = 1500
    shape = (sessions, runs, 1) if side_by_side else (sessions, runs, units)
    values = (
        between * rng.standard_normal((sessions, 1, units))
        + 4.0 * rng.standard_normal(shape)
        + 3.0 * rng.standard_normal((sessions, runs, units))
    )
    covered = []
    for one in values:
        found = mean_of_kind(one if side_by_side else own_runs(one.T))
        low, high = found.between.s_l_bounds(0.95)
        covered.append(low <= between <= high)
        assert low <= found.s_l <= high
    assert np.mean(covered) >= 0.94
