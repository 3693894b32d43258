"""Expected courses: by hand, and whether the windows hold on simulated days."""

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest

from kit.plan.earlier import pooled, session_rates
from kit.plan.planned import Break, DeviceForecast
from kit.plan.predict import (
    Rate,
    course,
    courses,
    device_rates,
    off_window,
    scatter,
)
from kit.plan.timetable import BETWEEN, Activity, activities, timetable
from kit.session import Device, Phase
from kit.simulate import CHARGE_SHAPE, Limits, random_day, simulate_day
from tests.helpers.plans import make_plan


def rate(value, u=0.0):
    return Rate(pp_per_h=value, u_pp_per_h=u, source="plan")


def stretch(start, end, name):
    return Activity(start_min=start, end_min=end, name=name)


# ---------------------------------------------------------------- rates


def test_rate_from_power_and_capacity_by_hand():
    # 3 W from 30 Wh at 80 % health: 100 x 3/24 = 12.5 pp/h. Relative variances: power 0.1² =
    # 0.01, energy 0.03²/3 = 0.0003, health (2/80)² = 0.000625: sum 0.010925, u = 0.10452 x 12.5.
    device = Device(
        id="a", label="A", rated_energy_wh=30, rated_energy_tol_pct=3, health_pct=80,
        health_u_pct=2,
    )  # fmt: skip
    plan = replace(
        make_plan(devices=("x",), phases={"map": 60}),
        devices=(device,),
        forecasts={"a": DeviceForecast(power_w={"map": 3.0}, power_u_pct=10.0)},
    )
    found = device_rates(plan, "a")["map"]
    assert found.pp_per_h == pytest.approx(12.5)
    assert found.u_pp_per_h == pytest.approx(12.5 * 0.010925**0.5)
    assert found.source == "power"


def test_a_stated_rate_goes_before_a_power_and_the_rest_is_between():
    plan = replace(
        make_plan(devices=("a",), phases={"map": 60, "photo": 60, "film": 60}),
        forecasts={
            "a": DeviceForecast(
                rates_pp_per_h={"map": 8.0, "photo": 14.0}, rates_u_pct=5.0, power_w={"map": 99.0}
            )
        },
    )
    found = device_rates(plan, "a")
    assert (found["map"].pp_per_h, found["map"].u_pp_per_h) == (8.0, pytest.approx(0.4))
    # film: between 8 and 14, mean 11, u = 6/sqrt(12)
    assert found["film"].pp_per_h == 11.0
    assert found["film"].u_pp_per_h == pytest.approx(6 / 12**0.5)
    assert found["film"].source == "others"
    assert device_rates(make_plan(phases={"map": 60}), "a") == {}


def test_one_known_rate_gives_a_wide_guess_for_the_others():
    plan = make_plan(devices=("a",), phases={"map": 60, "film": 60}, rates={"a": {"map": 10.0}})
    # between 5 and 15
    assert device_rates(plan, "a")["film"].u_pp_per_h == pytest.approx(10 / 12**0.5)


def test_split_phases_ask_for_their_parts():
    phase = Phase(id="x", label="x", kind="crossover", parts=("s", "f"), planned_min=60)
    plan = make_plan(devices=("a", "b"), phases=(phase,), rates={"a": {"s": 10.0}})
    assert set(device_rates(plan, "a")) == {"s", "f"}


# ---------------------------------------------------------------- course


def test_exact_rates_power_off_exactly():
    # 60 min at 12 pp/h, then 8 pp/h: 88 pp left take 660 min; nothing is uncertain.
    found = course(
        (stretch(0, 60, "map"), stretch(60, None, "film")),
        {"map": rate(12), "film": rate(8)},
        cv=0.0, off_pct_max=0.0,
    )  # fmt: skip
    assert found.quantile(0.5) == pytest.approx(720, abs=0.51)
    assert found.quantile(0.95) - found.quantile(0.05) < 2.0  # the step of the grid is 1 min
    assert found.at(60) == (pytest.approx(88), pytest.approx(0))
    assert found.chance_off_by(700) == 0
    assert found.chance_off_by(740) == 1


