"""Budget, contributions, and the closed form beside Monte Carlo."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.drain.agreement import agreement
from kit.drain.budget import budget, contributions
from kit.drain.intervals import interval
from kit.drain.model import SOURCES
from kit.drain.phases import phase_drain, prepare
from kit.drain.simulation import Figures, simulate, simulate_to_digits
from kit.results import RESULT_COLUMNS, Settings
from kit.session import Assumptions, Device, Gauge
from tests.helpers.builders import BARE, make_session
from tests.helpers.exact import sum_of_uniforms_half_width

DRAWS = 200_000


def drain_of(found, measurand="displayed"):
    return found.phases[f"{measurand}_drain"]


def rate_of(found, measurand="displayed"):
    return found.phases[f"{measurand}_rate"]


def simulated(session, draws=DRAWS):
    ready = prepare(session)
    return ready, simulate(ready, draws=draws, seed=7, coverage=0.95)


# ---------------------------------------------------------------- Monte Carlo


def chain(*levels, **fields):
    phases = {f"p{i}": 60 for i in range(len(levels) - 1)}
    return make_session(
        phases=phases, readings={"a": list(levels)}, **{"assumptions": BARE, **fields}
    )


@pytest.mark.parametrize(
    ("levels", "assumptions", "phase", "measurand", "low", "high"),
    [
        # 87 → 75, readings up to 2 min late, the rates before and after alike: 11.16 to 12.84
        ((99, 87, 75, 63), {"reading_delay_min": 2.0}, 1, "displayed", 11.16, 12.84),
        # the same, the next phase at 20 pp/h: 10.97 to 12.76
        ((99, 87, 75, 55), {"reading_delay_min": 2.0}, 1, "displayed", 10.97, 12.76),
        # 100 → 92, the next phase alike, delays: 6.93 to 8.80
        ((100, 92, 84), {"reading_delay_min": 2.0}, 0, "displayed", 6.93, 8.80),
        # 87 → 75, gauge ± 3: 7.70 to 16.30
        ((99, 87, 75, 63), {"gauge_error_pp": 3.0}, 1, "true_charge", 7.70, 16.30),
        # the display held at 100 % for up to 10 min: 7.28 to 10.06
        (
            (100, 92, 84),
            {"reading_delay_min": 2.0, "full_hold_max_min": 10.0},
            0,
            "true_charge",
            7.28,
            10.06,
        ),
    ],
)
def test_simulation_against_another_one(levels, assumptions, phase, measurand, low, high):
    """Intervals found by an independent simulation of the same cases, printed to 0.01 pp."""
    _, found = simulated(chain(*levels, assumptions=replace(BARE, **assumptions)))
    assert drain_of(found, measurand).low[0, phase] == pytest.approx(low, abs=0.05)
    assert drain_of(found, measurand).high[0, phase] == pytest.approx(high, abs=0.05)


def test_simulation_of_a_gap():
    """87 → 75 with 6 min unlogged at up to 20 pp/h, from 75 to 63.

    Exact: 11 ± the 95 % half-width of two fractions ± ½ and a gap ± 1, 1.326. The closed form adds
    the gap linearly on purpose: 9.2 to 12.8.
    """
    exact = sum_of_uniforms_half_width([0.5, 0.5, 1.0], 0.95)
    s = make_session(
        phases={"p0": 60, "p1": 60},
        readings={"a": [95, 75, 63]},
        gaps={"p1": 6},
        assumptions=replace(BARE, gap_rate_factor=1.0),
    )
    ready, found = simulated(s)
    assert drain_of(found).low[0, 1] == pytest.approx(11 - exact, abs=0.02)
    assert drain_of(found).high[0, 1] == pytest.approx(11 + exact, abs=0.02)
    low, high, *_ = interval(ready.drains["displayed"], 0.95)
    assert (low[0, 1], high[0, 1]) == (pytest.approx(9.2), pytest.approx(12.8))
    row = agreement(s, Settings(), simulated=found, prepared=ready).query("phase == 'p1'").iloc[0]
    assert not row["agrees"]
    assert "added linearly" in row["why"]


def test_draws_below_zero_are_dropped_not_clipped():
    """63 → 63: |triangle| given that it is above 0: 1 − √0.975 = 0.0126 to 1 − √0.025 = 0.842."""
    _, found = simulated(make_session(phases={"p": 30}, readings={"a": [63, 63]}, assumptions=BARE))
    assert drain_of(found).low[0, 0] == pytest.approx(1 - 0.975**0.5, abs=0.005)
    assert drain_of(found).high[0, 0] == pytest.approx(1 - 0.025**0.5, abs=0.005)
    # rate: twice that
    assert rate_of(found).high[0, 0] == pytest.approx(2 * (1 - 0.025**0.5), abs=0.01)


def test_u_agrees_with_the_closed_form_for_every_source():
    """A session with everything in it: delays, gap, hold, held charger, looks, power-off."""
    s = make_session(
        devices=[Device(id="a", label="a", gauge=Gauge(reading_wakes_device=True))],
        phases={"p0": 60, "p1": 60, "p2": 60, "p3": 60},
        readings={"a": [100, 80, 56, 30]},
        gaps={"p2": 9},
        power_offs={"a": {"last_on_min": 235, "first_off_min": 238}},
        conditions={"held_full_min": 300},
        assumptions=Assumptions(full_hold_max_min=10.0),
    )
    ready, found = simulated(s)
    for measurand in ("displayed", "true_charge"):
        np.testing.assert_allclose(
            drain_of(found, measurand).u, ready.drains[measurand].u_pp, rtol=0.03
        )


def test_closed_form_is_not_narrower_than_monte_carlo():
    """Symmetric cases: wider by the guard (up to 3 %), or by more where that is on purpose."""
    ready, found = simulated(
        chain(100, 88, 75, 63, 49, 38, assumptions=Assumptions(phase_length_u_min=0.41))
    )
    for measurand in ("displayed", "true_charge"):
        low, high, rate_low, rate_high = interval(ready.drains[measurand], 0.95)
        assert np.all(low <= drain_of(found, measurand).low + 0.01)
        assert np.all(high >= drain_of(found, measurand).high - 0.01)
        assert np.all(high - drain_of(found, measurand).high < 0.12)
        assert np.all(rate_low <= rate_of(found, measurand).low + 0.01)
        assert np.all(rate_high >= rate_of(found, measurand).high - 0.01)


def test_simulation_is_seeded_and_independent_of_other_devices():
    alone = make_session(phases={"p": 60}, readings={"a": [90, 80]})
    row = make_session(phases={"p": 60}, readings={"a": [90, 80], "b": [70, 50]})
    first, again = (simulate(prepare(alone), draws=20_000, seed=3, coverage=0.95)
                    for _ in range(2))  # fmt: skip
    other = simulate(prepare(alone), draws=20_000, seed=4, coverage=0.95)
    np.testing.assert_array_equal(drain_of(first).low, drain_of(again).low)
    assert drain_of(first).low[0, 0] != drain_of(other).low[0, 0]
    two = simulate(prepare(row), draws=20_000, seed=3, coverage=0.95)
    # a's place in the row differs, so its delays do; the interval stays the same to 0.1 pp
    assert drain_of(two).low[0, 0] == pytest.approx(drain_of(first).low[0, 0], abs=0.1)


def test_draws_that_do_not_fill_a_chunk():
    found = simulate(prepare(chain(90, 80)), draws=50_001, seed=1, coverage=0.95)
    assert found.draws == 50_001
    assert drain_of(found).u[0, 0] == pytest.approx(6**-0.5, rel=0.02)


def test_draws_until_the_digits_stand():
    """u = 0.41: one digit, δ = 0.05, stands after two or three blocks; two, 0.005, after more.

    The end of a triangle moves by √(0.025 × 0.975/M)/0.224: 2 × 0.7/√M < 0.005 at M = 78 000.
    """
    ready = prepare(chain(90, 80, 70))
    one = simulate_to_digits(ready, digits=1, seed=5, coverage=0.95)
    two = simulate_to_digits(ready, digits=2, seed=5, coverage=0.95)
    again = simulate_to_digits(ready, digits=2, seed=5, coverage=0.95)
    assert (one.stable_digits, two.stable_digits) == (1, 2)
    assert one.draws <= 40_000 <= two.draws <= 300_000
    assert drain_of(two).high[0, 1] == pytest.approx(10 + 1 - 0.05**0.5, abs=0.005)
    np.testing.assert_array_equal(drain_of(two).low, drain_of(again).low)
    gave_up = simulate_to_digits(ready, digits=3, seed=5, coverage=0.95, max_draws=30_000)
    assert (gave_up.stable_digits, gave_up.draws) == (0, 30_000)


def test_monte_carlo_is_stated_where_it_reaches_further():
    """The report's interval is never the narrower one."""
    s = chain(90, 80, 70)
    ready, found = simulated(s)
    wide = replace(
        found,
        phases={
            name: Figures(u=f.u, low=f.low - 1.0, high=f.high + 1.0)
            for name, f in found.phases.items()
        },
    )
    frame = phase_drain(s, Settings(), prepared=ready, simulated=wide)
    shown = frame[frame["measurand"] == "displayed"]
    assert set(shown["method"]) == {"monte_carlo"}
    assert shown["drain_pp_low"].tolist() == pytest.approx(drain_of(wide).low[0].tolist())
    table = agreement(s, Settings(), simulated=wide, prepared=ready)
    assert "Monte Carlo reaches further" in table["why"].iloc[0]
    assert set(phase_drain(s, Settings(), prepared=ready, simulated=found)["method"]) == {"gum"}


