"""Formulas that suggest themselves and fail, beside ours, on simulated days of known truth.

Each test simulates drains, keeps what an operator would have noted, and counts how often the
interval of the naive formula and that of the kit hold the truth. 95 % is promised; about 500
drains have a standard error of 1.0 %.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kit.drain.intervals import interval
from kit.drain.mix_rates import mix_rates
from kit.drain.phases import prepare
from kit.session import Gauge
from tests.helpers.builders import BARE, join_runs, make_session

DEVICES, PHASES, DAYS = 8, 4, 16


def rounded(true, rng):
    """Return what displays show, each with a rounding of its own (last axis: readings)."""
    offset = rng.integers(-1, 2, (*true.shape[:-1], 1)) / 2.0
    return np.ceil(true - 0.5 + offset)


def deviating(true, rng):
    """Return true percentages as gauges have them: off by up to 3 pp, alike over some 7 pp."""
    knots = np.arange(0.0, 111.0, 10.0)
    off = np.array([
        np.interp(chain, knots, np.clip(rng.normal(0.0, 3.0 / 3**0.5, knots.size), -3.0, 3.0))
        for chain in true.reshape(-1, true.shape[-1])
    ])  # fmt: skip
    return true + off.reshape(true.shape)


def days(rng, first=(96.0, 99.0)):
    """Return true percentages of DAYS × DEVICES chains of PHASES hours, (days, devices, P + 1)."""
    rate = rng.uniform(4.0, 18.0, (DAYS, DEVICES, PHASES))
    start = rng.uniform(*first, (DAYS, DEVICES, 1))
    return np.concatenate([start, start - np.cumsum(rate, axis=2)], axis=2)


def ready_for(shown, **fields):
    """Return the prepared analysis of all days as runs of one session."""
    runs = [
        make_session(
            phases={f"p{i}": 60 for i in range(shown.shape[2] - 1)},
            readings={f"d{k}": list(row) for k, row in enumerate(day)},
            **{"assumptions": BARE, **fields},
        )
        for day in shown
    ]
    return prepare(join_runs(*runs))


def held(low, high, truth):
    there = ~np.isnan(low)
    return float(np.mean((low <= truth + 1e-9)[there] & (high >= truth - 1e-9)[there]))


def ours(ready, truth, measurand):
    low, high, *_ = interval(ready.drains[measurand], 0.95)
    return held(low, high, truth.reshape(low.shape))


def naive(shown, half, truth):
    d = shown[:, :, :-1] - shown[:, :, 1:]
    return held(d - half, d + half, truth)


def test_gauge_deviation_is_not_to_be_ignored_for_true_charge():
    """Gauges off by up to 3 pp, alike over some 7 pp."""
    rng = np.random.default_rng(21)
    true = days(rng)
    shown = rounded(deviating(true, rng), rng)
    drain = true[:, :, :-1] - true[:, :, 1:]
    assert naive(shown, 0.80, drain) < 0.50
    given = replace(BARE, gauge_error_pp=3.0)
    assert ours(ready_for(shown, assumptions=given), drain, "true_charge") >= 0.94


def gap_days(rng, share):
    """Return shown and true percentages with 6 unlogged minutes before every phase."""
    rate = rng.uniform(4.0, 18.0, (DAYS, DEVICES, PHASES))
    busiest = rate.max(axis=2, keepdims=True)
    in_gap = share(rng, rate.shape) * busiest * 0.1
    level = rng.uniform(96.0, 99.0, (DAYS, DEVICES, 1))
    ends = level - np.cumsum(rate + in_gap, axis=2)
    return rounded(np.concatenate([level, ends], axis=2), rng), rate


def test_unlogged_gaps_are_not_to_be_ignored():
    rng = np.random.default_rng(22)
    shown, drain = gap_days(rng, lambda r, shape: r.random(shape))
    gaps = {f"p{i}": 6 for i in range(1, PHASES)}
    ready = ready_for(shown, gaps=gaps)
    # the first phase has no gap before it in the record
    low, high, *_ = interval(ready.drains["displayed"], 0.95)
    truth = drain.reshape(low.shape)
    assert held(low[:, 1:], high[:, 1:], truth[:, 1:]) >= 0.97
    d = (shown[:, :, :-1] - shown[:, :, 1:]).reshape(low.shape)
    assert held(d[:, 1:] - 0.80, d[:, 1:] + 0.80, truth[:, 1:]) < 0.75


def test_gaps_are_not_to_be_added_in_quadrature_where_the_habit_is_the_same():
    """Every gap idle: the mean of a day is off by all the halves, which do not average out."""
    rng = np.random.default_rng(23)
    shown, drain = gap_days(rng, lambda r, shape: np.zeros(shape))
    gaps = {f"p{i}": 6 for i in range(1, PHASES)}
    session = ready_for(shown, gaps=gaps).chains.session
    ready = prepare(
        replace(
            session,
            devices=tuple(replace(d, gauge=Gauge(counts="energy")) for d in session.devices),
            conditions={"power_saver": "off", "dimming": "off"},
        )
    )
    mix = mix_rates(ready, {f"p{i}": 1.0 for i in range(1, PHASES)})
    there = ~np.isnan(mix.rate)
    truth = drain[:, :, 1:].mean(axis=2).ravel()
    assert there.mean() > 0.5
    half = mix.half_width(0.95)
    assert held(mix.rate - half, mix.rate + half, truth) >= 0.97
    bound = ready.drains["displayed"].bound_pp[:, 1:]
    quadrature = np.hypot(0.80, np.sqrt((bound**2).sum(axis=1))) / (PHASES - 1)
    naive = held((mix.rate - quadrature)[there], (mix.rate + quadrature)[there], truth[there])
    assert naive < 0.80


def test_held_display_is_not_to_be_ignored_for_true_charge():
    """Up to 15 min at 100 % while charge falls: the first phase is too small by a tenth."""
    rng = np.random.default_rng(24)
    hold = rng.uniform(0.0, 0.25, (DAYS, DEVICES, 1))
    rate = rng.uniform(8.0, 20.0, (DAYS, DEVICES, PHASES))
    ends = 100.0 - np.cumsum(rate, axis=2) + hold * rate[:, :, :1]
    shown = np.concatenate(
        [np.full((DAYS, DEVICES, 1), 100.0), np.minimum(rounded(ends, rng), 100.0)], axis=2
    )
    given = replace(BARE, full_hold_max_min=15.0)
    low, high, *_ = interval(ready_for(shown, assumptions=given).drains["true_charge"], 0.95)
    truth = rate.reshape(low.shape)
    assert held(low[:, :1], high[:, :1], truth[:, :1]) >= 0.94
    d = (100.0 - shown[:, :, 1]).reshape(-1, 1)
    assert held(d - 1.0, d + 1.0, truth[:, :1]) < 0.75


def test_a_phase_cut_short_is_not_to_be_divided_by_its_length():
    """Off half-way on average: percent over the whole hour is about half the rate."""
    rng = np.random.default_rng(25)
    ratio, inside = [], []
    for _ in range(20):
        rate = rng.uniform(15.0, 40.0, DEVICES)
        level = rng.uniform(6.0, 14.0, DEVICES)
        off = 60.0 + level / rate * 60.0
        shown = rounded(np.stack([level + 20.0, level], axis=1), rng)
        s = make_session(
            phases={"p0": 60, "p1": 60},
            readings={f"d{k}": list(row) for k, row in enumerate(shown)},
            power_offs={
                f"d{k}": {"last_on_min": np.floor(t) - 1.0, "first_off_min": np.floor(t) + 1.0}
                for k, t in enumerate(off)
            },
            assumptions=BARE,
        )
        ready = prepare(s)
        *_, low, high = interval(ready.drains["true_charge"], 0.95)
        inside.append((low[:, 1] <= rate) & (rate <= high[:, 1]))
        ratio.append(shown[:, 1] / 1.0 / rate)
    assert np.median(np.concatenate(ratio)) < 0.6
    assert np.mean(np.concatenate(inside)) >= 0.94


def test_percentage_at_the_power_off_is_not_to_be_taken_as_nought():
    """Devices go off at a displayed 0 to 5 %: the displayed drain is 2.5 pp less on average."""
    rng = np.random.default_rng(26)
    level = rng.uniform(15.0, 30.0, (20, DEVICES))
    at_off = rng.uniform(0.0, 5.0, (20, DEVICES))
    shown = rounded(level[..., None], rng)[..., 0]
    truth = level - at_off
    assert held(shown - 1.0, shown + 1.0, truth) < 0.35
    runs = [
        make_session(
            phases={"p": 60},
            readings={f"d{k}": [v] for k, v in enumerate(row)},
            power_offs={f"d{k}": {"last_on_min": 50, "first_off_min": 52} for k in range(DEVICES)},
            assumptions=BARE,
        )
        for row in shown
    ]
    found = prepare(join_runs(*runs)).drains["displayed"]
    low, high, *_ = interval(found, 0.95)
    assert held(low, high, truth.reshape(low.shape)) >= 0.95


def test_delays_are_not_to_be_ignored_before_a_heavy_phase():
    """Read 0 to 4 min into a phase that drains 30 pp/h: 1 pp too much on average."""
    rng = np.random.default_rng(27)
    light, heavy = 6.0, 30.0
    late = rng.uniform(0.0, 4.0 / 60.0, (DAYS, DEVICES, 2))
    start = rng.uniform(95.0, 99.0, (DAYS, DEVICES))
    true = np.stack([
        start - light * late[:, :, 0],
        start - light - heavy * late[:, :, 1],
        start - light - heavy,
    ], axis=2)  # fmt: skip
    shown = rounded(true, rng)
    given = replace(BARE, reading_delay_min=4.0)
    ready = ready_for(shown, assumptions=given, timed=False)
    low, high, *_ = interval(ready.drains["displayed"], 0.95)
    d = (shown[:, :, 0] - shown[:, :, 1]).ravel()
    assert held(d - 0.80, d + 0.80, np.full(d.shape, light)) < 0.70
    # places in the row are noted, which the walk here does not follow: twice the spread is right
    rows = ready.chains.session.readings.assign(order=0)
    free = prepare(replace(ready.chains.session, readings=rows))
    low, high, *_ = interval(free.drains["displayed"], 0.95)
    assert held(low[:, 0], high[:, 0], np.full(d.shape, light)) >= 0.94
