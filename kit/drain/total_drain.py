"""Drain since the start: the first reading and the last, nothing between.

The readings between cancel, and the uncertainty does not grow with the number of phases.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.states import time_variance
from kit.stats.uncertainty import resolution

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from kit.drain.chains import Chains
    from kit.drain.phases import Prepared

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = ["TotalDrain", "total_drain"]


@dataclass(frozen=True, kw_only=True)
class TotalDrain:
    """Displayed drain from the start to the end of each phase (pp); shapes (K, P).

    Parameters
    ----------
    drain, u, low, high
        NaN where a reading lacks, the device was off or was charged; never below 0.
    variance
        Source → variance (pp²).
    """

    drain: Floats
    u: Floats
    low: Floats
    high: Floats
    variance: Mapping[str, Floats]


def _charged_since_start(chains: Chains) -> Bools:
    """Return whether a device was charged at any time up to the end of each phase."""
    broken = chains.charged | ~chains.joined
    broken[:, :1] = chains.charged[:, :1]
    return np.asarray(np.logical_or.accumulate(broken, axis=1), dtype=bool)


def total_drain(ready: Prepared, coverage: float) -> TotalDrain:
    """Return the drain since the start of every unit after every phase.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    coverage
        Probability of the intervals.

    Examples
    --------
    90, 78 and 72 %: 12 and 18 pp since the start. Either is the difference of two readings, u =
    √(2/12) = 0.408 pp, not of more the longer it went on:

    >>> from kit.drain.phases import prepare
    >>> from tests.helpers.builders import BARE, make_session
    >>> s = make_session(phases={"p1": 60, "p2": 30}, readings={"a": [90, 78, 72]},
    ...                  assumptions=BARE)
    >>> found = total_drain(prepare(s), 0.95)
    >>> found.drain.tolist(), found.u.round(3).tolist()
    ([[12.0, 18.0]], [[0.408, 0.408]])
    """
    chains, now = ready.chains, ready.states
    phases = np.arange(chains.length_h.shape[1])
    base = np.zeros((chains.units, phases.size, 2 * phases.size))
    base[:, phases, 2 * phases + 1] = -1.0
    base[:, :, :1] += 1.0
    shown = resolution(
        now.matrix[:, :1] - now.matrix[:, 1::2],
        weights=chains.observations.weight[:, None, :],
        step=chains.observations.step[:, None],
        convention_variance=chains.offset_variance[:, None],
    )
    on = (phases < chains.gone[:, None]) & (phases != chains.death[:, None])
    known = on & now.valid[:, :1] & now.valid[:, 1::2] & ~_charged_since_start(chains)
    blank = np.where(known, 0.0, np.nan)
    total = np.where(known, np.nan_to_num(now.value[:, :1] - now.value[:, 1::2]), np.nan)
    time = time_variance(now, base)
    gap = now.gap_variances(base)
    half = shown.expanded(np.sqrt(time), coverage, bound=now.bounds(base))
    return TotalDrain(
        drain=np.maximum(total, 0.0),
        u=np.sqrt(shown.u**2 + time + gap) + blank,
        low=np.maximum(total - half, 0.0),
        high=np.maximum(total + half, 0.0),
        variance={
            "resolution": shown.own + blank,
            "rounding": shown.common + blank,
            "reading_time": time + blank,
            "gap": gap + blank,
        },
    )
