"""Entries of the order: a unit for as long as nothing that decides its runtime changed.

A tablet with new software, an aged battery or at another brightness is another entry. It is no
control then: what links sessions must be the same on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.compare.conditions import condition_keys, contrasts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.compare.conditions import Contrast
    from kit.compare.members import Member
    from kit.compare.settings import CompareSettings
    from kit.compare.units import Appearance, Unit

__all__ = ["Entry", "between", "deciding", "entries_of"]


@dataclass(frozen=True, kw_only=True)
class Entry:
    """A unit in one state.

    Parameters
    ----------
    name
        Its unit's name, with a number from the second state on.
    unit
        Position of the unit.
    appearances
        In the order of the sessions.
    apart
        Why it is not the entry before of the same unit, in words.
    """

    name: str
    unit: int
    appearances: tuple[Appearance, ...]
    apart: str = ""


def deciding(found: Sequence[Contrast]) -> tuple[Contrast, ...]:
    """Return what is recorded, differs, and keeps the two sides from being compared."""
    return tuple(c for c in found if c.decides and c.status == "differs")


def between(
    members: Sequence[Member], a: Appearance, b: Appearance, settings: CompareSettings
) -> tuple[Contrast, ...]:
    """Return the contrasts of one unit between two of its appearances."""
    keys = condition_keys(m.session for m in members)
    first, second = members[a.member], members[b.member]
    return contrasts(
        first,
        second,
        keys,
        devices=(first.session.devices[a.device], second.session.devices[b.device]),
        accept=settings.accept,
        tolerance_pct=settings.length_tolerance_pct,
    )


def entries_of(
    members: Sequence[Member], units: Sequence[Unit], settings: CompareSettings
) -> tuple[Entry, ...]:
    """Return the entries, unit by unit.

    Parameters
    ----------
    members, units
        Sessions in order, and the units in them.
    settings
        Conditions that may differ, and the tolerance of phase lengths.

    Notes
    -----
    An appearance joins the first entry of its unit of which no appearance differs from it in
    anything recorded that decides a runtime. What was not recorded counts as alike.
    """
    found: list[Entry] = []
    for number, unit in enumerate(units):
        groups: list[list[Appearance]] = []
        reasons: list[str] = []
        for place in unit.appearances:
            why = ""
            for group in groups:
                differ = [
                    c for other in group for c in deciding(between(members, other, place, settings))
                ]
                if not differ:
                    group.append(place)
                    break
                why = ", ".join(dict.fromkeys(c.label.lower() for c in differ))
            else:
                groups.append([place])
                reasons.append(why)
        found += [
            Entry(
                name=unit.name if k == 0 else f"{unit.name} ({k + 1})",
                unit=number,
                appearances=tuple(group),
                apart=why,
            )
            for k, (group, why) in enumerate(zip(groups, reasons, strict=True))
        ]
    return tuple(found)
