"""The worlds of the coverage study in which something is true that the model has no term for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from kit.simulate import random_day, shape_of_discharge
from tests.coverage_study.world import BASE, World, operator
from tests.helpers.discharge import curve

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np

    from kit.session import Session
    from kit.simulate import Scenario

__all__ = ["OUTSIDE"]


def _changed(**changes: object) -> Callable[[Scenario], Scenario]:
    """Return a function that changes every device of a scenario alike."""
    return lambda day: replace(day, devices=tuple(replace(d, **changes) for d in day.devices))


def _gauges(**changes: object) -> Callable[[Scenario], Scenario]:
    """Return a function that changes the gauge of every device of a scenario alike."""
    return lambda day: replace(
        day,
        devices=tuple(replace(d, gauge=replace(d.gauge, **changes)) for d in day.devices),
    )


def cell_shape(cell: str) -> tuple[tuple[float, float], ...]:
    """Return the shape of a cell from its discharge at constant power by an independent model."""
    return shape_of_discharge(*curve(cell))


def coarse_day(rng: np.random.Generator) -> Scenario:
    """Return a day with displays in steps of 2, 5 or 10 %."""
    return random_day(replace(BASE, step_pct=float(rng.choice([2.0, 5.0, 10.0]))), rng)


def short_day(rng: np.random.Generator) -> Scenario:
    """Return a day that devices start at 80 to 99 %, run until they are empty."""
    day = random_day(replace(BASE, rate_pp_per_h=(12.0, 20.0)), rng)
    return replace(
        day,
        devices=tuple(
            replace(d, start_level_pct=float(rng.uniform(80.0, 99.0))) for d in day.devices
        ),
    )


def topped_up_day(rng: np.random.Generator) -> Scenario:
    """Return a day that devices start at 95 to 99 % and show as 100 %."""
    day = random_day(BASE, rng)
    devices = []
    for device in day.devices:
        short = float(rng.uniform(1.0, 5.0))
        gauge = replace(
            device.gauge,
            deviation=((0.0, 0.0), (90.0 - short, 0.0), (100.0 - short, short), (100.0, short)),
        )
        devices.append(replace(device, start_level_pct=100.0 - short, gauge=gauge))
    return replace(day, devices=tuple(devices))


def _not_topped_up(day: Scenario) -> Scenario:
    return _gauges(deviation=())(_changed(start_level_pct=100.0)(day))


LOOKS_PP = 0.06
"""What a look costs a sleeping device in the world of waking (pp) …"""
LOOK_EVERY_MIN = 2.0
"""… and how often it is looked at (min)."""


def waking_day(rng: np.random.Generator) -> Scenario:
    """Return a day with a phase of 0.5–2 pp/h in which looks cost as much again."""
    day = random_day(replace(BASE, operator=operator(dense_every_min=LOOK_EVERY_MIN)), rng)
    more = LOOKS_PP * 60.0 / LOOK_EVERY_MIN
    return replace(
        day,
        devices=tuple(
            replace(d, power_w={**d.power_w, "p4": float(rng.uniform(0.5, 2.0)) + more})
            for d in day.devices
        ),
    )


def _asleep(day: Scenario) -> Scenario:
    more = LOOKS_PP * 60.0 / LOOK_EVERY_MIN
    return replace(
        day,
        devices=tuple(
            replace(d, power_w={**d.power_w, "p4": d.power_w["p4"] - more}) for d in day.devices
        ),
    )


def _dark_p4(session: Session) -> Session:
    return replace(
        session,
        phases=tuple(replace(p, screen_on=False) if p.id == "p4" else p for p in session.phases),
    )


OUTSIDE: tuple[World, ...] = (
    World(
        name="unnoticed saver",
        says="at 20 % a saver cuts the power by a quarter, the record says nothing of savers",
        draw=replace(
            BASE, saver_at_pct=20.0, saver_cut=0.25, rate_pp_per_h=(10.0, 15.0), conditions={}
        ),
        kind="outside",
        warns=("power-saver-may-start",),
        without=_changed(saver_at_pct=None),
        matters="charge",
    ),
    World(
        name="charge gauge, pouch cell",
        says="gauges count charge; the cell is that of Ai et al. (2020), by a model that is not "
        "the kit's",
        draw=replace(BASE, shape=cell_shape("Ai2020"), counts_charge=True),
        kind="outside",
        warns=("gauge_curve",),
        without=_gauges(counts="energy"),
    ),
    World(
        name="charge gauge, round cell",
        says="the same with the cylindrical cell of Chen et al. (2020)",
        draw=replace(BASE, shape=cell_shape("Chen2020"), counts_charge=True),
        kind="outside",
        warns=("gauge_curve",),
        without=_gauges(counts="energy"),
    ),
    World(
        name="charge gauge, long phases",
        says="that cylindrical cell with 5 phases of 90 min at 8–13 pp/h",
        draw=replace(
            BASE,
            shape=cell_shape("Chen2020"),
            counts_charge=True,
            phases=5,
            length_min=(90, 90),
            rate_pp_per_h=(8.0, 13.0),
        ),
        kind="outside",
        warns=("gauge_curve",),
        without=_gauges(counts="energy"),
    ),
    World(
        name="lag of 1 min",
        says="the display shows the level of one minute ago, which is too little to matter",
        draw=replace(BASE, lag_min=1.0),
        kind="outside",
        harmless=True,
        warns=("display-may-lag",),
        without=_gauges(lag_min=0.0),
    ),
    World(
        name="lag of 5 min",
        says="the display shows the level of five minutes ago, 2–25 pp/h",
        draw=replace(BASE, lag_min=5.0, rate_pp_per_h=(2.0, 25.0)),
        kind="outside",
        warns=("display-may-lag",),
        without=_gauges(lag_min=0.0),
    ),
    World(
        name="coarse steps",
        says="displays move in steps of 2, 5 or 10 %, which the record does not say",
        draw=coarse_day,
        kind="outside",
        warns=("gauge-steps", "coarse_step"),
        without=_gauges(step_pct=1.0),
        matters="step",
    ),
    World(
        name="waking",
        says=f"looks every {LOOK_EVERY_MIN:g} min wake the devices in a phase with the screen off, "
        f"at {LOOKS_PP:g} pp each",
        draw=waking_day,
        kind="outside",
        warns=("reading-wakes-device",),
        without=_asleep,
        matters="charge",
        noted=_dark_p4,
    ),
    World(
        name="start not full",
        says="devices start at 80–99 %",
        draw=short_day,
        kind="outside",
        warns=("start-not-full",),
        without=_changed(start_level_pct=100.0),
        matters="runtime",
    ),
    World(
        name="topped up",
        says="held at full for 3 hours, devices start at 95–99 % and show 100 %",
        draw=topped_up_day,
        kind="outside",
        warns=("held-at-full",),
        without=_not_topped_up,
        matters="shown_first",
        noted=lambda s: replace(s, conditions={**s.conditions, "held_full_min": 180}),
    ),
)
