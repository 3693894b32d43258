"""A claim as a list of table entries that must hold, and the verdict that follows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    Flags = NDArray[np.bool_]
    Ints = NDArray[np.int64]

__all__ = [
    "CANNOT",
    "NOT_SUPPORTED",
    "SUPPORTED",
    "TIED",
    "VERDICTS",
    "Asked",
    "Claim",
    "Need",
    "verdicts",
]

Code = Literal[
    "longest",
    "outlasted",
    "first_in_group",
    "drained_least",
    "drained_less",
    "least_doing",
    "led",
    "ahead_after",
    "tied_after",
    "gained",
]

SUPPORTED, NOT_SUPPORTED, TIED, CANNOT = "supported", "not_supported", "tied", "cannot_be_said"

VERDICTS = (SUPPORTED, NOT_SUPPORTED, TIED, CANNOT)
"""``supported``: the record bears it out. ``not_supported``: the record says the opposite.
``tied``: too close to call. ``cannot_be_said``: something needed was not seen; of means and of
kinds of device also: so few runs, units and days do not show it."""


class Need(NamedTuple):
    """An entry of a table of :class:`kit.claims.evidence.Evidence` that must be a yes.

    ``phase`` is −1 for a table without phases.
    """

    table: str
    phase: int
    i: int
    j: int

    @property
    def place(self) -> tuple[int, ...]:
        """Return the place in the table."""
        return (self.i, self.j) if self.phase < 0 else (self.phase, self.i, self.j)

    @property
    def reverse(self) -> tuple[int, ...]:
        """Return the place of the opposite."""
        return (self.j, self.i) if self.phase < 0 else (self.phase, self.j, self.i)


class Claim(NamedTuple):
    """A sentence that somebody may want to say of one run.

    Parameters
    ----------
    code
        What is claimed; a ``tied_after`` claims that its one need holds in neither direction.
    a, b
        Positions of the devices; ``b`` −1: all others.
    needs
        Entries that must hold.
    phase_from, phase_to
        Positions of the phases, −1: the whole run.
    measurand
        ``runtime``, ``displayed`` or ``true_charge``.
    group
        Name of the group that it is about, or of what was done; else empty.
    members
        Devices that the claim is about, for a group or for all.
    left_out
        Devices that were on and that it is not about, since they may not be compared.
    priority
        1 opens the report, 2 belongs into the table, 3 into the full list.
    """

    code: Code
    a: int
    b: int = -1
    needs: tuple[Need, ...] = ()
    phase_from: int = -1
    phase_to: int = -1
    measurand: str = "runtime"
    group: str = ""
    members: tuple[int, ...] = ()
    left_out: tuple[int, ...] = ()
    priority: int = 2


class Asked:
    """The needs of several claims as places in tables, so that all are judged at once.

    Parameters
    ----------
    claims
        Each with one need or more.
    """

    def __init__(self, claims: Sequence[Claim]) -> None:
        needs = [need for claim in claims for need in claim.needs]
        tables, phases, first, second = zip(*needs, strict=True) if needs else ((), (), (), ())
        sizes = np.array([len(claim.needs) for claim in claims], dtype=np.int64)
        self.starts = np.cumsum(sizes) - sizes
        self.tied = np.array([claim.code == "tied_after" for claim in claims], dtype=bool)
        self.size = len(needs)
        places: dict[str, list[int]] = {}
        for at, table in enumerate(tables):
            places.setdefault(table, []).append(at)
        self.at = {name: np.array(at, dtype=np.int64) for name, at in places.items()}
        self.phase = np.array(phases, dtype=np.int64)
        self.i = np.array(first, dtype=np.int64)
        self.j = np.array(second, dtype=np.int64)

    def place(self, name: str, *, turned: bool = False) -> tuple[Any, ...]:
        """Return the index of a table's needs, or of their opposites, in its last axes."""
        at = self.at[name]
        i, j = (self.j, self.i) if turned else (self.i, self.j)
        if (self.phase[at] < 0).all():
            return (..., i[at], j[at])
        return (..., self.phase[at], i[at], j[at])

    def judged(self, holds: Flags, against: Flags, unseen: Flags) -> Ints:
        """Return the verdicts, shape (…, claims), from those on the needs, shape (…, needs)."""
        if not self.size:
            return np.zeros((*holds.shape[:-1], 0), dtype=np.int64)
        unseen = unseen & ~holds & ~against
        every = np.logical_and.reduceat(holds, self.starts, axis=-1)
        lost = np.logical_or.reduceat(against, self.starts, axis=-1)
        dark = np.logical_or.reduceat(unseen, self.starts, axis=-1)
        decided = np.logical_or.reduceat(holds | against, self.starts, axis=-1)
        open_ones = np.where(dark, 3, 2)
        tied = np.where(decided, 1, open_ones)
        return np.where(self.tied, tied, np.where(every, 0, np.where(lost, 1, open_ones)))


def verdicts(asked: Asked, facts: Mapping[str, Flags], open_pairs: Mapping[str, Flags]) -> Ints:
    """Return the verdicts on claims as positions in :data:`VERDICTS`.

    Parameters
    ----------
    asked
        The claims.
    facts
        Tables of yes and no; they may have leading axes, one set of verdicts for each.
    open_pairs
        Whether the entries can be compared at all; with the same leading axes, or none.

    Returns
    -------
    array
        Shape (…, claims).

    Examples
    --------
    A ahead of B, C open, C not comparable with A:

    >>> facts = {"t": np.array([[0, 1, 0], [0, 0, 0], [0, 0, 0]], dtype=bool)}
    >>> comparable = {"t": np.array([[0, 1, 0], [1, 0, 1], [0, 1, 0]], dtype=bool)}
    >>> pairs = [(0, 1), (1, 0), (1, 2), (0, 2)]
    >>> asked = Asked([Claim(code="outlasted", a=i, b=j, needs=(Need("t", -1, i, j),))
    ...                for i, j in pairs])
    >>> [VERDICTS[v] for v in verdicts(asked, facts, comparable)]
    ['supported', 'not_supported', 'tied', 'cannot_be_said']
    """
    lead = next((facts[name][asked.place(name)].shape[:-1] for name in asked.at), ())
    holds, against, unseen = (np.zeros((*lead, asked.size), dtype=bool) for _ in range(3))
    for name, at in asked.at.items():
        holds[..., at] = facts[name][asked.place(name)]
        against[..., at] = facts[name][asked.place(name, turned=True)]
        unseen[..., at] = ~open_pairs[name][asked.place(name)]
    return asked.judged(holds, against, unseen)
