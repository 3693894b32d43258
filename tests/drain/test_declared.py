"""The pair declared beforehand: its family, its margin, and how often chance exceeds that."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.drain.declared import (
    declared_comparisons,
    declared_margin,
    declared_pair,
    each_coverage,
)
from kit.drain.margins import single_margin, table_margin
from kit.drain.order import drain_pairs
from kit.drain.phases import prepare
from kit.drain.standing import standing
from kit.results import Settings
from kit.session import Device, Gauge
from kit.stats.uncertainty import resolution
from tests.helpers.builders import BARE, join_runs, make_session, seen

ZERO = np.float64(0.0)


def day(readings, **fields):
    count = max(len(values) for values in readings.values()) - 1
    return make_session(
        readings=readings,
        phases={f"p{k}": 60 for k in range(1, count + 1)},
        assumptions=BARE,
        start=None,
        **fields,
    )


def test_family_counts_every_comparison_of_the_pair():
    # A and B: p1 and p2 ranked and read; in p3 B powers off: 2 phases × 2 measurands + 2 standings
    session = day(
        {"A": [97, 90, 80, 70], "B": [97, 89, 40], "C": [97, 88, 77, 66]},
        power_offs={"B": seen(150, 153)},
        declared_comparison=("B", "A"),
    )
    ready = prepare(session)
    assert declared_pair(session) == (1, 0)
    assert declared_comparisons(ready, ready.places, (1, 0)) == 6
    twice = join_runs(session, session)
    both = prepare(twice)
    assert declared_comparisons(both, both.places, (1, 0)) == 12


@pytest.mark.parametrize("pair", [None, ("A", "nobody"), ("A", "A")])
def test_no_pair(pair):
    assert declared_pair(day({"A": [97, 90], "B": [97, 89]}, declared_comparison=pair)) is None


def test_bonferroni():
    assert each_coverage(0.9, 10) == pytest.approx(0.99)
    assert each_coverage(0.95, 0) == 0.95


@pytest.mark.parametrize("comparisons", [3, 8, 24, 48, 100])
@pytest.mark.parametrize("u", [0.0, 0.1, 0.3, 0.6, 1.2, 2.0])
def test_margin_is_exceeded_by_chance_in_the_promised_share(comparisons, u):
    # four readings of whole per cent and a normal part: of m comparisons 5 % hold a false one
    rng = np.random.default_rng(7)
    rounded = rng.uniform(-0.5, 0.5, (4, 400_000))
    apart = rounded[0] - rounded[1] + rounded[2] - rounded[3]
    apart += u * rng.standard_normal(apart.size)
    inner = resolution([1, -1]) + resolution([1, -1])
    margin = declared_margin(inner, np.float64(u), ZERO, 0.95, comparisons, np.float64(99.0))
    beyond = int((np.abs(apart) > margin).sum())
    expected = 0.05 / comparisons * apart.size
    assert beyond <= expected + 3.0 * expected**0.5
    # and it is no wider than need be: under a tenth more than the quantile itself
    assert margin < 1.10 * np.quantile(np.abs(apart), 1.0 - 0.05 / comparisons)


def test_roundings_that_do_not_cancel_are_bounded_not_averaged():
    # One reading each, roundings unknown: one may truncate and one round up in every phase.
    left = resolution([1]) + resolution([1])
    margin = declared_margin(left, ZERO, ZERO, 0.95, 24, np.float64(99.0))
    assert margin == pytest.approx(2.0)
    known = resolution([1], convention_variance=0) + resolution([1], convention_variance=0)
    # |U − V| > x with probability (1 − x)² = 0.05/24: x = 0.954; with the guards the bound, 1
    assert 0.954 < declared_margin(known, ZERO, ZERO, 0.95, 24, np.float64(99.0)) <= 1.0


def test_never_wider_than_the_table_rule():
    inner = resolution([1, -1]) + resolution([1, -1])
    for u in (0.0, 1.0, 5.0):
        table = table_margin(inner, np.float64(u), ZERO, 0.95, 8)
        assert declared_margin(inner, np.float64(u), ZERO, 0.95, 24, table) <= table
        one = single_margin(inner, np.float64(u), ZERO, 0.95)
        assert declared_margin(inner, np.float64(u), ZERO, 0.95, 24, table) > one


def test_drain_pairs_tell_it_of_that_pair_alone():
    # p2: A 10, B 12 pp. Alone 1.14 and the table 2.0; over 2 × 2 drains and 2 standings
    # (2 − x)⁴/12 = 0.05/6, x = 1.44, times 1.04.
    readings = {"A": [97, 91, 81], "B": [97, 91, 79], "C": [97, 91, 78]}
    session = day(readings, declared_comparison=("A", "B"))
    frame = drain_pairs(session, Settings()).query("phase == 'p2' and measurand == 'displayed'")
    rows = frame.set_index(["device_a", "device_b"])
    ab = rows.loc["A", "B"]
    assert (ab["verdict_single"], ab["verdict_declared"], ab["verdict_table"]) == ("a", "a", "tie")
    assert ab["margin_declared_pp"] == pytest.approx(1.04 * (2 - (12 * 0.05 / 6) ** 0.25), abs=0.01)
    assert rows["verdict_declared"].tolist() == ["a", "", ""]
    assert rows["margin_declared_pp"].isna().tolist() == [False, True, True]
    none = drain_pairs(replace(session, declared_comparison=None), Settings())
    assert (none["verdict_declared"] == "").all()


def test_standing_lets_the_pair_have_its_own_margin():
    # Roundings stated: one reading each, 80 and 79. The table's bound is 1.0; over 3 comparisons
    # (1 − x)² = 0.05/3, x = 0.871, times the guards 0.93: 1 pp tells them apart.
    devices = [Device(id=k, label=k, gauge=Gauge(rounding="truncated")) for k in "ABC"]
    session = day({"A": [97, 80], "B": [97, 79], "C": [97, 80]}, devices=devices)
    tied = standing(session, Settings()).set_index("device")
    assert tied.loc["B", "rank_best"] == 1
    declared = replace(session, declared_comparison=("B", "A"))
    apart = standing(declared, Settings()).set_index("device")
    assert (apart.loc["A", "rank_worst"], apart.loc["B", "rank_best"]) == (2, 2)
    assert apart.loc["C", "rank_worst"] == 3
