"""From a session to all its results: composes the analyses, adds no formula."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from kit.claims import claim_verdicts, claims
from kit.claims.assumption_shifts import assumption_shifts
from kit.claims.judge import grounds
from kit.claims.load_bearing import bearing
from kit.drain.agreement import agreement, agreements
from kit.drain.budget import budget, contributions
from kit.drain.dense_ticks import phase_ticks
from kit.drain.endurance_index import endurance_index
from kit.drain.energy import energy, specific_power
from kit.drain.gauge_shape import gauge_shape, rate_by_level
from kit.drain.mix_winners import mix_shifts
from kit.drain.order import drain_pairs
from kit.drain.phases import phase_drain, prepare
from kit.drain.projections import projections
from kit.drain.reference_repeats import reference_repeats
from kit.drain.segments import segments
from kit.drain.shares import budgets
from kit.drain.simulation import enough_draws, monte_carlo
from kit.drain.split_phases import parts, rows_of_parts
from kit.drain.standing import standing
from kit.drain.tick_gain import tick_gain
from kit.drain.tick_runtimes import runtime_tick_gain
from kit.drain.usage_mix import chosen_mixes, mix_parts, usage_mixes
from kit.drain.within_phase import within_phase
from kit.results import FrameMapping, Results
from kit.runtime.elapsed import elapsed_fit
from kit.runtime.group_tests import group_fits, group_pairs
from kit.runtime.mean_shares import with_means
from kit.runtime.replicate_pairs import replicate_pairs, run_effects
from kit.runtime.replicates import replicate_models, replicates
from kit.runtime.runtimes import runtime_tables
from kit.runtime.survival_tables import restricted_means, survival_curves

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd

    from kit.claims.judge import Ground
    from kit.claims.load_bearing import Bearing
    from kit.drain.dense_ticks import PhaseTicks
    from kit.drain.part_rows import PartRow
    from kit.drain.phases import Prepared
    from kit.drain.segments import Segments
    from kit.drain.simulation import Simulated
    from kit.errors import Finding
    from kit.results import Settings
    from kit.session import Session

__all__ = ["analyse"]


def analyse(session: Session, findings: tuple[Finding, ...], settings: Settings) -> Results:
    """Return all results of a session that passed its checks.

    Parameters
    ----------
    session
        A record that passed (`kit.read.record.read_record`).
    findings
        Its cautions and notes, to be carried into the report.
    settings
        Coverage probability, seed and draws.

    Returns
    -------
    Results
        The same session, findings and settings give the same frames, to the last bit. Each frame
        is made when it is first read.
    """
    of = _Shared(session, settings)
    return Results(
        session=session,
        settings=settings,
        findings=findings,
        phase_drain=lambda: of.drains,
        agreement=lambda: agreement(session, settings, simulated=of.simulated, prepared=of.ready),
        contributions=lambda: contributions(session, settings, prepared=of.ready),
        budget=lambda: budget(session, settings, prepared=of.ready),
        standing=lambda: standing(session, settings, prepared=of.ready, simulated=of.drawn),
        drain_pairs=lambda: drain_pairs(session, settings, prepared=of.ready),
        runtimes=lambda: of.runtimes[0],
        runtime_pairs=lambda: of.runtimes[1],
        projections=lambda: projections(session, settings, prepared=of.ready, simulated=of.drawn),
        energy=lambda: of.energies,
        parts=lambda: parts(session, settings, rows=of.halves),
        replicates=lambda: of.means,
        extra=FrameMapping(_extra(of)),
    )


def _extra(of: _Shared) -> dict[str, Callable[[], pd.DataFrame]]:
    """Return what makes the frames of ``Results.extra``."""
    session, settings = of.session, of.settings
    return {
        "claims": lambda: of.claims,
        "assumption_shifts": lambda: assumption_shifts(
            session, settings, of.claims, prepared=of.ready, runtimes=of.runtimes[0], known=of.known
        ),
        "verdicts": lambda: claim_verdicts(
            session, settings, prepared=of.ready, runtimes=of.runtimes[0], known=of.known
        ),
        "load_bearing": lambda: of.bearing.readings,
        "robust_claims": lambda: of.bearing.robust,
        "replicate_models": lambda: of.kinds,
        "replicate_pairs": lambda: replicate_pairs(session, of.runtimes[0], of.drains, settings),
        "run_effects": lambda: run_effects(session, of.runtimes[0], of.drains, settings),
        "survival": lambda: survival_curves(session, of.runtimes[0], settings),
        "restricted_means": lambda: restricted_means(session, of.runtimes[0]),
        "elapsed_fit": lambda: elapsed_fit(session, of.drains, of.runtimes[0], settings),
        "mixes": lambda: usage_mixes(
            session,
            settings,
            prepared=of.ready,
            found=of.stretches,
            mixes=of.mixes,
            simulated=of.drawn,
        ),
        "mix_parts": lambda: mix_parts(of.mixes),
        "mix_shifts": lambda: mix_shifts(
            session, settings, prepared=of.ready, found=of.stretches, mixes=of.mixes
        ),
        "reference_repeats": lambda: reference_repeats(session, settings, prepared=of.ready),
        "gauge_shape": lambda: gauge_shape(of.ready, settings, of.ticks),
        "rate_by_level": lambda: rate_by_level(of.ready, settings, of.ticks),
        "within_phase": lambda: within_phase(session, settings, prepared=of.ready, ticks=of.ticks),
        "tick_gain": lambda: tick_gain(session, settings, prepared=of.ready),
        "runtime_tick_gain": lambda: runtime_tick_gain(session, offs=of.ready.chains.off_times),
        "specific_power": lambda: specific_power(session, of.energies),
        "endurance_index": lambda: endurance_index(session, of.runtimes[0]),
        "group_fits": lambda: group_fits(session, of.runtimes[0]),
        "group_pairs": lambda: group_pairs(session, of.runtimes[0]),
        "budgets": lambda: with_means(
            budgets(
                session,
                settings,
                prepared=of.ready,
                mixes=of.mixes,
                found=of.stretches,
                parts=of.halves,
            ),
            of.means,
            of.kinds,
        ),
        "agreements": lambda: agreements(
            session,
            settings,
            simulated=of.simulated,
            prepared=of.ready,
            mixes=of.mixes,
            found=of.stretches,
            parts=of.halves,
        ),
        "monte_carlo": lambda: monte_carlo(of.simulated, settings),
    }


class _Shared:
    """What several frames are made from, each computed when a frame first needs it."""

    def __init__(self, session: Session, settings: Settings) -> None:
        self.session = session
        self.settings = settings

    @cached_property
    def ready(self) -> Prepared:
        return prepare(self.session)

    @cached_property
    def simulated(self) -> Simulated:
        return enough_draws(self.ready, self.settings, found=self.stretches, mixes=self.mixes)

    @property
    def drawn(self) -> Simulated | None:
        """Return the draws, if there are to be any."""
        return self.simulated if self.settings.draws else None

    @cached_property
    def drains(self) -> pd.DataFrame:
        return phase_drain(self.session, self.settings, prepared=self.ready, simulated=self.drawn)

    @cached_property
    def runtimes(self) -> tuple[pd.DataFrame, pd.DataFrame]:
        return runtime_tables(self.session, offs=self.ready.chains.off_times)

    @cached_property
    def means(self) -> pd.DataFrame:
        return replicates(self.session, self.runtimes[0], self.drains, self.settings)

    @cached_property
    def kinds(self) -> pd.DataFrame:
        return replicate_models(self.session, self.runtimes[0], self.drains, self.settings)

    @cached_property
    def known(self) -> tuple[Ground, ...]:
        return grounds(self.ready, self.settings)

    @cached_property
    def claims(self) -> pd.DataFrame:
        return claims(
            self.session,
            self.settings,
            prepared=self.ready,
            runtimes=self.runtimes[0],
            known=self.known,
        )

    @cached_property
    def bearing(self) -> Bearing:
        return bearing(
            self.session,
            self.settings,
            prepared=self.ready,
            known=self.known,
            runtimes=self.runtimes[0],
            said=self.claims,
            found=self.stretches,
            mixes=self.mixes,
        )

    @cached_property
    def energies(self) -> pd.DataFrame:
        return energy(self.session, self.settings, prepared=self.ready, simulated=self.drawn)

    @cached_property
    def stretches(self) -> Segments:
        return segments(self.ready, coverage=self.settings.coverage)

    @cached_property
    def ticks(self) -> list[PhaseTicks]:
        return phase_ticks(self.ready)

    @cached_property
    def halves(self) -> list[PartRow]:
        return rows_of_parts(self.ready, self.settings.coverage)

    @cached_property
    def mixes(self) -> dict[str, dict[str, float]]:
        return chosen_mixes(self.session, self.settings, prepared=self.ready, found=self.stretches)
