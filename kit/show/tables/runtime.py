"""Tables of runtimes and what follows from them: order, projections, energy."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.show.cells import (
    Names,
    Row,
    by_phase_and_device,
    note_long_names,
    of_run,
    place,
    rows_of,
    run_numbers,
    run_slug,
    run_words,
)
from kit.show.flag_words import status_text
from kit.show.lasting import by_order, off_known, runtime_bounds, runtime_words, was_charged
from kit.units import (
    MISSING,
    NO_BREAK,
    clock,
    common_decimals,
    estimate,
    h_mm,
    interval,
    number,
    percent,
)

if TYPE_CHECKING:
    from kit.results import Results

__all__ = [
    "energy",
    "power",
    "projections",
    "runtime_pairs",
    "runtimes",
]

VERDICT_WORDS = {
    "a": "{a} lasted longer",
    "b": "{b} lasted longer",
    "too_close": "too close to call",
    "both_still_on": "both still on",
    "unknown": "cannot be said",
}


def _decimal_hours(row: Row) -> str:
    if math.isnan(row.runtime_h_low):
        return MISSING
    if row.right_censored:
        return f">{NO_BREAK}{number(math.floor(row.runtime_h_low * 100 + 1e-9) / 100, 2)}"
    return number(row.runtime_h, 2)


def runtimes(results: Results, run: int) -> Table:
    """Return the runtimes of one run from longest to shortest, with place and how known."""
    names = Names.of(results.session)
    start = next(r.start for r in results.session.runs if r.number == run)
    rows = []
    found = by_order(of_run(results.runtimes, run))
    for row in found:
        off = MISSING
        if off_known(row):
            ends = (math.floor(row.off_low_min), math.ceil(row.off_high_min))
            off = " to ".join(clock(start, t) if start else h_mm(t) for t in ends)
        rows.append(
            (
                names.device[row.device],
                place(row.rank_best, row.rank_worst),
                runtime_words(row),
                runtime_bounds(row),
                _decimal_hours(row),
                off,
                number(row.last_soc_pct),
                row.basis or status_text(row.status),
            )
        )
    return Table(
        id=f"runtimes{run_slug(results, run)}",
        caption=f"Runtimes from start to power-off, longest first{run_words(results, run)}",
        columns=(
            Column(name="Device"),
            Column(name="Place", align="right", numeric_sort=True),
            Column(name="Runtime", unit="h:mm", align="right", numeric_sort=True),
            Column(name="Bounds", unit="h:mm", align="right"),
            Column(name="Runtime", unit="h", align="right", numeric_sort=True),
            Column(name="Powered off", unit="clock" if start else "h:mm", align="right"),
            Column(name="Last seen", unit="%", align="right", numeric_sort=True),
            Column(name="How it is known"),
        ),
        rows=tuple(rows),
        notes=tuple(
            text
            for text, applies in (
                (
                    "The bounds follow from when each device was last seen on and first seen "
                    "off; they always hold.",
                    run == run_numbers(results)[0] and any(off_known(row) for row in found),
                ),
                (
                    "“>” marks a device that was not seen off: its runtime is a lower bound and "
                    "enters no mean.",
                    any(row.right_censored for row in found),
                ),
                (
                    "A range of places is a tie.",
                    any(row.rank_best < row.rank_worst for row in found),
                ),
                (
                    "Without a place: a device that was charged during the run; its runtime is "
                    "compared with no other.",
                    any(was_charged(row) for row in found),
                ),
            )
            if applies
        ),
    )


def runtime_pairs(results: Results, run: int) -> Table:
    """Return the verdict on each pair of devices, with the difference of their runtimes."""
    names = Names.of(results.session)
    order = {row.device: k for k, row in enumerate(by_order(of_run(results.runtimes, run)))}
    rows = []
    for row in rows_of(of_run(results.runtime_pairs, run)):
        a, b = row.device_a, row.device_b
        low, high, p, verdict = (
            row.difference_min_low, row.difference_min_high, row.p_a_longer, row.verdict,
        )  # fmt: skip
        if order.get(a, 0) > order.get(b, 0):
            a, b, low, high, p = b, a, -high, -low, 1 - p
            verdict = {"a": "b", "b": "a"}.get(verdict, verdict)
        rows.append(
            (
                order.get(a, 0),
                order.get(b, 0),
                (
                    names.device[a],
                    names.device[b],
                    interval(low, high, decimals=0),
                    _probability(p),
                    VERDICT_WORDS[verdict].format(a=names.device[a], b=names.device[b]),
                ),
            )
        )
    rows.sort(key=lambda item: item[:2])
    return Table(
        id=f"runtime-pairs{run_slug(results, run)}",
        caption=f"Which device lasted longer, pair by pair{run_words(results, run)}",
        columns=(
            Column(name="First device"),
            Column(name="Second device"),
            Column(name="First minus second", unit="min", align="right", numeric_sort=True),
            Column(name="Probability", align="right", numeric_sort=True),
            Column(name="Verdict"),
        ),
        rows=tuple(cells for _, _, cells in rows),
        notes=()
        if run != run_numbers(results)[0]
        else (
            "“Lasted longer” is said where the times noted leave no other order; everything else "
            "is too close to call or cannot be said. The probability is that of the first device "
            "to have lasted longer if the two power-offs are independent of one another. Devices "
            "that power off during one walk along the row are not, so it decides nothing.",
        ),
    )


def _probability(p: float) -> str:
    if math.isnan(p):
        return MISSING
    if 0 < p < 0.001:
        return "< 0.001"
    if 0.999 < p < 1:
        return "> 0.999"
    return number(p, 3) if 0 < p < 1 else number(p)


def projections(results: Results, run: int) -> tuple[Table, ...]:
    """Return hours from 100 % to 0 at the rate of each phase, or their lower limit."""

    def cell(row: Row) -> str:
        if math.isnan(row.hours_low):
            return MISSING
        if row.at_least or not math.isfinite(row.hours_high):
            return interval(row.hours_low, math.nan, decimals=1)
        return estimate(row.hours, row.hours_low, row.hours_high, decimals=1)

    def codes(row: Row) -> list[str]:
        found = [c for c in row.flags.split(";") if c]
        bare = not row.ranked and not found and not math.isnan(row.hours_low)
        return ["not_ranked"] if bare else found

    frame = of_run(results.projections, run)
    known = set(frame.loc[frame["hours_low"].notna(), "phase"])
    left_out = [p for p in results.session.phases if p.is_split and p.id not in known]
    return by_phase_and_device(
        results,
        frame,
        cell,
        table_id=f"projections{run_slug(results, run)}",
        caption="Projected hours from 100 % to power-off if the whole charge went into one "
        f"activity{run_words(results, run)}; in brackets the "
        f"{percent(results.settings.coverage)} coverage interval",
        unit="h",
        codes=codes,
        notes=(
            *(("Shared and rotated phases give no hours of one activity.",) if left_out else ()),
            *note_long_names(results.session),
        ),
    )


def _energy_matrix(
    results: Results, run: int, quantity: str, unit: str, caption: str
) -> tuple[Table, ...]:
    frame = of_run(results.energy, run)
    frame = frame[frame[quantity].notna()]
    low, high = f"{quantity}_low", f"{quantity}_high"
    decimals = common_decimals(zip(frame[low].tolist(), frame[high].tolist(), strict=True))

    def cell(row: Row) -> str:
        values = (getattr(row, name) for name in (quantity, low, high))
        return estimate(*values, decimals=decimals)

    return by_phase_and_device(
        results,
        frame,
        cell,
        table_id=f"{quantity.split('_')[0]}{run_slug(results, run)}",
        caption=f"{caption}{run_words(results, run)}; in brackets the "
        f"{percent(results.settings.coverage)} coverage interval",
        unit=unit,
        codes=lambda row: row.flags.split(";"),
        explained="Letters as under the table of energy." if unit == "W" else "",
    )


def energy(results: Results, run: int) -> tuple[Table, ...]:
    """Return the energy by phase and device (Wh) where the rated energy is given."""
    return _energy_matrix(results, run, "energy_wh", "Wh", "Energy taken from the battery")


def power(results: Results, run: int) -> tuple[Table, ...]:
    """Return the mean power by phase and device (W) where the rated energy is given."""
    return _energy_matrix(results, run, "power_w", "W", "Mean power")