def test_uncertainties_add_up_as_written():
    # After 120 min: 60 at 10 ± 1, 60 at 20 ± 2, cv 3 %: drain 30,
    # u² = 1² + 2² + (0.03 x 30)² = 5.81.
    found = course(
        (stretch(0, 60, "map"), stretch(60, None, "film")),
        {"map": rate(10, 1), "film": rate(20, 2)},
        cv=0.03,
    )
    level, u = found.at(120)
    assert level == pytest.approx(70)
    assert u == pytest.approx(5.81**0.5)


def test_time_between_phases_is_half_the_busiest_rate():
    # 30 min with nothing planned beside 10 pp/h: R = 11.5, mean 2.875 pp, u = 5.75/sqrt(12).
    found = course((stretch(0, 30, BETWEEN), stretch(30, None, "map")), {"map": rate(10)}, cv=0.0)
    level, u = found.at(30)
    assert level == pytest.approx(100 - 2.875)
    assert u == pytest.approx(5.75 / 12**0.5)


def test_percentage_at_power_off_moves_and_widens_the_window():
    # At 10 pp/h off at 2.5 % left: 585 min; u = 5/sqrt(12) = 1.443 pp = 8.66 min.
    found = course((stretch(0, None, "map"),), {"map": rate(10)}, cv=0.0, off_pct_max=5.0)
    assert found.quantile(0.5) == pytest.approx(585, abs=0.1)
    z = NormalDist().inv_cdf(0.95)
    assert found.quantile(0.95) == pytest.approx(585 + z * 8.66, abs=0.1)


def test_quantiles_agree_with_drawing_at_random():
    """A second road: draw rates, add up drains, and see when they reach the end."""
    stretches = (
        stretch(0, 60, "map"), stretch(60, 100, BETWEEN), stretch(100, 190, "film"),
        stretch(190, None, "map"),
    )  # fmt: skip
    rates = {"map": rate(9, 0.5), "film": rate(15, 1.0)}
    found = course(stretches, rates, cv=0.04)
    rng = np.random.default_rng(5)
    n = 200_000
    day = 1 + 0.04 * rng.standard_normal(n)
    a = 9 + 0.5 * rng.standard_normal(n)
    b = 15 + 1.0 * rng.standard_normal(n)
    gap = rng.uniform(0, 1.15 * 15, n)
    left = 100 - rng.uniform(0, 5, n)
    used = day * (a * 1.0 + gap * 40 / 60 + b * 1.5)
    off = 190 + (left - used) / (day * a) * 60
    for p in (0.05, 0.5, 0.95):
        # cv acts on the mean here and on the draw there; both are cut at 2 min
        assert found.quantile(p) == pytest.approx(np.quantile(off, p), abs=2.5)


def test_window_and_the_chance_of_seeing_it():
    found = course((stretch(0, None, "map"),), {"map": rate(10)}, cv=0.05, device="a")
    window = off_window(found, coverage=0.9, stop_min=None)
    assert window.before_stop == 1.0
    assert window.low_min < window.expected_min < window.high_min
    p_low, p_high = found.chance_off_by(window.low_min), found.chance_off_by(window.high_min)
    assert p_low == pytest.approx(0.05, abs=0.002)
    assert p_high == pytest.approx(0.95, abs=0.002)
    half = off_window(found, coverage=0.9, stop_min=window.expected_min)
    assert half.before_stop == pytest.approx(0.5, abs=0.01)
    # normal: half-width of 90 % is 1.645 u
    assert (window.high_min - window.low_min) / 2 == pytest.approx(1.645 * window.u_min, rel=0.03)


def test_a_device_that_never_drains_has_an_open_window():
    found = course((stretch(0, None, "off"),), {"off": rate(0.001)}, cv=0.03)
    window = off_window(found, coverage=0.9, stop_min=600)
    assert window.high_min == float("inf")
    assert window.before_stop < 1e-3


def test_scatter_counts_the_days_behind_the_rates():
    plan = make_plan(devices=("a",), phases={"map": 60}, rates={"a": {"map": 10}})
    assert scatter(plan, "a") == pytest.approx(0.03 * 2**0.5)
    four = DeviceForecast(rates_pp_per_h={"map": 10}, rates_runs=4)
    assert scatter(replace(plan, forecasts={"a": four}), "a") == pytest.approx(0.03 * 1.25**0.5)
    power = DeviceForecast(power_w={"map": 2})
    assert scatter(replace(plan, forecasts={"a": power}), "a") == 0.03
    assert scatter(replace(plan, forecasts={}), "a") == 0.03


