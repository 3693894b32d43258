"""What one run lets be said of every pair of devices: the ground of all claims.

Every claim comes down to entries of a few tables of yes and no: did i run longer than j, did i
drain less than j in a phase, did i stand ahead of j after a phase. They are gathered here once,
with the figures behind them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.order import margins
from kit.drain.phases import MEASURANDS
from kit.drain.states import gauge_covariance
from kit.runtime.runtimes import order_of
from kit.stats.uncertainty import resolution

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from kit.drain.off_times import OffTimes
    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.stats.uncertainty import Resolution

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["AHEAD", "LESS", "LONGER", "Evidence", "PairTable", "evidence", "longer_tables"]

LONGER = "longer"
LESS = {m: f"less:{m}" for m in MEASURANDS}
AHEAD = {m: f"ahead:{m}" for m in MEASURANDS}
"""Names of the tables: ran longer; drained less in a phase; stood higher after a phase."""


@dataclass(frozen=True, kw_only=True)
class PairTable:
    """Differences between devices in every phase; arrays of shape (phases, n, n).

    Parameters
    ----------
    difference
        Device i minus device j (pp).
    interval, margin
        Half-width of the coverage interval, and what the table rule asks for (pp).
    compared
        Whether both have a figure that may be compared.
    known
        Pairs that are decided otherwise: i is on and j is off, or j was off before i.
    comparisons
        Size of the family that the margin allows for.
    """

    difference: Floats
    interval: Floats
    margin: Floats
    compared: Flags
    known: Flags
    comparisons: int

    @property
    def above(self) -> Flags:
        """Return where i is surely above j."""
        with np.errstate(invalid="ignore"):
            return (self.compared & (self.difference > self.margin)) | self.known


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """Tables of one run; devices and phases in the order of the session.

    Parameters
    ----------
    offs
        Windows of the power-offs.
    p_longer
        Shape (n, n). P(i ran longer than j).
    drains, levels
        Per measurand: drain of i minus drain of j; level of i minus level of j at the end.
    level_pct
        Shape (n, phases). Percentage read at the end of each phase, NaN where none.
    drain_pp
        Per measurand, shape (n, phases).
    facts, open_pairs
        Name of a table → yes or no, and → whether the pair can be compared at all.
    """

    run: int
    devices: tuple[str, ...]
    phases: tuple[str, ...]
    offs: OffTimes
    p_longer: Floats
    drains: Mapping[str, PairTable]
    levels: Mapping[str, PairTable]
    level_pct: Floats
    drain_pp: Mapping[str, Floats]
    facts: Mapping[str, Flags]
    open_pairs: Mapping[str, Flags]


def _pairs(
    value: Floats, shown: Resolution, u2: Floats, bound: Floats, ready: Flags, known: Flags,
    coverage: float,
) -> PairTable:  # fmt: skip
    """Return the comparison of every pair; inputs of shape (n, phases)."""
    taken = (ready[:, None] & ready[None, :]) & ~np.eye(value.shape[0], dtype=bool)[:, :, None]
    comparisons = int(taken.sum()) // 2
    width = margins(
        shown[:, None] + shown[None, :],
        np.sqrt(u2[:, None] + u2[None, :]),
        bound[:, None] + bound[None, :],
        coverage,
        comparisons,
    )
    first = (2, 0, 1)
    return PairTable(
        difference=(value[:, None] - value[None, :]).transpose(first),
        interval=width.single.transpose(first),
        margin=width.table.transpose(first),
        compared=taken.transpose(first),
        known=known.transpose(first),
        comparisons=comparisons,
    )


def _levels(ready: Prepared, run: int, coverage: float) -> dict[str, PairTable]:
    """Return the standings; the same rule as `kit.drain.standing`."""
    chains, now = ready.chains, ready.states
    n = len(chains.devices)
    units = slice(run * n, (run + 1) * n)
    phases = np.arange(chains.length_h.shape[1])
    dying = phases == chains.death[units, None]
    off = (phases >= chains.gone[units, None]) | dying
    on = now.valid[units, 1::2] & ~off
    end = now.matrix[units, 1::2]
    shown = resolution(
        end,
        weights=chains.observations.weight[units, None, :],
        step=chains.observations.step[units, None],
        convention_variance=chains.offset_variance[units, None],
    )
    time = (now.time_u_h**2 * now.rate**2 + now.extra_variance)[units, 1::2]
    gauge = ((end @ gauge_covariance(chains, now)[units]) * end).sum(axis=2)
    later = chains.off_times[run].later
    known = (on[:, None] & off[None, :]) | (off[:, None] & off[None, :] & later[:, :, None])
    value = np.where(on, now.value[units, 1::2], np.nan)
    bound = now.bound[units, 1::2]
    spread = {MEASURANDS[0]: time, MEASURANDS[1]: time + gauge}
    return {m: _pairs(value, shown, u2, bound, on, known, coverage) for m, u2 in spread.items()}


def longer_tables(offs: OffTimes) -> tuple[Floats, Flags, Flags]:
    """Return P(i ran longer than j), which pairs are claimed, and which can be compared at all.

    Parameters
    ----------
    offs
        As for `kit.runtime.runtimes.order_of`.
    """
    p, longer = order_of(offs)
    unseen = np.isinf(offs.high)
    lost = unseen[:, None] & (offs.order_low[:, None] < offs.order_low[None, :])
    both_on = unseen[:, None] & unseen[None, :]
    return p, longer, ~(np.isnan(p) | lost | lost.T | both_on)


def evidence(ready: Prepared, run: int, settings: Settings) -> Evidence:
    """Return the tables of one run.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    run
        Position of the run in the session, from 0.
    settings
        ``coverage``: with this probability nothing false stands in one family of comparisons.
    """
    chains = ready.chains
    n = len(chains.devices)
    units = slice(run * n, (run + 1) * n)
    offs = chains.off_times[run]
    p, longer, comparable = longer_tables(offs)
    ranked = ready.ranked[units]
    nothing = np.zeros((n, n, ranked.shape[1]), dtype=bool)
    drains: dict[str, PairTable] = {}
    drain_pp: dict[str, Floats] = {}
    for m in MEASURANDS:
        found = ready.drains[m]
        drain_pp[m] = found.drain_pp[units]
        usable = ranked & ~np.isnan(found.drain_pp[units])
        drains[m] = _pairs(
            found.drain_pp[units], found.resolution[units], found.u_other_pp[units] ** 2,
            found.bound_pp[units], usable, nothing, settings.coverage,
        )  # fmt: skip
    levels = _levels(ready, run, settings.coverage)
    open_pairs: dict[str, Flags] = {LONGER: comparable}
    facts: dict[str, Flags] = {LONGER: longer}
    for m in MEASURANDS:
        facts[LESS[m]] = drains[m].above.transpose(0, 2, 1)
        open_pairs[LESS[m]] = drains[m].compared
        facts[AHEAD[m]] = levels[m].above
        open_pairs[AHEAD[m]] = (
            levels[m].compared | levels[m].known | levels[m].known.transpose(0, 2, 1)
        )
    return Evidence(
        run=offs.run,
        devices=chains.devices,
        phases=chains.phases,
        offs=offs,
        p_longer=p,
        drains=drains,
        levels=levels,
        level_pct=chains.levels[units, 1::2],
        drain_pp=drain_pp,
        facts=facts,
        open_pairs=open_pairs,
    )
