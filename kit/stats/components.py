"""Components of scatter: between runs of one unit, and between units of one kind.

The names are those of ISO 5725: repeatability s_r is the scatter between runs of one unit, s_L that
between units, s_R = √(s_r² + s_L²).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike

__all__ = ["OneWay", "mean_of_units", "one_way", "repeatability_limit"]


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
        """Return the standard deviation between groups; 0 where the estimate is negative."""
        return float(np.sqrt(max(0.0, (self.ms_between - self.ms_within) / self.n0)))

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


def mean_of_units(units: Sequence[ArrayLike]) -> tuple[float, float, int]:
    """Return mean over units, its standard uncertainty, and the degrees of freedom.

    Parameters
    ----------
    units
        One array of runs per unit, at least two units.

    Notes
    -----
    Mean of the unit means, u = s(unit means)/√p with p − 1 degrees of freedom; for equal
    numbers of runs that is √(MS_between/N). Repeats of a unit cannot shrink the scatter
    between units.

    Examples
    --------
    600, 606 and 620, 614: unit means 603 and 617, mean 610, u = 7.0 with 1 degree of freedom
    (taking the four values as independent gives 4.4 with 3).

    >>> mean, u, dof = mean_of_units([[600, 606], [620, 614]])
    >>> mean, round(u, 6), dof
    (610.0, 7.0, 1)
    """
    means = np.array([np.asarray(u, dtype=np.float64).mean() for u in units])
    if means.size < 2:
        msg = f"scatter between units needs at least two units, got {means.size}"
        raise ValueError(msg)
    u = float(means.std(ddof=1) / np.sqrt(means.size))
    return float(means.mean()), u, means.size - 1


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
