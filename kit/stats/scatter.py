"""Differences of means against the scatter between repeats, and how many runs they need.

Numbers in, numbers out. Where a result is only known to be at least so much, see
`kit.stats.lower_bounds`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.stats.uncertainty import coverage_factor, effective_dof

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "AdditiveFit",
    "Difference",
    "additive_fit",
    "fewest",
    "runs_needed",
    "tukey_factor",
    "welch",
]

_MOST_RUNS = 100_000
"""More runs than that are told as none (kit's own choice: far beyond what anybody makes)."""

_FARTHEST_SHIFT = 30.0
"""Noncentrality beyond t at which the power is 1 to two digits even with one degree of freedom;
far beyond it the noncentral t of the special functions is not a number."""


@dataclass(frozen=True, kw_only=True)
class Difference:
    """A difference of two means: value, standard uncertainty, degrees of freedom."""

    difference: float
    u: float
    dof: float

    def half_width(self, coverage: float, *, resolution: float = 0.0) -> float:
        """Return U by t, joined with a resolution part that repeats do not average out.

        Parameters
        ----------
        coverage
            Probability of the interval.
        resolution
            Half-width of the resolution part, in the unit of the difference.
        """
        return self.half_width_by(coverage_factor(coverage, self.dof), resolution=resolution)

    def half_width_by(self, factor: float, *, resolution: float = 0.0) -> float:
        """Return U by another factor than t, such as `tukey_factor`."""
        return float(np.hypot(resolution, factor * self.u))


def welch(mean_a: float, s_a: float, n_a: int, mean_b: float, s_b: float, n_b: int) -> Difference:
    """Return the difference of two independent means, A − B.

    Parameters
    ----------
    mean_a, s_a, n_a, mean_b, s_b, n_b
        Mean, standard deviation and number of independent values (runs; with several units:
        unit means) of each device.

    Raises
    ------
    ValueError
        With fewer than two values on either side.

    Notes
    -----
    u² = s_a²/n_a + s_b²/n_b, degrees of freedom by Welch–Satterthwaite (GUM G.4.1).

    Examples
    --------
    606 (s 6, n 3) and 590 (s 4, n 3): u = √(12 + 5.333) = 4.163; ν = 300.44/(72 + 14.22) =
    3.48; t = 2.946: 16 ± 12.3.

    >>> d = welch(606, 6, 3, 590, 4, 3)
    >>> d.difference, round(d.u, 3), round(d.dof, 2), round(d.half_width(0.95), 1)
    (16, 4.163, 3.48, 12.3)
    """
    if n_a < 2 or n_b < 2:
        msg = f"a difference by t needs two values on each side, got {n_a} and {n_b}"
        raise ValueError(msg)
    parts = [s_a / np.sqrt(n_a), s_b / np.sqrt(n_b)]
    return Difference(
        difference=mean_a - mean_b,
        u=float(np.hypot(*parts)),
        dof=effective_dof(parts, [n_a - 1, n_b - 1]),
    )


@dataclass(frozen=True, kw_only=True)
class AdditiveFit:
    """Values of devices run side by side, as device mean + run effect + residual.

    Parameters
    ----------
    device_mean
        Shape (m,). Mean of each device over all runs, adjusted for missing runs.
    run_effect, run_effect_u
        Shape (n,). What each run as a whole added, summing to 0, and its u.
    s, dof
        Residual standard deviation and its degrees of freedom.
    coding
        Shape (n, n − 1). Run effects in terms of the free parameters.
    unscaled
        Covariance of device means and free run parameters, divided by s².
    """

    device_mean: Floats
    run_effect: Floats
    run_effect_u: Floats
    s: float
    dof: int
    coding: Floats
    unscaled: Floats

    def predict(self, run: int, device: int) -> tuple[float, float]:
        """Return the value expected of a device in a run, and u/s of a single new value there."""
        x = np.concatenate((np.eye(self.device_mean.size)[device], self.coding[run]))
        variance = 1.0 + float(x @ self.unscaled @ x)
        return float(self.device_mean[device] + self.run_effect[run]), float(np.sqrt(variance))

    def difference(self, i: int, j: int) -> Difference:
        """Return device i − device j."""
        variance = self.unscaled[i, i] + self.unscaled[j, j] - 2.0 * self.unscaled[i, j]
        return Difference(
            difference=float(self.device_mean[i] - self.device_mean[j]),
            u=self.s * float(np.sqrt(variance)),
            dof=self.dof,
        )


def additive_fit(values: ArrayLike) -> AdditiveFit:
    """Separate devices from runs when devices ran side by side.

    Parameters
    ----------
    values
        Shape (n runs, m devices), NaN where a device has no value in a run.

    Raises
    ------
    ValueError
        If what is left cannot separate devices, runs and residual.

    Notes
    -----
    Least squares of ``y = device + run``, run effects summing to 0. What all devices share in a
    run (room, network, the day's content) drops out of every difference between devices.

    Examples
    --------
    Two devices, two runs, 10 and 12, then 14 and 18: means 12 and 15, the second run +2.5
    above the middle; residuals ±0.5, s² = 4 × 0.25/1.

    >>> fit = additive_fit([[10, 12], [14, 18]])
    >>> fit.device_mean.round(6).tolist(), fit.run_effect.round(6).tolist(), round(fit.s, 6)
    ([12.0, 15.0], [-2.5, 2.5], 1.0)
    """
    y = np.asarray(values, dtype=np.float64)
    n, m = y.shape
    run, device = np.nonzero(~np.isnan(y))
    device_part = np.eye(m)[device]
    coded = np.vstack([np.eye(n - 1), -np.ones((1, n - 1))])
    design = np.hstack([device_part, coded[run]])
    dof = len(run) - (m + n - 1)
    if dof < 1 or np.linalg.matrix_rank(design) < m + n - 1:
        msg = f"{len(run)} values of {m} devices in {n} runs cannot separate devices from runs"
        raise ValueError(msg)
    inverse = np.linalg.inv(design.T @ design)
    observed = y[run, device]
    solution = inverse @ design.T @ observed
    residual = observed - design @ solution
    s = float(np.sqrt((residual**2).sum() / dof))
    spread = coded @ inverse[m:, m:] @ coded.T
    return AdditiveFit(
        device_mean=solution[:m],
        run_effect=coded @ solution[m:],
        run_effect_u=s * np.sqrt(np.diag(spread)),
        s=s,
        dof=dof,
        coding=coded,
        unscaled=inverse,
    )


@lru_cache(maxsize=64)
def tukey_factor(coverage: float, groups: int, dof: float) -> float:
    """Return the factor on u of a difference so that all pairs hold together: q/√2.

    Parameters
    ----------
    coverage
        Probability that all the intervals of the family cover.
    groups
        Number of means compared.
    dof
        Degrees of freedom of the standard deviation.

    Notes
    -----
    q is the quantile of the studentized range. With two groups it is Student's t.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.7.1: q(0.05; 4, 16) = 4.05.

    Examples
    --------
    >>> round(tukey_factor(0.95, 4, 16) * 2**0.5, 2)
    4.05
    """
    from scipy.stats import studentized_range

    return float(studentized_range.ppf(coverage, groups, dof)) / float(np.sqrt(2.0))


def runs_needed(
    difference: float,
    s: float,
    *,
    design: Literal["paired", "two_groups"],
    power: float = 0.8,
    coverage: float = 0.95,
) -> int | None:
    """Return how many runs would separate two devices that truly differ by ``difference``.

    Parameters
    ----------
    difference
        True difference to be found.
    s
        ``paired``: standard deviation of the differences within runs. ``two_groups``: of single
        values (with several units per model: of unit means, and the answer counts units).
    design
        ``paired``: both devices in every run. ``two_groups``: runs of their own; the answer is
        per device.
    power
        Probability that the interval of the difference will leave out 0.
    coverage
        Probability of that interval.

    Returns
    -------
    int or None
        At least 2; ``None`` if more than 100 000 would be needed.

    Notes
    -----
    Smallest n with ``P(|T| > t) ≥ power``, T noncentral t with n − 1 (2n − 2) degrees of
    freedom and noncentrality ``δ/(s/√n)`` (``δ/(s√(2/n))``). s is taken as known; from three
    runs it is uncertain by a factor of about 0.5 to 6. If the two scatters are not taken as
    equal (:func:`welch`), n below 5 falls short by about one.

    Examples
    --------
    10 min with s = 6 min: 7 runs each; 5 min: 24.

    >>> runs_needed(10, 6, design="two_groups"), runs_needed(5, 6, design="two_groups")
    (7, 24)
    """
    if s < 0.0 or not 0.0 < power < 1.0:
        msg = f"s must not be negative and power must lie between 0 and 1, got {s}, {power}"
        raise ValueError(msg)
    ratio = abs(difference) / s if s > 0.0 else np.inf
    if ratio == 0.0:
        return None
    if np.isinf(ratio):
        return 2

    def enough(n: int) -> bool:
        return _power(ratio, n, design, coverage) >= power

    return fewest(enough, above=1)


def fewest(enough: Callable[[int], bool], *, above: int) -> int | None:
    """Return the least number of runs that is enough; ``None`` if that is more than 100 000.

    Parameters
    ----------
    enough
        Whether so many are enough; if they are, more are as well.
    above
        A number that is not enough, and is not asked.

    Examples
    --------
    >>> fewest(lambda n: n * n > 50, above=1), fewest(lambda n: False, above=0)
    (8, None)
    """
    low, high = above, above + 1
    while not enough(high):
        low, high = high, high * 2
        if low >= _MOST_RUNS:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high if high <= _MOST_RUNS else None


def _power(ratio: float, n: int, design: str, coverage: float) -> float:
    from scipy.special import nctdtr

    dof = n - 1 if design == "paired" else 2 * n - 2
    t = coverage_factor(coverage, dof)
    shift = min(ratio * np.sqrt(n if design == "paired" else n / 2.0), t + _FARTHEST_SHIFT)
    # the far tail, below 0.002 of its own beyond a shift of 3, is not a number further out
    far = float(nctdtr(dof, shift, -t)) if shift < 3.0 else 0.0
    return float(1.0 - nctdtr(dof, shift, t)) + far
