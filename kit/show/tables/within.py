"""Tables on the gauge and the load: an activity repeated late, and the halves of a phase."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.show.cells import Names, by_phase_and_device, of_run, rows_of, run_slug, run_words
from kit.units import MISSING, NO_BREAK, estimate, number, percent

if TYPE_CHECKING:
    from kit.results import Results
    from kit.show.cells import Row

__all__ = ["rate_by_level", "reference_repeats", "within_phase"]

GAUGE_WORDS = {
    "charge": "counts charge",
    "energy": "counts energy",
    "neither": "neither alone",
    "cannot_tell": "cannot be told",
}
EVEN_WORDS = {"even": "even", "faster": "faster later", "slower": "slower later"}


def reference_repeats(results: Results) -> Table | None:
    """Return what repeated activities say about the gauges; ``None`` if none was repeated."""
    frame = results.extra.get("reference_repeats")
    if frame is None or frame.empty:
        return None
    names = Names.of(results.session)
    rows = []
    for row in rows_of(frame):
        ends = [
            f"{names.numbered(phase)} (at {number(level)}{NO_BREAK}%)"
            for phase, level in (
                (row.phase_first, row.level_first_pct), (row.phase_last, row.level_last_pct),
            )
        ]  # fmt: skip
        rows.append(
            (
                names.device[row.device] + run_words(results, row.run),
                *ends,
                estimate(row.ratio, row.ratio_low, row.ratio_high, decimals=2),
                number(row.ratio_if_charge, 2),
                GAUGE_WORDS.get(row.verdict, row.verdict),
            )
        )
    return Table(
        id="reference-repeats",
        caption="The same activity early and late: rate of the display the last time over that of "
        f"the first; in brackets the {percent(results.settings.coverage)} coverage interval",
        columns=(
            Column(name="Device"),
            Column(name="First"),
            Column(name="Last"),
            Column(name="Ratio", align="right", numeric_sort=True),
            Column(name="If the gauge counts charge", align="right", numeric_sort=True),
            Column(name="What the gauge counts"),
        ),
        rows=tuple(rows),
        notes=(
            "A gauge that counts energy would give 1.00. A room that changed its temperature, or "
            "work that was not the same, would look like a gauge.",
        ),
    )


def rate_by_level(results: Results) -> Table | None:
    """Return the rate by level within long phases; ``None`` without dense readings."""
    frame = results.extra.get("rate_by_level")
    if frame is None or frame.empty:
        return None
    names = Names.of(results.session)
    rows = tuple(
        (
            names.device[row.device] + run_words(results, row.run),
            names.numbered(row.phase),
            f"{number(row.level_high_pct)} to {number(row.level_low_pct)}",
            str(row.steps),
            number(row.rate_pp_per_h, 1),
            estimate(row.relative, row.relative_low, row.relative_high, decimals=2),
            number(row.relative_if_charge, 2),
        )
        for row in rows_of(frame)
    )
    return Table(
        id="rate-by-level",
        caption="Rate of the display by level within a phase, and that over the rate of the whole "
        f"of these levels; in brackets the {percent(results.settings.coverage)} coverage interval",
        columns=(
            Column(name="Device"),
            Column(name="Phase"),
            Column(name="Level", unit="%", align="right"),
            Column(name="Steps", align="right", numeric_sort=True),
            Column(name="Rate", unit="pp/h", align="right", numeric_sort=True),
            Column(name="Over the whole", align="right", numeric_sort=True),
            Column(name="If the gauge counts charge", align="right", numeric_sort=True),
        ),
        rows=rows,
        notes=("A gauge that counts energy gives 1.00 at every level under a constant load.",),
    )


def within_phase(results: Results, run: int) -> tuple[Table, ...]:
    """Return the second half of each phase against its first, where the readings are dense."""
    frame = results.extra.get("within_phase")
    if frame is None or frame.empty:
        return ()
    frame = of_run(frame, run)
    frame = frame[frame["ratio"].notna()]
    if frame.empty:
        return ()

    def cell(row: Row) -> str:
        value = estimate(row.ratio, row.ratio_low, row.ratio_high, decimals=2)
        return value if value == MISSING else f"{value}, {EVEN_WORDS.get(row.verdict, '')}"

    return by_phase_and_device(
        results,
        frame,
        cell,
        table_id=f"within-phase{run_slug(results, run)}",
        caption="Rate in the second half of a phase over that in its first, by the changes of the "
        f"display{run_words(results, run)}; in brackets the "
        f"{percent(results.settings.coverage)} coverage interval",
        unit="",
        notes=("Even: the interval has 1.00 in it. Fewer than five changes do not tell.",),
    )
