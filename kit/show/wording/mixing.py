"""Sentences on mixes of activities: who lasts longest on them, and where that changes."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from kit.claims.mix_words import longest_on, none_on, on_mix
from kit.show.cells import Names, of_run, rows_of
from kit.units import estimate, joined, percent

if TYPE_CHECKING:
    import pandas as pd

    from kit.results import Results

__all__ = ["alt_mix_shifts", "changing_shifts", "mix_order", "shift_sentences"]

LEAST_RANGE = 0.02
"""A range of shares of the time that is shorter than this is not spoken of or drawn."""
MOST_CHANGES = 4


def mix_order(results: Results) -> tuple[str, ...]:
    """Return for each mix which device lasts longest on it, or that this is open.

    Mixes on which nothing stands share one sentence; if it stands on none, they are not named.
    """
    frame = results.extra["mixes"]
    names = Names.of(results.session)
    several = len(results.session.runs) > 1
    first: list[str] = []
    open_: dict[str, list[int]] = {}
    groups = frame.groupby(["mix", "run"], sort=False)
    for (mix, run), here in groups:
        ranked = here[here["rank_best"].notna()]
        if len(ranked) < 2:
            continue
        name = on_mix(str(mix), int(str(run)) if several else None)
        top = [row for row in rows_of(ranked) if row.rank_best == 1]
        if len(top) == 1:
            row = top[0]
            hours = estimate(row.hours, row.hours_low, row.hours_high, "h", decimals=1)
            first.append(f"{longest_on(name, names.device[row.device])}: {hours}.")
        else:
            open_.setdefault(str(mix), []).append(int(str(run)))
    if open_:
        first.append(_none(open_, several=several, all_=not first))
    return tuple(first)


def _none(open_: dict[str, list[int]], *, several: bool, all_: bool) -> str:
    """Return that on these mixes, in these runs, nobody lasts longest for sure."""
    why = "the intervals leave more than one in first place"
    if all_ and len(open_) > 1:
        runs = " in any run" if several else ""
        return f"On no mix{runs} can one device be called the longest-lasting: {why}."
    named = [on_mix(mix, run if several else None) for mix, runs in open_.items() for run in runs]
    return f"{none_on(joined(named))}: {why}."


def changing_shifts(results: Results) -> pd.DataFrame:
    """Return the ranges worth showing of the first run: no slivers, only where one changes."""
    frame = results.extra.get("mix_shifts")
    run = results.session.runs[0].number
    if frame is None or frame.empty:
        return results.extra.get("mix_shifts", results.runtimes.iloc[:0])
    frame = of_run(frame, run)
    frame = frame[frame["share_to"] - frame["share_from"] >= LEAST_RANGE]
    several = frame.groupby(["mix", "activity"], sort=False)["device"].transform("nunique") > 1
    return frame[several]


def shift_sentences(results: Results) -> tuple[str, ...]:
    """Return where the winner of a mix changes as one activity takes more of the time."""
    whole = results.extra.get("mix_shifts")
    if whole is None or whole.empty or len(results.session.devices) < 2:
        return ()
    names = Names.of(results.session)
    frame = changing_shifts(results)
    if frame.empty:
        run = results.session.runs[0].number
        same = of_run(whole, run)["device"].unique()
        if len(same) != 1:
            return ()
        stands = of_run(whole, run)["supported"].all()
        said = "and that lead stands" if stands else "though by no lead that stands"
        return (
            "Whatever share of the time one of the activities takes, the estimate has "
            f"{names.device[same[0]]} last longest, {said}.",
        )
    found = []
    for (mix, activity), here in frame.groupby(["mix", "activity"], sort=False):
        ranges = list(rows_of(here))
        steps = [
            f"above {percent(round(b.share_from, 2))} {names.device[b.device]} comes first instead "
            f"of {names.device[a.device]}"
            for a, b in pairwise(ranges)
        ]
        leads = dict.fromkeys(names.device[r.device] for r in ranges if r.supported)
        none = "neither lead stands" if len(ranges) == 2 else "none of these leads stands"
        tail = f"the lead of {joined(leads)} stands" if leads else none
        found.append(
            f"“{mix}” spends {percent(round(ranges[0].share, 2))} of its time on {activity}. With "
            f"another share the estimate changes: {joined(steps)}; {tail}."
        )
    more = len(found) - MOST_CHANGES
    rest = (f"Further changes of this kind are in the CSV tables: {more}.",) if more > 0 else ()
    return (*found[:MOST_CHANGES], *rest)


def alt_mix_shifts(results: Results) -> str:
    """Return what the figure of the shifts shows."""
    names = Names.of(results.session)
    parts = []
    for (mix, activity), here in changing_shifts(results).groupby(["mix", "activity"], sort=False):
        ranges = "; ".join(
            f"{percent(round(r.share_from, 2))} to {percent(round(r.share_to, 2))} "
            f"{names.device[r.device]}" + (", lead stands" if r.supported else "")
            for r in rows_of(here)
        )
        parts.append(f"{activity} in {mix}: {ranges}")
    return f"Who lasts longest by share of the time. {'. '.join(parts)}."
