"""True energy, charge and display of one device over time.

With piecewise constant power the energy used is a broken line in time; everything else is a
monotone function of it, so levels and power-off times are exact and no step size is involved.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from kit.simulate.scenario import TrueDevice, TrueGauge, TrueRounding

    Floats = NDArray[np.float64]

__all__ = ["Track", "charge_of_energy", "displayed", "rounded", "shown_level", "track"]

_SHAPE_POINTS = 401
_GUARD = 1e-9
"""Keeps a level that is a whole number up to floating-point noise on its side of the edge."""


@dataclass(frozen=True)
class Track:
    """One device through one run.

    Parameters
    ----------
    breaks_min
        Times at which the power changes (min), ascending; shape (n + 1,).
    used
        Energy used up to each break as a fraction of the capacity, without any saver; (n + 1,).
    off_min
        True time of power-off (min); infinite if the power given never empties it.
    """

    device: TrueDevice
    breaks_min: Floats
    used: Floats
    off_min: float

    def energy_pct(self, t_min: ArrayLike) -> Floats:
        """Return the energy left (% of capacity) at ``t_min``; 0 from power-off on."""
        used = np.interp(np.asarray(t_min, dtype=np.float64), self.breaks_min, self.used)
        return np.maximum(_energy_left(self.device, used), 0.0) * 100.0

    def charge_pct(self, t_min: ArrayLike) -> Floats:
        """Return the usable charge left (%) at ``t_min``; 0 from power-off on."""
        return charge_of_energy(self.device, self.energy_pct(t_min))

    def shown_pct(self, t_min: ArrayLike) -> Floats:
        """Return what the gauge holds at ``t_min``, before it rounds (%)."""
        gauge = self.device.gauge
        at = np.maximum(np.asarray(t_min, dtype=np.float64) - gauge.lag_min, 0.0)
        energy = self.energy_pct(at)
        level = charge_of_energy(self.device, energy) if gauge.counts == "charge" else energy
        return shown_level(gauge, level)

    def display(self, t_min: ArrayLike) -> Floats:
        """Return the number shown at ``t_min`` (%)."""
        return displayed(self.device.gauge, self.shown_pct(t_min))


def track(device: TrueDevice, breaks_min: Sequence[float], power_w: Sequence[float]) -> Track:
    """Return the true course of a device under piecewise constant power.

    Parameters
    ----------
    breaks_min
        Times at which the power changes (min), ascending; one more than ``power_w``.
    power_w
        Power in each interval (W).

    Examples
    --------
    A 30 Wh device that draws 3 W for an hour and then 6 W has 90 % left after that hour, and
    27 Wh / 6 W = 4.5 h more to run: it powers off 330 min after the start.

    >>> from kit.simulate import TrueDevice
    >>> t = track(TrueDevice(id="a", capacity_wh=30, power_w={}), [0, 60, 600], [3, 6])
    >>> t.energy_pct([60, 120]).round(6).tolist(), round(t.off_min, 6)
    ([90.0, 70.0], 330.0)
    """
    breaks = np.asarray(breaks_min, dtype=np.float64)
    steps = np.diff(breaks) / 60.0 * np.asarray(power_w, dtype=np.float64) / device.capacity_wh
    used = np.concatenate(([0.0], np.cumsum(steps)))
    at_off = _used_at_off(device)
    off = float("inf") if used[-1] < at_off else float(np.interp(at_off, used, breaks))
    return Track(device=device, breaks_min=breaks, used=used, off_min=off)


def _used_at_off(device: TrueDevice) -> float:
    start = device.start_level_pct / 100.0
    if device.saver_at_pct is None:
        return start
    saved = min(device.saver_at_pct / 100.0, start)
    return (start - saved) + saved / (1.0 - device.saver_cut)


def _energy_left(device: TrueDevice, used: Floats) -> Floats:
    start = device.start_level_pct / 100.0
    if device.saver_at_pct is None:
        return start - used
    saved = min(device.saver_at_pct / 100.0, start)
    before = start - saved
    return np.where(
        used <= before, start - used, saved - (1.0 - device.saver_cut) * (used - before)
    )


def charge_of_energy(device: TrueDevice, energy_pct: ArrayLike) -> Floats:
    """Return the usable charge (%) that belongs to an energy level (%).

    With the shape b(q) the charge falls by ``1 + b(q)/100`` per unit of energy, so that
    ``e(q) = integral from 0 to q of dq / (1 + b/100)``, scaled to 100 at 100. Above 100 both
    go on alike.
    """
    energy = np.asarray(energy_pct, dtype=np.float64)
    if all(deviation == 0.0 for _, deviation in device.shape):
        return energy
    levels, deviations = (np.asarray(v, dtype=np.float64) for v in zip(*device.shape, strict=True))
    q = np.linspace(0.0, 100.0, _SHAPE_POINTS)
    slope = 1.0 / (1.0 + np.interp(q, levels, deviations) / 100.0)
    e = np.concatenate(([0.0], np.cumsum((slope[1:] + slope[:-1]) / 2.0)))
    e *= 100.0 / e[-1]
    return np.where(energy > 100.0, energy, np.interp(energy, e, q))


def shown_level(gauge: TrueGauge, level_pct: ArrayLike) -> Floats:
    """Return the level with the gauge's own deviation, held within 0 … 100 (%)."""
    level = np.asarray(level_pct, dtype=np.float64)
    if gauge.deviation:
        at, by = (np.asarray(v, dtype=np.float64) for v in zip(*gauge.deviation, strict=True))
        level = level + np.interp(level, at, by)
    return np.clip(level, 0.0, 100.0)


def rounded(rounding: TrueRounding, value: ArrayLike) -> Floats:
    """Return ``value`` as a whole number by one of the three conventions of gauges.

    Examples
    --------
    >>> [float(rounded(r, 86.4)) for r in ("nearest", "truncated", "rounded_up")]
    [86.0, 86.0, 87.0]
    >>> [float(rounded(r, 86.5)) for r in ("nearest", "truncated", "rounded_up")]
    [87.0, 86.0, 87.0]
    """
    x = np.asarray(value, dtype=np.float64)
    if rounding == "nearest":
        return np.floor(x + 0.5 + _GUARD)
    if rounding == "truncated":
        return np.floor(x + _GUARD)
    return np.ceil(x - _GUARD)


def displayed(gauge: TrueGauge, shown_pct: ArrayLike) -> Floats:
    """Return the number on the display for a level before rounding (%)."""
    x = np.asarray(shown_pct, dtype=np.float64)
    return np.clip(rounded(gauge.rounding, x / gauge.step_pct) * gauge.step_pct, 0.0, 100.0)
