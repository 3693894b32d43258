"""Worlds in which not everybody may be compared with everybody, or two were chosen beforehand."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from kit.session import Assumptions
from kit.simulate import random_day
from tests.coverage_study.world import BASE, World, operator

if TYPE_CHECKING:
    import numpy as np

    from kit.session import Session
    from kit.simulate import Scenario

__all__ = ["PARTIAL"]

SAVER_AT_PCT = 30.0
SAVER_CUT = 0.4
WITH_SAVER = 2
"""Devices that have a saver, of four."""


def saver_day(rng: np.random.Generator) -> Scenario:
    """Return a day on which two of the devices save power below 30 %, as the record says."""
    day = random_day(replace(BASE, devices=4, rate_pp_per_h=(8.0, 14.0), device_spread=0.2), rng)
    noted = {"power_saver": "on", "power_saver_threshold_pct": SAVER_AT_PCT}
    return replace(
        day,
        devices=tuple(
            replace(
                d, saver_at_pct=SAVER_AT_PCT, saver_cut=SAVER_CUT,
                declared={**d.declared, "conditions": noted},
            )
            if k < WITH_SAVER
            else d
            for k, d in enumerate(day.devices)
        ),
    )  # fmt: skip


def repeated_day(rng: np.random.Generator, *, spread: float = 0.1) -> Scenario:
    """Return a day of four activities, each done again in the second half of the day."""
    day = random_day(replace(BASE, device_spread=spread), rng)
    return replace(
        day,
        phases=tuple(
            replace(phase, activity=day.phases[k % 4].activity)
            for k, phase in enumerate(day.phases)
        ),
    )


def equal_repeated_day(rng: np.random.Generator) -> Scenario:
    """Return such a day with devices that are truly equal."""
    return repeated_day(rng, spread=0.0)


def read_at_the_stop(session: Session) -> Session:
    """Return the record without readings at the end of the last phase: survivors are seen on."""
    last = session.readings["phase"] == session.phases[-1].id
    kept = session.readings[~(last & (session.readings["point"] == "end"))]
    return replace(session, readings=kept.reset_index(drop=True))


def _declared(session: Session) -> Session:
    return replace(session, declared_comparison=("d2", "d1"))


PARTIAL: tuple[World, ...] = (
    World(
        name="saver on some",
        says=f"two of four devices save 40 % of the power below {SAVER_AT_PCT:g} %, as the record "
        "says; they are left out of comparisons then",
        draw=saver_day,
    ),
    World(
        name="not all read",
        says="one reading in five was not taken",
        draw=replace(BASE, operator=operator(miss_probability=0.2)),
    ),
    World(
        name="not all read, deaths",
        says="one reading in five was not taken, most devices power off in phases 5 to 8",
        draw=replace(BASE, rate_pp_per_h=(10.0, 20.0), operator=operator(miss_probability=0.2)),
    ),
    World(
        name="survivors seen on",
        says="as *survivors*, 6 % left; at the stop the percentage is noted with each device still "
        "on, and no reading besides",
        draw=replace(
            BASE, phases=6, rate_pp_per_h=(12.0, 18.0), until_empty=True, stop_pct_left=6.0
        ),
        noted=read_at_the_stop,
    ),
    World(
        name="activities repeated",
        says="four activities, each done twice",
        draw=repeated_day,
    ),
    World(
        name="all equal, activities repeated",
        says="the same with devices that are truly equal",
        draw=equal_repeated_day,
    ),
    World(
        name="pair declared",
        says="two devices are declared beforehand; devices differ by 2 %",
        draw=replace(BASE, device_spread=0.02),
        noted=_declared,
    ),
    World(
        name="all equal, pair declared",
        says="all devices truly equal, two of them declared beforehand",
        draw=replace(BASE, device_spread=0.0),
        noted=_declared,
    ),
    World(
        name="all equal, gauge ±3, pair declared",
        says="the same with gauges that deviate by up to 3 pp, which is what is assumed",
        draw=replace(BASE, device_spread=0.0, gauge_error_pp=3.0, assumptions=Assumptions()),
        noted=_declared,
    ),
)
