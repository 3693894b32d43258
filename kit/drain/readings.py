"""Which reading stands for the start and the end of each phase, and how late it was made.

Boundaries are numbered 2p (start of phase p) and 2p + 1 (its end); *units* are the devices of
run 1, then those of run 2, and so on. A boundary has at most one observation: the reading noted
for it, or the nearest timed one of a dense log, or the moment near it at which the display
changed, whichever says more.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.gauge import step_of
from kit.drain.stop_readings import stop_readings
from kit.drain.ticks import find_ticks
from kit.session import columns_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.stop_readings import StopReading
    from kit.drain.ticks import Ticks
    from kit.session import Session

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

__all__ = [
    "FULL_PCT",
    "UNEVEN",
    "Observations",
    "Observed",
    "boundary_observations",
    "observed",
    "searches_boundaries",
]

SEARCH_MIN = 10.0
"""A reading further than this from a boundary does not stand for it (min), nor one further
than a quarter of the shorter phase beside it. A change of the display may be further away:
what the rate may have varied since is in its uncertainty."""

FULL_PCT = 100.0

_LONGEST_MIN = 600.0
"""Stands for the length of a phase that is not known (min)."""

_SHARE = {"floor": 0.5, "nearest": 0.0, "unknown": 0.25}
"""Mean time that has passed since the time shown, as a share of the clock's step."""

UNEVEN = 0.1
"""Relative standard deviation allowed for between the rate near a boundary and the mean of its
phase (assumption, no source)."""


@dataclass(frozen=True, kw_only=True)
class Observed:
    """The frame of readings as arrays, one element per row with a percentage.

    Parameters
    ----------
    unit
        Run position × devices + device position.
    phase
        Position of the phase, −1 when none is named.
    point
        0 start, 1 end, 2 inside or not said.
    tick
        Whether the row notes a change of the display.
    row
        Position of the row in ``session.readings``; −1: the percentage was noted with a device
        that was still on at the stop.
    """

    unit: Ints
    phase: Ints
    point: Ints
    tick: Bools
    t: Floats
    resolution: Floats
    soc: Floats
    order: Ints
    row: Ints


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


def _codes(column: pd.Series[str], index: Mapping[str, int]) -> Ints:
    """Return positions of the ids in a column, -1 for others."""
    categories = getattr(column.dtype, "categories", None)
    if categories is not None:
        table = np.array([*(index.get(c, -1) for c in categories), -1], dtype=np.int64)
        return table[np.asarray(column.cat.codes, dtype=np.int64)]
    if len(column) > 5000:
        import pandas as pd

        ids = pd.Index(list(index), dtype=column.dtype)
        places = np.fromiter(index.values(), dtype=np.int64, count=len(index))
        return np.append(places, -1)[ids.get_indexer(pd.Index(column))]
    return np.array([index.get(i, -1) for i in column.tolist()], dtype=np.int64)


def observed(session: Session) -> Observed:
    """Return the readings and ticks of a session as arrays.

    Parameters
    ----------
    session
        A record that passed its checks; rows of unknown devices or runs are left out.
    """
    frame = session.readings
    runs = {run.number: i for i, run in enumerate(session.runs)}
    devices = {device.id: i for i, device in enumerate(session.devices)}
    phases = {phase.id: i for i, phase in enumerate(session.phases)}
    run_of, device_of, phase_of, point_of, kind_of, t, step, soc_of, order = columns_of(
        frame, "run", "device", "phase", "point", "kind", "t_min", "t_resolution_min", "soc_pct",
        "order",
    )  # fmt: skip
    number = np.asarray(run_of, dtype=np.int64)
    place = np.full(number.shape, -1, dtype=np.int64)
    for run, position in runs.items():
        place[number == run] = position
    device = _codes(device_of, devices)
    soc = np.asarray(soc_of, dtype=np.float64)
    keep = np.flatnonzero((place >= 0) & (device >= 0) & ~np.isnan(soc))
    point = _codes(point_of, {"start": 0, "end": 1})
    resolution = np.asarray(step, dtype=np.float64)
    found = Observed(
        unit=(place * len(devices) + device)[keep],
        phase=_codes(phase_of, phases)[keep],
        point=np.where(point < 0, 2, point)[keep],
        tick=(_codes(kind_of, {"tick": 1}) == 1)[keep],
        t=np.asarray(t, dtype=np.float64)[keep],
        resolution=np.where(np.isnan(resolution), 1.0, resolution)[keep],
        soc=soc[keep],
        order=np.asarray(order, dtype=np.int64)[keep],
        row=keep,
    )
    at_stop = stop_readings(session)
    return _with_stop(found, at_stop, len(devices)) if at_stop else found


