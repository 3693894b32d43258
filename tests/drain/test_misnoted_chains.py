"""Alternatives of the times of power-offs, all at once, against a record changed one by one."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from kit.claims.evidence import altered_facts, evidence
from kit.drain.misnoted import misnoted, misnoted_chains
from kit.drain.phases import MEASURANDS, prepare
from kit.results import Settings
from kit.simulate import random_day, simulate_day
from tests.coverage_study.worlds import WORLDS
from tests.helpers.builders import make_session


def a_day(world, seed):
    draw = {w.name: w for w in WORLDS}[world].draw
    rng = np.random.default_rng(seed)
    return simulate_day(random_day(draw, rng), rng)[1]


def with_off(session, device, column, value):
    offs = session.power_offs.copy()
    offs.loc[offs["device"] == device, column] = value
    return replace(session, power_offs=offs)


def some_times(session):
    """Return device, column and another time for every noted time of a power-off."""
    offs = session.power_offs[~session.power_offs["still_on"].astype(bool)]
    names = [d.id for d in session.devices]
    return names, [
        (names.index(row["device"]), column, float(row[column]) + step)
        for _, row in offs.iterrows()
        for column in ("last_on_min", "first_off_min")
        for step in (-60.0, -10.0, 1.0, 60.0)
        if row[column] == row[column]
    ]


@pytest.mark.parametrize(
    ("world", "seed"),
    [("early deaths", 21), ("gaps, total known", 22), ("ticks", 22), ("denied saver", 21),
     ("lag of 5 min", 22), ("survivors", 21)],
)  # fmt: skip
def test_all_that_follows_is_that_of_a_changed_record(world, seed):
    session, settings = a_day(world, seed), Settings()
    names, changes = some_times(session)
    ready = prepare(session)
    noted = misnoted(session, 0, changes)
    device = np.array([k for k, _, _ in changes])
    chains = misnoted_chains(ready.chains, device, noted.low, noted.high)
    other = prepare(session, chains=chains)
    facts, open_pairs = altered_facts(ready, 0, other, settings, noted=noted)
    moved = 0
    for d, (k, column, value) in enumerate(changes):
        changed = with_off(session, names[k], column, value)
        again = prepare(changed)
        moved += int(again.chains.death[k] != ready.chains.death[k])
        for name in ("death", "gone", "off_u_h", "off_pct", "exposure_h"):
            np.testing.assert_array_equal(
                getattr(chains, name)[d], getattr(again.chains, name)[k], name
            )
        for measurand in MEASURANDS:
            one, two = other.drains[measurand], again.drains[measurand]
            np.testing.assert_array_equal(one.drain_pp[d], two.drain_pp[k])
        found = evidence(again, 0, settings)
        for name, table in found.facts.items():
            np.testing.assert_array_equal(facts[name][d], table, name)
            np.testing.assert_array_equal(open_pairs[name][d], found.open_pairs[name], name)
    assert len(changes) >= 8
    assert moved or world == "ticks"


def test_every_field_of_the_chains_is_taken_over():
    session = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [100, 60], "b": [100, 70]},
        power_offs={"a": {"last_on_min": 112.0, "first_off_min": 115.0}},
    )
    unit = np.array([0, 0, 1])
    bounds = np.array([100.0, 30.0, 90.0]), np.array([104.0, 32.0, np.inf])
    other = misnoted_chains(prepare(session).chains, unit, *bounds)
    whole = ("session", "runs", "devices", "phases", "observations", "observed", "off_times")
    for f in fields(other):
        if f.name not in whole:
            assert len(getattr(other, f.name)) == 3, f.name
    # 100 to 104 lies in p2, 30 to 32 in p1, and a device that is on has no such phase
    assert other.death.tolist() == [1, 0, -1]
    # 102 min = 42 min after p2 began; 31 min after p1 began
    assert other.exposure_h[0, 1] == pytest.approx(42 / 60)
    assert other.exposure_h[1, 0] == pytest.approx(31 / 60)
