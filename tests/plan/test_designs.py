"""Designs against published squares, by property, and against counting by hand."""

from itertools import pairwise, permutations

import pytest

from kit.plan import designs
from kit.plan.designs import (
    balanced_orders,
    follow_counts,
    order_balance,
    position_counts,
    williams_orders,
)


def published(text: str) -> tuple[tuple[int, ...], ...]:
    """Return a printed square with symbols 1, 2, … or A, B, … as numbers from 0."""
    first = "1" if text[0].isdigit() else "A"
    return tuple(tuple(ord(c) - ord(first) for c in row) for row in text.split())


# Williams (1949), Aust. J. Sci. Res. A 2:149-168, as printed by the R package crossdes,
# williams(4) (web copy).
WILLIAMS_4 = published("1243 2314 3421 4132")
# crossdes, help page of williams(): three treatments need six sequences.
WILLIAMS_3 = published("123 231 312 321 132 213")
# A second square of four in use in crossover trials (forum.bebac.at, entry 23053); that it is
# balanced is derived here, by the counts below.
OTHER_4 = published("ABCD BDAC CADB DCBA")
# The rule "first row 1, 2, n, 3, n - 1, …; then add 1 modulo n" is in crossdes' source,
# williams.R; the square of six is derived from it by hand.
DERIVED_6 = published("126354 231465 342516 453621 564132 615243")


def pairs_by_hand(orders):
    """Count ordered neighbours in a dictionary, the slow way."""
    seen = dict.fromkeys(permutations(range(len(orders[0])), 2), 0)
    for order in orders:
        for i in range(len(order) - 1):
            seen[order[i], order[i + 1]] += 1
    return seen


@pytest.mark.parametrize(
    ("n", "square"), [(4, WILLIAMS_4), (3, WILLIAMS_3), (6, DERIVED_6)], ids=["4", "3", "6"]
)
def test_williams_orders_are_the_published_ones(n, square):
    assert williams_orders(n) == square


def test_the_other_published_square_of_four_is_balanced_too():
    assert order_balance(OTHER_4).exact
    assert set(pairs_by_hand(OTHER_4).values()) == {1}


def test_ten_devices_follow_the_published_rule():
    # crossdes prints williams(10); its first row by the rule: 1 2 10 3 9 4 8 5 7 6.
    first = tuple(x - 1 for x in (1, 2, 10, 3, 9, 4, 8, 5, 7, 6))
    assert williams_orders(10)[0] == first
    assert williams_orders(10)[3] == tuple((x + 3) % 10 for x in first)


@pytest.mark.parametrize("n", range(2, 25))
def test_complete_designs_are_balanced_exactly(n):
    orders = williams_orders(n)
    times = 1 if n % 2 == 0 else 2
    assert len(orders) == times * n
    assert all(sorted(o) == list(range(n)) for o in orders)
    assert set(pairs_by_hand(orders).values()) == {times}
    assert (position_counts(orders) == times).all()
    assert order_balance(orders).exact


def test_a_plain_cyclic_square_is_not_balanced():
    # 0123 1230 2301 3012: 0 is followed by 1 three times and never by 2 or 3.
    cyclic = tuple(tuple((i + s) % 4 for i in range(4)) for s in range(4))
    balance = order_balance(cyclic)
    assert follow_counts(cyclic)[0].tolist() == [0, 3, 0, 0]
    assert (balance.follow_low, balance.follow_high, balance.exact) == (0, 3, False)
    assert not balance.best_possible


@pytest.mark.parametrize("n", range(2, 25))
@pytest.mark.parametrize("cycles", [1, 2, 3, 4, 5, 6, 7, 8])
def test_few_orders_have_the_best_mean_places(n, cycles):
    orders = balanced_orders(n, cycles)
    assert len(orders) == cycles
    assert all(sorted(o) == list(range(n)) for o in orders)
    sums = [sum(o.index(d) for o in orders) for d in range(n)]
    # hand bound: the sums add up to r n (n - 1)/2, so they can be equal only if r(n - 1) is even
    least = n - 1 if cycles == 1 else (cycles * (n - 1)) % 2
    assert max(sums) - min(sums) == least
    if cycles % 2 == 0 and cycles < n:
        assert set(pairs_by_hand(orders).values()) <= ({0, 1} if n % 2 == 0 else {0, 1, 2})


@pytest.mark.parametrize(("n", "cycles"), [(4, 5), (4, 8), (4, 9), (5, 10), (5, 11), (5, 21)])
def test_more_orders_than_the_complete_design(n, cycles):
    balance = order_balance(balanced_orders(n, cycles))
    assert balance.cycles == cycles
    assert balance.place_spread == balance.place_spread_bound
    assert balance.exact == (cycles % (n if n % 2 == 0 else 2 * n) == 0)


def brute_force_best(n, cycles):
    """Return the least (spread of place sums, spread of follows) over all designs."""
    best = (n * cycles, n * cycles)

    def extend(orders):
        nonlocal best
        if len(orders) == cycles:
            sums = [sum(o.index(d) for o in orders) for d in range(n)]
            follows = pairs_by_hand(orders).values()
            best = min(best, (max(sums) - min(sums), max(follows) - min(follows)))
            return
        for order in permutations(range(n)):
            if not orders or order >= orders[-1]:
                extend([*orders, order])

    extend([tuple(range(n))])
    return best


@pytest.mark.parametrize(("n", "cycles"), [(3, 2), (3, 3), (3, 4), (4, 2), (4, 3)])
def test_small_designs_are_as_good_as_trying_all(n, cycles):
    balance = order_balance(balanced_orders(n, cycles))
    found = (round(balance.place_spread * cycles), balance.follow_high - balance.follow_low)
    assert found == brute_force_best(n, cycles)


def test_three_rounds_by_rule_have_equal_sums_by_hand():
    # Five devices, m = 2. Places in the second order: device 0 at 2, 2 at 1, 4 at 0, 1 at 4,
    # 3 at 3; in the third: 0 at 4, 2 at 3, 4 at 2, 1 at 1, 3 at 0. Sums: 0+2+4, 1+4+1, 2+1+3,
    # 3+3+0, 4+0+2 = 6 each.
    orders = designs._three_by_rule(5)
    assert orders == ((0, 1, 2, 3, 4), (4, 2, 0, 3, 1), (3, 1, 4, 2, 0))


@pytest.mark.parametrize("n", [6, 7, 8, 10, 12])
def test_three_rounds_can_have_even_places_and_no_pair_twice(n):
    assert order_balance(balanced_orders(n, 3)).best_possible


def test_doubled_turns_are_counted_and_avoided_where_possible():
    assert order_balance([(0, 1, 2), (2, 1, 0)]).doubled == 1
    for n in range(4, 13, 2):
        orders = balanced_orders(n, 4)
        assert sum(a[-1] == b[0] for a, b in pairwise(orders)) == 0


@pytest.mark.parametrize("call", [lambda: williams_orders(0), lambda: balanced_orders(3, 0)])
def test_numbers_below_one_are_refused(call):
    with pytest.raises(ValueError, match="expected at least 1"):
        call()


def test_one_device_alone_has_one_order():
    assert williams_orders(1) == ((0,),)
    balance = order_balance(balanced_orders(1, 3))
    assert balance.exact
    assert balance.doubled == 0
