"""What may be said of the kind of device, not only of this unit on this day.

Another unit, or the same one on another day, would have run longer or shorter. That scatter is
measured where units or runs were repeated, and assumed where not; either way it is shown. Most
differences of a session with one unit of each kind are too small to say anything of the kinds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from kit.drain.readings import observed
from kit.stats.uncertainty import coverage_factor, effective_dof
from kit.units import count

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.readings import Observed
    from kit.results import Settings
    from kit.session import Device, Session

    Floats = NDArray[np.float64]

__all__ = [
    "HEALTH_NOT_RECORDED",
    "Bar",
    "Kind",
    "KindPair",
    "Seen",
    "compared_kinds",
    "first_percentages",
    "kind_of",
    "kind_pairs",
    "kinds",
    "runtimes_seen",
]

Bar = Literal["", "no_runtime", "charged", "open_end", "settings", "start"]
"""Why two kinds cannot be compared: no runtime; charged during a run; the shorter runtime not
seen to its end; different settings; not started from the same charge."""

_MIN_PER_H = 60.0

_HEALTH_NOT_RECORDED = 0.95
"""Battery health taken where none is recorded, if that of others is (assumption)."""

_UNLIKE_STARTS_PP = 2.0
"""First readings further apart than this are not a start from the same charge (pp)."""

HEALTH_NOT_RECORDED = 0.10 / np.sqrt(3.0) / 0.95
"""Relative u of a runtime whose battery may have anything from 85 to 105 % of its rated
capacity: half range 0.10 about 0.95 (assumption)."""

_HEALTH_READING_U = 2.5
"""u of a recorded battery health (percentage points) when none is stated (assumption)."""

_NO_EXCEPTION = ("start_offset_min",)
"""Exceptions of a device that do not make its runtime incomparable."""


@dataclass(frozen=True, kw_only=True)
class Kind:
    """Runtime of a kind of device with everything that separates it from one unit's.

    Parameters
    ----------
    name
        The model, or the device where no model is recorded.
    devices
        Positions of its units.
    mean_min, u_min, dof
        Runtime (min), standard uncertainty for the kind, degrees of freedom.
    at_least
        The runtime is only a lower bound (a run was still on).
    scaled
        The runtime is that of a battery of rated capacity, by the recorded battery health.
    measured, assumed
        What its uncertainty rests on, in words.
    """

    name: str
    devices: tuple[int, ...]
    mean_min: float = float("nan")
    u_min: float = float("nan")
    dof: float = float("inf")
    at_least: bool = False
    scaled: bool = False
    measured: str = ""
    assumed: str = ""


@dataclass(frozen=True, kw_only=True)
class KindPair:
    """Whether one kind may be said to last longer than another.

    Parameters
    ----------
    a, b
        The kinds, longer one first as observed.
    difference_min, needed_min
        Difference of runtimes and the margin it has to exceed (min).
    comparisons
        Pairs that the margin allows for; 1 for the declared one.
    barred
        Why the two cannot be compared; empty if they can.
    """

    a: Kind
    b: Kind
    difference_min: float
    needed_min: float
    comparisons: int
    barred: Bar

    @property
    def supported(self) -> bool:
        """Return whether the difference exceeds its margin."""
        return not self.barred and self.difference_min > self.needed_min


class Seen(NamedTuple):
    """A runtime in one run (min), u of its window, and whether it is only a lower bound."""

    runtime_min: float
    window_u_min: float
    at_least: bool


class _Part(NamedTuple):
    """One source of uncertainty: u (min), degrees of freedom, and the assumption behind it."""

    u: float
    dof: float
    assumed: str = ""


def _units(session: Session) -> dict[str, list[int]]:
    groups: dict[str, list[int]] = {}
    for k, device in enumerate(session.devices):
        groups.setdefault(device.model or device.id, []).append(k)
    return groups


def _health(devices: Sequence[Device], mean: float, *, unknown: float) -> tuple[float, _Part]:
    """Return the factor from these units' runtime to that of a full battery, and its part."""
    shares = [d.health_pct / 100.0 for d in devices if d.health_pct]
    if len(shares) < len(devices):
        u = mean * float(HEALTH_NOT_RECORDED)
        return 1.0 / unknown, _Part(u, np.inf, "battery health not recorded")
    stated = [_HEALTH_READING_U if d.health_u_pct is None else d.health_u_pct for d in devices]
    share = float(np.mean(shares))
    return 1.0 / share, _Part(mean * max(stated) / 100.0 / share, np.inf)