def _with_stop(found: Observed, at_stop: Sequence[StopReading], n_devices: int) -> Observed:
    """Return the readings with those made at the stop after them."""
    run, device, phase, t, resolution, soc = (np.array(c) for c in zip(*at_stop, strict=True))
    nothing = np.zeros(len(at_stop), dtype=np.int64)
    more = {
        "unit": run * n_devices + device,
        "phase": phase,
        "point": nothing + 1,
        "tick": nothing.astype(bool),
        "t": t,
        "resolution": np.where(np.isnan(resolution), 1.0, resolution),
        "soc": soc,
        "order": nothing,
        "row": nothing - 1,
    }
    return Observed(
        **{
            name: np.concatenate([getattr(found, name), rows]).astype(getattr(found, name).dtype)
            for name, rows in more.items()
        }
    )


@dataclass(kw_only=True)
class _Draft:
    """Observations while they are being chosen."""

    level: Floats
    shown: Floats
    weight: Floats
    late: Floats
    late_u: Floats
    start_u: Floats
    row: Ints

    @classmethod
    def empty(cls, shape: tuple[int, int]) -> _Draft:
        return cls(
            level=np.full(shape, np.nan), shown=np.full(shape, np.nan), weight=np.ones(shape),
            late=np.zeros(shape), late_u=np.zeros(shape), start_u=np.zeros(shape),
            row=np.full(shape, -1, dtype=np.int64),
        )  # fmt: skip


def _after(noted: Floats, boundary: Floats, share: float) -> Floats:
    """Return how long after the difference of two noted times the true one lies, on average.

    A digital clock shows a minute that has begun: on average half a minute has passed. Where both
    times were noted in this way that cancels.
    """
    return share * (noted - np.minimum(boundary, noted))


def _noted(
    obs: Observed,
    times: Floats,
    steps: tuple[Floats, Floats],
    tau: float,
    n_runs: int,
    share: float,
) -> _Draft:
    """Return the readings noted for boundaries, with their delays after them."""
    draft = _Draft.empty(times.shape)
    given = np.flatnonzero((obs.point < 2) & (obs.phase >= 0) & ~obs.tick)
    where = obs.unit[given], 2 * obs.phase[given] + obs.point[given]
    pick = np.full(times.shape, -1, dtype=np.int64)
    pick[where] = given
    has = pick >= 0
    safe = np.where(has, pick, 0) if given.size else np.zeros(times.shape, dtype=np.int64)
    if not given.size:
        return draft
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
    walk_u = np.where(ordered, tau / 2.0, tau) / np.sqrt(12.0)
    step = np.where(by_clock, obs.resolution[safe], 0.0)
    boundary, start = steps
    late = off + np.where(by_clock, _after(step, boundary + start, share), walk)
    late_u = np.where(by_clock, np.hypot(step, boundary) / np.sqrt(12.0), walk_u)
    draft.start_u = np.where(has & by_clock, start / np.sqrt(12.0), 0.0)
    draft.late = np.where(has, late, 0.0)
    draft.late_u = np.where(has, late_u, 0.0)
    return draft


def _share(draft: _Draft, joined: Bools) -> Ints:
    """Return which boundary's observation each boundary uses.

    ``joined`` (units, phases): whether an observation may be carried between the end of the
    phase before and the start of this one (nothing was charged between).
    """
    n_units, n_states = draft.level.shape
    own = np.where(np.isnan(draft.level), -1, np.arange(n_states))
    node = own.copy()
    starts, ends = own[:, 2::2], own[:, 1:-1:2]
    link = joined[:, 1:]
    node[:, 2::2] = np.where((starts < 0) & link, ends, starts)
    node[:, 1:-1:2] = np.where((ends < 0) & link, starts, ends)
    return node.reshape(n_units, n_states)


def _steps(session: Session, obs: Observed) -> Floats:
    n = len(session.devices)
    device = obs.unit % n
    steps = [
        step_of(d.gauge, obs.soc[(device == i) & ~obs.tick]) for i, d in enumerate(session.devices)
    ]
    return np.tile(np.array(steps), len(session.runs))


@dataclass(frozen=True, kw_only=True)
class _Unit:
    """Timed observations of one unit that are not tied to a boundary, and its ticks."""

    t: Floats
    soc: Floats
    resolution: Floats
    row: Ints
    ticks: Ticks
    rate_pp_per_min: float


