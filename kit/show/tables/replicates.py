"""Tables of repeated runs: means, scatter between runs and units, pairs, what a run added."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from kit.display import Column, Table
from kit.runtime.open_pairs import FEW_RUNS
from kit.runtime.replicates import DRAIN_PREFIX, RUNTIME
from kit.show.cells import Names, lettered, lettered_notes, rows_of
from kit.show.tables.runs import p_text
from kit.show.tables.runtime import VERDICT_WORDS
from kit.stats.components import repeatability_limit
from kit.stats.factors import relative_u_of_s
from kit.units import MISSING, NO_BREAK, count, estimate, joined, number, percent, quantity

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from kit.results import Results
    from kit.show.cells import Row

__all__ = ["replicate_models", "replicate_pairs", "replicates", "run_effects"]

_LIMIT = repeatability_limit(1.0)

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


BELOW_NOTE = (
    "“Below”: less than the resolution of one result, by whole per cents of a display or by the "
    "minutes noted, lets be seen (one standard uncertainty)."
)
BELOW = "below"


def _least(results: Results) -> dict[tuple[str, str], float]:
    """Return what a scatter has to reach to be seen, by device and quantity: u from resolution."""
    frame = results.contributions
    frame = frame[(frame["measurand"] == "displayed") & (frame["source"] == "resolution")]
    least: dict[tuple[str, str], float] = {}
    for row in rows_of(frame):
        key = row.device, DRAIN_PREFIX + row.phase
        least[key] = np.fmax(row.u_pp, least.get(key, 0.0))
    for row in rows_of(results.runtimes):
        key = row.device, RUNTIME
        least[key] = np.fmax(row.runtime_h_u, least.get(key, 0.0))
    return least


def _up(value: float) -> float:
    """Return a bound, rounded up to the two decimals of scatters."""
    return math.ceil(value * 100.0 - 1e-6) / 100.0


def _scatter(value: float, least: float, unit: str) -> str:
    """Return a scatter, or that it is below what can be seen."""
    if value < least:
        return f"{BELOW}{NO_BREAK}{quantity(_up(least), unit, 2)}"
    return quantity(value, unit, 2)


def _between(row: Row, least: float) -> str:
    """Return the scatter between units with its interval, or that it is below what can be seen."""
    if not row.s_l < least:
        return estimate(row.s_l, row.s_l_low, row.s_l_high, row.unit_symbol, decimals=2)
    if row.s_l_high < least:
        return _scatter(row.s_l, least, row.unit_symbol)
    text = estimate(_up(least), row.s_l_low, row.s_l_high, row.unit_symbol, decimals=2)
    return f"{BELOW}{NO_BREAK}{text}"


def _below_notes(rows: Iterable[tuple[str, ...]]) -> tuple[str, ...]:
    """Return what "below" means, where a cell says it."""
    return (BELOW_NOTE,) if any(c.startswith(BELOW) for row in rows for c in row[2:]) else ()


def _left_out(row: Row) -> bool:
    """Return whether a row would hold nothing: a drain without a mean."""
    return bool(row.mean != row.mean and row.quantity != RUNTIME)


def _of_whom(names: Names, pairs: Iterable[tuple[str, str]]) -> Iterator[str]:
    """Yield, for each quantity, what it is and whose."""
    whose: dict[str, list[str]] = {}
    for what, who in pairs:
        whose.setdefault(what, []).append(names.device.get(who, who))
    for what, all_of in whose.items():
        yield f"{_quantity_words(names, what)} of {joined(all_of)}."


def _why_left_out(results: Results, names: Names, left: Iterable[Row]) -> Iterator[str]:
    """Yield for which drains no run gave a value, those whose phase a power-off ended first."""
    frame = results.phase_drain
    shown = frame[frame["measurand"] == "displayed"].groupby(["device", "phase"])["status"].unique()
    ended: list[tuple[str, str]] = []
    unread: list[tuple[str, str]] = []
    for row in left:
        status = shown.get((row.device, row.quantity.removeprefix(DRAIN_PREFIX)), ())
        of = ended if set(status) <= {"died", "not_reached"} else unread
        of.append((row.quantity, row.device))
    for text in _of_whom(names, ended):
        yield f"Ended by power-offs, so not averaged: {text}"
    for text in _of_whom(names, unread):
        yield f"No run gave a value: {text}"


def replicates(results: Results) -> Table:
    """Return mean and scatter over several runs, one row per device and quantity."""
    names = Names.of(results.session)
    least = _least(results)
    found = tuple(rows_of(results.replicates))
    scattering = results.replicates[results.replicates["s_r"].notna()]
    letters: dict[str, str] = {}
    rows = tuple(
        (
            names.device.get(row.device, row.device),
            _quantity_words(names, row.quantity),
            number(row.runs),
            _mean(row, letters),
            *(
                _scatter(value, share * least.get((row.device, row.quantity), 0.0), row.unit_symbol)
                for value, share in ((row.s_r, 1.0), (row.repeatability_limit, _LIMIT))
            ),
            number(row.dof),
        )
        for row in found
        if not _left_out(row)
    )
    return Table(
        id="replicates",
        caption=f"Means over the runs; {_brackets(results)} coverage interval",
        columns=(
            Column(name="Device"),
            Column(name="Quantity"),
            *_figures("Runs", "Mean", "Scatter between runs (s)", "Limit", "Degrees of freedom"),
        ),
        rows=rows,
        notes=(
            *((LIMIT_NOTE,) if len(scattering) else ()),
            *_how_sure(scattering["runs"].tolist(), "run"),
            *_below_notes(rows),
            *_why_left_out(results, names, filter(_left_out, found)),
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
    models = {d.id: d.model for d in results.session.devices}
    least: dict[tuple[str, str], float] = {}
    for (device, what), u in _least(results).items():
        kind = models.get(device, ""), what
        least[kind] = max(u, least.get(kind, 0.0))
    rows = tuple(
        (
            row.model,
            _quantity_words(names, row.quantity),
            number(row.units),
            number(row.runs),
            _mean(row, letters),
            *(
                _scatter(value, share * least.get((row.model, row.quantity), 0.0), row.unit_symbol)
                for value, share in ((row.s_r, 1.0), (row.repeatability_limit, _LIMIT))
            ),
            _between(row, least.get((row.model, row.quantity), 0.0)),
            _degrees(row),
        )
        for row in found
        if not _left_out(row)
    )
    left = [(row.quantity, row.model) for row in found if _left_out(row)]
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
            *_below_notes(rows),
            *(
                f"Fewer than two units with a value, so not averaged: {text}"
                for text in _of_whom(names, left)
            ),
            *lettered_notes(letters),
        ),
    )


def _degrees(row: Row) -> str:
    """Return the degrees of freedom of the mean: those of units, and of runs they shared."""
    if math.isnan(row.dof_runs):
        return number(row.dof)
    return f"{number(row.dof)} (units), {number(row.dof_runs)} (runs)"
