"""What may be said of the kind of device, not only of this unit on this day.

Another unit, or the same one on another day, would have run longer or shorter. That scatter is
measured where units or runs were repeated, and assumed where not; either way it is shown. Most
differences of a session with one unit of each kind are too small to say anything of the kinds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.claims.kind_scatter import NOTHING, Part, Scatter, scatter_of
from kit.session import columns_of

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    import pandas as pd

    from kit.session import Device, Session

__all__ = [
    "HEALTH_NOT_RECORDED",
    "Kind",
    "Seen",
    "allows_for_health",
    "kind_of",
    "kinds",
    "runtimes_seen",
]

_MIN_PER_H = 60.0

_HEALTH_NOT_RECORDED = 0.95
"""Battery health taken where none is recorded, if that of others is (assumption)."""

HEALTH_NOT_RECORDED = 0.10 / np.sqrt(3.0) / 0.95
"""Relative u of a runtime whose battery may have anything from 85 to 105 % of its rated
capacity: half range 0.10 about 0.95 (assumption)."""

_HEALTH_READING_U = 2.5
"""u of a recorded battery health (percentage points) when none is stated (assumption)."""


@dataclass(frozen=True, kw_only=True)
class Kind:
    """Runtime of a kind of device with everything that separates it from one unit's.

    Parameters
    ----------
    name
        The model, or the device where no model is recorded.
    devices
        Positions of its units.
    mean_min, least_min, most_min
        Runtime (min), of a battery of rated capacity as far as its health is known or taken: by
        the middles of the windows of the power-offs, by their beginnings, and by their ends.
    scatter, health, window
        What other units and other days, another battery health, and the windows of the power-offs
        would change in the runtime as it was seen (min).
    factor
        From the runtime as it was seen to that of a battery of rated capacity.
    at_least
        The runtime is only a lower bound (a run was still on).
    """

    name: str
    devices: tuple[int, ...]
    mean_min: float = float("nan")
    least_min: float = float("nan")
    most_min: float = float("nan")
    scatter: Scatter | None = None
    health: Part = NOTHING
    window: Part = NOTHING
    factor: float = 1.0
    at_least: bool = False

    @property
    def scaled(self) -> bool:
        """Return whether the runtime is referred to a battery of rated capacity."""
        return self.factor != 1.0

    @property
    def measured(self) -> str:
        """Return what its uncertainty rests on, in words."""
        return "" if self.scatter is None else self.scatter.measured


class Seen(NamedTuple):
    """A runtime in one run (min), u of its window, whether it is only a lower bound, the run.

    ``half_min``: half of what the window allows, 0 of a lower bound.
    """

    runtime_min: float
    window_u_min: float
    at_least: bool
    run: int
    half_min: float = 0.0


def _units(session: Session) -> dict[str, list[int]]:
    groups: dict[str, list[int]] = {}
    for k, device in enumerate(session.devices):
        groups.setdefault(device.model or device.id, []).append(k)
    return groups


def _health(devices: Sequence[Device], mean: float, *, unknown: float) -> tuple[float, Part]:
    """Return the factor from these units' runtime to that of a full battery, and its part."""
    shares = [d.health_pct / 100.0 for d in devices if d.health_pct]
    if len(shares) < len(devices):
        u = mean * float(HEALTH_NOT_RECORDED)
        return 1.0 / unknown, Part(u, assumed="battery health not recorded")
    stated = [_HEALTH_READING_U if d.health_u_pct is None else d.health_u_pct for d in devices]
    share = float(np.mean(shares))
    return 1.0 / share, Part(mean * max(stated) / 100.0 / share)


