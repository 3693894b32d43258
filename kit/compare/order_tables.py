"""Tables of who is ahead of whom: the order, every pair, who led, and what may be said."""

from __future__ import annotations

import math
from itertools import combinations, pairwise
from typing import TYPE_CHECKING

from kit.compare.claims import PRINTED
from kit.compare.pairs import together
from kit.compare.words import ratio_cell
from kit.display import Column, Table
from kit.show.cells import place
from kit.show.tables.claim_cells import VERDICTS
from kit.units import MISSING, NO_BREAK, count, h_mm, joined, percent

if TYPE_CHECKING:
    from kit.compare.analysis import Comparison
    from kit.compare.field import Bounds
    from kit.compare.order import Place

__all__ = ["against_first", "claims", "history", "league_places", "order", "pairs", "reference_of"]

MOST_PAIRS = 60
"""Pairs printed; with more, only those of neighbours and of the first (all are in the CSV)."""


def league_places(found: Comparison) -> list[list[Place]]:
    """Return the places by group of entries that can be compared, largest group first."""
    groups: dict[int, list[Place]] = {}
    for item in found.standing.places:
        groups.setdefault(item.league, []).append(item)
    return [groups[k] for k in sorted(groups)]


def reference_of(places: list[Place]) -> Place | None:
    """Return the first of the order whose runtime was seen to its end."""
    return next((p for p in places if not p.at_least), None)


def against_first(
    found: Comparison, entry: int, reference: int
) -> tuple[Bounds | None, Bounds | None, int]:
    """Return entry minus reference, alone and with all pairs together, and the sign to read it."""
    pair, sign = found.standing.pair(entry, reference)
    return pair.alone, pair.family, sign


def bounds_cell(bounds: Bounds | None, sign: int = 1) -> str:
    """Return a difference as per cent of the second, from either side."""
    if bounds is None:
        return MISSING
    if sign > 0:
        return ratio_cell(bounds.difference, bounds.low, bounds.high)
    return ratio_cell(-bounds.difference, -bounds.high, -bounds.low)


def _sessions(found: Comparison, entry: int) -> str:
    return ", ".join(
        str(found.members[p.member].number) for p in found.standing.field.entries[entry].appearances
    )


def _order_row(found: Comparison, item: Place, first: Place | None) -> tuple[str, ...]:
    runtime = h_mm(item.runtime_h * 60.0)
    against = MISSING
    if first is not None:
        against = (
            "reference"
            if item.entry == first.entry
            else bounds_cell(*_alone(found, item.entry, first.entry))
        )
    return (
        found.standing.field.entries[item.entry].name,
        place(item.best, item.worst),
        f">{NO_BREAK}{h_mm(math.floor(item.runtime_h * 60.0 + 1e-9))}"
        if item.at_least
        else runtime,
        against,
        _sessions(found, item.entry),
    )


def _alone(found: Comparison, entry: int, reference: int) -> tuple[Bounds | None, int]:
    alone, _, sign = against_first(found, entry, reference)
    return alone, sign


def order(found: Comparison) -> tuple[Table, ...]:
    """Return the order of every group of devices that can be compared, longest first."""
    groups = league_places(found)
    share = percent(found.settings.coverage)
    tables = []
    several = [g for g in groups if len(g) > 1]
    for number, group in enumerate(several, start=1):
        first = reference_of(group)
        name = "" if first is None else found.standing.field.entries[first.entry].name
        which = f", group {number} of {len(several)}" if len(several) > 1 else ""
        notes = ["A range of places is a tie: places are given with all pairs taken together."]
        if any(p.at_least for p in group):
            notes.append(
                "“>” marks a device that was never seen off: its runtime is a lower bound, and "
                "what follows from it is one as well."
            )
        entries = found.standing.field.entries
        again = [e for p in group if (e := entries[p.entry]).name != found.units[e.unit].name]
        if again:
            notes.append(
                f"{again[0].name} is {found.units[again[0].unit].name} after a change or under "
                "other conditions; the table of the devices says which."
            )
        tables.append(
            Table(
                id="order" if number == 1 else f"order-{number}",
                caption=f"All-time order{which}: runtime on the middle day of these sessions, and "
                f"against {name or 'the first'}; in brackets the {share} interval",
                columns=(
                    Column(name="Device"),
                    Column(name="Place", align="right", numeric_sort=True),
                    Column(name="Runtime", unit="h:mm", align="right", numeric_sort=True),
                    Column(name="Against the reference", unit="%", align="right",
                           numeric_sort=True),
                    Column(name="Sessions"),
                ),
                rows=tuple(_order_row(found, item, first) for item in group),
                notes=tuple(notes),
            )
        )  # fmt: skip
    return tuple(tables)


