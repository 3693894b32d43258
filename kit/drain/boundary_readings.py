"""Which reading stands for the start and the end of each phase, and how late it was made.

Boundaries are numbered 2p (start of phase p) and 2p + 1 (its end); *units* are the devices of
run 1, then those of run 2, and so on. A boundary has at most one observation: the reading noted
for it, or the nearest timed one of a dense log, or the moment near it at which the display
changed, whichever says more.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.boundary_search import Bounds, Draft, after_noted, own_or_beside, search
from kit.drain.readings import shown_steps
from kit.stats.uncertainty import u_resolution

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from kit.drain.readings import Observed
    from kit.session import Session

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

__all__ = [
    "Observations",
    "boundary_observations",
    "bounds_of_search",
    "finished",
    "noted_draft",
    "searches_boundaries",
]

_SHARE = {"floor": 0.5, "nearest": 0.0, "unknown": 0.25}
"""Mean time that has passed since the time shown, as a share of the clock's step."""


@dataclass(frozen=True, kw_only=True)
class Observations:
    """One observation per unit and boundary; all arrays have shape (units, 2·phases).

    Parameters
    ----------
    node
        Boundary whose observation is used here; −1: none. A boundary without a reading of its
        own uses its neighbour's.
    level
        Percentage at the boundary's own observation, NaN where it has none.
    weight
        1 for a number read off, 0 for a change of the display.
    late, late_u
        Time from the boundary to the observation and its standard uncertainty (min).
    start_u
        u of the time of the run's start, where the boundary follows from that and the
        observation has a time of its own (min): one error for all of them.
    row
        Row in ``session.readings``, −1 where there is none.
    shown
        Percentage that was read at the boundary, also where a change of the display says more;
        NaN: none was read there.
    step
        Shape (units,). Step of the display (%).
    """

    node: Ints
    level: Floats
    shown: Floats
    weight: Floats
    late: Floats
    late_u: Floats
    start_u: Floats
    row: Ints
    step: Floats

    def of(self, unit: Ints) -> Observations:
        """Return those of some units, one after the other."""
        return Observations(**{f.name: getattr(self, f.name)[unit] for f in fields(self)})


def noted_draft(
    obs: Observed,
    times: Floats,
    steps: tuple[Floats, Floats],
    tau: float,
    n_runs: int,
    share: float,
) -> Draft:
    """Return the readings noted for boundaries, with their delays after them.

    Parameters
    ----------
    obs, times, steps
        As for `boundary_observations`.
    tau, share
        As in `kit.drain.boundary_search.Bounds`.
    n_runs
        Number of runs.

    Examples
    --------
    A walk along two devices takes 2 minutes: the first is read on average ½ minute after the
    boundary, the second 1½, each with u = 1/√12 = 0.289 min:

    >>> from kit.drain.readings import observed
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [100, 88], "b": [100, 91]})
    >>> nothing = np.zeros((2, 2))
    >>> times = np.array([[0.0, 60.0], [0.0, 60.0]])
    >>> draft = noted_draft(observed(s), times, (nothing, nothing), 2.0, 1, 0.5)
    >>> draft.late.tolist(), draft.late_u.round(3).tolist()
    ([[0.5, 0.5], [1.5, 1.5]], [[0.289, 0.289], [0.289, 0.289]])
    """
    draft = Draft.empty(times.shape)
    given = np.flatnonzero((obs.point < 2) & (obs.phase >= 0) & ~obs.tick)
    if not given.size:
        return draft
    where = obs.unit[given], 2 * obs.phase[given] + obs.point[given]
    pick = np.full(times.shape, -1, dtype=np.int64)
    pick[where] = given
    has = pick >= 0
    safe = np.where(has, pick, 0)
    draft.level = np.where(has, obs.soc[safe], np.nan)
    draft.shown = draft.level.copy()
    draft.row = np.where(has, obs.row[safe], -1)
    t = np.where(has, obs.t[safe], np.nan)
    order = np.where(has, obs.order[safe], 0)
    rounds = (n_runs, -1, times.shape[1])
    timed = np.where(np.isnan(t), -np.inf, t).reshape(rounds)
    latest = timed.max(axis=1, keepdims=True)
    earliest = np.where(np.isneginf(timed), np.inf, timed).min(axis=1, keepdims=True)
    own = np.broadcast_to(latest > earliest, timed.shape).reshape(times.shape)
    known = ~np.isnan(t) & ~np.isnan(times)
    off = np.where(known, t - times, 0.0)
    # alone in its round and not at the boundary's minute: no time that a row shares
    alone = np.isfinite(timed).sum(axis=1, keepdims=True) == 1
    own = own | (np.broadcast_to(alone, timed.shape).reshape(times.shape) & (off > 0.0))
    by_clock = known & (own | (obs.resolution[safe] < 1.0))
    n = np.broadcast_to(order.reshape(rounds).max(axis=1, keepdims=True), timed.shape).reshape(
        times.shape
    )
    ordered = (order > 0) & (n > 1)
    walk = np.where(ordered, (order - 0.5) / np.maximum(n, 1) * tau, tau / 2.0)
    walk_u = u_resolution(np.where(ordered, tau / 2.0, tau))
    step = np.where(by_clock, obs.resolution[safe], 0.0)
    boundary, start = steps
    late = off + np.where(by_clock, after_noted(step, boundary + start, share), walk)
    late_u = np.where(by_clock, u_resolution(np.hypot(step, boundary)), walk_u)
    draft.start_u = np.where(has & by_clock, u_resolution(start), 0.0)
    draft.late = np.where(has, late, 0.0)
    draft.late_u = np.where(has, late_u, 0.0)
    return draft


