"""Shapes of cells: how fast charge falls at constant power, from discharge curves.

A curve says how much charge is left when so much of the time to empty is left, at constant power,
measured or computed by a cell model. `tests/fixtures/discharge_curves.csv` has two of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

__all__ = ["shape_of_discharge"]


def shape_of_discharge(
    charge_pct: ArrayLike, time_left_pct: ArrayLike
) -> tuple[tuple[float, float], ...]:
    """Return the ``shape`` of a `TrueDevice` whose cell discharges along a curve.

    Parameters
    ----------
    charge_pct, time_left_pct
        Shape (n,), n ≥ 2. Charge left, and time left to empty at constant power, which is energy
        left (%); both from 100 to 0 or from 0 to 100, both strictly monotonic.

    Returns
    -------
    tuple of (level, deviation)
        Half-way between every two charge levels: the rate of charge there, relative to its mean
        over the run, less 1 (%).

    Raises
    ------
    ValueError
        If the curve has fewer than two points, does not reach from 0 to 100, or is not monotonic.

    Notes
    -----
    ``b = (Δq/Δe − 1)·100`` of each stretch, with q the charge and e the time left. Derived in
    docs/measurement.md.

    Examples
    --------
    The upper half of the charge lasts 40 % of the time, the lower 60 %: 50/40 − 1 = +25 % and
    50/60 − 1 = −16.67 %.

    >>> shape_of_discharge([100, 50, 0], [100, 60, 0])
    ((25.0, -16.67), (75.0, 25.0))
    """
    q = np.asarray(charge_pct, dtype=np.float64)
    e = np.asarray(time_left_pct, dtype=np.float64)
    if q.size > 1 and q[0] > q[-1]:
        q, e = q[::-1], e[::-1]
    steps = np.diff(q), np.diff(e)
    if (
        q.shape != e.shape
        or q.size < 2
        or not all((s > 0.0).all() for s in steps)
        or any(abs(v - end) > 1e-9 for x in (q, e) for v, end in ((x[0], 0.0), (x[-1], 100.0)))
    ):
        msg = "a discharge curve has at least two points, from 0 to 100 %, and only rises or falls"
        raise ValueError(msg)
    levels = (q[1:] + q[:-1]) / 2.0
    deviations = (steps[0] / steps[1] - 1.0) * 100.0
    rounded = zip(levels.tolist(), np.round(deviations, 2).tolist(), strict=True)
    return tuple((level, by) for level, by in rounded)
