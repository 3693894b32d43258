"""A comparison as plain data for machines: what ``results.json`` and the CSV tables hold."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from kit.compare.pairs import together
from kit.compare.prose import glance, limits
from kit.compare.words import to_percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.compare.analysis import Comparison
    from kit.compare.components import Component
    from kit.compare.field import Bounds

__all__ = ["FORMAT", "comparison_data"]

FORMAT = "rundown-comparison/1"
"""Name and version of the layout; a change that breaks a reader raises the number."""


def _percent(bounds: Bounds | None) -> list[float]:
    if bounds is None:
        return [math.nan] * 3
    return [to_percent(v) for v in (bounds.difference, bounds.low, bounds.high)]


def _table(columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> dict[str, Any]:
    return {"columns": list(columns), "rows": [list(row) for row in rows]}


def _components(parts: Sequence[Component]) -> dict[str, Any]:
    names = ("name", "variance", "dof", "share", "why")
    return _table(names, [[getattr(part, name) for name in names] for part in parts])


def _pairs(found: Comparison) -> dict[str, Any]:
    entries = found.standing.field.entries
    rows = []
    for pair in found.standing.pairs:
        a, b = entries[pair.a], entries[pair.b]
        link = None if pair.alone is None else pair.alone.link
        parts = [math.nan] * 4 if link is None else [
            100.0 * link.u, link.dof, 100.0 * link.u_scatter, 100.0 * link.u_windows
        ]  # fmt: skip
        rows.append(
            [a.name, b.name, pair.ties.tie, "; ".join(pair.through), pair.ties.why,
             *_percent(pair.alone), *_percent(pair.family)[1:], *parts, pair.verdict, pair.longer,
             *together(found.met, a, b)]
        )  # fmt: skip
    return _table(
        (
            "first", "second", "tie", "through", "why", "difference_pct", "low_pct", "high_pct",
            "family_low_pct", "family_high_pct", "u_pct", "dof", "u_scatter_pct", "u_window_pct",
            "verdict", "longer", "runs_together", "first_longer", "second_longer",
        ),
        rows,
    )  # fmt: skip


def _runtimes(found: Comparison) -> dict[str, Any]:
    names = {
        (p.member, p.device): e.name
        for e in found.standing.field.entries
        for p in e.appearances
    }  # fmt: skip
    rows = []
    for m, member in enumerate(found.members):
        places = {d.id: k for k, d in enumerate(member.session.devices)}
        columns = ("run", "device", "runtime_h", "runtime_h_low", "runtime_h_high", "status")
        values = [member.runtimes[c].astype(object).tolist() for c in columns]
        rows += [[member.key, names[m, places[row[1]]], *row] for row in zip(*values, strict=True)]
    return _table(
        ("session", "entry", "run", "device", "runtime_h", "runtime_h_low", "runtime_h_high",
         "status"),
        rows,
    )  # fmt: skip


def _tables(found: Comparison) -> dict[str, Any]:
    entries, members = found.standing.field.entries, found.members
    return {
        "runtimes": _runtimes(found),
        "order": _table(
            ("group", "device", "place_best", "place_worst", "runtime_h", "at_least"),
            [
                [p.league + 1, entries[p.entry].name, p.best, p.worst, p.runtime_h, p.at_least]
                for p in found.standing.places
            ],
        ),
        "pairs": _pairs(found),
        "history": _table(
            ("session", "first", "verdict", "not_told_from", "compared_with"),
            [
                [members[x.member].key, x.leader, x.verdict, "; ".join(x.level), x.rivals]
                for x in found.history
            ],
        ),
        "claims": _table(
            ("code", "priority", "statement", "verdict", "lead_pct", "low_pct", "high_pct",
             "method", "reason", "wording"),
            [
                [c.code, c.priority, c.statement, c.verdict, c.lead_pct, c.low_pct, c.high_pct,
                 c.method, c.reason, c.wording]
                for c in found.claims
            ],
        ),
        "changes": _table(
            ("device", "earlier", "later", "way", "controls", "change_pct", "low_pct", "high_pct",
             "family_low_pct", "family_high_pct", "verdict", "longer", "why"),
            [
                [found.units[c.unit].name, members[c.before.member].key,
                 members[c.after.member].key, c.way, "; ".join(c.controls), *_percent(c.alone),
                 *_percent(c.family)[1:], c.verdict, c.longer, c.why]
                for c in found.changes
            ],
        ),
        "phase_changes": _table(
            ("device", "earlier", "later", "phase_earlier", "phase_later", "drain_earlier_pp",
             "drain_later_pp", "drain_low_pp", "drain_high_pp", "rate_earlier_pp_per_h",
             "rate_later_pp_per_h", "low_pp_per_h", "high_pp_per_h", "needed_pp_per_h", "verdict",
             "faster", "why"),
            [
                [found.units[c.unit].name, members[c.before.member].key,
                 members[c.after.member].key, c.match.first, c.match.second,
                 *(math.nan if r is None else r.drain_pp for r in (c.first, c.second)),
                 c.drain_low, c.drain_high,
                 *(math.nan if r is None else r.rate for r in (c.first, c.second)),
                 c.low, c.high, c.needed, c.verdict, c.faster, c.why]
                for c in found.phase_changes
            ],
        ),
        "conditions": _table(
            ("first", "second", "key", "value_first", "value_second", "status", "decides"),
            [
                [members[two.first].key, members[two.second].key, c.key, c.first, c.second,
                 c.status, c.decides]
                for two in found.beside
                for c in two.contrasts
            ],
        ),
        "matched_phases": _table(
            ("first", "second", "phase_first", "phase_second", "first_min", "second_min"),
            [
                [members[two.first].key, members[two.second].key, m.first, m.second, m.first_min,
                 m.second_min]
                for two in found.beside
                for m in two.matches
            ],
        ),
        "unmatched_phases": _table(
            ("session", "phase", "looked_for_in", "reason"),
            [
                [members[(two.first, two.second)[u.side]].key, u.phase,
                 members[(two.second, two.first)[u.side]].key, u.reason]
                for two in found.beside
                for u in two.unmatched
            ],
        ),
        "components": _components(found.components),
        "drain_components": _components(found.drain_components),
    }  # fmt: skip


def comparison_data(found: Comparison, *, kit_version: str) -> dict[str, Any]:
    """Return sessions, settings, sentences and all tables as plain data.

    Parameters
    ----------
    found
        The comparison.
    kit_version
        Version of the kit that made it.

    Returns
    -------
    dict
        As `kit.display.DataBundle` asks for; per cent are of the second or the earlier one, an
        open end is ``None``.
    """
    dates = [m.session.date for m in found.members if m.session.date]
    scatter = found.standing.field.network.scatter
    settings = found.settings
    number = len(found.members)
    return {
        "format": FORMAT,
        "kit_version": kit_version,
        "session": {
            "id": "comparison",
            "title": f"{number} sessions compared",
            "revision": 1,
            "fingerprint": found.fingerprint,
            "date": max(dates).isoformat() if dates else None,
            "running": f"Comparison · data {found.fingerprint}",
            "facts": [
                ["Sessions", str(number)],
                ["From", min(dates).isoformat() if dates else "date not recorded"],
                ["To", max(dates).isoformat() if dates else "date not recorded"],
                ["Data fingerprint", found.fingerprint],
                ["Rundown Kit", kit_version],
            ],
        },
        "sessions": [
            {
                "key": m.key,
                "id": m.session.id,
                "title": m.session.title,
                "date": m.session.date.isoformat() if m.session.date else None,
                "fingerprint": m.session.fingerprint,
                "sources": [
                    {"name": s.name, "sha256": s.sha256, "size": s.size} for s in m.session.sources
                ],
            }
            for m in found.members
        ],
        "settings": {
            "coverage": settings.coverage,
            "same": [list(pair) for pair in settings.same],
            "accept": sorted(settings.accept),
            "session_cv": settings.session_cv,
            "length_tolerance_pct": settings.length_tolerance_pct,
        },
        "scatter": {
            "basis": scatter.basis,
            "s": scatter.s,
            "dof": scatter.dof,
            "observed": scatter.observed,
            "residual_dof": scatter.residual_dof,
            "assumed": found.assumed,
        },
        "glance": list(glance(found)),
        "limits": list(limits(found)),
        "tables": _tables(found),
    }
