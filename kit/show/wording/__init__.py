"""What the report says in words, made from the results alone. Pure.

Every sentence is one that the figures support; what they do not support is said to be open.
"""

from __future__ import annotations

from kit.show.wording.alt import alt_charge, alt_pairs, alt_rates, alt_replicates, alt_runtimes
from kit.show.wording.gauges import (
    evenness,
    gauge_shapes,
    repeated_phases,
    runtime_ticks_gained,
    ticks_gained,
)
from kit.show.wording.glance import glance, units_and_runs
from kit.show.wording.limits import limits, unaccounted_min
from kit.show.wording.methods import methods
from kit.show.wording.mixing import mix_order, shift_sentences
from kit.show.wording.not_computed import not_computed
from kit.show.wording.replicated import runs_counted

__all__ = [
    "alt_charge",
    "alt_pairs",
    "alt_rates",
    "alt_replicates",
    "alt_runtimes",
    "evenness",
    "gauge_shapes",
    "glance",
    "limits",
    "methods",
    "mix_order",
    "not_computed",
    "repeated_phases",
    "runs_counted",
    "runtime_ticks_gained",
    "shift_sentences",
    "ticks_gained",
    "unaccounted_min",
    "units_and_runs",
]
