"""Alternatives of single numbers, all at once, against a record changed one number at a time."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from kit.claims.evidence import altered_facts, evidence
from kit.drain.chains import build_chains
from kit.drain.misnoted import misnoted
from kit.drain.misread import misread_chains
from kit.drain.off_times import off_times
from kit.drain.phases import MEASURANDS, prepare
from kit.results import Settings
from kit.session import Assumptions
from kit.simulate import random_day, simulate_day
from tests.coverage_study.worlds import WORLDS
from tests.helpers.builders import make_session

ORDINARY = (
    "base", "steps of 5 %", "gaps, total known", "early deaths", "held at 100 %", "ticks",
    "dense log", "gaps by the clock", "lag of 1 min",
)  # fmt: skip


def a_day(world, seed=11):
    draw = {w.name: w for w in WORLDS}[world].draw
    rng = np.random.default_rng(seed)
    return simulate_day(random_day(draw, rng), rng)[1]


def with_reading(session, row, value):
    soc = session.readings["soc_pct"].to_numpy(dtype=np.float64).copy()
    soc[row] = value
    return replace(session, readings=session.readings.assign(soc_pct=soc))


def with_off(session, device, column, value):
    offs = session.power_offs.copy()
    offs.loc[offs["device"] == device, column] = value
    return replace(session, power_offs=offs)


def some_slips(session, count=12, seed=5):
    """Return unit, boundary, row and another number for readings of a session."""
    obs = build_chains(session).observations
    own = (obs.node == np.arange(obs.node.shape[1])) & (obs.row >= 0)
    places = np.argwhere(own)
    rng = np.random.default_rng(seed)
    picked = places[rng.choice(len(places), count, replace=False)]
    unit, boundary = picked.T
    value = obs.level[unit, boundary] + rng.choice([-10.0, -1.0, 1.0], count)
    return unit, boundary, obs.row[unit, boundary], np.clip(value, 0.0, 100.0)


@pytest.mark.parametrize("world", ORDINARY)
def test_misread_units_are_those_of_a_changed_record(world):
    session = a_day(world)
    unit, boundary, row, value = some_slips(session)
    found = misread_chains(build_chains(session), unit, boundary, value)
    assert found is not None
    ready = prepare(session, chains=found)
    for m, k in enumerate(unit.tolist()):
        other = build_chains(with_reading(session, row[m], value[m]))
        for name in ("full", "busiest", "off_pct", "exposure_h", "gap_h", "levels"):
            np.testing.assert_array_equal(getattr(found, name)[m], getattr(other, name)[k], name)
        again = prepare(with_reading(session, row[m], value[m]))
        for measurand in MEASURANDS:
            a, b = ready.drains[measurand], again.drains[measurand]
            np.testing.assert_array_equal(a.drain_pp[m], b.drain_pp[k])
            np.testing.assert_array_equal(a.u_pp[m], b.u_pp[k])
        for code, flag in ready.flags.items():
            np.testing.assert_array_equal(flag[m], again.flags[code][k], code)


@pytest.mark.parametrize("world", ORDINARY)
def test_altered_facts_are_those_of_a_changed_record(world):
    session, settings = a_day(world, seed=12), Settings()
    unit, boundary, row, value = some_slips(session, seed=6)
    ready = prepare(session)
    chains = misread_chains(ready.chains, unit, boundary, value)
    assert chains is not None
    facts, open_pairs = altered_facts(ready, 0, prepare(session, chains=chains), settings)
    for m in range(unit.size):
        again = evidence(prepare(with_reading(session, row[m], value[m])), 0, settings)
        for name, table in again.facts.items():
            np.testing.assert_array_equal(facts[name][m], table, name)
            np.testing.assert_array_equal(open_pairs[name][m], again.open_pairs[name], name)


def test_a_reading_that_other_units_hang_on_is_left_to_the_changed_record():
    # b shows no drain: in a gap it is allowed 1.15 times a's busiest rate, 13 or 19 pp/h
    session = make_session(
        phases={"p1": 60, "p2": 60}, readings={"a": [100, 87, 75], "b": [100, 100, 100]}
    )
    chains = build_chains(session)
    assert chains.busiest.tolist() == pytest.approx([14.95, 14.95])
    assert misread_chains(chains, np.array([0]), np.array([1]), np.array([81.0])) is None


@pytest.mark.parametrize("rounding", ["floor", "nearest", "unknown"])
@pytest.mark.parametrize("own_start", [False, True])
def test_misnoted_windows_are_those_of_a_changed_record(rounding, own_start):
    session = a_day("early deaths", seed=13)
    devices = session.devices
    if own_start:
        devices = tuple(
            replace(d, conditions={"start_offset_min": 1.5 * k}) for k, d in enumerate(devices)
        )
    session = replace(session, devices=devices, assumptions=Assumptions(clock_rounding=rounding))
    offs = session.power_offs[~session.power_offs["still_on"].astype(bool)]
    names = [d.id for d in session.devices]
    changes = [
        (names.index(device), column, float(noted) + step)
        for device, on, off in zip(
            offs["device"], offs["last_on_min"], offs["first_off_min"], strict=True
        )
        for column, noted in (("last_on_min", on), ("first_off_min", off))
        for step in (-60.0, -1.0, 1.0, 10.0)
    ]
    assert len(changes) > 20
    found = misnoted(session, 0, changes)
    for d, (k, column, value) in enumerate(changes):
        again = off_times(with_off(session, names[k], column, value))[0]
        np.testing.assert_array_equal(found.order_low[d], again.order_low)
        np.testing.assert_array_equal(found.order_high[d], again.order_high)
        np.testing.assert_array_equal(found.least_lead[d], again.least_lead)
        assert found.possible[d] == (again.low[k] <= again.high[k])


def test_every_field_of_the_chains_is_taken_over():
    chains = build_chains(a_day("base"))
    other = misread_chains(chains, np.array([2, 3]), np.array([1, 3]), np.array([90.0, 70.0]))
    assert other is not None
    whole = ("session", "runs", "devices", "phases", "observations", "observed", "off_times")
    for f in fields(other):
        if f.name not in whole:
            assert len(getattr(other, f.name)) == 2, f.name
