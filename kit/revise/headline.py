"""Does the conclusion change? One code and one plain sentence, from a comparison."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from kit.revise.statements import CONCLUSION
from kit.units import count, number

if TYPE_CHECKING:
    from kit.revise.compare import Comparison, Move
    from kit.revise.statements import Statement

__all__ = ["Conclusion", "Headline", "headline", "largest_words"]

Conclusion = Literal["first", "changed", "partly", "stands", "unmoved", "not_comparable"]
"""``first``: there is no earlier revision. ``changed``: who lasted longest is another, or no
longer sure. ``partly``: that stands, but the order below it changed. ``stands``: neither changed,
but figures or other statements did. ``unmoved``: nothing moved. ``not_comparable``: the earlier
record does not pass this version's checks."""

MOST_NAMED = 3


@dataclass(frozen=True)
class Headline:
    """Whether the conclusion changed, and the sentence that says so."""

    code: Conclusion
    sentence: str


def headline(comparison: Comparison, *, earlier: int) -> Headline:
    """Return whether the conclusion changed against an earlier revision.

    Parameters
    ----------
    comparison
        Of the two results.
    earlier
        Number of the earlier revision.
    """
    changed = [pair for pair in comparison.changed if _kind(pair) in CONCLUSION]
    leaders = [pair for pair in changed if _kind(pair) == "leader"]
    against = f"against revision {earlier}"
    if leaders:
        text = "; ".join(_before_and_now(pair) for pair in leaders)
        return Headline("changed", f"The conclusion changes {against}: {text}.")
    leader = _leader_words(comparison)
    if changed:
        named = "; ".join(_step(pair) for pair in changed[:MOST_NAMED])
        more = len(changed) - MOST_NAMED
        rest = f"; and {count(more, 'further pair')}" if more > 0 else ""
        return Headline(
            "partly",
            f"The conclusion changes in part {against}: {leader}, as before, but the order of "
            f"runtimes does not stand as it was: {named}{rest}.",
        )
    if not comparison.changed and not comparison.moves:
        return Headline(
            "unmoved",
            f"The conclusion does not change {against}: no verdict changed and no figure moved.",
        )
    return Headline(
        "stands",
        f"The conclusion does not change {against}: {leader}, as before. {_rest(comparison)}",
    )


def _kind(pair: tuple[Statement | None, Statement | None]) -> str:
    held = pair[0] or pair[1]
    return held.kind if held is not None else ""


def _before_and_now(pair: tuple[Statement | None, Statement | None]) -> str:
    old, new = pair
    held = new or old
    where = held.about.removeprefix("who lasted longest").lstrip(", ") if held else ""
    first = "before" if not where else f"in {where}, before"
    was = old.value if old is not None else "nothing was said"
    now = new.value if new is not None else "nothing is said"
    return f"{first}, {was}; now, {now}"


def _step(pair: tuple[Statement | None, Statement | None]) -> str:
    old, new = pair
    held = new or old
    about = held.about if held is not None else ""
    was = old.value if old is not None else "nothing said"
    now = new.value if new is not None else "nothing said"
    return f"{about}: “{was}” became “{now}”"


def _leader_words(comparison: Comparison) -> str:
    found = [s for s in comparison.after.values() if s.kind == "leader"]
    if len(found) == 1:
        text = found[0].value
        return "who lasted longest cannot be said" if text == "cannot be said" else text
    return "in every run the same lasted longest"


def _rest(comparison: Comparison) -> str:
    """Return how many other statements changed and how far figures moved."""
    others = [p for p in comparison.changed if _kind(p) != "caution"]
    verdicts = (
        count(len(others), "other statement") + " changed"
        if others
        else "No other statement changed"
    )
    if not comparison.moves:
        moved = "no figure moved"
    else:
        n, total = len(comparison.moves), comparison.figures
        verb = "figure moved" if n == 1 else "figures moved"
        moved = f"{n} of {total} {verb}{largest_words(comparison.moves)}"
    return f"{verdicts[0].upper()}{verdicts[1:]}; {moved}."


def largest_words(moves: tuple[Move, ...]) -> str:
    """Return by how much the figure moved that moved most against its uncertainty.

    Only moves against a standard uncertainty are looked at.
    """
    sizes = [m.per_scale for m in moves if m.scale == "u" and math.isfinite(m.per_scale)]
    if not sizes:
        return ""
    most = max(sizes)
    times = number(most, 1) if most >= 0.1 else number(most, 2)
    return (
        f", the most by {times} of its standard uncertainty"
        if most < 1
        else (f", the most by {times} times its standard uncertainty")
    )
