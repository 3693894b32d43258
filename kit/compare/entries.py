"""Entries of the order: a unit for as long as nothing that decides its runtime changed.

A tablet with new software, an aged battery or at another brightness is another entry. It is no
control then: what links sessions must be the same on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.compare.conditions import Likeness
    from kit.compare.units import Appearance, Unit

__all__ = ["Entry", "entries_of"]


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


def entries_of(like: Likeness, units: Sequence[Unit]) -> tuple[Entry, ...]:
    """Return the entries, unit by unit.

    Parameters
    ----------
    like
        What was alike between the sessions.
    units
        The units in them.

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
                differ = [c for other in group for c in like.differing(other, place, of="unit")]
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
