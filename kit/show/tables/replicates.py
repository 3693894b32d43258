"""Tables of repeated runs: means, scatter between runs and units, pairs, what a run added."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.runtime.open_pairs import FEW_RUNS
from kit.runtime.replicates import DRAIN_PREFIX, RUNTIME
from kit.show.cells import Names, lettered, lettered_notes, rows_of
from kit.show.tables.runs import p_text
from kit.show.tables.runtime import VERDICT_WORDS
from kit.stats.factors import relative_u_of_s
from kit.units import MISSING, NO_BREAK, count, estimate, joined, number, percent, quantity

if TYPE_CHECKING:
    from collections.abc import Iterable

    from kit.results import Results
    from kit.show.cells import Row

__all__ = ["replicate_models", "replicate_pairs", "replicates", "run_effects"]

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


def _how_sure(numbers: Iterable[float], of: str) -> tuple[str, ...]:
    """Return one sentence on how uncertain a scatter from so few values is; none without any."""
    known = sorted({int(n) for n in numbers if n > 1.0})
    if not known:
        return ()
    each = joined(f"from {count(n, of)} to {percent(round(relative_u_of_s(n), 2))}" for n in known)
    return (
        f"A scatter is itself uncertain, {each} (one standard uncertainty, after GUM, table E.1).",
    )


LIMIT_NOTE = (
    "Limit: two single runs of a unit differ by more in about one of twenty cases "
    f"(repeatability limit of ISO{NO_BREAK}5725, 2.8{NO_BREAK}s)."
)


def replicates(results: Results) -> Table:
    """Return mean and scatter over several runs, one row per device and quantity."""
    names = Names.of(results.session)
    scattering = results.replicates[results.replicates["s_r"].notna()]
    letters: dict[str, str] = {}
    return Table(
        id="replicates",
        caption=f"Means over the runs; {_brackets(results)} coverage interval",
        columns=(
            Column(name="Device"),
            Column(name="Quantity"),
            *_figures("Runs", "Mean", "Scatter between runs (s)", "Limit", "Degrees of freedom"),
        ),
        rows=tuple(
            (
                names.device.get(row.device, row.device),
                _quantity_words(names, row.quantity),
                number(row.runs),
                _mean(row, letters),
                quantity(row.s_r, row.unit_symbol, 2),
                quantity(row.repeatability_limit, row.unit_symbol, 2),
                number(row.dof),
            )
            for row in rows_of(results.replicates)
        ),
        notes=(
            *((LIMIT_NOTE,) if len(scattering) else ()),
            *_how_sure(scattering["runs"].tolist(), "run"),
            *lettered_notes(letters),
        ),
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


def _flags(row: Row) -> list[str]:
    """Return the flags; that counting decides nothing only where nothing else decides either."""
    decided = row.verdict in ("a", "b")
    return [flag for flag in row.flags.split(";") if not (decided and flag == FEW_RUNS)]


def _more(row: Row) -> str:
    """Return how many more runs it takes, or could at the least where they are to be counted."""
    if FEW_RUNS in row.flags.split(";") and row.verdict == "unknown":
        return f"at least {number(row.runs_least - row.runs)}{NO_BREAK}more"
    if row.runs_more == 0.0:
        return "none"
    if row.verdict == "too_close" and math.isnan(row.p_exact):
        known = not math.isnan(row.runs_more)
        return f"{number(row.runs_more)}{NO_BREAK}more" if known else "no number of runs"
    return MISSING


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
                + lettered(_flags(row), letters),
                _method(row),
                _more(row),
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
            *_figures("Runs to tell them apart"),
        ),
        rows=tuple(rows),
        notes=(
            "Runs to tell them apart: further runs of each device for a true difference of this "
            f"size to be found with 80{NO_BREAK}% probability, by the method of the row and among "
            "as many comparisons; “at least”: for runs to decide by being counted at all; “no "
            "number of runs”: it lies within the resolution, or next to nothing.",
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
    found = _rows(results, "replicate_models")
    rows = tuple(
        (
            row.model,
            _quantity_words(names, row.quantity),
            number(row.units),
            number(row.runs),
            _mean(row, letters),
            quantity(row.s_r, row.unit_symbol, 2),
            quantity(row.repeatability_limit, row.unit_symbol, 2),
            estimate(row.s_l, row.s_l_low, row.s_l_high, row.unit_symbol, decimals=2),
            _degrees(row),
        )
        for row in found
    )
    if not rows:
        return None
    return Table(
        id="replicate-models",
        caption="Kinds of device of which several units took part: mean of the units, and scatter; "
        f"{_brackets(results)} coverage interval",
        columns=(
            Column(name="Kind"),
            Column(name="Quantity"),
            *_figures("Units", "Runs in all", "Mean"),
            *_figures("Scatter between runs (s)", "Limit", "Scatter between units (s)"),
            *_figures("Degrees of freedom"),
        ),
        rows=rows,
        notes=(
            *((LIMIT_NOTE,) if any(row.s_r >= 0.0 for row in found) else ()),
            *_how_sure((row.units for row in found if row.dof >= 1.0), "unit"),
            *lettered_notes(letters),
        ),
    )


def _degrees(row: Row) -> str:
    """Return the degrees of freedom of the mean: those of units, and of runs they shared."""
    if math.isnan(row.dof_runs):
        return number(row.dof)
    return f"{number(row.dof)} (units), {number(row.dof_runs)} (runs)"
