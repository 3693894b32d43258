"""Energy and mean power of every phase, where the rated energy of the battery is known.

Percent times rated energy times health. The rated energy is the same for all phases of a
device: it cancels in ratios within a device, not between devices.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, hypot, sqrt
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.drain.flags import join_flags
from kit.drain.phases import frame_keys, prepare
from kit.drain.power_drain import power_drains
from kit.stats.uncertainty import normal_factor

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike, NDArray

    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Device, Session

    Floats = NDArray[np.float64]

__all__ = [
    "RatedEnergy",
    "display_area_cm2",
    "endurance_index_class",
    "endurance_index_formula",
    "energy",
    "rated_energy",
    "rated_energy_parts",
    "remaining_percentage",
    "specific_power",
    "watt_hours",
]

DEFAULT_TOLERANCE_PCT = 3.0
"""Half-width taken for a rated energy whose tolerance is not recorded (assumption, no source)."""

HEALTH_UNKNOWN = 0.95
HEALTH_UNKNOWN_HALF_WIDTH = 0.10
"""Health taken where none is recorded: 0.85 to 1.05 (assumption, no source)."""

HEALTH_U_DEFAULT_PCT = 2.5
"""u of a recorded health whose own u is not: health displays show whole percent and differ by
2 to 3 % (assumption, no source)."""

TABLET_CLASSES = (("A", 7.90), ("B", 6.32), ("C", 5.06), ("D", 4.04), ("E", 3.24), ("F", 2.59))
SMARTPHONE_CLASSES = (
    ("A", 2.70), ("B", 2.30), ("C", 1.95), ("D", 1.66), ("E", 1.41), ("F", 1.20),
)  # fmt: skip
"""Lower limits of the endurance classes, not included: Regulation (EU) 2023/1669, Annex II, as
quoted by secondary sources."""


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


def remaining_percentage(remaining: float, last_full: float) -> float:
    """Return remaining capacity ÷ last full charge capacity × 100 (%), not rounded.

    The formula fixes no rounding, which is why the offset of a display is unknown.

    References
    ----------
    ACPI Specification, "Battery Gas Gauge" (3.9.3), as quoted by secondary sources.

    Examples
    --------
    28 730 mWh of 58 730 mWh; of the design capacity, 56 160 mWh, it would be 51.16 %:

    >>> round(remaining_percentage(28730, 58730), 2)
    48.92
    """
    return remaining / last_full * 100.0


@dataclass(frozen=True, kw_only=True)
class RatedEnergy:
    """Usable energy at full charge of one unit (Wh) with its relative u, and what was assumed."""

    energy_wh: float
    relative_u: float
    flags: tuple[str, ...]


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
    return RatedEnergy(
        energy_wh=rated * _health(device)[0],
        relative_u=hypot(*rated_energy_parts(device)),
        flags=tuple(flags),
    )


def _health(device: Device) -> tuple[float, float]:
    """Return the health of a battery and its u, both as shares of 1."""
    if device.health_pct is None:
        return HEALTH_UNKNOWN, HEALTH_UNKNOWN_HALF_WIDTH / sqrt(3.0)
    stated = device.health_u_pct
    return device.health_pct / 100.0, (HEALTH_U_DEFAULT_PCT if stated is None else stated) / 100.0


def rated_energy_parts(device: Device) -> tuple[float, float]:
    """Return the relative u of the rated energy and that of the battery's health.

    Examples
    --------
    3 %: 0.03/√3; health 82 %, u = 2 %: 2/82:

    >>> from kit.session import Device
    >>> found = rated_energy_parts(Device(id="a", label="a", rated_energy_tol_pct=3,
    ...                                   health_pct=82, health_u_pct=2))
    >>> [round(part, 5) for part in found]
    [0.01732, 0.02439]
    """
    tolerance = device.rated_energy_tol_pct
    if tolerance is None:
        tolerance = DEFAULT_TOLERANCE_PCT
    health, health_u = _health(device)
    return tolerance / 100.0 / sqrt(3.0), health_u / health


def energy(
    session: Session, settings: Settings, *, prepared: Prepared | None = None
) -> pd.DataFrame:
    """Return energy and mean power per run, phase and device; NaN where no energy is rated.

    Parameters
    ----------
    session
        A record that passed its checks.
    settings
        The coverage probability.
    prepared
        From `kit.drain.phases.prepare`, if it was made already.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["energy"]``; energies in Wh, powers in W.

    Notes
    -----
    ``E = d/100 · Wh · κ``, ``(u_E/E)² = (u_d/d)² + tol²/3 + (u_κ/κ)²``, ``P = E/L`` adds
    (u_L/L)². ``U = k·u``, and the bounds of the drain linearly. The drain is true-charge drain
    with the level effect of `kit.drain.power_drain`. Derived in docs/measurement.md.
    """
    import pandas as pd

    from kit.results import RESULT_COLUMNS

    ready = prepare(session) if prepared is None else prepared
    chains = ready.chains
    found = power_drains(ready, settings.coverage)
    per_device = [rated_energy(d) for d in session.devices]
    n_runs = len(chains.runs)
    none = RatedEnergy(energy_wh=float("nan"), relative_u=0.0, flags=())
    known = [r or none for r in per_device]
    full = np.tile(np.array([r.energy_wh for r in known]), n_runs)[:, None]
    rel = np.tile(np.array([r.relative_u for r in known]), n_runs)[:, None]
    usable = ~ready.flags["rises"]
    value = np.where(usable, found.drain_pp, np.nan) / 100.0 * full
    spread = np.hypot(found.u_pp / 100.0 * full, value * rel)
    quiet = np.hypot(found.resolution.u, found.u_other_pp)
    averaged = np.hypot(quiet / 100.0 * full, value * rel)
    bound = found.bound_pp / 100.0 * full
    length = found.length_u_pp / 100.0 * full
    k = normal_factor(settings.coverage)
    half = k * averaged + bound
    half_power = k * np.hypot(averaged, length) + bound
    hours = found.exposure_h
    flags = {
        **ready.flags,
        "gauge_curve": (found.gauge_bound_pp > 0.0) & ~np.isnan(value),
        **{
            code: np.tile(np.array([code in r.flags for r in known]), n_runs)[:, None]
            & ~np.isnan(value)
            for code in ("energy_from_capacity", "tolerance_assumed", "health_unknown")
        },
    }
    order = chains.in_frame_order
    run, phase, device = frame_keys(chains)
    data: dict[str, NDArray[np.generic]] = {
        "run": run,
        "phase": phase,
        "device": device,
        "energy_wh": order(value),
        "energy_wh_u": order(spread),
        "energy_wh_low": order(np.maximum(value - half, 0.0)),
        "energy_wh_high": order(value + half),
        "power_w": order(value / hours),
        "power_w_u": order(np.hypot(spread, length) / hours),
        "power_w_low": order(np.maximum(value - half_power, 0.0) / hours),
        "power_w_high": order((value + half_power) / hours),
        "flags": order(join_flags(flags, chains.length_h.shape)),
    }
    return pd.DataFrame({name: data[name] for name in RESULT_COLUMNS["energy"]})


def display_area_cm2(diagonal_in: float, px: tuple[int, int]) -> float:
    """Return the area of a display from its diagonal and pixel size, for square pixels (cm²).

    Examples
    --------
    10 in, 4 to 3: (8 × 2.54) × (6 × 2.54) = 20.32 × 15.24 = 309.7 cm²:

    >>> round(display_area_cm2(10.0, (2048, 1536)), 1)
    309.7
    """
    width, height = px
    scale = diagonal_in * 2.54 / hypot(width, height)
    return width * scale * height * scale


def specific_power(session: Session, frame: pd.DataFrame) -> pd.DataFrame:
    """Return mean power per display area, and per area and luminance where that is recorded.

    Parameters
    ----------
    session
        The record.
    frame
        From `energy`.

    Returns
    -------
    DataFrame
        ``run, phase, device, area_cm2, power_mw_per_cm2`` and ``power_mw_per_cd`` (power per
        area and luminance) with ``_u``, ``_low`` and ``_high``; only phases not known to have
        the screen off, only devices whose display is recorded. Area and luminance are taken as
        exact.
    """
    import pandas as pd

    from kit.drain.chains import device_conditions
    from kit.results import RESULT_COLUMNS

    areas, light = {}, {}
    for i, device in enumerate(session.devices):
        if device.display_diagonal_in is not None and device.display_px is not None:
            areas[device.id] = display_area_cm2(device.display_diagonal_in, device.display_px)
        value = device_conditions(session, i).get("luminance_cd_m2")
        if isinstance(value, (int, float)) and value > 0:
            light[device.id] = float(value)
    dark = {phase.id for phase in session.phases if phase.screen_on is False}
    rows = frame[frame["device"].isin(list(areas)) & ~frame["phase"].isin(list(dark))]
    area = rows["device"].map(areas).to_numpy(dtype=np.float64)
    luminance = rows["device"].map(light).to_numpy(dtype=np.float64)
    out = {name: rows[name].to_numpy() for name in ("run", "phase", "device")}
    out["area_cm2"] = area
    for suffix in ("", "_u", "_low", "_high"):
        power = rows[f"power_w{suffix}"].to_numpy(dtype=np.float64)
        out[f"power_mw_per_cm2{suffix}"] = power / area * 1000.0
        # 1 cd/m² over 1 cm² is 1e-4 cd
        out[f"power_mw_per_cd{suffix}"] = power / area * 1000.0 / (luminance * 1e-4)
    return pd.DataFrame({name: out[name] for name in RESULT_COLUMNS["specific_power"]})


def endurance_index_formula(
    runtime_h: ArrayLike, nominal_voltage_v: float, rated_capacity_mah: float
) -> Floats:
    """Return the energy efficiency index by the formula only, not by that regulation's test.

    Parameters
    ----------
    runtime_h
        Runtime (h), rounded to two decimals as the formula asks; here of any session, not of
        the regulation's test sequence.
    nominal_voltage_v, rated_capacity_mah
        Nominal voltage (V) and rated capacity (mAh).

    Returns
    -------
    array
        ``END/(U·C)·1000`` in 1/W, two decimals.

    References
    ----------
    Regulation (EU) 2023/1669, Annex IV.1; definitions, units and rounding from secondary
    sources, the factor 1000 follows from the units.

    Examples
    --------
    38.70/(3.85 × 5000) × 1000 = 2.0104:

    >>> float(endurance_index_formula(38.70, 3.85, 5000))
    2.01
    """
    end = np.round(np.asarray(runtime_h, dtype=np.float64), 2)
    return np.asarray(np.round(end / (nominal_voltage_v * rated_capacity_mah) * 1000.0, 2))


def endurance_index_class(index: float, kind: Literal["tablet", "smartphone"]) -> str:
    """Return the class letter in which an index would fall; formula only, not a label.

    Parameters
    ----------
    index
        Index (1/W), compared after rounding to two decimals.
    kind
        Which table of limits.

    Examples
    --------
    Upper limits belong to the class below:

    >>> endurance_index_class(7.90, "tablet"), endurance_index_class(7.91, "tablet")
    ('B', 'A')
    """
    value = floor(index * 100.0 + 0.5) / 100.0
    table = TABLET_CLASSES if kind == "tablet" else SMARTPHONE_CLASSES
    return next((letter for letter, limit in table if value > limit), "G")
