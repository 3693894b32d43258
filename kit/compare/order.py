"""The all-time order with its intervals, and who led after each session."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.claims.verdicts import CANNOT, SUPPORTED, TIED
from kit.compare.entries import entries_of
from kit.compare.field import field_of
from kit.compare.pairs import leagues, pairs_of
from kit.stats.order import rank_intervals

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.compare.cells import Cells, RunScatter
    from kit.compare.conditions import Likeness
    from kit.compare.field import Field
    from kit.compare.pairs import Pair
    from kit.compare.settings import CompareSettings
    from kit.compare.units import Unit

__all__ = ["Lead", "Led", "Place", "Standing", "history", "leading", "standing_of"]


@dataclass(frozen=True, kw_only=True)
class Place:
    """An entry in the order of its group.

    Parameters
    ----------
    entry, league
        Positions; groups of entries that cannot be compared have orders of their own.
    runtime_h
        Runtime on the middle day of the sessions of its part; a lower bound if ``at_least``.
    best, worst
        Places that it can have.
    """

    entry: int
    league: int
    runtime_h: float
    at_least: bool
    best: int
    worst: int


@dataclass(frozen=True, kw_only=True)
class Standing:
    """Entries, their network, every pair, and the order."""

    field: Field
    pairs: tuple[Pair, ...]
    places: tuple[Place, ...]

    def pair(self, a: int, b: int) -> tuple[Pair, int]:
        """Return the pair of two entries, and 1, or −1 if it is written the other way round."""
        if a == b:
            raise KeyError((a, b))
        i, j = min(a, b), max(a, b)
        size = len(self.field.entries)
        # every two in the order of itertools.combinations
        return self.pairs[i * (2 * size - i - 1) // 2 + j - i - 1], 1 if a < b else -1


@dataclass(frozen=True, kw_only=True)
class Lead:
    """The longest runtime of a group: whose, from which entries it is not told, out of how many."""

    entry: int
    verdict: str
    level: tuple[int, ...]
    rivals: int


@dataclass(frozen=True, kw_only=True)
class Led:
    """Who led after a session.

    Parameters
    ----------
    member
        Position of the session.
    leader
        Name of the entry with the longest runtime among those that can be compared with the
        devices of this session; ``unit`` its unit.
    verdict
        ``supported``: longer than every other; ``tied`` with ``level``; ``cannot_be_said``.
    level
        Names of those that it could not be told from.
    rivals
        Number of entries that it was compared with.
    linked
        Whether anything links this session with those before.
    """

    member: int
    leader: str
    unit: int
    verdict: str
    level: tuple[str, ...]
    rivals: int
    linked: bool = True


def _places(field: Field, pairs: Sequence[Pair], session_s: float | None) -> tuple[Place, ...]:
    size = len(field.entries)
    above = np.zeros((size, size), dtype=bool)
    for pair in pairs:
        if pair.longer:
            first, second = (pair.a, pair.b) if pair.longer > 0 else (pair.b, pair.a)
            above[first, second] = True
    placed = [field.has_runtime(k) for k in range(size)]
    levels = field.network.levels(session_s)
    places: list[Place] = []
    groups = sorted(leagues(size, pairs, placed=placed), key=lambda g: -len(g))
    for number, group in enumerate(groups):
        best, worst = rank_intervals(above[np.ix_(group, group)])
        found = []
        for k, b, w in zip(group, best, worst, strict=True):
            # a lower bound counts where it lies above what was seen
            level, bound = max((float(levels[n]), n >= size) for n in field.nodes(k))
            found.append(
                Place(
                    entry=k, league=number, runtime_h=math.exp(level), at_least=bound,
                    best=int(b), worst=int(w),
                )
            )  # fmt: skip
        places += sorted(found, key=lambda p: (-p.runtime_h, p.entry))
    return tuple(places)


def standing_of(
    like: Likeness,
    units: Sequence[Unit],
    cells: Sequence[Cells],
    settings: CompareSettings,
    *,
    assumed: float,
    run_scatter: RunScatter,
) -> Standing:
    """Return pairs and order of these sessions.

    Parameters
    ----------
    like, units, cells
        What was alike between the sessions, the units in them, and their runtimes.
    settings
        What was asked for.
    assumed, run_scatter
        As for `kit.compare.field.field_of`.
    """
    field = field_of(cells, entries_of(like, units), assumed=assumed, run_scatter=run_scatter)
    pairs = pairs_of(like, field, settings)
    return Standing(field=field, pairs=pairs, places=_places(field, pairs, settings.session_cv))


def leading(standing: Standing, league: int) -> Lead:
    """Return who has the longest runtime of a group, and from whom it cannot be told."""
    leader, *rivals = [p.entry for p in standing.places if p.league == league]
    level, verdict = [], SUPPORTED if rivals else CANNOT
    for rival in rivals:
        pair, sign = standing.pair(leader, rival)
        if pair.longer * sign > 0:
            continue
        level.append(rival)
        verdict = CANNOT if CANNOT in (verdict, pair.verdict) else TIED
    return Lead(entry=leader, verdict=verdict, level=tuple(level), rivals=len(rivals))


def _led(standing: Standing, member: int) -> Led:
    entries = standing.field.entries
    here = {k for k, e in enumerate(entries) if any(p.member == member for p in e.appearances)}
    groups = [p.league for p in standing.places if p.entry in here]
    if not groups:
        return Led(member=member, leader="", unit=-1, verdict=CANNOT, level=(), rivals=0)
    league = max(set(groups), key=lambda g: (groups.count(g), -g))
    lead = leading(standing, league)
    in_league = [p.entry for p in standing.places if p.league == league]
    earlier = any(p.member < member for k in in_league for p in entries[k].appearances)
    return Led(
        member=member, leader=entries[lead.entry].name, unit=entries[lead.entry].unit,
        verdict=lead.verdict, level=tuple(entries[k].name for k in lead.level),
        rivals=lead.rivals, linked=earlier or member == 0,
    )  # fmt: skip


def history(
    like: Likeness,
    units: Sequence[Unit],
    cells: Sequence[Cells],
    settings: CompareSettings,
    *,
    assumed: float,
    run_scatters: Sequence[RunScatter],
) -> tuple[Led, ...]:
    """Return who led after each session, from what was known by then.

    Parameters
    ----------
    like, units, cells, settings, assumed
        As for :func:`standing_of`.
    run_scatters
        Scatter between runs, pooled over the sessions up to each.

    Notes
    -----
    Each line is the whole comparison of the sessions so far: later sessions change no earlier
    line. Each has a family of its own, at the stated coverage.
    """
    found = []
    for k in range(1, len(cells) + 1):
        known = tuple(_until(unit, k) for unit in units)
        standing = standing_of(
            like, [u for u in known if u.appearances], cells[:k], settings,
            assumed=assumed, run_scatter=run_scatters[k - 1],
        )  # fmt: skip
        found.append(_led(standing, k - 1))
    return tuple(found)


def _until(unit: Unit, sessions: int) -> Unit:
    from dataclasses import replace

    return replace(unit, appearances=tuple(p for p in unit.appearances if p.member < sessions))
