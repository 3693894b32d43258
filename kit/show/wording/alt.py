"""Alternative texts: what each figure says, made from the data it draws."""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING

from kit.show.cells import Names, of_run, rows_of
from kit.show.lasting import off_known, runtime_bounds
from kit.show.reading_ranges import reading_ranges
from kit.show.wording.captions import range_words
from kit.show.wording.facts import facts_of
from kit.units import count, estimate, joined, number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.results import Results
    from kit.show.pair_order import PairOrder
    from kit.show.reading_ranges import ReadingRanges

__all__ = ["alt_charge", "alt_pairs", "alt_rates", "alt_replicates", "alt_runtimes"]


def alt_charge(results: Results, run: int, readings: ReadingRanges | None = None) -> str:
    """Return what the figure of the state of charge shows.

    ``readings`` are those of `kit.show.reading_ranges.reading_ranges`, if made already.
    """
    facts = facts_of(results, run)
    found = reading_ranges(results.session, run) if readings is None else readings
    place = {d.id: i for i, d in enumerate(results.session.devices)}
    parts = []
    for row in facts.rows:
        if off_known(row):
            end = f"powered off after {runtime_bounds(row)} h"
        elif math.isnan(row.runtime_h_low):
            end = "end not recorded"
        else:
            state = "still on" if row.status == "still_on" else "last seen on"
            end = f"{state} after {runtime_bounds(row).removeprefix('at least').strip()} h"
        mine = found.of(place[row.device])
        last = f"last read {range_words(mine, -1)}, " if len(mine) else ""
        parts.append(f"{facts.name(row.device)}, {last}{end}")
    return (
        "Line chart of the displayed state of charge in per cent against the time since the start "
        f"for {count(len(parts), 'device')}, over {count(len(results.session.phases), 'phase')}, "
        "each reading with the range of charge that it can stand for: " + "; ".join(parts) + "."
    )


def alt_rates(results: Results, run: int, phases: Sequence[str]) -> str:
    """Return what the figure of the rates shows: lowest and highest displayed rate by phase."""
    names = facts_of(results, run).names
    frame = of_run(results.phase_drain, run)
    frame = frame[(frame["measurand"] == "displayed") & frame["rate_pp_per_h"].notna()]
    parts = []
    for phase in phases:
        here = sorted(
            rows_of(frame[frame["phase"] == phase]), key=lambda row: float(row.rate_pp_per_h)
        )
        if not here:
            continue
        ends = [f"{names.device[r.device]} {number(r.rate_pp_per_h, 1)}" for r in here]
        shown = ends[0] if len(ends) == 1 else f"{ends[0]} to {ends[-1]}"
        parts.append(f"{names.phase[phase]}, {shown}")
    return (
        "Dots with intervals: displayed rate in percentage points an hour, one panel a phase. "
        f"Lowest to highest: {'; '.join(parts)}. The tables below hold every value."
    )


def alt_runtimes(results: Results, run: int) -> str:
    """Return what the figure of the runtimes shows."""
    facts = facts_of(results, run)
    parts = [
        f"{facts.name(r.device)} "
        + ("not recorded" if math.isnan(r.runtime_h_low) else f"{runtime_bounds(r)} h")
        for r in facts.rows
    ]
    return f"Runtimes, longest first: {joined(parts)}."


def alt_pairs(results: Results, order: PairOrder) -> str:
    """Return what the figure of the pairwise order shows."""
    names = Names.of(results.session)
    parts = [f"{names.device[d]} {p}" for d, p in zip(order.devices, order.places, strict=True)]
    verdicts = [order.verdict(a, b) for a, b in combinations(order.devices, 2)]
    close = verdicts.count("too_close")
    open_ = verdicts.count("unknown") + verdicts.count("both_still_on")
    tail = f" Too close to call: {count(close, 'pair')}"
    tail += f"; cannot be said: {count(open_, 'pair')}." if open_ else "."
    return f"Staircase of all pairs of devices. Possible places: {joined(parts)}." + tail


def alt_replicates(results: Results) -> str:
    """Return what the figure of the runs shows."""
    facts = facts_of(results, results.session.runs[0].number)
    parts = [
        f"{facts.name(r.device)} {estimate(r.mean, r.mean_low, r.mean_high, r.unit_symbol)}"
        for r in rows_of(results.replicates)
        if r.quantity == "runtime"
    ]
    runs = count(len(results.session.runs), "run")
    return f"Runtimes of {runs}, mean with interval: {joined(parts)}."
