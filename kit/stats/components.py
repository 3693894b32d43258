"""Components of scatter: between runs of one unit, and between units of one kind.

The names are those of ISO 5725: repeatability s_r is the scatter between runs of one unit, s_L that
between units, s_R = √(s_r² + s_L²).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.stats.factors import coverage_factor

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["KindMean", "OneWay", "mean_of_kind", "one_way", "repeatability_limit"]


@dataclass(frozen=True, kw_only=True)
class OneWay:
    """One-way analysis of variance with random groups.

    Parameters
    ----------
    groups, values
        Number of groups p and of values N.
    n0
        Values per group that the between component divides by (N/p where all are alike).
    ms_between, ms_within
        Mean squares; ``ms_within`` is NaN when every group has one value.
    dof_between, dof_within
        p − 1 and N − p.
    """

    groups: int
    values: int
    n0: float
    ms_between: float
    ms_within: float
    dof_between: int
    dof_within: int

    @property
    def f(self) -> float:
        """Return the ratio of the mean squares; NaN if there is no scatter within."""
        return self.ms_between / self.ms_within if self.ms_within > 0.0 else float("nan")

    @property
    def s_r(self) -> float:
        """Return the repeatability standard deviation."""
        return float(np.sqrt(self.ms_within))

    @property
    def s_l(self) -> float:
        """Return the standard deviation between groups; 0 where the estimate is negative.

        NaN where every group has one value, which is then of both scatters.
        """
        variance = (self.ms_between - self.ms_within) / self.n0
        return float(np.sqrt(np.maximum(0.0, variance)))

    def s_l_bounds(self, coverage: float) -> tuple[float, float]:
        """Return the ends of an interval for the standard deviation between groups.

        Parameters
        ----------
        coverage
            Probability of the interval.

        Notes
        -----
        ``s_L² = ν(MS_between − F·MS_within)/(n0·χ²)``, ν = dof_between, with the upper (lower)
        quantiles of F and χ² for the lower (upper) end, 0 where negative: the scatter between
        groups as by χ², less no more (no less) than what the scatter within can add. With one
        value in every group, anything from 0 of it may lie within.

        References
        ----------
        Williams, Biometrika 49 (1962), and Tukey, Biometrika 38 (1951) (from memory); exact for
        neither end, so the coverage is counted in tests/stats/test_components.py. ISO 5725 states
        no interval for s_L (from memory).

        Examples
        --------
        600, 606 and 620, 614: F = 196/18 = 10.9 is below F(0.975; 1, 2) = 38.5, so the lower end
        is 0; χ²(0.025; 1) = 0.000982, F(0.025; 1, 2) = 0.00125: √(196/(2 × 0.000982)) = 316.

        >>> low, high = one_way([[600, 606], [620, 614]]).s_l_bounds(0.95)
        >>> low, round(high)
        (0.0, 316)
        """
        from scipy.special import chdtri, fdtri

        miss = (1.0 - coverage) / 2.0
        squares = []
        for below in (1.0 - miss, miss):
            within = 0.0
            if self.dof_within:
                within = float(fdtri(self.dof_between, self.dof_within, below)) * self.ms_within
            elif below > miss:
                squares.append(0.0)
                continue
            chi_square = self.n0 * float(chdtri(self.dof_between, 1.0 - below))
            squares.append(max(0.0, self.dof_between * (self.ms_between - within) / chi_square))
        return float(np.sqrt(squares[0])), float(np.sqrt(squares[1]))

    @property
    def s_reproducibility(self) -> float:
        """Return s_R, the standard deviation of single values of different groups."""
        return float(np.hypot(self.s_r, self.s_l))


def one_way(groups: Sequence[ArrayLike]) -> OneWay:
    """Return mean squares and components of values in groups (runs of units).

    Parameters
    ----------
    groups
        One array of values per unit, of any lengths ≥ 1.

    Raises
    ------
    ValueError
        For fewer than two groups, or an empty one.

    Notes
    -----
    ``s_r² = MS_within``, ``s_L² = max(0, (MS_between − MS_within)/n0)``,
    ``n0 = (N − Σn_i²/N)/(p − 1)``.

    References
    ----------
    ISO 5725-2, one-way layout (from memory); certified mean squares: NIST StRD, SiRstv.

    Examples
    --------
    Units 600, 606 and 620, 614: MS_within = (18 + 18)/2 = 18, MS_between = 2(49 + 49) = 196,
    s_L = √((196 − 18)/2) = 9.43.

    >>> table = one_way([[600, 606], [620, 614]])
    >>> table.ms_within, table.ms_between, round(table.s_r, 2), round(table.s_l, 2)
    (18.0, 196.0, 4.24, 9.43)
    """
    arrays = [np.asarray(g, dtype=np.float64) for g in groups]
    if len(arrays) < 2 or any(a.size == 0 for a in arrays):
        msg = f"components need at least two groups with a value each, got {len(arrays)}"
        raise ValueError(msg)
    sizes = np.array([a.size for a in arrays], dtype=np.float64)
    total = float(sizes.sum())
    means = np.array([a.mean() for a in arrays])
    grand = float((sizes * means).sum()) / total
    between = float((sizes * (means - grand) ** 2).sum())
    within = sum(float(((a - m) ** 2).sum()) for a, m in zip(arrays, means, strict=True))
    p = len(arrays)
    dof_within = int(total) - p
    return OneWay(
        groups=p,
        values=int(total),
        n0=float((total - (sizes**2).sum() / total) / (p - 1)),
        ms_between=between / (p - 1),
        ms_within=within / dof_within if dof_within else float("nan"),
        dof_between=p - 1,
        dof_within=dof_within,
    )


@dataclass(frozen=True, kw_only=True)
class KindMean:
    """Mean of a kind of device over its units and their runs, with what makes it uncertain.

    Parameters
    ----------
    mean
        Mean of the unit means.
    u_units, dof_units
        u of the mean by the scatter of the unit means, and its degrees of freedom, units − 1.
    u_runs, dof_runs
        u of the mean by what units that shared runs shared in them: 0 where none did, NaN where
        they did and their runs are too few to tell.
    s_r, s_l
        Scatter between runs of one unit, and between units (NaN where that cannot be told).
    between
        What s_L is from: its mean squares, degrees of freedom and values per unit.
    """

    mean: float
    u_units: float
    dof_units: int
    u_runs: float
    dof_runs: int
    s_r: float
    s_l: float
    between: OneWay

    @property
    def s_reproducibility(self) -> float:
        """Return s_R, the standard deviation of single values of different units and days."""
        return float(np.hypot(self.s_r, self.s_l))

    def half_width(self, coverage: float, *, resolution: float = 0.0) -> float:
        """Return U = √(X² + (t·u_units)² + (t·u_runs)²), each t with its degrees of freedom.

        Parameters
        ----------
        coverage
            Probability of the interval.
        resolution
            Half-width X of one result, which nothing averages out.

        Notes
        -----
        What is not known of the runs is left out. Expanded parts joined in quadrature cover at
        least so often, whatever their shares are (docs/runtimes.md); Welch–Satterthwaite does
        not: with two units and eight runs down to 89 % of 95 %.
        """
        parts = [resolution, coverage_factor(coverage, self.dof_units) * self.u_units]
        if self.u_runs > 0.0:
            parts.append(coverage_factor(coverage, self.dof_runs) * self.u_runs)
        return float(np.sqrt(np.square(parts).sum()))


def mean_of_kind(values: ArrayLike) -> KindMean:
    """Return the mean over units of a kind, for other units and other days.

    Parameters
    ----------
    values
        Shape (runs, units), NaN where a unit has no value in a run; two units at least.

    Raises
    ------
    ValueError
        For fewer than two units with a value.

    Notes
    -----
    ``value = kind + unit + run + rest``. u_units = s(unit means)/√p holds units and rest, and of
    the runs only what is not common to the unit means. What they share of it is
    ``u_runs² = C·s_run²``, C the mean over pairs of units of Σ_r a_rj·a_rk with a = 1/(runs of the
    unit) where it took part: 1/n where all units ran side by side in n runs, 0 where each had
    runs of its own (then this is ISO 5725, one-way). s_run² is MS(runs, units taken out)/k, with k
    of the layout (p where all ran side by side: s_run² = s²(run means)). The rest is in both
    parts, which errs on the safe side. s_r² is MS within units;
    ``s_L² = s²(unit means) − what rest and runs add to it``, 0 where that is negative.

    Examples
    --------
    600, 606 and 620, 614 in runs of their own: unit means 603 and 617, mean 610, u = 7.0 with 1
    degree of freedom (taking the four values as independent gives 4.4 with 3).

    >>> n = float("nan")
    >>> own = mean_of_kind([[600, n], [606, n], [n, 620], [n, 614]])
    >>> own.mean, round(own.u_units, 6), own.dof_units, own.u_runs
    (610.0, 7.0, 1, 0.0)

    Side by side 600, 602 in one run and 610, 612 in the next: unit means 605 and 607, u = 1.0;
    run means 601 and 611, u = 5.0.

    >>> beside = mean_of_kind([[600, 602], [610, 612]])
    >>> beside.mean, round(beside.u_units, 6), round(beside.u_runs, 6), beside.dof_runs
    (606.0, 1.0, 5.0, 1)
    """
    y = np.asarray(values, dtype=np.float64)
    there = ~np.isnan(y)
    y, there = y[:, there.any(axis=0)], there[:, there.any(axis=0)]
    p = y.shape[1]
    if p < 2:
        msg = f"scatter between units needs at least two units, got {p}"
        raise ValueError(msg)
    weight = there / there.sum(axis=0)
    means = np.where(there, y * weight, 0.0).sum(axis=0)
    table = one_way([y[there[:, j], j] for j in range(p)])
    beside = weight.T @ weight
    common = float(beside.sum() - np.trace(beside)) / (p * (p - 1))
    runs = _Runs.of(y, there) if common > 0.0 else None
    between = table if runs is None else runs.against(means, float(np.trace(beside)) / p, common)
    return KindMean(
        mean=float(means.mean()),
        u_units=float(means.std(ddof=1) / np.sqrt(p)),
        dof_units=p - 1,
        u_runs=0.0 if runs is None else float(np.sqrt(common * runs.variance)),
        dof_runs=0 if runs is None else runs.dof,
        s_r=table.s_r,
        s_l=between.s_l,
        between=between,
    )


class _Runs(NamedTuple):
    """What runs add to units that shared them.

    Parameters
    ----------
    variance, dof
        Variance between runs, the rest in it, and its degrees of freedom.
    rest, dof_rest
        Mean square of the rest, NaN without degrees of freedom.
    share
        Part of the rest that is in the variance.
    """

    variance: float
    dof: int
    rest: float
    dof_rest: int
    share: float

    @classmethod
    def of(cls, y: Floats, there: NDArray[np.bool_]) -> _Runs:
        """Return it for values (runs, units), some of them in the same runs."""
        run, unit = np.nonzero(there)
        of_run = np.eye(y.shape[0])[run]
        of_unit = np.eye(y.shape[1])[unit]
        within = np.eye(run.size) - of_unit / of_unit.sum(axis=0) @ of_unit.T
        left, apart = within @ y[run, unit], within @ of_run
        solution, _, rank, _ = np.linalg.lstsq(apart, left, rcond=None)
        dof, dof_rest = int(rank), int(run.size - y.shape[1] - rank)
        rest = float(((left - apart @ solution) ** 2).sum())
        k = float((apart**2).sum()) / dof if dof else np.nan
        return cls(
            variance=float(((apart @ solution) ** 2).sum()) / dof / k if dof else np.nan,
            dof=dof,
            rest=rest / dof_rest if dof_rest else np.nan,
            dof_rest=dof_rest,
            share=1.0 / k,
        )

    def against(self, means: Floats, single: float, common: float) -> OneWay:
        """Return the mean squares that units are told from rest and runs by.

        Parameters
        ----------
        means
            Unit means.
        single
            Mean of 1/(runs of the unit).
        common
            C of `mean_of_kind`.
        """
        of_runs = max(0.0, self.variance - self.rest * self.share) if self.dof_rest else np.nan
        added = self.rest * single + of_runs * (single - common)
        return OneWay(
            groups=means.size,
            values=self.dof + self.dof_rest + means.size,
            n0=1.0 / single,
            ms_between=float(means.var(ddof=1)) / single,
            ms_within=added / single,
            dof_between=means.size - 1,
            dof_within=self.dof_rest,
        )


def repeatability_limit(s: float) -> float:
    """Return the difference that two single results exceed in 5 % of cases: 2.8·s.

    References
    ----------
    ISO 5725-6:1994, 4.1 (from memory): f = 1.96·√2 = 2.77, rounded to 2.8.

    Examples
    --------
    >>> round(repeatability_limit(0.021), 3)
    0.059
    """
    return 2.8 * s
