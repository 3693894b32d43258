"""How often the kit's intervals hold and its claims are true, in days whose truth is known.

    python -m tests.coverage_study [--sessions N] [--draws M] [--seed S] [--jobs J]
                                   [--world NAME ...]

Each *world* (``worlds.py``) draws N random days, has an operator note them, analyses every session
with the kit's own functions and counts against the truth (``count.py``). The tables go to
``docs/coverage.md``; with ``--world`` those of the named worlds go to the screen. The number of
processes does not change what comes out. ``tests/simulate/test_coverage.py`` runs the same with few
sessions and holds what it finds against the page.
"""

from __future__ import annotations

import argparse
import sys
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

from tests.coverage_study.count import CHUNK, chunk_of
from tests.coverage_study.figures import (
    BY_CLOSED_FORM,
    BY_DRAWS,
    FALSE,
    INTERVALS,
    LEAST_PERCENT,
    MADE,
    MOST_PERCENT,
    NAIVE,
    POWER,
    SAID,
    WARNED,
    is_bound,
    kind_of_warning,
    near_misses,
    over_roundings,
    shortfalls,
    shortfalls_of_draws,
)
from tests.coverage_study.orders import DIFFERENCES_MIN, DIFFERENCES_PP, FAR_MIN, FAR_PP
from tests.coverage_study.tally import STANDARD_ERRORS, Tally
from tests.coverage_study.worlds import WORLDS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from tests.coverage_study.world import World

__all__ = ["ENOUGH", "main", "page"]

PAGE = Path(__file__).resolve().parents[2] / "docs" / "coverage.md"

ENOUGH = 200
"""A share of fewer cases says nothing of 94 %: its cell stays empty."""
ENOUGH_FOR_POWER = 50
"""Of a share that is held against nothing."""

POWER_WORLDS = (
    "base", "nearest", "rounding stated, deaths", "gauge ±3", "ticks", "early deaths",
    "near-equal deaths",
)  # fmt: skip
"""Worlds in the table of power against a stated difference."""

KINDS = {
    "inside": "Inside the model",
    "priors": "A stated input is wrong",
    "outside": "Outside the model",
}

NO_CASES = "–"


