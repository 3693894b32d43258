"""How much of the spread of drains is gauge resolution, run, session and unit.

Components of variance of ln(rate) in phases that all devices ran alike, by moments, as
`kit.compare.components` finds them for runtimes. Phases are looked at one by one and pooled, so
that what they drain and at what level plays no part.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from kit.compare.components import finished
from kit.compare.conditions import lengths
from kit.compare.matching import match_phases, why_unusable
from kit.drain.gauge import FULL_PCT, step_of
from kit.drain.phases import phase_drain
from kit.results import Settings
from kit.stats.scatter import additive_fit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from kit.compare.components import Component
    from kit.compare.conditions import Likeness
    from kit.compare.members import Member
    from kit.compare.settings import CompareSettings
    from kit.compare.units import Appearance, Unit

    Floats = NDArray[np.float64]

__all__ = ["drain_components_of"]

ALLOWED = frozenset({"protocol"})
"""What may differ between two occasions: other phases of the day say nothing of a matched one."""


@dataclass(frozen=True, kw_only=True)
class _Phase:
    """The devices of a session in one phase; arrays of shape (runs, devices), NaN: no figure.

    Parameters
    ----------
    value
        ln of the displayed rate (pp/h).
    resolution
        Variance that the steps of the display add to it.
    """

    value: Floats
    resolution: Floats

    @property
    def runs(self) -> NDArray[np.int64]:
        """Return the number of runs with a figure of each device."""
        return np.asarray((~np.isnan(self.value)).sum(axis=0), dtype=np.int64)

    def mean(self, device: int) -> tuple[float, float, int]:
        """Return mean of ln(rate), mean of the resolution, and the number of runs."""
        here = ~np.isnan(self.value[:, device])
        n = int(here.sum())
        if not n:
            return math.nan, math.nan, 0
        return (
            float(self.value[here, device].mean()),
            float(self.resolution[here, device].mean()),
            n,
        )


class _Sum:
    """Squares pooled: each with its degrees of freedom, and what is expected of it from below."""

    def __init__(self) -> None:
        self.excess = 0.0
        self.weight = 0.0
        self.dof: dict[object, int] = {}

    def add(self, square: float, expected: float, dof: int, group: object) -> None:
        """Add a mean square; phases of one ``group`` are of the same units on the same days."""
        self.excess += dof * (square - expected)
        self.weight += dof
        self.dof[group] = max(self.dof.get(group, 0), dof)

    def result(self, name: str, none: str, remark: str = "") -> tuple[str, float, float, str]:
        """Return name, variance, degrees of freedom and remark."""
        if not self.weight:
            return name, math.nan, 0.0, none
        return name, self.excess / self.weight, float(sum(self.dof.values())), remark


def _phases(member: Member) -> dict[str, _Phase]:
    """Return the figures of every phase that all devices ran alike."""
    session = member.session
    long = lengths(session)
    usable = [p.id for p in session.phases if not why_unusable(p, long[p.id])]
    frame = phase_drain(session, Settings())
    rows = frame[(frame["measurand"] == "displayed") & (frame["status"] == "measured")]
    rows = rows[~rows["device"].isin(list(member.set_aside)) & (rows["drain_pp"] > 0.0)]
    runs = {r.number: i for i, r in enumerate(session.runs)}
    places = {d.id: j for j, d in enumerate(session.devices)}
    shown = session.readings
    steps = np.array(
        [step_of(d.gauge, shown["soc_pct"][shown["device"] == d.id]) for d in session.devices]
    )
    made = {}
    for phase, mine in rows[rows["phase"].isin(usable)].groupby("phase", sort=False):
        value = np.full((len(runs), len(places)), np.nan)
        resolution = value.copy()
        at = mine["run"].map(runs).to_numpy(), mine["device"].map(places).to_numpy()
        value[at] = np.log(mine["rate_pp_per_h"].to_numpy())
        step = steps[at[1]]
        # a start at full shows the same every time; any other reading is rounded somewhere else
        rounded = np.where(mine["start_pct"].to_numpy() > FULL_PCT - step / 2.0, 1.0, 2.0)
        resolution[at] = rounded * step**2 / 12.0 / mine["drain_pp"].to_numpy() ** 2
        made[str(phase)] = _Phase(value=value, resolution=resolution)
    return made


def drain_components_of(
    like: Likeness, units: Sequence[Unit], settings: CompareSettings
) -> tuple[Component, ...]:
    """Return resolution, run, session (a device from session to session) and unit of drains.

    Parameters
    ----------
    like, units, settings
        What was alike between the sessions, the units in them, and what was asked for.

    Notes
    -----
    With y = ln(rate) of one run, n runs of a session, and a bar for the mean over runs, in each
    phase:

    - resolution: mean of k·q²/12/D², q the step of the display and k the readings of the drain D
      that are not 100 %, for a level that lies anywhere between two steps; what all runs have in
      common, as which way a display rounds, scatters nothing;
    - run: residual mean square of ``device + run`` within a session, less the resolution;
    - session: half the variance, over devices, of ȳ₂ − ȳ₁ from one appearance to the next in a
      matched phase, less the mean of (run + resolution)/n;
    - unit: variance of ȳ over units of one model in one session, less session + the mean of
      (run + resolution)/n.

    Mean squares of several phases are averaged with their degrees of freedom as weights; the
    degrees of freedom that are returned are those of one phase, for a unit that drains faster
    does so in all of them. Derived in docs/comparing.md.
    """
    tables = [_phases(member) for member in like.members]
    parts = [p.resolution[~np.isnan(p.resolution)] for t in tables for p in t.values()]
    known = np.concatenate([*parts, np.array([])])
    resolution = float(known.mean()) if known.size else math.nan
    raw = [("resolution", resolution, math.inf, "" if known.size else "no phase was read")]
    run = _run(tables)
    raw.append(run)
    between = max(run[1], 0.0) if run[2] else 0.0
    session = _session(like, units, settings, tables, between, repeated=bool(run[2]))
    raw.append(session)
    moved = max(session[1], 0.0) if session[2] else 0.0
    raw.append(_unit(like, units, tables, between, moved, returned=bool(session[2])))
    return finished(raw)


def _run(tables: Sequence[dict[str, _Phase]]) -> tuple[str, float, float, str]:
    pooled = _Sum()
    for member, table in enumerate(tables):
        for phase in table.values():
            several = np.flatnonzero(phase.runs > 1)
            value = phase.value[:, several]
            value = value[~np.isnan(value).all(axis=1)]
            if min(value.shape) < 2:
                continue
            try:
                fit = additive_fit(value)
            except ValueError:
                continue
            expected = float(np.nanmean(phase.resolution[:, several]))
            pooled.add(fit.s**2, expected, int(fit.dof), member)
    return pooled.result("run", "no session has several runs of several devices")


def _session(
    like: Likeness, units: Sequence[Unit], settings: CompareSettings,
    tables: Sequence[dict[str, _Phase]], between: float, *, repeated: bool,
) -> tuple[str, float, float, str]:  # fmt: skip
    moves: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for unit in units:
        for before, after in pairwise(unit.appearances):
            differ = {c.key for c in like.differing(before, after, of="unit")}
            if differ <= ALLOWED:
                pair = (before.member, after.member)
                moves.setdefault(pair, []).append((before.device, after.device))
    pooled = _Sum()
    for (i, j), devices in moves.items():
        sessions = like.members[i].session, like.members[j].session
        matches, _ = match_phases(*sessions, tolerance_pct=settings.length_tolerance_pct)
        for match in matches:
            if match.first not in tables[i] or match.second not in tables[j]:
                continue
            one, other = tables[i][match.first], tables[j][match.second]
            both = [(one.mean(a), other.mean(b)) for a, b in devices]
            seen = [(a, b) for a, b in both if a[2] and b[2]]
            if len(seen) < 2:
                continue
            square = float(np.var([b[0] - a[0] for a, b in seen], ddof=1)) / 2.0
            expected = float(np.mean([(between + x[1]) / x[2] for two in seen for x in two]))
            pooled.add(square, expected, len(seen) - 1, (i, j))
    remark = "" if repeated else "holds that of the runs as well, which were not repeated"
    return pooled.result(
        "session", "fewer than two devices came back unchanged to a phase of the same kind", remark
    )


def _unit(
    like: Likeness, units: Sequence[Unit], tables: Sequence[dict[str, _Phase]], between: float,
    moved: float, *, returned: bool,
) -> tuple[str, float, float, str]:  # fmt: skip
    rows: dict[tuple[int, str], list[Appearance]] = {}
    for unit in units:
        for place in unit.appearances:
            row = rows.setdefault((place.member, unit.model), []) if unit.model else []
            if not row or not like.differing(row[0], place, of="settings"):
                row.append(place)
    pooled = _Sum()
    for (member, model), places in rows.items():
        for phase in tables[member].values():
            seen = [m for m in (phase.mean(p.device) for p in places) if m[2]]
            if len(seen) < 2:
                continue
            square = float(np.var([m[0] for m in seen], ddof=1))
            expected = moved + float(np.mean([(between + m[1]) / m[2] for m in seen]))
            pooled.add(square, expected, len(seen) - 1, model)
    remark = "" if returned else "holds that of the sessions as well, which were not repeated"
    return pooled.result("unit", "no two units of one model ran side by side", remark)
