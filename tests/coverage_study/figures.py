"""The figures of the study: their names, their headings, and what is promised of them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from tests.coverage_study.sentences import SENTENCES
from tests.coverage_study.tally import Tally

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tests.coverage_study.world import World

__all__ = [
    "BY_CLOSED_FORM",
    "BY_DRAWS",
    "FALSE",
    "INTERVALS",
    "MADE",
    "NAIVE",
    "POWER",
    "SAID",
    "WARNED",
    "is_bound",
    "kind_of_warning",
    "near_misses",
    "over_roundings",
    "shortfalls",
    "shortfalls_of_draws",
]

LEAST_PERCENT = 94.0
MOST_PERCENT = 99.5
MOST_FALSE_PERCENT = 5.0
LEAST_WARNED_PERCENT = 90.0
PRECAUTION_SHARE = 0.5
"""A warning that comes at least this often without the effect as with it is a precaution."""

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
    "kind runtime": "kind, mean runtime",
    "kind drain": "kind, mean d",
}
"""Figure → heading."""

BY_CLOSED_FORM = {f"closed {name}": head for name, head in INTERVALS.items()}
BY_DRAWS = {f"mc {name}": head for name, head in INTERVALS.items()}
"""The same intervals by one method alone; of some figures there is no second method."""

ALWAYS_BOUNDS = ("runtime",)
"""A runtime's interval is hard: the device was seen on before and off after."""

AT_AN_END = tuple(
    f"mc {name}"
    for name in ("displayed died", "displayed rate died", "hours", "mix", "energy", "power")
)
"""What a display showed at a power-off, and how much of what its gauge shows is charge and not
energy, is drawn from its bounds; here it is always at one of them."""

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
NAIVE = {
    "displayed naive in session": "naive d",
    "true_charge naive in session": "naive q",
}
"""What the whole numbers alone, without a margin, would claim falsely."""

POWER = {
    "displayed table power": "d, table",
    "displayed pair power": "d, pair",
    "true_charge table power": "q, table",
    "true_charge pair power": "q, pair",
    "runtime power": "runtime",
}

SAID = {f"{code} false in session": code.replace("_", " ") for code in SENTENCES}
MADE = {f"{code} made": code.replace("_", " ") for code in SENTENCES}

WARNED = {
    "matters": "it matters",
    "warned": "warned",
    "warned where it matters": "warned where it matters",
    "warned without": "warned without the effect",
}


def is_bound(world: World, name: str) -> bool:
    """Return whether an interval is a bound in this world, which may hold every time."""
    plain = name.removeprefix("closed ").removeprefix("mc ")
    return plain in ALWAYS_BOUNDS or plain in world.bounds


def _low(name: str, tally: Tally) -> bool:
    """Return whether an interval holds in less than 94 % of cases, beyond chance."""
    return tally.percent(name) < LEAST_PERCENT - tally.margin(name, LEAST_PERCENT)


def shortfalls(world: World, tally: Tally) -> list[str]:
    """Return in words what a world does not keep of what is promised, beyond chance.

    Inside the model: intervals hold in at least 94 % of cases, and in more than 99.5 % only
    where they are bounds; at most 5 % of the sessions contain a false claim. Where an effect
    outside the model matters, the warning comes in at least 90 % of the sessions, and it does
    matter in some of them, unless the world is there to show that it does not.
    """
    found: list[str] = []
    if world.kind == "inside":
        for name in (*INTERVALS, *BY_CLOSED_FORM):
            if _low(name, tally):
                found.append(f"{world.name}: {name} holds in {tally.percent(name):.1f} %")
        for name in INTERVALS:
            most = MOST_PERCENT + tally.margin(name, MOST_PERCENT)
            if tally.percent(name) > most and not is_bound(world, name):
                found.append(f"{world.name}: {name}, no bound, in {tally.percent(name):.1f} %")
        for name in FALSE:
            most = MOST_FALSE_PERCENT + tally.margin(name, MOST_FALSE_PERCENT)
            if tally.percent(name) > most:
                found.append(f"{world.name}: {name} in {tally.percent(name):.1f} %")
    return found + (_warning_shortfalls(world, tally) if world.warns else [])


def _warning_shortfalls(world: World, tally: Tally) -> list[str]:
    if world.harmless:
        often = tally.percent("matters")
        return [f"{world.name}: it matters in {often:.1f} %"] if often > 0.0 else []
    name = "warned where it matters"
    if not tally.trials[name]:
        return [f"{world.name}: it never matters, so nothing is shown of the warning"]
    if tally.percent(name) < LEAST_WARNED_PERCENT - tally.margin(name, LEAST_WARNED_PERCENT):
        return [f"{world.name}: {name} in {tally.percent(name):.1f} %"]
    return []


ALL_ROUNDINGS = "all of these that round in every way"


def over_roundings(results: Sequence[tuple[World, Tally]]) -> list[tuple[World, Tally]]:
    """Return the worlds inside the model whose displays round in every way, as one, if any.

    The draws do not know how a display rounds: they hold on average over the ways.
    """
    chosen = [(w, t) for w, t in results if w.kind == "inside" and not w.one_rounding]
    if not chosen:
        return []
    world = replace(chosen[0][0], name=ALL_ROUNDINGS, bounds=())
    return [(world, Tally().include(t for _, t in chosen))]


def shortfalls_of_draws(results: Sequence[tuple[World, Tally]]) -> list[str]:
    """Return in words where the draws alone hold in less than 94 % of cases on average.

    Figures that hang on something that the draws take from its bounds, and that is always at one
    of them here, are left out.
    """
    return [
        f"{ALL_ROUNDINGS}: {name} holds in {tally.percent(name):.1f} %"
        for _, tally in over_roundings(results)
        for name in BY_DRAWS
        if name not in AT_AN_END and _low(name, tally)
    ]


def near_misses(world: World, tally: Tally, enough: int) -> list[str]:
    """Return in words what is below 94 % of at least ``enough`` cases, but may be so by chance."""
    if world.kind != "inside":
        return []
    return [
        f"{world.name}: {name} in {tally.percent(name):.2f} % of {tally.trials[name]}; "
        f"three standard errors are {tally.margin(name, LEAST_PERCENT):.2f}"
        for name in (*INTERVALS, *BY_CLOSED_FORM)
        if tally.trials[name] >= enough
        and LEAST_PERCENT - tally.margin(name, LEAST_PERCENT) <= tally.percent(name) < LEAST_PERCENT
    ]


def kind_of_warning(tally: Tally) -> str:
    """Return whether a warning says that something was found, or comes before anything is."""
    as_often = tally.percent("warned without") >= PRECAUTION_SHARE * tally.percent("warned")
    return "precaution" if as_often else "discovery"
