"""Which device of one session is which device of another.

A unit is known by its id, unless what is recorded of its hardware says otherwise: the same id
with another rated energy is another device. Different ids are the same unit only where somebody
says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.errors import UsageError
from kit.units import recorded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.compare.members import Member
    from kit.session import Device

__all__ = ["HARDWARE", "Appearance", "Unit", "other_hardware", "units_of"]

HARDWARE = {
    "model": "model",
    "rated_energy_wh": "rated energy",
    "rated_capacity_mah": "rated capacity",
    "nominal_voltage_v": "nominal voltage",
    "display_diagonal_in": "display diagonal",
    "display_px": "display size in pixels",
}
"""Fields of a device that a unit keeps all its life, and their names in words."""


@dataclass(frozen=True, kw_only=True)
class Appearance:
    """A device in a session, by positions."""

    member: int
    device: int


@dataclass(frozen=True, kw_only=True)
class Unit:
    """One unit over all sessions.

    Parameters
    ----------
    name
        Its label; different from that of every other unit.
    model
        Kind of device, as far as any session records it.
    appearances
        In the order of the sessions, one a session at most.
    known_by
        Why it is taken to be one unit, in words; empty with one appearance.
    """

    name: str
    model: str
    appearances: tuple[Appearance, ...]
    known_by: str = ""


def _roots(
    members: Sequence[Member], same: Sequence[tuple[str, str]]
) -> dict[tuple[int, int], str]:
    """Return the name under which each device of each session is looked up."""
    parent: dict[str, str] = {}

    def root(key: str) -> str:
        while key in parent:
            key = parent[key]
        return key

    places = {
        (m, d): (f"{member.key}/{device.id}", device.id)
        for m, member in enumerate(members)
        for d, device in enumerate(member.session.devices)
    }
    known = {name for pair in places.values() for name in pair}
    # one session's device that is named with its session leaves those that only share its id
    alone = {name for pair in same for name in pair if "/" in name and name in known}
    for first, second in same:
        for name in (first, second):
            if name not in known:
                message = f"no session has a device {name!r}; nothing can be the same as it"
                raise UsageError(message)
        a, b = root(first), root(second)
        if a != b:
            parent[b] = a
    return {
        place: root(full if full in alone else plain) for place, (full, plain) in places.items()
    }


def other_hardware(first: Device, second: Device) -> str:
    """Return in words which recorded hardware differs; empty if none does."""
    parts = []
    for field, words in HARDWARE.items():
        a, b = getattr(first, field), getattr(second, field)
        if a in (None, "") or b in (None, ""):
            continue
        if a != b:
            parts.append(f"{words} {recorded(a)} and {recorded(b)}")
    return ", ".join(parts)


def _known_by(devices: Sequence[Device], *, named: bool) -> str:
    ids = {d.id for d in devices}
    how = f"the same id ({devices[0].id})" if len(ids) == 1 else "said to be the same"
    both = [
        words
        for field, words in HARDWARE.items()
        if all(getattr(d, field) not in (None, "") for d in devices)
    ]
    if both:
        return f"{how}; {', '.join(both)} {'agrees' if len(both) == 1 else 'agree'}"
    return f"{how} alone; no hardware recorded in all of them" if not named else how


def _distinct(labels: Sequence[str]) -> list[str]:
    seen: dict[str, int] = {}
    names = []
    for label in labels:
        seen[label.casefold()] = number = seen.get(label.casefold(), 0) + 1
        names.append(label if number == 1 else f"{label} [{number}]")
    return names


def units_of(
    members: Sequence[Member], same: Sequence[tuple[str, str]] = ()
) -> tuple[tuple[Unit, ...], tuple[str, ...]]:
    """Return the units, in order of appearance, and remarks on ids that name different ones.

    Parameters
    ----------
    members
        The sessions in order.
    same
        Pairs of ids of one unit, ``session/device`` for the device of one session.

    Raises
    ------
    UsageError
        If an id is not there, or two devices of one session would be the same unit.
    """
    from kit.labels import TABLE_WIDTH, full_name, shorten

    roots = _roots(members, same)
    groups: dict[str, list[list[Appearance]]] = {}
    order: list[list[Appearance]] = []
    remarks = []
    for (m, d), key in roots.items():
        device = members[m].session.devices[d]
        place = Appearance(member=m, device=d)
        why = ""
        for group in groups.setdefault(key, []):
            if group[-1].member == m:
                message = (
                    f"two devices of the session {members[m].key} would be the same unit "
                    f"({members[m].session.devices[group[-1].device].id} and {device.id})"
                )
                raise UsageError(message)
            others = [members[a.member].session.devices[a.device] for a in group]
            why = next((w for w in (other_hardware(o, device) for o in others) if w), "")
            if not why:
                group.append(place)
                break
        else:
            if why:
                remarks.append(
                    f"{device.id} in {members[m].key} is taken for another device than "
                    f"before: {why}."
                )
            groups[key].append([place])
            order.append(groups[key][-1])
    labels, models, known = [], [], []
    for group in order:
        devices = [members[a.member].session.devices[a.device] for a in group]
        labels.append(shorten(full_name(devices[-1].label, devices[-1].id), TABLE_WIDTH - 4))
        models.append(next((dev.model for dev in reversed(devices) if dev.model), ""))
        named = len({dev.id for dev in devices}) > 1
        known.append(_known_by(devices, named=named) if len(devices) > 1 else "")
    units = tuple(
        Unit(name=name, model=model, appearances=tuple(group), known_by=how)
        for name, model, group, how in zip(_distinct(labels), models, order, known, strict=True)
    )
    return units, tuple(remarks)
