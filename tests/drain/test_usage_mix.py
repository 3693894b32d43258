"""Endurance on a mix by hand, and where the winner changes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.drain.mix_rates import lower_rates, mix_rates
from kit.drain.mix_winners import _envelope, mix_shifts
from kit.drain.phases import prepare
from kit.drain.usage_mix import usage_mixes
from kit.results import RESULT_COLUMNS, Settings
from kit.session import Device, Gauge, Phase
from tests.helpers.builders import BARE, COMPLETE_CONDITIONS, make_session


def energy_gauges(*names):
    return [Device(id=n, label=n, gauge=Gauge(counts="energy")) for n in names]


def session(readings, phases=("idle", "game"), **fields):
    common = {
        "devices": energy_gauges(*readings),
        "assumptions": BARE,
        "conditions": COMPLETE_CONDITIONS,
    }
    return make_session(
        phases=[Phase(id=p, label=p, activity=p, planned_min=60) for p in phases],
        readings=readings,
        **{**common, **fields},
    )


HALF = {"half": {"idle": 1.0, "game": 1.0}}


def test_mix_by_hand():
    """5 and 20 pp/h side by side, half and half: r = 12.5, c = (½, −½ + ½, −½) = (½, 0, −½).

    u = √(0.25/12 × 2) = 0.204 (as if independent 0.289), U = 0.40: 100/12.9 = 7.75 to
    100/12.1 = 8.26 h. Not (100/5 + 100/20)/2 = 12.5 h.
    """
    s = session({"a": [95, 90, 70]})
    row = usage_mixes(s, Settings(), mixes=HALF).iloc[0]
    assert row["rate_pp_per_h"] == 12.5
    assert row["rate_pp_per_h_u"] == pytest.approx(0.2041, abs=1e-4)
    assert row["hours"] == 8.0
    assert row["hours_low"] == pytest.approx(7.75, abs=0.01)
    assert row["hours_high"] == pytest.approx(8.27, abs=0.01)


def test_naive_mean_of_hours_fails():
    """8, 12, 5 and 15 pp/h in equal shares: 10.0 pp/h, 10.0 h; the mean of the hours is 11.9 h."""
    rates = np.array([8.0, 12.0, 5.0, 15.0])
    s = session({"a": [95, 87, 75, 70, 55]}, phases=("p", "q", "r", "s"))
    row = usage_mixes(s, Settings(), mixes={"all": dict.fromkeys("pqrs", 0.25)}).iloc[0]
    assert row["hours"] == pytest.approx(10.0)
    assert np.mean(100 / rates) == pytest.approx(11.875)
    assert not row["hours_low"] <= np.mean(100 / rates) <= row["hours_high"]


def test_weights_are_shares_of_time_whatever_their_sum():
    s = session({"a": [95, 90, 70]})
    frame = usage_mixes(
        s, Settings(), mixes={"x": {"idle": 3, "game": 1}, "y": {"idle": 0.75, "game": 0.25}}
    )
    # 0.75 × 5 + 0.25 × 20 = 8.75
    assert frame["rate_pp_per_h"].tolist() == [8.75, 8.75]


def test_several_phases_of_an_activity_are_pooled_by_time():
    """10 pp in 60 min and 12 pp in 120 min: 22/3 = 7.33 pp/h."""
    s = make_session(
        devices=energy_gauges("a"),
        phases=[
            Phase(id="p1", label="p1", activity="map", planned_min=60),
            Phase(id="p2", label="p2", activity="map", planned_min=120),
        ],
        readings={"a": [95, 85, 73]},
        conditions=COMPLETE_CONDITIONS,
        assumptions=BARE,
    )
    found = mix_rates(prepare(s), {"map": 1.0})
    assert found.rate[0] == pytest.approx(22 / 3)
    # c = (1, −1 + 1, −1)/3: the reading between cancels
    assert float(found.resolution.u[0]) == pytest.approx((2 / 12) ** 0.5 / 3)


def test_gauge_and_bounds_and_lengths_by_hand():
    """A = 3, two phases far apart in level, lengths ± 0.6 min.

    Gauge: c = ½ at 95, ½ − ½ = 0 at 75, −½ at 40: u² = 0.25 × 6 × (1 − e^(−55²/98)) = 1.5.
    Length: ½ × 20 × 0.01 = 0.1 and ½ × 35 × 0.01 = 0.175 pp/h.
    """
    s = session(
        {"a": [95, 75, 40]},
        assumptions=replace(BARE, gauge_error_pp=3.0, phase_length_u_min=0.6),
    )
    found = mix_rates(prepare(s), {"idle": 1.0, "game": 1.0})
    assert found.u_other[0] == pytest.approx((1.5 + 0.1**2 + 0.175**2) ** 0.5, abs=1e-4)
    assert found.bound[0] == 0.0


def test_level_effect_adds_with_its_sign():
    """An early and a late phase: β of opposite sign, one unknown, so the bounds cancel in part."""
    unknown = [Device(id="a", label="a")]
    s = session({"a": [97, 77, 57, 37, 23]}, phases=("p", "q", "r", "s"), devices=unknown)
    ready = prepare(s)
    alone = [mix_rates(ready, {name: 1.0}).bound[0] for name in "pqrs"]
    together = mix_rates(ready, dict.fromkeys("pqrs", 1.0)).bound[0]
    assert together < 0.5 * np.mean(alone)


def test_crossover_halves_and_turns_take_part():
    s = make_session(
        devices=energy_gauges("a"),
        phases=[
            Phase(id="g", label="g", activity="guide", planned_min=60),
            Phase(id="x", label="x", kind="crossover", parts=("m", "n"), first_half=("a",),
                  planned_min=120),
            Phase(id="r", label="r", kind="rotation", parts=("call", "guide"), turn_min=20,
                  planned_min=60),
        ],
        readings={"a": [98, 89, 66, 52]},
        more_readings=[{"device": "a", "phase": "x", "point": "inside", "soc_pct": 74,
                        "t_min": 120}],
        conditions=COMPLETE_CONDITIONS,
        assumptions=BARE,
    )  # fmt: skip
    ready = prepare(s)
    assert mix_rates(ready, {"m": 1.0}).rate[0] == pytest.approx(15.0)
    assert mix_rates(ready, {"n": 1.0}).rate[0] == pytest.approx(8.0)
    # (14 − (40/60) × 9)/(20/60) = 24
    assert mix_rates(ready, {"call": 1.0}).rate[0] == pytest.approx(24.0)
    # the plain phase stands for the guide, not the rest of the rotation
    assert mix_rates(ready, {"guide": 1.0}).rate[0] == pytest.approx(9.0)
    both = mix_rates(ready, {"m": 1.0, "n": 1.0})
    assert both.rate[0] == pytest.approx(11.5)
    assert float(both.resolution.u[0]) == pytest.approx((2 / 12) ** 0.5 / 2)


def test_missing_activity_is_named():
    s = session(
        {"a": [95, 90, 70], "b": [95, 89]},
        mixes={"half": {"idle": 1, "game": 1}, "none": {"idle": 1, "sleep": 1}},
    )
    frame = usage_mixes(s, Settings()).set_index(["mix", "device"])
    assert tuple(usage_mixes(s, Settings()).columns) == RESULT_COLUMNS["mixes"]
    assert frame.loc[("half", "b"), "missing"] == "game"
    assert np.isnan(frame.loc[("half", "b"), "hours"])
    assert frame.loc[("half", "a"), "tie_group"] == "a"
    assert frame.loc[("none", "a"), "missing"] == "sleep"


@pytest.mark.parametrize("weights", [{}, {"idle": 0.0}, {"idle": -1.0, "game": 2.0}])
def test_weights_that_make_no_sense(weights):
    with pytest.raises(ValueError, match="weights of a mix"):
        mix_rates(prepare(session({"a": [95, 90, 70]})), weights)


def test_brief_power_off_phases_and_savers_stay_out():
    """b was off after 15 min of the game; a crossed 20 % where nobody said the saver was off."""
    s = session(
        {"a": [60, 50, 15], "b": [60, 40]},
        power_offs={"b": {"last_on_min": 74, "first_off_min": 75}},
        conditions={},
    )
    found = mix_rates(prepare(s), {"game": 1.0})
    assert found.missing == (("game",), ("game",))


def test_nothing_drained_gives_at_least():
    s = session({"a": [60, 60, 60]})
    row = usage_mixes(s, Settings(), mixes=HALF).iloc[0]
    assert row["at_least"]
    assert np.isnan(row["hours"])
    # c = (½, 0, −½): U = 0.40 pp/h, 250 h
    assert row["hours_low"] == pytest.approx(250.0)


def test_order_by_the_table_rule():
    s = session({"a": [95, 85, 70], "b": [95, 84, 69], "c": [95, 75, 45]})
    frame = usage_mixes(s, Settings(), mixes=HALF)
    assert frame["tie_group"].tolist() == ["a", "a", "b"]
    assert frame["rank_best"].tolist() == [1, 1, 3]


def test_order_of_three_devices_is_corrected_for_three_pairs():
    """27.5, 31.5 and 32.0 pp/h; the margin lies between the two leads of the first.

    Gauge: c = ½ at 95 and −½ at the end, u² = 0.25 × 6 = 1.5 of each, 3.0 of two. Roundings: four
    quarters, 1.0. Of three pairs z = Φ⁻¹(1 − 0.025/3) = 2.394: √(1 + 2.394² × 3) = 4.27 pp/h, so
    that 4.0 is a tie and 4.5 is not. Of one pair it would be √(1 + 1.960² × 3) = 3.54, and both
    leads were claimed.
    """
    s = session(
        {"a": [95, 75, 40], "b": [95, 75, 32], "c": [95, 75, 31]},
        assumptions=replace(BARE, gauge_error_pp=3.0),
    )
    rates = mix_rates(prepare(s), HALF["half"])
    assert rates.rate.tolist() == [27.5, 31.5, 32.0]
    assert rates.u_other == pytest.approx([1.5**0.5] * 3, abs=1e-6)
    lower, known = lower_rates(rates, slice(0, 3), 0.95)
    assert known.all()
    assert [(i, j) for i in range(3) for j in range(3) if lower[i, j]] == [(0, 2)]
    frame = usage_mixes(s, Settings(), mixes=HALF)
    assert frame["tie_group"].tolist() == ["a", "ab", "b"]
    assert frame["rank_worst"].tolist() == [2, 3, 3]


GAPS = {"phases": ("p", "q", "r"), "gaps": {"q": 6, "r": 12}}
"""Before q 6 min and before r 12 min of nobody knows what, at up to the busiest rate, 20 pp/h."""
GAPPED = {"day": {"p": 2.0, "q": 1.0, "r": 1.0}}


def test_gaps_add_to_the_bound_of_a_mix_by_weight():
    """Shares ½, ¼, ¼. In the gaps 20 × 0.1 = 2 and 20 × 0.2 = 4 pp may have gone, or none.

    Drains 20, 12 − 1 and 8 − 2: r = 10 + 2.75 + 1.5 = 14.25. Bound ¼ × 1 + ¼ × 2 = 0.75 pp/h.
    """
    readings = {"a": [95, 75, 63, 55]}
    s = session(readings, **GAPS, assumptions=replace(BARE, gap_rate_factor=1.0))
    found = mix_rates(prepare(s), GAPPED["day"])
    assert found.rate[0] == pytest.approx(14.25)
    assert found.bound[0] == pytest.approx(0.75)
    quiet = session(readings, **GAPS, assumptions=replace(BARE, gap_rate_factor=0.0))
    roundings = mix_rates(prepare(quiet), GAPPED["day"]).half_width(0.95)[0]
    # c = (½, −¼, 0, −¼): at most ½ × (½ + ¼ + ¼) = 0.5
    assert 0.3 < roundings < 0.5
    assert found.half_width(0.95)[0] == pytest.approx(roundings + 0.75)
    row = usage_mixes(s, Settings(), mixes=GAPPED).iloc[0]
    assert row["hours_low"] == pytest.approx(100 / (14.25 + roundings + 0.75))
    assert row["hours_high"] == pytest.approx(100 / (14.25 - roundings - 0.75))


@pytest.mark.parametrize(("last", "tied"), [(46, True), (44, False)])
def test_gaps_of_both_devices_stand_between_them(last, tied):
    """Roundings 2 × 0.5 and gaps 2 × 0.75: 2.5 pp/h.

    b: ¼ × (8 + 1) = 2.25 pp/h more, a tie that the roundings alone would not make; with two
    points more in r 2.75.
    """
    s = session(
        {"a": [95, 75, 63, 55], "b": [95, 75, 55, last]},
        **GAPS,
        assumptions=replace(BARE, gap_rate_factor=1.0),
    )
    letters = usage_mixes(s, Settings(), mixes=GAPPED)["tie_group"].tolist()
    assert letters == (["a", "a"] if tied else ["a", "b"])


def test_winner_changes_with_the_weight():
    """a: 4 and 20 pp/h, b: 8 and 12: equal where 4w + 20(1 − w) = 8w + 12(1 − w), w = 2/3."""
    s = session({"a": [95, 91, 71], "b": [95, 87, 75]})
    frame = mix_shifts(s, Settings(), mixes=HALF)
    assert tuple(frame.columns) == RESULT_COLUMNS["mix_shifts"]
    assert frame["activity"].tolist() == ["idle", "idle"]
    assert frame["device"].tolist() == ["b", "a"]
    assert frame["share_from"].tolist() == [0.0, pytest.approx(2 / 3)]
    assert frame["share_to"].tolist() == [pytest.approx(2 / 3), 1.0]
    # in the middle of a's range (w = 5/6) a leads by 2 pp/h, beyond the margin of 1.33
    assert frame["supported"].tolist() == [True, True]


def test_winner_of_equal_devices_is_not_supported():
    s = session({"a": [95, 91, 71], "b": [95, 90, 71]})
    assert not mix_shifts(s, Settings(), mixes=HALF)["supported"].any()


def test_envelope_of_three_lines_and_of_ties():
    lines = _envelope(np.array([3.0, 2.0, 1.0]), np.array([1.0, 2.0, 3.0]))
    assert [(round(a, 3), round(b, 3), k) for a, b, k in lines] == [(0.0, 0.5, 2), (0.5, 1.0, 0)]
    lines = _envelope(np.array([4.0, 1.0, 2.0]), np.array([0.0, 3.0, 2.0]))
    assert [k for *_, k in lines] == [1, 0]
    assert _envelope(np.array([1.0, 1.0]), np.array([1.0, 1.0])) == [(0.0, 1.0, 0)]
