"""Order, ranks and letters: hand-worked cases, and simulated days on which naive rules fail."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.stats.order import (
    least_lead,
    p_longer,
    p_longest,
    pair_verdict,
    rank_intervals,
    surely_above,
    tie_letters,
)

INF = np.inf


def test_three_minutes_apart_on_three_minute_passes_is_probable():
    # A on 14:03 off 14:06 -> [843, 847); B on 14:00 off 14:03 -> [840, 844); w = 4 each.
    # h(z) = max(z,0)^2/2: h(847-840) = h(7) = 24.5; h(843-840) = h(3) = 4.5;
    # h(847-844) = h(3) = 4.5; h(843-844) = h(-1) = 0. (24.5 - 4.5 - 4.5 + 0)/16 = .96875.
    p = p_longer([843, 840], [847, 844])
    assert p[0, 1] == 0.96875
    assert p[1, 0] == pytest.approx(1 - 0.96875)


def test_looks_within_their_minutes_leave_less_doubt():
    # As above with ramps of one minute: T = l + U(0, 3) + U(0, 1). In the shared minute A's
    # density is t/3 and P(B > t) = integral_t^1 (1 - s)/3 ds = (1 - t)^2/6:
    # doubt = integral_0^1 t (1 - t)^2/18 dt = (1/12)/18 = 1/216.
    p = p_longer([843, 840], [847, 844], ramp=[1, 1])
    assert p[0, 1] == pytest.approx(1 - 1 / 216, abs=1e-9)


def test_ramps_match_drawn_looks():
    # Windows of unlike width and ramp, one without ramp, one of a single instant.
    rng = np.random.default_rng(24)
    low, high = np.array([0.0, 1.0, 2.5, 2.0, 3.1]), np.array([4.0, 3.0, 6.5, 3.0, 3.1])
    ramp = np.array([1.0, 1.0, 1.5, 0.0, 0.0])
    u, v = rng.random((2, 400_000, 5))
    t = low + u * (high - low - ramp) + v * ramp
    drawn = (t[:, :, None] > t[:, None, :]).mean(axis=0)
    off = ~np.eye(5, dtype=bool)
    # 4 standard errors of 400 000 draws: .0032
    assert np.abs(p_longer(low, high, ramp=ramp) - drawn)[off].max() < 0.0032
    longest = np.bincount(t.argmax(axis=1), minlength=5) / len(t)
    assert np.abs(p_longest(low, high, ramp=ramp) - longest).max() < 0.0032


def test_ramp_of_nothing_is_the_plain_window():
    low, high = [843, 840, 841], [847, 844, 845]
    plain, ramped = p_longer(low, high), p_longer(low, high, ramp=[0, 0, 0])
    # a ramp of .004 min is kept for the digits
    assert np.abs(plain - ramped).max() < 5e-4


def test_one_minute_apart_on_three_minute_passes_is_open():
    # C on 14:01 off 14:04 -> [841, 845) against B [840, 844):
    # h(5) = 12.5, h(1) = .5, h(1) = .5, h(-3) = 0: 11.5/16 = .71875.
    assert p_longer([841, 840], [845, 844])[0, 1] == 0.71875


def test_ranks_of_a_survivor_two_too_close_and_an_early_death():
    # A still on at 15:00; B [840, 844); C [841, 845); D [700, 704).
    # A ahead of all; B-C .281/.719: open; D behind all. Ranks 1-1, 2-3, 2-3, 4-4.
    above = surely_above(least_lead([900, 840, 841, 700], [INF, 844, 845, 704]))
    best, worst = rank_intervals(above)
    assert best.tolist() == [1, 2, 2, 4]
    assert worst.tolist() == [1, 3, 3, 4]
    assert tie_letters(above) == ("a", "b", "b", "c")


def test_seen_on_and_seen_off_in_the_same_walk_is_probable():
    # Last walk at 844: A on, B off, B was on at 841 -> B in [841, 845), A from 844; W = 60.
    # x = 845 - 844 = 1, q = 1/4, P = 1 - 1/4 * min(.5, 1/120) = 1 - 1/480 = .997917.
    p = p_longer([844, 841], [INF, 845], tail=[60, np.nan])
    assert p[0, 1] == pytest.approx(1 - 1 / 480, abs=1e-12)
    # The rule that counts every open pair as one half gives 1 - .5/4 = .875.


def test_device_taken_away_hours_before_stays_open():
    # A last seen at 600, B off in [840, 844): x = 244, q = 1, x/2W = 2.03 -> held at .5.
    assert p_longer([600, 840], [INF, 844], tail=[60, np.nan])[0, 1] == 0.5


def test_two_survivors_are_tied_and_share_the_chance_to_be_longest():
    assert p_longer([900, 900], [INF, INF])[0, 1] == 0.5
    assert p_longest([900, 900, 800], [INF, INF, 804]).tolist() == [0.5, 0.5, 0.0]


def test_instants_compare_as_numbers():
    assert p_longer([10.0, 9.0, 10.0], [10.0, 9.0, 10.0])[0].tolist() == [0.5, 1.0, 0.5]


def test_unknown_device_is_neither_ahead_nor_behind():
    p = p_longer([np.nan, 840, 700], [np.nan, 844, 704])
    assert np.isnan(p[0, 1])
    best, worst = rank_intervals(surely_above(least_lead([np.nan, 840, 700], [np.nan, 844, 704])))
    assert (best.tolist(), worst.tolist()) == ([1, 1, 2], [3, 2, 3])
    assert np.isnan(p_longest([np.nan, 840], [np.nan, 844])).all()


@pytest.mark.parametrize(
    ("p", "claimed", "statuses", "comparable", "verdict"),
    [
        (0.96, (True, False), ("observed", "observed"), True, "a"),
        (0.04, (False, True), ("observed", "observed"), True, "b"),
        (0.96, (False, False), ("observed", "observed"), True, "too_close"),
        (0.5, (False, False), ("still_on", "still_on"), True, "both_still_on"),
        (0.5, (False, False), ("still_on", "observed"), False, "unknown"),
        (0.6, (False, False), ("not_recorded", "observed"), True, "unknown"),
        (np.nan, (False, False), ("not_recorded", "observed"), True, "unknown"),
    ],
)
def test_verdicts(p, claimed, statuses, comparable, verdict):
    ahead, behind = claimed
    found = pair_verdict(p, *statuses, ahead=ahead, behind=behind, comparable=comparable)
    assert found == verdict


def test_windows_that_share_a_moment_are_no_order():
    # [843, 847) shares the minute 843 with [840, 844); [844, 848) shares none; a survivor seen
    # on at 843 may have gone off with B at 843 and some seconds.
    above = surely_above(least_lead([843, 840, 844, 843], [847, 844, 848, INF]))
    assert np.argwhere(above).tolist() == [[2, 1]]


def test_bad_arguments_are_refused():
    with pytest.raises(ValueError, match="one-dimensional and alike"):
        p_longer([1, 2], [3])
    with pytest.raises(ValueError, match=r"interval 1 ends \(3\.0\) before it starts \(4\.0\)"):
        p_longer([1, 4], [2, 3])
    with pytest.raises(ValueError, match="one-dimensional and alike"):
        surely_above(least_lead([[1.0]], [[2.0]]))


def test_winner_against_three_equal_rivals_needs_more_than_pairs():
    # Windows of one minute; A ends x after three rivals that share one window. At P(A>B) = .95
    # against each, (1-x)^2/2 = .05 -> x = 1 - sqrt(.1) = .6838.
    # P(A longest) = E[F(t)^3] with t = A - l_B uniform on [x, x+1]:
    # integral_x^1 t^3 dt + x = (1 - x^4)/4 + x = .25 - .05465 + .68377 = .8791.
    x = 1 - np.sqrt(0.1)
    low, high = [x, 0, 0, 0], [x + 1, 1, 1, 1]
    assert p_longer(low, high)[0, 1] == pytest.approx(0.95, abs=1e-12)
    assert p_longest(low, high)[0] == pytest.approx((1 - x**4) / 4 + x, abs=5e-6)
    assert p_longest(low, high)[0] < 0.95


def test_chances_to_be_longest_add_up_to_one():
    rng = np.random.default_rng(20)
    low = rng.uniform(0, 6, size=7)
    high = low + rng.uniform(1, 8, size=7)
    assert p_longest(low, high).sum() == pytest.approx(1, abs=1e-4)


def test_probabilities_match_drawn_times():
    rng = np.random.default_rng(21)
    low, high = np.array([0.0, 1.0, 2.5, 3.0]), np.array([4.0, 3.0, 6.0, INF])
    tail = np.array([np.nan, np.nan, np.nan, 9.0])
    width = np.where(np.isinf(high), tail, high - low)
    t = low + width * rng.random((400_000, 4))
    drawn = (t[:, :, None] > t[:, None, :]).mean(axis=0)
    p = p_longer(low, high, tail=tail)
    off = ~np.eye(4, dtype=bool)
    # 4 standard errors of 400 000 draws: 4 * .5/632 = .0032. The survivor (row 3) was seen on
    # inside the windows of 0 and 2 and after that of 1, where its formula is exact.
    assert np.abs(p - drawn)[off].max() < 0.0032
    longest = np.bincount(t.argmax(axis=1), minlength=4) / len(t)
    assert p_longest(low, high, tail=tail)[3] == pytest.approx(longest[3], abs=0.0032)


@given(
    st.lists(
        st.tuples(st.integers(0, 40), st.integers(1, 9), st.booleans()), min_size=1, max_size=7
    ),
    st.randoms(use_true_random=False),
)
def test_reordered_devices_give_the_same_order(rows, random):
    def solve(rows):
        low = [r[0] for r in rows]
        high = [INF if r[2] else r[0] + r[1] for r in rows]
        above = surely_above(least_lead(low, high))
        best, worst = rank_intervals(above)
        return above, best, worst

    above, best, worst = solve(rows)
    assert (best <= worst).all()
    assert not (above & above.T).any()
    order = list(range(len(rows)))
    random.shuffle(order)
    above2, best2, worst2 = solve([rows[k] for k in order])
    assert (above2 == above[np.ix_(order, order)]).all()
    assert (best2 == best[order]).all()
    assert (worst2 == worst[order]).all()


@given(st.integers(1, 8), st.integers(0, 2**28 - 1))
def test_letters_are_shared_exactly_by_ties(n, bits):
    above = np.zeros((n, n), dtype=bool)
    for k, (i, j) in enumerate(combinations(range(n), 2)):
        above[i, j] = bool(bits >> k & 1)
    letters = tie_letters(above)
    for i, j in combinations(range(n), 2):
        assert bool(set(letters[i]) & set(letters[j])) == (not above[i, j])
    assert all(letters)


def test_more_groups_than_letters_still_differ():
    n = 60
    above = np.triu(np.ones((n, n), dtype=bool), 1)
    letters = tie_letters(above)
    assert len(set(letters)) == n
    assert (letters[0], letters[51], letters[52]) == ("a", "Z", "(53)")


# --- naive rules on simulated days ---------------------------------------------------------


def simulate_days(rng, days, devices, spread_min, every_min, common_min=0.0):
    """Return true ends and the noted (last on, first off) minutes of walks every few minutes.

    The walk starts at a random phase of the clock, reaches device k 5 s later than k - 1, and
    what is written down is the minute that a digital clock shows.
    """
    true = 600 + spread_min * rng.standard_normal((days, devices))
    true = true + common_min * rng.random((days, 1))
    first = rng.uniform(0, every_min, size=(days, 1)) + 5 / 60 * np.arange(devices)
    walk = np.floor((true - first) / every_min)
    on = np.floor(first + walk * every_min)
    off = np.floor(first + (walk + 1) * every_min)
    return true, on, off


def test_naive_order_by_noted_minute_claims_wrong_orders_and_windows_do_not():
    true, on, off = simulate_days(np.random.default_rng(22), 1500, 6, 3.0, 3.0)
    naive_wrong = naive_made = ours_wrong = ours_made = winner_wrong = naive_winner_wrong = 0
    winners = probable_wrong = 0
    for t, a, b in zip(true, on, off, strict=True):
        naive = b[:, None] > b[None, :]
        truth = t[:, None] > t[None, :]
        naive_made += naive.sum()
        naive_wrong += (naive & ~truth).sum()
        above = surely_above(least_lead(a, b + 1))
        ours_made += above.sum()
        ours_wrong += (above & ~truth).sum()
        probable = p_longer(a, b + 1, ramp=np.ones(6)) >= 0.95
        probable_wrong += (probable & ~truth).any()
        naive_winner_wrong += np.argmax(b) != np.argmax(t)
        chance = p_longest(a, b + 1, ramp=np.ones(6))
        if chance.max() >= 0.95:
            winners += 1
            winner_wrong += np.argmax(chance) != np.argmax(t)
    assert naive_winner_wrong / 1500 > 0.2
    assert naive_wrong / naive_made > 0.025
    assert ours_made > 7_000
    assert ours_wrong == 0
    assert 0 < probable_wrong / 1500 < 0.2
    assert winners > 300
    assert winner_wrong / winners <= 0.05


def test_probable_orders_of_equal_devices_are_wrong_and_sure_ones_are_not():
    # All go off at the same moment, during a walk in 25 s of 180 s: those passed before are noted
    # on, those after off, mostly in the same minute. Each such pair has P = 1 - 1/216.
    true, on, off = simulate_days(np.random.default_rng(25), 1500, 6, 0.0, 3.0, 60.0)
    assert np.ptp(true, axis=1).max() == 0.0
    probable = sure = 0
    for a, b in zip(on, off, strict=True):
        probable += bool((p_longer(a, b + 1, ramp=np.ones(6)) >= 0.95).any())
        sure += bool(surely_above(least_lead(a, b + 1)).any())
    # 25/180 = 13.9 %, less the walks in which the minute turns at the right place
    assert 0.08 < probable / 1500 < 0.15
    assert sure == 0


def test_unique_winner_by_pairs_is_wrong_more_often_than_by_the_integral():
    # Six windows of equal width, one of them about as far ahead as a pair rule needs; true ends
    # drawn inside the windows. Naive: the winner is ahead of each rival with P >= .95.
    # Ours: P(longest) >= .95.
    rng = np.random.default_rng(23)
    made, wrong = np.zeros(2), np.zeros(2)
    for _ in range(3000):
        low = np.array([3.1, 0, 0, 0, 0, 0]) + rng.uniform(-0.3, 0.3, size=6)
        ends = low + 4 * rng.random((50, 6))
        lost = float((ends.argmax(axis=1) != 0).mean())
        rules = (
            (p_longer(low, low + 4)[0, 1:] >= 0.95).all(),
            p_longest(low, low + 4)[0] >= 0.95,
        )
        made += rules
        wrong += np.array(rules) * lost
    assert made.min() > 100
    assert wrong[0] / made[0] > 0.05
    assert wrong[1] / made[1] <= 0.05