def _scatter(
    session: Session, values: Sequence[Floats], mean: float, *, at_least: bool
) -> tuple[str, list[_Part]]:
    """Return what was measured of the scatter, and its parts; ``values`` per unit."""
    if len(values) > 1 and not at_least:
        means = np.array([v.mean() for v in values])
        u = float(means.std(ddof=1) / np.sqrt(means.size))
        return count(means.size, "unit"), [_Part(u, means.size - 1)]
    cv = session.assumptions.run_unit_cv
    u = mean * cv / float(np.sqrt(len(values)))
    between = _Part(u, np.inf, f"{100.0 * cv:g} % scatter between runs and units")
    runs = np.concatenate(values)
    if runs.size == 1:
        return "one unit, one run", [between]
    if at_least:
        # runs that were stopped are alike because they were stopped: they show no scatter
        ran = f"{count(runs.size, 'run')} of {count(len(values), 'unit')}"
        return f"{ran}, not all seen to their end", [between]
    repeat = _Part(float(runs.std(ddof=1) / np.sqrt(runs.size)), runs.size - 1)
    return f"{count(runs.size, 'run')} of one unit", [between, repeat]


def runtimes_seen(runtimes: pd.DataFrame) -> dict[str, list[Seen]]:
    """Return the runtimes of each device, run by run.

    Parameters
    ----------
    runtimes
        Frame of `kit.runtime.runtimes`.
    """
    rows: dict[str, list[Seen]] = {}
    for device, runtime, u, censored in zip(
        runtimes["device"].tolist(), runtimes["runtime_h"].tolist(),
        runtimes["runtime_h_u"].tolist(), runtimes["right_censored"].tolist(), strict=True,
    ):  # fmt: skip
        if runtime == runtime:
            window = 0.0 if u != u else u * _MIN_PER_H
            rows.setdefault(device, []).append(Seen(runtime * _MIN_PER_H, window, bool(censored)))
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
    Two units or more: mean of the unit means, u from their scatter (units − 1 degrees of
    freedom). One unit: its mean, with the scatter between runs where it ran several times, and
    the stated relative scatter between runs and units, ``run_unit_cv``, of its runtime. Runtimes
    are referred to a battery of rated capacity where health was recorded. Where it was not, that
    is one more uncertainty, and 95 % is taken if the health of another device was recorded, so
    that all are referred to the same. A run that was still on makes the runtime a lower bound,
    and its scatter the stated one, whatever the number of runs and units: bounds scatter less than
    what they bound.
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
    values = [np.array([r[0] for r in unit]) for unit in seen]
    mean = float(np.mean([v.mean() for v in values]))
    at_least = any(r[2] for unit in seen for r in unit)
    measured, parts = _scatter(session, values, mean, at_least=at_least)
    factor, health = _health(devices, mean, unknown=unknown)
    window = _Part(max(r[1] for unit in seen for r in unit), np.inf)
    parts = [*parts, health, window]
    us = [part.u for part in parts]
    return Kind(
        name=name,
        devices=tuple(places),
        mean_min=mean * factor,
        u_min=float(np.sqrt(np.square(us).sum())) * factor,
        dof=_dof(us, [part.dof for part in parts]),
        scaled=factor != 1.0,
        at_least=at_least,
        measured=measured,
        assumed="; ".join(part.assumed for part in parts if part.assumed),
    )


def first_percentages(session: Session, obs: Observed) -> dict[str, float]:
    """Return the mean percentage read at the start of the first phase, by device.

    Parameters
    ----------
    session
        Names the devices.
    obs
        From `kit.drain.readings.observed`.
    """
    if not session.phases:
        return {}
    first = np.flatnonzero((obs.phase == 0) & (obs.point == 0))
    device = obs.unit[first] % len(session.devices)
    seen: dict[str, list[float]] = {}
    for k, soc in zip(device.tolist(), obs.soc[first].tolist(), strict=True):
        seen.setdefault(session.devices[k].id, []).append(soc)
    return {device: sum(values) / len(values) for device, values in seen.items()}


