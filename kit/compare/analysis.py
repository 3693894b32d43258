"""From records to a comparison: composes, adds no formula."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

from kit.compare.cells import cells_of, pooled_run_scatter
from kit.compare.changes import changes_of
from kit.compare.claims import claims_of
from kit.compare.components import components_of
from kit.compare.conditions import Likeness
from kit.compare.drain_components import drain_components_of
from kit.compare.matching import match_phases
from kit.compare.members import fingerprint, members_of
from kit.compare.order import history, standing_of
from kit.compare.pairs import meetings
from kit.compare.phase_changes import phase_changes
from kit.compare.units import units_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from kit.compare.cells import RunScatter
    from kit.compare.changes import Change
    from kit.compare.claims import Said
    from kit.compare.components import Component
    from kit.compare.conditions import Contrast
    from kit.compare.matching import Match, Unmatched
    from kit.compare.members import Member
    from kit.compare.order import Led, Standing
    from kit.compare.pairs import Meetings
    from kit.compare.phase_changes import PhaseChange
    from kit.compare.settings import CompareSettings
    from kit.compare.units import Unit
    from kit.errors import Finding
    from kit.session import Session

__all__ = ["Beside", "Comparison", "compare"]


@dataclass(frozen=True, kw_only=True)
class Beside:
    """Two sessions side by side, by position.

    Parameters
    ----------
    first, second
        The sessions, earlier first.
    contrasts
        What was alike and what differed for the whole row.
    matches, unmatched
        Phases with a counterpart, and those without.
    """

    first: int
    second: int
    contrasts: tuple[Contrast, ...]
    matches: tuple[Match, ...]
    unmatched: tuple[Unmatched, ...]


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """All that a comparison found.

    Parameters
    ----------
    assumed
        Relative standard deviation of a device from day to day that was assumed, and ``stated``
        whether a setup file stated it.
    remarks
        On the identity of devices.
    like
        What was alike between the sessions.
    met
        Who stood beside whom, from `kit.compare.pairs.meetings`.
    components, drain_components
        What the spread of runtimes and of drains in phases consists of.
    """

    members: tuple[Member, ...]
    settings: CompareSettings
    fingerprint: str
    assumed: float
    stated: bool
    units: tuple[Unit, ...]
    remarks: tuple[str, ...]
    like: Likeness
    met: Meetings
    beside: tuple[Beside, ...]
    standing: Standing
    history: tuple[Led, ...]
    changes: tuple[Change, ...]
    phase_changes: tuple[PhaseChange, ...]
    components: tuple[Component, ...]
    drain_components: tuple[Component, ...]
    run_scatter: RunScatter
    claims: tuple[Said, ...]


def compare(
    records: Iterable[tuple[Session, tuple[Finding, ...]]], settings: CompareSettings
) -> Comparison:
    """Compare sessions.

    Parameters
    ----------
    records
        Sessions that passed their checks, with their cautions and notes.
    settings
        Coverage, which devices are the same, which conditions may differ.

    Raises
    ------
    UsageError
        With fewer than two sessions, one twice, or devices that cannot be the same.

    Notes
    -----
    Where the scatter from session to session has to be assumed, it is the largest ``run_unit_cv``
    of the sessions.
    """
    members = members_of(records)
    units, remarks = units_of(members, settings.same)
    cells = tuple(cells_of(member) for member in members)
    scatters = tuple(pooled_run_scatter(cells[: k + 1]) for k in range(len(cells)))
    given = [member.session.assumptions for member in members]
    assumed = max(a.run_unit_cv for a in given)
    like = Likeness(members, accept=settings.accept, tolerance_pct=settings.length_tolerance_pct)
    standing = standing_of(like, units, cells, settings, assumed=assumed, run_scatter=scatters[-1])
    led = history(like, units, cells, settings, assumed=assumed, run_scatters=scatters)
    changes = changes_of(
        like, standing.field.entries, units, cells, settings, assumed=assumed,
        run_scatter=scatters[-1],
    )  # fmt: skip
    beside = []
    for i, j in combinations(range(len(members)), 2):
        matches, unmatched = match_phases(
            members[i].session, members[j].session, tolerance_pct=settings.length_tolerance_pct
        )
        beside.append(
            Beside(
                first=i,
                second=j,
                contrasts=like.of_sessions(i, j),
                matches=matches,
                unmatched=unmatched,
            )
        )  # fmt: skip
    return Comparison(
        members=members,
        settings=settings,
        fingerprint=fingerprint(members),
        assumed=assumed,
        stated=any("run_unit_cv" in a.stated for a in given),
        units=units,
        remarks=remarks,
        like=like,
        met=meetings(members),
        beside=tuple(beside),
        standing=standing,
        history=led,
        changes=changes,
        phase_changes=phase_changes(like, units, settings, assumed=assumed),
        components=components_of(cells, units, standing.field, scatters[-1]),
        drain_components=drain_components_of(like, units, settings),
        run_scatter=scatters[-1],
        claims=claims_of(members, units, standing, led, changes),
    )
