"""Mean runtimes of devices that all ran in every run, for many sets of values at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.stats.scatter import tukey_factor
from kit.stats.uncertainty import coverage_factor, trapezoid_half_width

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = ["ran_longer"]


def ran_longer(
    value: Floats, half_width: Floats, declared: tuple[int, int] | None, coverage: float
) -> Ints:
    """Return which device ran longer on average than which, as `replicate_pairs` judges it.

    Parameters
    ----------
    value, half_width
        Shape (A, runs, devices), two runs and two devices at least, nothing missing and every run
        seen to its end. Runtimes and the half-widths of their windows, for A sets of values.
    declared
        Places of the pair that was declared beforehand.
    coverage
        Probability with which all other pairs hold together, and that pair by itself.

    Returns
    -------
    array
        Shape (A, devices, devices): 1 where the first ran longer, −1 where the second did, 0 where
        they are too close.

    Notes
    -----
    With all values there, the least squares of `kit.stats.scatter.additive_fit` are means: the
    residual is y less the mean of its device and that of its run, plus the mean of all, with
    (runs − 1)(devices − 1) degrees of freedom, and u of a difference s √(2/runs).

    Examples
    --------
    Leads of 20, 22 and 24 min: s of the differences is 2 min, t = 4.30, 4.30 · 2/√3 = 4.97 min:

    >>> minutes = np.array([[[620.0, 600.0], [632.0, 610.0], [629.0, 605.0]]])
    >>> ran_longer(minutes / 60, np.full((1, 3, 2), 1 / 60), (0, 1), 0.95).tolist()
    [[[0, 1], [-1, 0]]]
    """
    _, runs, n = value.shape
    mean = value.mean(axis=1)
    residual = (
        value
        - mean[:, None, :]
        - value.mean(axis=2, keepdims=True)
        + value.mean(axis=(1, 2), keepdims=True)
    )
    dof = (runs - 1) * (n - 1)
    s = np.sqrt((residual**2).sum(axis=(1, 2)) / dof)
    u = np.broadcast_to((s * np.sqrt(2.0 / runs))[:, None, None], (value.shape[0], n, n))
    expanded = u * tukey_factor(coverage, n, dof)
    if declared is not None:
        i, j = declared
        within = value[:, :, i] - value[:, :, j]
        own = within.std(axis=1, ddof=1) / np.sqrt(runs) * coverage_factor(coverage, runs - 1)
        expanded[:, i, j] = expanded[:, j, i] = own
    widest = half_width.max(axis=1)
    resolution = trapezoid_half_width(widest[:, :, None], widest[:, None, :], coverage)
    lead = mean[:, :, None] - mean[:, None, :]
    beyond = np.abs(lead) > np.hypot(resolution, expanded)
    return np.where(beyond, np.sign(lead), 0.0).astype(np.int64)
