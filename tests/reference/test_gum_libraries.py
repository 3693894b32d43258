"""Other programs recompute what the kit computes: GTC and uncertainties."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from kit.drain.energy import energy
from kit.drain.mix_rates import mix_rates
from kit.drain.phases import prepare
from kit.results import Settings
from kit.session import Device, Gauge
from kit.stats.uncertainty import effective_dof
from tests.helpers.builders import BARE, make_session

pytestmark = pytest.mark.system


def test_effective_dof_of_gtc():
    gtc = pytest.importorskip("GTC")
    parts, dof = [25.0, 9.68194195, 2.88675, 16.599], [18, 25.44725, 50, 2]
    total = sum(gtc.ureal(0.0, u, v) for u, v in zip(parts, dof, strict=True))
    assert effective_dof(parts, dof) == pytest.approx(gtc.dof(total), rel=1e-9)
    assert np.hypot.reduce(parts) == pytest.approx(gtc.uncertainty(total), rel=1e-12)


def test_shared_readings_by_uncertainties():
    """Drains, sums, differences and mixes of correlated readings, by a program that tracks them."""
    uncertainties = pytest.importorskip("uncertainties")
    levels = [96, 84, 80, 61, 45]
    reading = [uncertainties.ufloat(v, 12**-0.5) for v in levels]
    drains = [a - b for a, b in pairwise(reading)]
    names = ("p", "q", "r", "s")
    s = make_session(
        devices=[Device(id="a", label="a", gauge=Gauge(counts="energy"))],
        phases=dict.fromkeys(names, 60), readings={"a": levels}, assumptions=BARE,
        conditions={"power_saver": "off"},
    )  # fmt: skip
    ready = prepare(s)
    found = ready.drains["displayed"]
    for i, d in enumerate(drains):
        assert found.drain_pp[0, i] == pytest.approx(d.n)
        assert found.u_pp[0, i] == pytest.approx(d.s)
    weights = {"p": 0.1, "q": 0.2, "r": 0.3, "s": 0.4}
    mix = sum(w * d for w, d in zip(weights.values(), drains, strict=True))
    ours = mix_rates(ready, weights)
    assert ours.rate[0] == pytest.approx(mix.n)
    assert float(ours.u[0]) == pytest.approx(mix.s)


def test_energy_by_gtc():
    """E = d/100 · W · κ with first-order propagation."""
    gtc = pytest.importorskip("GTC")
    d = gtc.ureal(75, 12**-0.5)
    drain = gtc.ureal(87, 12**-0.5) - d
    e = drain / 100 * gtc.ureal(15.0, 15.0 * 0.03 / 3**0.5) * gtc.ureal(1.0, 0.02)
    device = Device(
        id="a", label="a", rated_energy_wh=15.0, rated_energy_tol_pct=3.0, health_pct=100.0,
        health_u_pct=2.0, gauge=Gauge(counts="energy"),
    )  # fmt: skip
    s = make_session(devices=[device], phases={"p": 60}, readings={"a": [87, 75]}, assumptions=BARE)
    row = energy(s, Settings()).iloc[0]
    assert row["energy_wh"] == pytest.approx(gtc.value(e))
    assert row["energy_wh_u"] == pytest.approx(gtc.uncertainty(e))