def _cell(world: World, tally: Tally, name: str) -> str:
    trials = tally.trials[name]
    if name in MADE:
        return f"{tally.hits[name] / trials:.1f}" if trials else NO_CASES
    interval = name in INTERVALS or name in BY_CLOSED_FORM or name in BY_DRAWS
    of_sessions = "session" in name or name.startswith("warned") or name == "matters"
    if not trials or (not of_sessions and trials < (ENOUGH if interval else ENOUGH_FOR_POWER)):
        return NO_CASES
    text = f"{tally.percent(name):.1f}"
    if trials < ENOUGH and not (of_sessions and "where" not in name):
        text += f" ({trials})"
    if interval and world.kind == "inside" and tally.percent(name) > MOST_PERCENT:
        text += "†" if is_bound(world, name) else "‡"
    return text


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [head, ["---", *["---:"] * (len(head) - 1)], *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def _figures(tallies: Sequence[tuple[World, Tally]], columns: dict[str, str]) -> str:
    """Return one table; rows and columns in which nothing stands are left out."""
    cells = {w.name: [_cell(w, t, name) for name in columns] for w, t in tallies}
    used = [k for k in range(len(columns)) if any(row[k] != NO_CASES for row in cells.values())]
    rows = [[name, *(row[k] for k in used)] for name, row in cells.items()]
    heads = list(columns.values())
    kept = [row for row in rows if any(cell != NO_CASES for cell in row[1:])]
    return _table(["world", *(heads[k] for k in used)], kept)


def _false_figures(tallies: Sequence[tuple[World, Tally]]) -> str:
    """Return the table of false claims, with the number of sessions each row stands on."""
    columns = {
        **FALSE,
        "displayed pair false": "pair d",
        "true_charge pair false": "pair q",
        **NAIVE,
    }
    used = {k: v for k, v in columns.items() if any(t.trials[k] for _, t in tallies)}
    rows = [
        [w.name, str(t.trials["any false in session"]), *(_cell(w, t, name) for name in used)]
        for w, t in tallies
    ]
    return _table(["world", "sessions", *used.values()], rows)


def _warnings(tallies: Sequence[tuple[World, Tally]]) -> str:
    """Return the table of warnings, with what kind of warning each is."""
    rows = [
        [w.name, *(_cell(w, t, name) for name in WARNED), kind_of_warning(t)] for w, t in tallies
    ]
    return _table(["world", *WARNED.values(), "the warning is a"], rows)


HEAD = f"""\
# Coverage: how often the intervals hold and the claims are true

Made by `python -m tests.coverage_study --sessions {{sessions}} --draws {{draws}} --seed {{seed}}`;
do not edit. {{total}} sessions in {{worlds}} worlds, {{sessions}} in each or, where there are few
cases or little room, a multiple of that. The same arguments make the same page, in however many
processes (`--jobs 2`); a session takes about 50 ms of processor time. `--world NAME` shows one
world on the screen and leaves the page alone.

In each world, random days are simulated ([simulating.md](simulating.md)): what is true is known
exactly, and an operator notes it with the habits that the world states. Every session is analysed
by the kit itself. All figures are percent of cases. The intervals are those that a report states
for a coverage of 95 %: by the closed form, or by Monte Carlo ({{draws}} draws) where that reaches
further. The coverage is an average: over the unknown fraction of a percent at which a reading was
made, and over how the gauges round. For one fixed drain it is between about 80 and 100 %.

A simulation cannot prove what it assumes. Delays, gaps and deviations are drawn here from the
kind of distribution that the model takes for them; the second group of worlds shows what happens
when a stated input is wrong.

## What is promised, and how it is judged

Inside the model an interval holds in at least {LEAST_PERCENT:g} % of cases, and in more than
{MOST_PERCENT:g} % only where it is a bound and not an estimate; at most 5 % of the sessions contain
a false claim. Where an effect outside the model matters, a warning comes in at least 90 % of the
sessions. A figure is counted as not kept when it is off by more than {STANDARD_ERRORS:g} standard
errors, taken from the scatter between sessions, since the figures of one session hang together.
What is below {LEAST_PERCENT:g} % within that is named at the end. A share of fewer than {ENOUGH}
cases is left out ({NO_CASES}), of power one of fewer than {ENOUGH_FOR_POWER}.

## What is counted

- *d*: displayed drain of a phase, the first phase from a full charge apart; *off*: a phase in
  which the device powered off; *r*: rate. *q*, *r_q*: the same for true charge. *total*:
  displayed drain since the start, after every phase. *hours*: projection from 100 % to 0, an
  "at least" included. *energy*, *power*: of a phase. *mean*: over runs, held against the mean of
  all runs that could have been; *kind, mean*: over units and runs, against that of all units of the
  kind on all days that could have been.
- *False in session*: sessions in which at least one statement of that kind is not true: that one
  device drained less in a phase (table rule), stood above another after a phase, or ran longer.
  Where devices are truly equal, every such statement is false.
- *Pair false*: comparisons in which the rule for one pair chosen beforehand claims an order
  that is not true.
- *Naive*: sessions in which a false order of drains would be claimed if no margin were kept, and
  whoever lost fewer whole per cents of the display were said to have drained less.
- *Power*: pairs whose true drains differ by at least {FAR_PP:g} pp (power-offs by {FAR_MIN:g} min)
  and whose order is claimed.
- *Sentences*: those of the claims table (`kit.claims`), of every kind: what is called supported,
  and of two devices the opposite of what is called not supported. *Made* is how many of them a
  session has. *Means*: verdicts on mean runtimes over several runs.
- *It matters*: sessions in which an effect outside the model is larger than the half-width of an
  interval that is stated: the drains after the first phase (of the first, where the start is
  at stake) or the runtime, against the same day without the effect.
- *Warned without the effect*: the same days, the effect taken away. Where the warning comes then,
  too, it is a *precaution*: it says what the record leaves open, not that something was found. A
  *discovery* comes of the effect.
- *(n)*: the figure stands on n cases only.
- † above {MOST_PERCENT:g} % because the interval is a bound there, not an estimate: a runtime lies
  between the two looks, a gauge's deviation within what is stated for it, what drained in a gap
  between nothing and the busiest rate; from a full charge the bound of three ways to round holds
  every time if all gauges round in the middle one, and with drains of a point or two nothing
  but that bound counts; a mean over runs is never known better than one reading resolves; what
  units and what days add to the mean of a kind is expanded apart, each by its own t; and of a
  rate from changes of the display, the minute of a boundary moves drain and length alike, which is
  allowed for in each. ‡ above it without that excuse; what is so beyond chance stands at the end.
"""


def _against_differences(results: Sequence[tuple[World, Tally]]) -> list[str]:
    """Return power by true difference, over all worlds inside the model that have equal rules."""
    named = {w.name: (w, t) for w, t in results}
    chosen = [named[name] for name in POWER_WORLDS if name in named]
    if not chosen:
        return []
    drains = {
        f"{m} {rule} at {size:g}": f"{size:g} pp"
        for m, rule in (("displayed", "table"),)
        for size in DIFFERENCES_PP
    }
    single = {k.replace("table", "pair"): v for k, v in drains.items()}
    minutes = {f"runtime at {size:g}": f"{size:g} min" for size in DIFFERENCES_MIN}
    return [
        "## Power against a stated difference\n",
        "Pairs whose true difference is the one stated, ± ½, and whose order is claimed. Displayed "
        "drains of a phase, by the rule for the whole table:\n",
        _figures(chosen, drains) + "\n",
        "By the rule for one pair chosen beforehand:\n",
        _figures(chosen, single) + "\n",
        "Power-offs, with passes of one minute every three:\n",
        _figures(chosen, minutes) + "\n",
    ]


def page(results: Sequence[tuple[World, Tally]], sessions: int, seed: int, draws: int = 0) -> str:
    """Return the text of ``docs/coverage.md``."""
    total = sum(tally.trials["any false in session"] for _, tally in results)
    parts = [
        HEAD.format(total=total, worlds=len(results), sessions=sessions, seed=seed, draws=draws)
    ]
    for kind, title in KINDS.items():
        chosen = [(w, t) for w, t in results if w.kind == kind]
        if not chosen:
            continue
        parts += [
            f"## {title}\n",
            "\n".join(f"- *{w.name}*: {w.says}." for w, _ in chosen) + "\n",
            f"{STATED}:\n",
            _figures(chosen, INTERVALS) + "\n",
        ]
        if kind == "inside":
            parts += _by_either_method(chosen)
        parts += [
            "Sessions with a false claim; comparisons falsely claimed by the pair rule:\n",
            _false_figures(chosen) + "\n",
            "Sentences of the claims table: sessions with a false one, and how many are made:\n",
            _figures(chosen, SAID) + "\n",
            _figures(chosen, MADE) + "\n",
            "Power:\n",
            _figures(chosen, POWER) + "\n",
        ]
        due = [(w, t) for w, t in chosen if w.warns]
        if due:
            parts += [
                "Sessions in which the effect matters, and in which the warning comes:\n",
                _warnings(due) + "\n",
            ]
    parts += _against_differences(results)
    near = [line for w, t in results for line in near_misses(w, t, ENOUGH)]
    kept = [line for w, t in results for line in shortfalls(w, t)]
    kept += shortfalls_of_draws(results)
    for title, lines in (("Below 94 %, as may be by chance", near), ("What is not kept", kept)):
        parts += [f"## {title}\n", "\n".join(f"- {line}." for line in lines) or "Nothing.", ""]
    return "\n".join(parts)


STATED = "Intervals that hold, as stated"
CLOSED = "Intervals that hold when the closed form is all there is, as in a report without draws"
DRAWN = "Intervals that hold when the draws are all there is"


def _by_either_method(chosen: Sequence[tuple[World, Tally]]) -> list[str]:
    """Return the tables of what the closed form and the draws say by themselves."""
    if not any(t.trials[name] for _, t in chosen for name in BY_DRAWS):
        return []
    return [
        f"{CLOSED}:\n",
        _figures(chosen, BY_CLOSED_FORM) + "\n",
        f"{DRAWN}; no report states them alone. How a display rounds is not known, and the draws "
        "hold on average over its ways: where all displays round in one (*truncated*, *rounded "
        "up*), the drain of the first phase is held less often. What a display shows at a "
        "power-off and whether it counts charge or energy is not known either, and in these worlds "
        "it is always at one end of what it can be: so *off*, *hours*, *mix*, *energy* and "
        "*power* hold less often, too. The closed form covers the worst case of each, and so does "
        "what is stated:\n",
        _figures([*chosen, *over_roundings(chosen)], BY_DRAWS) + "\n",
    ]


Task = tuple[str, int, int, int, int]
"""Name of a world, place of the chunk, its sessions, seed, draws."""


def _run(task: Task) -> Tally:
    name, place, size, seed, draws = task
    world = next(w for w in WORLDS if w.name == name)
    return chunk_of(world, place, size, seed, draws)


def _tasks(worlds: Sequence[World], sessions: int, seed: int, draws: int) -> list[Task]:
    return [
        (world.name, place, min(CHUNK, sessions * world.times - begin), seed, draws)
        for world in worlds
        for place, begin in enumerate(range(0, sessions * world.times, CHUNK))
    ]


def _tallies(tasks: Sequence[Task], jobs: int) -> Iterator[Tally]:
    if jobs == 1:
        yield from map(_run, tasks)
        return
    with get_context("spawn").Pool(jobs) as pool:
        yield from pool.imap(_run, tasks)


def results_of(
    worlds: Sequence[World], sessions: int, seed: int, draws: int, jobs: int
) -> list[tuple[World, Tally]]:
    """Return the counts of every world, by so many processes; how many does not matter."""
    found = {world.name: Tally() for world in worlds}
    tasks = _tasks(worlds, sessions, seed, draws)
    for (name, place, *_), tally in zip(tasks, _tallies(tasks, jobs), strict=True):
        if place == 0:
            sys.stderr.write(f"{name}\n")
        found[name].include([tally])
    return [(world, found[world.name]) for world in worlds]


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the study and write the page."""
    parser = argparse.ArgumentParser(description="Coverage study of the kit")
    parser.add_argument("--sessions", type=int, default=150, help="sessions in each world")
    parser.add_argument("--draws", type=int, default=4000, help="draws of each session")
    parser.add_argument("--seed", type=int, default=20260516)
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--world", action="append", default=[], help="only this world")
    given = parser.parse_args(arguments)
    worlds = [w for w in WORLDS if not given.world or w.name in given.world]
    results = results_of(worlds, given.sessions, given.seed, given.draws, given.jobs)
    text = page(results, given.sessions, given.seed, given.draws)
    if given.world:
        sys.stdout.write(text)
    else:
        PAGE.write_text(text, encoding="utf-8")
