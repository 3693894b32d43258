"""How many more runs: the answers against days drawn and judged by the rule of the verdict."""

from __future__ import annotations

import numpy as np
import pytest

from kit.stats.more_runs import Planned, more_runs, tukey_factors
from kit.stats.scatter import runs_needed, tukey_factor, welch
from kit.stats.uncertainty import coverage_factor

SESSIONS = 20_000
# 4 standard errors of a share near .8 in 20 000
MARGIN = 0.0113


def by_range(m, runs, error):
    """Return the plan of m devices side by side in so many runs that scatter by 1."""
    factor = tukey_factors(1 - error, m, runs * (m - 1))

    def planned(k):
        dof = (runs + k - 1) * (m - 1)
        return Planned(np.sqrt(2 / (runs + k)), dof, factor(dof))

    return planned


def separated_by_range(m, n, lead, resolution, error):
    """Return how often two of m devices are separated in n runs, from residuals drawn."""
    rng = np.random.default_rng([m, n])
    y = rng.standard_normal((SESSIONS, n, m))
    y[:, :, 0] += lead
    mean = y.mean(axis=1)
    rest = y - mean[:, None, :] - y.mean(axis=2, keepdims=True) + y.mean(axis=(1, 2))[:, None, None]
    s = np.sqrt((rest**2).sum(axis=(1, 2)) / ((n - 1) * (m - 1)))
    wide = np.hypot(resolution, tukey_factor(1 - error, m, (n - 1) * (m - 1)) * s * np.sqrt(2 / n))
    return (np.abs(mean[:, 0] - mean[:, 1]) > wide).mean()


@pytest.mark.parametrize(
    ("m", "lead", "resolution", "error"),
    [(3, 1.0, 0.0, 0.05), (3, 1.5, 0.7, 0.05), (6, 2.0, 0.5, 0.04)],
)
def test_all_pairs_are_planned_by_the_range_that_judges_them(m, lead, resolution, error):
    found = more_runs(lead, by_range(m, 3, error), resolution=resolution)
    assert found is not None
    n = 3 + found
    assert separated_by_range(m, n, lead, resolution, error) > 0.8 - MARGIN
    assert separated_by_range(m, n - 1, lead, resolution, error) < 0.8 + MARGIN
    # one comparison by t, without resolution, promises it with fewer runs, and too few
    alone = runs_needed(lead, np.sqrt(2), design="paired")
    assert alone is not None
    assert alone < n
    assert separated_by_range(m, alone, lead, resolution, error) < 0.77


def test_runs_of_their_own_are_planned_by_welch():
    # sd 1 and 2, three and four runs so far; X = .3; one of six pairs: error .05/6
    error, lead, resolution = 0.05 / 6, 2.5, 0.3

    def planned(k):
        then = welch(0, 1, 3 + k, 0, 2, 4 + k)
        return Planned(then.u, then.dof, coverage_factor(1 - error, then.dof))

    found = more_runs(lead, planned, resolution=resolution)
    assert found is not None

    def separated(k):
        rng = np.random.default_rng(k)
        a = lead + rng.standard_normal((SESSIONS, 3 + k))
        b = 2 * rng.standard_normal((SESSIONS, 4 + k))
        va, vb = a.var(axis=1, ddof=1) / (3 + k), b.var(axis=1, ddof=1) / (4 + k)
        dof = (va + vb) ** 2 / (va**2 / (2 + k) + vb**2 / (3 + k))
        from scipy.stats import t

        wide = np.hypot(resolution, t.ppf(1 - error / 2, dof) * np.sqrt(va + vb))
        return (np.abs(a.mean(axis=1) - b.mean(axis=1)) > wide).mean()

    # the degrees of freedom found scatter; planned are those of the true scatters
    assert separated(found) > 0.8 - MARGIN - 0.01
    assert separated(found - 1) < 0.8 + MARGIN


def test_a_difference_within_its_resolution_is_never_found():
    assert more_runs(0.9, by_range(3, 3, 0.05), resolution=1.0) is None
    assert more_runs(0.0, by_range(3, 3, 0.05)) is None
    # 1e-4 of the scatter: 2 (2.8e4)^2 runs
    assert more_runs(1e-4, by_range(3, 3, 0.05)) is None


def test_without_scatter_one_more_run_is_the_least_asked_for():
    assert more_runs(1.5, lambda k: Planned(0.0, 2 + k, 4.0), resolution=1.0) == 1


def test_bad_power_is_refused():
    with pytest.raises(ValueError, match="between 0 and 1"):
        more_runs(1, by_range(3, 3, 0.05), power=1.0)


@pytest.mark.parametrize(("groups", "dof"), [(2, 2), (3, 4), (7, 12)])
def test_factors_between_the_nodes_are_those_of_the_range(groups, dof):
    factor = tukey_factors(0.95, groups, dof)
    for asked in (dof + 1, 5 * dof):
        assert factor(asked) == pytest.approx(tukey_factor(0.95, groups, asked), rel=1e-3)
