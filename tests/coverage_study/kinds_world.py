"""Worlds with several units of one model, and what is true of the kinds of device in them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from kit.runtime.replicates import RUNTIME
from kit.simulate import Scenario, random_day, simulate_day
from tests.coverage_study.intervals import longer, within, without_scatter
from tests.coverage_study.world import BASE, World

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from kit.simulate import TrueDevice, Truth
    from tests.coverage_study.tally import Tally

__all__ = ["KINDS", "KindsDay", "count_kinds", "kind_runtimes"]

UNIT_CV, DAY_CV, REST_CV = 0.02, 0.02, 0.01
"""Scatter between units of a kind, of a day for all devices alike, and of each run by itself:
3 % together, which is what the kit assumes where it is not measured."""

RUNS = 3


@dataclass(frozen=True, kw_only=True)
class KindsDay(Scenario):
    """Runs of several units of each kind.

    Parameters
    ----------
    kinds
        Model → a device that is the mean of its units.
    """

    kinds: Mapping[str, TrueDevice] = field(default_factory=dict)


def kinds_day(rng: np.random.Generator, *, units: int = 2, spread: float = 0.1) -> KindsDay:
    """Return three runs of two kinds with so many units each, with full batteries of full health.

    Parameters
    ----------
    spread
        Relative standard deviation between the kinds.
    """
    limits = replace(
        BASE, devices=2 * units, phases=4, runs=RUNS, run_cv=REST_CV, rate_pp_per_h=(10.0, 25.0),
        until_empty=True, device_spread=spread,
    )  # fmt: skip
    day = random_day(limits, rng)
    kinds = {"Limpet 10": day.devices[0], "Whelk 10": day.devices[1]}
    healthy = {"health_pct": 100.0, "health_u_pct": 0.0}
    devices = []
    for k, drawn in enumerate(day.devices):
        model = list(kinds)[k % 2]
        own = 1.0 + UNIT_CV * rng.standard_normal()
        power = {activity: watts * own for activity, watts in kinds[model].power_w.items()}
        devices.append(
            replace(
                drawn, model=model, power_w=power, capacity_wh=kinds[model].capacity_wh,
                declared={**drawn.declared, **healthy},
            )
        )  # fmt: skip
    fields = {**vars(day), "devices": tuple(devices), "day_cv": DAY_CV, "kinds": kinds}
    return KindsDay(**fields)


def equal_kinds_day(rng: np.random.Generator) -> KindsDay:
    """Return such runs of two kinds that are truly equal, with three units each."""
    return kinds_day(rng, units=3, spread=0.0)


def _of_kinds(day: KindsDay) -> Truth:
    """Return the truth of one run without any scatter of devices that are the means of kinds."""
    means = tuple(replace(d, id=model) for model, d in day.kinds.items())
    return simulate_day(without_scatter(replace(day, devices=means)), np.random.default_rng(0))[0]


def kind_runtimes(truth: Truth) -> dict[str, float]:
    """Return the mean runtime of the kind of each device, over units and runs that could be (min).

    Empty where the day is not of kinds. Powers have the mean of the kind, so runtimes, T over three
    factors 1 + cv·z, have the mean T times three such as 1 + cv² + 3 cv⁴.
    """
    day = truth.scenario
    if not isinstance(day, KindsDay):
        return {}
    quiet = _of_kinds(day).runtimes
    off = dict(zip(quiet["device"], quiet["off_min"], strict=True))
    factor = longer(UNIT_CV) * longer(day.run_cv) * longer(day.day_cv)
    return {d.id: off[d.model] * factor for d in day.devices}


def count_kinds(tally: Tally, found: pd.DataFrame, truth: Truth) -> None:
    """Count means of kinds: runtime, and displayed drain of every phase.

    Parameters
    ----------
    found
        Frame of `kit.runtime.replicates.replicate_models`.
    """
    day = truth.scenario
    if not isinstance(day, KindsDay):
        return
    runtimes = {d.model: kind_runtimes(truth)[d.id] / 60.0 for d in day.devices}
    quiet = _of_kinds(day).drains
    keys = zip(quiet["phase"], quiet["device"], strict=True)
    drains = dict(zip(keys, quiet["shown_drain_pp"], strict=True))
    whole = len(day.devices) // len(day.kinds) * len(truth.runs)
    rows = found[found["mean_high"].notna() & (found["runs"] == whole)]
    for name, of_runtime in (("kind runtime", True), ("kind drain", False)):
        chosen = rows[(rows["quantity"] == RUNTIME) == of_runtime]
        true = np.array(
            [
                runtimes[model] if of_runtime else drains[quantity.partition(":")[2], model]
                for model, quantity in zip(chosen["model"], chosen["quantity"], strict=True)
            ]
        )
        low, high = chosen["mean_low"].to_numpy(), chosen["mean_high"].to_numpy()
        tally.add(name, within(low, high, true))


BOUNDS = ("kind runtime", "kind drain", "replicate drain")
"""What units and what days make uncertain is expanded apart, each by its own t: a bound. And a mean
over runs is never known better than one reading resolves."""

KINDS: tuple[World, ...] = (
    World(
        name="units of two kinds",
        says="two units each of two kinds, 3 runs until empty; power scatters by 2 % between "
        "units, by 2 % from day to day for all alike, and by 1 % besides",
        draw=kinds_day,
        bounds=BOUNDS,
        times=2,
    ),
    World(
        name="all equal, kinds",
        says="the same with three units each of two kinds that are truly equal",
        draw=equal_kinds_day,
        bounds=BOUNDS,
        times=4,
    ),
)
