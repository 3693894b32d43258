"""Tables of what is compared: sessions, devices, conditions, spread, and how it was made."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.labels import full_name
from kit.units import MISSING, NOT_RECORDED, count, number, percent, recorded

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kit.compare.analysis import Comparison
    from kit.compare.components import Component
    from kit.compare.conditions import Contrast

__all__ = [
    "conditions",
    "counts_as",
    "devices",
    "drain_spread",
    "inputs",
    "not_compared",
    "parameters",
    "sessions",
    "spread",
]

COMPONENTS = {
    "resolution": "Resolution: the window in which a power-off was seen",
    "run": "Run: the same unit again on the same occasion",
    "session": "Session: the same unit on another occasion, beside the same others",
    "unit": "Unit: another unit of the same model",
    "day": "The day as a whole, the same for every device of a session",
}
SPREAD_COLUMNS = (
    Column(name="Source"),
    Column(name="Standard deviation", unit="%", align="right", numeric_sort=True),
    Column(name="Share of variance", unit="%", align="right", numeric_sort=True),
    Column(name="Degrees of freedom", align="right", numeric_sort=True),
    Column(name="Remark"),
)
DRAIN_COMPONENTS = {
    **COMPONENTS,
    "resolution": "Resolution: the steps of the display",
    "session": "Session: the same unit in a matched phase on another occasion, beside the same "
    "others",
}


def sessions(found: Comparison) -> Table:
    """Return the sessions in order, with the fingerprint of each."""
    return Table(
        id="sessions",
        caption="The sessions, in the order of their dates",
        columns=(
            Column(name="Session"),
            Column(name="Id"),
            Column(name="Date"),
            Column(name="Title"),
            Column(name="Devices and runs"),
            Column(name="Data fingerprint"),
        ),
        rows=tuple(
            (
                str(m.number),
                m.key,
                f"{m.session.date:%Y-%m-%d}" if m.session.date else NOT_RECORDED,
                full_name(m.session.title, m.session.id),
                f"{count(len(m.session.devices), 'device')}, {count(len(m.session.runs), 'run')}",
                m.session.fingerprint,
            )
            for m in found.members
        ),
        notes=(
            *(
                ("A session without a date stands behind the others, in the order given.",)
                if any(m.session.date is None for m in found.members)
                else ()
            ),
        ),
    )


def devices(found: Comparison) -> Table:
    """Return which device took part in what, and as which entry it is compared."""
    rows = []
    for number_, unit in enumerate(found.units):
        mine = [e for e in found.standing.field.entries if e.unit == number_]
        for entry in mine:
            where = ", ".join(str(found.members[p.member].number) for p in entry.appearances)
            devices_ = [
                found.members[p.member].session.devices[p.device] for p in entry.appearances
            ]
            software = dict.fromkeys(recorded(d.software) for d in devices_)
            health = dict.fromkeys(recorded(d.health_pct, "%") for d in devices_)
            told = f"not as before: {entry.apart}" if entry.apart else unit.known_by or MISSING
            rows.append((entry.name, where, "; ".join(software), "; ".join(health), told))
    return Table(
        id="devices",
        caption="The devices, and in which sessions they count as unchanged",
        columns=(
            Column(name="Device"),
            Column(name="Sessions"),
            Column(name="Software"),
            Column(name="Battery health"),
            Column(name="Taken as one because of"),
        ),
        rows=tuple(rows),
        notes=found.remarks,
    )


def counts_as(found: Contrast, accept: frozenset[str]) -> str:
    """Return in words what a contrast means for the comparison."""
    if found.status == "same":
        return "alike"
    if found.status == "unknown":
        return "not recorded in both: taken as alike"
    if found.key in accept:
        return "differs: accepted as it is"
    return "differs: not comparable" if found.decides else "differs: listed only"


def conditions(found: Comparison) -> tuple[Table, ...]:
    """Return, for every two sessions, what was alike, what differed and what is not known."""
    rows = []
    for two in found.beside:
        keys = " and ".join(str(found.members[k].number) for k in (two.first, two.second))
        told: dict[str, list[str]] = {}
        for c in two.contrasts:
            if c.status == "unknown" and not c.decides:
                continue
            shown = f"{c.label}: {c.first} and {c.second}" if c.status == "differs" else c.label
            told.setdefault(counts_as(c, found.settings.accept), []).append(shown)
        rows += [
            (keys, effect, ("; " if effect.startswith("differs") else ", ").join(told[effect]))
            for effect in sorted(told, key=_by_weight)
        ]
    return (
        Table(
            id="conditions",
            caption="What is comparable between the sessions, and what is not",
            columns=(
                Column(name="Sessions"),
                Column(name="Counts as"),
                Column(name="What, in the first and the second"),
            ),
            rows=tuple(rows),
            notes=(
                "Not comparable: no runtime of one is set against a runtime of the other, directly "
                "or as a link, unless the condition is accepted (--accept).",
                "What neither session records, and what decides nothing, is left out.",
            ),
        ),
    )


def _by_weight(effect: str) -> int:
    """Return the place of an effect: what keeps sessions apart first, what is alike last."""
    order = ("differs: not", "differs: accepted", "differs: listed", "not recorded", "alike")
    return next(k for k, start in enumerate(order) if effect.startswith(start))


def not_compared(found: Comparison) -> Table | None:
    """Return which devices cannot be compared and why; ``None`` if all can."""
    entries = found.standing.field.entries
    reasons: dict[tuple[int, str], list[str]] = {}
    for pair in found.standing.pairs:
        if pair.ties.tie == "apart":
            reasons.setdefault((pair.a, pair.ties.why), []).append(entries[pair.b].name)
    if not reasons:
        return None
    return Table(
        id="not-compared",
        caption="Devices that are not compared",
        columns=(Column(name="Device"), Column(name="Not with"), Column(name="Because")),
        rows=tuple(
            (entries[a].name, ", ".join(others), why) for (a, why), others in reasons.items()
        ),
    )


def spread(found: Comparison) -> Table:
    """Return how much of the spread of runtimes is resolution, run, session and unit."""
    return Table(
        id="spread",
        caption="What the spread of runtimes consists of",
        columns=SPREAD_COLUMNS,
        rows=_component_rows(found.components, COMPONENTS),
        notes=(
            "Relative to the runtime, for a single run. Shares are of the sum of what could be "
            "estimated, those below 0 counted as none. The day as a whole has no share: it drops "
            "out of every difference between devices of one session.",
        ),
    )


def drain_spread(found: Comparison) -> Table | None:
    """Return the same of the drains in phases; ``None`` if no phase was read."""
    if math.isnan(found.drain_components[0].variance):
        return None
    return Table(
        id="drain-spread",
        caption="What the spread of displayed drains consists of",
        columns=SPREAD_COLUMNS,
        rows=_component_rows(found.drain_components, DRAIN_COMPONENTS),
        notes=(
            "Relative to the rate of one device in one phase of one run; phases are looked at one "
            "by one and pooled. When the row was read, a minute early or late, is in the share of "
            "the run. The degrees of freedom are those of a single phase, for a unit "
            "that drains faster does so in all of them.",
        ),
    )


def _component_rows(
    parts: Sequence[Component], names: Mapping[str, str]
) -> tuple[tuple[str, ...], ...]:
    rows = []
    for part in parts:
        shown = MISSING
        if not math.isnan(part.variance):
            shown = number(100.0 * part.relative, 2) if part.variance > 0.0 else "0 (below 0)"
        rows.append(
            (
                names[part.name],
                shown,
                MISSING if math.isnan(part.share) else number(100.0 * part.share),
                MISSING if not part.dof else "known" if math.isinf(part.dof) else
                number(part.dof),
                part.why or MISSING,
            )
        )  # fmt: skip
    return tuple(rows)


def inputs(found: Comparison) -> Table:
    """Return the input files with their SHA-256."""
    return Table(
        id="inputs",
        caption="Input files",
        columns=(
            Column(name="Session"),
            Column(name="File"),
            Column(name="Size", unit="bytes", align="right", numeric_sort=True),
            Column(name="SHA-256"),
        ),
        rows=tuple(
            (str(m.number), s.name, str(s.size), s.sha256)
            for m in found.members
            for s in m.session.sources
        ),
    )


def parameters(found: Comparison, versions: Mapping[str, str]) -> tuple[Table, ...]:
    """Return the parameters of the comparison and the versions of what made it."""
    settings = found.settings
    same = ", ".join(f"{a} = {b}" for a, b in settings.same)
    rows = (
        ("Coverage", percent(settings.coverage)),
        ("Devices said to be the same", same or MISSING),
        ("Conditions that may differ", ", ".join(sorted(settings.accept)) or MISSING),
        (
            "Assumed scatter of whole sessions",
            MISSING if settings.session_cv is None else percent(settings.session_cv),
        ),
        (
            "Assumed scatter of a device from day to day",
            f"{percent(found.assumed)} ({'setup file' if found.stated else 'the kit’s default'})",
        ),
        ("Phase lengths may differ by", percent(settings.length_tolerance_pct / 100.0)),
    )
    return (
        Table(
            id="parameters",
            caption="Parameters of the comparison",
            columns=(Column(name="Parameter"), Column(name="Value")),
            rows=rows,
        ),
        Table(
            id="versions",
            caption="Software",
            columns=(Column(name="Package"), Column(name="Version")),
            rows=tuple(versions.items()),
        ),
    )
