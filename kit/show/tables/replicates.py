"""Tables of repeated runs: means, scatter between runs and units, pairs, what a run added."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.runtime.replicates import DRAIN_PREFIX, RUNTIME
from kit.show.tables.cells import Names, lettered, lettered_notes, rows_of
from kit.show.tables.runtime import VERDICT_WORDS
from kit.units import MISSING, NO_BREAK, estimate, number, percent, quantity

if TYPE_CHECKING:
    from kit.results import Results

__all__ = ["replicate_models", "replicate_pairs", "replicates", "run_effects"]

MANY_DOF = 100.0
"""Degrees of freedom beyond which their number does not matter."""


def replicates(results: Results) -> Table:
    """Return mean and scatter over several runs, one row per device and quantity."""
    names = Names.of(results.session)
    letters: dict[str, str] = {}
    rows = []
    for row in rows_of(results.replicates):
        rows.append(
            (
                names.device.get(row.device, row.device),
                _quantity_words(names, row.quantity),
                number(row.runs),
                estimate(row.mean, row.mean_low, row.mean_high, row.unit_symbol)
                + lettered(row.flags.split(";"), letters),
                quantity(row.s_r, row.unit_symbol, 2),
                "> 100" if row.dof > MANY_DOF else number(row.dof, 1),
            )
        )
    return Table(
        id="replicates",
        caption="Means over the runs; in brackets the "
        f"{percent(results.settings.coverage)} coverage interval",
        columns=(
            Column(name="Device"),
            Column(name="Quantity"),
            Column(name="Runs", align="right", numeric_sort=True),
            Column(name="Mean", align="right", numeric_sort=True),
            Column(name="Scatter between runs (s)", align="right", numeric_sort=True),
            Column(name="Degrees of freedom", align="right", numeric_sort=True),
        ),
        rows=tuple(rows),
        notes=lettered_notes(letters),
    )


def _quantity_words(names: Names, quantity: str) -> str:
    if quantity.startswith(DRAIN_PREFIX):
        return f"drain in {names.phase.get(quantity.removeprefix(DRAIN_PREFIX), quantity)}"
    return quantity


def replicate_pairs(results: Results) -> Table | None:
    """Return which mean runtimes differ by more than the runs scatter; ``None`` without any."""
    frame = results.extra.get("replicate_pairs")
    if frame is None or frame.empty:
        return None
    names = Names.of(results.session)
    letters: dict[str, str] = {}
    words = {"tukey": "all pairs (Tukey)", "paired": "run by run", "welch": "Welch"}
    rows = []
    for row in rows_of(frame[frame["quantity"] == RUNTIME]):
        a, b = names.device[row.device_a], names.device[row.device_b]
        rows.append(
            (
                a,
                b,
                estimate(row.difference, row.difference_low, row.difference_high),
                VERDICT_WORDS.get(row.verdict, row.verdict).format(a=a, b=b)
                + lettered(row.flags.split(";"), letters),
                words.get(row.method, row.method) or MISSING,
                number(row.runs_needed),
            )
        )
    if not rows:
        return None
    return Table(
        id="replicate-pairs",
        caption="Differences of mean runtime; in brackets the "
        f"{percent(results.settings.coverage)} interval",
        columns=(
            Column(name="First device"),
            Column(name="Second device"),
            Column(name="First minus second", unit="h", align="right", numeric_sort=True),
            Column(name="Verdict"),
            Column(name="Method"),
            Column(name="Runs needed", align="right", numeric_sort=True),
        ),
        rows=tuple(rows),
        notes=(
            "Runs needed: runs of each device for a difference of this size to be found with "
            f"80{NO_BREAK}% probability.",
            *lettered_notes(letters),
        ),
    )


def run_effects(results: Results) -> Table | None:
    """Return by how much each run as a whole was longer or shorter; ``None`` without any."""
    frame = results.extra.get("run_effects")
    if frame is None or frame.empty:
        return None
    rows = [
        (f"Run {row.run}", estimate(row.effect, row.effect_low, row.effect_high))
        for row in rows_of(frame[frame["quantity"] == RUNTIME])
        if not math.isnan(row.effect)
    ]
    if not rows:
        return None
    return Table(
        id="run-effects",
        caption="What each run as a whole added to the runtime of every device; in brackets the "
        f"{percent(results.settings.coverage)} interval",
        columns=(
            Column(name="Run"),
            Column(name="Effect", unit="h", align="right", numeric_sort=True),
        ),
        rows=tuple(rows),
    )


def replicate_models(results: Results) -> Table | None:
    """Return scatter between runs and between units of one kind; ``None`` without any."""
    frame = results.extra.get("replicate_models")
    if frame is None or frame.empty:
        return None
    names = Names.of(results.session)
    letters: dict[str, str] = {}
    rows = tuple(
        (
            row.model,
            _quantity_words(names, row.quantity),
            number(row.units),
            number(row.runs),
            estimate(row.mean, row.mean_low, row.mean_high, row.unit_symbol)
            + lettered(row.flags.split(";"), letters),
            quantity(row.s_r, row.unit_symbol, 2),
            quantity(row.s_l, row.unit_symbol, 2),
        )
        for row in rows_of(frame)
    )
    return Table(
        id="replicate-models",
        caption="Kinds of device of which several units took part: mean of the units; in brackets "
        f"the {percent(results.settings.coverage)} coverage interval",
        columns=(
            Column(name="Kind"),
            Column(name="Quantity"),
            Column(name="Units", align="right", numeric_sort=True),
            Column(name="Runs in all", align="right", numeric_sort=True),
            Column(name="Mean", align="right", numeric_sort=True),
            Column(name="Scatter between runs (s)", align="right", numeric_sort=True),
            Column(name="Scatter between units (s)", align="right", numeric_sort=True),
        ),
        rows=rows,
        notes=lettered_notes(letters),
    )
