"""A straight line through points, with the covariance of its two coefficients."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

__all__ = ["LineFit", "straight_line"]


@dataclass(frozen=True, kw_only=True)
class LineFit:
    """Line y = intercept + slope·(x − origin), by least squares.

    Parameters
    ----------
    origin
        Where the intercept is taken.
    intercept, slope
        Estimates.
    intercept_u, slope_u, correlation
        Their standard uncertainties, and the correlation coefficient of the two.
    s
        Standard deviation of the points about the line.
    dof
        Points less 2.
    """

    origin: float
    intercept: float
    slope: float
    intercept_u: float
    slope_u: float
    correlation: float
    s: float
    dof: int

    def at(self, x: float) -> tuple[float, float]:
        """Return the line at ``x`` and its standard uncertainty there.

        Notes
        -----
        ``u² = u_a² + (x − x₀)² u_b² + 2(x − x₀) u_a u_b r``: leaving out the correlation would
        over- or under-state what is read off far from the middle of the points.
        """
        d = x - self.origin
        both = 2.0 * d * self.intercept_u * self.slope_u * self.correlation
        variance = self.intercept_u**2 + (d * self.slope_u) ** 2 + both
        return self.intercept + d * self.slope, float(np.sqrt(max(variance, 0.0)))


def straight_line(x: ArrayLike, y: ArrayLike, *, origin: float = 0.0) -> LineFit:
    """Return the least-squares line through at least three points.

    Parameters
    ----------
    x, y
        Shape (n,).
    origin
        Where the intercept is taken.

    Raises
    ------
    ValueError
        For fewer than three points, or points at one x only.

    References
    ----------
    JCGM 100:2008 (GUM), H.3: calibration of a thermometer.

    Examples
    --------
    >>> fit = straight_line([0, 1, 2, 3], [10, 8, 6, 4])
    >>> fit.intercept, fit.slope, fit.at(5)[0]
    (10.0, -2.0, 0.0)
    """
    t = np.asarray(x, dtype=np.float64) - origin
    v = np.asarray(y, dtype=np.float64)
    n = t.size
    if n < 3 or np.ptp(t) == 0.0:
        msg = f"a line needs at least 3 points at different places, got {n}"
        raise ValueError(msg)
    middle = float(t.mean())
    away = t - middle
    spread = float(away @ away)
    slope = float(away @ (v - v.mean())) / spread
    intercept = float(v.mean()) - slope * middle
    rest = v - intercept - slope * t
    s = float(np.sqrt(rest @ rest / (n - 2)))
    intercept_u = s * float(np.sqrt(1.0 / n + middle**2 / spread))
    slope_u = s / float(np.sqrt(spread))
    return LineFit(
        origin=origin, intercept=intercept, slope=slope, intercept_u=intercept_u,
        slope_u=slope_u, correlation=-middle / float(np.sqrt((t @ t) / n)), s=s, dof=n - 2,
    )  # fmt: skip
