"""Days drawn at random within stated limits: the worlds of a coverage study."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from kit.session import Gauge
from kit.simulate.scenario import (
    FLAT_SHAPE,
    Operator,
    Scenario,
    TrueDevice,
    TrueGauge,
    TruePhase,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np

    from kit.session import Assumptions
    from kit.simulate.scenario import TrueRounding

__all__ = ["Limits", "random_day"]

_CAPACITY_WH = 100.0
_HEALTH_U_PCT = 2.0
_NODE_EVERY_PP = 10.0
_ACTIVITY_SCATTER = 0.5
"""Share of ``device_spread`` by which a device's rate in one activity scatters by itself."""


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What a random day may look like.

    Parameters
    ----------
    devices, phases
        How many.
    length_min
        Phase lengths, lowest and highest (min), whole minutes, all equally likely.
    rate_pp_per_h
        Mean rate of an activity over the row, lowest and highest, all equally likely.
    device_spread
        Relative standard deviation between devices; 0 = all devices truly equal.
    roundings
        Conventions of the gauges, all equally likely, one per device.
    step_pct, lag_min
        Of every gauge.
    gauge_error_pp
        Half-width of every gauge's deviation: nodes every 10 pp, uniform within it, 0 at 100 %.
    overfull_max_min
        The display stays at 100 % for up to this long (min) because the battery is fuller than
        it can show.
    gap_min
        Time between phases, lowest and highest (min), whole minutes.
    gap_rate
        Rate in a gap as a fraction of the device's busiest rate, lowest and highest.
    saver_at_pct, saver_cut, shape, counts_charge
        As in `TrueDevice` and `TrueGauge`, for every device.
    until_empty
        The last phase goes on until every device is off.
    stop_pct_left
        Where given, the last phase is stopped when the mean device has this much left (%):
        survivors without waiting for everybody.
    runs, run_cv, operator, assumptions, conditions
        As in `Scenario`.
    declares_rounding
        Whether the record states the rounding of each gauge (truly).
    rated_tol_pct
        Where given, the record states a rated energy that is off by up to this (%), all equally
        likely, and a health in whole per cent with a standard uncertainty of 2 %.
    """

    devices: int = 6
    phases: int = 8
    length_min: tuple[int, int] = (60, 60)
    rate_pp_per_h: tuple[float, float] = (5.0, 15.0)
    device_spread: float = 0.1
    roundings: tuple[TrueRounding, ...] = ("nearest", "truncated", "rounded_up")
    step_pct: float = 1.0
    lag_min: float = 0.0
    gauge_error_pp: float = 0.0
    overfull_max_min: float = 0.0
    gap_min: tuple[int, int] = (0, 0)
    gap_rate: tuple[float, float] = (0.0, 1.0)
    saver_at_pct: float | None = None
    saver_cut: float = 0.0
    shape: tuple[tuple[float, float], ...] = FLAT_SHAPE
    counts_charge: bool = False
    until_empty: bool = False
    stop_pct_left: float | None = None
    runs: int = 1
    run_cv: float = 0.0
    operator: Operator = field(default_factory=Operator)
    assumptions: Assumptions | None = None
    conditions: Mapping[str, object] = field(default_factory=dict)
    declares_rounding: bool = False
    rated_tol_pct: float | None = None


def _deviation(limits: Limits, rng: np.random.Generator) -> tuple[tuple[float, float], ...]:
    if not limits.gauge_error_pp:
        return ()
    nodes = int(100.0 / _NODE_EVERY_PP)
    errors = rng.uniform(-limits.gauge_error_pp, limits.gauge_error_pp, nodes)
    inner = tuple((_NODE_EVERY_PP * k, float(e)) for k, e in enumerate(errors))
    return (*inner, (100.0, 0.0))


def _rated(limits: Limits, rng: np.random.Generator) -> dict[str, float]:
    """Return rated energy and health of a battery that really holds 100 Wh."""
    if limits.rated_tol_pct is None:
        return {}
    health = float(rng.uniform(80.0, 100.0))
    off = float(rng.uniform(-limits.rated_tol_pct, limits.rated_tol_pct))
    return {
        "rated_energy_wh": _CAPACITY_WH / (health / 100.0) / (1.0 + off / 100.0),
        "rated_energy_tol_pct": limits.rated_tol_pct,
        "health_pct": float(round(health + _HEALTH_U_PCT * rng.standard_normal())),
        "health_u_pct": _HEALTH_U_PCT,
    }


def _device(
    limits: Limits, name: str, rates: Mapping[str, float], rng: np.random.Generator
) -> TrueDevice:
    """Return a device of 100 Wh, so that its power in W is its rate in pp/h."""
    factor = max(1.0 + limits.device_spread * rng.standard_normal(), 0.3)
    own = limits.device_spread * _ACTIVITY_SCATTER
    power = {
        activity: rate * factor * max(1.0 + own * rng.standard_normal(), 0.3)
        for activity, rate in rates.items()
    }
    busiest = max(power.values())
    power["idle"] = busiest * float(rng.uniform(*limits.gap_rate))
    first = power[next(iter(rates))]
    surplus = first * float(rng.uniform(0.0, limits.overfull_max_min)) / 60.0
    rounding = limits.roundings[int(rng.integers(len(limits.roundings)))]
    return TrueDevice(
        id=name,
        capacity_wh=_CAPACITY_WH,
        power_w=power,
        start_level_pct=100.0 + surplus,
        saver_at_pct=limits.saver_at_pct,
        saver_cut=limits.saver_cut,
        shape=limits.shape,
        gauge=TrueGauge(
            rounding=rounding,
            counts="charge" if limits.counts_charge else "energy",
            step_pct=limits.step_pct,
            lag_min=limits.lag_min,
            deviation=_deviation(limits, rng),
        ),
        declared={
            "gauge": Gauge(rounding=rounding if limits.declares_rounding else "unknown"),
            **_rated(limits, rng),
        },
    )


def random_day(limits: Limits, rng: np.random.Generator, *, name: str = "random") -> Scenario:
    """Return a scenario drawn within ``limits``.

    Examples
    --------
    >>> import numpy as np
    >>> day = random_day(Limits(devices=2, phases=3), np.random.default_rng(4))
    >>> [d.id for d in day.devices], [p.id for p in day.phases]
    (['d1', 'd2'], ['p1', 'p2', 'p3'])
    >>> all(3 < w < 20 for d in day.devices for a, w in d.power_w.items() if a != "idle")
    True
    """
    names = [f"p{k + 1}" for k in range(limits.phases)]
    rates = {a: float(rng.uniform(*limits.rate_pp_per_h)) for a in names}
    low, high = limits.length_min
    lengths = rng.integers(low, high + 1, limits.phases).astype(float).tolist()
    gaps = rng.integers(limits.gap_min[0], limits.gap_min[1] + 1, limits.phases).tolist()
    last = limits.phases - 1
    phases = tuple(
        TruePhase(
            id=a,
            activity=a,
            kind="until_empty" if limits.until_empty and k == last else "plain",
            length_min=None if limits.until_empty and k == last else lengths[k],
            gap_after_min=float(gaps[k]) if k < last else 0.0,
        )
        for k, a in enumerate(names)
    )
    devices = tuple(_device(limits, f"d{k + 1}", rates, rng) for k in range(limits.devices))
    return Scenario(
        id=name,
        devices=devices,
        phases=phases,
        operator=limits.operator,
        runs=limits.runs,
        run_cv=limits.run_cv,
        stop_min=_stop(limits, rates, lengths, gaps),
        assumptions=limits.assumptions,
        conditions=limits.conditions,
    )


def _stop(
    limits: Limits, rates: Mapping[str, float], lengths: list[float], gaps: list[int]
) -> float | None:
    """Return the stop: the mean rates bring the row down to ``stop_pct_left`` in the last phase."""
    if limits.stop_pct_left is None:
        return None
    left = 100.0 - limits.stop_pct_left
    t = 0.0
    for rate, length, gap in zip(rates.values(), lengths[:-1], gaps, strict=False):
        left -= rate * length / 60.0
        t += length + gap
    return t + max(round(left / list(rates.values())[-1] * 60.0), 1.0)