def _barred(
    session: Session, a: Kind, b: Kind, charged: Collection[str], starts: Mapping[str, float]
) -> Bar:
    if math.isnan(a.mean_min) or math.isnan(b.mean_min):
        return "no_runtime"
    units = [session.devices[k] for kind in (a, b) for k in kind.devices]
    if any(d.id in charged for d in units):
        return "charged"
    if b.at_least:
        return "open_end"
    first: Mapping[str, object] = session.devices[a.devices[0]].conditions
    second: Mapping[str, object] = session.devices[b.devices[0]].conditions
    keys = {*first, *second} - set(_NO_EXCEPTION)
    if any(first.get(key) != second.get(key) for key in keys):
        return "settings"
    read = [starts[d.id] for d in units if d.id in starts]
    return "start" if read and max(read) - min(read) > _UNLIKE_STARTS_PP else ""


def _dof(u: Sequence[float], dof: Sequence[float]) -> float:
    """Return the effective degrees of freedom, without a sum where none of them is finite."""
    return math.inf if all(map(math.isinf, dof)) else effective_dof(u, dof)


def _is_declared(session: Session, a: Kind, b: Kind) -> bool:
    pair = session.declared_comparison
    if pair is None:
        return False
    ids = [{session.devices[k].id for k in kind.devices} for kind in (a, b)]
    return any(pair[i] in ids[0] and pair[1 - i] in ids[1] for i in (0, 1))


def kind_pairs(
    session: Session, runtimes: pd.DataFrame, settings: Settings
) -> tuple[KindPair, ...]:
    """Return what may be said of every two kinds, longest first.

    Parameters
    ----------
    session, runtimes
        As for :func:`kinds`.
    settings
        ``coverage`` of all the statements together.

    Notes
    -----
    ``needed = t √(u_A² + u_B²)``, t two-sided for 1 − (1 − coverage)/M with M pairs (Bonferroni)
    and the effective degrees of freedom; M = 1 for the pair that was declared before the
    session. With 3 % scatter, one run each of 600 min and full batteries: u = 18 min each,
    1.96 · 25.5 = 50 min for one chosen pair.
    """
    found = kinds(session, runtimes_seen(runtimes))
    return compared_kinds(session, found, first_percentages(session, observed(session)), settings)


def compared_kinds(
    session: Session,
    found: Sequence[Kind],
    starts: Mapping[str, float],
    settings: Settings,
    *,
    asked: Collection[frozenset[str]] | None = None,
) -> tuple[KindPair, ...]:
    """Return what may be said of every two of some kinds; see `kind_pairs`.

    Parameters
    ----------
    session, settings
        As for `kind_pairs`.
    found
        From `kinds`.
    starts
        From `first_percentages`.
    asked
        Names of the kinds of the pairs to return; all if not given.
    """
    total = max(len(found) * (len(found) - 1) // 2, 1)
    known = [k for k in found if not math.isnan(k.mean_min)]
    order = sorted(known, key=lambda k: -k.mean_min)
    order += [k for k in found if math.isnan(k.mean_min)]
    charged = set(session.charges["device"].tolist())
    pairs = []
    for a, b in combinations(order, 2):
        if asked is not None and frozenset((a.name, b.name)) not in asked:
            continue
        comparisons = 1 if _is_declared(session, a, b) else total
        share = 1.0 - (1.0 - settings.coverage) / comparisons
        needed = float("nan")
        if not math.isnan(a.u_min + b.u_min):
            dof = _dof([a.u_min, b.u_min], [a.dof, b.dof])
            needed = coverage_factor(share, dof) * float(np.hypot(a.u_min, b.u_min))
        pairs.append(
            KindPair(
                a=a,
                b=b,
                difference_min=a.mean_min - b.mean_min,
                needed_min=needed,
                comparisons=comparisons,
                barred=_barred(session, a, b, charged, starts),
            )
        )
    return tuple(pairs)
