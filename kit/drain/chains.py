"""The chain of boundary readings of every device, ready for calculation.

One `Chains` object is prepared per session (`build_chains`) and passed to everything that
computes from readings, so that the choice of readings, the gaps between them, the power-offs
and the start from a full charge are decided once. Hours inside, minutes only in the record.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.boundary_readings import Observations, boundary_observations, bounds_of_search
from kit.drain.chain_levels import (
    LastLevel,
    busiest_rates,
    device_conditions,
    last_read,
    off_percentages,
    started_full,
)
from kit.drain.gauge import convention
from kit.drain.off_phases import ends_of
from kit.drain.off_times import off_times
from kit.drain.readings import observed
from kit.read.phase_times import boundary_resolution, phase_times, unplaced_gaps

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.boundary_search import Bounds
    from kit.drain.off_times import OffTimes
    from kit.drain.readings import Observed
    from kit.read.phase_times import PhaseTimes, UnplacedGaps
    from kit.session import Session

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

_LOOSEST = 1.0 / 3.0
"""A time whose u is more than this share of it makes no rate (derived in docs/measurement.md)."""

__all__ = ["Chains", "build_chains", "device_conditions", "search_bounds"]


@dataclass(frozen=True, kw_only=True)
class Chains:
    """Readings at the boundaries of every unit (device × run) and what happened between.

    Shapes: K units (devices of the first run, then of the second, …), P phases, boundaries
    2p and 2p + 1 are start and end of phase p. Times in hours.

    Parameters
    ----------
    observations
        Which reading stands for which boundary.
    length_h, length_u_h
        Shape (K, P). Length of the phase and its standard uncertainty; NaN: not known.
    pause_h
        Shape (K, P). Time between the end of the phase before and the start.
    gap_h, gap_u_h
        Shape (K, P). Unlogged time between the reading used for the start and the start, and
        its standard uncertainty where only a total of several gaps is known.
    end_gap_h
        Shape (K, P). The same after the end, where the end is read at the next start.
    full
        Shape (K,). Started at a known full charge: the first boundary is 100 % exactly.
    offset, offset_variance
        Shape (K,). From the number shown to the true value (steps), see
        `kit.drain.gauge.convention`.
    death
        Shape (K,). Phase in which the device powered off, −1: in none.
    gone
        Shape (K,). First phase that it did not begin; P: began all.
    off_u_h
        Shape (K,). u of the time from the start of its phase to the power-off; NaN: not observed.
    off_pct
        Shape (K, 2). Bounds of the percentage shown at the power-off.
    exposure_h
        Shape (K, P). Time that the device ran in the phase: its length, or start to power-off.
    charged
        Shape (K, P). Whether the device was charged during the phase.
    joined
        Shape (K, P). Whether the reading before may serve as this phase's start.
    looks
        Shape (K, P). Readings made in the phase, its ends included.
    busiest
        Shape (K,). Highest rate at which a gap may have drained the device (pp/h).
    unit_device, unit_run
        Shape (K,). Position of the device of each unit, and of its run.
    observed
        The readings of the session, for all that looks beyond the boundaries.
    other_at, other_pct
        Shape (K,). Which of them is another number in an alternative of a unit (−1: none is), and
        that number; from `kit.drain.misread`.
    """

    session: Session
    runs: tuple[int, ...]
    devices: tuple[str, ...]
    phases: tuple[str, ...]
    observations: Observations
    length_h: Floats
    length_u_h: Floats
    start_h: Floats
    pause_h: Floats
    gap_h: Floats
    gap_u_h: Floats
    end_gap_h: Floats
    full: Bools
    offset: Floats
    offset_variance: Floats
    death: Ints
    gone: Ints
    off_u_h: Floats
    off_pct: Floats
    off_times: tuple[OffTimes, ...]
    exposure_h: Floats
    charged: Bools
    joined: Bools
    looks: Ints
    busiest: Floats
    unit_device: Ints
    unit_run: Ints
    observed: Observed
    other_at: Ints
    other_pct: Floats

    @property
    def units(self) -> int:
        """Return the number of units, devices × runs."""
        return self.unit_device.size

    @cached_property
    def timed(self) -> Bools:
        """Return where the time in a phase is known well enough for a rate, shape (K, P).

        Examples
        --------
        Off between 62 and 120 min, in a phase that began at 60: on for 31 min with u = 58/√12 = 17,
        more than a third of it. Off between 100 and 120: 50 min, u = 6:

        >>> from tests.helpers.builders import make_session, seen
        >>> [build_chains(make_session(devices=["a"], phases={"p1": 60, "p2": 90},
        ...                            power_offs={"a": seen(on, 119)})).timed.tolist()
        ...  for on in (62, 100)]
        [[[True, False]], [[True, True]]]
        """
        dying = np.arange(self.length_h.shape[1]) == self.death[:, None]
        u = np.where(dying, self.off_u_h[:, None], self.length_u_h)
        with np.errstate(invalid="ignore"):
            return (self.exposure_h > 0.0) & ~(u > _LOOSEST * self.exposure_h)

    @property
    def origin(self) -> Ints:
        """Return which unit of the record each unit is, also where they are alternatives, (K,)."""
        return self.unit_run * len(self.devices) + self.unit_device

    def of(self, unit: Ints) -> Chains:
        """Return the chains of some units, one after the other; what the record has stays whole."""
        whole = ("session", "runs", "devices", "phases", "observed", "off_times", "observations")
        rows = {f.name: getattr(self, f.name)[unit] for f in fields(self) if f.name not in whole}
        return replace(self, **rows, observations=self.observations.of(unit))

    def level(self, boundary: int) -> Floats:
        """Return the percentage that stands for one boundary of every unit; NaN: none."""
        node = self.observations.node[:, boundary]
        taken = self.observations.level[np.arange(node.size), node]
        return np.where(node >= 0, taken, np.nan)

    @cached_property
    def levels(self) -> Floats:
        """Return the percentages that stand for all boundaries, shape (K, 2P)."""
        node = self.observations.node
        taken = np.take_along_axis(self.observations.level, np.maximum(node, 0), axis=1)
        return np.where(node >= 0, taken, np.nan)

    @cached_property
    def shown_levels(self) -> Floats:
        """Return the percentages that the displays showed at the boundaries, shape (K, 2P).

        Where a change of the display stands for a boundary at which nobody read a number, it is
        the number shown then.
        """
        obs = self.observations
        node = np.maximum(obs.node, 0)
        tick = np.take_along_axis(obs.weight, node, axis=1) == 0.0
        seen = obs.late + self.session.assumptions.display_lag_min / 2.0
        after = np.take_along_axis(seen, node, axis=1) > 0.0
        half = np.where(after, 0.5, -0.5) * obs.step[:, None]
        read = np.take_along_axis(obs.shown, node, axis=1)
        return np.where(
            tick & (obs.node >= 0) & ~np.isnan(read), read, self.levels + np.where(tick, half, 0.0)
        )

    def in_frame_order(self, values: NDArray[np.generic]) -> NDArray[np.generic]:
        """Return values of shape (K, P) flat, ordered by run, phase and device."""
        shape = (len(self.runs), len(self.devices), len(self.phases))
        return values.reshape(shape).transpose(0, 2, 1).reshape(-1)


def _charging(session: Session, spans: PhaseTimes) -> tuple[Bools, Bools]:
    """Return whether each unit was charged during a phase, and whether before it."""
    shape = spans.start.shape
    during = np.zeros(shape, dtype=bool)
    before = np.zeros(shape, dtype=bool)
    frame = session.charges
    if not len(frame):
        return during, before
    n = len(session.devices)
    runs = {run.number: i for i, run in enumerate(session.runs)}
    devices = {d.id: i for i, d in enumerate(session.devices)}
    phases = {p.id: i for i, p in enumerate(session.phases)}
    columns = (frame[c].tolist() for c in ("run", "device", "phase", "start_min", "end_min"))
    for run, device, phase, begin, finish in zip(*columns, strict=True):
        if run not in runs or device not in devices:
            continue
        k = runs[run] * n + devices[device]
        t0 = begin if begin == begin else finish
        t1 = finish if finish == finish else t0
        if t0 != t0:
            if phase in phases:
                during[k, phases[phase]] = True
                before[k, phases[phase] + 1 :] |= np.arange(shape[1] - phases[phase] - 1) == 0
            continue
        start, end = spans.start[k], spans.end[k]
        during[k] |= (start < t1) & (end > t0)
        since = np.concatenate([[-np.inf], end[:-1]])
        before[k] |= (since < t1 + 1e-9) & (start > t0 - 1e-9) & ~((start < t1) & (end > t0))
    return during, before


def _looks(obs: Observed, shape: tuple[int, int]) -> Ints:
    named = obs.phase >= 0
    flat = obs.unit[named] * shape[1] + obs.phase[named]
    return np.bincount(flat, minlength=shape[0] * shape[1]).reshape(shape)


def _located(spans: PhaseTimes, unplaced: UnplacedGaps) -> Floats:
    """Return the times of the boundaries, NaN where gaps lie nobody knows where before."""
    moved = (unplaced.shift > 0.0).any(axis=1, keepdims=True)
    times = np.empty((spans.start.shape[0], 2 * spans.start.shape[1]))
    times[:, 0::2] = np.where(moved & ~spans.start_located, np.nan, spans.start)
    times[:, 1::2] = np.where(moved & ~spans.end_located, np.nan, spans.end)
    return times


def search_bounds(chains: Chains) -> Bounds:
    """Return what a search of the boundaries of all units goes by.

    Examples
    --------
    >>> from tests.helpers.builders import make_session
    >>> found = search_bounds(build_chains(make_session(phases={"p1": 60, "p2": 30},
    ...     readings={"a": [100, 87, 75]}, gaps={"p2": 5})))
    >>> found.times.tolist(), found.tau
    ([[0.0, 60.0, 65.0, 95.0]], 2.0)
    """
    session = chains.session
    spans = phase_times(session)
    high = np.concatenate([o.high for o in chains.off_times])
    return bounds_of_search(
        session,
        _located(spans, unplaced_gaps(session, spans)),
        boundary_resolution(session, spans),
        chains.joined,
        np.where(np.isnan(high), np.inf, high),
    )


def _at(values: Floats, place: Ints) -> Floats:
    """Return one value per row, 0 where the place is −1."""
    hit = place[:, None] == np.arange(values.shape[1])
    return np.asarray(np.where(hit, values, 0.0).sum(axis=1))


def build_chains(session: Session) -> Chains:
    """Return the chains of a session: every later calculation starts from them.

    Parameters
    ----------
    session
        A record that passed its checks.

    Returns
    -------
    Chains

    Examples
    --------
    >>> from tests.helpers.builders import make_session
    >>> chains = build_chains(make_session(phases={"p1": 60, "p2": 60},
    ...                                    readings={"a": [100, 87, 75]}))
    >>> chains.levels.tolist(), chains.full.tolist()
    ([[100.0, 87.0, 87.0, 75.0]], [True])
    """
    spans = phase_times(session)
    unplaced = unplaced_gaps(session, spans)
    start = spans.start + unplaced.shift
    offs = off_times(session)
    low = np.concatenate([o.low for o in offs]) if offs else np.zeros(0)
    high = np.concatenate([o.high for o in offs]) if offs else np.zeros(0)
    shifted = replace(spans, start=start, end=spans.end + unplaced.shift)
    ends = ends_of(session, shifted, np.arange(low.size), low, high)
    obs = observed(session)
    during, before = _charging(session, spans)
    times = _located(spans, unplaced)
    over = np.where(np.isnan(ends.high), np.inf, ends.high)
    found = boundary_observations(
        session, obs, times, boundary_resolution(session, spans), ~before, over
    )
    placed = spans.start[:, 1:] - spans.end[:, :-1]
    gap, gap_u = unplaced.gap, unplaced.gap_u
    gap[:, 1:] += np.where(placed > 0.0, placed, 0.0)
    node, states = found.node, np.arange(found.node.shape[1])
    borrowed_start = (node != states)[:, 0::2] & (node[:, 0::2] >= 0)
    borrowed_end = (node != states)[:, 1::2] & (node[:, 1::2] >= 0)
    next_gap = np.concatenate([gap[:, 1:], np.zeros((gap.shape[0], 1))], axis=1)
    levels = np.where(
        node >= 0, np.take_along_axis(found.level, np.maximum(node, 0), axis=1), np.nan
    )
    rounding = [convention(d.gauge.rounding) for d in session.devices]
    length_h = spans.length / 60.0
    busiest = busiest_rates(levels, length_h, session.assumptions.gap_rate_factor)
    unit_device = np.tile(np.arange(len(session.devices)), len(session.runs))
    last_t, last = last_read(ends.high, obs)
    seen = LastLevel(
        low=ends.low, high=ends.high, noted_pct=ends.noted_pct, read_at=last_t,
        read_pct=np.where(last >= 0, np.append(obs.soc, np.nan)[last], np.nan),
    )  # fmt: skip
    dying = np.arange(length_h.shape[1]) == ends.death[:, None]
    exposure = np.where(dying, (ends.middle[:, None] - start) / 60.0, length_h)
    return Chains(
        session=session,
        runs=tuple(run.number for run in session.runs),
        devices=tuple(d.id for d in session.devices),
        phases=tuple(p.id for p in session.phases),
        observations=found,
        length_h=length_h,
        length_u_h=spans.length_u / 60.0,
        start_h=start / 60.0,
        pause_h=gap / 60.0,
        gap_h=np.where(borrowed_start, gap, 0.0) / 60.0,
        gap_u_h=np.where(borrowed_start, gap_u, 0.0) / 60.0,
        end_gap_h=np.where(borrowed_end, next_gap, 0.0) / 60.0,
        full=started_full(session, found, unit_device),
        offset=np.array([r[0] for r in rounding], dtype=np.float64)[unit_device],
        offset_variance=np.array([r[1] for r in rounding], dtype=np.float64)[unit_device],
        death=ends.death,
        gone=ends.gone,
        off_u_h=np.hypot(ends.u, _at(unplaced.shift_u, ends.death)) / 60.0,
        off_pct=off_percentages(session.assumptions.off_pct_max, seen, busiest),
        off_times=offs,
        exposure_h=exposure,
        charged=during,
        joined=~before,
        looks=_looks(obs, length_h.shape),
        busiest=busiest,
        unit_device=unit_device,
        unit_run=np.repeat(np.arange(len(session.runs)), len(session.devices)),
        observed=obs,
        other_at=np.full(unit_device.size, -1, dtype=np.int64),
        other_pct=np.full(unit_device.size, np.nan),
    )
