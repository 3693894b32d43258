"""Letters that mark which items are not told apart: a compact letter display."""

from __future__ import annotations

from functools import lru_cache
from string import ascii_lowercase, ascii_uppercase
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import ArrayLike

__all__ = ["tie_letters"]

_LETTERS = ascii_lowercase + ascii_uppercase


@lru_cache(maxsize=4096)
def _bits(mask: int) -> tuple[int, ...]:
    """Return the positions of the ones of a bit mask."""
    return tuple(k for k in range(mask.bit_length()) if mask >> k & 1)


def _cliques(neighbours: Sequence[int]) -> list[int]:
    """Return all maximal sets of mutually tied items (Bron and Kerbosch 1973, with pivot).

    A set of items is a bit mask, as are the items that each one is tied with.
    """
    found: list[int] = []

    def grow(chosen: int, candidates: int, done: int) -> None:
        if not candidates | done:
            found.append(chosen)
            return
        most = max(
            (neighbours[k] & candidates for k in _bits(candidates | done)), key=int.bit_count
        )
        for k in _bits(candidates & ~most):
            grow(chosen | 1 << k, candidates & neighbours[k], done & neighbours[k])
            candidates &= ~(1 << k)
            done |= 1 << k

    grow(0, (1 << len(neighbours)) - 1, 0)
    return found


def _needed(cliques: list[int]) -> list[int]:
    """Drop sets whose every pair (or lone member) also stands in another set."""
    # of two other sets, one lacks some member x and the other some y: the pair x, y is in neither
    if len(cliques) < 4:
        return cliques
    kept = list(cliques)
    for clique in sorted(cliques, key=lambda c: (c.bit_count(), _bits(c))):
        others = [c for c in kept if c != clique]
        # whom each member meets in the other sets
        met = [_union(c for c in others if c >> k & 1) for k in _bits(clique)]
        if all(clique & ~mask == 0 for mask in met):
            kept = others
    return kept


def _union(masks: Iterable[int]) -> int:
    """Return the union of sets given as bit masks."""
    every = 0
    for mask in masks:
        every |= mask
    return every


def tie_letters(above: ArrayLike) -> tuple[str, ...]:
    """Return letters such that two items share a letter iff neither is ahead of the other.

    Parameters
    ----------
    above
        Shape (n, n), bool: ``above[i, j]`` = i is claimed ahead of j.

    Returns
    -------
    tuple of str
        Letters of each item, "a" for the group that leads.

    Notes
    -----
    A compact letter display: the letters are maximal sets of mutually tied items, without
    those that say nothing new. Being tied is not transitive: "a", "ab", "b" is common.

    References
    ----------
    H.-P. Piepho (2004), An algorithm for a letter-based representation of all-pairwise
    comparisons, J. Comput. Graph. Stat. 13:456–466 (cited from memory).

    Examples
    --------
    0 ahead of 2, everything else tied:

    >>> above = np.zeros((3, 3), dtype=bool)
    >>> above[0, 2] = True
    >>> tie_letters(above)
    ('a', 'ab', 'b')
    """
    matrix = np.asarray(above, dtype=bool)
    return _letters(matrix.tobytes(), matrix.shape[0])


@lru_cache(maxsize=4096)
def _letters(above: bytes, n: int) -> tuple[str, ...]:
    """Return the letters of `tie_letters`: the same orders come up again and again."""
    if n == 0:
        return ()
    rows, columns = [above[k * n : k * n + n] for k in range(n)], [above[k::n] for k in range(n)]
    # by the best rank that each can have, then the worst, as in `rank_intervals`
    ranked = sorted(range(n), key=lambda k: (sum(columns[k]), -sum(rows[k]), k))
    place = {k: i for i, k in enumerate(ranked)}
    neighbours = [
        sum(1 << j for j in range(n) if j != k and not ahead[j] and not behind[j])
        for k, (ahead, behind) in enumerate(zip(rows, columns, strict=True))
    ]
    groups = [_bits(clique) for clique in _needed(_cliques(neighbours))]
    groups.sort(key=lambda group: sorted(place[k] for k in group))
    letters = [""] * n
    for number, group in enumerate(groups):
        letter = _LETTERS[number] if number < len(_LETTERS) else f"({number + 1})"
        for k in group:
            letters[k] += letter
    return tuple(letters)
