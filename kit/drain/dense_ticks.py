"""Changes of the display within phases, where a log is dense enough to show them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.ticks import find_ticks

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared

    Floats = NDArray[np.float64]

__all__ = ["PhaseTicks", "phase_ticks"]


@dataclass(frozen=True, kw_only=True)
class PhaseTicks:
    """Changes of one display in one phase, in order of time.

    Parameters
    ----------
    unit, phase
        Positions.
    t, u
        Shape (n,). Moments and their standard uncertainty (h).
    level
        Shape (n,). Percentage at each.
    """

    unit: int
    phase: int
    t: Floats
    u: Floats
    level: Floats

    @property
    def per_pp(self) -> Floats:
        """Return the time for one percentage point between neighbouring changes (h), (n − 1,)."""
        return np.asarray(np.diff(self.t) / -np.diff(self.level))

    @property
    def middles(self) -> Floats:
        """Return the levels in the middle between neighbouring changes, (n − 1,)."""
        return np.asarray((self.level[1:] + self.level[:-1]) / 2.0)


def phase_ticks(ready: Prepared) -> list[PhaseTicks]:
    """Return the changes of every display in every phase in which its device did one thing.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.

    Returns
    -------
    list
        In the order of run, phase, device; only phases with at least one change.

    Examples
    --------
    Changes to 89, 88 and 87 % noted at 10, 20 and 32 minutes: 10 and 12 min, 0.167 and 0.2 h, for
    one point; the level of each is taken between the two numbers, 89.5 % for 90 to 89:

    >>> from kit.drain.phases import prepare
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [90, 84]}, more_readings=[
    ...     {"device": "a", "phase": "p1", "kind": "tick", "t_min": t, "soc_pct": n}
    ...     for t, n in ((10, 89), (20, 88), (32, 87))])
    >>> one, = phase_ticks(prepare(s))
    >>> one.per_pp.round(3).tolist(), one.level.tolist()
    ([0.167, 0.2], [89.5, 88.5, 87.5])
    """
    chains = ready.chains
    session = chains.session
    obs = chains.observed
    timed = ~np.isnan(obs.t)
    found = []
    for unit in np.unique(obs.unit[timed & ((obs.point == 2) | obs.tick)]).tolist():
        mine = np.flatnonzero(timed & (obs.unit == unit))
        mine = mine[np.argsort(obs.t[mine], kind="stable")]
        step = float(chains.observations.step[unit])
        ticks = find_ticks(
            obs.t[mine], obs.soc[mine], obs.resolution[mine], obs.tick[mine], obs.row[mine], step
        )
        for j, phase in enumerate(session.phases):
            start = chains.start_h[unit, j] * 60.0
            end = start + chains.exposure_h[unit, j] * 60.0
            inside = np.flatnonzero((ticks.t >= start) & (ticks.t <= end))
            if inside.size and not phase.is_split:
                found.append(
                    PhaseTicks(
                        unit=unit, phase=j, t=ticks.t[inside] / 60.0, u=ticks.u[inside] / 60.0,
                        level=ticks.level[inside],
                    )
                )  # fmt: skip
    n = len(chains.devices)
    return sorted(found, key=lambda one: (one.unit // n, one.phase, one.unit))
