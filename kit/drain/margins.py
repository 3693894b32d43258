"""How far apart two figures of devices have to be: for one pair, and for a table of them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from kit.stats.uncertainty import normal_factor

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.stats.uncertainty import Resolution

    Floats = NDArray[np.float64]

__all__ = ["Margins", "family_factor", "margins", "single_margin", "table_margin"]


def family_factor(coverage: float, comparisons: int | NDArray[np.int64]) -> float | Floats:
    """Return the two-sided normal factor for each of several comparisons (Bonferroni).

    Parameters
    ----------
    coverage
        Probability that no comparison of the family is claimed falsely.
    comparisons
        Size of the family; 0 counts as 1. Several: an array of factors.

    Examples
    --------
    15 pairs in 8 phases, Φ⁻¹(1 − 0.025/120) = 3.53:

    >>> round(family_factor(0.95, 120), 2)
    3.53
    """
    if np.ndim(comparisons) == 0:
        return _one_family_factor(coverage, int(comparisons))
    from scipy.special import ndtri

    return np.asarray(ndtri(1.0 - (1.0 - coverage) / 2.0 / np.maximum(comparisons, 1)))


@lru_cache(maxsize=1024)
def _one_family_factor(coverage: float, comparisons: int) -> float:
    from scipy.special import ndtri

    return float(ndtri(1.0 - (1.0 - coverage) / 2.0 / max(comparisons, 1)))


@dataclass(frozen=True, kw_only=True)
class Margins:
    """Half-widths that a difference between two devices has to exceed; arrays of one shape.

    Parameters
    ----------
    single
        For one pair chosen beforehand; also the half-width of the coverage interval (pp).
    table
        For the whole table (pp).
    """

    single: Floats
    table: Floats


def margins(
    shown: Resolution,
    u_other: Floats,
    bound: Floats,
    coverage: float,
    comparisons: int | NDArray[np.int64],
) -> Margins:
    """Return the margins of differences between devices.

    Parameters
    ----------
    shown
        Resolution of both devices together (the sum of the two).
    u_other
        u of everything else of both devices together (pp).
    bound
        Sum of the half-widths that are added linearly (pp).
    coverage
        Probability, of one interval and of the family.
    comparisons
        Number of comparisons in the family; of several families, an array that broadcasts to
        the others.

    Notes
    -----
    Single: ``√(X² + k²u²) + b``, X for 95 %; where neither display's rounding is known and
    both matter (two devices from full), X is that of the worst pair of roundings, one
    truncating and one rounding up. Table: ``√(X² + z²u²) + b`` with the hard bound for X and z
    from `family_factor`, and never less than the bound of the roundings plus the one-sided
    width of the rest. Derived in docs/measurement.md.

    Examples
    --------
    One phase, two devices, nothing but the resolution: 1.14 pp (so 1 pp is a tie and 2 pp are
    not), and 2.0 pp for the table (so 3 pp are needed). Both from a full charge: 1.80.

    >>> from kit.stats.uncertainty import resolution
    >>> inner = resolution([1, -1]) + resolution([1, -1])
    >>> full = resolution([-1]) + resolution([-1])
    >>> m = margins(inner, np.float64(0), np.float64(0), 0.95, 120)
    >>> round(float(m.single), 2), round(float(m.table), 2)
    (1.14, 2.0)
    >>> round(float(margins(full, np.float64(0), np.float64(0), 0.95, 120).single), 2)
    1.8
    """
    return Margins(
        single=single_margin(shown, u_other, bound, coverage),
        table=table_margin(shown, u_other, bound, coverage, comparisons),
    )


def single_margin(shown: Resolution, u_other: Floats, bound: Floats, coverage: float) -> Floats:
    """Return the margins for pairs chosen beforehand alone; as `margins`.

    Examples
    --------
    With u = 0.5 pp besides: √(1.14² + 4 × 0.25) = 1.52:

    >>> from kit.stats.uncertainty import resolution
    >>> inner = resolution([1, -1]) + resolution([1, -1])
    >>> round(float(single_margin(inner, np.float64(0.5), np.float64(0), 0.95)), 2)
    1.52
    """
    k = normal_factor(coverage)
    x, at_worst = shown.half_widths(coverage)
    worst = np.minimum(at_worst, shown.hard_bound)
    both_free = shown.common_bound > 0.75 * shown.bound
    at_worst = np.where(both_free, np.hypot(worst, k * u_other), 0.0)
    return np.asarray(np.maximum(shown.expanded(u_other, coverage, half_width=x), at_worst) + bound)


def table_margin(
    shown: Resolution,
    u_other: Floats,
    bound: Floats,
    coverage: float,
    comparisons: int | NDArray[np.int64],
) -> Floats:
    """Return the margins of the whole table alone; as `margins`.

    Examples
    --------
    With u = 0.5 pp besides, 120 comparisons: √(2² + (3.53 × 0.5)²) = 2.67:

    >>> from kit.stats.uncertainty import resolution
    >>> inner = resolution([1, -1]) + resolution([1, -1])
    >>> round(float(table_margin(inner, np.float64(0.5), np.float64(0), 0.95, 120)), 2)
    2.67
    """
    z = np.maximum(family_factor(coverage, comparisons), normal_factor(coverage))
    one_sided = family_factor(2.0 * coverage - 1.0, comparisons)
    apart = shown.common_bound + np.hypot(shown.bound, one_sided * u_other)
    return np.asarray(np.maximum(np.hypot(shown.hard_bound, z * u_other), apart) + bound)
