"""Damaged records: every frame comes out whole, ordered and without a warning."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.drain.agreement import agreement, agreements
from kit.drain.budget import budget, contributions
from kit.drain.energy import energy
from kit.drain.mix_winners import mix_shifts
from kit.drain.order import drain_pairs
from kit.drain.phases import phase_drain, prepare
from kit.drain.projections import projections
from kit.drain.reference_repeats import reference_repeats
from kit.drain.simulation import simulate
from kit.drain.split_phases import parts
from kit.drain.standing import standing
from kit.drain.usage_mix import usage_mixes
from kit.drain.within_phase import within_phase
from kit.results import Settings
from kit.simulate import random_day, simulate_day
from tests.coverage_study.worlds import WORLDS

PLAIN = ("base", "gaps by the clock", "survivors", "ticks", "crossover, rotation", "replicates")


def damaged(world, rng):
    """Return a simulated session with rows, times and boundaries torn out at random."""
    draw = world.draw(rng) if callable(world.draw) else random_day(world.draw, rng)
    _, s = simulate_day(draw, rng)
    rows = s.readings[rng.random(len(s.readings)) < rng.choice([1.0, 0.9, 0.5])].copy()
    rows.loc[rng.random(len(rows)) < 0.2, "t_min"] = np.nan
    rows.loc[rng.random(len(rows)) < 0.05, "soc_pct"] = float(rng.integers(0, 101))
    rows.loc[rng.random(len(rows)) < 0.1, "point"] = "inside"
    spans = s.spans.copy()
    for column in ("start_min", "end_min", "duration_min"):
        spans.loc[rng.random(len(spans)) < 0.2, column] = np.nan
    offs = s.power_offs.copy()
    offs.loc[rng.random(len(offs)) < 0.3, ["last_on_min", "first_off_min"]] = np.nan
    given = replace(
        s.assumptions,
        full_hold_max_min=float(rng.choice([0.0, 10.0, 40.0])),
        reading_delay_min=float(rng.choice([0.0, 2.0, 30.0])),
    )
    return replace(
        s, readings=rows.reset_index(drop=True), spans=spans, power_offs=offs, assumptions=given
    )


@pytest.mark.parametrize("name", PLAIN)
def test_damaged_records(name):
    rng = np.random.default_rng(list(name.encode()))
    world = next(w for w in WORLDS if w.name == name)
    settings = Settings()
    for _ in range(6):
        s = damaged(world, rng)
        ready = prepare(s)
        drawn = simulate(ready, draws=500, seed=1, coverage=0.95)
        frame = phase_drain(s, settings, prepared=ready, simulated=drawn)
        cells = len(s.runs) * len(s.phases) * len(s.devices)
        assert len(frame) == 2 * cells
        there = frame[frame["drain_pp"].notna()]
        assert (there["drain_pp_low"] <= there["drain_pp"] + 1e-6).all()
        assert (there["drain_pp"] <= there["drain_pp_high"] + 1e-6).all()
        assert len(standing(s, settings, prepared=ready)) == cells
        assert len(projections(s, settings, prepared=ready)) == cells
        assert len(energy(s, settings, prepared=ready)) == cells
        pairs = len(s.devices) * (len(s.devices) - 1) // 2
        table = drain_pairs(s, settings, prepared=ready)
        assert len(table) == 2 * pairs * len(s.runs) * len(s.phases)
        shares = contributions(s, settings, prepared=ready)
        assert ((shares["share"] > 0.0) & (shares["share"] <= 1.0 + 1e-9)).all()
        assert budget(s, settings, prepared=ready)["source"].is_unique
        agreement(s, settings, prepared=ready, simulated=drawn)
        agreements(s, settings, prepared=ready, simulated=drawn)
        parts(s, settings, prepared=ready)
        within_phase(s, settings, prepared=ready)
        reference_repeats(s, settings, prepared=ready)
        mix = {"all": dict.fromkeys([p.activity for p in s.phases if p.activity], 1.0)}
        if mix["all"]:
            usage_mixes(s, settings, prepared=ready, mixes=mix)
            mix_shifts(s, settings, prepared=ready, mixes=mix)
