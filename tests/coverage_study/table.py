"""How often the kit's intervals hold and its claims are true, in days whose truth is known.

    python -m tests.coverage_study [--sessions N] [--seed S] [--world NAME ...]

Each *world* (``worlds.py``) draws N random days, has an operator note them, analyses every session
with the kit's own functions and counts against the truth (``count.py``). The tables go to
``docs/coverage.md``; with ``--world`` those of the named worlds go to the screen.
``tests/simulate/test_coverage.py`` runs the same with few sessions.
"""

from __future__ import annotations

import argparse
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from tests.coverage_study.count import (
    DIFFERENCES_MIN,
    DIFFERENCES_PP,
    FAR_MIN,
    FAR_PP,
    MC_DRAWS,
    study,
)
from tests.coverage_study.sentences import SENTENCES
from tests.coverage_study.worlds import WORLDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tests.coverage_study.count import Tally, World

__all__ = ["page", "shortfalls"]

PAGE = Path(__file__).resolve().parents[2] / "docs" / "coverage.md"
LEAST_PERCENT = 94.0
MOST_PERCENT = 99.5
MOST_FALSE_PERCENT = 5.0
LEAST_WARNED_PERCENT = 90.0
FEW = 200
"""Below so many cases their number is given, too."""

INTERVALS = {
    "displayed first": "d first",
    "displayed other": "d",
    "displayed rate": "r",
    "displayed died": "d off",
    "displayed rate died": "r off",
    "true_charge first": "q first",
    "true_charge other": "q",
    "true_charge rate": "r_q",
    "true_charge died": "q off",
    "true_charge rate died": "r_q off",
    "total": "total",
    "hours": "hours",
    "mix": "mix",
    "crossover rate": "crossover r",
    "crossover effect": "crossover a − b",
    "rotation rate": "rotation r",
    "energy": "energy",
    "power": "power",
    "runtime": "runtime",
    "replicate runtime": "mean runtime",
    "replicate drain": "mean d",
}
"""Figure → heading."""

ALWAYS_BOUNDS = ("runtime",)
"""A runtime's interval is hard: the device was seen on before and off after."""

FALSE = {
    "displayed false in session": "d",
    "true_charge false in session": "q",
    "standing false in session": "standing d",
    "standing_true_charge false in session": "standing q",
    "mix false in session": "mix",
    "runtime false in session": "runtime",
    "means false in session": "means",
    "sentence false in session": "sentences",
    "any false in session": "**any**",
}
POWER = {
    "displayed table power": "d, table",
    "displayed pair power": "d, pair",
    "true_charge table power": "q, table",
    "true_charge pair power": "q, pair",
    "runtime power": "runtime",
}

POWER_WORLDS = (
    "base", "nearest", "rounding stated, deaths", "gauge ±3", "ticks", "early deaths",
    "near-equal deaths",
)  # fmt: skip
"""Worlds in the table of power against a stated difference."""

SIMULATED = {f"mc {name}": head for name, head in list(INTERVALS.items())[:10]}
"""The drains and rates again, by Monte Carlo alone."""

AT_AN_END = ("mc displayed died", "mc displayed rate died")
"""What a display showed at a power-off is drawn from its bounds; here it is always at one."""

SAID = {f"{code} false in session": code.replace("_", " ") for code in SENTENCES}
MADE = {f"{code} made": code.replace("_", " ") for code in SENTENCES}

WARNED = {
    "matters": "it matters",
    "warned": "warned",
    "warned where it matters": "warned where it matters",
}

KINDS = {
    "inside": "Inside the model",
    "priors": "A stated input is wrong",
    "outside": "Outside the model",
}


def _margin(tally: Tally, name: str, expected: float) -> float:
    """Return three standard errors (percent) of a figure, were ``expected`` its true value.

    Results of one session hang together: the intervals of one device share readings. The number
    of independent outcomes is taken as half of the trials; sessions are independent.
    """
    n = tally.trials[name] / (1.0 if "session" in name or name.startswith("warned") else 2.0)
    p = expected / 100.0
    return 300.0 * math.sqrt(p * (1.0 - p) / n) if n else float("nan")


