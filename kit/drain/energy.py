"""Energy and mean power of every phase, where the rated energy of the battery is known.

Percent times rated energy times health. The rated energy is the same for all phases of a
device: it cancels in ratios within a device, not between devices.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.chains import device_conditions
from kit.drain.flags import join_flags
from kit.drain.phases import frame_keys, methods, prepare, reached
from kit.drain.power_drain import power_drains
from kit.drain.rated_energy import NOT_RATED, rated_energy
from kit.frames import result_frame
from kit.stats.uncertainty import normal_factor

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.drain.simulation import Simulated
    from kit.results import Settings
    from kit.session import Session

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = [
    "CD_PER_CM2",
    "EnergyFigures",
    "display_area_cm2",
    "display_areas",
    "energy",
    "energy_figures",
    "luminances",
    "specific_power",
]

CD_PER_CM2 = 1e-4
"""Candela of 1 cm² at 1 cd/m²."""


@dataclass(frozen=True, kw_only=True)
class EnergyFigures:
    """Energy (Wh) and mean power (W) of every unit and phase by the closed form; shapes (K, P)."""

    energy: Floats
    energy_u: Floats
    energy_low: Floats
    energy_high: Floats
    power: Floats
    power_u: Floats
    power_low: Floats
    power_high: Floats
    gauge_curve: Bools


def energy_figures(ready: Prepared, coverage: float) -> EnergyFigures:
    """Return energy and mean power, NaN where no energy is rated.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    coverage
        Probability of the intervals.

    Notes
    -----
    ``E = d/100 · Wh · κ``, ``(u_E/E)² = (u_d/d)² + tol²/3 + (u_κ/κ)²``, ``P = E/L`` adds
    (u_L/L)². ``U = k·u``, and the bounds of the drain linearly. The drain is true-charge drain
    with the level effect of `kit.drain.power_drain`. Derived in docs/measurement.md.

    Examples
    --------
    12 of 100 percent of 15 Wh: 1.8 Wh in one hour, 1.8 W. From the readings √(2/12) = 0.408 pp,
    0.061 Wh; from the battery √(0.03²/3 + 0.02²) = 2.65 %, 0.048 Wh; together 0.078 Wh:

    >>> from kit.drain.phases import prepare
    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import BARE, make_session
    >>> a = Device(id="a", label="a", rated_energy_wh=15, rated_energy_tol_pct=3, health_pct=100,
    ...            health_u_pct=2, gauge=Gauge(counts="energy"))
    >>> s = make_session(devices=[a], phases={"p1": 60}, readings={"a": [90, 78]}, assumptions=BARE)
    >>> found = energy_figures(prepare(s), 0.95)
    >>> [round(float(v[0, 0]), 3) for v in (found.energy, found.energy_u, found.power)]
    [1.8, 0.078, 1.8]
    """
    chains = ready.chains
    found = power_drains(ready, coverage)
    rated = [rated_energy(device) or NOT_RATED for device in chains.session.devices]
    full, rel = (
        np.array([getattr(r, name) for r in rated])[chains.unit_device, None]
        for name in ("energy_wh", "relative_u")
    )
    value = np.where(ready.flags["rises"], np.nan, found.drain_pp) / 100.0 * full
    spread = np.hypot(found.u_pp / 100.0 * full, value * rel)
    quiet = np.hypot(found.resolution.u, found.u_other_pp)
    averaged = np.hypot(quiet / 100.0 * full, value * rel)
    bound = found.bound_pp / 100.0 * full
    length = found.length_u_pp / 100.0 * full
    k = normal_factor(coverage)
    half = k * averaged + bound
    half_power = k * np.hypot(averaged, length) + bound
    hours = found.exposure_h
    return EnergyFigures(
        energy=value,
        energy_u=spread,
        energy_low=np.maximum(value - half, 0.0),
        energy_high=value + half,
        power=value / hours,
        power_u=np.hypot(spread, length) / hours,
        power_low=np.maximum(value - half_power, 0.0) / hours,
        power_high=(value + half_power) / hours,
        gauge_curve=(found.gauge_bound_pp > 0.0) & ~np.isnan(value),
    )


def energy(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    simulated: Simulated | None = None,
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
    simulated
        From `kit.drain.simulation.simulate`; as for `kit.drain.phases.phase_drain`.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["energy"]``; energies in Wh, powers in W, as of
        `energy_figures`.

    Examples
    --------
    12 of 100 percent of 15 Wh, in an hour:

    >>> from kit.results import Settings
    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import BARE, make_session
    >>> a = Device(id="a", label="a", rated_energy_wh=15, health_pct=100,
    ...            gauge=Gauge(counts="energy"))
    >>> s = make_session(devices=[a], phases={"p1": 60}, readings={"a": [90, 78]}, assumptions=BARE)
    >>> row = energy(s, Settings()).iloc[0]
    >>> round(float(row["energy_wh"]), 3), round(float(row["power_w"]), 3)
    (1.8, 1.8)
    """
    ready = prepare(session) if prepared is None else prepared
    chains = ready.chains
    found = energy_figures(ready, settings.coverage)
    of_energy, of_power = (
        None if simulated is None else simulated.phases[name] for name in ("energy", "power")
    )
    energy_low, energy_high, drawn = reached(found.energy_low, found.energy_high, of_energy)
    power_low, power_high, power_drawn = reached(found.power_low, found.power_high, of_power)
    known = ~np.isnan(found.energy)
    rated = [rated_energy(device) or NOT_RATED for device in session.devices]
    flags = {
        **ready.flags,
        "gauge_curve": found.gauge_curve,
        "monte_carlo": drawn | power_drawn,
        **{
            code: np.array([code in r.flags for r in rated])[chains.unit_device, None] & known
            for code in ("energy_from_capacity", "tolerance_assumed", "health_unknown")
        },
    }
    order = chains.in_frame_order
    run, phase, device = frame_keys(chains)
    data: dict[str, NDArray[np.generic]] = {
        "run": run,
        "phase": phase,
        "device": device,
        "energy_wh": order(found.energy),
        "energy_wh_u": order(found.energy_u),
        "energy_wh_low": order(energy_low),
        "energy_wh_high": order(energy_high),
        "power_w": order(found.power),
        "power_w_u": order(found.power_u),
        "power_w_low": order(power_low),
        "power_w_high": order(power_high),
        "method": order(methods(known, drawn | power_drawn)),
        "flags": order(join_flags(flags, chains.length_h.shape)),
    }
    return result_frame("energy", data)


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


