"""Truth simulator: days whose truth is known, observed the way a careful person would.

A `Scenario` states what is true: devices with their batteries, powers and gauges, phases with
their lengths and gaps, an operator with habits. `simulate_day` returns the `Truth` and the
`Session` that the operator noted, ready for every analysis of the kit. What is real here is
exact: power is constant within an activity, so levels and power-offs have no step error.
`random_day` draws scenarios within `Limits`, for studies over thousands of days;
`kit.simulate.record` writes a session as the rows of a log.

>>> import numpy as np
>>> from kit.simulate import Operator, Scenario, TrueDevice, TrueGauge, TruePhase, simulate_day
>>> tablet = TrueDevice(id="limpet", capacity_wh=30.0, power_w={"map": 3.0, "film": 4.5},
...                     gauge=TrueGauge(rounding="truncated"))
>>> day = Scenario(id="short", devices=(tablet,),
...                phases=(TruePhase(id="p1", activity="map"), TruePhase(id="p2", activity="film")),
...                operator=Operator(delay_max_min=0.0))
>>> truth, session = simulate_day(day, np.random.default_rng(7))
>>> session.readings[["phase", "point", "t_min", "soc_pct"]].values.tolist()
[['p1', 'start', 0.0, 100.0], ['p1', 'end', 60.0, 90.0], ['p2', 'end', 120.0, 75.0]]
"""

from kit.simulate.day import TRUTH_COLUMNS, Truth, simulate_day
from kit.simulate.physics import Track, displayed, rounded, track
from kit.simulate.random_day import Limits, random_day
from kit.simulate.scenario import (
    CHARGE_SHAPE,
    FLAT_SHAPE,
    Operator,
    Scenario,
    TrueDevice,
    TrueGauge,
    TruePhase,
)
from kit.simulate.shapes import shape_of_discharge
from kit.simulate.timeline import RunTruth, Turn

__all__ = [
    "CHARGE_SHAPE",
    "FLAT_SHAPE",
    "TRUTH_COLUMNS",
    "Limits",
    "Operator",
    "RunTruth",
    "Scenario",
    "Track",
    "TrueDevice",
    "TrueGauge",
    "TruePhase",
    "Truth",
    "Turn",
    "displayed",
    "random_day",
    "rounded",
    "shape_of_discharge",
    "simulate_day",
    "track",
]
