"""What one run lets be said of every pair of devices: the ground of all claims.

Every claim comes down to entries of a few tables of yes and no: did i run longer than j, did i
drain less than j in a phase, did i stand ahead of j after a phase. They are gathered here once,
with the figures behind them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.claims.activities import doing, stretches
from kit.claims.pair_tables import Compared, Declared, above, pair_tables, phases_first
from kit.drain.declared import declared_comparisons, declared_pair
from kit.drain.phases import MEASURANDS
from kit.drain.places import left, places
from kit.runtime.runtimes import order_of
from kit.stats.order import surely_above

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from kit.claims.activities import Doing, Stretch
    from kit.claims.pair_tables import PairTable
    from kit.drain.misnoted import Misnoted
    from kit.drain.off_times import OffTimes
    from kit.drain.phases import Prepared
    from kit.drain.places import Left, Places
    from kit.results import Settings

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Ints = NDArray[np.int64]

__all__ = [
    "AHEAD",
    "DOING",
    "DRAINS",
    "LESS",
    "LONGER",
    "Evidence",
    "altered_facts",
    "comparable_pairs",
    "evidence",
]

LONGER = "longer"
LESS = {m: f"less:{m}" for m in MEASURANDS}
AHEAD = {m: f"ahead:{m}" for m in MEASURANDS}
DOING = "less:doing"
"""Names of the tables: ran longer; drained less in a phase; stood higher after a phase; drained
less doing something, where the place of a stretch takes that of a phase."""
DRAINS = frozenset({*LESS.values(), DOING})
"""Tables in which less is ahead."""


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
    stretches, doing, doing_pp
        What drains are compared by activity, their table, and the drains of shape (n, stretches).
    present, unread
        Shape (n, phases). Not known to be off when the phase began; neither read nor known to be
        off at its end, though the run has something of the device.
    charged
        Shape (n, phases). Charged by the end of the phase: a standing that is compared with none.
    barred
        Flag of the drains → shape (n, phases), whether it applies.
    declared
        The pair declared beforehand; ``None``: none was.
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
    stretches: tuple[Stretch, ...]
    doing: PairTable | None
    doing_pp: Floats
    present: Flags
    unread: Flags
    charged: Flags
    barred: Mapping[str, Flags]
    declared: Declared | None
    facts: Mapping[str, Flags]
    open_pairs: Mapping[str, Flags]


def _drains(ready: Prepared, units: slice) -> dict[str, Compared]:
    ranked = ready.ranked[units]
    return {
        m: Compared(
            value=found.drain_pp[units],
            shown=found.resolution[units],
            u2=found.u_other_pp[units] ** 2,
            bound=found.bound_pp[units],
            ready=ranked & ~np.isnan(found.drain_pp[units]),
            capped=np.zeros(ranked.shape, dtype=bool),
        )
        for m, found in ready.drains.items()
    }


def _levels(now: Left, found: Places, units: slice) -> dict[str, Compared]:
    """Return the standings; the same rule as `kit.drain.standing`."""
    time, gauge = now.time_variance[units], now.gauge_variance[units]
    spread = {MEASURANDS[0]: time, MEASURANDS[1]: time + gauge}
    return {
        m: Compared(
            value=now.value[units],
            shown=now.shown[units],
            u2=u2,
            bound=now.bound[units],
            ready=(found.on & ~found.charged)[units],
            capped=(found.capped & ~found.charged)[units],
        )
        for m, u2 in spread.items()
    }


def _states(found: Places, units: slice) -> tuple[Flags, Flags, Flags, Flags]:
    """Return who was on, off, not read, and not read but on, after each phase; (n, phases).

    Who was charged is none of them.
    """
    them = ~found.charged[units]
    on, off, unread, on_later = (
        flags[units] & them for flags in (found.on, found.off, found.unread, found.on_later)
    )
    return on, off, unread, on_later


def _decided(on: Flags, off: Flags, unread: Flags, on_later: Flags, later: Flags) -> Flags:
    """Return the pairs whose standing needs no figure: on above off, off later above earlier.

    A device that was not read counts as on if it was seen to be, else as one that was off at the
    earliest when it was last seen on. The first four of shape (…, n, phases), ``later``
    (…, n, n); returns (…, n, n, phases).
    """

    def first(flags: Flags) -> Flags:
        return flags[..., :, None, :]

    behind = off[..., None, :, :]
    sure = first(on | on_later) & behind
    return np.asarray(sure | (first(off | unread) & behind & later[..., None]))


def _longer_tables(offs: OffTimes) -> tuple[Floats, Flags, Flags]:
    """Return P(i ran longer than j), which pairs are claimed, and which can be compared at all."""
    p, longer = order_of(offs)
    return p, longer, comparable_pairs(offs.order_low, offs.order_high)


def comparable_pairs(low: Floats, high: Floats) -> Flags:
    """Return which pairs of power-offs can be compared at all, shape (…, n, n).

    Parameters
    ----------
    low, high
        Shape (…, n). Bounds as in `kit.drain.off_times.OffTimes`: both NaN where nothing is
        known; ``high = inf``: not seen off.

    Examples
    --------
    a off between 300 and 304 min, b between 302 and 306, which is too close but comparable; c seen
    on at 310, after both were off, and never off; d seen on at 200 and then never again, so that it
    may have gone off before any of the others or after them:

    >>> low, high = np.array([300.0, 302, 310, 200]), np.array([304.0, 306, np.inf, np.inf])
    >>> pairs = comparable_pairs(low, high)
    >>> ["abcd"[i] + "abcd"[j] for i, j in np.argwhere(np.triu(pairs, k=1))]
    ['ab', 'ac', 'bc']
    """
    known, unseen = ~(np.isnan(low) | np.isnan(high)), np.isinf(high)
    with np.errstate(invalid="ignore"):
        lost = unseen[..., :, None] & (low[..., :, None] < low[..., None, :])
    both_on = unseen[..., :, None] & unseen[..., None, :]
    both_known = known[..., :, None] & known[..., None, :]
    return np.asarray(both_known & ~(lost | np.swapaxes(lost, -1, -2) | both_on))


class _Tables:
    """Tables of yes and no on drains and standings, and what can be compared at all."""

    def __init__(self) -> None:
        self.facts: dict[str, Flags] = {}
        self.open_pairs: dict[str, Flags] = {}

    def add(self, name: str, above: Flags, both: Flags, known: Flags) -> None:
        """Add a table of levels, or of drains, where less is ahead."""
        drain = name in DRAINS
        self.facts[name] = np.swapaxes(above, -1, -2) if drain else above
        self.open_pairs[name] = both | known | np.swapaxes(known, -1, -2)


def _doing(found: Doing) -> Compared:
    return Compared(
        value=found.drain,
        shown=found.shown,
        u2=found.u2,
        bound=found.bound,
        ready=found.ready,
        capped=np.zeros(found.ready.shape, dtype=bool),
    )


def _declared(ready: Prepared) -> Declared | None:
    pair = declared_pair(ready.chains.session)
    if pair is None:
        return None
    return Declared(*pair, declared_comparisons(ready, ready.places, pair))


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
    p, longer, comparable = _longer_tables(chains.off_times[run])
    nothing = np.zeros((n, n, chains.length_h.shape[1]), dtype=bool)
    decided = _decided(*_states(ready.places, units), chains.off_times[run].later)
    of_drains, of_levels = _drains(ready, units), _levels(ready.left, ready.places, units)
    declared = _declared(ready)
    pairs = pair_tables(
        [*(of_drains[m] for m in MEASURANDS), *(of_levels[m] for m in MEASURANDS)],
        [nothing] * len(MEASURANDS) + [decided] * len(MEASURANDS),
        settings.coverage,
        declared,
    )
    drains: dict[str, PairTable] = dict(zip(MEASURANDS, pairs[: len(MEASURANDS)], strict=True))
    levels: dict[str, PairTable] = dict(zip(MEASURANDS, pairs[len(MEASURANDS) :], strict=True))
    asked = stretches(chains.session)
    done = doing(ready, range(units.start, units.stop), asked) if asked else None
    by_activity = None
    tables = _Tables()
    if done is not None:
        none = np.zeros((n, n, len(asked)), dtype=bool)
        by_activity = pair_tables([_doing(done)], [none], settings.coverage, None)[0]
        tables.add(DOING, by_activity.above, by_activity.compared, by_activity.known)
    for m in MEASURANDS:
        for name, table in ((LESS[m], drains[m]), (AHEAD[m], levels[m])):
            both = table.compared & np.swapaxes(table.compared, -1, -2)
            tables.add(name, table.above, both, table.known)
    return Evidence(
        run=chains.off_times[run].run,
        devices=chains.devices,
        phases=chains.phases,
        offs=chains.off_times[run],
        p_longer=p,
        drains=drains,
        levels=levels,
        level_pct=chains.shown_levels[units, 1::2],
        drain_pp={m: ready.drains[m].drain_pp[units] for m in MEASURANDS},
        stretches=asked,
        doing=by_activity,
        doing_pp=np.zeros((n, 0)) if done is None else done.drain,
        present=ready.places.begun[units],
        unread=(ready.places.unread & ~ready.places.charged)[units],
        charged=ready.places.charged[units],
        barred={code: flag[units] for code, flag in ready.flags.items()},
        declared=declared,
        facts={LONGER: longer, **tables.facts},
        open_pairs={LONGER: comparable, **tables.open_pairs},
    )


def altered_facts(
    ready: Prepared, run: int, other: Prepared, settings: Settings, *, noted: Misnoted | None = None
) -> tuple[dict[str, Flags], dict[str, Flags]]:
    """Return facts and open pairs of one run for alternatives of one unit each.

    Parameters
    ----------
    ready, run, settings
        As for `evidence`.
    other
        Made from `kit.drain.misread.misread_chains`, or from
        `kit.drain.misnoted.misnoted_chains`: M alternatives of units of this run.
    noted
        What the power-offs are in each alternative; as in the record if not given, for they do
        not depend on percentages.

    Returns
    -------
    facts, open_pairs
        As those of :class:`Evidence`, with a leading axis of length M.
    """
    chains = ready.chains
    n = len(chains.devices)
    units = slice(run * n, (run + 1) * n)
    device = other.chains.unit_device
    every = slice(None)
    offs = chains.off_times[run]
    nothing = np.zeros((n, n, chains.length_h.shape[1]), dtype=bool)
    found = places(other.chains, other.states, ~np.isnan(offs.low)[device])
    if noted is None:
        longer, comparable = offs.later, comparable_pairs(offs.order_low, offs.order_high)
        decided = _decided(*_states(ready.places, units), longer)
    else:
        longer = surely_above(noted.least_lead)
        comparable = comparable_pairs(noted.order_low, noted.order_high)
        mine = (np.arange(n) == device[:, None])[:, :, None]
        on, off, unread, on_later = (
            np.where(mine, row[:, None], base[None])
            for base, row in zip(_states(ready.places, units), _states(found, every), strict=True)
        )
        decided = _decided(on, off, unread, on_later, longer)
    declared = _declared(ready)
    tables = _Tables()
    for names, base, rows, known in (
        (LESS, _drains(ready, units), _drains(other, every), nothing),
        (
            AHEAD,
            _levels(ready.left, ready.places, units),
            _levels(left(other.chains, other.states, found), found, every),
            decided,
        ),
    ):
        for m in MEASURANDS:
            merged = base[m].with_rows(rows[m], device)
            nothing_said = names is AHEAD and m != MEASURANDS[0]
            pair = None if nothing_said else declared
            found_above, both = above(merged, known, settings.coverage, pair)
            tables.add(names[m], found_above, both, phases_first(known))
    asked = stretches(chains.session)
    if asked:
        changed = doing(other, range(device.size), asked)
        none = np.zeros((n, n, len(asked)), dtype=bool)
        mine = doing(ready, range(units.start, units.stop), asked)
        merged = _doing(mine).with_rows(_doing(changed), device)
        found_above, both = above(merged, none, settings.coverage, None)
        tables.add(DOING, found_above, both, phases_first(none))
    shape = (device.size, n, n)
    tables.facts[LONGER] = np.broadcast_to(longer, shape)
    tables.open_pairs[LONGER] = np.broadcast_to(comparable, shape)
    return tables.facts, tables.open_pairs
