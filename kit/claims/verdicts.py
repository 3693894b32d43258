"""A claim as a list of table entries that must hold, and the verdict that follows."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    Flags = NDArray[np.bool_]

__all__ = ["CANNOT", "NOT_SUPPORTED", "SUPPORTED", "TIED", "VERDICTS", "Claim", "Need", "verdicts"]

Code = Literal[
    "longest",
    "outlasted",
    "first_in_group",
    "drained_least",
    "drained_less",
    "led",
    "tied_after",
    "gained",
]

SUPPORTED, NOT_SUPPORTED, TIED, CANNOT = "supported", "not_supported", "tied", "cannot_be_said"

VERDICTS = (SUPPORTED, NOT_SUPPORTED, TIED, CANNOT)
"""``supported``: the record bears it out. ``not_supported``: the record says the opposite.
``tied``: too close to call. ``cannot_be_said``: something needed was not seen."""


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


@dataclass(frozen=True, kw_only=True)
class Claim:
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
    members
        Devices that the claim is about, for a group or for all.
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
    members: tuple[int, ...] = field(default=())
    priority: int = 2


def _taken(table: Flags, place: tuple[int, ...]) -> Flags:
    index: tuple[Any, ...] = (..., *place)
    return np.asarray(table[index], dtype=bool)


def verdicts(
    claim: Claim, facts: Mapping[str, Flags], open_pairs: Mapping[str, Flags]
) -> NDArray[np.int64]:
    """Return the verdict on a claim as a position in :data:`VERDICTS`.

    Parameters
    ----------
    claim
        The claim.
    facts
        Tables of yes and no; they may have leading axes, one verdict for each.
    open_pairs
        Whether the entries can be compared at all; no leading axes.

    Examples
    --------
    A ahead of B, C open, C not comparable with A:

    >>> facts = {"t": np.array([[0, 1, 0], [0, 0, 0], [0, 0, 0]], dtype=bool)}
    >>> comparable = {"t": np.array([[0, 1, 0], [1, 0, 1], [0, 1, 0]], dtype=bool)}
    >>> def say(i, j):
    ...     claim = Claim(code="outlasted", a=i, b=j, needs=(Need("t", -1, i, j),))
    ...     return VERDICTS[int(verdicts(claim, facts, comparable))]
    >>> say(0, 1), say(1, 0), say(1, 2), say(0, 2)
    ('supported', 'not_supported', 'tied', 'cannot_be_said')
    """
    holds = np.stack([_taken(facts[need.table], need.place) for need in claim.needs])
    against = np.stack([_taken(facts[need.table], need.reverse) for need in claim.needs])
    unseen = np.array([not open_pairs[need.table][need.place] for need in claim.needs])
    unseen = unseen.reshape(-1, *[1] * (holds.ndim - 1)) & ~holds & ~against
    if claim.code == "tied_after":
        decided = (holds | against).any(axis=0)
        return np.where(decided, 1, np.where(unseen.any(axis=0), 3, 2))
    return np.where(
        holds.all(axis=0),
        0,
        np.where(against.any(axis=0), 1, np.where(unseen.any(axis=0), 3, 2)),
    )
