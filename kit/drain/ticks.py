"""Moments at which a display changed: a far sharper observation than a reading.

At a change the fraction that a display does not show is known, but for the offset of its
rounding. Operators note some of them, and a dense log shows them all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.stats.uncertainty import u_resolution

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

__all__ = ["Ticks", "find_ticks"]

TICK_WINDOW_MIN = 5.0
"""Two readings further apart than this do not show when the display changed (min)."""


@dataclass(frozen=True, kw_only=True)
class Ticks:
    """Moments at which one display changed, in order of time.

    Parameters
    ----------
    t, u
        Shape (n,). Moment as noted and its standard uncertainty (min).
    resolution
        Shape (n,). Step to which it was noted (min).
    level
        Shape (n,). Percentage shown after the change, plus half a step: the true value there,
        but for the offset of the display's rounding.
    row
        Row of the reading or tick that shows it.
    """

    t: Floats
    u: Floats
    resolution: Floats
    level: Floats
    row: Ints


def find_ticks(
    t: Floats, soc: Floats, resolution: Floats, tick: Bools, row: Ints, step: float
) -> Ticks:
    """Return the changes of one display: those noted, and those that a dense log shows.

    Parameters
    ----------
    t, soc, resolution, tick, row
        Shape (n,). Observations of one unit in order of time; ``resolution`` is the step of the
        noted time (min).
    step
        Step of the display (%).

    Notes
    -----
    Two readings at most 5 min apart whose numbers differ by one step show a change between
    them, if the number was never shown before (a display that wavers is not counted twice).

    Examples
    --------
    >>> ticks = find_ticks(np.array([0.0, 1.0, 2.0]), np.array([80.0, 80.0, 79.0]),
    ...                    np.zeros(3), np.zeros(3, bool), np.arange(3), 1.0)
    >>> float(ticks.t[0]), float(ticks.level[0])
    (1.5, 79.5)
    """
    noted = np.flatnonzero(tick)
    read = np.flatnonzero(~tick)
    before, after = read[:-1], read[1:]
    lowest = np.minimum.accumulate(soc[read])[:-1] if read.size else soc[:0]
    wait = t[after] - t[before]
    seen = (
        (np.abs(soc[before] - soc[after] - step) < 1e-6)
        & (soc[after] < lowest)
        & (wait <= TICK_WINDOW_MIN)
    )
    before, after, wait = before[seen], after[seen], wait[seen]
    middle = np.concatenate([t[noted], (t[before] + t[after]) / 2.0])
    width = np.concatenate([resolution[noted], np.hypot(wait, resolution[after])])
    level = np.concatenate([soc[noted], soc[after]]) + step / 2.0
    order = np.argsort(middle, kind="stable")
    return Ticks(
        t=middle[order],
        u=u_resolution(width)[order],
        resolution=np.concatenate([resolution[noted], resolution[after]])[order],
        level=level[order],
        row=np.concatenate([row[noted], row[after]])[order],
    )