def test_agreement_says_why_it_is_wider_on_purpose():
    s = chain(100, 92, 80, 80)
    ready, found = simulated(s)
    frame = agreement(s, Settings(), simulated=found, prepared=ready)
    assert tuple(frame.columns) == RESULT_COLUMNS["agreement"]
    shown = frame[frame["measurand"] == "displayed"].set_index("phase")
    # from full: 1.00 for 0.925; δ = ½·10⁻¹ for u = 0.5
    assert not shown.loc["p0", "agrees"]
    assert "rounding" in shown.loc["p0", "why"]
    assert shown.loc["p0", "tolerance_pp"] == pytest.approx(0.05)
    assert shown.loc["p1", "agrees"]
    assert shown.loc["p1", "why"] == ""


def test_agreement_leaves_out_what_was_not_simulated():
    s = make_session(phases={"p": 60, "q": 60}, readings={"a": [90, 80], "b": [90, 85, 80]})
    ready, found = simulated(s, draws=10_000)
    frame = agreement(s, Settings(), simulated=found, prepared=ready)
    assert list(zip(frame["phase"], frame["device"], strict=True))[::2] == [
        ("p", "a"), ("p", "b"), ("q", "b")
    ]  # fmt: skip


# ---------------------------------------------------------------- contributions and budget


