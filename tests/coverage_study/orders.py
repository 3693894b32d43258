"""Whether orders that are claimed are true: of drains, of runtimes, of what is left, of mixes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tests.coverage_study.intervals import EQUAL, MEASURANDS, of_measurand, true_mix_hours, within

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from kit.simulate import Truth
    from tests.coverage_study.tally import Tally

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = [
    "DIFFERENCES_MIN",
    "DIFFERENCES_PP",
    "FAR_MIN",
    "FAR_PP",
    "count_drain_claims",
    "count_mix_ranks",
    "count_runtimes",
    "count_standing",
    "rank_held",
]

FAR_PP = 3.0
"""Power is counted over pairs whose true drains differ by at least this much (pp) …"""
FAR_MIN = 6.0
"""… and whose true power-offs are at least this far apart (min)."""

NAIVE_PP = 0.5
"""Drains that differ by more than this differ as whole numbers."""

DIFFERENCES_PP = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
DIFFERENCES_MIN = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0)
"""Power is also counted by true differences, ± ½."""


def count_drain_claims(tally: Tally, pairs: pd.DataFrame, truth: Truth) -> bool:
    """Count claims that one device drained less; return whether any of the table is false."""
    n = len(truth.scenario.devices)
    first, second = np.triu_indices(n, k=1)
    any_false = False
    for measurand, column in MEASURANDS:
        true = truth.drains[f"{column}_drain_pp"].to_numpy().reshape(-1, n)
        more = (true[:, first] - true[:, second]).ravel()
        table, single, apart = of_measurand(
            pairs, measurand, ("verdict_table", "verdict_single", "difference_pp")
        )
        # without any margin: whoever lost fewer whole per cents is said to have drained less
        with np.errstate(invalid="ignore"):
            naive = (np.abs(apart) > NAIVE_PP) & (np.sign(apart) * more < EQUAL)
        tally.add(f"{measurand} naive in session", bool(naive.any()))
        for rule, verdict in (("table", table), ("pair", single)):
            a, b = verdict == "a", verdict == "b"
            false = (a & (more > -EQUAL)) | (b & (more < EQUAL))
            compared = a | b | (verdict == "tie")
            if rule == "table":
                tally.add(f"{measurand} false in session", bool(false.any()))
                any_false |= bool(false.any())
            else:
                tally.add(f"{measurand} pair false", false[compared])
            far = compared & (np.abs(more) >= FAR_PP)
            tally.add(f"{measurand} {rule} power", (a | b)[far])
            for size in DIFFERENCES_PP:
                near = compared & (np.abs(np.abs(more) - size) < 0.5)
                tally.add(f"{measurand} {rule} at {size:g}", (a | b)[near])
    return any_false


def count_runtimes(tally: Tally, found: pd.DataFrame, pairs: pd.DataFrame, truth: Truth) -> bool:
    """Count runtime intervals, ranks and claims of order; return whether any claim is false."""
    n = len(truth.scenario.devices)
    off = truth.runtimes["off_min"].to_numpy()
    high = found["runtime_h_high"].to_numpy()
    top = np.where(np.isnan(high), np.inf, high)
    tally.add("runtime", within(found["runtime_h_low"].to_numpy(), top, off / 60.0))
    by_run = off.reshape(-1, n)
    tally.add("rank", rank_held(by_run, found["rank_best"], found["rank_worst"]))
    first, second = np.triu_indices(n, k=1)
    longer = (by_run[:, first] - by_run[:, second]).ravel()
    verdict = pairs["verdict"].to_numpy()
    a, b = verdict == "a", verdict == "b"
    false = (a & (longer < EQUAL)) | (b & (longer > -EQUAL))
    tally.add("runtime false in session", bool(false.any()))
    told = ~np.isin(verdict, ["both_still_on", "unknown"])
    tally.add("runtime power", (a | b)[told & (np.abs(longer) >= FAR_MIN)])
    for size in DIFFERENCES_MIN:
        tally.add(f"runtime at {size:g}", (a | b)[told & (np.abs(np.abs(longer) - size) < 0.5)])
    return bool(false.any())


def rank_held(value: Floats, best: pd.Series, worst: pd.Series) -> Flags:
    """Return whether rank intervals leave out no rank that is true; best = largest ``value``.

    ``value`` has the shape (groups, devices); a device without a rank takes no part in its
    group. Equal devices share all their ranks: an interval that separates two of them is false.
    """
    part = best.notna().to_numpy().reshape(value.shape)
    both = part[:, None, :] & part[:, :, None]
    above = (both & (value[:, None, :] > value[:, :, None] + EQUAL)).sum(axis=2)
    below = (both & (value[:, None, :] < value[:, :, None] - EQUAL)).sum(axis=2)
    low, high = (1 + above).ravel(), (part.sum(axis=1, keepdims=True) - below).ravel()
    return ((best.to_numpy() <= low) & (worst.to_numpy() >= high))[part.ravel()]


def count_standing(tally: Tally, found: pd.DataFrame, truth: Truth) -> bool:
    """Count ranks after every phase; return whether any is false."""
    n = len(truth.scenario.devices)
    phases = len(truth.scenario.phases)
    off = truth.runtimes["off_min"].to_numpy().reshape(-1, 1, n)
    ends = np.array([run.ends_min for run in truth.runs])[:, :, None]
    any_false = False
    for column, suffix in (("shown", ""), ("charge", "_true_charge")):
        level = truth.drains[f"end_{column}_pct"].to_numpy().reshape(-1, phases, n)
        # who is off stands below all that are on, in the order of the power-offs
        value = np.where(off > ends, level, off - 1e6).reshape(-1, n)
        held = rank_held(value, found[f"rank_best{suffix}"], found[f"rank_worst{suffix}"])
        tally.add(f"standing{suffix} false in session", not bool(held.all()))
        any_false |= not bool(held.all())
    return any_false


def count_mix_ranks(
    tally: Tally, found: pd.DataFrame, mix: Mapping[str, float], truth: Truth
) -> bool:
    """Count ranks by hours on a usage mix; return whether any is false."""
    true = true_mix_hours(mix, truth)[None, :]
    held = rank_held(true, found["rank_best"], found["rank_worst"])
    tally.add("mix false in session", not bool(held.all()))
    return not bool(held.all())
