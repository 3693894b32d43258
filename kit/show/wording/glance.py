"""At a glance: three to five sentences that the figures support, most important first."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from kit.claims.unlike import Unlike
from kit.runtime.replicates import RUNTIME
from kit.show.cells import Names, rows_of
from kit.show.wording.draining import fastest_phase, least_drained, standing_now
from kit.show.wording.facts import facts_of
from kit.show.wording.lasting import longest, ties, unfinished
from kit.units import NO_BREAK, ROUNDING_SLACK, count, duration, joined

if TYPE_CHECKING:
    from kit.results import Results
    from kit.show.cells import Row

__all__ = ["glance", "units_and_runs"]

MOST = 5
MOST_MEANS = 8
"""Devices whose mean is told with its interval; a table has the others."""
MIN_PER_H = 60.0
_PAIR = 2
"""Devices that it takes to compare them."""


def glance(results: Results) -> tuple[str, ...]:
    """Return three to five sentences (some of two parts), each supported by the results.

    Who lasted longest and by how much; what is tied; where displays fell fastest or who
    used least, where that stands; how many cautions there are; what cannot be said.
    """
    runs = [run.number for run in results.session.runs]
    last = units_and_runs(results)
    found = _over_runs(results, runs) if len(runs) > 1 else _of_one_run(results, runs[0])
    sentences = [text for text in found if text]
    return (*sentences[: MOST - 2], _cautions(results), last)


def _cautions(results: Results) -> str:
    """Return how many cautions the checks raised."""
    n = sum(finding.severity == "caution" for finding in results.findings)
    if not n:
        return "The checks raised no caution about the record."
    words = count(n, "caution")
    return f"The checks raised {words} about the record, listed under Data quality."


def _of_one_run(results: Results, run: int) -> list[str]:
    facts = facts_of(results, run)
    first = [r for r in facts.known() if r.rank_best == 1]
    none_off = all(r.right_censored for r in facts.known())
    open_end = none_off or (len(first) > 1 and all(r.right_censored for r in first))
    return [
        longest(facts),
        unfinished(facts),
        standing_now(results, run) if open_end else "",
        ties(facts),
        fastest_phase(results, run),
        least_drained(results, run),
    ]


def _over_runs(results: Results, runs: list[int]) -> list[str]:
    return [
        _longest_on_average(results),
        _means(results, len(runs)),
        _winner_of_runs(results, runs),
    ]


def _longest_on_average(results: Results) -> str:
    """Return who ran longest on average and whether that stands; of two devices, the pair."""
    frame = results.extra.get("claims")
    if frame is None or frame.empty:
        return ""
    whole = frame[(frame["run"] == 0) & (frame["group"] == "")]
    for code in ("longest_on_average", "longer_on_average"):
        said = whole.loc[whole["code"] == code, "wording"].tolist()
        if said and (code == "longest_on_average" or len(said) == 1):
            return str(said[0])
    return ""


def _means(results: Results, runs: int) -> str:
    """Return the mean runtime of every device, the longest first; with their intervals.

    A device still on in a run has a lower bound: it is first if that is above all means, else named
    apart, for where it belongs is not known.
    """
    names = _unlike_names(results)
    means = [r for r in rows_of(results.replicates) if r.quantity == RUNTIME]
    known = sorted(
        (r for r in means if not (math.isnan(r.mean) or math.isnan(r.mean_high))),
        key=lambda r: -r.mean,
    )
    if not known:
        return ""
    still = [r for r in means if math.isnan(r.mean_high) and not math.isnan(r.mean_low)]
    ahead = [_at_least(names, r) for r in still if r.mean_low >= known[0].mean]
    others = [_at_least(names, r) for r in still if r.mean_low < known[0].mean]
    told = [*ahead, *(_mean_words(names, row, runs) for row in known[:MOST_MEANS])]
    text = f"Mean runtime over {count(runs, 'run')}, longest first: {'; '.join(told)}"
    more = len(known) - MOST_MEANS
    if more > 0:
        text += f"; and {count(more, 'shorter one')} under Replicates"
    tail = f" Not seen to its end in every run: {joined(others)}." if others else ""
    lost = [r.device for r in means if math.isnan(r.mean) and "charged_run" in r.flags.split(";")]
    if lost:
        tail += f" Without a mean: {joined(names.device[d] for d in lost)}."
    return f"{text}.{tail}"


def _unlike_names(results: Results) -> Names:
    """Return names with what sets each device apart from the others over the runs."""
    names, apart = Names.of(results.session), Unlike(results.session)
    them = range(len(results.session.devices))
    said = {
        device.id: apart.marked(names.device[device.id], k, them)
        for k, device in enumerate(results.session.devices)
    }
    return replace(names, device=said)


def _mean_words(names: Names, row: Row, runs: int) -> str:
    """Return a mean with its interval, and over how many runs, where that is not all of them."""
    over = f"; {count(int(row.runs), 'run')}" if row.runs != runs else ""
    return (
        f"{names.device[row.device]} {duration(row.mean * MIN_PER_H)} "
        f"({outwards(max(row.mean_low, 0.0), row.mean_high)}{over})"
    )


def _at_least(names: Names, row: Row) -> str:
    """Return the lower bound of a mean over runs of which one was not seen to its end."""
    low = duration(math.floor(row.mean_low * MIN_PER_H + ROUNDING_SLACK))
    return f"{names.device[row.device]} at least {low}"


def outwards(low_h: float, high_h: float) -> str:
    """Return an interval of hours in whole minutes, its ends rounded outwards.

    Examples
    --------
    5.4136 h = 324.8 min and 6.1197 h = 367.2 min, which to the nearest minute would be 6 h 07:

    >>> outwards(5.4136, 6.1197).replace("\N{NO-BREAK SPACE}", " ")
    '5 h 24 min to 6 h 08 min'
    """
    low, high = low_h * MIN_PER_H, high_h * MIN_PER_H
    return (
        f"{duration(math.floor(low + ROUNDING_SLACK))} to "
        f"{duration(math.ceil(high - ROUNDING_SLACK))}"
    )


def _kinds_told(results: Results) -> bool:
    """Return whether a sentence on the kind of device is supported."""
    frame = results.extra.get("claims")
    if frame is None or frame.empty:
        return False
    found = (frame["kind"] == "kind_of_device") & (frame["verdict"] == "supported")
    return bool(found.any())


def _winner_of_runs(results: Results, runs: list[int]) -> str:
    """Return who lasted longest run by run."""
    winners: list[str] = []
    barred = 0
    for run in runs:
        facts = facts_of(results, run)
        top = [r for r in facts.rows if r.rank_best == 1]
        sure = len(top) == 1 and top[0].p_longest >= results.settings.coverage
        winner = facts.comparable.said(top[0].device) if sure else ""
        winners.append(f"{winner} (of those not charged)" if sure and facts.charged else winner)
        barred += bool(facts.charged) and len(facts.comparable.rows) < _PAIR
    named = [w for w in dict.fromkeys(winners) if w]
    if not named:
        told = "In no run was one device surely the longest-lasting"
        left_out = f"; {count(barred, 'run')} not compared, as devices were charged"
        return f"{told}{left_out if barred else ''}."
    if len(named) == 1 and len(runs) == winners.count(named[0]):
        return f"Lasted longest in every run: {named[0]}."
    parts = [f"{w} in {count(winners.count(w), 'run')}" for w in named]
    tied = winners.count("") - barred
    text = f"Lasted longest within a run: {joined(parts)}"
    if tied:
        text += f"; {count(tied, 'run')} too close to call"
    if barred:
        text += f"; {count(barred, 'run')} not compared, as devices were charged"
    return f"{text}."


def units_and_runs(results: Results) -> str:
    """Return how far the results reach beyond these units on this day."""
    session = results.session
    runs = len(session.runs)
    units: dict[str, int] = {}
    for d in session.devices:
        units[d.model or d.id] = units.get(d.model or d.id, 0) + 1
    repeated = any(n > 1 for n in units.values())
    if len(session.devices) == 1:
        tail = "another unit of its kind may do differently"
        times = "once" if runs == 1 else count(runs, "time")
        return f"One unit ran {times}; {tail}."
    if repeated:
        return (
            f"Some kinds of device took part with several units, over {count(runs, 'run')}; "
            "only for those does the record show how much units differ."
        )
    if _kinds_told(results):
        times = "once" if runs == 1 else count(runs, "time")
        scatter = 100.0 * session.assumptions.run_unit_cv
        return (
            f"One unit of each device ran {times}. How much units of one kind differ was not "
            "seen: what is said of a kind of device takes them to differ by about "
            f"{scatter:g}{NO_BREAK}%; all else is about these units."
        )
    if runs == 1:
        return (
            "One unit of each device ran once: this is what happened, not what another unit would "
            "do."
        )
    return (
        f"One unit of each device ran {count(runs, 'time')}: the runs show how well a result "
        "repeats on this unit, not how another unit of the same kind would do."
    )
