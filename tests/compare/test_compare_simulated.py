"""Simulated days whose truth is known: how often linked intervals hold, how often claims are false.

Every device has a true power. A day makes all powers of a row larger or smaller, and each device's
own by 3 % at random. What is estimated is the ratio of the runtimes of two devices that never met.
Two long simulations hold the days; each pair of days is a comparison of its own.
"""

import math
from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest

from kit.claims.verdicts import SUPPORTED
from kit.compare.cells import cells_of, pooled_run_scatter
from kit.compare.conditions import Likeness
from kit.compare.entries import entries_of
from kit.compare.field import field_of
from kit.compare.members import Member
from kit.compare.pairs import pairs_of
from kit.compare.settings import CompareSettings
from kit.compare.units import units_of
from kit.runtime.runtimes import runtime_tables
from kit.simulate import Operator, Scenario, TrueDevice, TruePhase, simulate_day

pytestmark = pytest.mark.slow

CV = 0.03
CAPACITY_WH = 30.0
DAYS = 800
SETTINGS = CompareSettings()


@cache
def days(seed, number, powers):
    """Return many days of one row, as (session, runtimes, pairs); ``powers``: (id, W) each."""
    scenario = Scenario(
        id=f"day-{number}",
        devices=tuple(
            TrueDevice(id=k, capacity_wh=CAPACITY_WH, power_w={"map": w}) for k, w in powers
        ),
        phases=(TruePhase(id="p1", activity="map", kind="until_empty", length_min=None),),
        runs=DAYS,
        run_cv=CV,
        date=date(2026, 5, number),
        operator=Operator(starts="any_second"),
    )
    session = simulate_day(scenario, np.random.default_rng(seed))[1]
    runtimes, pairs = runtime_tables(session)
    by_run = [dict(tuple(frame.groupby("run"))) for frame in (runtimes, pairs)]
    return session, *by_run


def member(number, made, k):
    """Return day ``k`` as a session of its own."""
    session, runtimes, pairs = made
    run = session.runs[k]
    return Member(
        number=number, key=session.id, findings=(), session=replace(session, runs=(run,)),
        runtimes=runtimes[run.number], runtime_pairs=pairs.get(run.number, runtimes[1].iloc[:0]),
    )  # fmt: skip


def fields(first, second):
    """Yield what was alike and the network of every pair of days."""
    entries = None
    for k in range(DAYS):
        members = (member(1, first, k), member(2, second, k))
        if entries is None:  # ids and conditions are the same every day
            like = Likeness(members, accept=frozenset(), tolerance_pct=10.0)
            entries = entries_of(like, units_of(members)[0])
        cells = [cells_of(m) for m in members]
        scatter = pooled_run_scatter(cells)
        yield like, field_of(cells, entries, assumed=CV, run_scatter=scatter)


def row(first, controls, day):
    """Return the true powers of a day: one device of its own beside the common ones."""
    common = [(f"c{k}", 2.6 + 0.3 * k) for k in range(controls)]
    return tuple((k, w * day) for k, w in (first, *common))


@pytest.mark.parametrize(
    ("controls", "basis"), [(1, "assumed"), (5, "estimated")], ids=["one", "five"]
)
def test_linked_differences_hold_as_often_as_they_say(controls, basis):
    # the second day takes 8 % more of every device; a really draws 3.4 W, b 3.1 W
    first = days(20261125 + controls, 1, row(("a", 3.4), controls, 1.0))
    second = days(20261135 + controls, 2, row(("b", 3.1), controls, 1.08))
    truth = math.log(3.1 / 3.4)
    held = 0
    for _, field in fields(first, second):
        names = [e.name for e in field.entries]
        bounds = field.bounds(names.index("a"), names.index("b"), 0.95)
        held += bounds.low <= truth <= bounds.high
        assert field.network.scatter.basis == basis
    assert held / DAYS >= 0.94


def test_equal_devices_are_seldom_told_apart():
    first = days(20261127, 1, row(("a", 2.6), 1, 1.0))
    second = days(20261128, 2, row(("b", 2.6), 1, 1.08))
    false = sum(
        any(p.verdict == SUPPORTED for p in pairs_of(like, field, SETTINGS))
        for like, field in fields(first, second)
    )
    assert false / DAYS <= 0.05
