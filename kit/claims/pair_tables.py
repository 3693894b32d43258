"""Differences between all pairs of devices: what they have to exceed, and which do."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
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

    @cached_property
    def lists(self) -> tuple[list[Any], list[Any], list[Any], list[Any]]:
        """Return difference, margin, compared and known as lists, to be read one by one."""
        return (
            self.difference.tolist(),
            self.margin.tolist(),
            self.compared.tolist(),
            self.known.tolist(),
        )

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
    """Return arrays (…, n, n, phases) as (…, phases, n, n)."""
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
        return np.asarray(values[..., a, :] + values[..., b, :])

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
    """Return where i is surely above j, and which pairs are compared; as `pair_tables` has them."""
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

    ``taken`` of shape (n, phases), ``known`` of shape (n, n, phases), one of each for every table.
    What is left of the charge comes last; nothing is claimed of it.
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
