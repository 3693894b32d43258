"""What each reading can stand for, in per cent and in time, for the figure of the charge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from kit.drain.gauge import FULL_PCT
from kit.drain.off_record import clock_margins
from kit.drain.readings import observed, shown_steps
from kit.show.cells import of_run, rows_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from kit.drain.readings import Observed
    from kit.session import Assumptions, Session

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

__all__ = ["READ_OFF", "TICKED", "ReadingRanges", "reading_ranges"]

READ_OFF: Mapping[str, tuple[float, float]] = {
    "truncated": (0.0, 1.0),
    "nearest": (-0.5, 0.5),
    "rounded_up": (-1.0, 0.0),
    "unknown": (-1.0, 1.0),
}
"""From the number shown to the lowest and highest charge that it stands for (steps)."""

TICKED: Mapping[str, tuple[float, float]] = {
    "truncated": (1.0, 1.0),
    "nearest": (0.5, 0.5),
    "rounded_up": (0.0, 0.0),
    "unknown": (0.0, 1.0),
}
"""The same at the moment at which the display falls to a number: the charge is then at the edge."""


@dataclass(frozen=True, kw_only=True)
class ReadingRanges:
    """Readings of one run, by device and then by time; arrays of shape (n,).

    Parameters
    ----------
    device
        Position of the device in the session.
    t, early, late
        When it was read: as noted, at the earliest, at the latest (min since the start).
    soc, low, high
        Percentage shown, and the lowest and highest charge that it stands for (%).
    step
        Shape (devices,). Step of each display (%).
    """

    device: Ints
    t: Floats
    early: Floats
    late: Floats
    soc: Floats
    low: Floats
    high: Floats
    step: Floats

    def of(self, device: int) -> ReadingRanges:
        """Return the readings of one device."""
        low, high = np.searchsorted(self.device, [device, device + 1])
        return self[slice(int(low), int(high))]

    def __getitem__(self, index: Any) -> ReadingRanges:
        return ReadingRanges(
            device=self.device[index], t=self.t[index], early=self.early[index],
            late=self.late[index], soc=self.soc[index], low=self.low[index],
            high=self.high[index], step=self.step,
        )  # fmt: skip

    def __len__(self) -> int:
        return self.t.size


def _boundaries(session: Session, run: int) -> tuple[Floats, Floats]:
    """Return time and clock step of each phase's start and end; shapes (phases, 2)."""
    place = {phase.id: i for i, phase in enumerate(session.phases)}
    times, steps = np.full((2, len(place) + 1, 2), np.nan)  # the last row: no phase
    for row in rows_of(of_run(session.spans, run)):
        times[place[row.phase]] = row.start_min, row.end_min
        steps[place[row.phase]] = row.t_resolution_min
    return times, np.where(np.isnan(steps), 1.0, steps)


def _by_own_clock(obs: Observed, boundary: Floats) -> Bools:
    """Return which readings have a time of their own, as `kit.drain.boundary_readings` takes it.

    A round is read at one boundary. Its readings share the boundary's minute, and then each was
    made at an unknown moment of the walk; or they carry different times, or finer ones.
    """
    own = (obs.point == 2) | obs.tick | (obs.resolution < 1.0)
    rows = np.flatnonzero((obs.point < 2) & (obs.phase >= 0) & ~obs.tick)
    if rows.size:
        _, place = np.unique(2 * obs.phase[rows] + obs.point[rows], return_inverse=True)
        t = obs.t[rows]
        timed = ~np.isnan(t)
        n = np.bincount(place, weights=timed)
        first, last = np.full(n.size, np.inf), np.full(n.size, -np.inf)
        np.minimum.at(first, place[timed], t[timed])
        np.maximum.at(last, place[timed], t[timed])
        alone = (n[place] == 1) & (t > boundary[rows])
        own[rows] |= (last > first)[place] | alone
    return np.asarray(own & ~np.isnan(obs.t))


def _walk(obs: Observed, assumed: Assumptions) -> Floats:
    """Return the latest moment of the walk at which a row was read (min after its boundary)."""
    tau = assumed.reading_delay_min
    late = np.full(obs.t.size, tau)
    placed = np.flatnonzero(obs.order > 0)
    if placed.size:
        _, group = np.unique(2 * obs.phase[placed] + obs.point[placed], return_inverse=True)
        n = np.zeros(int(group.max()) + 1)
        np.maximum.at(n, group, obs.order[placed])
        middle = (obs.order[placed] - 0.5) / n[group] * tau
        late[placed] = np.where(n[group] > 1, np.minimum(middle + tau / 4.0, tau), tau)
    return late


