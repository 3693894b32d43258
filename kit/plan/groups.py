"""Groups of devices that share a turn: balanced over the row, or drawn by lot."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["balanced_groups", "group_sizes", "random_groups"]


def group_sizes(n: int, groups: int) -> tuple[int, ...]:
    """Return sizes of ``groups`` groups of ``n`` devices that differ by at most one.

    Examples
    --------
    >>> group_sizes(7, 3)
    (3, 2, 2)
    """
    return tuple(n // groups + (i < n % groups) for i in range(groups))


def balanced_groups(n: int, groups: int) -> tuple[tuple[int, ...], ...]:
    """Return groups of row positions whose mean positions are as alike as an exchange can make.

    Dealt out forwards and backwards along the row (0, 1, 1, 0, 0, 1, …), so that neighbours are
    mostly in different groups, then neighbours are exchanged while that brings the mean
    positions closer. For two groups the result is the best possible: every sum of positions can
    be reached by exchanging neighbours.

    Parameters
    ----------
    n
        Devices in the row, positions 0 … n − 1.
    groups
        Number of groups, 1 … n.

    Examples
    --------
    Positions 0, 3, 4 (sum 7) and 1, 2, 5 (sum 8): 15 cannot be halved.

    >>> balanced_groups(6, 2)
    ((0, 3, 4), (1, 2, 5))
    """
    if not 1 <= groups <= n:
        message = f"{groups} groups of {n} devices: expected 1 to {n}"
        raise ValueError(message)
    sizes = np.asarray(group_sizes(n, groups))
    there_and_back = [*range(groups), *reversed(range(groups))]
    of = np.asarray([there_and_back[i % (2 * groups)] for i in range(n)])
    while (np.bincount(of, minlength=groups) != sizes).any():
        counts = np.bincount(of, minlength=groups)
        of[np.flatnonzero(of == np.argmax(counts - sizes))[-1]] = np.argmin(counts - sizes)
    score = _group_spread(of, sizes)
    improved = True
    while improved:
        improved = False
        for i in range(n - 1):
            if of[i] == of[i + 1]:
                continue
            of[[i, i + 1]] = of[[i + 1, i]]
            trial = _group_spread(of, sizes)
            if trial < score - 1e-12:
                score, improved = trial, True
            else:
                of[[i, i + 1]] = of[[i + 1, i]]
    return tuple(tuple(int(i) for i in np.flatnonzero(of == g)) for g in range(groups))


def _group_spread(of: NDArray[np.int64], sizes: NDArray[np.int64]) -> float:
    """Return the sum of squared deviations of the groups' mean positions from the middle."""
    means = np.bincount(of, weights=np.arange(len(of)), minlength=len(sizes)) / sizes
    return float(((means - (len(of) - 1) / 2) ** 2).sum())


def random_groups(n: int, groups: int, seed: int) -> tuple[tuple[int, ...], ...]:
    """Return groups drawn by lot: the same for the same seed on every machine.

    Examples
    --------
    >>> sorted(sum(random_groups(5, 2, seed=1), ()))
    [0, 1, 2, 3, 4]
    >>> random_groups(6, 2, seed=1) == random_groups(6, 2, seed=1)
    True
    """
    if not 1 <= groups <= n:
        message = f"{groups} groups of {n} devices: expected 1 to {n}"
        raise ValueError(message)
    draw = random.Random(seed).random  # documented to give the same numbers in every version
    drawn = [i for _, i in sorted((draw(), i) for i in range(n))]
    result, at = [], 0
    for size in group_sizes(n, groups):
        result.append(tuple(sorted(drawn[at : at + size])))
        at += size
    return tuple(result)
