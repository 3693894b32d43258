"""Sentences on drains and rates: where displays fell fastest, which device used least."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from kit.drain.gauge import charge_excess, constant_power_drain
from kit.show.cells import Names, of_run, rows_of
from kit.units import joined, number

if TYPE_CHECKING:
    import pandas as pd

    from kit.results import Results
    from kit.show.cells import Row

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


class _Fastest(NamedTuple):
    """The phase in which a display fell fastest: rate, whether that stands, and at any gauge."""

    phase: str
    rate: float
    stands: bool
    whatever_it_counts: bool


def _level_effect(row: Row) -> float:
    """Return by how much a gauge that counts charge falls faster than on average in a phase."""
    end = 0.0 if math.isnan(row.end_pct) else row.end_pct
    return float(charge_excess((row.start_pct + end) / 2.0))


def _shape_explains_less(first: Row, others: pd.DataFrame, counts: str) -> bool:
    """Return whether the work was faster there too, whatever the gauge of the device counts.

    A rate by the display, r, stands for r/(1 + sβ) of constant power, s the same in all phases of
    a device, from 0 (counts energy) to 1 (charge): `kit.drain.gauge.constant_power_drain`.
    The comparison is linear in s, so the two ends decide.
    """
    rows = list(rows_of(others))
    if any(math.isnan(row.start_pct) for row in (first, *rows)):
        return False
    own = _level_effect(first)
    for share in (0.0,) if counts == "energy" else (0.0, 1.0):
        least = constant_power_drain(first.rate_pp_per_h_low, own, share, 0.0)[0]
        for row in rows:
            most = constant_power_drain(row.rate_pp_per_h_high, _level_effect(row), share, 0.0)[0]
            if not least > most:
                return False
    return True


def _fastest(results: Results, run: int) -> dict[str, _Fastest]:
    """Return for each device with rates in two phases where its display fell fastest."""
    frame = _measured(results, run, "displayed")
    rated = of_run(results.phase_drain, run)
    rated = rated[(rated["measurand"] == "displayed") & rated["rate_pp_per_h_high"].notna()]
    counts = {d.id: d.gauge.counts for d in results.session.devices}
    found: dict[str, _Fastest] = {}
    for device, mine in frame.groupby("device", sort=False):
        (first,) = rows_of(mine.sort_values("rate_pp_per_h", kind="stable").iloc[-1:])
        others = rated[(rated["device"] == device) & (rated["phase"] != first.phase)]
        if others.empty:
            continue
        stands = bool(first.rate_pp_per_h_low > others["rate_pp_per_h_high"].max())
        sure = stands and _shape_explains_less(first, others, counts[str(device)])
        found[str(device)] = _Fastest(str(first.phase), float(first.rate_pp_per_h), stands, sure)
    return found


def fastest_phase(results: Results, run: int) -> str:
    """Return in which phase the displays fell fastest, and for which devices that stands.

    It stands for a device with rates in at least two phases when the interval of its rate in
    that phase lies wholly above the intervals of all its other phases, those that a power-off
    cut short and shared ones included. Two intervals that do not
    touch are further apart than the interval of their difference asks for, so this is stricter
    than the single comparison. It is a statement on the displays: that the work was harder is not
    said, and where a gauge that counts charge would do the same at equal work (phases met
    the battery at different levels), the sentence says so. The sentence
    comes only if it stands for most of the devices, and names those for which it does not.
    """
    names = Names.of(results.session)
    found = _fastest(results, run)
    sure = {device: each for device, each in found.items() if each.stands}
    phases = {each.phase for each in sure.values()}
    if len(phases) != 1 or 2 * len(sure) <= len(found):
        return ""
    phase = names.phase[phases.pop()]
    low, high = (number(pick(each.rate for each in sure.values())) for pick in (min, max))
    span = f"about {low}" if low == high else f"{low} to {high}"
    whose = "displays" if len(found) > 1 else f"display of {names.device[next(iter(sure))]}"
    text = f"The {whose} fell fastest in “{phase}”, at {span} percentage points an hour"
    open_ = [names.device[device] for device in found if device not in sure]
    if open_:
        text += f" ({joined(open_)} too close to call)"
    gauge = [names.device[d] for d, each in sure.items() if not each.whatever_it_counts]
    if not gauge:
        return f"{text}, even allowing for how displays behave near empty."
    that = "That" if len(gauge) == len(sure) else f"For {joined(gauge)} that"
    return (
        f"{text}. {that} need not be the work: some displays fall faster towards empty by "
        "themselves."
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
            "Clearly used the smallest share of its charge, even allowing for errors of the "
            f"percentages shown: {listed}."
        )
    if judged and len(results.session.devices) > 1:
        return "No device was clearly the most frugal in any phase."
    return ""


def standing_now(results: Results, run: int) -> str:
    """Return who shows the most charge after the last phase that two devices completed."""
    names = Names.of(results.session)
    frame = of_run(results.standing, run)
    for phase in reversed(results.session.phases):
        here = [
            r
            for r in rows_of(frame[frame["phase"] == phase.id])
            if not math.isnan(r.rank_best)
            and (not math.isnan(r.soc_pct) or r.status in ("off", "died"))
        ]
        top = [r for r in here if r.rank_best == 1]
        if len(here) < 2 or any(math.isnan(r.soc_pct) for r in top):
            continue
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