def _unit(obs: Observed, unit: int, step: float) -> _Unit:
    rows = np.flatnonzero((obs.unit == unit) & ~np.isnan(obs.t))
    if np.any(np.diff(obs.t[rows]) < 0.0):
        rows = rows[np.argsort(obs.t[rows], kind="stable")]
    t, soc = obs.t[rows], obs.soc[rows]
    free = (obs.point[rows] == 2) & ~obs.tick[rows]
    inner = free | obs.tick[rows] | (obs.resolution[rows] < 1.0)
    elapsed = t[-1] - t[0] if t.size else 0.0
    fall = soc[0] - soc[-1] if t.size else 0.0
    pick = rows[inner]
    return _Unit(
        t=obs.t[rows[free]],
        soc=obs.soc[rows[free]],
        resolution=obs.resolution[rows[free]],
        row=obs.row[rows[free]],
        ticks=find_ticks(
            obs.t[pick], obs.soc[pick], obs.resolution[pick], obs.tick[pick], obs.row[pick], step
        ),
        rate_pp_per_min=max(fall / elapsed, 0.0) if elapsed > 0.0 else 0.2,
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
        return 0.45 * self.shortest


def _improve(draft: _Draft, at: _Boundary, unit: _Unit, step: float, share: float) -> None:
    """Replace the observation of one boundary where a timed one says more."""
    k, b = at.unit, at.column
    rate, best = unit.rate_pp_per_min, at.cost
    own_u = at.step / np.sqrt(12.0)
    start_u = at.start_step / np.sqrt(12.0)

    def lateness(t: Floats, u: Floats, resolution: Floats) -> tuple[float, float]:
        after = _after(resolution, np.asarray(at.step + at.start_step), share)
        return float(t - at.t + after), float(np.hypot(u, own_u))

    if unit.t.size:
        i = _nearest(unit.t, at.t)
        late, late_u = lateness(unit.t[i], unit.resolution[i] / np.sqrt(12.0), unit.resolution[i])
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


def _search(
    draft: _Draft,
    obs: Observed,
    times: Floats,
    steps: tuple[Floats, Floats],
    joined: Bools,
    step: Floats,
    tau: float,
    over: Floats,
    share: float,
) -> None:
    """Look through timed observations for better ones; changes ``draft``.

    A boundary that is both an end and a start, with nothing between, is looked at once.
    """
    units = np.unique(obs.unit[(obs.point == 2) | obs.tick])
    length = times[:, 1::2] - times[:, 0::2]
    for k in units.tolist():
        unit = _unit(obs, k, float(step[k]))
        node = _share(draft, joined)[k]
        for b in np.flatnonzero(~np.isnan(times[k])).tolist():
            t = float(times[k, b])
            if t > over[k]:
                continue
            beside = [p for p in ((b - 1) // 2, b // 2) if p >= 0]
            shortest = float(np.nanmin([*length[k, beside], _LONGEST_MIN]))
            seam = b > 0 and b % 2 == 0 and joined[k, b // 2] and times[k, b - 1] == t
            if seam and np.isnan(draft.level[k, b]):
                continue  # the end of the phase before stands for both
            cost = np.inf
            if node[b] >= 0:
                gap = abs(t - times[k, node[b]])
                reading = step[k] ** 2 / 12.0
                cost = reading + (unit.rate_pp_per_min * (draft.late_u[k, node[b]] + gap)) ** 2
            at = _Boundary(
                unit=k,
                column=b,
                t=t,
                step=float(steps[0][k, b]),
                start_step=float(steps[1][k, b]),
                shortest=shortest,
                tau=tau,
                cost=cost,
            )
            _improve(draft, at, unit, float(step[k]), share)


def searches_boundaries(obs: Observed) -> bool:
    """Return whether there are timed observations that may tell more of a boundary than its own."""
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
    """
    tau = session.assumptions.reading_delay_min
    lag = session.assumptions.display_lag_min
    share = _SHARE[session.assumptions.clock_rounding]
    step = _steps(session, obs)
    draft = _noted(obs, times, steps, tau, len(session.runs), share)
    if searches_boundaries(obs):
        limit = np.asarray(over, dtype=np.float64)
        _search(draft, obs, times, steps, joined, step, tau, limit, share)
    return Observations(
        node=_share(draft, joined),
        level=draft.level,
        shown=draft.shown,
        weight=draft.weight,
        late=np.where(np.isnan(draft.level), draft.late, draft.late - lag / 2.0),
        late_u=draft.late_u,
        start_u=np.hypot(draft.start_u, np.where(np.isnan(draft.level), 0.0, lag / 12.0**0.5)),
        row=draft.row,
        step=step,
    )
