"""The same device in two sessions: whether its runtime changed, and whether it was the day.

Two answers, kept apart. *As it ran*: the two runtimes, against the scatter that a device has from
day to day anyway. *Against the others*: the change less that of the devices which took part both
times (a difference of differences); what the day did to all of them drops out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.claims.verdicts import CANNOT, SUPPORTED, TIED
from kit.compare.conditions import DEVICE_KEYS
from kit.compare.entries import Entry
from kit.compare.field import Bounds, field_of
from kit.compare.pairs import family_share
from kit.stats.factors import coverage_factor, effective_dof

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.compare.cells import Cells, RunScatter
    from kit.compare.conditions import Contrast, Likeness
    from kit.compare.settings import CompareSettings
    from kit.compare.units import Appearance, Unit

__all__ = ["Change", "changes_of", "returns"]

Way = Literal["as_it_ran", "against_the_others"]


@dataclass(frozen=True, kw_only=True)
class Change:
    """A unit's runtime in a later session against an earlier one, in ln(runtime).

    Parameters
    ----------
    unit
        Position of the unit.
    before, after
        Its appearances.
    way
        Which of the two answers this is.
    controls
        Names of the devices that took part both times and are taken as unchanged.
    alone, family
        Later minus earlier: bounds of this comparison, and of all of this way together.
    verdict
        ``supported`` (it changed), ``tied`` (no change beyond the scatter), ``cannot_be_said``.
    longer
        1 if it runs longer than before, −1 if shorter, 0 undecided.
    why
        Why nothing can be said, in words.
    differs
        What decides a runtime and is recorded as different.
    """

    unit: int
    before: Appearance
    after: Appearance
    way: Way
    controls: tuple[str, ...]
    alone: Bounds | None
    family: Bounds | None
    verdict: str
    longer: int
    why: str
    differs: tuple[Contrast, ...]


def returns(unit: Unit) -> tuple[tuple[Appearance, Appearance], ...]:
    """Return the appearances to set against each other: each with the one before, last with first.

    Examples
    --------
    >>> from kit.compare.units import Appearance, Unit
    >>> places = tuple(Appearance(member=m, device=0) for m in range(3))
    >>> unit = Unit(name="a", model="", appearances=places)
    >>> [(one.member, two.member) for one, two in returns(unit)]
    [(0, 1), (1, 2), (0, 2)]
    """
    found = list(pairwise(unit.appearances))
    if len(unit.appearances) > 2:
        found.append((unit.appearances[0], unit.appearances[-1]))
    return tuple(found)


def _raw(
    cells: Sequence[Cells], before: Appearance, after: Appearance, assumed: float,
    run_scatter: RunScatter, coverage: float,
) -> Bounds | None:  # fmt: skip
    """Return later minus earlier as they ran; ``None`` without two runtimes."""
    first, second = cells[before.member], cells[after.member]
    i, j = before.device, after.device
    if not (first.runs[i] and second.runs[j]):
        return None
    open_ends = bool(first.at_least[i]), bool(second.at_least[j])
    if all(open_ends):
        return Bounds(difference=math.nan, low=-math.inf, high=math.inf, link=None)
    difference = float(second.value[j] - first.value[i])
    repeat = float(np.sqrt(first.unscaled[i, i] + second.unscaled[j, j])) * run_scatter.s
    parts = [assumed * math.sqrt(2.0), repeat]
    dof = effective_dof(parts, [math.inf, run_scatter.dof or math.inf])
    halves = first.half_width[i], second.half_width[j]
    windows = min(sum(halves), coverage_factor(coverage) * math.hypot(*halves) / math.sqrt(3))
    wide = math.hypot(windows, coverage_factor(coverage, dof) * math.hypot(*parts))
    return Bounds(
        difference=math.nan if any(open_ends) else difference,
        low=-math.inf if open_ends[0] else difference - wide,
        high=math.inf if open_ends[1] else difference + wide,
        link=None,
    )


def _verdict(bounds: Bounds) -> tuple[str, int]:
    if bounds.low > 0.0:
        return SUPPORTED, 1
    if bounds.high < 0.0:
        return SUPPORTED, -1
    closed = math.isfinite(bounds.low) and math.isfinite(bounds.high)
    return (TIED, 0) if closed else (CANNOT, 0)


def _unfinished(bounds: Bounds) -> str:
    if math.isinf(bounds.low) and math.isinf(bounds.high):
        return "neither runtime was seen to its end"
    return "one runtime was not seen to its end"


@dataclass(frozen=True, kw_only=True)
class _Asked:
    unit: int
    before: Appearance
    after: Appearance
    differs: tuple[Contrast, ...]

    def told(
        self, way: Way, alone: Bounds | None, family: Bounds | None, why: str,
        controls: tuple[str, ...] = (),
    ) -> Change:  # fmt: skip
        verdict, longer = CANNOT, 0
        if family is not None and not why:
            verdict, longer = _verdict(family)
            why = _unfinished(family) if verdict == CANNOT else ""
        return Change(
            unit=self.unit, before=self.before, after=self.after, way=way, controls=controls,
            alone=alone, family=family, verdict=verdict, longer=longer, why=why,
            differs=self.differs,
        )  # fmt: skip


def _row_settings(differs: Sequence[Contrast]) -> str:
    """Return what differed and is no property of the device itself, in words."""
    labels = [c.label.lower() for c in differs if c.key not in DEVICE_KEYS]
    return ", ".join(dict.fromkeys(labels))


def _controls(asked: _Asked, others: Sequence[Entry]) -> tuple[str, ...]:
    wanted = {asked.before.member, asked.after.member}
    return tuple(e.name for e in others if wanted <= {p.member for p in e.appearances})


def changes_of(
    like: Likeness,
    entries: Sequence[Entry],
    units: Sequence[Unit],
    cells: Sequence[Cells],
    settings: CompareSettings,
    *,
    assumed: float,
    run_scatter: RunScatter,
) -> tuple[Change, ...]:
    """Return both answers for every return of every unit.

    Parameters
    ----------
    like, units, cells, settings, assumed, run_scatter
        As for `kit.compare.order.standing_of`.
    entries
        Of all sessions.

    Notes
    -----
    *As it ran*: ``ln(T₂/T₁)`` with ``u² = 2·cv² + σ²(1/n₁ + 1/n₂)`` (the last where runs were
    repeated) and the windows. *Against the others*: the unit is a node of its own in every
    session, and the difference of two of its nodes is estimated in the network of all the rest;
    with one common device that is (A₂ − C₂) − (A₁ − C₁). Each way is a family of its own
    (Bonferroni).
    """
    asked = [
        _Asked(
            unit=number, before=one, after=two,
            differs=like.differing(one, two, of="unit"),
        )
        for number, unit in enumerate(units)
        for one, two in returns(unit)
    ]  # fmt: skip
    share = family_share(settings.coverage, len(asked))
    return tuple(
        change
        for item in asked
        for change in (
            _as_it_ran(item, cells, settings, assumed, run_scatter, share),
            _against(item, entries, units, cells, settings, assumed, run_scatter, share),
        )
    )


def _as_it_ran(
    asked: _Asked, cells: Sequence[Cells], settings: CompareSettings, assumed: float,
    run_scatter: RunScatter, share: float,
) -> Change:  # fmt: skip
    bounds = [
        _raw(cells, asked.before, asked.after, assumed, run_scatter, c)
        for c in (settings.coverage, share)
    ]
    why = "no runtime in one of the sessions" if bounds[0] is None else ""
    labels = _row_settings(asked.differs)
    if labels and not why:
        why = f"not run alike: {labels}"
    return asked.told("as_it_ran", bounds[0], bounds[1], why)


def _against(
    asked: _Asked, entries: Sequence[Entry], units: Sequence[Unit], cells: Sequence[Cells],
    settings: CompareSettings, assumed: float, run_scatter: RunScatter, share: float,
) -> Change:  # fmt: skip
    others = [e for e in entries if e.unit != asked.unit]
    mine = [
        Entry(name=units[asked.unit].name, unit=asked.unit, appearances=(place,))
        for place in units[asked.unit].appearances
    ]
    field = field_of(cells, [*others, *mine], assumed=assumed, run_scatter=run_scatter)
    at = {e.appearances[0]: len(others) + k for k, e in enumerate(mine)}
    i, j = at[asked.after], at[asked.before]
    if not (field.has_runtime(i) and field.has_runtime(j)):
        return asked.told("against_the_others", None, None, "no runtime in one of the sessions")
    controls = _controls(asked, [e for k, e in enumerate(others) if field.seen[k]])
    if not field.joined(i, j):
        why = "no other device, unchanged and under like conditions, links the two sessions"
        return asked.told("against_the_others", None, None, why)
    alone, family = (field.bounds(i, j, c) for c in (settings.coverage, share))
    return asked.told("against_the_others", alone, family, "", controls)