def _around(session: Session, step: Floats, ranges: Mapping[str, tuple[float, float]]) -> Floats:
    """Return how far below and above the number the charge can be (pp); shape (devices, 2)."""
    return np.array([ranges[d.gauge.rounding] for d in session.devices]) * step[:, None]


def _only(obs: Observed, keep: Bools) -> Observed:
    return type(obs)(**{name: getattr(obs, name)[keep] for name in obs.__dataclass_fields__})


def reading_ranges(session: Session, run: int = 1) -> ReadingRanges:
    """Return what each reading of a run can stand for.

    Parameters
    ----------
    session
        A record that passed its checks.
    run
        Number of the run.

    Returns
    -------
    ReadingRanges
        Readings with a percentage and a time; one without a time of its own stands at its
        boundary. Sorted by device and time.

    Notes
    -----
    Hard bounds, not coverage intervals, and those of one reading in
    `kit.stats.uncertainty.resolution`: one step either way where it is not known how the display
    rounds, else half a step about the middle of what the number stands for. Within 0 and 100 %; a
    first reading of 100 % at the start is a full charge (`kit.drain.chain_levels.started_full`).
    The gauge's own deviation is not in it: the axis is what the display says.

    In time: the step of the clock, and for rows that share the minute of their boundary the walk
    along the row (``reading_delay_min``, which ends earlier for the first in the walk where its
    order was noted), and before it the lag of the display. Derived in docs/measurement.md.

    Examples
    --------
    A display of whole per cent whose rounding nobody noted shows 88 at minute 60, read within
    2 min by a clock that shows whole minutes: 87 to 89 %, between minutes 60 and 63.

    >>> import pandas as pd
    >>> from kit.session import Device, Phase, Run, Session, empty_frames
    >>> frames = empty_frames()
    >>> frames["spans"] = pd.DataFrame([{"run": 1, "phase": "p", "start_min": 0.0, "end_min": 60.0,
    ...                                  "t_resolution_min": 1.0}])
    >>> frames["readings"] = pd.DataFrame([
    ...     {"run": 1, "device": "a", "phase": "p", "point": point, "kind": "reading", "t_min": t,
    ...      "t_resolution_min": 1.0, "soc_pct": soc, "order": 0}
    ...     for point, t, soc in (("start", 0.0, 100.0), ("end", 60.0, 88.0))])
    >>> found = reading_ranges(Session(
    ...     id="s", title="", devices=(Device(id="a", label="A"),),
    ...     phases=(Phase(id="p", label="P"),), runs=(Run(number=1),), **frames))
    >>> found.low.tolist(), found.high.tolist()
    ([100.0, 87.0], [100.0, 89.0])
    >>> found.early.tolist(), found.late.tolist()
    ([0.0, 60.0], [3.0, 63.0])
    """
    everything = observed(session)
    n = len(session.devices)
    step = shown_steps(session, everything)
    place = next(i for i, item in enumerate(session.runs) if item.number == run)
    obs = _only(everything, everything.unit // n == place)
    device = obs.unit % n

    times, clock_steps = _boundaries(session, run)
    point = np.minimum(obs.point, 1)
    boundary = np.where(obs.point < 2, times[obs.phase, point], np.nan)
    own = _by_own_clock(obs, boundary)
    untimed = np.isnan(obs.t)
    t = np.where(untimed, boundary, obs.t)
    resolution = np.where(untimed, clock_steps[obs.phase, point], obs.resolution)
    assumed = session.assumptions
    margin_before, margin_after = clock_margins(assumed.clock_rounding, 1.0)
    early = t - margin_before * resolution
    late = t + margin_after * resolution + np.where(own, 0.0, _walk(obs, assumed))

    read_off, ticked = _around(session, step, READ_OFF), _around(session, step, TICKED)
    around = np.where(obs.tick[:, None], ticked[device], read_off[device])
    low, high = np.clip(obs.soc[:, None] + around, 0.0, FULL_PCT).T
    order = np.lexsort((t, device))
    order = order[~np.isnan(t[order])]
    first = np.ones(order.size, dtype=bool)
    first[1:] = device[order][1:] != device[order][:-1]
    at_start = ((obs.point == 0) & (obs.phase == 0)) | (t <= times[0, 0])
    opening = order[first & at_start[order]]
    full = opening[obs.soc[opening] == FULL_PCT]
    low[full] = high[full] = FULL_PCT
    return ReadingRanges(
        device=device[order], t=t[order], early=early[order] - assumed.display_lag_min,
        late=late[order], soc=obs.soc[order], low=low[order], high=high[order], step=step,
    )  # fmt: skip