def searches_boundaries(obs: Observed) -> bool:
    """Return whether there are timed observations that may tell more of a boundary than its own.

    Examples
    --------
    >>> from kit.drain.readings import observed
    >>> from tests.helpers.builders import make_session
    >>> record = {"phases": {"p1": 60}, "readings": {"a": [100, 88]}}
    >>> tick = {"device": "a", "kind": "tick", "t_min": 30, "soc_pct": 94}
    >>> [searches_boundaries(observed(make_session(**record, more_readings=more)))
    ...  for more in ((), [tick], [{**tick, "t_min": None}])]
    [False, True, False]
    """
    return bool(np.any(((obs.point == 2) | obs.tick) & ~np.isnan(obs.t)))


def boundary_observations(
    session: Session,
    obs: Observed,
    times: Floats,
    steps: tuple[Floats, Floats],
    joined: Bools,
    over: Sequence[float] | Floats,
) -> Observations:
    """Return the observation that stands for each boundary of each unit.

    Parameters
    ----------
    session, obs
        The record and its readings as arrays (`observed`).
    times
        Shape (units, 2·phases). Time of each boundary (min since the run's start, NaN: not
        known).
    steps
        From `kit.read.phase_times.boundary_resolution`.
    joined
        Shape (units, phases). Whether a reading may be carried over into this phase from the
        end of the one before.
    over
        Shape (units,). Time after which the device is off.

    Returns
    -------
    Observations

    Notes
    -----
    A reading noted for a boundary was made 0 … τ after it (``reading_delay_min``), or, when
    the readings along the row carry times of their own, at that time. With a known place k of n in
    the walk it was made around (k − ½)τ/n, with half the spread. A display that lags by 0 … Λ
    (``display_lag_min``) shows the charge of that long before: Λ/2 earlier, with one error of
    u = Λ/√12 for all readings of a unit.

    Examples
    --------
    No reading at the end of the first hour, but the display was seen to change to 87 % a minute
    later: 87.5 % at minute 61 stands for both boundaries, the end and the next start:

    >>> from kit.drain.readings import observed
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60, "p2": 60}, readings={"a": [100, None, 75]},
    ...     more_readings=[{"device": "a", "kind": "tick", "t_min": 61, "soc_pct": 87}])
    >>> nothing = np.zeros((1, 4))
    >>> found = boundary_observations(s, observed(s), np.array([[0.0, 60.0, 60.0, 120.0]]),
    ...     (nothing, nothing), np.array([[True, True]]), [np.inf])
    >>> found.node.tolist(), found.level[0, 1].item(), found.late[0, 1].item()
    ([[0, 1, 1, 3]], 87.5, 1.5)
    """
    bounds = bounds_of_search(session, times, steps, joined, over)
    step = np.tile(shown_steps(session, obs), len(session.runs))
    draft = noted_draft(obs, times, steps, bounds.tau, len(session.runs), bounds.share)
    if searches_boundaries(obs):
        search(draft, obs, bounds, step)
    return finished(session, draft, joined, step)


def finished(session: Session, draft: Draft, joined: Bools, step: Floats) -> Observations:
    """Return the observations of a draft that has been looked through.

    Examples
    --------
    A display that lags by up to 3 min shows on average what was true 1½ min before: read ½ min
    after the boundary it stands for a minute before it, u = 3/√12 = 0.866 min for all readings:

    >>> from kit.session import Assumptions
    >>> from kit.drain.readings import observed
    >>> from tests.helpers.builders import make_session
    >>> draft = Draft.empty((1, 2))
    >>> draft.level[:], draft.late[:] = [[90.0, 78.0]], 0.5
    >>> s = make_session(assumptions=Assumptions(display_lag_min=3.0))
    >>> found = finished(s, draft, np.array([[True]]), np.array([1.0]))
    >>> found.late.tolist(), found.start_u.round(3).tolist()
    ([[-1.0, -1.0]], [[0.866, 0.866]])
    """
    lag = session.assumptions.display_lag_min
    return Observations(
        node=own_or_beside(draft.level, joined),
        level=draft.level,
        shown=draft.shown,
        weight=draft.weight,
        late=np.where(np.isnan(draft.level), draft.late, draft.late - lag / 2.0),
        late_u=draft.late_u,
        start_u=np.hypot(draft.start_u, np.where(np.isnan(draft.level), 0.0, lag / 12.0**0.5)),
        row=draft.row,
        step=step,
    )


def bounds_of_search(
    session: Session,
    times: Floats,
    steps: tuple[Floats, Floats],
    joined: Bools,
    over: Sequence[float] | Floats,
) -> Bounds:
    """Return what a search of boundaries goes by; parameters as of `boundary_observations`.

    Examples
    --------
    Readings up to 2 min late; a digital clock is on average half its step behind:

    >>> from kit.drain.readings import observed
    >>> from tests.helpers.builders import make_session
    >>> nothing = np.zeros((1, 2))
    >>> found = bounds_of_search(make_session(), np.array([[0.0, 60.0]]), (nothing, nothing),
    ...                          np.array([[True]]), [303.0])
    >>> found.tau, found.share, found.over.tolist()
    (2.0, 0.5, [303.0])
    """
    return Bounds(
        times=times, own_step=steps[0], start_step=steps[1], joined=joined,
        over=np.asarray(over, dtype=np.float64), tau=session.assumptions.reading_delay_min,
        share=_SHARE[session.assumptions.clock_rounding],
    )  # fmt: skip
