"""From a session to all its results: composes the analyses, adds no formula."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.claims import claims
from kit.claims.judge import grounds
from kit.claims.load_bearing import load_bearing
from kit.drain.budget import agreement, budget, contributions
from kit.drain.draws import enough_draws, monte_carlo
from kit.drain.endurance_index import endurance_index
from kit.drain.energy import energy, specific_power
from kit.drain.mix_winners import mix_shifts
from kit.drain.order import drain_pairs
from kit.drain.phases import phase_drain, prepare
from kit.drain.projections import projections
from kit.drain.readings import observed
from kit.drain.reference_repeats import reference_repeats
from kit.drain.segments import segments
from kit.drain.split_phases import parts
from kit.drain.standing import standing
from kit.drain.tick_gain import tick_gain
from kit.drain.usage_mix import chosen_mixes, mix_parts, usage_mixes
from kit.drain.within_phase import within_phase
from kit.results import Results
from kit.runtime.elapsed import elapsed_fit
from kit.runtime.group_tests import group_fits, group_pairs
from kit.runtime.replicate_pairs import replicate_pairs, run_effects
from kit.runtime.replicates import replicate_models, replicates
from kit.runtime.runtimes import runtime_tables
from kit.runtime.survival_tables import restricted_means, survival_curves

if TYPE_CHECKING:
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
        The same session, findings and settings give the same frames, to the last bit.
    """
    ready = prepare(session)
    simulated = enough_draws(ready, settings)
    drains = phase_drain(session, settings, prepared=ready, simulated=simulated)
    runtimes, runtime_pairs = runtime_tables(session, offs=ready.chains.off_times)
    known = grounds(ready, settings)
    energies = energy(session, settings, prepared=ready)
    stretches = segments(ready, observed(session))
    mixes = chosen_mixes(session, settings, prepared=ready, found=stretches)
    return Results(
        session=session,
        settings=settings,
        findings=findings,
        phase_drain=drains,
        agreement=agreement(session, settings, simulated=simulated, prepared=ready),
        contributions=contributions(session, settings, prepared=ready),
        budget=budget(session, settings, prepared=ready),
        standing=standing(session, settings, prepared=ready),
        drain_pairs=drain_pairs(session, settings, prepared=ready),
        runtimes=runtimes,
        runtime_pairs=runtime_pairs,
        projections=projections(session, settings, prepared=ready),
        energy=energies,
        parts=parts(session, settings, prepared=ready),
        replicates=replicates(session, runtimes, drains, settings),
        extra={
            "claims": claims(session, settings, prepared=ready, runtimes=runtimes, known=known),
            "load_bearing": load_bearing(session, settings, prepared=ready, known=known),
            "replicate_models": replicate_models(session, runtimes, drains, settings),
            "replicate_pairs": replicate_pairs(session, runtimes, drains, settings),
            "run_effects": run_effects(session, runtimes, drains, settings),
            "survival": survival_curves(session, runtimes, settings),
            "restricted_means": restricted_means(session, runtimes),
            "elapsed_fit": elapsed_fit(session, drains, runtimes),
            "mixes": usage_mixes(session, settings, prepared=ready, found=stretches, mixes=mixes),
            "mix_parts": mix_parts(mixes),
            "mix_shifts": mix_shifts(
                session, settings, prepared=ready, found=stretches, mixes=mixes
            ),
            "reference_repeats": reference_repeats(session, settings, prepared=ready),
            "within_phase": within_phase(session, settings, prepared=ready),
            "tick_gain": tick_gain(session, settings, prepared=ready),
            "specific_power": specific_power(session, energies),
            "endurance_index": endurance_index(session, runtimes),
            "group_fits": group_fits(session, runtimes),
            "group_pairs": group_pairs(session, runtimes),
            "monte_carlo": monte_carlo(simulated, settings),
        },
    )