def test_contributions_add_up():
    s = chain(100, 88, 75, 63, assumptions=Assumptions())
    frame = contributions(s, Settings())
    assert tuple(frame.columns) == RESULT_COLUMNS["contributions"]
    assert set(frame["source"]) <= set(SOURCES)
    shares = frame.groupby(["phase", "measurand"])["share"].sum()
    np.testing.assert_allclose(shares, 1.0)
    drains = phase_drain(s, Settings()).set_index(["phase", "measurand"])
    parts = frame[frame["source"] != "phase_length"]
    total = (parts["u_pp"] ** 2).groupby([parts["phase"], parts["measurand"]]).sum() ** 0.5
    for key, value in total.items():
        assert value == pytest.approx(drains.loc[key, "drain_pp_u"])
    assert not ((frame["measurand"] == "displayed") & (frame["source"] == "gauge")).any()


def test_contributions_by_hand():
    """From full: fraction 1/√12 = 0.289 and rounding 1/√6 = 0.408: a third and two thirds."""
    frame = contributions(chain(100, 92), Settings()).query("measurand == 'displayed'")
    assert frame["source"].tolist() == ["resolution", "rounding"]
    assert frame["u_pp"].tolist() == pytest.approx([12**-0.5, 6**-0.5])
    assert frame["share"].tolist() == pytest.approx([1 / 3, 2 / 3])


def test_budget_says_what_is_stated_and_what_is_assumed():
    given = Assumptions(
        reading_delay_min=1.5, gauge_error_pp=2.0,
        stated=frozenset({"reading_delay_min", "gauge_error_pp"}),
    )  # fmt: skip
    frame = budget(chain(100, 88, 75, 63, assumptions=given), Settings()).set_index("source")
    assert frame.loc["time of reading", "value"] == "1.5"
    assert frame.loc["time of reading", "basis"] == "stated in the setup file"
    assert frame.loc["gauge deviation", "value"] == "2 over 7"
    assert frame.loc["gauge deviation", "basis"].startswith("stated in the setup file in part")
    assert "not measured" in frame.loc["unlogged time", "basis"]
    assert frame.loc["rounding of the display", "value"] == "not known"
    assert frame.loc["resolution of the display", "reference"] == "JCGM 100:2008, F.2.2.1"
    # median effect over the three phases: interior 0.41 to 0.42 pp
    assert frame.loc["resolution of the display", "effect_pp"] == pytest.approx(0.41, abs=0.02)
    assert np.isnan(frame.loc["unlogged time", "effect_pp"])


def test_budget_of_known_gauges_and_stated_lengths():
    devices = [
        Device(id="a", label="a", gauge=Gauge(rounding="truncated", step_pct=1.0)),
        Device(id="b", label="b", gauge=Gauge(rounding="nearest", step_pct=5.0)),
    ]
    s = make_session(
        devices=devices, phases={"p": 60}, readings={"a": [90, 80], "b": [90, 80]},
        assumptions=Assumptions(phase_length_u_min=0.5),
    )  # fmt: skip
    frame = budget(s, Settings()).set_index("source")
    assert frame.loc["rounding of the display", "value"] == "nearest / truncated"
    assert frame.loc["resolution of the display", "value"] == "1 / 5"
    assert frame.loc["resolution of the display", "basis"] == "stated in the setup file"
    assert frame.loc["length of the phase", "value"] == "u = 0.5"
    assert frame.loc["length of the phase", "basis"] == "stated in the setup file"


def test_budget_of_an_empty_session():
    frame = budget(make_session(devices=["a"], phases={"p": None}), Settings())
    assert tuple(frame.columns) == RESULT_COLUMNS["budget"]
    assert frame.set_index("source").loc["length of the phase", "value"] == "not known"
