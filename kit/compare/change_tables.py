"""Tables of the same device in several sessions: runtimes, drains, and what else changed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.compare.changes import returns
from kit.compare.conditions import DEVICE_KEYS
from kit.compare.like_tables import counts_as
from kit.compare.order_tables import bounds_cell
from kit.display import Column, Table
from kit.labels import full_name
from kit.show.tables.claim_cells import VERDICTS
from kit.units import MISSING, NO_BREAK, estimate, h_mm, joined, number, percent, signed

if TYPE_CHECKING:
    from kit.compare.analysis import Comparison
    from kit.compare.phase_changes import PhaseChange, Rate
    from kit.compare.units import Appearance

__all__ = ["phase_changes", "phases", "runtime_changes", "unmatched", "what_changed"]


def _runtime(found: Comparison, place: Appearance) -> str:
    """Return the runtimes of a device in a session, run by run."""
    member = found.members[place.member]
    device = member.session.devices[place.device].id
    if device in member.set_aside:
        return member.set_aside[device]
    rows = member.runtimes[member.runtimes["device"] == device]
    cells = []
    for low, value, censored in zip(
        rows["runtime_h_low"].tolist(), rows["runtime_h"].tolist(),
        rows["right_censored"].tolist(), strict=True,
    ):  # fmt: skip
        if math.isnan(low):
            cells.append(MISSING)
        elif censored:
            cells.append(f">{NO_BREAK}{h_mm(math.floor(low * 60.0 + 1e-6))}")
        else:
            cells.append(h_mm(value * 60.0))
    return ", ".join(cells) or MISSING


def runtime_changes(found: Comparison) -> Table | None:
    """Return how the runtime of every returning device changed, as it ran and against others."""
    if not found.changes:
        return None
    rows = []
    for change in found.changes:
        against = change.way == "against_the_others"
        early, late = (found.members[p.member].number for p in (change.before, change.after))
        what = {1: "runs longer", -1: "runs shorter", 0: VERDICTS[change.verdict]}[change.longer]
        told = {"tied": "no change beyond the scatter"}.get(what, what)
        if change.why:
            told += f": {change.why}"
        way = "as it ran"
        if against:
            way = "against " + (joined(change.controls) or "the others")
        rows.append(
            (
                found.units[change.unit].name,
                f"{early} → {late}",
                "" if against else _runtime(found, change.before),
                "" if against else _runtime(found, change.after),
                way,
                bounds_cell(change.alone),
                told,
            )
        )
    return Table(
        id="runtime-changes",
        caption="The same device again: its runtime in the later session against the earlier one; "
        f"in brackets the {percent(found.settings.coverage)} interval",
        columns=(
            Column(name="Device"),
            Column(name="Sessions"),
            Column(name="Earlier", unit="h:mm", align="right"),
            Column(name="Later", unit="h:mm", align="right"),
            Column(name="How measured"),
            Column(name="Change", unit="%", align="right", numeric_sort=True),
            Column(name="Verdict"),
        ),
        rows=tuple(rows),
        notes=(
            "As it ran: against the scatter that a device has from day to day anyway; what the day "
            "did to every device is still in it. Against others: the change less that of the "
            "devices named, which took part both times unchanged.",
            "The verdict is on all returns together (Bonferroni); the interval is that of one.",
        ),
    )


def what_changed(found: Comparison) -> Table | None:
    """Return what else changed with every returning device; ``None`` if none returned."""
    rows = []
    for unit in found.units:
        for one, two in returns(unit):
            early, late = (found.members[p.member].number for p in (one, two))
            told: dict[str, list[str]] = {}
            for c in found.like.of_unit(one, two):
                # what is the same for the whole row, or unknown, stands in the other table
                if c.status == "differs" or c.key in DEVICE_KEYS:
                    effect = counts_as(c, found.settings.accept)
                    told.setdefault(effect, []).append(f"{c.label}: {c.first} → {c.second}")
            rows += [
                (unit.name, f"{early} → {late}", effect, "; ".join(parts))
                for effect, parts in told.items()
            ]
    if not rows:
        return None
    return Table(
        id="what-changed",
        caption="Software, battery health and whatever else differed between the sessions of one "
        "device",
        columns=(
            Column(name="Device"),
            Column(name="Sessions"),
            Column(name="Counts as"),
            Column(name="What, earlier → later"),
        ),
        rows=tuple(rows),
        notes=(
            "Conditions that are not named here were recorded alike, within the tolerances given "
            "under the methods, or not recorded: the next section lists both.",
        ),
    )


def _rate(found: Rate | None) -> str:
    if found is None:
        return MISSING
    return f"{number(found.drain_pp, 1)} at {number(found.rate, 1)}"


def _phase_words(change: PhaseChange) -> str:
    if change.verdict == "supported":
        return "drains faster" if change.faster > 0 else "drains slower"
    if change.verdict == "tied":
        return "no change beyond the scatter"
    return f"cannot be said: {change.why}"


def phase_changes(found: Comparison) -> Table | None:
    """Return drain and rate of every returning device in every matched phase."""
    if not found.phase_changes:
        return None
    rows = []
    for change in found.phase_changes:
        early, late = (found.members[p.member] for p in (change.before, change.after))
        phase = early.session.phase(change.match.first)
        known = change.first is not None and change.second is not None
        drain = rate = needed = MISSING
        if known:
            drain = estimate(
                (change.drain_low + change.drain_high) / 2.0, change.drain_low, change.drain_high
            )
            rate = estimate((change.low + change.high) / 2.0, change.low, change.high)
            needed = signed(change.needed, 1).removeprefix("+")
        rows.append(
            (
                found.units[change.unit].name,
                f"{full_name(phase.activity, phase.id)}, {early.number} → {late.number}",
                _rate(change.first),
                _rate(change.second),
                drain,
                rate,
                needed,
                _phase_words(change),
            )
        )
    return Table(
        id="phase-changes",
        caption="The same device in matched phases: displayed drain (pp) at its rate (pp/h), and "
        f"later minus earlier; in brackets the {percent(found.settings.coverage)} interval",
        columns=(
            Column(name="Device"),
            Column(name="Activity, sessions"),
            Column(name="Earlier", unit="pp at pp/h", align="right"),
            Column(name="Later", unit="pp at pp/h", align="right"),
            Column(name="Drain changed by", unit="pp", align="right", numeric_sort=True),
            Column(name="Rate changed by", unit="pp/h", align="right", numeric_sort=True),
            Column(name="Needed", unit="pp/h", align="right", numeric_sort=True),
            Column(name="Verdict"),
        ),
        rows=tuple(rows),
        notes=(
            "The interval of the drain is that of the measurement alone; that of the rate has the "
            "scatter from day to day in it, and the effect of the level where the two phases began "
            "at different percentages.",
            "Needed: what the change of the rate has to exceed, all comparisons of this table "
            "together (Bonferroni).",
        ),
    )


def phases(found: Comparison) -> Table | None:
    """Return which phases were matched; ``None`` if none were."""
    rows = []
    for two in found.beside:
        first, second = (found.members[k] for k in (two.first, two.second))
        for match in two.matches:
            a, b = first.session.phase(match.first), second.session.phase(match.second)
            rows.append(
                (
                    f"{first.number} → {second.number}",
                    full_name(a.activity, a.id),
                    f"{full_name(a.label, a.id)}, {number(match.first_min)}{NO_BREAK}min",
                    f"{full_name(b.label, b.id)}, {number(match.second_min)}{NO_BREAK}min",
                )
            )
    if not rows:
        return None
    tolerance = number(found.settings.length_tolerance_pct)
    return Table(
        id="matched-phases",
        caption=f"Phases of one activity whose lengths differ by at most {tolerance}{NO_BREAK}%",
        columns=(
            Column(name="Sessions"),
            Column(name="Activity"),
            Column(name="Earlier phase"),
            Column(name="Later phase"),
        ),
        rows=tuple(rows),
    )


def unmatched(found: Comparison) -> Table | None:
    """Return the phases without counterpart and why; ``None`` if there are none."""
    rows = []
    for two in found.beside:
        keys = [str(found.members[k].number) for k in (two.first, two.second)]
        for item in two.unmatched:
            session = found.members[(two.first, two.second)[item.side]].session
            phase = session.phase(item.phase)
            rows.append(
                (
                    keys[item.side],
                    full_name(phase.label, phase.id),
                    keys[1 - item.side],
                    item.reason,
                )
            )
    if not rows:
        return None
    return Table(
        id="unmatched-phases",
        caption="Phases without a counterpart",
        columns=(
            Column(name="In session"),
            Column(name="Phase"),
            Column(name="Looked for in session"),
            Column(name="Why there is none"),
        ),
        rows=tuple(rows),
    )
