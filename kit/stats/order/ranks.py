"""Ranks and arrows of items of which some pairs are claimed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["order_arrows", "rank_intervals"]


def rank_intervals(above: ArrayLike) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the best and the worst rank that each item can have.

    Parameters
    ----------
    above
        Shape (n, n), bool: ``above[i, j]`` = i is claimed ahead of j.

    Returns
    -------
    best, worst : ndarray, shape (n,)
        ``best = 1 + #{j ahead of i}``, ``worst = n − #{j behind i}``.

    Examples
    --------
    A ahead of B, C, D; B and C ahead of D; B and C not separated: 1–1, 2–3, 2–3, 4–4.

    >>> above = np.zeros((4, 4), dtype=bool)
    >>> above[0, 1:] = above[1:3, 3] = True
    >>> best, worst = rank_intervals(above)
    >>> best.tolist(), worst.tolist()
    ([1, 2, 2, 4], [1, 3, 3, 4])
    """
    matrix = np.asarray(above, dtype=bool)
    best = 1 + matrix.sum(axis=0)
    worst = matrix.shape[0] - matrix.sum(axis=1)
    return best.astype(np.int64), worst.astype(np.int64)


def order_arrows(above: ArrayLike) -> tuple[tuple[int, int], ...]:
    """Return the claimed pairs that do not follow from other claimed pairs (a Hasse diagram).

    Parameters
    ----------
    above
        Shape (n, n), bool, without cycles.

    Returns
    -------
    tuple of (int, int)
        Pairs (ahead, behind), by index.

    Examples
    --------
    0 ahead of 1 ahead of 2: the arrow 0 → 2 follows from the two others.

    >>> above = np.zeros((3, 3), dtype=bool)
    >>> above[0, 1] = above[1, 2] = above[0, 2] = True
    >>> order_arrows(above)
    ((0, 1), (1, 2))
    """
    matrix = np.asarray(above, dtype=bool)
    steps = matrix.astype(np.int64)
    reach = implied = (steps @ steps) > 0
    for _ in range(matrix.shape[0]):
        reach = (reach.astype(np.int64) @ steps) > 0
        implied = implied | reach
    return tuple((int(i), int(j)) for i, j in np.argwhere(matrix & ~implied))