def test_courses_follow_the_plan():
    plan = make_plan(
        devices=("a", "b"),
        phases={"map": 60, "film": None},
        rates={"a": {"map": 12, "film": 8, "rest": 3}},
        between="rest",
        seconds=30,
    )
    first, second = courses(plan, timetable(plan))
    assert second is None
    # 1 min rest, 60 min map, 1 min rest: 100 - 12 - 2 x 3/60 = 87.9 at minute 62
    assert first.at(62)[0] == pytest.approx(87.9)
    # an activity between phases without a rate counts as unknown: R = 1.15 x 12, half of it
    plan = replace(plan, between="unheard-of")
    first, _ = courses(plan, timetable(plan))
    assert first.at(62)[0] == pytest.approx(88 - 2 / 60 * 13.8 / 2)


# ---------------------------------------------------------------- truth


def second_day(day, limits, rng):
    """Return the scenario again with its phases in another order and other breaks."""
    order = list(day.phases[:-1])
    rng.shuffle(order)
    gaps = rng.integers(limits.gap_min[0], limits.gap_min[1] + 1, len(order))
    moved = [replace(p, gap_after_min=float(g)) for p, g in zip(order, gaps, strict=True)]
    return replace(day, phases=(*moved, day.phases[-1]))


def plan_of(day, earlier):
    """Return the plan of a scenario, with the rates of an earlier session of it."""
    rates = session_rates(earlier)
    forecasts = {}
    for device in day.devices:
        mine = {a: pooled(v) for (d, a), v in rates.items() if d == device.id}
        forecasts[device.id] = DeviceForecast(
            rates_pp_per_h={a: r for a, (r, _) in mine.items()},
            rates_u={a: u for a, (_, u) in mine.items()},
        )
    return make_plan(
        devices=tuple(d.id for d in day.devices),
        phases=tuple(
            Phase(id=p.id, label=p.id, activity=p.activity, kind=p.kind, planned_min=p.length_min)
            for p in day.phases
        ),
        breaks=tuple(
            Break(after=p.id, minutes=p.gap_after_min) for p in day.phases if p.gap_after_min
        ),
        seconds=0.0,
        forecasts=forecasts,
    )


WORLDS = {
    "exact gauges": {},
    "gauges that count charge": {"shape": CHARGE_SHAPE, "counts_charge": True},
    "gauges up to 3 pp off": {"gauge_error_pp": 3.0},
    "fuller than they show": {"overfull_max_min": 10.0},
}


@pytest.mark.slow
@pytest.mark.parametrize("world", list(WORLDS))
def test_windows_contain_the_power_off_as_often_as_they_say(world):
    """Rates from one simulated day foresee the next, in another order and with other breaks.

    Both days scatter by 3 % in power, as the plan assumes; between phases a device draws
    anything up to its busiest power. 150 days of six devices: the standard error of the share
    is about 1 %.
    """
    limits = Limits(
        devices=6, phases=6, length_min=(45, 90), rate_pp_per_h=(8.0, 16.0), until_empty=True,
        gap_min=(2, 6), **WORLDS[world],
    )  # fmt: skip
    rng = np.random.default_rng(20260606)
    inside = total = 0
    for _ in range(150):
        day = replace(random_day(limits, rng), run_cv=0.03)
        _, earlier = simulate_day(day, rng)
        again = second_day(day, limits, rng)
        truth, _ = simulate_day(again, rng)
        plan = plan_of(again, earlier)
        table = timetable(plan)
        starts = [table.of_phase(p.id).start_min for p in plan.phases]
        assert starts == pytest.approx(list(truth.runs[0].starts_min))
        assert activities(plan, table, "d1")[-1].end_min is None
        for found, off in zip(courses(plan, table), truth.runtimes["off_min"], strict=True):
            window = off_window(found, coverage=0.9, stop_min=None)
            inside += window.low_min <= off <= window.high_min
            total += 1
    assert total == 900
    assert 0.85 <= inside / total <= 0.95
