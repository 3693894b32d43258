"""The phase in which each unit powered off, and the first that it did not begin."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.chain_levels import logged_ends
from kit.stats.uncertainty import u_between

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.read.phase_times import PhaseTimes
    from kit.session import Session

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = ["Ends", "ends_of"]


@dataclass(frozen=True, kw_only=True)
class Ends:
    """How units ended, shape (M,); minutes."""

    death: Ints
    gone: Ints
    middle: Floats
    u: Floats
    low: Floats
    high: Floats
    noted_pct: Floats


def ends_of(session: Session, spans: PhaseTimes, unit: Ints, low: Floats, high: Floats) -> Ends:
    """Return how units ended whose power-offs have given bounds.

    Parameters
    ----------
    session
        A record that passed its checks.
    spans
        Times of the phases of all units, unplaced gaps included.
    unit, low, high
        Shape (M,). Which units, and the bounds of their power-offs (min).

    Examples
    --------
    Off between 80 and 84 min in a record of two phases of an hour: in the second (1), middle 82,
    u = 4/√12 = 1.15 min; nothing is begun after it (2):

    >>> from kit.read.phase_times import phase_times
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(devices=["a"], phases={"p1": 60, "p2": 60})
    >>> found = ends_of(s, phase_times(s), np.array([0]), np.array([80.0]), np.array([84.0]))
    >>> int(found.death[0]), int(found.gone[0]), float(found.middle[0]), round(float(found.u[0]), 2)
    (1, 2, 82.0, 1.15)
    """
    seen = np.isfinite(high) & np.isfinite(low)
    middle = np.where(seen, (low + np.where(seen, high, 0.0)) / 2.0, np.nan)
    n_phases = spans.start.shape[1]
    death = np.full(low.shape, -1, dtype=np.int64)
    gone = np.full(low.shape, n_phases, dtype=np.int64)
    logged, pct = logged_ends(session)
    logged, pct = logged[unit], pct[unit]
    for m in np.flatnonzero(seen | (logged >= 0)).tolist():
        inside, after = _place(spans, int(unit[m]), low[m], high[m], middle[m], int(logged[m]))
        death[m], gone[m] = inside, after
    return Ends(
        death=death, gone=gone, middle=middle,
        u=np.where(seen, u_between(low, np.where(seen, high, 0.0)), np.nan),
        low=low, high=high, noted_pct=pct,
    )  # fmt: skip


def _place(
    spans: PhaseTimes, k: int, low: float, high: float, middle: float, logged: int
) -> tuple[int, int]:
    """Return the phase of a power-off (−1: between phases) and the first phase not begun."""
    n_phases = spans.start.shape[1]
    start = spans.start[k]
    end = np.where(np.isnan(spans.end[k]), np.inf, spans.end[k])
    if np.isnan(middle) or np.isnan(start).all():
        return logged, (logged + 1 if logged >= 0 else n_phases)
    touches = (start < high) & (end > low)
    if logged >= 0 and touches[logged]:
        return logged, logged + 1
    within = np.flatnonzero((start <= middle) & (end > middle))
    if within.size:
        return int(within[0]), int(within[0]) + 1
    later = np.flatnonzero(start > middle)
    return -1, int(later[0]) if later.size else n_phases
