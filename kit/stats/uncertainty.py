"""Standard uncertainties and coverage intervals, without any knowledge of devices.

The result of an analysis is nearly always a sum of readings with coefficients. A reading that
shows whole steps is uncertain by its resolution, and by an offset that is the same for all
readings of one display: nobody says whether the number shown is truncated, rounded to the
nearest or rounded up. The functions here combine both, and everything else, into u and U.

Functions take scalars or arrays and broadcast. The derivations are in docs/measurement.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.stats.factors import (
    NORMAL_GUARD,
    coverage_factor,
    effective_dof,
    normal_factor,
    one_sided_factor,
    relative_u_of_s,
    trapezoid_half_width,
)
from kit.stats.step_normal import step_normal_half_width

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "Resolution",
    "coverage_factor",
    "effective_dof",
    "expanded",
    "normal_factor",
    "relative_u_of_s",
    "replicate_mean_half_width",
    "resolution",
    "trapezoid_half_width",
    "u_between",
    "u_rectangular",
    "u_resolution",
]

_SPREAD_OVER = 0.75
"""Fractions with a bound below this share of the roundings' do not spread the latter."""

_SQRT3, _SQRT12 = 3.0**0.5, 12.0**0.5

STEP_GUARD = 0.80 / (1.0 - 0.05**0.5)
"""0.80 steps in place of the exact 0.7764 for a difference of two readings: up by 3.0 %.

Widths taken at exactly 95 % and added in quadrature to a normal part cover 94.8 to 95.0 %;
with both guards 95.4 to 96.0 % at every ratio of the two (tests/stats/test_uncertainty.py)."""

CONVENTION_VARIANCE = 1.0 / 6.0
"""Variance, in steps², of the display's unknown offset: −½, 0 or +½ step, equally likely."""


def _floats(values: ArrayLike) -> Floats:
    return np.asarray(values, dtype=np.float64)


def u_rectangular(half_width: ArrayLike) -> Floats:
    """Return u of a quantity that lies anywhere within ± ``half_width``: a/√3.

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7, equation (7) (clause from memory).

    Examples
    --------
    Half a step of a display, 0.5/1.7321 = 0.2887:

    >>> round(float(u_rectangular(0.5)), 4)
    0.2887
    """
    return np.asarray(_floats(half_width) / _SQRT3)


def u_between(low: ArrayLike, high: ArrayLike) -> Floats:
    """Return u of a quantity known only to lie between two bounds: (high − low)/√12.

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.8, equation (8) (clause from memory).

    Examples
    --------
    Off between 14:05 and 14:10, 5/3.4641 = 1.443 min:

    >>> round(float(u_between(5.0, 10.0)), 3)
    1.443
    """
    return np.asarray((_floats(high) - _floats(low)) / _SQRT12)


def u_resolution(step: ArrayLike) -> Floats:
    """Return u of one reading of a display that shows steps of ``step``: step/√12.

    References
    ----------
    JCGM 100:2008 (GUM), F.2.2.1: 0.29 δx.

    Examples
    --------
    >>> round(float(u_resolution(1.0)), 2)
    0.29
    """
    return np.asarray(_floats(step) / _SQRT12)