def display_areas(session: Session) -> dict[str, float]:
    """Return the area of the display (cm²) of each device for which it is recorded.

    Examples
    --------
    10 in with 2048 × 1536: 20.32 cm × 15.24 cm; nothing is recorded of b:

    >>> from kit.session import Device
    >>> from tests.helpers.builders import make_session
    >>> a = Device(id="a", label="a", display_diagonal_in=10, display_px=(2048, 1536))
    >>> s = make_session(devices=[a, Device(id="b", label="b")])
    >>> {id_: round(area, 1) for id_, area in display_areas(s).items()}
    {'a': 309.7}
    """
    return {
        device.id: display_area_cm2(device.display_diagonal_in, device.display_px)
        for device in session.devices
        if device.display_diagonal_in is not None and device.display_px is not None
    }


def luminances(session: Session) -> dict[str, float]:
    """Return the luminance (cd/m²) of each device for which it is recorded.

    Examples
    --------
    One condition for all, and b as its exception; "not recorded" is none:

    >>> from kit.session import Device
    >>> from tests.helpers.builders import make_session
    >>> of = {"a": {}, "b": {"luminance_cd_m2": 250}, "c": {"luminance_cd_m2": "not recorded"}}
    >>> devices = [Device(id=name, label=name, conditions=own) for name, own in of.items()]
    >>> luminances(make_session(devices=devices, conditions={"luminance_cd_m2": 180}))
    {'a': 180.0, 'b': 250.0}
    """
    found = {
        device.id: device_conditions(session, i).get("luminance_cd_m2")
        for i, device in enumerate(session.devices)
    }
    return {id_: float(v) for id_, v in found.items() if isinstance(v, (int, float)) and v > 0}


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

    Examples
    --------
    1.8 W by 309.7 cm² are 5.81 mW/cm²; at 180 cd/m² 309.7 cm² shine with 5.57 cd, 323 mW/cd:

    >>> from kit.results import Settings
    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import BARE, make_session
    >>> a = Device(id="a", label="a", rated_energy_wh=15, health_pct=100, display_diagonal_in=10,
    ...            display_px=(2048, 1536), gauge=Gauge(counts="energy"))
    >>> s = make_session(devices=[a], phases={"p1": 60}, readings={"a": [90, 78]}, assumptions=BARE,
    ...                  conditions={"luminance_cd_m2": 180})
    >>> row = specific_power(s, energy(s, Settings())).iloc[0]
    >>> round(float(row["power_mw_per_cm2"]), 2), round(float(row["power_mw_per_cd"]))
    (5.81, 323)
    """
    areas, light = display_areas(session), luminances(session)
    dark = {phase.id for phase in session.phases if phase.screen_on is False}
    keys = [frame[name].to_numpy() for name in ("run", "phase", "device")]
    _, phases, devices = (values.tolist() for values in keys)
    told = [d in areas and p not in dark for p, d in zip(phases, devices, strict=True)]
    rows = np.flatnonzero(told)
    run, phase, device = (values[rows] for values in keys)
    area, luminance = (
        np.array([of.get(d, np.nan) for d in device.tolist()], dtype=np.float64)
        for of in (areas, light)
    )
    out = {"run": run, "phase": phase, "device": device, "area_cm2": area}
    for suffix in ("", "_u", "_low", "_high"):
        power = frame[f"power_w{suffix}"].to_numpy(dtype=np.float64)[rows]
        out[f"power_mw_per_cm2{suffix}"] = power / area * 1000.0
        out[f"power_mw_per_cd{suffix}"] = power / area * 1000.0 / (luminance * CD_PER_CM2)
    return result_frame("specific_power", out)