def runtimes_seen(runtimes: pd.DataFrame) -> dict[str, list[Seen]]:
    """Return the runtimes of each device, run by run.

    Parameters
    ----------
    runtimes
        Frame of `kit.runtime.runtimes`.
    """
    rows: dict[str, list[Seen]] = {}
    columns = columns_of(
        runtimes, "device", "runtime_h", "runtime_h_u", "right_censored", "run", "runtime_h_low",
        "runtime_h_high",
    )  # fmt: skip
    for device, runtime, u, censored, run, low, high in zip(
        *(column.tolist() for column in columns), strict=True
    ):
        if runtime == runtime:
            window = 0.0 if u != u else u * _MIN_PER_H
            half_h = 0.0 if high != high or low != low else (high - low) / 2.0
            rows.setdefault(device, []).append(
                Seen(runtime * _MIN_PER_H, window, bool(censored), run, half_h * _MIN_PER_H)
            )
    return rows


def kinds(session: Session, rows: Mapping[str, Sequence[Seen]]) -> tuple[Kind, ...]:
    """Return the runtime of every kind of device with the scatter of runs and units.

    Parameters
    ----------
    session
        Devices of one model are units of one kind.
    rows
        From `runtimes_seen`.

    Notes
    -----
    Mean of the unit means; what other units and days would change: `scatter_of`. Runtimes are
    referred to a battery of rated capacity where health was recorded. Where it was not, that is one
    more uncertainty, and 95 % is taken if the health of another device was recorded, so that all
    are referred to the same. A run that was still on makes the runtime a lower bound, and its
    scatter the stated one, whatever the number of runs and units: bounds scatter less than what
    they bound.
    """
    return tuple(kind_of(session, name, places, rows) for name, places in _units(session).items())


def kind_of(
    session: Session, name: str, places: Sequence[int], rows: Mapping[str, Sequence[Seen]]
) -> Kind:
    """Return one kind of device; see `kinds`.

    Parameters
    ----------
    session, rows
        As for `kinds`.
    name, places
        Of the kind, and the positions of its units.
    """
    unknown = _HEALTH_NOT_RECORDED if any(d.health_pct for d in session.devices) else 1.0
    devices = [session.devices[k] for k in places]
    seen = [rows[d.id] for d in devices if d.id in rows]
    if not seen:
        return Kind(name=name, devices=tuple(places))
    runs = tuple(sorted({row.run for unit in seen for row in unit}))
    values = np.full((len(runs), len(seen)), np.nan)
    half = values.copy()
    for k, unit in enumerate(seen):
        places_of_runs = [runs.index(row.run) for row in unit]
        values[places_of_runs, k] = [row.runtime_min for row in unit]
        half[places_of_runs, k] = [row.half_min for row in unit]
    average = np.nanmean if np.isnan(values).any() else np.mean
    mean, aside = (float(average(each, axis=0).mean()) for each in (values, half))
    at_least = any(row.at_least for unit in seen for row in unit)
    factor, health = _health(devices, mean, unknown=unknown)
    window = Part(max(row.window_u_min for unit in seen for row in unit))
    cv = session.assumptions.run_unit_cv
    return Kind(
        name=name,
        devices=tuple(places),
        mean_min=mean * factor,
        least_min=(mean - aside) * factor,
        most_min=(mean + aside) * factor,
        scatter=scatter_of(values, runs, cv, at_least=at_least),
        health=health,
        window=window,
        factor=factor,
        at_least=at_least,
    )


def allows_for_health(session: Session, devices: Collection[str]) -> bool:
    """Return whether the runtimes of these kinds are referred to a battery of rated capacity.

    Parameters
    ----------
    session
        Names health and models.
    devices
        One unit of each kind.

    Examples
    --------
    Where the health of one device is known, 95 % is taken for the others:

    >>> from kit.session import Device
    >>> from tests.helpers.builders import make_session
    >>> health = {"a": 100.0, "b": 90.0, "c": None, "d": 100.0}
    >>> s = make_session(
    ...     devices=[Device(id=k, label=k, health_pct=pct) for k, pct in health.items()])
    >>> [allows_for_health(s, two) for two in ("ab", "ac", "ad")]
    [True, True, False]
    """
    if not any(d.health_pct for d in session.devices):
        return False
    models = {d.model or d.id for d in session.devices if d.id in devices}
    mine = [d for d in session.devices if (d.model or d.id) in models]
    return any(d.health_pct != 100.0 for d in mine)
