"""Figures: ``plot_x(results, ax) -> ax``. They draw on the axes given, and nothing else.

No statistics, no saving, no pyplot state. Intervals are always drawn. Labels are shortened to
``kit.labels.FIGURE_WIDTH`` columns and are never read as mathematics. ``kit.show.pictures`` puts
the axes together, sets the type and writes SVG.
"""

from __future__ import annotations

from kit.show.figures.charge import charge_keys, charge_view, plot_charge
from kit.show.figures.mixes import plot_mix_shifts
from kit.show.figures.order import MAX_LANES, plot_pairs, plot_replicates, plot_runtimes
from kit.show.figures.rates import plot_rates
from kit.show.figures.survival import plot_survival, survival_keys

__all__ = [
    "MAX_LANES",
    "charge_keys",
    "charge_view",
    "plot_charge",
    "plot_mix_shifts",
    "plot_pairs",
    "plot_rates",
    "plot_replicates",
    "plot_runtimes",
    "plot_survival",
    "survival_keys",
]
