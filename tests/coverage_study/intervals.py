"""Whether intervals hold the true value: those stated, and those by either method alone."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from kit.simulate import simulate_day

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.drain.simulation import Figures, Simulated
    from kit.simulate import Scenario, TruePhase, Truth
    from tests.coverage_study.tally import Tally

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = [
    "EQUAL",
    "MEASURANDS",
    "Frames",
    "by_draws",
    "count_drains",
    "count_intervals",
    "count_parts",
    "count_replicates",
    "longer",
    "mean_runtimes",
    "of_measurand",
    "true_mix_hours",
    "within",
    "without_scatter",
]

EQUAL = 1e-6
"""True values closer than this are equal: a claim about them is false either way."""

MEASURANDS = (("displayed", "shown"), ("true_charge", "charge"))

Frames = dict[str, "pd.DataFrame"]
"""Name of a result (``drains``, ``hours``, ``energy``, ``standing``, ``mix``) → its frame."""


def within(low: Floats, high: Floats, true: Floats) -> Flags:
    """Return whether each true value lies within its interval."""
    with np.errstate(invalid="ignore"):
        return (low <= true + EQUAL) & (true - EQUAL <= high)


def of_measurand(
    frame: pd.DataFrame, measurand: str, names: tuple[str, ...]
) -> list[NDArray[np.generic]]:
    """Return columns of the rows of one measurand; the frames hold both, row by row in turn."""
    half = 0 if measurand == "displayed" else 1
    return [frame[name].to_numpy()[half::2] for name in names]


def count_drains(tally: Tally, found: pd.DataFrame, truth: Truth, way: str = "") -> None:
    """Count drains and rates of both measurands: first phase, others, phases of power-off."""
    first = (truth.drains["phase"] == truth.scenario.phases[0].id).to_numpy()
    on_h = truth.drains["exposure_h"].to_numpy()
    for measurand, column in MEASURANDS:
        status, low, high, rate_low, rate_high = of_measurand(
            found,
            measurand,
            ("status", "drain_pp_low", "drain_pp_high", "rate_pp_per_h_low", "rate_pp_per_h_high"),
        )
        true = truth.drains[f"{column}_drain_pp"].to_numpy()
        held = within(low, high, true)
        with np.errstate(invalid="ignore", divide="ignore"):
            rate_held = within(rate_low, rate_high, true / on_h)
        there = ~np.isnan(low)
        measured, died = (status == "measured") & there, (status == "died") & there
        timed = ~np.isnan(rate_low)
        name = f"{way}{measurand}"
        tally.add(f"{name} first", held[measured & first])
        tally.add(f"{name} other", held[measured & ~first])
        tally.add(f"{name} died", held[died])
        tally.add(f"{name} rate", rate_held[measured & timed])
        tally.add(f"{name} rate died", rate_held[died & timed])


def _count_power(tally: Tally, frames: Frames, truth: Truth, way: str) -> None:
    """Count projected hours, energies and powers. Powers of the devices do not change here."""
    hours, used = frames["hours"], frames["energy"]
    devices = {d.id: d for d in truth.scenario.devices}
    activity = {p.id: p.activity for p in truth.scenario.phases}
    keys = zip(hours["device"], hours["phase"], strict=True)
    power = np.array([devices[d].power_w.get(activity[p], np.nan) for d, p in keys])
    capacity = np.array([devices[d].capacity_wh for d in hours["device"]])
    low, high = hours["hours_low"].to_numpy(), hours["hours_high"].to_numpy()
    known = ~np.isnan(low) & ~np.isnan(power)
    ranked = hours["ranked"].to_numpy()
    held = within(low, high, capacity / power)
    tally.add(f"{way}hours", held[known & ranked])
    low, high = used["energy_wh_low"].to_numpy(), used["energy_wh_high"].to_numpy()
    known = ~np.isnan(low) & (truth.drains["exposure_h"].to_numpy() > 0.0)
    tally.add(f"{way}energy", within(low, high, truth.drains["energy_wh"].to_numpy())[known])
    low, high = used["power_w_low"].to_numpy(), used["power_w_high"].to_numpy()
    whole = known & truth.drains["completed"].to_numpy()
    tally.add(f"{way}power", within(low, high, power)[whole])


def true_mix_hours(mix: Mapping[str, float], truth: Truth) -> Floats:
    """Return the true hours of each device on a mix."""
    weights = np.array(list(mix.values())) / sum(mix.values())
    return np.array(
        [
            d.capacity_wh / (weights @ [d.power_w[activity] for activity in mix])
            for d in truth.scenario.devices
        ]
    )


def _count_total(tally: Tally, found: pd.DataFrame, truth: Truth, way: str) -> None:
    """Count drains by the display since the start, after every phase."""
    shape = (len(truth.runs), len(truth.scenario.phases), len(truth.scenario.devices))
    start = truth.drains["start_shown_pct"].to_numpy().reshape(shape)[:, :1]
    end = truth.drains["end_shown_pct"].to_numpy().reshape(shape)
    low, high = found["total_drain_pp_low"].to_numpy(), found["total_drain_pp_high"].to_numpy()
    tally.add(f"{way}total", within(low, high, (start - end).ravel())[~np.isnan(low)])


def count_intervals(
    tally: Tally, frames: Frames, mix: Mapping[str, float], truth: Truth, way: str = ""
) -> None:
    """Count the intervals of all frames.

    Parameters
    ----------
    way
        By what they were calculated: empty for what is stated, or "closed " or "mc ".
    """
    count_drains(tally, frames["drains"], truth, way)
    _count_total(tally, frames["standing"], truth, way)
    if truth.scenario.run_cv:
        return
    _count_power(tally, frames, truth, way)
    if mix:
        found, true = frames["mix"], true_mix_hours(mix, truth)
        low, high = found["hours_low"].to_numpy(), found["hours_high"].to_numpy()
        tally.add(f"{way}mix", within(low, high, true)[~np.isnan(low)])


def by_draws(frames: Frames, drawn: Simulated, ready: Prepared) -> Frames:
    """Return the frames with the ends that the draws alone give."""
    order = ready.chains.in_frame_order

    def ends(column: str, *figures: Figures) -> dict[str, NDArray[np.generic]]:
        return {
            f"{column}_{end}": np.stack([order(getattr(f, end)) for f in figures], axis=1).ravel()
            for end in ("low", "high")
        }

    of = drawn.phases
    drains, rates = ([of[f"{m}_{what}"] for m, _ in MEASURANDS] for what in ("drain", "rate"))
    found = {
        "drains": frames["drains"].assign(
            **ends("drain_pp", *drains), **ends("rate_pp_per_h", *rates)
        ),
        "hours": frames["hours"].assign(**ends("hours", of["hours"])),
        "energy": frames["energy"].assign(
            **ends("energy_wh", of["energy"]), **ends("power_w", of["power"])
        ),
        "standing": frames["standing"].assign(**ends("total_drain_pp", of["total_drain"])),
    }
    for one in drawn.mixes.values():
        found["mix"] = frames["mix"].assign(hours_low=one.low, hours_high=one.high)
    return found


def count_parts(tally: Tally, found: pd.DataFrame, truth: Truth) -> None:
    """Count rates of the parts of crossovers and rotations, and the effect of the activity."""
    if found.empty:
        return
    done = truth.parts.groupby(["phase", "device", "part"], sort=False)[
        ["charge_drain_pp", "exposure_h"]
    ].sum()
    rate = (done["charge_drain_pp"] / done["exposure_h"]).to_dict()
    kinds = {p.id: p for p in truth.scenario.phases}
    rows = found[found["rate_pp_per_h_low"].notna()]
    for phase, device, part, low, high in zip(
        rows["phase"], rows["device"], rows["part"],
        rows["rate_pp_per_h_low"], rows["rate_pp_per_h_high"], strict=True,
    ):  # fmt: skip
        kind = kinds[phase].kind
        if device:
            tally.add(f"{kind} rate", low <= rate[phase, device, part] + EQUAL <= high + 2 * EQUAL)
        elif "−" in part and part != "second half − first half":
            tally.add("crossover effect", low <= _effect(kinds[phase], rate, truth) <= high)


def _effect(phase: TruePhase, rate: Mapping[tuple[str, str, str], float], truth: Truth) -> float:
    """Return the mean over both orders of the true difference between the parts."""
    a, b = phase.parts or ("", "")
    x = {d.id: rate[phase.id, d.id, a] - rate[phase.id, d.id, b] for d in truth.scenario.devices}
    ab = [v for k, v in x.items() if k in phase.first_half]
    ba = [v for k, v in x.items() if k not in phase.first_half]
    return float(np.mean(ab) + np.mean(ba)) / 2.0


def count_replicates(tally: Tally, found: pd.DataFrame, truth: Truth) -> None:
    """Count means over runs: runtime, and displayed drain of every phase.

    The truth is the mean over all runs that could have been, not over the few that were: each
    run draws all powers of a device times 1 + cv·z, so drains have the mean without scatter, and
    runtimes, being T/(1 + cv·z), the mean T·(1 + cv² + 3 cv⁴ + …).
    """
    quiet = simulate_day(without_scatter(truth.scenario), np.random.default_rng(0))[0]
    off = mean_runtimes(truth)
    keys = zip(quiet.drains["phase"], quiet.drains["device"], strict=True)
    drains = dict(zip(keys, quiet.drains["shown_drain_pp"], strict=True))
    for name, is_runtime in (("replicate runtime", True), ("replicate drain", False)):
        rows = found[(found["quantity"] == "runtime") == is_runtime]
        rows = rows[rows["mean_high"].notna() & (rows["runs"] == len(truth.runs))]
        true = np.array(
            [
                off[d] / 60.0 if is_runtime else drains[q[6:], d]
                for d, q in zip(rows["device"], rows["quantity"], strict=True)
            ]
        )
        low, high = rows["mean_low"].to_numpy(), rows["mean_high"].to_numpy()
        tally.add(name, within(low, high, true))


def mean_runtimes(truth: Truth) -> dict[str, float]:
    """Return the mean runtime of every device over all runs that could have been (min)."""
    scenario = truth.scenario
    if not (scenario.run_cv or scenario.day_cv):
        first = truth.runtimes[truth.runtimes["run"] == truth.runs[0].number]
        return dict(zip(first["device"], first["off_min"], strict=True))
    quiet = simulate_day(without_scatter(truth.scenario), np.random.default_rng(0))[0]
    factor = longer(scenario.run_cv) * longer(scenario.day_cv)
    return dict(zip(quiet.runtimes["device"], quiet.runtimes["off_min"] * factor, strict=True))


def longer(cv: float) -> float:
    """Return the mean of 1/(1 + cv·z), z standard normal, for small cv."""
    return 1.0 + cv**2 + 3.0 * cv**4


def without_scatter(scenario: Scenario) -> Scenario:
    """Return one run of the scenario in which nothing differs from run to run."""
    return replace(scenario, runs=1, run_cv=0.0, day_cv=0.0)
