"""Claims on mean runtimes over several runs of the same units."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.claims.verdicts import CANNOT, SUPPORTED, TIED
from kit.claims.words import span
from kit.runtime.replicates import RUNTIME
from kit.units import count, number

if TYPE_CHECKING:
    import pandas as pd

    from kit.claims.words import Speech

__all__ = ["mean_rows"]

_MIN_PER_H = 60.0


def _words(a: str, b: str, verdict: str, runs: int, low: float, high: float) -> str:
    over = f"over {count(runs, 'run')}"
    if verdict == SUPPORTED:
        return f"On average {over}, {a} ran longer than {b}, by {span(low, high)}."
    if verdict == TIED:
        return f"On average {over}, {a} and {b} are too close to call."
    return (
        f"Which of {a} and {b} runs longer on average cannot be said: a run was not seen to its "
        "end, or too few runs are complete."
    )


def mean_rows(speech: Speech, pairs: pd.DataFrame) -> list[tuple[object, ...]]:
    """Return rows of the claims table on mean runtimes over the runs of these units.

    Parameters
    ----------
    speech
        Names to say.
    pairs
        Frame of `kit.runtime.replicate_pairs`.
    """
    # written down with the longer mean first, so that a pair that is separated is supported
    said = {"a": SUPPORTED, "b": SUPPORTED, "too_close": TIED, "unknown": CANNOT}
    names = speech.device
    rows: list[tuple[object, ...]] = []
    for pair in pairs[pairs["quantity"] == RUNTIME].to_dict("records"):
        behind = pair["runs_b_longer"] > pair["runs_a_longer"]
        turned = behind if math.isnan(pair["difference"]) else pair["difference"] < 0
        a, b = pair["device_a"], pair["device_b"]
        verdict = said[pair["verdict"]]
        low, high = pair["difference_low"] * _MIN_PER_H, pair["difference_high"] * _MIN_PER_H
        lead = pair["difference"] * _MIN_PER_H
        if turned:
            a, b, lead, low, high = b, a, -lead, -high, -low
        needed = high - lead
        runs = int(pair["runs"])
        method = {
            "tukey": "all pairs together, Tukey's studentized range on differences within runs",
            "paired": "t on differences within runs, one declared pair"
            if pair["flags"] == "declared"
            else "t on differences within runs",
            "welch": "Welch's t on runs of their own",
        }.get(pair["method"], "")
        reason = (
            f"{number(lead, 0)} min on average, {number(needed, 0)} min needed"
            if needed == needed
            else "a mean or its scatter is not known"
        )
        wording = _words(names[a], names[b], verdict, runs, low, high)
        rows.append(
            (
                0, 1, "this_session", "longer_on_average", a, b, "", "", "", "runtime",
                f"{names[a]} ran longer than {names[b]} on average", verdict, lead, low, high,
                needed, "min", method, reason, wording,
            )
        )  # fmt: skip
    return rows
