"""Who drained less: margins by hand, verdicts, and how often equal devices are told apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.drain.margins import family_factor, margins
from kit.drain.order import drain_pairs
from kit.drain.phases import prepare
from kit.results import RESULT_COLUMNS, Settings
from kit.session import Device, Gauge, Phase
from kit.stats.uncertainty import resolution
from tests.helpers.builders import BARE, COMPLETE_CONDITIONS, make_session


def pair(drain_a, drain_b, *, assumptions=BARE, start=90, measurand="displayed"):
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={
            "a": [start + 5, start, start - drain_a],
            "b": [start + 5, start, start - drain_b],
        },
        assumptions=assumptions,
        conditions=COMPLETE_CONDITIONS,
    )
    frame = drain_pairs(s, Settings())
    return frame[(frame["phase"] == "p2") & (frame["measurand"] == measurand)].iloc[0]


def test_one_point_is_a_tie_two_are_not_and_a_table_needs_three():
    """Exact margin of one pair 2 − 0.6^¼ = 1.12, with 2 % of guard 1.14; of the table 2.0."""
    one, two, three = pair(12, 13), pair(12, 14), pair(12, 15)
    assert (one["difference_pp"], one["verdict_single"], one["verdict_table"]) == (-1, "tie", "tie")
    assert (two["verdict_single"], two["verdict_table"]) == ("a", "tie")
    assert (three["verdict_single"], three["verdict_table"]) == ("a", "a")
    assert pair(15, 12)["verdict_table"] == "b"
    assert 1.12 < two["margin_single_pp"] < 1.15
    assert two["margin_table_pp"] == pytest.approx(2.0)
    assert two["difference_pp_low"] == pytest.approx(-2 - two["margin_single_pp"])


def test_delays_widen_the_margin():
    """τ = 2 min in a known order: u of each delay 1 min/√12; still, 2 pp are more than that.

    Per device: u² = (1/60)²/12 × (12² + r′²); m below √(1.15² + 4 × 2 × 0.0133) = 1.20.
    """
    found = pair(12, 14, assumptions=replace(BARE, reading_delay_min=2.0))
    assert found["verdict_single"] == "a"
    assert 1.14 < found["margin_single_pp"] < 1.25


@pytest.mark.parametrize(("drain", "single"), [(3, 2.3), (5, 3.5), (8, 4.9), (12, 6.2), (20, 7.0)])
def test_gauge_makes_true_charge_claims_rare(drain, single):
    """A = 3, λ = 7: m = √(1.12² + 4 × 2 u_g²), u_g² = 6(1 − e^(−d²/98)).

    At d = 12: u_g = 2.149, m = √(1.25 + 36.9) = 6.2 pp. Integers alone would claim at 1 pp.
    """
    given = replace(BARE, gauge_error_pp=3.0)
    found = pair(drain, drain, assumptions=given, start=60, measurand="true_charge")
    assert found["margin_single_pp"] == pytest.approx(single, abs=0.06)
    assert pair(drain, drain, assumptions=given, start=60)["margin_single_pp"] < 1.15


@pytest.mark.parametrize(
    ("drain", "table"), [(3, 4.14), (5, 6.14), (8, 8.70), (12, 10.91), (20, 12.29)]
)
def test_margin_of_one_of_120_comparisons_by_hand(drain, table):
    """Six devices in eight phases: m = √(2² + 3.529² × 2 u_g²), u_g² = 6(1 − e^(−d²/98)).

    At d = 12: 2 u_g² = 9.239, m = √(4 + 12.45 × 9.239) = 10.91 pp. As if it were one comparison
    alone, z = 1.960 and m = √(4 + 3.84 × 9.239) = 6.28.
    """
    s = make_session(
        phases={f"p{k}": 60 for k in range(8)},
        readings={f"d{k}": [95, 92, 89, 86, 83, 80, 77, 74, 74 - drain] for k in range(6)},
        assumptions=replace(BARE, gauge_error_pp=3.0),
        conditions=COMPLETE_CONDITIONS,
    )
    frame = drain_pairs(s, Settings())
    found = frame[(frame["phase"] == "p7") & (frame["measurand"] == "true_charge")]
    assert found["margin_table_pp"].to_numpy() == pytest.approx(np.full(15, table), abs=0.006)
    shown = frame[(frame["phase"] == "p7") & (frame["measurand"] == "displayed")]
    # the roundings alone, which no factor widens: four halves
    assert shown["margin_table_pp"].to_numpy() == pytest.approx(np.full(15, 2.0))


def test_margin_of_two_devices_from_full():
    """Exact with one truncating and one rounding up: 1 + 0.776; with the guard 1.80."""
    s = make_session(phases={"p1": 60}, readings={"a": [100, 90], "b": [100, 88]}, assumptions=BARE)
    found = drain_pairs(s, Settings()).iloc[0]
    assert found["margin_single_pp"] == pytest.approx(1.80)
    assert found["margin_table_pp"] == pytest.approx(2.0)
    known = [Device(id=i, label=i, gauge=Gauge(rounding="truncated")) for i in "ab"]
    s = make_session(
        devices=known, phases={"p1": 60}, readings={"a": [100, 90], "b": [100, 88]},
        assumptions=BARE,
    )  # fmt: skip
    # two fractions only: the triangle, 0.80
    assert drain_pairs(s, Settings()).iloc[0]["margin_single_pp"] == pytest.approx(0.80)


def test_gaps_add_linearly_on_both_sides():
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [95, 75, 63], "b": [95, 75, 60]},
        gaps={"p2": 6},
        assumptions=replace(BARE, gap_rate_factor=1.0),
        conditions=COMPLETE_CONDITIONS,
    )
    frame = drain_pairs(s, Settings())
    found = frame[(frame["phase"] == "p2") & (frame["measurand"] == "displayed")].iloc[0]
    # each gap ± 20 × 0.1/2 = ± 1.0
    assert found["margin_table_pp"] == pytest.approx(2.0 + 2.0)
    assert found["verdict_single"] == "tie"


def test_coarse_displays_need_coarse_differences():
    coarse = [Device(id=i, label=i, gauge=Gauge(step_pct=5.0)) for i in "ab"]
    s = make_session(
        devices=coarse, phases={"p1": 60}, readings={"a": [90, 80], "b": [90, 70]},
        assumptions=BARE,
    )  # fmt: skip
    found = drain_pairs(s, Settings()).iloc[0]
    assert found["margin_table_pp"] == pytest.approx(10.0)
    assert found["verdict_table"] == "tie"


def test_phases_not_completed_by_both_are_left_out():
    s = make_session(
        phases=[
            Phase(id="w", label="w", planned_min=30, evaluated=False),
            Phase(id="p", label="p", planned_min=60),
            Phase(id="q", label="q", planned_min=60),
        ],
        readings={"a": [90, 80, 40], "b": [91, 76, 61, 45], "c": [91, 71, 51, 40]},
        power_offs={"a": {"last_on_min": 120, "first_off_min": 121}},
        conditions=COMPLETE_CONDITIONS,
        assumptions=BARE,
    )
    frame = drain_pairs(s, Settings()).query("measurand == 'displayed'")
    verdicts = {
        (r["phase"], r["device_a"], r["device_b"]): r["verdict_table"] for _, r in frame.iterrows()
    }
    assert {v for k, v in verdicts.items() if k[0] == "w"} == {"not_compared"}
    assert verdicts["p", "a", "b"] == "b"
    assert verdicts["q", "a", "b"] == "not_compared"
    assert verdicts["q", "b", "c"] == "b"
    assert np.isnan(frame.query("phase == 'w'")["difference_pp"]).all()


def test_family_factor():
    # Φ⁻¹(1 − 0.025/120) = 3.529; a single comparison 1.960
    assert family_factor(0.95, 120) == pytest.approx(3.529, abs=1e-3)
    assert family_factor(0.95, 1) == pytest.approx(1.960, abs=1e-3)
    assert family_factor(0.95, 0) == family_factor(0.95, 1)


def test_table_margin_is_never_below_the_single_one():
    for coefficients in ([1, -1], [-1], [-1, 2, -1]):
        shown = resolution(coefficients) + resolution(coefficients)
        for u in (0.0, 0.3, 2.0):
            for count in (1, 10, 120):
                m = margins(shown, np.float64(u), np.float64(0.2), 0.95, count)
                assert m.table >= m.single - 1e-9


def test_frame():
    s = make_session(
        phases={"p1": 60, "p2": 60}, readings={"a": [9, 8, 7], "b": [9, 8, 7], "c": [9, 8, 7]}
    )
    frame = drain_pairs(s, Settings())
    assert tuple(frame.columns) == RESULT_COLUMNS["drain_pairs"]
    assert len(frame) == 2 * 3 * 2


def equal_days(sessions: int):
    """Six devices that are truly equal in everything but the fraction and the rounding.

    Eight phases of an hour at 5 to 11 pp/h; yields displayed percentages (sessions, 6, 9).
    """
    rng = np.random.default_rng(20260516)
    rate = rng.uniform(5.0, 11.0, (sessions, 1, 8))
    start = rng.uniform(97.0, 99.0, (sessions, 6, 1))
    true = start - np.concatenate([np.zeros((sessions, 6, 1)), np.cumsum(
        np.broadcast_to(rate, (sessions, 6, 8)), axis=2)], axis=2)  # fmt: skip
    offset = rng.integers(-1, 2, (sessions, 6, 1)) / 2.0
    return np.ceil(true - 0.5 + offset)


def test_naive_difference_of_integers_fails_where_all_are_equal():
    """Unequal integers claim an order in a third of equal pairs and in nearly every session.

    The single-pair margin is wrong in a few per cent of pairs, the table rule in none here.
    """
    shown = equal_days(400)
    drain = shown[:, :, :-1] - shown[:, :, 1:]
    a, b = np.triu_indices(6, k=1)
    apart = np.abs(drain[:, a] - drain[:, b])
    assert np.mean(apart >= 1) > 0.25
    assert np.mean((apart >= 1).any(axis=(1, 2))) > 0.99
    m = margins(resolution([1, -1]) + resolution([1, -1]), np.float64(0), np.float64(0), 0.95, 120)
    assert np.mean(apart > float(m.single)) < 0.05
    assert np.mean((apart > float(m.table)).any(axis=(1, 2))) == 0.0


def test_the_kit_claims_nothing_where_all_are_equal():
    for shown in equal_days(3):
        s = make_session(
            phases={f"p{i}": 60 for i in range(8)},
            readings={f"d{i}": list(row) for i, row in enumerate(shown)},
            conditions=COMPLETE_CONDITIONS,
            assumptions=BARE,
        )
        ready = prepare(s)
        frame = drain_pairs(s, Settings(), prepared=ready)
        assert set(frame["verdict_table"]) <= {"tie", "not_compared"}
