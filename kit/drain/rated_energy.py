"""The energy of a full battery: rated energy times health, and how far each is known."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from typing import TYPE_CHECKING

from kit.stats.uncertainty import u_rectangular

if TYPE_CHECKING:
    from kit.session import Device

__all__ = ["NOT_RATED", "RatedEnergy", "rated_energy", "watt_hours"]

DEFAULT_TOLERANCE_PCT = 3.0
"""Half-width taken for a rated energy whose tolerance is not recorded (assumption, no source)."""

HEALTH_UNKNOWN = 0.95
HEALTH_UNKNOWN_HALF_WIDTH = 0.10
"""Health taken where none is recorded: 0.85 to 1.05 (assumption, no source)."""

HEALTH_U_DEFAULT_PCT = 2.5
"""u of a recorded health whose own u is not: health displays show whole percent and differ by
2 to 3 % (assumption, no source)."""


def watt_hours(capacity_mah: float, voltage_v: float) -> float:
    """Return rated capacity times nominal voltage (Wh).

    References
    ----------
    49 CFR 171.8, "Watt-hour".

    Examples
    --------
    11.1 V × 4.4 Ah = 48.84 Wh:

    >>> watt_hours(4400, 11.1)
    48.84
    """
    return round(capacity_mah * voltage_v / 1000.0, 9)


@dataclass(frozen=True, kw_only=True)
class RatedEnergy:
    """Usable energy at full charge of one unit, and what was assumed.

    Parameters
    ----------
    energy_wh
        Rated energy × health (Wh).
    tolerance_u, health_u
        Relative u of the rated energy and of the health.
    flags
        What was assumed.
    """

    energy_wh: float
    tolerance_u: float
    health_u: float
    flags: tuple[str, ...]

    @property
    def relative_u(self) -> float:
        """Return the relative u of the energy."""
        return hypot(self.tolerance_u, self.health_u)


NOT_RATED = RatedEnergy(energy_wh=float("nan"), tolerance_u=0.0, health_u=0.0, flags=())


def rated_energy(device: Device) -> RatedEnergy | None:
    """Return rated energy × health of a device; ``None`` where no rated energy is known.

    Notes
    -----
    ``(u/E)² = tol²/3 + (u_κ/κ)²`` with κ the health. Energy not given is capacity × voltage.

    Examples
    --------
    15 Wh, 3 %, health 100 % with u = 2 %: √(0.0003 + 0.0004) = 0.0265:

    >>> from kit.session import Device
    >>> r = rated_energy(Device(id="a", label="a", rated_energy_wh=15, rated_energy_tol_pct=3,
    ...                         health_pct=100, health_u_pct=2))
    >>> r.energy_wh, round(r.relative_u, 4), r.flags
    (15.0, 0.0265, ())

    3 %: 0.03/√3; health 82 %, u = 2 %: 2/82:

    >>> r = rated_energy(Device(id="a", label="a", rated_energy_wh=15, rated_energy_tol_pct=3,
    ...                         health_pct=82, health_u_pct=2))
    >>> round(r.tolerance_u, 5), round(r.health_u, 5)
    (0.01732, 0.02439)
    """
    flags: list[str] = []
    rated = device.rated_energy_wh
    if rated is None:
        if device.rated_capacity_mah is None or device.nominal_voltage_v is None:
            return None
        rated = watt_hours(device.rated_capacity_mah, device.nominal_voltage_v)
        flags.append("energy_from_capacity")
    if device.rated_energy_tol_pct is None:
        flags.append("tolerance_assumed")
    if device.health_pct is None:
        flags.append("health_unknown")
    tolerance = device.rated_energy_tol_pct
    if tolerance is None:
        tolerance = DEFAULT_TOLERANCE_PCT
    health, health_u = _health(device)
    return RatedEnergy(
        energy_wh=rated * health,
        tolerance_u=float(u_rectangular(tolerance / 100.0)),
        health_u=health_u / health,
        flags=tuple(flags),
    )


def _health(device: Device) -> tuple[float, float]:
    """Return the health of a battery and its u, both as shares of 1."""
    if device.health_pct is None:
        return HEALTH_UNKNOWN, float(u_rectangular(HEALTH_UNKNOWN_HALF_WIDTH))
    stated = device.health_u_pct
    return device.health_pct / 100.0, (HEALTH_U_DEFAULT_PCT if stated is None else stated) / 100.0