def shortfalls(world: World, tally: Tally) -> list[str]:
    """Return in words what a world does not keep of what is promised, beyond chance.

    Inside the model: intervals hold in at least 94 % of cases, at most 5 % of the sessions
    contain a false claim. Where an effect outside the model matters, the warning comes in at
    least 90 % of the sessions.
    """
    found: list[str] = []
    if world.kind == "inside":
        for name in (*INTERVALS, *(n for n in SIMULATED if n not in AT_AN_END)):
            least = LEAST_PERCENT - _margin(tally, name, LEAST_PERCENT)
            if tally.trials[name] and tally.percent(name) < least:
                found.append(f"{world.name}: {name} holds in {tally.percent(name):.1f} %")
        most = MOST_FALSE_PERCENT + _margin(tally, "any false in session", MOST_FALSE_PERCENT)
        for name in FALSE:
            if tally.percent(name) > most:
                found.append(f"{world.name}: {name} in {tally.percent(name):.1f} %")
    if world.warns:
        name = "warned where it matters"
        least = LEAST_WARNED_PERCENT - _margin(tally, name, LEAST_WARNED_PERCENT)
        if tally.percent(name) < least:
            found.append(f"{world.name}: {name} in {tally.percent(name):.1f} %")
    return found


def _cell(world: World, tally: Tally, name: str) -> str:
    if not tally.trials[name]:
        return "–"
    if name in MADE:
        return f"{tally.hits[name] / tally.trials[name]:.1f}"
    text = f"{tally.percent(name):.1f}"
    if _few(name, tally):
        return f"{text} ({tally.trials[name]})"
    if (name in INTERVALS or name in SIMULATED) and tally.percent(name) > MOST_PERCENT:
        text += "†" if name in ALWAYS_BOUNDS or name.removeprefix("mc ") in world.bounds else "‡"
    return text