def _shown_pairs(found: Comparison) -> tuple[list[tuple[int, int]], int]:
    """Return the pairs to print, and how many that are compared are left out."""
    ranked = [p.entry for p in found.standing.places]
    every = [
        (a, b)
        for a, b in combinations(ranked, 2)
        if found.standing.pair(a, b)[0].ties.tie != "apart"
    ]
    if len(every) <= MOST_PAIRS:
        return every, 0
    near = {frozenset(two) for two in pairwise(ranked)}
    shown = [(a, b) for a, b in every if a == ranked[0] or frozenset((a, b)) in near]
    return shown, len(every) - len(shown)


def pairs(found: Comparison) -> Table | None:
    """Return every pair that is compared, with what links it and its verdict; ``None`` for none."""
    entries = found.standing.field.entries
    rows = []
    shown, left = _shown_pairs(found)
    for a, b in shown:
        pair, sign = found.standing.pair(a, b)
        runs, won, lost = together(found.met, entries[a], entries[b])
        names = entries[a].name, entries[b].name
        if pair.longer:
            verdict = f"{names[0 if pair.longer * sign > 0 else 1]} runs longer"
        elif pair.verdict == "tied":
            verdict = "too close to call"
        else:
            verdict = "cannot be said: a runtime was not seen to its end"
        rows.append(
            (
                *names,
                bounds_cell(pair.family, sign),
                pair.basis,
                MISSING if not runs else f"{won} : {lost} of {runs}",
                verdict,
            )
        )
    if not rows:
        return None
    return Table(
        id="pairs",
        caption="Every two devices that are compared: how much longer the first runs, all pairs "
        f"taken together at {percent(found.settings.coverage)}",
        columns=(
            Column(name="First"),
            Column(name="Second"),
            Column(name="First against second", unit="%", align="right", numeric_sort=True),
            Column(name="Linked"),
            Column(name="Side by side", align="right"),
            Column(name="Verdict"),
        ),
        rows=tuple(rows),
        notes=(
            "Side by side: in how many runs the first surely ran longer, and in how many the "
            "second, of those in which both took part. That is a fact of those days; the verdict "
            "is about another day as well.",
            *((f"{left} further pairs are in the CSV tables.",) if left else ()),
        ),
    )


def history(found: Comparison) -> Table:
    """Return who led after each session, from what was known by then."""
    rows = []
    before = -1
    for led in found.history:
        member = found.members[led.member]
        date = member.session.date
        if not led.leader:
            change = "nobody: no runtime"
        elif before < 0:
            change = "first"
        elif not led.linked:
            change = "not linked with the sessions before"
        else:
            change = "still leads" if led.unit == before else "new leader"
        before = led.unit if led.leader else before
        told = VERDICTS[led.verdict]
        if led.level:
            told += f": not told from {joined(led.level)}"
        rows.append(
            (
                str(member.number),
                f"{date:%Y-%m-%d}" if date else "not recorded",
                led.leader or MISSING,
                change,
                count(led.rivals, "other") if led.leader else MISSING,
                told,
            )
        )
    return Table(
        id="history",
        caption="Who had the longest runtime after each session, from what was known by then",
        columns=(
            Column(name="After session"),
            Column(name="Date"),
            Column(name="First"),
            Column(name="Change"),
            Column(name="Compared with"),
            Column(name="Lead"),
        ),
        rows=tuple(rows),
        notes=(
            "First is whoever has the longest runtime among the devices that can be compared with "
            "those of that session; the last column says whether that lead is supported.",
        ),
    )


def claims(found: Comparison) -> Table | None:
    """Return the sentences with verdict, margin and a wording that is true; ``None`` for none."""
    if not found.claims:
        return None
    printed = [c for c in found.claims if c.priority == PRINTED]
    left = len(found.claims) - len(printed)
    methods = dict.fromkeys(c.method for c in printed)
    return Table(
        id="claims",
        caption="What people will want to say across these sessions, and whether it stands",
        columns=(
            Column(name="Sentence"),
            Column(name="Verdict"),
            Column(name="Margin", unit="%", align="right"),
            Column(name="A wording that is true"),
        ),
        rows=tuple(
            (
                c.statement,
                VERDICTS[c.verdict],
                _margin(c.lead_pct, c.low_pct, c.high_pct),
                c.wording,
            )
            for c in printed
        ),
        notes=(
            "Margin: the interval that decides, in per cent of the second device, or of the "
            "earlier session.",
            *(f"Judged by: {method}." for method in methods),
            *((f"{left} further sentences are in the CSV tables.",) if left else ()),
        ),
    )


def _margin(lead: float, low: float, high: float) -> str:
    if math.isnan(low) and math.isnan(high):
        return MISSING

    def log(value: float) -> float:
        return value if math.isinf(value) or math.isnan(value) else math.log1p(value / 100.0)

    return ratio_cell(log(lead), log(low), log(high))
