"""What the report sets as tables: ``(Results) -> kit.display.Table``, pure.

``record`` and ``quality`` show what was noted; ``drain``, ``within``, ``runtime``, ``replicates``,
``runs``, ``mixes`` and ``power`` what follows from it; ``claims`` what may be said, ``trust`` why
to believe it. Full precision is in the results JSON and the CSV tables; here every number is
rounded to its uncertainty by ``kit.units``.
"""

from __future__ import annotations

from kit.show.tables.claims import claims, load_bearing, robust_claims
from kit.show.tables.claims_glance import claims_at_a_glance
from kit.show.tables.drain import drain, drain_order, parts, rate, standing, total_drain
from kit.show.tables.interim import interim
from kit.show.tables.mixes import mixes
from kit.show.tables.power import endurance_index, specific_power
from kit.show.tables.quality import data_quality, elapsed_fit
from kit.show.tables.record import (
    conditions,
    devices,
    gauges,
    phase_details,
    protocol,
    title_block,
)
from kit.show.tables.replicates import (
    replicate_models,
    replicate_pairs,
    replicates,
    run_effects,
)
from kit.show.tables.runs import group_pairs, run_means, survival
from kit.show.tables.runtime import energy, power, projections, runtime_pairs, runtimes
from kit.show.tables.shares import mean_shares, shares
from kit.show.tables.trust import (
    agreement,
    agreements,
    assumption_shifts,
    assumptions,
    budget,
    contributions,
    inputs,
    parameters,
    reference_list,
    versions,
)
from kit.show.tables.within import rate_by_level, reference_repeats, within_phase

__all__ = [
    "agreement",
    "agreements",
    "assumption_shifts",
    "assumptions",
    "budget",
    "claims",
    "claims_at_a_glance",
    "conditions",
    "contributions",
    "data_quality",
    "devices",
    "drain",
    "drain_order",
    "elapsed_fit",
    "endurance_index",
    "energy",
    "gauges",
    "group_pairs",
    "inputs",
    "interim",
    "load_bearing",
    "mean_shares",
    "mixes",
    "parameters",
    "parts",
    "phase_details",
    "power",
    "projections",
    "protocol",
    "rate",
    "rate_by_level",
    "reference_list",
    "reference_repeats",
    "replicate_models",
    "replicate_pairs",
    "replicates",
    "robust_claims",
    "run_effects",
    "run_means",
    "runtime_pairs",
    "runtimes",
    "shares",
    "specific_power",
    "standing",
    "survival",
    "title_block",
    "total_drain",
    "versions",
    "within_phase",
]