def _few(name: str, tally: Tally) -> bool:
    return tally.trials[name] < FEW and "session" not in name and name not in ("warned", "matters")


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [head, ["---", *["---:"] * (len(head) - 1)], *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def _figures(tallies: Sequence[tuple[World, Tally]], columns: dict[str, str]) -> str:
    """Return one table; columns that no world has are left out."""
    used = {k: v for k, v in columns.items() if any(t.trials[k] for _, t in tallies)}
    rows = [[w.name, *(_cell(w, t, name) for name in used)] for w, t in tallies]
    return _table(["world", *used.values()], rows)


HEAD = f"""\
# Coverage: how often the intervals hold and the claims are true

Made by `python -m tests.coverage_study --sessions {{sessions}} --simulated {{simulated}} --seed
{{seed}}`; do not edit. {{total}} sessions in {{worlds}} worlds, {{sessions}} in each;
{{simulated}} of each world inside the model by Monte Carlo, too. The same arguments make the same
page; a session takes about 30 ms of processor time. `--world NAME` shows one world on the screen
and leaves the page alone.

In each world, random days are simulated (`kit.simulate`): what is true is known exactly, and an
operator notes it with the habits that the world states. Every session is analysed by the kit
itself. All figures are percent of cases. The intervals are those of the closed form for a
coverage of 95 %, which is an average: over the unknown fraction of a percent at which a reading
was made, and over how the gauges round. For one fixed drain it is between about 80 and 100 %.

A simulation cannot prove what it assumes. Delays, gaps and deviations are drawn here from the
kind of distribution that the model takes for them; the second group of worlds shows what happens
when a stated input is wrong.

## What is counted

- *d*: displayed drain of a phase, the first phase from a full charge apart; *off*: a phase in
  which the device powered off; *r*: rate. *q*, *r_q*: the same for true charge. *total*:
  displayed drain since the start, after every phase. *hours*: projection from 100 % to 0, an
  "at least" included. *energy*, *power*: of a phase. *mean*: over runs, held against the mean of
  all runs that could have been.
- *False in session*: sessions in which at least one statement of that kind is not true: that one
  device drained less in a phase (table rule), stood above another after a phase, or ran longer.
  Where devices are truly equal, every such statement is false.
- *Pair false*: comparisons in which the rule for one pair chosen beforehand claims an order
  that is not true.
- *Power*: pairs whose true drains differ by at least {FAR_PP:g} pp (power-offs by {FAR_MIN:g} min)
  and whose order is claimed.
- *Sentences*: those of the claims table (`kit.claims`), of every kind: what is called supported,
  and of two devices the opposite of what is called not supported. *Made* is how many of them a
  session has. *Means*: verdicts on mean runtimes over several runs.
- *It matters*: sessions in which an effect outside the model is larger than the half-width of an
  interval that is stated: the drains after the first phase (of the first, where the start is
  at stake) or the runtime, against the same day without the effect.
- *(n)*: the figure stands on n cases only.
- † above 99.5 % because the interval is a bound there, not an estimate: a runtime lies between
  the two looks, a gauge's deviation within what is stated for it, what drained in a gap between
  nothing and the busiest rate; and of a rate from changes of the display, the minute of a boundary
  moves drain and length alike, which is allowed for in each. ‡ above 99.5 % without
  that excuse: wider than it need be in this world, because what is not known (how the gauge
  rounds, for one) is allowed for although it does not occur.
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


def page(
    results: Sequence[tuple[World, Tally]], sessions: int, seed: int, simulated: int = 0
) -> str:
    """Return the text of ``docs/coverage.md``."""
    parts = [
        HEAD.format(
            total=sessions * len(results),
            worlds=len(results),
            sessions=sessions,
            seed=seed,
            simulated=simulated,
        )
    ]
    for kind, title in KINDS.items():
        chosen = [(w, t) for w, t in results if w.kind == kind]
        if not chosen:
            continue
        parts += [
            f"## {title}\n",
            "\n".join(f"- *{w.name}*: {w.says}." for w, _ in chosen) + "\n",
            "Intervals that hold:\n",
            _figures(chosen, INTERVALS) + "\n",
            "Sessions with a false claim; comparisons falsely claimed by the pair rule:\n",
            _figures(
                chosen,
                {**FALSE, "displayed pair false": "pair d", "true_charge pair false": "pair q"},
            )
            + "\n",
            "Sentences of the claims table: sessions with a false one, and how many are made:\n",
            _figures(chosen, SAID) + "\n",
            _figures(chosen, MADE) + "\n",
            "Power:\n",
            _figures(chosen, POWER) + "\n",
        ]
        drawn = [(w, t) for w, t in chosen if any(t.trials[name] for name in SIMULATED)]
        if drawn:
            parts += [
                f"Intervals that hold when they are computed by Monte Carlo alone, {MC_DRAWS} "
                "draws (in a part of the sessions; a report states the wider of both, and what a "
                "display still showed at a power-off is here always at an end of its bounds):\n",
                _figures(drawn, SIMULATED) + "\n",
            ]
        if any(w.warns for w, _ in chosen):
            due = [(w, t) for w, t in chosen if w.warns]
            parts += [
                "Sessions in which the effect matters, and in which the warning comes:\n",
                _figures(due, WARNED) + "\n",
            ]
    parts += _against_differences(results)
    kept = [line for w, t in results for line in shortfalls(w, t)]
    parts.append("## What is not kept\n")
    parts.append("\n".join(f"- {line}" for line in kept) + "\n" if kept else "Nothing.\n")
    return "\n".join(parts)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the study and write the page."""
    parser = argparse.ArgumentParser(description="Coverage study of the kit")
    parser.add_argument("--sessions", type=int, default=160, help="sessions in each world")
    parser.add_argument(
        "--simulated", type=int, default=40, help="of them by Monte Carlo, too, inside the model"
    )
    parser.add_argument("--seed", type=int, default=20260516)
    parser.add_argument("--world", action="append", default=[], help="only this world")
    given = parser.parse_args(arguments)
    results: list[tuple[World, Tally]] = []
    for k, world in enumerate(WORLDS):
        if given.world and world.name not in given.world:
            continue
        sys.stderr.write(f"{world.name}\n")
        drawn = given.simulated if world.kind == "inside" else 0
        results.append((world, study(world, given.sessions, given.seed + k, simulated=drawn)))
    text = page(results, given.sessions, given.seed, given.simulated)
    if given.world:
        sys.stdout.write(text)
    else:
        PAGE.write_text(text, encoding="utf-8")
