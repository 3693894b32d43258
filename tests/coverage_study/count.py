"""Counting what the kit says of a simulated session against the truth.

Every figure is a name in a `Tally` with hits and trials. Intervals: a hit is an interval that
holds the true value. "false in session": a hit is a session with at least one claim that is not
true. "power": a hit is a pair, truly far apart, whose order was claimed.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.checks import check_session
from kit.claims import claims
from kit.drain.energy import energy
from kit.drain.order import drain_pairs
from kit.drain.phases import phase_drain, prepare
from kit.drain.projections import projections
from kit.drain.simulation import simulate
from kit.drain.split_phases import parts
from kit.drain.standing import standing
from kit.drain.usage_mix import usage_mixes
from kit.results import Settings
from kit.runtime.replicate_pairs import replicate_pairs
from kit.runtime.replicates import replicates
from kit.runtime.runtimes import runtime_tables
from kit.simulate import random_day, simulate_day
from tests.coverage_study.sentences import count_sentences, false_means

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.session import Session
    from kit.simulate import Limits, Scenario, TruePhase, Truth

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["FAR_MIN", "FAR_PP", "Tally", "World", "count_session", "study"]

SETTINGS = Settings()
EQUAL = 1e-6
"""True values closer than this are equal: a claim about them is false either way."""

FAR_PP = 3.0
"""Power is counted over pairs whose true drains differ by at least this much (pp) …"""
FAR_MIN = 6.0
"""… and whose true power-offs are at least this far apart (min)."""

DIFFERENCES_PP = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
DIFFERENCES_MIN = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0)
"""Power is also counted by true differences, ± ½."""

MC_DRAWS = 4000
"""Draws per session where the Monte Carlo calculation is counted: ends to about 0.02 pp."""

MEASURANDS = (("displayed", "shown"), ("true_charge", "charge"))


@dataclass(frozen=True, kw_only=True)
class World:
    """One scenario of the study.

    Parameters
    ----------
    draw
        Limits of a random day, or a function that draws one.
    kind
        ``inside``: the model claims to cover it; ``priors``: a stated input is wrong;
        ``outside``: an effect that the model has no term for.
    bounds
        Figures whose interval here is a bound and not an estimate, and why: coverage above
        99.5 % is then what it should be.
    warns
        Rules of the checks, or flags of the drains or projections, one of which should speak up.
    without
        The same day without the effect, for a world outside the model.
    matters
        What the effect is held against: ``shown`` or ``charge``, the drains by the display or of
        charge after the first phase; ``shown_first``, those of the first; ``runtime``; ``step``,
        the drains by the display against the interval that would be stated if it were taken to
        show whole per cents.
    noted
        What else the record says of the day.
    """

    name: str
    says: str
    draw: Limits | Callable[[np.random.Generator], Scenario]
    kind: Literal["inside", "priors", "outside"] = "inside"
    bounds: tuple[str, ...] = ()
    warns: tuple[str, ...] = ()
    without: Callable[[Scenario], Scenario] | None = None
    matters: Literal["shown", "shown_first", "charge", "runtime", "step"] = "shown"
    noted: Callable[[Session], Session] | None = None


@dataclass
class Tally:
    """Counts of one world: hits and trials per figure."""

    hits: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    trials: dict[str, int] = field(default_factory=lambda: defaultdict(int))

    def add(self, name: str, good: NDArray[np.bool_] | bool) -> None:
        """Count an array of outcomes, or one."""
        outcomes = np.atleast_1d(good)
        self.hits[name] += int(np.count_nonzero(outcomes))
        self.trials[name] += outcomes.size

    def percent(self, name: str) -> float:
        """Return hits per hundred trials; NaN without trials."""
        return 100.0 * self.hits[name] / self.trials[name] if self.trials[name] else float("nan")


def _within(low: Floats, high: Floats, true: Floats) -> Flags:
    with np.errstate(invalid="ignore"):
        return (low <= true + EQUAL) & (true - EQUAL <= high)


def _columns(frame: pd.DataFrame, measurand: str, names: tuple[str, ...]) -> list[NDArray]:
    """Return columns of the rows of one measurand; the frames hold both, row by row in turn."""
    half = 0 if measurand == "displayed" else 1
    return [frame[name].to_numpy()[half::2] for name in names]


def count_drains(tally: Tally, found: pd.DataFrame, truth: Truth) -> None:
    """Count drains and rates of both measurands: first phase, others, phases of power-off."""
    first = (truth.drains["phase"] == truth.scenario.phases[0].id).to_numpy()
    on_h = truth.drains["exposure_h"].to_numpy()
    for measurand, column in MEASURANDS:
        status, low, high, rate_low, rate_high = _columns(
            found,
            measurand,
            ("status", "drain_pp_low", "drain_pp_high", "rate_pp_per_h_low", "rate_pp_per_h_high"),
        )
        true = truth.drains[f"{column}_drain_pp"].to_numpy()
        held = _within(low, high, true)
        with np.errstate(invalid="ignore", divide="ignore"):
            rate_held = _within(rate_low, rate_high, true / on_h)
        there = ~np.isnan(low)
        measured, died = (status == "measured") & there, (status == "died") & there
        timed = ~np.isnan(rate_low)
        tally.add(f"{measurand} first", held[measured & first])
        tally.add(f"{measurand} other", held[measured & ~first])
        tally.add(f"{measurand} died", held[died])
        tally.add(f"{measurand} rate", rate_held[measured & timed])
        tally.add(f"{measurand} rate died", rate_held[died & timed])


def count_power(tally: Tally, hours: pd.DataFrame, used: pd.DataFrame, truth: Truth) -> None:
    """Count projected hours, energies and powers. Powers of the devices do not change here."""
    devices = {d.id: d for d in truth.scenario.devices}
    activity = {p.id: p.activity for p in truth.scenario.phases}
    keys = zip(hours["device"], hours["phase"], strict=True)
    power = np.array([devices[d].power_w.get(activity[p], np.nan) for d, p in keys])
    capacity = np.array([devices[d].capacity_wh for d in hours["device"]])
    low, high = hours["hours_low"].to_numpy(), hours["hours_high"].to_numpy()
    known = ~np.isnan(low) & ~np.isnan(power)
    ranked = hours["ranked"].to_numpy()
    held = _within(low, high, capacity / power)
    tally.add("hours", held[known & ranked])
    low, high = used["energy_wh_low"].to_numpy(), used["energy_wh_high"].to_numpy()
    known = ~np.isnan(low) & (truth.drains["exposure_h"].to_numpy() > 0.0)
    tally.add("energy", _within(low, high, truth.drains["energy_wh"].to_numpy())[known])
    low, high = used["power_w_low"].to_numpy(), used["power_w_high"].to_numpy()
    tally.add("power", _within(low, high, power)[known & truth.drains["completed"].to_numpy()])


def count_mix(tally: Tally, found: pd.DataFrame, mix: Mapping[str, float], truth: Truth) -> bool:
    """Count hours on a usage mix and ranks by it; return whether any rank is false."""
    weights = np.array(list(mix.values())) / sum(mix.values())
    true = np.array(
        [
            d.capacity_wh / (weights @ [d.power_w[activity] for activity in mix])
            for d in truth.scenario.devices
        ]
    )
    low, high = found["hours_low"].to_numpy(), found["hours_high"].to_numpy()
    tally.add("mix", _within(low, high, true)[~np.isnan(low)])
    held = _rank_held(true[None, :], found["rank_best"], found["rank_worst"])
    tally.add("mix false in session", not bool(held.all()))
    return not bool(held.all())


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


def count_drain_claims(tally: Tally, pairs: pd.DataFrame, truth: Truth) -> bool:
    """Count claims that one device drained less; return whether any of the table is false."""
    n = len(truth.scenario.devices)
    first, second = np.triu_indices(n, k=1)
    any_false = False
    for measurand, column in MEASURANDS:
        true = truth.drains[f"{column}_drain_pp"].to_numpy().reshape(-1, n)
        more = (true[:, first] - true[:, second]).ravel()
        table, single = _columns(pairs, measurand, ("verdict_table", "verdict_single"))
        for rule, verdict in (("table", table), ("pair", single)):
            a, b = verdict == "a", verdict == "b"
            false = (a & (more > -EQUAL)) | (b & (more < EQUAL))
            compared = a | b | (verdict == "tie")
            if rule == "table":
                tally.add(f"{measurand} false in session", bool(false.any()))
                any_false |= bool(false.any())
            else:
                tally.add(f"{measurand} pair false", false[compared])
            far = compared & (np.abs(more) >= FAR_PP)
            tally.add(f"{measurand} {rule} power", (a | b)[far])
            for size in DIFFERENCES_PP:
                near = compared & (np.abs(np.abs(more) - size) < 0.5)
                tally.add(f"{measurand} {rule} at {size:g}", (a | b)[near])
    return any_false


def count_runtimes(tally: Tally, found: pd.DataFrame, pairs: pd.DataFrame, truth: Truth) -> bool:
    """Count runtime intervals, ranks and claims of order; return whether any claim is false."""
    n = len(truth.scenario.devices)
    off = truth.runtimes["off_min"].to_numpy()
    high = found["runtime_h_high"].to_numpy()
    top = np.where(np.isnan(high), np.inf, high)
    tally.add("runtime", _within(found["runtime_h_low"].to_numpy(), top, off / 60.0))
    by_run = off.reshape(-1, n)
    tally.add("rank", _rank_held(by_run, found["rank_best"], found["rank_worst"]))
    first, second = np.triu_indices(n, k=1)
    longer = (by_run[:, first] - by_run[:, second]).ravel()
    verdict = pairs["verdict"].to_numpy()
    a, b = verdict == "a", verdict == "b"
    false = (a & (longer < EQUAL)) | (b & (longer > -EQUAL))
    tally.add("runtime false in session", bool(false.any()))
    told = ~np.isin(verdict, ["both_still_on", "unknown"])
    tally.add("runtime power", (a | b)[told & (np.abs(longer) >= FAR_MIN)])
    for size in DIFFERENCES_MIN:
        tally.add(f"runtime at {size:g}", (a | b)[told & (np.abs(np.abs(longer) - size) < 0.5)])
    return bool(false.any())


def _rank_held(value: Floats, best: pd.Series, worst: pd.Series) -> Flags:
    """Return whether rank intervals leave out no rank that is true; best = largest ``value``.

    ``value`` has the shape (groups, devices); a device without a rank takes no part in its
    group. Equal devices share all their ranks: an interval that separates two of them is false.
    """
    part = best.notna().to_numpy().reshape(value.shape)
    both = part[:, None, :] & part[:, :, None]
    above = (both & (value[:, None, :] > value[:, :, None] + EQUAL)).sum(axis=2)
    below = (both & (value[:, None, :] < value[:, :, None] - EQUAL)).sum(axis=2)
    low, high = (1 + above).ravel(), (part.sum(axis=1, keepdims=True) - below).ravel()
    return ((best.to_numpy() <= low) & (worst.to_numpy() >= high))[part.ravel()]


def count_standing(tally: Tally, found: pd.DataFrame, truth: Truth) -> bool:
    """Count drains so far and ranks after every phase; return whether any rank is false."""
    n = len(truth.scenario.devices)
    phases = len(truth.scenario.phases)
    start = truth.drains["start_shown_pct"].to_numpy().reshape(-1, phases, n)[:, :1]
    end = truth.drains["end_shown_pct"].to_numpy().reshape(-1, phases, n)
    low, high = found["total_drain_pp_low"].to_numpy(), found["total_drain_pp_high"].to_numpy()
    tally.add("total", _within(low, high, (start - end).ravel())[~np.isnan(low)])
    off = truth.runtimes["off_min"].to_numpy().reshape(-1, 1, n)
    ends = np.array([run.ends_min for run in truth.runs])[:, :, None]
    any_false = False
    for column, suffix in (("shown", ""), ("charge", "_true_charge")):
        level = truth.drains[f"end_{column}_pct"].to_numpy().reshape(-1, phases, n)
        # who is off stands below all that are on, in the order of the power-offs
        value = np.where(off > ends, level, off - 1e6).reshape(-1, n)
        held = _rank_held(value, found[f"rank_best{suffix}"], found[f"rank_worst{suffix}"])
        tally.add(f"standing{suffix} false in session", not bool(held.all()))
        any_false |= not bool(held.all())
    return any_false


def count_replicates(tally: Tally, found: pd.DataFrame, truth: Truth) -> None:
    """Count means over runs: runtime, and displayed drain of every phase.

    The truth is the mean over all runs that could have been, not over the few that were: each
    run draws all powers of a device times 1 + cv·z, so drains have the mean without scatter, and
    runtimes, being T/(1 + cv·z), the mean T·(1 + cv² + 3 cv⁴ + …).
    """
    quiet = simulate_day(_without_scatter(truth.scenario), np.random.default_rng(0))[0]
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
        tally.add(name, _within(low, high, true))


def mean_runtimes(truth: Truth) -> dict[str, float]:
    """Return the mean runtime of every device over all runs that could have been (min)."""
    cv = truth.scenario.run_cv
    if not cv:
        first = truth.runtimes[truth.runtimes["run"] == truth.runs[0].number]
        return dict(zip(first["device"], first["off_min"], strict=True))
    quiet = simulate_day(_without_scatter(truth.scenario), np.random.default_rng(0))[0]
    longer = 1.0 + cv**2 + 3.0 * cv**4
    return dict(zip(quiet.runtimes["device"], quiet.runtimes["off_min"] * longer, strict=True))


def _without_scatter(scenario: Scenario) -> Scenario:
    return replace(scenario, runs=1, run_cv=0.0)


def count_warnings(tally: Tally, world: World, truth: Truth, session: Session, told: Told) -> None:
    """Count sessions in which a warning comes, and those in which the effect matters.

    It matters where it is larger than the half-width of an interval that the session states: the
    truth with the effect against the truth of the same day without it.
    """
    spoken = {f.rule for f in check_session(session)}
    cells = {cell for frame in told.flagged for cell in set(frame["flags"])}
    flags = {flag for cell in cells for flag in cell.split(";")}
    warned = bool((spoken | flags) & set(world.warns))
    tally.add("warned", warned)
    if world.without is None:
        return
    matters = _matters(world, truth, session, told)
    tally.add("matters", matters)
    if matters:
        tally.add("warned where it matters", warned)


def _matters(world: World, truth: Truth, session: Session, told: Told) -> bool:
    assert world.without is not None
    if world.matters == "step":
        whole = replace(
            session,
            devices=tuple(
                replace(d, gauge=replace(d.gauge, step_pct=1.0)) for d in session.devices
            ),
        )
        found = phase_drain(whole, SETTINGS)
        effect = (found["drain_pp"].to_numpy()[0::2] - truth.drains["shown_drain_pp"]).to_numpy()
        names = ("drain_pp_low", "drain_pp_high", "status")
        low, high, status = _columns(found, "displayed", names)
    else:
        quiet = simulate_day(world.without(truth.scenario), np.random.default_rng(0))[0]
        if world.matters == "runtime":
            effect = (truth.runtimes["off_min"] - quiet.runtimes["off_min"]).to_numpy()
            low, high = (told.runtimes[f"runtime_h_{e}"].to_numpy() * 60.0 for e in ("low", "high"))
            status = np.where(told.runtimes["right_censored"], "", "measured")
        else:
            first_counts = world.matters == "shown_first"
            kind = world.matters.removesuffix("_first")
            column = f"{kind}_drain_pp"
            effect = (truth.drains[column] - quiet.drains[column]).to_numpy()
            measurand = {"shown": "displayed", "charge": "true_charge"}[kind]
            names = ("drain_pp_low", "drain_pp_high", "status")
            low, high, status = _columns(told.drains, measurand, names)
            first = (truth.drains["phase"] == truth.scenario.phases[0].id).to_numpy()
            status = np.where(first == first_counts, status, "")
    with np.errstate(invalid="ignore"):
        larger = np.abs(effect) > (high - low) / 2.0
    return bool((larger & (status == "measured")).any())


@dataclass(frozen=True)
class Told:
    """What the kit said of a session, for the warnings."""

    drains: pd.DataFrame
    runtimes: pd.DataFrame
    flagged: tuple[pd.DataFrame, ...]


def count_simulated(tally: Tally, ready: Prepared, truth: Truth, seed: int) -> None:
    """Count the intervals of the Monte Carlo calculation by themselves."""
    n = len(truth.scenario.devices)
    shape = (len(truth.runs), len(truth.scenario.phases), n)
    drawn = simulate(ready, draws=MC_DRAWS, seed=seed, coverage=SETTINGS.coverage)

    def by_unit(column: str) -> Floats:
        cube = truth.drains[column].to_numpy().reshape(shape)
        return cube.transpose(0, 2, 1).reshape(-1, shape[1])

    on_h = by_unit("exposure_h")
    first = np.arange(shape[1]) == 0
    for measurand, column in MEASURANDS:
        true = by_unit(f"{column}_drain_pp")
        status = ready.status[measurand]
        drain, per_h = (drawn.phases[f"{measurand}_{what}"] for what in ("drain", "rate"))
        held = _within(drain.low, drain.high, true)
        with np.errstate(invalid="ignore", divide="ignore"):
            rate = _within(per_h.low, per_h.high, true / on_h)
        there = ~np.isnan(drain.low)
        measured, died = (status == "measured") & there, (status == "died") & there
        tally.add(f"mc {measurand} first", held[measured & first])
        tally.add(f"mc {measurand} other", held[measured & ~first])
        tally.add(f"mc {measurand} died", held[died])
        tally.add(f"mc {measurand} rate", rate[measured])
        tally.add(f"mc {measurand} rate died", rate[died])


def _mix(truth: Truth) -> dict[str, float]:
    """Return weights 1, 2, 3 over the activities of the second to fourth phase, if plain."""
    inner = truth.scenario.phases[1:4]
    if any(p.kind != "plain" for p in inner):
        return {}
    return {p.activity: float(k) for k, p in enumerate(inner, start=1)}


def _grouped(session: Session) -> Session:
    """Return the session with its first half of devices as a group, to be claimed about."""
    half = len(session.devices) // 2 + 1
    return replace(
        session,
        devices=tuple(
            replace(d, groups=("first half",) if k < half else ())
            for k, d in enumerate(session.devices)
        ),
    )


def count_session(
    tally: Tally, world: World, truth: Truth, session: Session, *, draws_seed: int | None = None
) -> None:
    """Analyse one session and count everything that it says."""
    session = _grouped(world.noted(session) if world.noted is not None else session)
    ready = prepare(session)
    found = phase_drain(session, SETTINGS, prepared=ready)
    pairs = drain_pairs(session, SETTINGS, prepared=ready)
    times, time_pairs = runtime_tables(session, offs=ready.chains.off_times)
    count_drains(tally, found, truth)
    false = count_drain_claims(tally, pairs, truth)
    false |= count_runtimes(tally, times, time_pairs, truth)
    false |= count_standing(tally, standing(session, SETTINGS, prepared=ready), truth)
    hours = projections(session, SETTINGS, prepared=ready)
    if not truth.scenario.run_cv:
        count_power(tally, hours, energy(session, SETTINGS, prepared=ready), truth)
        mix = _mix(truth)
        if mix:
            mixed = usage_mixes(session, SETTINGS, prepared=ready, mixes={"mix": mix})
            false |= count_mix(tally, mixed, mix, truth)
        count_parts(tally, parts(session, SETTINGS, prepared=ready), truth)
    said = claims(session, SETTINGS, prepared=ready, runtimes=times)
    false |= count_sentences(tally, said, truth, mean_runtimes(truth))
    tally.add("any false in session", false)
    if len(truth.runs) > 1:
        count_replicates(tally, replicates(session, times, found, SETTINGS), truth)
        over_runs = replicate_pairs(session, times, found, SETTINGS)
        tally.add("means false in session", false_means(over_runs, truth, mean_runtimes(truth)))
    if world.warns:
        count_warnings(tally, world, truth, session, Told(found, times, (found, hours)))
    if draws_seed is not None:
        count_simulated(tally, ready, truth, draws_seed)


def study(world: World, sessions: int, seed: int, *, simulated: int = 0) -> Tally:
    """Return the counts of one world over so many random sessions.

    The first ``simulated`` of them are computed by Monte Carlo, too.
    """
    tally = Tally()
    rng = np.random.default_rng(seed)
    for k in range(sessions):
        day = world.draw(rng) if callable(world.draw) else random_day(world.draw, rng)
        truth, session = simulate_day(day, rng)
        count_session(tally, world, truth, session, draws_seed=k if k < simulated else None)
    return tally
