"""Ranks of items of which some pairs are claimed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["rank_intervals"]


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