@dataclass(frozen=True)
class Resolution:
    """What the resolution of displays adds to a result; the parts of several devices add.

    Parameters
    ----------
    parts
        Shape (5, …). `own`, `fourth`, `common`, `bound` and `common_bound` of every result, one
        after the other, so that adding and choosing results is one step for all of them.
    """

    parts: Floats

    @property
    def own(self) -> Floats:
        """Return the variance from the fraction that each reading does not show (pp²)."""
        return np.asarray(self.parts[0])

    @property
    def fourth(self) -> Floats:
        """Return Σ(step·c)⁴ of those readings: the shape of the distribution follows from it."""
        return np.asarray(self.parts[1])

    @property
    def common(self) -> Floats:
        """Return the variance from the unknown rounding that a display's readings share (pp²)."""
        return np.asarray(self.parts[2])

    @property
    def bound(self) -> Floats:
        """Return the hard bound of what the readings do not show (pp)."""
        return np.asarray(self.parts[3])

    @property
    def common_bound(self) -> Floats:
        """Return the hard bound of the unknown rounding (pp)."""
        return np.asarray(self.parts[4])

    def __add__(self, other: Resolution) -> Resolution:
        return Resolution(self.parts + other.parts)

    def __getitem__(self, index: object) -> Resolution:
        inner = index if isinstance(index, tuple) else (index,)
        return Resolution(self.parts[(slice(None), *inner)])

    def reshaped(self, shape: tuple[int, ...]) -> Resolution:
        """Return the same results in another shape."""
        return Resolution(self.parts.reshape(len(self.parts), *shape))

    @classmethod
    def stacked(cls, several: Sequence[Resolution]) -> Resolution:
        """Return several results of one shape as one, along a new first axis."""
        return cls(np.stack([one.parts for one in several], axis=1))

    def summed(self, axis: int) -> Resolution:
        """Return the sum over one axis, that is over devices."""
        return Resolution(self.parts.sum(axis=axis + 1 if axis >= 0 else axis))

    def scaled(self, factor: ArrayLike) -> Resolution:
        """Return the parts of ``factor`` × the result."""
        f = np.abs(_floats(factor))
        scale = np.broadcast_arrays(f**2, f**4, f**2, f, f)
        return Resolution(self.parts * np.stack(scale))

    @property
    def u(self) -> Floats:
        """Return the standard uncertainty (pp)."""
        return np.asarray(np.sqrt(self.own + self.common))

    @property
    def hard_bound(self) -> Floats:
        """Return the half-width that is never exceeded (pp)."""
        return np.asarray(self.bound + self.common_bound)

    def half_width(self, coverage: float) -> Floats:
        """Return the half-width X that covers the resolution part (pp).

        Notes
        -----
        Where the unknown rounding cancels, the distribution is a sum of uniform errors. Its factor
        X/u is taken from a trapezoid of the same variance and kurtosis (exact for one and two
        readings) and, for flatter combinations of many readings, linearly between the triangle
        and the normal distribution; then times a guard of 2 to 3 %. Where the rounding does not
        cancel, X = k·u. Never wider than the hard bound.
        """
        return self.half_widths(coverage)[0]

    def half_widths(self, coverage: float) -> tuple[Floats, Floats]:
        """Return X as `half_width` does, and X when the roundings are the worst they can be (pp).

        Notes
        -----
        The worst: X of the fractions alone, and the bound of the roundings on top.
        """
        with np.errstate(divide="ignore", invalid="ignore"):
            shape = np.where(self.own > 0.0, self.fourth / (12.0 * self.own) ** 2, 1.0)
        spread = np.sqrt(self.own) * _step_factor(shape, coverage)
        either = np.where(self.common > self.own * 1e-6, normal_factor(coverage) * self.u, spread)
        return (
            np.asarray(np.minimum(either, self.hard_bound)),
            np.asarray(np.minimum(spread, self.bound) + self.common_bound),
        )

    def expanded(
        self,
        u_other: ArrayLike,
        coverage: float,
        *,
        bound: ArrayLike = 0.0,
        half_width: Floats | None = None,
    ) -> Floats:
        """Return U from the resolution, everything else, and what may not be averaged (pp).

        Parameters
        ----------
        u_other
            Standard uncertainty of everything else, taken as normal (pp).
        coverage
            Probability of the interval.
        bound
            Half-width of a bounded effect that is the same every time, such as an idle gap: added
            linearly, since nothing averages it out (pp).
        half_width
            X from `half_width`, if it was computed already.

        Notes
        -----
        ``U = √(X² + (k·u_other)²) + bound``, and where that is too little, as for a single
        reading whose rounding is known (93 instead of 95 % when both parts are alike), the
        half-width of `kit.stats.step_normal` in place of the square root. Where the unknown
        rounding of a display counts and there are hardly any fractions beside it that would spread
        its three values, as between a full charge and a change of the display, U is at least the
        bound of the rounding plus the one-sided width of the rest, so that it also covers when the
        rounding is the worst.

        Examples
        --------
        87 % to 75 %, one hour, readings up to 2 min late: u² = 0.02667 pp²,
        √(0.80² + 4 × 0.02667) = 0.864:

        >>> round(float(resolution([1, -1]).expanded(0.02667**0.5, 0.95)), 3)
        0.864

        From a known full charge to a noted change of the display: the rounding is all that is
        uncertain, ½ step:

        >>> round(float(resolution([-1], weights=[0]).expanded(0.0, 0.95)), 3)
        0.5
        """
        other = _floats(u_other)
        x = self.half_width(coverage) if half_width is None else half_width
        even = np.hypot(x, normal_factor(coverage) * other)
        even = np.maximum(even, self._convolved(other, coverage))
        one_sided = one_sided_factor(coverage)
        rest = np.hypot(np.minimum(one_sided * np.sqrt(self.own), self.bound), one_sided * other)
        worst = np.where(self.common > 0.0, self.common_bound + rest, 0.0)
        apart = self.bound < _SPREAD_OVER * self.common_bound
        return np.asarray(np.where(apart, np.maximum(even, worst), even) + _floats(bound))

    def _convolved(self, other: Floats, coverage: float) -> Floats:
        """Return the half-width of one or two rounding errors and a normal one; 0 for others."""
        with np.errstate(divide="ignore", invalid="ignore"):
            shape = np.where(self.own > 0.0, self.fourth / (12.0 * self.own) ** 2, 0.0)
        steps = (shape >= 0.5) & (self.common <= self.own * 1e-6) & (other > 0.0)
        if not steps.any():
            return np.zeros(steps.shape)
        single = np.clip(shape, 0.5, 1.0)
        ratio = _second_step(single)
        first = np.sqrt(3.0 * self.own / (1.0 + ratio**2))
        exact = step_normal_half_width(first, ratio, other, coverage)
        # the rest is not quite normal; the fewer readings there are the more that tells
        guard = 1.0 + (NORMAL_GUARD - 1.0) * (2.0 * single - 1.0)
        return np.where(steps, guard * exact, 0.0)


