"""What the report sets as tables: ``(Results) -> kit.display.Table``, pure.

``record`` and ``quality`` show what was noted, ``drain`` and ``runtime`` what follows from it,
``claims`` what may be said, ``trust`` why to believe it. Full precision is in the results JSON
and the CSV tables; here every number is rounded to its uncertainty by ``kit.units``.
"""

from __future__ import annotations

from kit.show.tables.claims import claims, claims_at_a_glance, load_bearing
from kit.show.tables.drain import drain, drain_order, parts, rate, standing
from kit.show.tables.quality import data_quality, elapsed_fit
from kit.show.tables.record import (
    conditions,
    devices,
    gauges,
    phase_details,
    protocol,
    title_block,
)
from kit.show.tables.runtime import (
    energy,
    power,
    projections,
    replicate_models,
    replicate_pairs,
    replicates,
    run_effects,
    runtime_pairs,
    runtimes,
)
from kit.show.tables.trust import (
    agreement,
    assumptions,
    budget,
    contributions,
    inputs,
    parameters,
    reference_list,
    versions,
)

__all__ = [
    "agreement",
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
    "energy",
    "gauges",
    "inputs",
    "load_bearing",
    "parameters",
    "parts",
    "phase_details",
    "power",
    "projections",
    "protocol",
    "rate",
    "reference_list",
    "replicate_models",
    "replicate_pairs",
    "replicates",
    "run_effects",
    "runtime_pairs",
    "runtimes",
    "standing",
    "title_block",
    "versions",
]
