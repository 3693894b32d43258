"""Sentences on drains and rates: which phase was hardest, which device used least."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.show.tables.cells import Names, of_run, rows_of
from kit.units import joined, number

if TYPE_CHECKING:
    import pandas as pd

    from kit.results import Results

__all__ = ["fastest_phase", "least_drained", "standing_now"]


def _measured(results: Results, run: int, measurand: str) -> pd.DataFrame:
    frame = of_run(results.phase_drain, run)
    plain = {p.id for p in results.session.phases if p.evaluated and not p.is_split}
    return frame[
        (frame["measurand"] == measurand)
        & (frame["status"] == "measured")
        & frame["phase"].isin(plain)
        & frame["rate_pp_per_h_low"].notna()
    ]


def fastest_phase(results: Results, run: int) -> str:
    """Return in which phase the displays fell fastest, and for which devices that stands.

    It stands for a device with rates in at least two phases when the interval of its rate in
    that phase lies wholly above the intervals of all its other phases, those that a power-off
    cut short and shared ones included. Two intervals that do not
    touch are further apart than the interval of their difference asks for, so this is stricter
    than the single comparison; it is a statement on the displays, not on power. The sentence
    comes only if it stands for most of the devices, and names those for which it does not.
    """
    frame = _measured(results, run, "displayed")
    rated = of_run(results.phase_drain, run)
    rated = rated[(rated["measurand"] == "displayed") & rated["rate_pp_per_h_high"].notna()]
    names = Names.of(results.session)
    found: dict[str, str] = {}
    rates: dict[str, float] = {}
    for device, mine in frame.groupby("device", sort=False):
        first = mine.sort_values("rate_pp_per_h", kind="stable").iloc[-1]
        others = rated[(rated["device"] == device) & (rated["phase"] != first["phase"])]
        if others.empty:
            continue
        stands = first["rate_pp_per_h_low"] > others["rate_pp_per_h_high"].max()
        found[str(device)] = str(first["phase"]) if stands else ""
        rates[str(device)] = float(first["rate_pp_per_h"])
    phases = {phase for phase in found.values() if phase}
    sure = [device for device, phase in found.items() if phase]
    if len(phases) != 1 or 2 * len(sure) <= len(found):
        return ""
    phase = names.phase[phases.pop()]
    low, high = (number(pick(rates[d] for d in sure)) for pick in (min, max))
    span = f"about {low}" if low == high else f"{low} to {high}"
    open_ = [names.device[device] for device, phase_id in found.items() if not phase_id]
    if len(found) == 1:
        whose = f"the display of {names.device[sure[0]]}"
    else:
        whose = f"the display of every device{f' but {joined(open_)}' if open_ else ''}"
    tail = f"; that cannot be said for {joined(open_)}" if open_ else ""
    return (
        f"“{phase}” was the hardest phase: {whose} fell faster there than in any other phase, at "
        f"{span} percentage points an hour{tail}."
    )


def least_drained(results: Results, run: int) -> str:
    """Return where one device used less charge than all others, the gauge's error allowed for."""
    names = Names.of(results.session)
    frame = of_run(results.drain_pairs, run)
    frame = frame[frame["measurand"] == "true_charge"]
    plain = {p.id for p in results.session.phases if p.evaluated and not p.is_split}
    judged = False
    least: dict[str, list[str]] = {}
    for phase, here in frame[frame["phase"].isin(plain)].groupby("phase", sort=False):
        verdicts = list(rows_of(here))
        if not any(v.verdict_table in ("a", "b", "tie") for v in verdicts):
            continue
        judged = True
        wins: dict[str, int] = {}
        for v in verdicts:
            winner = {"a": v.device_a, "b": v.device_b}.get(v.verdict_table)
            if winner is not None:
                wins[winner] = wins.get(winner, 0) + 1
        for device, won in wins.items():
            if won == len(results.session.devices) - 1:
                least.setdefault(device, []).append(names.phase[str(phase)])
    if least:
        listed = "; ".join(
            f"{names.device[d]} in {joined(f'“{p}”' for p in phases)}"
            for d, phases in least.items()
        )
        return (
            "Used the smallest share of its charge, even with the gauge's possible error counted: "
            f"{listed}."
        )
    if judged and len(results.session.devices) > 1:
        return (
            "In no phase did one device use a smaller share of its charge than all the others by "
            "more than the percentage displays may be wrong, so none is called the most frugal."
        )
    return ""


def standing_now(results: Results, run: int) -> str:
    """Return who shows the most charge after the last phase that two devices completed."""
    names = Names.of(results.session)
    frame = of_run(results.standing, run)
    for phase in reversed(results.session.phases):
        here = [
            r
            for r in rows_of(frame[frame["phase"] == phase.id])
            if not math.isnan(r.soc_pct) and not math.isnan(r.rank_best)
        ]
        if len(here) < 2:
            continue
        top = [r for r in here if r.rank_best == 1]
        level = number(max(r.soc_pct for r in top)) + "\N{NO-BREAK SPACE}%"
        where = f"after “{names.phase[phase.id]}”"
        ranked = of_run(results.standing, run)
        ranked = ranked[(ranked["phase"] == phase.id) & ranked["rank_best"].notna()]
        if (ranked["status"] == "no_reading").any():
            where += ", of those that were read"
        if len(top) == 1:
            return f"{names.device[top[0].device]} showed the most charge {where}: {level}."
        who = joined(names.device[r.device] for r in top)
        return f"{who} were too close to call for the most charge {where}."
    return ""
