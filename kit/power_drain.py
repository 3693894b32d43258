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

from kit.gauge import charge_excess
from kit.uncertainty import expanded

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain import Prepared
    from kit.uncertainty import Resolution

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
    beta
        Effect of the level on a charge-counting gauge; 0 for one that counts energy.
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
    beta: Floats
    resolution: Resolution
    u_other_pp: Floats
    u_pp: Floats
    bound_pp: Floats
    length_u_pp: Floats
    exposure_h: Floats

    def half_width_pp(self, coverage: float) -> Floats:
        """Return U of the drain as it counts for rates (pp)."""
        return expanded(
            self.resolution.half_width(coverage),
            np.hypot(self.u_other_pp, self.length_u_pp), coverage, bound=self.bound_pp,
        )  # fmt: skip


def level_effect(ready: Prepared) -> Floats:
    """Return β at the middle of every phase, 0 for a gauge that counts energy; shape (K, P)."""
    found = ready.drains["true_charge"]
    end = np.where(np.isnan(found.end_pct), 0.0, found.end_pct)
    middle = (np.nan_to_num(found.start_pct) + end) / 2.0
    counts = [d.gauge.counts for d in ready.chains.session.devices]
    charge = np.tile(np.array([c != "energy" for c in counts]), len(ready.chains.runs))
    return np.asarray(np.where(charge[:, None], charge_excess(middle), 0.0))


def power_drains(ready: Prepared) -> PowerDrains:
    """Return the drain of every unit and phase as a measure of energy.

    Parameters
    ----------
    ready
        From `kit.drain.prepare`.

    Notes
    -----
    ``d/(1 + β/2)``, ``|β·d|/2`` added linearly; see `kit.gauge.constant_power_drain`. Derived in
    docs/measurement.md.
    """
    found = ready.drains["true_charge"]
    beta = level_effect(ready)
    factor = 1.0 / (1.0 + beta / 2.0)
    own = np.abs(beta * found.best_pp) / 2.0
    return PowerDrains(
        drain_pp=found.best_pp * factor,
        factor=factor,
        beta=beta,
        resolution=found.resolution.scaled(factor),
        u_other_pp=found.u_other_pp * factor,
        u_pp=np.hypot(found.u_pp * factor, own / np.sqrt(3.0)),
        bound_pp=found.bound_pp * factor + own,
        length_u_pp=np.sqrt(found.variance["phase_length"]) * factor,
        exposure_h=found.exposure_h,
    )
