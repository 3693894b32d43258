"""Tables of repeated runs: means, scatter between runs and units, pairs, what a run added."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.runtime.open_pairs import FEW_RUNS
from kit.runtime.replicates import DRAIN_PREFIX, RUNTIME
from kit.show.tables.cells import Names, lettered, lettered_notes, rows_of
from kit.show.tables.runs import p_text
from kit.show.tables.runtime import VERDICT_WORDS
from kit.units import MISSING, NO_BREAK, estimate, number, percent, quantity

if TYPE_CHECKING:
    from kit.results import Results
    from kit.show.tables.cells import Row

__all__ = ["replicate_models", "replicate_pairs", "replicates", "run_effects"]

MANY_DOF = 100.0
"""Degrees of freedom beyond which their number does not matter."""


OPEN_DECIMALS = 2
"""Of hours that are only bounded."""

METHODS = {
    "tukey": "all pairs (Tukey)",
    "paired": "run by run",
    "welch": "Welch",
    "signed_rank": "runs counted, signed ranks",
    "rank_sum": "runs counted, rank sum",
    "seen_scatter": "least lead, scatter of the one seen",
}


def _figures(*names: str, unit: str = "") -> tuple[Column, ...]:
    """Return columns of figures."""
    return tuple(Column(name=n, unit=unit, align="right", numeric_sort=True) for n in names)


def _rows(results: Results, name: str) -> tuple[Row, ...]:
    """Return the rows of a frame of ``Results.extra``; none where it is not there."""
    frame = results.extra.get(name)
    return () if frame is None else tuple(rows_of(frame))


def _brackets(results: Results) -> str:
    return f"in brackets the {percent(results.settings.coverage)}"


def _quantity_words(names: Names, quantity: str) -> str:
    if quantity.startswith(DRAIN_PREFIX):
        return f"drain in {names.phase.get(quantity.removeprefix(DRAIN_PREFIX), quantity)}"
    return quantity


def _mean(row: Row, letters: dict[str, str]) -> str:
    """Return mean, interval and unit, with the letters of what is to be said of them."""
    mean = estimate(row.mean, row.mean_low, row.mean_high, row.unit_symbol)
    return mean + lettered(row.flags.split(";"), letters)


def replicates(results: Results) -> Table:
    """Return mean and scatter over several runs, one row per device and quantity."""
    names = Names.of(results.session)
    letters: dict[str, str] = {}
    return Table(
        id="replicates",
        caption=f"Means over the runs; {_brackets(results)} coverage interval",
        columns=(
            Column(name="Device"),
            Column(name="Quantity"),
            *_figures("Runs", "Mean", "Scatter between runs (s)", "Degrees of freedom"),
        ),
        rows=tuple(
            (
                names.device.get(row.device, row.device),
                _quantity_words(names, row.quantity),
                number(row.runs),
                _mean(row, letters),
                quantity(row.s_r, row.unit_symbol, 2),
                "> 100" if row.dof > MANY_DOF else number(row.dof, 1),
            )
            for row in rows_of(results.replicates)
        ),
        notes=lettered_notes(letters),
    )


def _difference(row: Row) -> str:
    """Return difference and interval; to about half a minute where one end is open."""
    ends = (row.difference_low, row.difference_high)
    places = OPEN_DECIMALS if any(map(math.isnan, ends)) else None
    return estimate(row.difference, *ends, decimals=places)


def _method(row: Row) -> str:
    words = METHODS.get(row.method, row.method) or MISSING
    if row.method in ("signed_rank", "rank_sum"):
        words += f", p{NO_BREAK}={NO_BREAK}{p_text(row.p_exact)}"
    return words.replace(f"={NO_BREAK}<", "<")


def _needed(row: Row) -> str:
    """Return how many runs it takes, or could at the least where counting them is what is left."""
    if FEW_RUNS in row.flags.split(";") and row.verdict == "unknown":
        return f"at least {number(row.runs_least)}"
    return number(row.runs_needed)


def replicate_pairs(results: Results) -> Table | None:
    """Return which mean runtimes differ by more than the runs scatter; ``None`` without any."""
    names = Names.of(results.session)
    letters: dict[str, str] = {}
    rows = []
    for row in _rows(results, "replicate_pairs"):
        if row.quantity != RUNTIME:
            continue
        a, b = names.device[row.device_a], names.device[row.device_b]
        rows.append(
            (
                a,
                b,
                _difference(row),
                VERDICT_WORDS.get(row.verdict, row.verdict).format(a=a, b=b)
                + lettered(row.flags.split(";"), letters),
                _method(row),
                _needed(row),
            )
        )
    if not rows:
        return None
    return Table(
        id="replicate-pairs",
        caption=f"Differences of mean runtime; {_brackets(results)} interval",
        columns=(
            Column(name="First device"),
            Column(name="Second device"),
            *_figures("First minus second", unit="h"),
            Column(name="Verdict"),
            Column(name="Method"),
            *_figures("Runs needed"),
        ),
        rows=tuple(rows),
        notes=(
            "Runs needed: runs of each device for a difference of this size to be found with "
            f"80{NO_BREAK}% probability; “at least”: for runs to decide by being counted at all.",
            *lettered_notes(letters),
        ),
    )


def run_effects(results: Results) -> Table | None:
    """Return by how much each run as a whole was longer or shorter; ``None`` without any."""
    rows = tuple(
        (f"Run {row.run}", estimate(row.effect, row.effect_low, row.effect_high))
        for row in _rows(results, "run_effects")
        if row.quantity == RUNTIME and not math.isnan(row.effect)
    )
    if not rows:
        return None
    return Table(
        id="run-effects",
        caption="What each run as a whole added to the runtime of every device; "
        f"{_brackets(results)} interval",
        columns=(Column(name="Run"), *_figures("Effect", unit="h")),
        rows=rows,
    )


def replicate_models(results: Results) -> Table | None:
    """Return scatter between runs and between units of one kind; ``None`` without any."""
    names = Names.of(results.session)
    letters: dict[str, str] = {}
    rows = tuple(
        (
            row.model,
            _quantity_words(names, row.quantity),
            number(row.units),
            number(row.runs),
            _mean(row, letters),
            quantity(row.s_r, row.unit_symbol, 2),
            quantity(row.s_l, row.unit_symbol, 2),
        )
        for row in _rows(results, "replicate_models")
    )
    if not rows:
        return None
    return Table(
        id="replicate-models",
        caption="Kinds of device of which several units took part: mean of the units; "
        f"{_brackets(results)} coverage interval",
        columns=(
            Column(name="Kind"),
            Column(name="Quantity"),
            *_figures("Units", "Runs in all", "Mean"),
            *_figures("Scatter between runs (s)", "Scatter between units (s)"),
        ),
        rows=rows,
        notes=lettered_notes(letters),
    )
