"""Counting what the kit says of a simulated session against the truth.

Every figure is a name in a `Tally` with hits and trials. Intervals: a hit is an interval that
holds the true value; "closed …" and "mc …" are those by the closed form and by the draws alone,
where both are made, and without either word it is what a report states. "false in session": a hit
is a session with at least one claim that is not true. "power": a hit is a pair, truly far apart,
whose order was claimed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING
from zlib import crc32

import numpy as np

from kit.checks import check_session
from kit.claims import claims
from kit.drain.energy import energy
from kit.drain.order import drain_pairs
from kit.drain.phases import phase_drain, prepare
from kit.drain.projections import projections
from kit.drain.segments import segments
from kit.drain.simulation import simulate
from kit.drain.split_phases import parts
from kit.drain.standing import standing
from kit.drain.usage_mix import usage_mixes
from kit.results import Settings
from kit.runtime.replicate_pairs import replicate_pairs
from kit.runtime.replicates import replicate_models, replicates
from kit.runtime.runtimes import runtime_tables
from kit.simulate import random_day, simulate_day
from tests.coverage_study.intervals import (
    by_draws,
    count_intervals,
    count_parts,
    count_replicates,
    mean_runtimes,
    within,
)
from tests.coverage_study.kinds_world import count_kinds
from tests.coverage_study.orders import (
    count_drain_claims,
    count_mix_ranks,
    count_runtimes,
    count_standing,
)
from tests.coverage_study.sentences import count_sentences, false_means
from tests.coverage_study.tally import Tally
from tests.coverage_study.warned import Told, count_warnings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kit.drain.phases import Prepared
    from kit.drain.segments import Segments
    from kit.drain.simulation import Simulated
    from kit.session import Session
    from kit.simulate import Truth
    from tests.coverage_study.intervals import Frames
    from tests.coverage_study.world import World

__all__ = ["CHUNK", "chunk_of", "count_session", "study"]

SETTINGS = Settings()
CHUNK = 50
"""Sessions that are drawn from one generator; what is found does not depend on who draws which."""

MIX = "mix"


def _mix(truth: Truth) -> dict[str, float]:
    """Return weights 1, 2, 3 over the activities of the second to fourth phase, if plain."""
    inner = truth.scenario.phases[1:4]
    if any(p.kind != "plain" for p in inner) or truth.scenario.run_cv:
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


@dataclass(frozen=True)
class _Told:
    """A session, and what is made of it for all figures."""

    session: Session
    ready: Prepared
    mix: Mapping[str, float]

    @cached_property
    def stretches(self) -> Segments:
        return segments(self.ready, coverage=SETTINGS.coverage)

    def frames(self, drawn: Simulated | None = None) -> Frames:
        """Return what is stated, with draws or without."""
        session, ready = self.session, self.ready
        found = {
            "drains": phase_drain(session, SETTINGS, prepared=ready, simulated=drawn),
            "standing": standing(session, SETTINGS, prepared=ready, simulated=drawn),
            "hours": projections(session, SETTINGS, prepared=ready, simulated=drawn),
            "energy": energy(session, SETTINGS, prepared=ready, simulated=drawn),
        }
        if self.mix:
            mixes = {MIX: self.mix}
            found["mix"] = usage_mixes(
                session,
                SETTINGS,
                prepared=ready,
                found=self.stretches,
                mixes=mixes,
                simulated=drawn,
            )
        return found

    def draw(self, draws: int, seed: int) -> Simulated:
        """Return all results by Monte Carlo."""
        return simulate(
            self.ready,
            draws=draws,
            seed=seed,
            coverage=SETTINGS.coverage,
            found=self.stretches,
            mixes={MIX: self.mix} if self.mix else {},
        )


def _count_all_intervals(tally: Tally, told: _Told, truth: Truth, draws: int, seed: int) -> Frames:
    """Count all intervals, with draws also those by either method; return what is stated."""
    if not draws:
        stated = told.frames()
        count_intervals(tally, stated, told.mix, truth)
        return stated
    drawn = told.draw(draws, seed)
    stated = told.frames(drawn)
    count_intervals(tally, stated, told.mix, truth)
    count_intervals(tally, told.frames(), told.mix, truth, "closed ")
    count_intervals(tally, by_draws(stated, drawn, told.ready), told.mix, truth, "mc ")
    known = ~np.isnan(drawn.runtime.low)
    off_h = truth.runtimes["off_min"].to_numpy() / 60.0
    tally.add("mc runtime", within(drawn.runtime.low, drawn.runtime.high, off_h)[known])
    return stated


def count_session(
    tally: Tally, world: World, truth: Truth, session: Session, *, draws: int = 0, seed: int = 0
) -> None:
    """Analyse one session and count everything that it says.

    Parameters
    ----------
    draws
        For Monte Carlo; 0: the closed form alone, as in a report without draws.
    """
    session = _grouped(world.noted(session) if world.noted is not None else session)
    ready = prepare(session)
    mix = _mix(truth)
    frames = _count_all_intervals(tally, _Told(session, ready, mix), truth, draws, seed)
    found = frames["drains"]
    times, time_pairs = runtime_tables(session, offs=ready.chains.off_times)
    false = count_drain_claims(tally, drain_pairs(session, SETTINGS, prepared=ready), truth)
    false |= count_runtimes(tally, times, time_pairs, truth)
    false |= count_standing(tally, frames["standing"], truth)
    if mix:
        false |= count_mix_ranks(tally, frames["mix"], mix, truth)
    if not truth.scenario.run_cv:
        count_parts(tally, parts(session, SETTINGS, prepared=ready), truth)
    said = claims(session, SETTINGS, prepared=ready, runtimes=times)
    false |= count_sentences(tally, said, truth, mean_runtimes(truth))
    tally.add("any false in session", false)
    if len(truth.runs) > 1:
        count_replicates(tally, replicates(session, times, found, SETTINGS), truth)
        count_kinds(tally, replicate_models(session, times, found, SETTINGS), truth)
        over_runs = replicate_pairs(session, times, found, SETTINGS)
        tally.add("means false in session", false_means(over_runs, truth, mean_runtimes(truth)))
    if world.warns:
        told = Told(found, times, (found, frames["hours"]), frozenset(_spoken(session)))
        count_warnings(tally, world, truth, session, told)


def _spoken(session: Session) -> set[str]:
    """Return the rules of the checks that speak up."""
    return {finding.rule for finding in check_session(session)}


def _warns_without(tally: Tally, world: World, truth: Truth, rng: np.random.Generator) -> None:
    """Count whether the warning comes on the same day without the effect, too."""
    if world.without is None:
        return
    _, session = simulate_day(world.without(truth.scenario), rng)
    session = world.noted(session) if world.noted is not None else session
    ready = prepare(session)
    found = (
        phase_drain(session, SETTINGS, prepared=ready),
        projections(session, SETTINGS, prepared=ready),
    )
    told = Told(found[0], found[0], found, frozenset(_spoken(session)))
    tally.add("warned without", told.warned(world))


def chunk_of(world: World, place: int, sessions: int, seed: int, draws: int) -> Tally:
    """Return the counts of a chunk of sessions of one world, each chunk with its own generator."""
    tally = Tally()
    source = np.random.SeedSequence([seed, crc32(world.name.encode()), place])
    rng, quiet = (np.random.default_rng(s) for s in source.spawn(2))
    for k in range(sessions):
        day = world.draw(rng) if callable(world.draw) else random_day(world.draw, rng)
        truth, session = simulate_day(day, rng)
        count_session(tally, world, truth, session, draws=draws, seed=place * CHUNK + k)
        _warns_without(tally, world, truth, quiet)
        tally.close()
    return tally


def study(world: World, sessions: int, seed: int, *, draws: int = 0) -> Tally:
    """Return the counts of one world over so many random sessions."""
    sizes = [min(CHUNK, sessions - begin) for begin in range(0, sessions, CHUNK)]
    chunks = (chunk_of(world, k, size, seed, draws) for k, size in enumerate(sizes))
    return Tally().include(chunks)