def resolution(
    coefficients: ArrayLike,
    *,
    weights: ArrayLike = 1.0,
    step: ArrayLike = 1.0,
    convention_variance: ArrayLike = CONVENTION_VARIANCE,
) -> Resolution:
    """Return what the resolution of one display adds to Σ c·D over its readings.

    Parameters
    ----------
    coefficients
        Shape (…, n). Coefficients c of the readings; a reading whose true value is known (full
        at the start) has coefficient 0 here.
    weights
        Broadcasts to (…, n). Variance factor of each reading: 1 for a number read off, 0 for
        the moment at which the display changed (there the fraction is known).
    step
        Broadcasts to (…,). Step of the display (pp).
    convention_variance
        Broadcasts to (…,). 1/6 when it is unknown how the display rounds, 0 when it is known.

    Notes
    -----
    u² = step² (Σc²/12 + (Σc)²/6). The second term is the offset that all readings of a display
    share; it cancels where Σc = 0, that is between two readings of one device. For several
    devices the squares of their u add. Hard bound: step·(Σ|c| + |Σc|)/2. Derived in
    docs/measurement.md.

    Examples
    --------
    A drain between two readings, √(2/12) = 0.408; one that starts from a known full charge,
    √(1/12 + 1/6) = 0.500; neighbouring drains compared, √(6/12) = 0.707:

    >>> [round(float(resolution(c).u), 3) for c in ([1, -1], [-1], [1, -2, 1])]
    [0.408, 0.5, 0.707]

    Half-widths at 95 %: 0.80; 1.00, which is also the hard bound; 1.386 (exact 1.3306, and
    3.0 %, 1.371; the triangle of the same variance gives a little more):

    >>> [round(float(resolution(c).half_width(0.95)), 3) for c in ([1, -1], [-1], [1, -2, 1])]
    [0.8, 1.0, 1.386]

    The drains of two devices compared: √(4/12) = 0.577, exact half-width 2 − 0.6^¼ = 1.120 and
    2.1 % of guard:

    >>> pair = resolution([1, -1]) + resolution([1, -1])
    >>> round(float(pair.u), 3), round(float(pair.half_width(0.95)), 3)
    (0.577, 1.143)
    """
    c = _floats(coefficients)
    q = _floats(step)
    w = _floats(weights)
    known = _floats(convention_variance)
    squares = c * c * w
    total = c.sum(axis=-1)
    apart = np.abs(total)
    parts = np.empty((5, *np.broadcast_shapes(total.shape, q.shape, known.shape)))
    parts[0] = q**2 * squares.sum(axis=-1) / 12.0
    parts[1] = q**4 * (squares**2).sum(axis=-1)
    parts[2] = q**2 * total**2 * known
    parts[3] = q * (np.abs(c) * np.sqrt(w)).sum(axis=-1) / 2.0
    parts[4] = np.where(known > 0.0, q * apart / 2.0, 0.0)
    return Resolution(parts)


