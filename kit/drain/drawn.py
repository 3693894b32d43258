"""Draws of one unit as arrays, and how single errors are drawn."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Draws = NDArray[np.float32]

__all__ = ["Drawn", "centred", "single", "spread", "uniform"]


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """m draws of one unit with P phases in which it drained, S halves and turns, and M mixes.

    Parameters
    ----------
    displayed, true, exposure
        (P, m). Drain by the display and of true charge (pp), and the time it took (h).
    total
        (P, m). Drain by the display since the start, NaN where it cannot be had.
    counts
        (m,). How much of the level effect the gauge shows: 0 counts energy, 1 counts charge.
    rated_wh
        (m,). Energy of a full charge (Wh), NaN where none is rated.
    mix_rate
        (M, m). Rate on each mix, as a measure of energy (pp/h), NaN where it cannot be had.
    part_rate
        (S, m). Rate by the display in each half or turn (pp/h), NaN where it cannot be had.
    runtime
        (m,). Runtime (h), NaN where it has no end.
    """

    displayed: Draws
    true: Draws
    exposure: Draws
    total: Draws
    counts: Draws
    rated_wh: Draws
    mix_rate: Draws
    part_rate: Draws
    runtime: Draws

    @classmethod
    def empty(cls, phases: int, parts: int, mixes: int, m: int) -> Drawn:
        """Return room for m draws."""

        def room(*shape: int) -> Draws:
            return np.empty(shape, dtype=np.float32)

        return cls(
            displayed=room(phases, m), true=room(phases, m), exposure=room(phases, m),
            total=room(phases, m), counts=room(m), rated_wh=room(m), mix_rate=room(mixes, m),
            part_rate=room(parts, m), runtime=room(m),
        )  # fmt: skip

    def part(self, begin: int, end: int) -> Drawn:
        """Return a view of some of the draws."""
        return Drawn(**{name: value[..., begin:end] for name, value in vars(self).items()})


def single(values: NDArray[np.floating]) -> Draws:
    """Return values in single precision."""
    return np.asarray(values, dtype=np.float32)


def centred(rng: np.random.Generator, m: int) -> Draws:
    """Return uniform draws between −½ and ½."""
    drawn = rng.random(m, dtype=np.float32)
    drawn -= np.float32(0.5)
    return drawn


def uniform(rng: np.random.Generator, m: int, low: float, high: float) -> Draws:
    """Return uniform draws between two bounds."""
    if high == low:
        return np.full(m, low, dtype=np.float32)
    drawn = rng.random(m, dtype=np.float32)
    drawn *= np.float32(high - low)
    drawn += np.float32(low)
    return drawn


def spread(rng: np.random.Generator, m: int, middle: float, u: float) -> Draws:
    """Return uniform draws of that standard deviation."""
    return uniform(rng, m, middle - u * sqrt(3.0), middle + u * sqrt(3.0))
