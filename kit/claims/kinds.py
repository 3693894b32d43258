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

from kit.claims.kind_scatter import NOTHING, Part, Scatter, days_between, expanded, scatter_of
from kit.claims.unlike import NOT_COMPARED, UNLIKE_STARTS_PP
from kit.claims.verdicts import CANNOT, SUPPORTED
from kit.drain.off_times import common_start_min
from kit.drain.readings import observed

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    import pandas as pd

    from kit.drain.readings import Observed
    from kit.results import Settings
    from kit.session import Device, Session

__all__ = [
    "HEALTH_NOT_RECORDED",
    "Bar",
    "Kind",
    "KindPair",
    "Seen",
    "allows_for_health",
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


@dataclass(frozen=True, kw_only=True)
class KindPair:
    """Whether one kind may be said to last longer than another.

    Parameters
    ----------
    a, b
        The kinds, longer one first as observed.
    difference_min, needed_min
        Difference of runtimes and the margin it has to exceed (min). If the longer one is only a
        lower bound, so is the difference: to the end of the window of the shorter one.
    comparisons
        Pairs that the margin allows for; 1 for the declared one.
    declared
        Whether it is the pair that was declared before the session.
    assumed
        What is assumed of the two, in words.
    barred
        Why the two cannot be compared; empty if they can.
    """

    a: Kind
    b: Kind
    difference_min: float
    needed_min: float
    comparisons: int
    assumed: tuple[str, ...]
    barred: Bar
    declared: bool = False

    @property
    def scaled(self) -> bool:
        """Return whether a runtime is referred to a battery of rated capacity."""
        return self.a.scaled or self.b.scaled

    @property
    def supported(self) -> bool:
        """Return whether the difference exceeds its margin."""
        return not self.barred and self.difference_min > self.needed_min

    @property
    def verdict(self) -> str:
        """Return what may be said: nothing, unless the difference is large enough."""
        return SUPPORTED if self.supported else CANNOT


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
    half = ((runtimes["runtime_h_high"] - runtimes["runtime_h_low"]) / 2.0).fillna(0.0)
    for device, runtime, u, censored, run, half_h in zip(
        runtimes["device"].tolist(), runtimes["runtime_h"].tolist(),
        runtimes["runtime_h_u"].tolist(), runtimes["right_censored"].tolist(),
        runtimes["run"].tolist(), half.tolist(), strict=True,
    ):  # fmt: skip
        if runtime == runtime:
            window = 0.0 if u != u else u * _MIN_PER_H
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
    keys = {*first, *second} - set(NOT_COMPARED)
    if any(first.get(key) != second.get(key) for key in keys):
        return "settings"
    read = [starts[d.id] for d in units if d.id in starts]
    return "start" if read and max(read) - min(read) > UNLIKE_STARTS_PP else ""


def _parts(a: Kind, b: Kind) -> list[Part]:
    """Return what makes the difference of two kinds uncertain; nothing where one has no runtime.

    Where a run of one was stopped, the other one was seen to its end because it ended before: its
    runs may be alike by that alone, and are taken to scatter no less than is stated. The windows
    are in the difference then, which is the least that they allow.
    """
    if a.scatter is None or b.scatter is None:
        return []
    first, second = (
        kind.at_least_as_stated() if a.at_least or b.at_least else kind
        for kind in (a.scatter, b.scatter)
    )
    own = [
        part.times(kind.factor)
        for kind, scatter in ((a, first), (b, second))
        for part in (scatter.units, kind.health, NOTHING if a.at_least else kind.window)
    ]
    return [*own, *days_between(first, second, (a.factor, b.factor))]


def _is_declared(session: Session, a: Kind, b: Kind) -> bool:
    pair = session.declared_comparison
    if pair is None:
        return False
    ids = [{session.devices[k].id for k in kind.devices} for kind in (a, b)]
    return any(pair[i] in ids[0] and pair[1 - i] in ids[1] for i in (0, 1))


def kind_pairs(
    session: Session, runtimes: pd.DataFrame, settings: Settings, *, obs: Observed | None = None
) -> tuple[KindPair, ...]:
    """Return what may be said of every two kinds, longest first.

    Parameters
    ----------
    session, runtimes
        As for :func:`kinds`.
    settings
        ``coverage`` of all the statements together.
    obs
        From `kit.drain.readings.observed`, if the readings were taken apart already.

    Notes
    -----
    ``needed = √Σ(t u)²`` over all parts of both, t two-sided for 1 − (1 − coverage)/M with M pairs
    (Bonferroni) and the degrees of freedom of the part; M = 1 for the pair that was declared
    before the session. With 3 % scatter, one run each of 600 min and full batteries: u = 18 min
    each, 1.96 · 25.5 = 50 min for one chosen pair.
    """
    found = _by_charge_left(session, kinds(session, runtimes_seen(runtimes)), runtimes)
    obs = observed(session) if obs is None else obs
    return compared_kinds(session, found, first_percentages(session, obs), settings)


def _by_charge_left(
    session: Session, found: Sequence[Kind], runtimes: pd.DataFrame
) -> Sequence[Kind]:
    """Return kinds in order of what they last showed, where some were still on, to ask of most."""
    if not any(kind.at_least for kind in found):
        return found
    shown = runtimes.groupby("device")["last_soc_pct"].mean().fillna(-1.0)

    def left(kind: Kind) -> float:
        return max(float(shown.get(session.devices[k].id, -1.0)) for k in kind.devices)

    return sorted(found, key=lambda kind: -left(kind) if kind.at_least else 0.0)


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
    # the start that both had in common is in the bounds of either
    start = common_start_min(session)
    pairs = []
    for a, b in combinations(order, 2):
        if asked is not None and frozenset((a.name, b.name)) not in asked:
            continue
        declared = _is_declared(session, a, b)
        comparisons = 1 if declared else total
        share = 1.0 - (1.0 - settings.coverage) / comparisons
        parts = _parts(a, b)
        words = (w for part in parts if part.u > 0.0 for w in (part.assumed,) if w)
        pairs.append(
            KindPair(
                a=a,
                b=b,
                difference_min=(
                    a.least_min - b.most_min + start * min(a.factor, b.factor)
                    if a.at_least
                    else a.mean_min - b.mean_min
                ),
                needed_min=expanded(parts, share) if parts else math.nan,
                comparisons=comparisons,
                assumed=tuple(dict.fromkeys(words)),
                barred=_barred(session, a, b, charged, starts),
                declared=declared,
            )
        )
    return tuple(pairs)
