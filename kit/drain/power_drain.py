"""Drain as a measure of energy: for power, energy, projected hours and usage mixes.

A percentage of charge is not a percentage of energy. At constant power a gauge that counts
charge runs faster towards empty; what a device's gauge counts is seldom known. Statements about
power therefore use the true-charge drain with half of that effect taken off, and half of it as a
bound; statements about the display do not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.gauge import charge_excess, constant_power_drain
from kit.drain.reference_repeats import charge_share
from kit.stats.uncertainty import u_rectangular

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.stats.uncertainty import Resolution

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = ["PowerDrains", "power_drains"]


@dataclass(frozen=True, kw_only=True)
class PowerDrains:
    """Drains that stand for energy; arrays of shape (K, P).

    Parameters
    ----------
    drain_pp
        True-charge drain, corrected (pp).
    factor
        What the drain and its uncertainty were multiplied with.
    gauge_bound_pp
        Half-width for what the gauge counts (pp); 0 for one that counts energy.
    resolution
        What the resolution of the display adds.
    u_other_pp, u_pp
        u of everything but resolution and bounds, and u of everything (pp).
    bound_pp
        Half-widths that are added linearly (pp).
    length_u_pp
        u of the phase's length, as rate × u (pp); counts for rates.
    exposure_h
        Time over which it drained (h).
    """

    drain_pp: Floats
    factor: Floats
    gauge_bound_pp: Floats
    resolution: Resolution
    u_other_pp: Floats
    u_pp: Floats
    bound_pp: Floats
    length_u_pp: Floats
    exposure_h: Floats

    def half_width_pp(self, coverage: float) -> Floats:
        """Return U of the drain as it counts for rates (pp)."""
        u = np.hypot(self.u_other_pp, self.length_u_pp)
        return self.resolution.expanded(u, coverage, bound=self.bound_pp)


def level_effect(ready: Prepared) -> Floats:
    """Return β at the middle of every phase; shape (K, P)."""
    found = ready.drains["true_charge"]
    end = np.where(np.isnan(found.end_pct), 0.0, found.end_pct)
    return charge_excess((np.nan_to_num(found.start_pct) + end) / 2.0)


def power_drains(ready: Prepared, coverage: float = 0.95) -> PowerDrains:
    """Return the drain of every unit and phase as a measure of energy.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    coverage
        Probability, for what a repeated reference phase says about the gauge.

    Notes
    -----
    ``d/(1 + sβ)``, with the reach of s ± h added linearly; that is ½ ± ½ where nothing is known
    about the gauge, 0 for one that counts energy, or what a repeated phase says
    (`kit.drain.reference_repeats.charge_share`). Derived in docs/measurement.md.

    Examples
    --------
    12 pp from 20 to 8 %, around 14 %, where a gauge that counts charge falls 5.4 % faster; half of
    that is taken off: 12/1.027 = 11.685 pp. With none of it they would be 12, with all of it
    12/1.054 = 11.385: 0.315 pp away at most:

    >>> from kit.drain.phases import prepare
    >>> from tests.helpers.builders import BARE, make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [20, 8]}, assumptions=BARE)
    >>> found = power_drains(prepare(s))
    >>> round(float(found.drain_pp[0, 0]), 3), round(float(found.gauge_bound_pp[0, 0]), 3)
    (11.685, 0.315)
    """
    found = ready.drains["true_charge"]
    counts = charge_share(ready, coverage)
    beta = level_effect(ready)
    factor = 1.0 / (1.0 + counts.share[:, None] * beta)
    drain, up, down = constant_power_drain(
        found.best_pp, beta, counts.share[:, None], counts.half_width[:, None]
    )
    own = np.maximum(np.abs(up), np.abs(down))
    return PowerDrains(
        drain_pp=drain,
        factor=factor,
        gauge_bound_pp=own,
        resolution=found.resolution.scaled(factor),
        u_other_pp=found.u_other_pp * factor,
        u_pp=np.hypot(found.u_pp * factor, u_rectangular(own)),
        bound_pp=found.bound_pp * factor + own,
        length_u_pp=np.sqrt(found.variance["phase_length"]) * factor,
        exposure_h=found.exposure_h,
    )
