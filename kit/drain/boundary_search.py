"""Boundaries for which timed observations are looked through: one may say more than its own.

Readings inside phases and changes of the display are candidates; what is nearest to the boundary is
taken where it leaves less unknown than the reading noted there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.gauge import FULL_PCT
from kit.drain.ticks import find_ticks
from kit.stats.uncertainty import u_resolution

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.readings import Observed
    from kit.drain.ticks import Ticks

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

__all__ = [
    "UNEVEN",
    "Bounds",
    "Draft",
    "Timed",
    "after_noted",
    "own_or_beside",
    "search",
    "search_one",
    "timed",
]

SEARCH_MIN = 10.0
"""A reading further than this from a boundary does not stand for it (min), nor one further
than a quarter of the shorter phase beside it (assumption, no source). A change of the display may
be further away: what the rate may have varied since is in its uncertainty."""

_CHANGE_REACH = 0.45
"""How far away that may be, as a share of the shorter phase: less than half, so that it stands for
one boundary of it alone (assumption, no source)."""

_USUAL_PP_PER_MIN = 0.2
"""Rate of a unit with one timed observation only, 12 pp/h; it weighs one observation against
another and enters no result (assumption, no source)."""

_LONGEST_MIN = 600.0
"""Stands for the length of a phase that is not known (min)."""

UNEVEN = 0.1
"""Relative standard deviation allowed for between the rate near a boundary and the mean of its
phase (assumption, no source)."""


@dataclass(frozen=True, kw_only=True)
class Bounds:
    """Where the boundaries of units lie, and what is known of the clock; K units, B boundaries.

    Parameters
    ----------
    times
        Shape (K, B). Time of each boundary (min); NaN: not known.
    own_step, start_step
        Shape (K, B). Steps to which the time of the boundary, and the start that it follows from,
        were noted (min).
    joined
        Shape (K, B/2). Whether a reading may be carried over into this phase from the end of the
        one before.
    over
        Shape (K,). Time after which the device is off (min).
    tau
        Longest delay of a reading (min).
    share
        Mean time that has passed since the time shown, as a share of the clock's step.
    """

    times: Floats
    own_step: Floats
    start_step: Floats
    joined: Bools
    over: Floats
    tau: float
    share: float

    def of(self, unit: Ints) -> Bounds:
        """Return those of some units, one after the other."""
        return Bounds(
            times=self.times[unit], own_step=self.own_step[unit],
            start_step=self.start_step[unit], joined=self.joined[unit], over=self.over[unit],
            tau=self.tau, share=self.share,
        )  # fmt: skip


@dataclass(kw_only=True)
class Draft:
    """Observations while they are being chosen."""

    level: Floats
    shown: Floats
    weight: Floats
    late: Floats
    late_u: Floats
    start_u: Floats
    row: Ints

    @classmethod
    def empty(cls, shape: tuple[int, int]) -> Draft:
        """Return a draft without any."""
        return cls(
            level=np.full(shape, np.nan), shown=np.full(shape, np.nan), weight=np.ones(shape),
            late=np.zeros(shape), late_u=np.zeros(shape), start_u=np.zeros(shape),
            row=np.full(shape, -1, dtype=np.int64),
        )  # fmt: skip


def after_noted(noted: Floats, boundary: Floats, share: float) -> Floats:
    """Return how long after the difference of two noted times the true one lies, on average.

    A digital clock shows a minute that has begun: on average half a minute has passed. Where both
    times were noted in this way that cancels.

    Examples
    --------
    A change noted to the minute, after a boundary kept exactly: half a minute later than the note
    says. After a boundary noted to the minute as well the two halves cancel:

    >>> after_noted(np.array([1.0, 1.0]), np.array([0.0, 1.0]), 0.5).tolist()
    [0.5, 0.0]
    """
    return share * (noted - np.minimum(boundary, noted))


def own_or_beside(level: Floats, joined: Bools) -> Ints:
    """Return which boundary's observation each boundary uses.

    ``level`` (units, boundaries): NaN where there is none. ``joined`` (units, phases): whether an
    observation may be carried between the end of the phase before and the start of this one
    (nothing was charged between).

    Examples
    --------
    Read at boundaries 0, 1 and 3; the second phase starts with the reading that ended the first,
    unless the device was charged between:

    >>> level = np.array([[100.0, 87.0, np.nan, 75.0]])
    >>> own_or_beside(level, np.array([[True, True]])).tolist()
    [[0, 1, 1, 3]]
    >>> own_or_beside(level, np.array([[True, False]])).tolist()
    [[0, 1, -1, 3]]
    """
    n_units, n_states = level.shape
    own = np.where(np.isnan(level), -1, np.arange(n_states))
    node = own.copy()
    starts, ends = own[:, 2::2], own[:, 1:-1:2]
    link = joined[:, 1:]
    node[:, 2::2] = np.where((starts < 0) & link, ends, starts)
    node[:, 1:-1:2] = np.where((ends < 0) & link, starts, ends)
    return node.reshape(n_units, n_states)


@dataclass(frozen=True, kw_only=True)
class Timed:
    """Timed observations of one unit that are not tied to a boundary, and its ticks."""

    t: Floats
    soc: Floats
    resolution: Floats
    row: Ints
    ticks: Ticks
    rate_pp_per_min: float


def timed(obs: Observed, unit: int, step: float) -> Timed:
    """Return the timed observations of a unit whose display has a step (%).

    Examples
    --------
    A reading of 94 % half-way, besides those of the start and the end: it alone is tied to no
    boundary, and the display fell (100 − 88)/60 = 0.2 pp a minute:

    >>> from kit.drain.readings import observed
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [100, 88]},
    ...     more_readings=[{"device": "a", "point": "inside", "t_min": 30, "soc_pct": 94}])
    >>> found = timed(observed(s), 0, 1.0)
    >>> found.t.tolist(), found.soc.tolist(), float(found.rate_pp_per_min)
    ([30.0], [94.0], 0.2)
    """
    rows = np.flatnonzero((obs.unit == unit) & ~np.isnan(obs.t))
    if np.any(np.diff(obs.t[rows]) < 0.0):
        rows = rows[np.argsort(obs.t[rows], kind="stable")]
    t, soc = obs.t[rows], obs.soc[rows]
    free = (obs.point[rows] == 2) & ~obs.tick[rows]
    inner = free | obs.tick[rows] | (obs.resolution[rows] < 1.0)
    elapsed = t[-1] - t[0] if t.size else 0.0
    fall = soc[0] - soc[-1] if t.size else 0.0
    pick = rows[inner]
    return Timed(
        t=obs.t[rows[free]],
        soc=obs.soc[rows[free]],
        resolution=obs.resolution[rows[free]],
        row=obs.row[rows[free]],
        ticks=find_ticks(
            obs.t[pick], obs.soc[pick], obs.resolution[pick], obs.tick[pick], obs.row[pick], step
        ),
        rate_pp_per_min=max(fall / elapsed, 0.0) if elapsed > 0.0 else _USUAL_PP_PER_MIN,
    )


def _nearest(times: Floats, t: float) -> int:
    i = int(np.searchsorted(times, t))
    if i == times.size or (i > 0 and t - times[i - 1] <= times[i] - t):
        return i - 1
    return i


@dataclass(frozen=True, kw_only=True)
class _Boundary:
    """One boundary of one unit for which timed observations are looked through (min)."""

    unit: int
    column: int
    t: float
    step: float
    start_step: float
    shortest: float
    tau: float
    cost: float

    @property
    def reading_reach(self) -> float:
        """Return how far off a reading may be."""
        return max(self.tau, min(SEARCH_MIN, self.shortest / 4.0))

    @property
    def tick_reach(self) -> float:
        """Return how far off a change of the display may be."""
        return _CHANGE_REACH * self.shortest


def _improve(draft: Draft, at: _Boundary, unit: Timed, step: float, share: float) -> None:
    """Replace the observation of one boundary where a timed one says more."""
    k, b = at.unit, at.column
    rate, best = unit.rate_pp_per_min, at.cost
    own_u = u_resolution(at.step)
    start_u = float(u_resolution(at.start_step))

    def lateness(t: Floats, u: Floats, resolution: Floats) -> tuple[float, float]:
        after = after_noted(resolution, np.asarray(at.step + at.start_step), share)
        return float(t - at.t + after), float(np.hypot(u, own_u))

    if unit.t.size:
        i = _nearest(unit.t, at.t)
        late, late_u = lateness(unit.t[i], u_resolution(unit.resolution[i]), unit.resolution[i])
        found = step**2 / 12.0 + (rate * late_u) ** 2 + (UNEVEN * rate * late) ** 2
        near = abs(late) <= at.reading_reach
        if near and (found < best or np.isnan(draft.shown[k, b])):
            draft.shown[k, b] = unit.soc[i]
        if near and found < best:
            best = found
            draft.level[k, b], draft.weight[k, b] = unit.soc[i], 1.0
            draft.late[k, b], draft.late_u[k, b] = late, late_u
            draft.start_u[k, b] = start_u
            draft.row[k, b] = unit.row[i]
    full = b == 0 and draft.level[k, b] == FULL_PCT
    ticks = unit.ticks
    if ticks.t.size and not full:
        i = _nearest(ticks.t, at.t)
        late, late_u = lateness(ticks.t[i], ticks.u[i], ticks.resolution[i])
        found = (rate * late_u) ** 2 + (UNEVEN * rate * late) ** 2
        if abs(late) <= at.tick_reach and found < best:
            draft.level[k, b], draft.weight[k, b] = ticks.level[i], 0.0
            draft.late[k, b], draft.late_u[k, b] = late, late_u
            draft.start_u[k, b] = start_u
            draft.row[k, b] = ticks.row[i]


def search(draft: Draft, obs: Observed, bounds: Bounds, step: Floats) -> None:
    """Look through timed observations for better ones; changes ``draft``.

    Parameters
    ----------
    draft
        The readings noted for the boundaries of all units.
    obs
        From `kit.drain.readings.observed`.
    bounds
        Of all units.
    step
        Shape (K,). Steps of the displays (%).

    Examples
    --------
    As for `search_one`, with what each unit's log holds: 88 % read inside at minute 58 stands for
    the end at minute 60:

    >>> from kit.drain.readings import observed
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [100]},
    ...     more_readings=[{"device": "a", "point": "inside", "t_min": 58, "soc_pct": 88}])
    >>> nothing = np.zeros((1, 2))
    >>> bounds = Bounds(times=np.array([[0.0, 60.0]]), own_step=nothing, start_step=nothing,
    ...     joined=np.array([[True]]), over=np.array([np.inf]), tau=2.0, share=0.0)
    >>> draft = Draft.empty((1, 2))
    >>> search(draft, observed(s), bounds, np.array([1.0]))
    >>> draft.level[0, 1].item(), draft.late[0, 1].item()
    (88.0, -2.0)
    """
    for k in np.unique(obs.unit[(obs.point == 2) | obs.tick]).tolist():
        search_one(draft, k, timed(obs, k, float(step[k])), bounds, float(step[k]))


def search_one(draft: Draft, k: int, unit: Timed, bounds: Bounds, step: float) -> None:
    """Look through the timed observations of one unit; changes row ``k`` of ``draft``.

    A boundary that is both an end and a start, with nothing between, is looked at once.

    Examples
    --------
    The end at minute 60 was not read; 88 % was, inside, at minute 58. It stands for the end, made
    58 − 60 = −2 minutes after it:

    >>> nothing = np.zeros((1, 2))
    >>> bounds = Bounds(times=np.array([[0.0, 60.0]]), own_step=nothing, start_step=nothing,
    ...     joined=np.array([[True]]), over=np.array([np.inf]), tau=2.0, share=0.0)
    >>> log = Timed(t=np.array([58.0]), soc=np.array([88.0]), resolution=np.array([1.0]),
    ...     row=np.array([7]), ticks=find_ticks(*[np.zeros(0)] * 3, np.zeros(0, dtype=bool),
    ...     np.zeros(0, dtype=np.int64), 1.0), rate_pp_per_min=0.2)
    >>> draft = Draft.empty((1, 2))
    >>> search_one(draft, 0, log, bounds, 1.0)
    >>> draft.level[0, 1].item(), draft.late[0, 1].item(), draft.row[0, 1].item()
    (88.0, -2.0, 7)
    """
    times, joined = bounds.times[k], bounds.joined[k]
    length = times[1::2] - times[0::2]
    column = np.arange(times.size)
    before = np.maximum(column - 1, 0) // 2
    shortest = np.fmin(np.fmin(length[before], length[column // 2]), _LONGEST_MIN)
    node = own_or_beside(draft.level[k : k + 1], bounds.joined[k : k + 1])[0]
    for b in np.flatnonzero(~np.isnan(times)).tolist():
        t = float(times[b])
        if t > bounds.over[k]:
            continue
        seam = b > 0 and b % 2 == 0 and joined[b // 2] and times[b - 1] == t
        if seam and np.isnan(draft.level[k, b]):
            continue  # the end of the phase before stands for both
        cost = np.inf
        if node[b] >= 0:
            gap = abs(t - times[node[b]])
            reading = step**2 / 12.0
            cost = reading + (unit.rate_pp_per_min * (draft.late_u[k, node[b]] + gap)) ** 2
        at = _Boundary(
            unit=k,
            column=b,
            t=t,
            step=float(bounds.own_step[k, b]),
            start_step=float(bounds.start_step[k, b]),
            shortest=float(shortest[b]),
            tau=bounds.tau,
            cost=cost,
        )
        _improve(draft, at, unit, step, bounds.share)
