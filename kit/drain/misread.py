"""What the drains of a session would be if single percentages had been misread.

Each alternative changes one number of one unit, so only that unit is computed anew, and all
alternatives at once: they stand in the place of the units.
"""

from __future__ import annotations

from dataclasses import fields, replace
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.boundary_readings import Observations, searches_boundaries
from kit.drain.chain_levels import (
    LastLevel,
    busiest_rates,
    last_read,
    logged_ends,
    off_percentages,
    started_full,
)
from kit.drain.chains import Chains, search_bounds
from kit.drain.gauge import display_steps
from kit.drain.misread_search import Misread, decides_search, misread_observations

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.readings import Observed

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = ["misread_chains"]


def _taken_from(obs: Observed, old: Observations, unit: Ints, boundary: Ints) -> Ints:
    """Return which observation stands for each boundary, (M,): a reading, or a look at the stop."""
    row = old.row[unit, boundary]
    noted = np.flatnonzero(obs.row >= 0)
    place = np.full(int(obs.row.max(initial=-1)) + 1, -1, dtype=np.int64)
    place[obs.row[noted]] = noted
    at = np.where(row >= 0, place[row] if place.size else -1, -1)
    for m in np.flatnonzero(row < 0).tolist():
        where = 2 * obs.phase + obs.point == boundary[m]
        at[m] = np.flatnonzero((obs.row < 0) & (obs.unit == unit[m]) & where)[0]
    return at


def _steps(chains: Chains, obs: Observed, unit: Ints, at: Ints, value: Floats) -> Floats:
    """Return the step of the display of each altered unit, as its altered values show it."""
    device = obs.unit % len(chains.devices)
    steps = np.empty(unit.size)
    for k in np.unique(chains.unit_device[unit]).tolist():
        gauge = chains.session.devices[k].gauge
        rows = np.flatnonzero(chains.unit_device[unit] == k)
        if gauge.step_pct is not None and gauge.step_pct > 0.0:
            steps[rows] = gauge.step_pct
            continue
        mine = np.flatnonzero((device == k) & ~obs.tick)
        seen, code, count = np.unique(obs.soc[mine], return_inverse=True, return_counts=True)
        own = np.flatnonzero(np.isin(at[rows], mine))
        which = code[np.searchsorted(mine, at[rows[own]])]
        # the other values that the display showed, and the altered one
        values = np.tile(seen, (rows.size, 1))
        alone = count[which] == 1
        values[own[alone], which[alone]] = np.nan
        altered = np.full(rows.size, np.nan)
        altered[own] = value[rows[own]]
        steps[rows] = display_steps(np.column_stack([values, altered]))
    return steps


def _search_again(chains: Chains, obs: Observed, other: Misread, found: Observations) -> None:
    """Search boundaries anew where another number may decide what is found; changes ``found``."""
    again = np.flatnonzero(decides_search(obs, other, chains.observations))
    if not again.size:
        return
    some = Misread(**{f.name: getattr(other, f.name)[again] for f in fields(Misread)})
    searched = misread_observations(chains.session, obs, search_bounds(chains), some)
    for f in fields(Observations):
        getattr(found, f.name)[again] = getattr(searched, f.name)


def misread_chains(
    chains: Chains, unit: Ints, boundary: Ints, value: Floats, *, at: Ints | None = None
) -> Chains | None:
    """Return the chains of units of which one reading is another number.

    Parameters
    ----------
    chains
        Of the record as it is.
    unit, boundary
        Shape (M,). Which reading: it must be the boundary's own; −1: one at no boundary.
    value
        Shape (M,). The number in its place (%).
    at
        Shape (M,). Position in ``chains.observed`` where the boundary is −1.

    Returns
    -------
    Chains or None
        With M units, one for each alternative, in which everything is as if the whole record had
        been read with the other number. ``None`` where that cannot be had unit by unit, for another
        unit would change too.

    Examples
    --------
    87 % read as 81 %:

    >>> from kit.drain.chains import build_chains
    >>> from tests.helpers.builders import make_session
    >>> chains = build_chains(make_session(phases={"p1": 60, "p2": 60},
    ...                                    readings={"a": [100, 87, 75], "b": [100, 90, 81]}))
    >>> other = misread_chains(chains, np.array([0]), np.array([1]), np.array([81.0]))
    >>> other.levels.tolist()
    [[100.0, 81.0, 81.0, 75.0]]
    """
    session = chains.session
    obs = chains.observed
    old = chains.observations
    each = np.arange(unit.size)
    own = np.flatnonzero(boundary >= 0)
    place = np.full(unit.size, -1, dtype=np.int64) if at is None else at.copy()
    place[own] = _taken_from(obs, old, unit[own], boundary[own])
    level = old.level[unit]
    level[own, boundary[own]] = value[own]
    step = _steps(chains, obs, unit, place, value)
    shown = old.shown[unit]
    shown[own, boundary[own]] = value[own]
    found = replace(old.of(unit), level=level, shown=shown, step=step)
    if searches_boundaries(obs):
        other = Misread(unit=unit, at=place, value=value, step=step)
        _search_again(chains, obs, other, found)
    node = found.node
    levels = np.where(node >= 0, np.take_along_axis(level, np.maximum(node, 0), axis=1), np.nan)
    everyone = np.repeat(chains.levels[None], unit.size, axis=0)
    everyone[each, unit] = levels
    busiest = busiest_rates(everyone, chains.length_h, session.assumptions.gap_rate_factor)
    others = np.broadcast_to(chains.busiest, busiest.shape).copy()
    others[each, unit] = busiest[each, unit]
    if not np.array_equal(others, busiest):
        return None
    low = np.concatenate([o.low for o in chains.off_times])[unit]
    high = np.concatenate([o.high for o in chains.off_times])
    last_t, last = last_read(high, obs)
    last_pct = np.where(last >= 0, np.append(obs.soc, np.nan)[last], np.nan)[unit]
    is_last = last[unit] == place
    seen = LastLevel(
        low=low, high=high[unit], noted_pct=logged_ends(session)[1][unit], read_at=last_t[unit],
        read_pct=np.where(is_last, value, last_pct),
    )  # fmt: skip
    mine = busiest[each, unit]
    device = chains.unit_device[unit]
    return replace(
        chains.of(unit),
        observations=found,
        other_at=place,
        other_pct=value,
        full=started_full(session, found, device),
        busiest=mine,
        off_pct=off_percentages(session.assumptions.off_pct_max, seen, mine),
    )
