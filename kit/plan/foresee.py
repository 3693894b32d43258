"""What a planned day can decide about power-offs: order, how often to look, how many runs.

Questions asked beforehand of the rules by which a session is judged afterwards: the windows of
power-offs seen on walks along the row (`kit.drain.off_times`), which must not overlap for a claim
(`kit.stats.order`). Derived in docs/planning.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING

import numpy as np

from kit.stats.scatter import runs_needed

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from kit.plan.predict import Course

    Floats = NDArray[np.float64]

__all__ = ["LookPlan", "PairChance", "claim_chance", "look_plan", "pair_chance"]

MIN_PER_H = 60.0


def claim_chance(
    difference_min: ArrayLike,
    *,
    look_every_min: float,
    pass_min: float = 0.0,
    resolution_min: float = 1.0,
) -> Floats:
    """Return the chance that the order of two power-offs can be told, by their distance.

    Parameters
    ----------
    difference_min
        How much later the one powers off (min), shape (n,).
    look_every_min
        Every device is looked at this often (min).
    pass_min
        Time of one pass along the row; the two stand anywhere in it.
    resolution_min
        Step of the noted times (min); a digital clock shows 1.

    Returns
    -------
    ndarray, shape (n,)
        Chance of a true claim.

    Notes
    -----
    Both are noted as "last seen on" and "first seen off"; an order is told where the windows do
    not overlap (`kit.stats.order.surely_above`). Averaged over where in the pass and in the minute
    the power-offs fall, by 4096 evenly spread points (an additive recurrence), so the result has
    no seed.

    Examples
    --------
    Looking every minute, the row in one pass of a minute: three minutes are always told, one
    minute in one case of six.

    >>> claim_chance([1.0, 3.0], look_every_min=1, pass_min=1).round(2).tolist()
    [0.17, 1.0]
    """
    u = _spread_points(4096)
    difference = np.asarray(difference_min, dtype=np.float64)[:, None]
    every = max(look_every_min, 1e-6)
    at = 1000.0 * every + u[0] * max(resolution_min, 1e-9)
    _, high_b = _noted(at, every, u[1] * every + u[2] * pass_min, resolution_min)
    low_a, _ = _noted(
        at + difference, every, u[1] * every + u[3] * pass_min, resolution_min
    )  # fmt: skip
    return np.asarray((low_a >= high_b).mean(axis=1), dtype=np.float64)


def _spread_points(n: int) -> Floats:
    """Return n points spread evenly over the unit cube of 4 dimensions, shape (4, n).

    An additive recurrence by powers of 1/φ, φ the root of x⁵ = x + 1 (common practice).
    """
    phi = 1.1673039782614187
    return np.asarray(
        [(0.5 + np.arange(1, n + 1) * phi**-k) % 1.0 for k in (1, 2, 3, 4)], dtype=np.float64
    )


def _noted(off: Floats, every: float, phase: Floats, resolution: float) -> tuple[Floats, Floats]:
    """Return the window noted for a power-off at ``off`` seen on looks at phase + k·every."""
    looks = np.floor((off - phase) / every)
    last, first = looks * every + phase, (looks + 1) * every + phase
    return (
        np.floor(last / resolution) * resolution,
        np.floor(first / resolution) * resolution + resolution,
    )


@dataclass(frozen=True, kw_only=True)
class PairChance:
    """Whether a planned day is likely to decide the order of two devices.

    Parameters
    ----------
    later, sooner
        Ids; ``later`` is expected to run longer.
    difference_min
        Expected difference of the power-offs (min).
    decided
        Chance that the power-offs of this session can be put in an order.
    as_expected
        Chance that ``later`` really runs longer.
    runs_for_kind
        Runs (or units) of each device that a claim about the kind of device would need, for
        a chance of 80 %; ``None``: beyond what `kit.stats.scatter.runs_needed` looks for.
    """

    later: str
    sooner: str
    difference_min: float
    decided: float
    as_expected: float
    runs_for_kind: int | None


def pair_chance(
    a: Course,
    b: Course,
    *,
    look_every_min: float,
    pass_min: float = 0.0,
    stop_min: float | None = None,
    cv: float = 0.03,
    points: int = 200,
) -> PairChance:
    """Return the chance that a planned session decides the order of two devices.

    Parameters
    ----------
    a, b
        Their expected courses, taken as independent (a warm day that drains all of them faster
        would make the order surer than said here).
    look_every_min, pass_min
        As for `claim_chance`.
    stop_min
        End of the session; devices that are on then have no order among themselves, but are
        after all that were seen off.
    cv
        Relative standard deviation of runtime between runs and units.
    """
    if a.quantile(0.5) < b.quantile(0.5):
        a, b = b, a
    p = (np.arange(points) + 0.5) / points
    off_a, off_b = a.quantiles(p)[:, None], b.quantiles(p)[None, :]
    grid = np.concatenate((np.arange(0.0, 30.0, 0.25), np.arange(30.0, 121.0, 5.0)))
    chances = claim_chance(grid, look_every_min=look_every_min, pass_min=pass_min)
    with np.errstate(invalid="ignore"):
        apart = np.abs(off_a - off_b)
    decided = np.interp(apart, grid, chances)
    if stop_min is not None:
        a_on, b_on = off_a > stop_min, off_b > stop_min
        decided = np.where(a_on & b_on, 0.0, np.where(a_on | b_on, 1.0, decided))
    else:
        decided = np.where(np.isfinite(off_a) & np.isfinite(off_b), decided, 0.0)
    middle_a, middle_b = a.quantile(0.5), b.quantile(0.5)
    difference = middle_a - middle_b
    scatter = cv * (middle_a + middle_b) / 2.0
    runs = None
    if isfinite(difference):
        runs = runs_needed(difference, scatter, design="two_groups")
    return PairChance(
        later=a.device,
        sooner=b.device,
        difference_min=difference,
        decided=float(decided.mean()),
        as_expected=float((off_a > off_b).mean()),
        runs_for_kind=runs,
    )


@dataclass(frozen=True, kw_only=True)
class LookPlan:
    """How often to look near the end, and when.

    Parameters
    ----------
    every_min
        Interval between looks (min).
    window_min
        Width of the window in which each power-off is then known (min).
    note_seconds
        Whether seconds must be noted for it.
    feasible
        Whether one pass along the row fits into the interval.
    stretches
        When to watch closely: (from, to, device ids), minutes since start, in order.
    looks
        Number of passes in all stretches.
    wake_pp
        Drain that so many looks cost a device whose screen each wakes (pp).
    """

    every_min: float
    window_min: float
    note_seconds: bool
    feasible: bool
    stretches: tuple[tuple[float, float, tuple[str, ...]], ...]
    looks: int
    wake_pp: float


def look_plan(
    found: tuple[Course, ...],
    *,
    known_to_min: float,
    pass_min: float,
    coverage: float = 0.98,
    stop_min: float | None = None,
    wake_drain_pp: float = 0.02,
) -> LookPlan:
    """Return the reading interval near the end for power-offs known to a number of minutes.

    Parameters
    ----------
    found
        Expected courses.
    known_to_min
        Width of the window wished for (min).
    pass_min
        Time of one pass along the row (min).
    coverage
        Probability that a power-off falls into the stretch watched.

    Notes
    -----
    A device last seen on at one look and first seen off at the next is known to the interval
    plus the step of the clock: looking every m minutes and noting minutes gives m + 1. Below
    2 min seconds must be noted, and then m is the window.

    Examples
    --------
    Three minutes wished for: a look every two minutes.

    >>> look_plan((), known_to_min=3, pass_min=1).every_min
    2.0
    """
    note_seconds = known_to_min < 2.0
    every = known_to_min if note_seconds else known_to_min - 1.0
    feasible = pass_min <= every
    every = max(every, pass_min)
    step = 1.0 / MIN_PER_H if note_seconds else 1.0
    bounds = []
    for one in found:
        low, high = one.quantile((1 - coverage) / 2), one.quantile((1 + coverage) / 2)
        if stop_min is not None:
            high = min(high, stop_min)
        if low < high and isfinite(high):
            bounds.append((low, high, one.device))
    merged: list[tuple[float, float, tuple[str, ...]]] = []
    for low, high, device in sorted(bounds):
        if merged and low <= merged[-1][1]:
            start, end, devices = merged[-1]
            merged[-1] = (start, max(end, high), (*devices, device))
        else:
            merged.append((low, high, (device,)))
    looks = sum(int((high - low) // every) + 1 for low, high, _ in merged)
    return LookPlan(
        every_min=every,
        window_min=every + step,
        note_seconds=note_seconds,
        feasible=feasible,
        stretches=tuple(merged),
        looks=looks,
        wake_pp=looks * wake_drain_pp,
    )
