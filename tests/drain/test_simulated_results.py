"""Every result by Monte Carlo: exact distributions, and simulations written out by another hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.analyse import analyse
from kit.drain.phases import prepare
from kit.drain.projections import hours_u
from kit.drain.simulation import simulate
from kit.results import RESULT_COLUMNS, Settings
from kit.session import Device, Gauge, Phase
from kit.stats.monte_carlo import triangular_root
from tests.helpers.builders import BARE, COMPLETE_CONDITIONS, make_session
from tests.helpers.exact import sum_of_uniforms_half_width

DRAWS = 200_000
TRIANGLE_95 = 1 - 0.05**0.5
"""Half-width of the difference of two errors of ± ½ at 95 %: 1 − √0.05 = 0.776."""


def device(name="a", **fields):
    return Device(**{"id": name, "label": name, "gauge": Gauge(counts="energy"), **fields})


def session(readings, *, phases=("idle", "game"), devices=None, **fields):
    return make_session(
        devices=devices or [device(name) for name in readings],
        phases=[
            p if isinstance(p, Phase) else Phase(id=p, label=p, activity=p, planned_min=60)
            for p in phases
        ],
        readings=readings,
        **{"assumptions": BARE, "conditions": COMPLETE_CONDITIONS, **fields},
    )


def drawn(s, mixes=None):
    return simulate(prepare(s), draws=DRAWS, seed=11, coverage=0.95, mixes=mixes or {})


def test_drain_since_the_start():
    """95, 90, 70 %: 25 pp between two readings, whatever lies between: 25 ± 0.776."""
    found = drawn(session({"a": [95, 90, 70]})).phases["total_drain"]
    assert found.low[0, 1] == pytest.approx(25 - TRIANGLE_95, abs=0.01)
    assert found.high[0, 1] == pytest.approx(25 + TRIANGLE_95, abs=0.01)
    assert found.u[0, 1] == pytest.approx(6**-0.5, rel=0.01)


def test_projected_hours():
    """12 pp/h: 100/12.776 = 7.827 h to 100/11.224 = 8.910 h.

    ∫ (100/(12 + x))² and ∫ 100/(12 + x) over the triangle, by the trapezoidal rule.
    """
    found = drawn(session({"a": [90, 78]}, phases=("idle",))).phases["hours"]
    assert found.low[0, 0] == pytest.approx(100 / (12 + TRIANGLE_95), abs=0.005)
    assert found.high[0, 0] == pytest.approx(100 / (12 - TRIANGLE_95), abs=0.005)
    x = np.linspace(-1, 1, 20_001)
    density = 1 - np.abs(x)
    mean, square = (np.trapezoid(density * (100 / (12 + x)) ** n, x) for n in (1, 2))
    assert found.u[0, 0] == pytest.approx((square - mean**2) ** 0.5, rel=0.01)


def test_hours_of_a_small_drain_have_no_standard_deviation():
    """1 pp: u = 0.41, 41 % of it; the rate may be next to nothing, so only the ends are given."""
    found = drawn(session({"a": [90, 89]}, phases=("idle",))).phases["hours"]
    assert np.isnan(found.u[0, 0])
    assert found.low[0, 0] == pytest.approx(100 / (1 + TRIANGLE_95), abs=0.2)


@pytest.mark.parametrize("rho", [0.05, 0.11, 0.15])
def test_u_of_a_reciprocal(rho):
    """The straight line is 1 % (5 %) low at ρ = 0.05 (0.11); the next terms leave below 2 %."""
    x = 1 + rho * np.random.default_rng(3).standard_normal(2_000_000)
    true = float((1 / x).std())
    assert float(hours_u(1.0, rho)) == pytest.approx(true, rel=0.02)
    assert rho < true
    if rho > 0.1:
        assert rho < 0.96 * true


def test_energy_and_power_against_a_simulation_by_hand():
    """12 pp of 30 Wh ± 4 % at a health of 90 %, u = 3 %, in an hour whose length has u = 2 min."""
    s = session(
        {"a": [90, 78]}, phases=("idle",),
        devices=[device(rated_energy_wh=30.0, rated_energy_tol_pct=4.0, health_pct=90.0,
                        health_u_pct=3.0)],
        assumptions=replace(BARE, phase_length_u_min=2.0),
    )  # fmt: skip
    found = drawn(s)
    rng = np.random.default_rng(5)
    m = 1_000_000
    drain = 12 + rng.uniform(-0.5, 0.5, m) - rng.uniform(-0.5, 0.5, m)
    full = 30 * rng.uniform(0.96, 1.04, m) * rng.normal(0.9, 0.03, m)
    hours = 1 + rng.uniform(-1, 1, m) * 3**0.5 * 2 / 60
    for name, values in (("energy", drain / 100 * full), ("power", drain / 100 * full / hours)):
        low, high = np.quantile(values, [0.025, 0.975])
        assert found.phases[name].low[0, 0] == pytest.approx(low, rel=0.003)
        assert found.phases[name].high[0, 0] == pytest.approx(high, rel=0.003)
        assert found.phases[name].u[0, 0] == pytest.approx(values.std(), rel=0.01)


def test_a_gauge_that_may_count_either_spreads_hours():
    """From 20 to 8 %, β = 0.045 to 0.06: the drain over 1 + sβ with s anywhere from 0 to 1."""
    s = session({"a": [20, 8]}, phases=("idle",), devices=[device(gauge=Gauge())])
    found = drawn(s).phases["hours"]
    beta = float(np.interp(14.0, [10, 20], [0.06, 0.045]))
    rng = np.random.default_rng(6)
    m = 1_000_000
    rate = (12 + rng.uniform(-0.5, 0.5, m) - rng.uniform(-0.5, 0.5, m)) / (
        1 + rng.uniform(0, 1, m) * beta
    )
    low, high = np.quantile(100 / rate, [0.025, 0.975])
    assert found.low[0, 0] == pytest.approx(low, rel=0.005)
    assert found.high[0, 0] == pytest.approx(high, rel=0.005)


def test_runtime():
    """On until 300, off at 303, digital clock: [300, 304) less a start in [0, 1): a trapezoid."""
    s = session(
        {"a": [95]}, phases=(Phase(id="p", label="p", activity="p", planned_min=600),),
        power_offs={"a": {"noted_min": 303, "last_on_min": 300, "first_off_min": 303}},
    )  # fmt: skip
    found = drawn(s).runtime
    half = sum_of_uniforms_half_width([2.0, 0.5], 0.95)
    assert 60 * found.low[0] == pytest.approx(301.5 - half, abs=0.02)
    assert 60 * found.high[0] == pytest.approx(301.5 + half, abs=0.02)
    assert 60 * found.u[0] == pytest.approx((17 / 12) ** 0.5, rel=0.01)


def test_a_survivor_has_no_runtime_but_a_bound():
    s = session({"a": [95, 90]}, phases=("idle",))
    assert np.isnan(drawn(s).runtime.low).all()


def test_mix_shares_the_reading_between_its_phases():
    """5 and 20 pp/h, half and half: the middle reading drops out, 12.5 ± 0.776/2 pp/h."""
    found = drawn(session({"a": [95, 90, 70]}), {"half": {"idle": 1.0, "game": 1.0}}).mixes["half"]
    assert found.low[0] == pytest.approx(100 / (12.5 + TRIANGLE_95 / 2), abs=0.005)
    assert found.high[0] == pytest.approx(100 / (12.5 - TRIANGLE_95 / 2), abs=0.005)


def test_mix_of_a_crossover_against_a_simulation_by_hand():
    """Half an hour of talk and half of film, 90 → 84 → 74 %: 12 and 20 pp/h, in shares 3 to 1.

    (3·12 + 20)/4 = 14 pp/h; the reading in the middle counts 3·2 − 2 = 4 quarters, and so on.
    """
    phase = Phase(id="swap", label="Swap", kind="crossover", planned_min=60, parts=("talk", "film"))
    s = session(
        {"a": [90, 74]}, phases=(phase,),
        turns=[
            {"phase": "swap", "device": "a", "activity": "talk", "start_min": 0, "end_min": 30},
            {"phase": "swap", "device": "a", "activity": "film", "start_min": 30, "end_min": 60},
        ],
        more_readings=[
            {"device": "a", "phase": "swap", "point": "inside", "t_min": 30.0, "soc_pct": 84.0}
        ],
    )  # fmt: skip
    found = drawn(s, {"mix": {"talk": 3.0, "film": 1.0}}).mixes["mix"]
    closed = analyse(s, (), Settings(draws=0, mix="talk 3, film 1")).extra["mixes"].iloc[0]
    rng = np.random.default_rng(8)
    first, middle, last = (v + rng.uniform(-0.5, 0.5, 1_000_000) for v in (90.0, 84.0, 74.0))
    # the moment of the look at the middle is noted to the minute, and the swap to the minute
    rate = 0.75 * (first - middle) / 0.5 + 0.25 * (middle - last) / 0.5
    low, high = np.quantile(100 / rate, [0.025, 0.975])
    assert closed["hours"] == pytest.approx(100 / 14.0, rel=0.01)
    # by the display, talk: 12 ± 0.776 · 2 pp/h
    rates = drawn(s).parts
    assert rates.low[0, 0] == pytest.approx(12 - 2 * TRIANGLE_95, rel=0.02)
    assert rates.high[0, 0] == pytest.approx(12 + 2 * TRIANGLE_95, rel=0.02)
    assert found.low[0] == pytest.approx(low, rel=0.02)
    assert found.high[0] == pytest.approx(high, rel=0.02)


def test_rate_in_a_turn_against_a_simulation_by_hand():
    """Ten minutes of film in an hour of talk: 84 → 72 % there, 96 → 84 % in an hour of talk before.

    (12 − 50/60 · 12)/(10/60) = 12 pp/h, from three readings: the one between counts 1 + 5/6 times.
    """
    turn = Phase(id="turn", label="Turn", kind="rotation", planned_min=60, parts=("film", "talk"),
                 turn_min=10.0)  # fmt: skip
    s = session(
        {"a": [96, 84, 72]}, phases=("talk", turn),
        turns=[{"phase": "turn", "device": "a", "activity": "film", "start_min": 60,
                "end_min": 70}],
    )  # fmt: skip
    found = analyse(s, (), Settings(draws=100_000))
    closed = found.parts[found.parts["part"] == "film"].iloc[0]
    row = found.extra["agreements"].query("quantity == 'part_rate' and part == 'film'").iloc[0]
    rng = np.random.default_rng(10)
    first, middle, last = (v + rng.uniform(-0.5, 0.5, 1_000_000) for v in (96.0, 84.0, 72.0))
    rate = ((middle - last) - 5 / 6 * (first - middle)) * 6
    low, high = np.quantile(rate, [0.025, 0.975])
    assert closed["rate_pp_per_h"] == pytest.approx(12.0)
    assert row["mc_low"] == pytest.approx(low, abs=0.15)
    assert row["mc_high"] == pytest.approx(high, abs=0.15)
    assert row["gum_low"] == pytest.approx(closed["rate_pp_per_h_low"])


def test_report_states_both_ways():
    """Every kind of result has both intervals, their difference, and a reason where they differ."""
    s = session(
        {"a": [100, 90, 70], "b": [100, 92, 79]},
        devices=[device("a", rated_energy_wh=30.0), device("b", rated_energy_wh=28.0)],
        power_offs={"a": {"noted_min": 303, "last_on_min": 300, "first_off_min": 303}},
    )  # fmt: skip
    found = analyse(s, (), Settings(draws=60_000))
    frame = found.extra["agreements"]
    assert tuple(frame.columns) == RESULT_COLUMNS["agreements"]
    assert set(frame["quantity"]) == {
        "displayed_rate", "true_charge_rate", "total_drain", "hours", "energy", "power", "runtime",
        "mix_hours",
    }  # fmt: skip
    assert ((frame["why"] == "") == frame["agrees"]).all()
    runtime = frame[frame["quantity"] == "runtime"].iloc[0]
    assert not runtime["agrees"]
    assert runtime["why"].startswith("wider on purpose: the bounds of a runtime hold always")
    for name, frame in (
        ("projections", found.projections), ("energy", found.energy),
        ("standing", found.standing), ("mixes", found.extra["mixes"]),
    ):  # fmt: skip
        assert set(frame["method"]) <= {"gum", "monte_carlo", ""}, name
        assert (frame["method"] == "gum").any(), name


def test_intervals_of_the_report_reach_as_far_as_those_drawn():
    """Whatever is stated is never narrower than Monte Carlo by more than the tolerance."""
    s = session({"a": [100, 90, 70, 30], "b": [100, 92, 79, 51]}, phases=("idle", "game", "film"))
    found = analyse(s, (), Settings(draws=60_000))
    frame = found.extra["agreements"]
    hours = found.projections.merge(
        frame[frame["quantity"] == "hours"], on=["run", "phase", "device"]
    )
    assert len(hours) == 6
    assert (hours["hours_low"] <= hours["mc_low"] + hours["tolerance"] + 1e-9).all()
    assert (hours["hours_high"] >= hours["mc_high"] - hours["tolerance"] - 1e-9).all()


def test_root_of_a_covariance():
    rng = np.random.default_rng(9)
    half = rng.normal(size=(6, 4))
    covariance = half @ half.T
    root = triangular_root(covariance)
    np.testing.assert_allclose(root @ root.T, covariance, atol=1e-9)
    np.testing.assert_array_equal(root, np.tril(root))


def test_a_phase_of_the_power_off_without_a_reading_before_it_stands_for_nothing():
    """No percentage at its start, so no drain: neither the closed form nor the draws use it."""
    s = session(
        {"a": [95, 90, None], "b": [95, 91, 70]}, phases=("idle", "game", "film"),
        conditions={**COMPLETE_CONDITIONS, "power_saver": "off"},
        power_offs={"a": {"noted_min": 170, "last_on_min": 168, "first_off_min": 170}},
    )  # fmt: skip
    found = analyse(s, (), Settings(draws=10_000, mix="idle 1, film 1"))
    mixes = found.extra["mixes"].set_index(["mix", "device"])
    assert mixes.loc[("as asked for", "a"), "missing"] == "film"
    assert not found.extra["agreements"].empty
