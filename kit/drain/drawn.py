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
    """Return values in single precision.

    Examples
    --------
    >>> single(np.array([0.5, 0.25])).dtype.name
    'float32'
    """
    return np.asarray(values, dtype=np.float32)


def centred(rng: np.random.Generator, m: int) -> Draws:
    """Return uniform draws between −½ and ½.

    Examples
    --------
    Their standard deviation is 1/√12 = 0.289:

    >>> drawn = centred(np.random.default_rng(1), 100_000)
    >>> bool(np.abs(drawn).max() <= 0.5), round(float(drawn.std()), 3)
    (True, 0.289)
    """
    drawn = rng.random(m, dtype=np.float32)
    drawn -= np.float32(0.5)
    return drawn


def uniform(rng: np.random.Generator, m: int, low: float, high: float) -> Draws:
    """Return uniform draws between two bounds.

    Examples
    --------
    Between 2 and 5: mean 3.5, standard deviation 3/√12 = 0.87:

    >>> drawn = uniform(np.random.default_rng(1), 100_000, 2.0, 5.0)
    >>> bool(drawn.min() >= 2.0), round(float(drawn.mean()), 1), round(float(drawn.std()), 2)
    (True, 3.5, 0.87)
    >>> uniform(np.random.default_rng(1), 2, 4.0, 4.0).tolist()
    [4.0, 4.0]
    """
    if high == low:
        return np.full(m, low, dtype=np.float32)
    drawn = rng.random(m, dtype=np.float32)
    drawn *= np.float32(high - low)
    drawn += np.float32(low)
    return drawn


def spread(rng: np.random.Generator, m: int, middle: float, u: float) -> Draws:
    """Return uniform draws of that standard deviation.

    Examples
    --------
    u = 0.1 about 1: no draw is further off than 0.1 √3 = 0.1732:

    >>> drawn = spread(np.random.default_rng(1), 100_000, 1.0, 0.1)
    >>> round(float(drawn.std()), 3), round(float(np.abs(drawn - 1.0).max()), 3)
    (0.1, 0.173)
    """
    return uniform(rng, m, middle - u * sqrt(3.0), middle + u * sqrt(3.0))
