"""Observations of boundaries as a search would find them if single numbers had been others."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.boundary_readings import finished, noted_draft
from kit.drain.boundary_search import Draft, search_one, timed
from kit.drain.gauge import FULL_PCT

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.boundary_readings import Observations
    from kit.drain.boundary_search import Bounds
    from kit.drain.readings import Observed
    from kit.session import Session

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

__all__ = ["Misread", "decides_search", "misread_observations"]


@dataclass(frozen=True, kw_only=True)
class Misread:
    """Alternatives of one number each; arrays of shape (M,).

    Parameters
    ----------
    unit
        Whose number it is.
    at
        Position in the arrays of `Observed`.
    value
        The number in its place (%).
    step
        Step of the display of that unit, as its altered numbers show it (%).
    """

    unit: Ints
    at: Ints
    value: Floats
    step: Floats


def misread_observations(
    session: Session, obs: Observed, bounds: Bounds, other: Misread
) -> Observations:
    """Return the observations of a unit each for alternatives of one number, searched anew.

    Parameters
    ----------
    session, obs
        The record as it is.
    bounds
        Of all its units, from `bounds_of_search`.
    other
        The M alternatives.

    Returns
    -------
    Observations
        Of M units: what `boundary_observations` finds for that unit in the changed record.
    """
    unit, at = other.unit, other.at
    steps = bounds.own_step, bounds.start_step
    whole = noted_draft(obs, bounds.times, steps, bounds.tau, len(session.runs), bounds.share)
    draft = Draft(**{f.name: getattr(whole, f.name)[unit] for f in fields(Draft)})
    noted = np.flatnonzero((obs.point[at] < 2) & (obs.phase[at] >= 0) & ~obs.tick[at])
    column = 2 * obs.phase[at[noted]] + obs.point[at[noted]]
    taken = draft.row[noted, column] == obs.row[at[noted]]
    for values in (draft.level, draft.shown):
        values[noted[taken], column[taken]] = other.value[noted[taken]]
    mine = bounds.of(unit)
    for m, k in enumerate(unit.tolist()):
        soc = obs.soc.copy()
        soc[at[m]] = other.value[m]
        step = float(other.step[m])
        search_one(draft, m, timed(replace(obs, soc=soc), k, step), mine, step)
    return finished(session, draft, mine.joined, other.step)


def decides_search(obs: Observed, other: Misread, base: Observations) -> Bools:
    """Return which alternatives may change what a search finds, shape (M,).

    Parameters
    ----------
    obs, other
        As for `misread_observations`.
    base
        Of the record as it is.

    Notes
    -----
    The others are numbers noted for a boundary between the first and the last of their unit: they
    decide nothing but the level of that boundary.
    """
    searched = np.zeros(base.step.size, dtype=bool)
    searched[obs.unit[(obs.point == 2) | obs.tick]] = True
    first = np.full(base.step.size, np.inf)
    last = np.full(base.step.size, -np.inf)
    known = ~np.isnan(obs.t)
    np.minimum.at(first, obs.unit[known], obs.t[known])
    np.maximum.at(last, obs.unit[known], obs.t[known])
    at, unit = other.at, other.unit
    t = obs.t[at]
    ordinary = (
        (obs.point[at] < 2)
        & ~obs.tick[at]
        & ~(obs.resolution[at] < 1.0)
        & (other.step == base.step[unit])
        & ~((t <= first[unit]) | (t >= last[unit]))
        & (other.value != FULL_PCT)
        & (obs.soc[at] != FULL_PCT)
    )
    return np.asarray(searched[unit] & ~ordinary)
