"""The entries of a comparison as a network, lower bounds of unfinished runtimes included.

A runtime that was not seen to its end is no number. It becomes a node of its own: it takes no
part in any estimate, and what the network says of it is a lower bound of its device.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.compare.network import Observed, fit_network

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.compare.cells import Cells, RunScatter
    from kit.compare.entries import Entry
    from kit.compare.network import Link, Network

__all__ = ["Bounds", "Field", "field_of"]

_TRACE = 1e-9
"""Coefficients below this are 0."""


@dataclass(frozen=True, kw_only=True)
class Bounds:
    """A difference of two entries in ln(runtime), first minus second.

    Parameters
    ----------
    difference
        Estimate; NaN where one of the two is only a lower bound.
    low, high
        Ends of the interval; infinite where open.
    link
        What the estimate, or the bound, is made of; ``None`` if both ends are open.
    """

    difference: float
    low: float
    high: float
    link: Link | None


@dataclass(frozen=True, kw_only=True)
class Field:
    """Entries, their network, and which node is what.

    Parameters
    ----------
    seen
        Shape (entries,). Whether an entry has a runtime that was seen to its end.
    open_nodes
        Per entry, nodes of runtimes that were not.
    """

    entries: tuple[Entry, ...]
    network: Network
    seen: tuple[bool, ...]
    open_nodes: tuple[tuple[int, ...], ...]

    def has_runtime(self, i: int) -> bool:
        """Return whether anything is known of the runtime of an entry."""
        return self.seen[i] or bool(self.open_nodes[i])

    def nodes(self, i: int) -> tuple[int, ...]:
        """Return the nodes from which a lower bound of an entry may come."""
        return ((i,) if self.seen[i] else ()) + self.open_nodes[i]

    def joined(self, i: int, j: int) -> bool:
        """Return whether the network connects two entries."""
        part = self.network.part
        return any(part[a] == part[b] >= 0 for a in self.nodes(i) for b in self.nodes(j))

    def contrasts(self, i: int, j: int) -> int:
        """Return how many differences of nodes stand behind the bounds of a pair."""
        low = len(self.nodes(i)) if self.seen[j] else 0
        high = len(self.nodes(j)) if self.seen[i] else 0
        both = int(self.seen[i] and self.seen[j])
        return max(low + high - both, 0)

    def through(self, link: Link) -> tuple[str, ...]:
        """Return the entries that a difference passes through: they cancel out of its sum."""
        places = self.network.observed.node
        used = np.unique(places[np.abs(link.coefficients) > _TRACE])
        sums = np.bincount(places, weights=link.coefficients, minlength=len(self.entries))
        return tuple(
            self.entries[n].name
            for n in used.tolist()
            if n < len(self.entries) and abs(sums[n]) <= _TRACE
        )

    def bounds(self, i: int, j: int, coverage: float, *, session_s: float | None = None) -> Bounds:
        """Return what is known of entry i minus entry j.

        Parameters
        ----------
        i, j
            Entries.
        coverage
            Probability of each end's interval.
        session_s
            Assumed scatter of whole sessions, for entries that nothing connects.
        """
        part = self.network.part

        def link(a: int, b: int) -> Link | None:
            if part[a] == part[b] >= 0:
                return self.network.link(a, b)
            return None if session_s is None else self.network.across(a, b, session_s)

        nan = math.nan
        best = Bounds(difference=nan, low=-math.inf, high=math.inf, link=None)
        if self.seen[i] and self.seen[j] and (found := link(i, j)) is not None:
            wide = found.half_width(coverage)
            best = Bounds(
                difference=found.difference, low=found.difference - wide,
                high=found.difference + wide, link=found,
            )  # fmt: skip
        lows = [link(a, j) for a in self.open_nodes[i]] if self.seen[j] else []
        highs = [link(i, b) for b in self.open_nodes[j]] if self.seen[i] else []
        for found in filter(None, lows):
            low = found.difference - found.half_width(coverage)
            if low > best.low:
                over = low > best.high
                best = Bounds(
                    difference=nan if over else best.difference, low=low,
                    high=math.inf if over else best.high, link=best.link or found,
                )  # fmt: skip
        for found in filter(None, highs):
            high = found.difference + found.half_width(coverage)
            if high < best.high:
                over = high < best.low
                best = Bounds(
                    difference=nan if over else best.difference,
                    low=-math.inf if over else best.low, high=high, link=best.link or found,
                )  # fmt: skip
        return best


def field_of(
    cells: Sequence[Cells], entries: Sequence[Entry], *, assumed: float, run_scatter: RunScatter
) -> Field:
    """Return the network of entries.

    Parameters
    ----------
    cells
        Runtimes of every session, from `kit.compare.cells`.
    entries
        From `kit.compare.entries`.
    assumed, run_scatter
        Scatter from session to session, where the common devices are too few to show it, and
        between runs.

    Notes
    -----
    A runtime that was not seen to its end is the only one of its node. It fits perfectly whatever
    it is, so it moves nothing else; the coefficient with which it enters its own differences is
    1, so a lower bound of it is a lower bound of them.
    """
    rows: list[tuple[int, int, int]] = []  # node, session, device
    open_nodes: list[tuple[int, ...]] = []
    seen: list[bool] = []
    extra = len(entries)
    for number, entry in enumerate(entries):
        mine: list[int] = []
        found = False
        for place in entry.appearances:
            cell = cells[place.member]
            if not cell.runs[place.device]:
                continue
            if cell.at_least[place.device]:
                rows.append((extra, place.member, place.device))
                mine.append(extra)
                extra += 1
            else:
                rows.append((number, place.member, place.device))
                found = True
        open_nodes.append(tuple(mine))
        seen.append(found)
    run_part = np.zeros((len(rows), len(rows)))
    for k, (_, m, d) in enumerate(rows):
        for other, (_, n, e) in enumerate(rows):
            if m == n:
                run_part[k, other] = cells[m].unscaled[d, e]
    observed = Observed(
        node=np.array([r[0] for r in rows], dtype=np.int64),
        session=np.array([r[1] for r in rows], dtype=np.int64),
        value=np.array([cells[m].value[d] for _, m, d in rows], dtype=np.float64),
        half_width=np.array([cells[m].half_width[d] for _, m, d in rows], dtype=np.float64),
        run_part=run_part,
        single=np.array([not cells[m].unscaled.any() for _, m, _ in rows], dtype=bool),
        nodes=extra,
        sessions=len(cells),
    )
    network = fit_network(observed, assumed=assumed, run_s=run_scatter.s, run_dof=run_scatter.dof)
    return Field(
        entries=tuple(entries), network=network, seen=tuple(seen), open_nodes=tuple(open_nodes)
    )
