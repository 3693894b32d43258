"""The same device in matched phases of two sessions: whether it drained faster.

Displayed drain: a device compared with itself, by its own display.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.claims.verdicts import CANNOT, SUPPORTED, TIED
from kit.compare.changes import returns
from kit.compare.conditions import DEVICE_KEYS
from kit.compare.matching import match_phases
from kit.compare.pairs import family_share
from kit.drain.gauge import charge_excess
from kit.drain.phases import phase_drain, prepare
from kit.results import Settings
from kit.stats.factors import coverage_factor, effective_dof

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from kit.compare.conditions import Likeness
    from kit.compare.matching import Match
    from kit.compare.members import Member
    from kit.compare.settings import CompareSettings
    from kit.compare.units import Appearance, Unit
    from kit.session import Device

__all__ = ["PhaseChange", "phase_changes"]


@dataclass(frozen=True, kw_only=True)
class Rate:
    """A device in a phase, over the runs of its session.

    Parameters
    ----------
    drain_pp, rate
        Means over the runs (pp, pp/h).
    drain_half, half
        Half-width of the interval of one run (pp, pp/h).
    u, dof
        Standard uncertainty of the mean rate from the scatter between runs (0 for one run).
    level_pct
        State of charge in the middle of the phase.
    """

    drain_pp: float
    rate: float
    drain_half: float
    half: float
    u: float
    dof: float
    level_pct: float


@dataclass(frozen=True, kw_only=True)
class PhaseChange:
    """A unit in two matched phases; differences are later minus earlier.

    Parameters
    ----------
    unit, before, after, match
        Which.
    first, second
        Figures, ``None`` where there are none.
    drain_low, drain_high
        Interval of the difference of drains (pp), of the measurement alone.
    low, high
        Interval of the difference of rates (pp/h), the scatter from day to day included.
    needed
        What the difference of rates has to exceed, all comparisons together (pp/h).
    verdict, faster, why
        ``supported`` (1 it drains faster, −1 slower), ``tied``, or ``cannot_be_said`` and why.
    """

    unit: int
    before: Appearance
    after: Appearance
    match: Match
    first: Rate | None
    second: Rate | None
    drain_low: float = math.nan
    drain_high: float = math.nan
    low: float = math.nan
    high: float = math.nan
    needed: float = math.nan
    verdict: str = CANNOT
    faster: int = 0
    why: str = ""


def _rates(member: Member, frame: pd.DataFrame) -> dict[tuple[str, str], Rate]:
    """Return (device, phase) → figures of the displayed drain over the runs."""
    rows = frame[(frame["measurand"] == "displayed") & (frame["status"] == "measured")]
    rows = rows[~rows["device"].isin(list(member.set_aside)) & rows["rate_pp_per_h"].notna()]
    found = {}
    for (device, phase), mine in rows.groupby(["device", "phase"], sort=False):
        rate = mine["rate_pp_per_h"].to_numpy()
        drain = mine["drain_pp"].to_numpy()
        half = np.fmax(mine["rate_pp_per_h_high"] - rate, rate - mine["rate_pp_per_h_low"])
        drain_half = np.fmax(mine["drain_pp_high"] - drain, drain - mine["drain_pp_low"])
        several = rate.size > 1
        found[str(device), str(phase)] = Rate(
            drain_pp=float(drain.mean()),
            rate=float(rate.mean()),
            drain_half=float(drain_half.max()),
            half=float(half.max()),
            u=float(rate.std(ddof=1) / np.sqrt(rate.size)) if several else 0.0,
            dof=float(rate.size - 1) if several else math.inf,
            level_pct=float((mine["start_pct"] + mine["end_pct"]).mean() / 2.0),
        )
    return found


def _level_bound(first: Rate, second: Rate, devices: tuple[Device, Device]) -> float:
    """Return by how much the rates may differ because of the level alone (pp/h)."""
    if all(d.gauge.counts == "energy" for d in devices):
        return 0.0
    one, two = charge_excess([first.level_pct, second.level_pct]).tolist()
    return float(abs(one - two) * (first.rate + second.rate) / 2.0)


def _half_width(first: Rate, second: Rate, cv: float, coverage: float, bound: float) -> float:
    """Return U of the difference of two rates of which only ``half`` depends on the coverage."""
    parts = [first.u, second.u, cv * first.rate, cv * second.rate]
    dof = effective_dof(parts, [first.dof, second.dof, math.inf, math.inf])
    t = coverage_factor(coverage, dof)
    return math.hypot(first.half, second.half, t * math.hypot(*parts)) + bound


def phase_changes(
    like: Likeness,
    units: Sequence[Unit],
    settings: CompareSettings,
    *,
    assumed: float,
) -> tuple[PhaseChange, ...]:
    """Return how every returning unit drained in every matched phase, later against earlier.

    Parameters
    ----------
    like, units, settings
        What was alike between the sessions, the units in them, and what was asked for.
    assumed
        Relative standard deviation of a rate from day to day.

    Notes
    -----
    ``U = √(X₁² + X₂² + t²(u₁² + u₂² + cv²(r₁² + r₂²))) + b``: X the interval of one rate, u the
    scatter of its mean over runs, cv the scatter from day to day, b what a gauge that counts
    charge may show faster at one level than at another. A claim needs U at 1 − (1 − coverage)/M,
    M all such comparisons (Bonferroni). Derived in docs/comparing.md.
    """
    members = like.members
    asked = []
    for number, unit in enumerate(units):
        for before, after in returns(unit):
            sessions = members[before.member].session, members[after.member].session
            matches, _ = match_phases(*sessions, tolerance_pct=settings.length_tolerance_pct)
            differ = like.differing(before, after, of="unit")
            labels = [c.label.lower() for c in differ if c.key not in (*DEVICE_KEYS, "protocol")]
            asked += [(number, before, after, m, ", ".join(labels)) for m in matches]
    if not asked:
        return ()
    share = family_share(settings.coverage, len(asked))
    used = {p.member for _, one, two, _, _ in asked for p in (one, two)}
    tables: dict[float, dict[int, Mapping[tuple[str, str], Rate]]] = {}
    ready = {m: prepare(members[m].session) for m in used}
    for coverage in (settings.coverage, share):
        tables[coverage] = {
            m: _rates(
                members[m],
                phase_drain(members[m].session, Settings(coverage=coverage), prepared=ready[m]),
            )
            for m in used
        }
    found = []
    for number, before, after, match, unlike in asked:
        devices = tuple(members[p.member].session.devices[p.device] for p in (before, after))
        both = [
            [
                tables[c][p.member].get((d.id, phase))
                for p, d, phase in zip(
                    (before, after), devices, (match.first, match.second), strict=True
                )
            ]
            for c in (settings.coverage, share)
        ]
        base = PhaseChange(
            unit=number, before=before, after=after, match=match, first=both[0][0],
            second=both[0][1],
        )  # fmt: skip
        found.append(_judged(base, both[1], (devices[0], devices[1]), unlike, settings.coverage,
                             share, assumed))  # fmt: skip
    return tuple(found)


def _judged(
    base: PhaseChange, wide: list[Rate | None], devices: tuple[Device, Device], labels: str,
    coverage: float, share: float, cv: float,
) -> PhaseChange:  # fmt: skip
    from dataclasses import replace

    first, second = base.first, base.second
    if first is None or second is None or wide[0] is None or wide[1] is None:
        return replace(base, why="no whole phase was read in one of the sessions")
    bound = _level_bound(first, second, devices)
    difference = second.rate - first.rate
    alone = _half_width(first, second, cv, coverage, bound)
    needed = _half_width(wide[0], wide[1], cv, share, bound)
    drain = second.drain_pp - first.drain_pp
    drain_half = float(np.hypot(first.drain_half, second.drain_half))
    verdict = SUPPORTED if abs(difference) > needed else TIED
    return replace(
        base,
        drain_low=drain - drain_half,
        drain_high=drain + drain_half,
        low=difference - alone,
        high=difference + alone,
        needed=needed,
        verdict=CANNOT if labels else verdict,
        faster=0 if labels or verdict == TIED else int(np.sign(difference)),
        why=f"not run alike: {labels}" if labels else "",
    )
