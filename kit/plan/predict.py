"""The expected course of a planned day: when each device will power off, and how surely.

A device has drained by time t what its rates say: D(t) = Σ h_a(t)·r_a over its activities a,
h_a(t) being the hours it has done a by then. It has powered off by t if D(t) has reached the
charge it started with, less what the display still showed at the end. D(t) is taken as normal,
so that

    P(T ≤ t) = Φ((μ(t) − 100 + m) / √(u²(t) + u_m²)),

which is exact for a drain that only grows. Contributions to u(t):

* what separates one day or unit from another: cv·μ(t), common to all activities of a device,
  and cv·μ(t)/√m again where the rates come from m earlier runs, which had their own days;
* what is not known of each rate: h_a·u_a, independent between activities;
* time in which nothing is planned: drain between 0 and g·R, R = 1.15 × the busiest rate, so the
  mean g·R/2 and u = g·R/√12;
* the percentage shown at power-off: between 0 and 5 %, so m = 2.5 and u_m = 5/√12 = 1.44 pp.

Derived in docs/planning.md; the coverage of the windows is tested on simulated days.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt
from typing import TYPE_CHECKING

import numpy as np

from kit.plan.timetable import BETWEEN, activities

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike, NDArray

    from kit.plan.planned import Plan, RateSource
    from kit.plan.timetable import Activity, Timetable

    Floats = NDArray[np.float64]

__all__ = [
    "Course",
    "Rate",
    "Window",
    "between",
    "course",
    "courses",
    "device_rates",
    "off_window",
    "scatter",
]

MIN_PER_H = 60.0
HORIZON_MIN = 7 * 24 * 60.0
"""A power-off later than this is not looked for (min)."""

UNKNOWN_RATE_SOURCE = "others"


@dataclass(frozen=True, kw_only=True)
class Rate:
    """An expected rate (pp/h), its standard uncertainty, and where it came from.

    ``u_pp_per_h`` leaves out what is common to all activities of the device (run and unit).
    """

    pp_per_h: float
    u_pp_per_h: float
    source: RateSource | str


@dataclass(frozen=True, kw_only=True)
class Window:
    """When a device is expected to power off (min since the start of the session).

    ``low_min`` and ``high_min`` bound it with the probability ``coverage``. All NaN when no rate
    is known; ``high_min`` infinite when it may run beyond the horizon of a week.
    """

    device: str
    coverage: float
    expected_min: float
    low_min: float
    high_min: float
    u_min: float
    before_stop: float


@dataclass(frozen=True, kw_only=True)
class Course:
    """The expected course of one device.

    Parameters
    ----------
    t_min
        Shape (n,). Times, one a minute from 0 on (min).
    soc_pct, soc_u_pct
        Shape (n,). Expected state of charge (%), below 0 after the expected power-off, and its
        standard uncertainty (pp).
    p_off
        Shape (n,). Probability that the device has powered off by then.
    """

    device: str
    t_min: Floats
    soc_pct: Floats
    soc_u_pct: Floats
    p_off: Floats

    def at(self, t_min: float) -> tuple[float, float]:
        """Return the expected state of charge and its u at a time (%, pp)."""
        return (
            float(np.interp(t_min, self.t_min, self.soc_pct)),
            float(np.interp(t_min, self.t_min, self.soc_u_pct)),
        )

    def quantile(self, p: float) -> float:
        """Return the time by which the device has powered off with probability p (min)."""
        return float(self.quantiles([p])[0])

    def quantiles(self, p: ArrayLike) -> Floats:
        """Return the times of several probabilities (min); infinite beyond the horizon."""
        wanted = np.asarray(p, dtype=np.float64)
        above = np.searchsorted(self.p_off, wanted)
        at = np.clip(above, 1, self.p_off.size - 1)
        p_low, p_high = self.p_off[at - 1], self.p_off[at]
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(p_high > p_low, (wanted - p_low) / (p_high - p_low), 0.0)
        times = self.t_min[at - 1] + share * (self.t_min[at] - self.t_min[at - 1])
        times = np.where(above == 0, 0.0, times)
        return np.asarray(np.where(above == self.p_off.size, np.inf, times), dtype=np.float64)

    def chance_off_by(self, t_min: float) -> float:
        """Return the probability that the device has powered off by a time."""
        return float(np.interp(t_min, self.t_min, self.p_off))


def device_rates(plan: Plan, device: str) -> Mapping[str, Rate]:
    """Return the expected rate of each activity of one device, as far as it can be had.

    In this order: a rate stated or taken from an earlier session; the stated power, divided by
    the rated energy times the health of the battery; for an activity of which nothing is known,
    anything between the slowest and the busiest of the others, or, with the screen off, between
    nothing and the slowest.

    Returns
    -------
    mapping
        Activity → rate. Empty when nothing at all is known of the device.

    Notes
    -----
    From power P, energy E and health κ: r = 100·P/(E·κ), with relative standard uncertainties
    in quadrature: of the power as stated, of the energy tol/√3, of the health as stated. Energy
    and health are common to all activities, but are counted with each of them here: cautious for
    the order of activities, and of no effect on a device with one dominant activity.

    Examples
    --------
    3 W from 30 Wh at full health: 10 pp/h. See docs/planning.md.
    """
    known = plan.forecasts.get(device)
    unit = plan.device(device)
    rates: dict[str, Rate] = {}
    if known is not None:
        for activity, watt in known.power_w.items():
            if unit.rated_energy_wh:
                kappa = (unit.health_pct or 100.0) / 100.0
                rate = 100.0 * watt / (unit.rated_energy_wh * kappa)
                relative = sqrt(
                    (known.power_u_pct / 100.0) ** 2
                    + (unit.rated_energy_tol_pct or 0.0) ** 2 / 3e4
                    + ((unit.health_u_pct or 0.0) / (unit.health_pct or 100.0)) ** 2
                )
                rates[activity] = Rate(pp_per_h=rate, u_pp_per_h=rate * relative, source="power")
        for activity, rate in known.rates_pp_per_h.items():
            u = known.rates_u.get(activity, rate * known.rates_u_pct / 100.0)
            source = known.sources.get(activity, "plan")
            rates[activity] = Rate(pp_per_h=rate, u_pp_per_h=u, source=source)
    if not rates:
        return {}
    low = min(r.pp_per_h for r in rates.values())
    high = max(r.pp_per_h for r in rates.values())
    for phase in plan.phases:
        for activity in phase.parts if phase.parts and phase.is_split else (phase.activity,):
            if activity not in rates:
                dark = phase.screen_on is False
                rates[activity] = between(0.0, low) if dark else between(low, high)
    return rates


def between(low: float, high: float) -> Rate:
    """Return a rate of which only bounds are known; equal bounds are widened by half."""
    if low == high:
        low, high = low / 2.0, high * 1.5
    return Rate(
        pp_per_h=(low + high) / 2.0, u_pp_per_h=(high - low) / sqrt(12.0),
        source=UNKNOWN_RATE_SOURCE,
    )  # fmt: skip


def course(
    stretches: tuple[Activity, ...],
    rates: Mapping[str, Rate],
    *,
    device: str = "",
    cv: float = 0.03,
    gap_rate_factor: float = 1.15,
    off_pct_max: float = 5.0,
    start_pct: float = 100.0,
    start_u_pct: float = 0.0,
) -> Course:
    """Return the expected course of one device along what it does.

    Parameters
    ----------
    stretches
        What it does, without gaps; the last with an open end. Time between phases drains
        between nothing and ``gap_rate_factor`` times the busiest rate.
    rates
        Rate of each activity that occurs.
    cv
        Relative standard deviation of runtime between runs and units.
    off_pct_max
        Highest percentage that may be shown at power-off (%).
    start_pct, start_u_pct
        State of charge at the start and its standard uncertainty (%).

    Raises
    ------
    KeyError
        If an activity has no rate.

    Examples
    --------
    At 10 pp/h, exactly known, from 100 % and with nothing left at power-off: 600 min, and with
    a scatter of 3 % between days 90 % of them within ± 1.645 · 3 % of 10 h, 30 min, each side
    (a little more on the far side, since the scatter grows with the drain).

    >>> from kit.plan.timetable import Activity
    >>> c = course((Activity(start_min=0, end_min=None, name="map"),),
    ...            {"map": Rate(pp_per_h=10, u_pp_per_h=0, source="plan")}, off_pct_max=0)
    >>> [round(c.quantile(p)) for p in (0.05, 0.5, 0.95)]
    [572, 600, 631]
    """
    from scipy.special import ndtr

    names = sorted({s.name for s in stretches} - {BETWEEN})
    busiest = gap_rate_factor * max((rates[n].pp_per_h for n in names), default=0.0)
    mean_off, u_off = off_pct_max / 2.0, off_pct_max / sqrt(12.0)
    slowest = min((rates[n].pp_per_h for n in names), default=0.0)
    horizon = HORIZON_MIN
    if slowest > 0:
        last = stretches[-1].start_min
        horizon = min(HORIZON_MIN, last + 3.0 * MIN_PER_H * start_pct / slowest)
    t = np.arange(0.0, horizon + 1.0)
    drain = np.zeros(t.size)
    variance = np.zeros(t.size)
    for name in (*names, BETWEEN):
        hours = _hours(stretches, name, t)
        rate = rates[name].pp_per_h if name else busiest / 2.0
        u = rates[name].u_pp_per_h if name else busiest / sqrt(12.0)
        drain += hours * rate
        variance += (hours * u) ** 2
    variance += (cv * drain) ** 2 + start_u_pct**2
    z = (drain - start_pct + mean_off) / np.sqrt(variance + u_off**2 + 1e-12)
    p = np.maximum.accumulate(ndtr(z))
    return Course(
        device=device, t_min=t, soc_pct=start_pct - drain, soc_u_pct=np.sqrt(variance), p_off=p
    )


def _hours(stretches: tuple[Activity, ...], name: str, t: Floats) -> Floats:
    """Return the hours spent on one activity by each time."""
    total = np.zeros(t.size)
    for s in stretches:
        if s.name == name:
            end = np.inf if s.end_min is None else s.end_min
            total += np.clip(t, s.start_min, end) - s.start_min
    return total / MIN_PER_H


def off_window(found: Course, *, coverage: float, stop_min: float | None) -> Window:
    """Return the central window of a power-off with a given probability.

    Parameters
    ----------
    coverage
        Probability of the window.
    stop_min
        End of the session (min); ``before_stop`` is the chance to see the power-off before it.
    """
    low = found.quantile((1 - coverage) / 2)
    high = found.quantile((1 + coverage) / 2)
    one_sigma = found.quantile(0.8413) - found.quantile(0.1587)
    return Window(
        device=found.device,
        coverage=coverage,
        expected_min=found.quantile(0.5),
        low_min=low,
        high_min=high,
        u_min=one_sigma / 2,
        before_stop=1.0 if stop_min is None else found.chance_off_by(stop_min),
    )


def scatter(plan: Plan, device: str) -> float:
    """Return the relative scatter of a forecast about what its rates say.

    One run scatters by cv; the rates of m earlier runs by cv/√m more. Powers stated by the maker
    have no day of their own.

    Examples
    --------
    >>> from kit.plan.planned import DeviceForecast, Plan
    >>> from kit.session import Device
    >>> plan = Plan(id="p", title="P", devices=(Device(id="a", label="A"),), phases=(),
    ...             forecasts={"a": DeviceForecast(rates_pp_per_h={"map": 10})})
    >>> round(scatter(plan, "a"), 4)
    0.0424
    """
    cv = plan.assumptions.run_unit_cv
    known = plan.forecasts.get(device)
    if known is None or not known.rates_pp_per_h:
        return cv
    return cv * sqrt(1.0 + 1.0 / known.rates_runs)


def courses(plan: Plan, table: Timetable) -> tuple[Course | None, ...]:
    """Return the course of each device in row order; ``None`` where no rate is known."""
    found: list[Course | None] = []
    for device in plan.devices:
        rates = device_rates(plan, device.id)
        if not rates:
            found.append(None)
            continue
        stretches = tuple(
            s if s.phase or s.name in rates else replace(s, name=BETWEEN)
            for s in activities(plan, table, device.id)
        )
        found.append(
            course(
                stretches, rates, device=device.id,
                cv=scatter(plan, device.id),
                gap_rate_factor=plan.assumptions.gap_rate_factor,
                off_pct_max=plan.assumptions.off_pct_max,
            )
        )  # fmt: skip
    return tuple(found)
