"""Sentences on repeated runs that count them one by one, without a distribution."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.show.cells import Names, rows_of
from kit.show.curves import curves_drawn, whose
from kit.stats.lower_bounds import runs_to_reach
from kit.units import count, joined, number

if TYPE_CHECKING:
    from kit.results import Results

__all__ = ["alt_survival", "runs_counted"]


def runs_counted(results: Results) -> tuple[str, ...]:
    """Return who outlasted whom in every pair of runs, and how much so few runs can show."""
    frame = results.extra.get("group_pairs")
    if frame is None or frame.empty:
        return ()
    names = Names.of(results.session)
    swept: list[str] = []
    for row in rows_of(frame):
        total = row.runs_a * row.runs_b
        if row.pairs_a_longer == total:
            swept.append(f"{names.device[row.device_a]} over {names.device[row.device_b]}")
        elif row.pairs_b_longer == total:
            swept.append(f"{names.device[row.device_b]} over {names.device[row.device_a]}")
    allowed = 1.0 - results.settings.coverage
    least = float(frame["p_least"].min())
    clear = (
        f"Every run of one outlasted every run of the other: {joined(swept)}. "
        if swept
        else "No device outlasted another in every pair of their runs. "
    )
    if least <= allowed:
        return (f"{clear}The table counts the pairs, without assuming how the runs scatter.",)
    enough = count(runs_to_reach(allowed, design="two_groups"), "run")
    return (
        f"{clear}Counted alone, {count(int(frame['runs_a'].max()), 'run')} of each cannot decide: "
        f"even a clean sweep happens by chance with p = {number(least, 2)}. A verdict needs at "
        f"least {enough} of each, or the assumption of the table of differences above that they "
        "scatter alike.",
    )


def alt_survival(results: Results) -> str:
    """Return what the figure of the runs still on shows."""
    drawn = curves_drawn(results)
    parts = []
    for _, here in drawn.groupby(["device", "name"], sort=False):
        steps = "; ".join(
            f"{number(r.share_on * 100)} % after {number(r.time_h_high, 2)} h"
            for r in rows_of(here)
        )
        parts.append(f"{whose(results, next(iter(rows_of(here))))} {steps}")
    return f"Steps: share of the runs still on. {'. '.join(parts)}."
