"""How many more runs would tell two devices apart, by the rule that they are judged by."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.stats.scatter import fewest, tukey_factor

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["Planned", "more_runs", "tukey_factors"]

_STRATA = 64
"""Equally likely strata of the scatter to come, each by its middle: the power to three digits."""


class Planned(NamedTuple):
    """What a difference will be judged by after some more runs.

    Parameters
    ----------
    u
        Standard uncertainty of the difference if runs scatter on as they did.
    dof
        Degrees of freedom that it will then be known with.
    factor
        Factor on the u then found, for the share of this pair in the error.
    """

    u: float
    dof: float
    factor: float


def more_runs(
    difference: float,
    planned: Callable[[int], Planned],
    *,
    resolution: float = 0.0,
    power: float = 0.8,
) -> int | None:
    """Return how many more runs would separate two devices that truly differ by ``difference``.

    Parameters
    ----------
    difference
        True difference to be found.
    planned
        Number of further runs of both → what the difference is then judged by.
    resolution
        Half-width X of the difference by resolution, which no number of runs makes smaller.
    power
        Probability that the interval of the difference will leave out 0.

    Returns
    -------
    int or None
        At least 1; ``None`` if more than 100 000 would be needed, as where the difference lies
        within its resolution.

    Notes
    -----
    Separated is what ``|D| > √(X² + (f·u)²)`` with D normal about the true difference and
    ``u² = σ²χ²_ν/ν``. The probability of it is the mean over χ². σ is taken as known; from few runs
    it is not (`kit.stats.factors.relative_u_of_s`).

    Examples
    --------
    The differences of three runs scatter by 6 min, and one declared pair is judged by t. Of
    10 min, three more: six in all have t = 2.571, u = 2.45 and about U = 6.3. Of 5 min: eleven.

    >>> from kit.stats.factors import coverage_factor
    >>> def by_t(k):
    ...     return Planned(6 / (3 + k) ** 0.5, 2 + k, coverage_factor(0.95, 2 + k))
    >>> more_runs(10, by_t), more_runs(5, by_t), more_runs(10, by_t, resolution=10)
    (3, 11, None)
    """
    if not 0.0 < power < 1.0:
        msg = f"power must lie between 0 and 1, got {power}"
        raise ValueError(msg)
    if abs(difference) <= resolution:
        return None

    def enough(k: int) -> bool:
        return _power(abs(difference), planned(k), resolution) >= power

    return fewest(enough, above=0)


def _power(difference: float, then: Planned, resolution: float) -> float:
    from scipy.special import chdtri, ndtr

    if then.u == 0.0:
        return float(difference > resolution)
    upper = (np.arange(_STRATA) + 0.5) / _STRATA
    scatter = chdtri(then.dof, upper) / then.dof
    needed = np.sqrt(resolution**2 + (then.factor * then.u) ** 2 * scatter)
    above, below = (difference - needed) / then.u, (-difference - needed) / then.u
    return float((ndtr(above) + ndtr(below)).mean())


@lru_cache(maxsize=64)
def tukey_factors(coverage: float, groups: int, dof: int) -> Callable[[float], float]:
    """Return the factor of `kit.stats.scatter.tukey_factor` as a function of degrees of freedom.

    Parameters
    ----------
    coverage, groups
        As there.
    dof
        The fewest degrees of freedom that will be asked for.

    Notes
    -----
    The range takes a tenth of a second for each number of degrees of freedom, so its logarithm is
    taken through five of them, in their reciprocal, by which its tables are interpolated.

    Examples
    --------
    >>> factor = tukey_factors(0.95, 4, 6)
    >>> round(factor(16) * 2**0.5, 2), round(tukey_factor(0.95, 4, 16) * 2**0.5, 2)
    (4.05, 4.05)
    """
    nodes = [1.0 / (dof * spread) for spread in (1.0, 1.5, 3.0, 8.0)] + [0.0]
    known = [np.log(tukey_factor(coverage, groups, 1.0 / x if x else np.inf)) for x in nodes]
    curve = np.polynomial.Polynomial.fit(nodes, known, deg=len(nodes) - 1)
    return lambda asked: float(np.exp(curve(1.0 / asked)))
