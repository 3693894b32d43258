"""Differences between all pairs of devices: what they have to exceed, and which do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from kit.drain.declared import declared_margin
from kit.drain.margins import table_margin
from kit.stats.uncertainty import Resolution

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Ints = NDArray[np.int64]

__all__ = ["Compared", "Declared", "PairTable", "above", "pair_tables", "phases_first"]


class Declared(NamedTuple):
    """The pair declared before the session, and how often it is compared in all runs together."""

    a: int
    b: int
    comparisons: int

    def is_pair(self, i: int, j: int) -> bool:
        """Return whether two devices are the pair."""
        return {i, j} == {self.a, self.b}


@dataclass(frozen=True, kw_only=True)
class PairTable:
    """Differences between devices in every phase; arrays of shape (…, phases, n, n).

    Parameters
    ----------
    difference
        Device i minus device j (pp).
    margin
        What the difference has to exceed (pp): by the table rule, for the pair declared beforehand
        by its own.
    compared
        Whether i may be found above j by figures. One way only where j was not read: it stood no
        higher than at its last reading before, and nobody knows how much lower.
    known
        Pairs that are decided otherwise: i is on and j is off, or j was off before i.
    comparisons
        Size of the family that the table rule allows for, shape (…,).
    """

    difference: Floats
    margin: Floats
    compared: Flags
    known: Flags
    comparisons: Ints

    @property
    def above(self) -> Flags:
        """Return where i is surely above j."""
        with np.errstate(invalid="ignore"):
            return (self.compared & (self.difference > self.margin)) | self.known


@dataclass(frozen=True, kw_only=True)
class Compared:
    """What is compared between devices in every phase; arrays of shape (…, n, phases).

    Parameters
    ----------
    value, shown, u2, bound
        Figure (pp), what the resolution adds to it, variance of what averages besides (pp²), and
        half-width of what does not (pp).
    ready
        Whether there is a figure that may be compared.
    capped
        Whether there is only a bound that the figure does not exceed.
    """

    value: Floats
    shown: Resolution
    u2: Floats
    bound: Floats
    ready: Flags
    capped: Flags

    def with_rows(self, other: Compared, device: Ints) -> Compared:
        """Return alternatives: in each, one device's row is that of ``other``.

        ``self`` of shape (n, phases); ``other`` (M, phases), its rows belonging to ``device``
        (M,). Returns shape (M, n, phases).
        """
        mine = (np.arange(self.value.shape[0]) == device[:, None])[:, :, None]

        def merged(base: Any, row: Any) -> Any:
            return np.where(mine, row[:, None], base[None])

        return Compared(
            value=merged(self.value, other.value),
            shown=Resolution(
                np.where(mine, other.shown.parts[:, :, None], self.shown.parts[:, None])
            ),
            u2=merged(self.u2, other.u2),
            bound=merged(self.bound, other.bound),
            ready=merged(self.ready, other.ready),
            capped=merged(self.capped, other.capped),
        )


def phases_first(values: Any) -> Any:
    """Return arrays (…, n, n, phases) as (…, phases, n, n).

    Examples
    --------
    Four devices, six phases:

    >>> phases_first(np.zeros((4, 4, 6))).shape
    (6, 4, 4)
    """
    return np.moveaxis(values, -1, -3)


class _Family(NamedTuple):
    """Which pairs are compared, (…, phases, n, n), both ways, or at all; how many they are."""

    both: Flags
    compared: Flags
    comparisons: Ints


def _family(ready: Flags, capped: Flags) -> _Family:
    def pairs(first: Flags, second: Flags) -> Flags:
        return np.asarray(phases_first(first[..., :, None, :] & second[..., None, :, :]))

    both = pairs(ready, ready) & ~np.eye(ready.shape[-2], dtype=bool)
    count = both.sum(axis=(-3, -2, -1)) // 2
    if not capped.any():
        return _Family(both, both, np.asarray(count))
    one_way = pairs(ready, capped)
    return _Family(both, both | one_way, np.asarray(count + one_way.sum(axis=(-3, -2, -1))))


def _margin(taken: Compared, comparisons: Ints, coverage: float) -> Floats:
    """Return what the table rule asks for, (…, n, n, phases), of a device and itself NaN."""
    *shape, n, phases = taken.value.shape
    a, b = np.triu_indices(n, k=1)

    def both(values: Floats) -> Floats:
        # many times as fast as choosing by an index in the middle
        return np.asarray(np.take(values, a, axis=-2) + np.take(values, b, axis=-2))

    found = np.full((*shape, n, n, phases), np.nan)
    found[..., a, b, :] = found[..., b, a, :] = table_margin(
        Resolution(both(taken.shown.parts)), np.sqrt(both(taken.u2)), both(taken.bound), coverage,
        comparisons[..., None, None],
    )  # fmt: skip
    return found


def _declare(margin: Floats, taken: Compared, declared: Declared | None, coverage: float) -> None:
    """Put in what the pair declared beforehand has to exceed; changes ``margin``."""
    if declared is None:
        return
    a, b, comparisons = declared
    shown = taken.shown[..., a, :] + taken.shown[..., b, :]
    u = np.sqrt(taken.u2[..., a, :] + taken.u2[..., b, :])
    bound = taken.bound[..., a, :] + taken.bound[..., b, :]
    own = declared_margin(shown, u, bound, coverage, comparisons, margin[..., a, b, :])
    margin[..., a, b, :] = margin[..., b, a, :] = own


def above(
    taken: Compared, known: Flags, coverage: float, declared: Declared | None
) -> tuple[Flags, Flags]:
    """Return where i is surely above j, and which pairs are compared both ways.

    Parameters
    ----------
    taken
        Shape (…, n, phases).
    known
        Shape (…, n, n, phases). Pairs that are decided without a figure.
    coverage
        Probability that nothing false is found in the family.
    declared
        The pair that has a margin of its own; ``None``: none has.

    Returns
    -------
    above, compared
        Shape (…, phases, n, n); the first as `PairTable.above` of `pair_tables`.

    Examples
    --------
    12 and 8 pp between two readings each, u² = 0.09 and 0.16 pp² besides, ½ pp of each not to be
    averaged. One comparison: √(2² + (1.96 × 0.5)²) + 1 = 3.23 pp, less than the 4 pp between them:

    >>> from kit.stats.uncertainty import resolution
    >>> def drains(first, second):
    ...     return Compared(
    ...         value=np.array([[first], [second]]), shown=resolution([[[1, -1]], [[1, -1]]]),
    ...         u2=np.array([[0.09], [0.16]]), bound=np.full((2, 1), 0.5),
    ...         ready=np.ones((2, 1), dtype=bool), capped=np.zeros((2, 1), dtype=bool))
    >>> nothing = np.zeros((2, 2, 1), dtype=bool)
    >>> found, both = above(drains(12.0, 8.0), nothing, 0.95, None)
    >>> found.tolist(), both.tolist()
    ([[[False, True], [False, False]]], [[[False, True], [True, False]]])

    12 and 9 pp are too close:

    >>> bool(above(drains(12.0, 9.0), nothing, 0.95, None)[0].any())
    False
    """
    family = _family(taken.ready, taken.capped)
    margin = _margin(taken, family.comparisons, coverage)
    _declare(margin, taken, declared, coverage)
    with np.errstate(invalid="ignore"):
        beyond = taken.value[..., :, None, :] - taken.value[..., None, :, :] > margin
    return (family.compared & phases_first(beyond)) | phases_first(known), family.both


def _stacked(taken: Sequence[Compared]) -> Compared:
    """Return several tables as one, along a new first axis."""
    arrays = {
        name: np.stack([getattr(one, name) for one in taken])
        for name in ("value", "u2", "bound", "ready", "capped")
    }
    return Compared(shown=Resolution.stacked([one.shown for one in taken]), **arrays)


def pair_tables(
    taken: Sequence[Compared], known: Sequence[Flags], coverage: float, declared: Declared | None
) -> tuple[PairTable, ...]:
    """Return the comparisons of every pair, all tables at once.

    Parameters
    ----------
    taken, known
        Of shape (n, phases) and (n, n, phases), one of each for every table.
    coverage
        Probability that nothing false is found in a table.
    declared
        The pair that has a margin of its own in every table but the last: for
        `kit.claims.evidence.evidence` that is what is left of the true charge, of which nothing is
        claimed.

    Examples
    --------
    Three devices, 12, 8 and 7 pp between two readings each, nothing but the resolution: each pair
    needs its hard bound of 2 pp, which 12 − 8 exceeds and 8 − 7 does not. The third one is known
    to be above the second for another reason:

    >>> from kit.stats.uncertainty import resolution
    >>> drains = Compared(
    ...     value=np.array([[12.0], [8.0], [7.0]]), shown=resolution([[[1, -1]]] * 3),
    ...     u2=np.zeros((3, 1)), bound=np.zeros((3, 1)),
    ...     ready=np.ones((3, 1), dtype=bool), capped=np.zeros((3, 1), dtype=bool))
    >>> known = np.zeros((3, 3, 1), dtype=bool)
    >>> known[2, 1] = True
    >>> (table,) = pair_tables([drains], [known], 0.95, None)
    >>> int(table.comparisons), float(table.margin[0, 0, 1]), table.above[0].astype(int).tolist()
    (3, 2.0, [[0, 1, 1], [0, 0, 0], [0, 1, 0]])
    """
    every = _stacked(taken)
    family = _family(every.ready, every.capped)
    widths = _margin(every, family.comparisons, coverage)
    for width, one in zip(widths[:-1], taken, strict=False):
        _declare(width, one, declared, coverage)
    difference = phases_first(every.value[:, :, None, :] - every.value[:, None, :, :])
    margin = phases_first(widths)
    decided = phases_first(np.stack(known))
    return tuple(
        PairTable(
            difference=difference[i],
            margin=margin[i],
            compared=family.compared[i],
            known=decided[i],
            comparisons=family.comparisons[i],
        )
        for i in range(len(taken))
    )
