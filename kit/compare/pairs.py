"""Every two entries: what links them, by how much one runs longer, and what may be said."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations, product
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.claims.verdicts import CANNOT, SUPPORTED, TIED
from kit.units import joined

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from kit.compare.conditions import Likeness
    from kit.compare.entries import Entry
    from kit.compare.field import Bounds, Field
    from kit.compare.members import Member
    from kit.compare.settings import CompareSettings

    Flags = NDArray[np.bool_]
    Meetings = Mapping[tuple[int, int, int], tuple[int, int, int]]

__all__ = [
    "Pair",
    "Ties",
    "barred",
    "family_share",
    "leagues",
    "meetings",
    "pairs_of",
    "together",
]

BASIS = {
    "side_by_side": "ran side by side",
    "assumed": "by the assumed scatter of sessions alone",
    "apart": "not compared",
}

Tie = Literal["side_by_side", "linked", "assumed", "apart"]


@dataclass(frozen=True, kw_only=True)
class Ties:
    """How two entries are tied, and why they are not.

    Parameters
    ----------
    tie
        ``side_by_side``: one session had both; ``linked`` through others; ``assumed``: by the
        assumed scatter of sessions alone; ``apart``: not at all.
    why
        What keeps them apart, in words.
    """

    tie: Tie
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class Pair:
    """Two entries compared in ln(runtime), first minus second.

    Parameters
    ----------
    a, b
        Positions of the entries.
    ties
        What links them.
    alone, family
        Bounds with the coverage of one comparison, and of all pairs taken together.
    verdict
        ``supported`` where one runs longer, ``tied`` or ``cannot_be_said``.
    longer
        1 the first, −1 the second, 0 undecided.
    through
        Names of the entries that link them.
    """

    a: int
    b: int
    ties: Ties
    alone: Bounds | None
    family: Bounds | None
    verdict: str
    longer: int
    through: tuple[str, ...] = ()

    @property
    def basis(self) -> str:
        """Return in words what links the two."""
        if self.ties.tie == "linked":
            return f"linked through {joined(self.through)}" if self.through else "linked"
        return BASIS[self.ties.tie]


def barred(like: Likeness, a: Entry, b: Entry) -> str:
    """Return the settings in which two entries differ wherever they ran; empty if they do not."""
    found: list[str] = []
    for one, two in product(a.appearances, b.appearances):
        differ = like.differing(one, two, of="settings")
        if not differ:
            return ""
        found += [c.label.lower() for c in differ]
    return ", ".join(dict.fromkeys(found))


def _no_runtime(like: Likeness, entry: Entry) -> str:
    """Return why nothing is known of the runtime of an entry."""
    reasons = []
    for place in entry.appearances:
        member = like.members[place.member]
        why = member.set_aside.get(member.session.devices[place.device].id)
        if why:
            reasons.append(f"{entry.name} was {why}")
    return reasons[0] if reasons else f"no runtime of {entry.name} was recorded"


def _ties(like: Likeness, field: Field, i: int, j: int, settings: CompareSettings) -> Ties:
    a, b = field.entries[i], field.entries[j]
    for k in (i, j):
        if not field.has_runtime(k):
            return Ties(tie="apart", why=_no_runtime(like, field.entries[k]))
    why = barred(like, a, b)
    if why:
        return Ties(tie="apart", why=f"they ran under different settings ({why})")
    if field.joined(i, j):
        mine = {p.member for p in a.appearances}
        return Ties(tie="side_by_side" if mine & {p.member for p in b.appearances} else "linked")
    if settings.session_cv is not None:
        return Ties(tie="assumed")
    return Ties(tie="apart", why="no device links the sessions in which they ran")


def meetings(members: Sequence[Member]) -> Meetings:
    """Return, for every two devices of a session, the runs in which they stood side by side.

    Returns
    -------
    dict
        (session, device, device) by position → runs, and in how many of them the first, and the
        second, surely ran longer.
    """
    found: dict[tuple[int, int, int], tuple[int, int, int]] = {}
    for m, member in enumerate(members):
        places = {d.id: k for k, d in enumerate(member.session.devices)}
        columns = (member.runtime_pairs[c].tolist() for c in ("device_a", "device_b", "verdict"))
        for a, b, verdict in zip(*columns, strict=True):
            for one, two, mine in ((places[a], places[b], "a"), (places[b], places[a], "b")):
                runs, won, lost = found.get((m, one, two), (0, 0, 0))
                other = "b" if mine == "a" else "a"
                found[m, one, two] = (runs + 1, won + (verdict == mine), lost + (verdict == other))
    return found


def together(met: Meetings, a: Entry, b: Entry) -> tuple[int, int, int]:
    """Return runs in which both took part, and in how many of them a, and b, surely ran longer."""
    rows = [
        met.get((one.member, one.device, two.device), (0, 0, 0))
        for one, two in product(a.appearances, b.appearances)
        if one.member == two.member
    ]
    return sum(r[0] for r in rows), sum(r[1] for r in rows), sum(r[2] for r in rows)


def family_share(coverage: float, comparisons: int) -> float:
    """Return the coverage of one comparison by which all hold together (Bonferroni)."""
    return 1.0 - (1.0 - coverage) / max(comparisons, 1)


def _verdict(bounds: Bounds) -> tuple[str, int]:
    if bounds.low > 0.0:
        return SUPPORTED, 1
    if bounds.high < 0.0:
        return SUPPORTED, -1
    closed = math.isfinite(bounds.low) and math.isfinite(bounds.high)
    return (TIED, 0) if closed else (CANNOT, 0)


def pairs_of(like: Likeness, field: Field, settings: CompareSettings) -> tuple[Pair, ...]:
    """Return every pair of entries with what links it and its verdict.

    Parameters
    ----------
    like, field, settings
        What was alike between the sessions, the network, and what was asked for.

    Returns
    -------
    tuple of Pair
        In the order of `itertools.combinations`.

    Notes
    -----
    One family: all pairs that anything links, M comparisons, each at 1 − (1 − coverage)/M
    (Bonferroni), as for kinds of device in one session.
    """
    size = len(field.entries)
    ties = {(i, j): _ties(like, field, i, j, settings) for i, j in combinations(range(size), 2)}
    open_ = [place for place, found in ties.items() if found.tie != "apart"]
    share = family_share(settings.coverage, sum(field.contrasts(i, j) for i, j in open_))
    pairs = []
    for (i, j), found in ties.items():
        if found.tie == "apart":
            pairs.append(
                Pair(a=i, b=j, ties=found, alone=None, family=None, verdict=CANNOT, longer=0)
            )
            continue
        s = settings.session_cv if found.tie == "assumed" else None
        family = field.bounds(i, j, share, session_s=s)
        verdict, longer = _verdict(family)
        alone = field.bounds(i, j, settings.coverage, session_s=s)
        link = alone.link if found.tie == "linked" else None
        pairs.append(
            Pair(
                a=i, b=j, ties=found, family=family, verdict=verdict, longer=longer,
                alone=alone,
                through=() if link is None else field.through(link),
            )
        )  # fmt: skip
    return tuple(pairs)


def leagues(
    size: int, pairs: Sequence[Pair], *, placed: Sequence[bool]
) -> tuple[tuple[int, ...], ...]:
    """Return groups of entries of which every two can be compared, first come, first placed.

    Parameters
    ----------
    size
        Number of entries.
    pairs
        From :func:`pairs_of`.
    placed
        Whether an entry has a runtime; those without are in no group.
    """
    apart = np.zeros((size, size), dtype=bool)
    for pair in pairs:
        if pair.ties.tie == "apart":
            apart[pair.a, pair.b] = apart[pair.b, pair.a] = True
    groups: list[list[int]] = []
    for k in range(size):
        if not placed[k]:
            continue
        for group in groups:
            if not apart[k, group].any():
                group.append(k)
                break
        else:
            groups.append([k])
    return tuple(tuple(group) for group in groups)
