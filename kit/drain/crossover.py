"""Crossover phases: the effect of the activity, free of the effect of the order.

Every device does both activities, half of the row in one order and half in the other. Rates are
those of the display, in pp/h: they compare activities within a device.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.part_rows import PartRow, flag_exposure
from kit.drain.states import time_variance
from kit.drain.swaps import UNNAMED_PARTS
from kit.stats.uncertainty import coverage_factor, normal_factor, resolution

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.drain.phases import Prepared
    from kit.drain.swaps import Plan, Swaps

__all__ = ["CrossoverEffect", "crossover_effect", "crossover_rows"]


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
class _Device:
    """One device in a crossover: its rows, and its difference a − b where it has both halves."""

    rows: tuple[PartRow, ...]
    plan: Plan
    difference: float = float("nan")
    difference_u: float = float("nan")

    @property
    def complete(self) -> bool:
        return self.difference == self.difference


def _device(ready: Prepared, swaps: Swaps, unit: int, phase: int, coverage: float) -> _Device:
    chains, now = ready.chains, swaps.states
    spec = chains.session.phases[phase]
    a, b = spec.parts or UNNAMED_PARTS
    run, place = divmod(unit, len(chains.devices))
    plan = swaps.plans[unit, phase]
    e1, e2 = plan.exposure[plan.first], plan.exposure[plan.second]
    status = str(ready.status["displayed"][unit, phase])
    base = PartRow(run=chains.runs[run], phase=spec.id, device=chains.devices[place])
    at = [2 * phase, swaps.column[phase], 2 * phase + 1]
    if status != "split" or not now.valid[unit, at].all() or not min(e1, e2) > 0.0:
        known = plan.exposure if status == "split" else {}
        blank = replace(
            base,
            status="no_reading" if status == "split" else status,
            flags=() if status == "not_reached" else ("dropped",),
        )
        rows = tuple(replace(blank, part=p, exposure_h=known.get(p, np.nan)) for p in (a, b))
        return _Device(rows=rows, plan=plan)
    weight = np.zeros((1, 3, now.level.shape[1]))
    weight[0][:, at] = [
        [1.0 / e1, -1.0 / e1, 0.0],
        [0.0, 1.0 / e2, -1.0 / e2],
        [1.0 / e1, -1.0 / e1 - 1.0 / e2, 1.0 / e2],
    ]
    shown = resolution(
        weight[0] @ now.matrix[unit],
        weights=swaps.weights[unit],
        step=float(chains.observations.step[unit]),
        convention_variance=float(chains.offset_variance[unit]),
    )
    rate = weight[0][:, at] @ now.value[unit, at]
    length_u = float(chains.length_u_h[unit, phase])
    mine = now.unit(unit)
    reading2 = time_variance(mine, weight)[0]
    length2 = (rate * length_u / np.array([e1, e2, min(e1, e2)])) ** 2
    time2 = reading2 + length2
    bound = mine.bounds(weight)[0]
    gap2 = mine.gap_variances(weight)[0]
    half = shown.expanded(np.sqrt(time2), coverage, bound=bound)
    u = np.sqrt(shown.u**2 + time2 + gap2)
    variance = {
        "resolution": shown.own, "rounding": shown.common, "reading_time": reading2,
        "phase_length": length2, "gap": gap2,
    }  # fmt: skip
    order = {plan.first: 0, plan.second: 1}
    rows = tuple(
        replace(
            base, part=p, exposure_h=plan.exposure[p], rate=float(rate[order[p]]),
            u=float(u[order[p]]), half_width=float(half[order[p]]),
            variance={source: float(v[order[p]]) for source, v in variance.items()},
        )
        for p in (a, b)
    )  # fmt: skip
    sign = 1.0 if plan.first == a else -1.0
    return _Device(
        rows=rows, plan=plan, difference=sign * float(rate[0] - rate[1]), difference_u=float(u[2])
    )


def crossover_rows(
    ready: Prepared, swaps: Swaps, run: int, phase: int, coverage: float
) -> list[PartRow]:
    """Return the rows of one crossover: two per device, then activity and period effect.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    swaps
        From `kit.drain.swaps.with_swaps`.
    run, phase
        Positions of run and phase.
    coverage
        Probability of the intervals.
    """
    chains = ready.chains
    spec = chains.session.phases[phase]
    a, b = spec.parts or UNNAMED_PARTS
    number, n = chains.runs[run], len(chains.devices)
    found = [_device(ready, swaps, unit, phase, coverage) for unit in range(run * n, run * n + n)]
    done = [d for d in found if d.complete]
    longest = {p: max((d.plan.exposure[p] for d in done), default=0.0) for p in (a, b)}
    rows = flag_exposure((row for d in found for row in d.rows), longest)
    ab, ba = ([d for d in done if d.plan.first == p] for p in (a, b))
    effect = crossover_effect(
        [d.difference for d in ab], [d.difference for d in ba],
        [d.difference_u for d in ab], [d.difference_u for d in ba], coverage,
    )  # fmt: skip
    both = effect.n_ab > 0 and effect.n_ba > 0
    base = PartRow(
        run=number,
        phase=spec.id,
        device="",
        exposure_h=min((min(d.plan.exposure.values()) for d in done), default=np.nan),
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
