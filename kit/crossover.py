"""Crossover phases: the effect of the activity, free of the effect of the order.

Every device does both activities, half of the row in one order and half in the other. Rates are
those of the display, in pp/h: they compare activities within a device.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from kit.part_rows import PartRow, done_h, flag_exposure, turns
from kit.uncertainty import coverage_factor, normal_factor, resolution

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.drain import Prepared
    from kit.part_rows import Turn
    from kit.readings import Observed
    from kit.session import Phase

__all__ = ["CrossoverEffect", "crossover_effect", "crossover_rows"]

_UNNAMED = ("first activity", "second activity")


@dataclass(frozen=True, kw_only=True)
class CrossoverEffect:
    """Effects of a crossover of activities a and b, in the unit of the differences given.

    Parameters
    ----------
    activity, activity_u, activity_half
        a minus b: estimate, standard uncertainty, half-width of the coverage interval.
    period, period_u, period_half
        The same for second minus first half, whatever was done in it.
    n_ab, n_ba
        Devices in the two orders.
    """

    activity: float
    activity_u: float
    activity_half: float
    period: float
    period_u: float
    period_half: float
    n_ab: int
    n_ba: int


def crossover_effect(
    ab: Sequence[float],
    ba: Sequence[float],
    u_ab: Sequence[float],
    u_ba: Sequence[float],
    coverage: float,
) -> CrossoverEffect:
    """Return the effects of activity and of order from differences a − b per device.

    Parameters
    ----------
    ab, ba
        Differences a − b of the devices that began with a, and of those that began with b.
    u_ab, u_ba
        Their standard uncertainties from the readings.
    coverage
        Probability of the intervals.

    Notes
    -----
    ``activity = (mean_AB + mean_BA)/2``, ``period = (mean_BA − mean_AB)/2``. u from the
    readings, ``u_q = √(Σu²/n₁² + Σu²/n₂²)/2``; u from the scatter between devices,
    ``u_s = s√(1/n₁ + 1/n₂)/2`` with s pooled within the orders, n₁ + n₂ − 2 degrees of freedom.
    ``U = max(k·u_q, t·u_s)``. A carry-over from the first half into the second cannot be told
    from the order; it is taken to be 0. With one order missing both effects are NaN. Derived in
    docs/measurement.md.

    Examples
    --------
    a − b = 4, 5 in order AB and 2, 3 in order BA, each with u = √(6/12) = 0.707: means 4.5 and
    2.5, activity (4.5 + 2.5)/2 = 3.5, period (2.5 − 4.5)/2 = −1.0; u_q = √(1/4 + 1/4)/2 = 0.354;
    s² = (0.5 + 0.5)/2, u_s = 0.707 × 1/2 = 0.354, t(2) = 4.30: U = 1.52.

    >>> e = crossover_effect([4, 5], [2, 3], [0.5**0.5] * 2, [0.5**0.5] * 2, 0.95)
    >>> e.activity, e.period, round(e.activity_u, 3), round(e.activity_half, 2)
    (3.5, -1.0, 0.354, 1.52)
    """
    n1, n2 = len(ab), len(ba)
    if not n1 or not n2:
        nan = float("nan")
        return CrossoverEffect(
            activity=nan, activity_u=nan, activity_half=nan,
            period=nan, period_u=nan, period_half=nan, n_ab=n1, n_ba=n2,
        )  # fmt: skip
    x1, x2 = np.asarray(ab, dtype=np.float64), np.asarray(ba, dtype=np.float64)
    read = (np.square(u_ab).sum() / n1**2 + np.square(u_ba).sum() / n2**2) ** 0.5 / 2.0
    dof = n1 + n2 - 2
    half, u = normal_factor(coverage) * read, read
    if dof > 0:
        pooled = (((x1 - x1.mean()) ** 2).sum() + ((x2 - x2.mean()) ** 2).sum()) / dof
        scatter = float((pooled * (1.0 / n1 + 1.0 / n2)) ** 0.5 / 2.0)
        half = max(half, coverage_factor(coverage, dof) * scatter)
        u = max(read, scatter)
    return CrossoverEffect(
        activity=float(x1.mean() + x2.mean()) / 2.0, activity_u=float(u),
        activity_half=float(half), period=float(x2.mean() - x1.mean()) / 2.0,
        period_u=float(u), period_half=float(half), n_ab=n1, n_ba=n2,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Plan:
    """What one device really did in a split phase, by activity; hours."""

    first: str
    exposure: dict[str, float]
    swap_h: float


def _crossover_turn(
    logged: Sequence[Turn], phase: Phase, device: str,
    start_h: float, length_h: float,
) -> _Plan:  # fmt: skip
    a, b = phase.parts or _UNNAMED
    order = (a, b) if device in phase.first_half else (b, a)
    half = length_h / 2.0
    exposure = dict.fromkeys(order, half)
    swap = start_h + half
    named = [turn for turn in logged if turn.activity in (a, b)]
    if named:
        first = named[0].activity
        order = (first, b if first == a else a)
        for part in (a, b):
            own = [done_h(turn, half) for turn in named if turn.activity == part]
            if own:
                exposure[part] = float(sum(own))
        begin = named[0].start_min / 60.0
        ends = [named[0].end_min / 60.0, *(t.start_min / 60.0 for t in named[1:2])]
        known = [t for t in (*ends, begin + exposure[first]) if t == t]
        swap = known[0] if known else swap
    return _Plan(first=order[0], exposure=exposure, swap_h=swap)


def _middle(obs: Observed, unit: int, phase: int, swap_h: float) -> int:
    """Return the reading inside the phase that is nearest to the swap, −1 if none is."""
    rows = np.flatnonzero((obs.unit == unit) & (obs.phase == phase) & (obs.point == 2) & ~obs.tick)
    if not rows.size:
        return -1
    t = obs.t[rows] / 60.0
    if np.isnan(t).all() or np.isnan(swap_h):
        return int(rows[0]) if rows.size == 1 else -1
    return int(rows[np.nanargmin(np.abs(t - swap_h))])


@dataclass(frozen=True, kw_only=True)
class _Halves:
    """Rates of the first and second half of a crossover for one unit, and their difference."""

    rates: tuple[float, float]
    u: tuple[float, float]
    half: tuple[float, float]
    difference_u: float


def _halves(
    ready: Prepared, obs: Observed, unit: int, phase: int, row: int, swap_h: float,
    exposures: tuple[float, float], coverage: float,
) -> _Halves:  # fmt: skip
    """Return the rates of both halves from the readings before, at and after the swap."""
    chains, now = ready.chains, ready.states
    b = now.level.shape[1]
    start, end = 2 * phase, 2 * phase + 1
    tau = chains.session.assumptions.reading_delay_min / 60.0
    e1, e2 = exposures
    delay = tau / 2.0
    own_time = obs.t[row] / 60.0 - swap_h
    if own_time == own_time and abs(own_time) > tau:
        delay = own_time
    coef = np.zeros((3, b + 1))
    coef[0, :b] = now.matrix[unit, start]
    coef[2, :b] = now.matrix[unit, end]
    coef[1, b] = 1.0 + delay / e2
    coef[1] -= delay / e2 * coef[2]
    level = np.append(now.level[unit], obs.soc[row])
    fixed = np.array([now.value[unit, start], 0.0, now.value[unit, end]])
    value = coef @ level
    value[[0, 2]] = fixed[[0, 2]]
    value[1] = level[b] * coef[1, b] - delay / e2 * value[2]
    contrast = np.array(
        [[1.0 / e1, -1.0 / e1, 0.0], [0.0, 1.0 / e2, -1.0 / e2],
         [1.0 / e1, -1.0 / e1 - 1.0 / e2, 1.0 / e2]]
    )  # fmt: skip
    shown = resolution(
        contrast @ coef,
        weights=np.append(chains.observations.weight[unit], 1.0),
        step=float(chains.observations.step[unit]),
        convention_variance=float(chains.offset_variance[unit]),
    )
    rate = contrast @ value
    moment = np.array(
        [now.rate[unit, start] * now.time_u_h[unit, start], rate[1] * tau / 12.0**0.5,
         now.rate[unit, end] * now.time_u_h[unit, end]]
    )  # fmt: skip
    extra = now.extra_variance[unit, [start, end]]
    time2 = (
        (contrast**2) @ (moment**2)
        + contrast[:, 0] ** 2 * extra[0]
        + contrast[:, 2] ** 2 * extra[1]
    )
    u = np.sqrt(shown.u**2 + time2)
    half = np.sqrt(shown.half_width(coverage) ** 2 + normal_factor(coverage) ** 2 * time2)
    return _Halves(
        rates=(float(rate[0]), float(rate[1])), u=(float(u[0]), float(u[1])),
        half=(float(half[0]), float(half[1])), difference_u=float(u[2]),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Device:
    """One device in a crossover: its rows, and its difference a − b where it has both halves."""

    rows: tuple[PartRow, ...]
    first: str
    exposure: dict[str, float]
    difference: float = float("nan")
    difference_u: float = float("nan")

    @property
    def complete(self) -> bool:
        return self.difference == self.difference


def _device(
    ready: Prepared, obs: Observed, logged: Sequence[Turn], unit: int, phase: int, device: str,
    coverage: float,
) -> _Device:  # fmt: skip
    chains = ready.chains
    spec = chains.session.phases[phase]
    a, b = spec.parts or _UNNAMED
    plan = _crossover_turn(
        logged, spec, device,
        float(chains.start_h[unit, phase]), float(chains.length_h[unit, phase]),
    )  # fmt: skip
    second = b if plan.first == a else a
    status = str(ready.status["displayed"][unit, phase])
    row = _middle(obs, unit, phase, plan.swap_h)
    exposures = (plan.exposure[plan.first], plan.exposure[second])
    base = PartRow(run=chains.runs[unit // len(chains.devices)], phase=spec.id, device=device)
    if status != "split" or row < 0 or not min(exposures) > 0.0:
        known = plan.exposure if status == "split" else {}
        blank = replace(
            base,
            status="no_reading" if status == "split" else status,
            flags=() if status == "not_reached" else ("dropped",),
        )
        rows = tuple(replace(blank, part=p, exposure_h=known.get(p, np.nan)) for p in (a, b))
        return _Device(rows=rows, first=plan.first, exposure=known)
    found = _halves(ready, obs, unit, phase, row, plan.swap_h, exposures, coverage)
    place = {plan.first: 0, second: 1}
    rows = tuple(
        replace(
            base, part=p, exposure_h=plan.exposure[p], rate=found.rates[place[p]],
            u=found.u[place[p]], half_width=found.half[place[p]],
        )
        for p in (a, b)
    )  # fmt: skip
    return _Device(
        rows=rows, first=plan.first, exposure=plan.exposure,
        difference=found.rates[place[a]] - found.rates[place[b]],
        difference_u=found.difference_u,
    )  # fmt: skip


def crossover_rows(
    ready: Prepared, obs: Observed, run: int, phase: int, coverage: float
) -> list[PartRow]:
    """Return the rows of one crossover: two per device, then activity and period effect.

    Parameters
    ----------
    ready
        From `kit.drain.prepare`.
    obs
        From `kit.readings.observed`; the reading at the swap is the one inside the phase that
        is nearest to it.
    run, phase
        Positions of run and phase.
    coverage
        Probability of the intervals.
    """
    chains = ready.chains
    spec = chains.session.phases[phase]
    a, b = spec.parts or _UNNAMED
    number, n = chains.runs[run], len(chains.devices)
    logged = turns(chains.session, number, spec)
    found = [
        _device(ready, obs, logged.get(device, ()), run * n + i, phase, device, coverage)
        for i, device in enumerate(chains.devices)
    ]
    done = [d for d in found if d.complete]
    longest = {p: max((d.exposure[p] for d in done), default=0.0) for p in (a, b)}
    rows = flag_exposure((row for d in found for row in d.rows), longest)
    ab, ba = ([d for d in done if d.first == p] for p in (a, b))
    effect = crossover_effect(
        [d.difference for d in ab], [d.difference for d in ba],
        [d.difference_u for d in ab], [d.difference_u for d in ba], coverage,
    )  # fmt: skip
    both = effect.n_ab > 0 and effect.n_ba > 0
    base = PartRow(
        run=number,
        phase=spec.id,
        device="",
        exposure_h=min((min(d.exposure.values()) for d in done), default=np.nan),
        status="measured" if both else "no_reading",
        flags=("one_order_only",) if done and not both else (),
    )
    rows.append(
        replace(base, part=f"{a} − {b}", rate=effect.activity, u=effect.activity_u,
                half_width=effect.activity_half)
    )  # fmt: skip
    rows.append(
        replace(base, part="second half − first half", rate=effect.period, u=effect.period_u,
                half_width=effect.period_half)
    )  # fmt: skip
    return rows