def _second_step(shape: Floats) -> Floats:
    """Return the ratio of two uniform errors with Σc⁴/(Σc²)² = ``shape``, ½ to 1."""
    return np.asarray(np.sqrt((1.0 - shape) / (shape + np.sqrt(2.0 * shape - 1.0))))


def _step_factor(shape: Floats, coverage: float) -> Floats:
    """Return X/u for sums of uniform errors with Σc⁴/(Σc²)² = ``shape`` (1 = one error)."""
    g = np.clip(shape, 0.0, 1.0)
    ratio = _second_step(np.maximum(g, 0.5))
    trapezoid = trapezoid_half_width(1.0, ratio, coverage) / np.sqrt((1.0 + ratio**2) / 3.0)
    triangle = float(trapezoid_half_width(1.0, 1.0, coverage)) / np.sqrt(2.0 / 3.0)
    normal = normal_factor(coverage)
    share = 2.0 * g
    flatter = share * STEP_GUARD * triangle + (1.0 - share) * normal
    return np.asarray(np.where(g >= 0.5, STEP_GUARD * trapezoid, flatter))


def expanded(
    half_width: ArrayLike, u_other: ArrayLike, coverage: float, *, bound: ArrayLike = 0.0
) -> Floats:
    """Return U from the resolution part, everything else, and what may not be averaged.

    Parameters
    ----------
    half_width
        Half-width X that covers the resolution part.
    u_other
        Standard uncertainty of everything else, taken as normal.
    bound
        Half-width of a bounded effect that is the same every time, such as an idle gap: added
        linearly, since nothing averages it out.

    Notes
    -----
    U = √(X² + (k·u_other)²) + bound.

    Examples
    --------
    87 % to 75 %, one hour, readings up to 2 min late: X = 0.82, u² = 0.02667 pp²:
    √(0.6724 + 4 × 0.02667) = 0.883:

    >>> round(float(expanded(0.82, 0.02667**0.5, 0.95)), 3)
    0.883
    """
    x = np.asarray(half_width, dtype=np.float64)
    other = normal_factor(coverage) * np.asarray(u_other, dtype=np.float64)
    return np.sqrt(x * x + other * other) + np.asarray(bound, dtype=np.float64)


def replicate_mean_half_width(
    s_r: float, n: int, half_width: float, coverage: float, *, dof: float | None = None
) -> float:
    """Return U of a mean of ``n`` repeated drains: resolution is not divided by √n.

    Parameters
    ----------
    s_r
        Standard deviation of the repeats.
    half_width
        Half-width X of one of them, from its resolution.
    dof
        Degrees of freedom of ``s_r``; ``None``: n − 1.

    Notes
    -----
    U = √(X² + (t·s/√n)²). A repeat from full charge meets the same fraction again, so rounding
    does not average out, and n equal readings have s = 0 without being exact.

    Examples
    --------
    Three equal repeats: only the resolution is left.

    >>> replicate_mean_half_width(0.0, 3, 0.8, 0.95)
    0.8
    """
    t = coverage_factor(coverage, n - 1 if dof is None else dof)
    return float(np.hypot(half_width, t * s_r / np.sqrt(n)))
