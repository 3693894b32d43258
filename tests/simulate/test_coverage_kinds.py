"""The worlds of kinds: what is true of a kind, and that the study sees intervals without days."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.results import RESULT_COLUMNS, Settings
from kit.runtime.replicates import replicate_models
from kit.runtime.runtimes import runtimes
from kit.simulate import Scenario, simulate_day
from kit.stats.uncertainty import coverage_factor
from tests.coverage_study.intervals import longer
from tests.coverage_study.kinds_world import (
    DAY_CV,
    KINDS,
    UNIT_CV,
    KindsDay,
    count_kinds,
    kind_runtimes,
)
from tests.coverage_study.tally import Tally

NO_DRAIN = pd.DataFrame({c: [] for c in RESULT_COLUMNS["phase_drain"]})
EQUAL = next(world for world in KINDS if world.name == "all equal, kinds")


def test_the_truth_of_a_kind_is_the_mean_over_units_and_days():
    # 1/(1 + cv z) of cv = 2 %: 1 + 4e-4 + 4.8e-7; drawn: standard error of 1e5 values 6e-5
    z = np.random.default_rng(1).standard_normal(100_000)
    assert (1 / (1 + 0.02 * z)).mean() == pytest.approx(longer(0.02), abs=2.5e-4)
    assert longer(0.02) == pytest.approx(1 + 4e-4 + 4.8e-7)
    rng = np.random.default_rng(2)
    day = EQUAL.draw(rng)
    assert isinstance(day, KindsDay)
    truth, session = simulate_day(day, rng)
    assert len(set(kind_runtimes(truth).values())) == 1
    assert [d.model for d in session.devices] == ["Limpet 10", "Whelk 10"] * 3
    # no kinds without units of them
    plain = Scenario(id="x", devices=day.devices, phases=day.phases, operator=day.operator)
    assert kind_runtimes(simulate_day(plain, rng)[0]) == {}


def test_units_scatter_and_share_their_days():
    rng = np.random.default_rng(3)
    units, days = [], []
    for _ in range(200):
        truth, _ = simulate_day(EQUAL.draw(rng), rng)
        lasted = np.log(truth.runtimes["off_min"].to_numpy().reshape(3, 6))
        units.append(lasted.mean(axis=0).var(ddof=1))
        days.append(lasted.mean(axis=1).var(ddof=1))
    # between units 4e-4 and the rest of three runs, 1e-4/3; between days 4e-4 and 1e-4/6. 200
    # values of 5 and of 2 degrees of freedom: standard errors of 4.5 and 7 %
    assert np.mean(units) == pytest.approx(UNIT_CV**2 + 1e-4 / 3, rel=0.2)
    assert np.mean(days) == pytest.approx(DAY_CV**2 + 1e-4 / 6, rel=0.3)


def test_study_sees_intervals_that_leave_out_the_days():
    rng = np.random.default_rng(4)
    stated, alone = Tally(), Tally()
    for _ in range(70):
        # days thrice as far apart as units: with u by units alone t(2) = 4.30 is held against
        # 4.30/√(1 + 12e-4/1.44e-4) = 1.41, which is 71 %
        day = replace(EQUAL.draw(rng), day_cv=3 * DAY_CV)
        truth, session = simulate_day(day, rng)
        found = replicate_models(session, runtimes(session), NO_DRAIN, Settings())
        count_kinds(stated, found, truth)
        wide = [coverage_factor(0.95, dof) * u for dof, u in
                zip(found["dof"], found["mean_u_units"], strict=True)]  # fmt: skip
        narrow = found.assign(mean_low=found["mean"] - wide, mean_high=found["mean"] + wide)
        count_kinds(alone, narrow, truth)
    assert stated.trials["kind runtime"] >= 100
    assert stated.percent("kind runtime") >= 94.0
    assert alone.percent("kind runtime") < 85.0
