"""Orders that are fair: Williams designs, rotations of few turns, and what is left unbalanced.

An *order* is one pass through all devices (or groups of devices), a tuple of the numbers
0 … n − 1. A design is a tuple of orders, carried out one after the other. Three things can be
balanced: how often each device has a turn (always equal here), where in the pass it has it (so
that a drift over the day meets all alike), and who follows whom (so that what one leaves behind
meets all alike).

With as many orders as the complete design has, everything is balanced exactly. With fewer, the
mean place can still be equal for all (an order and its mirror image), and what cannot be had is
measured by `order_balance` beside what no design of that size can beat.

References
----------
Williams, E. J. (1949), Experimental designs balanced for the estimation of residual effects of
treatments, Australian Journal of Scientific Research A 2, 149-168.

Sheehe, P. R. and Bross, I. D. J. (1961), Latin squares to balance immediate residual and other
order effects, Biometrics 17, 405-414.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

__all__ = [
    "OrderBalance",
    "balanced_orders",
    "follow_counts",
    "order_balance",
    "position_counts",
    "williams_orders",
]

Order = tuple[int, ...]

SEARCH_LIMIT = 8
"""Designs of at most this many orders are improved by search; beyond, it would gain little."""
TRIALS = 400
STEPS = 400
"""Effort of the search for three orders: trials, and devices placed in one of them."""


def williams_orders(n: int) -> tuple[Order, ...]:
    """Return the complete Williams design for ``n`` devices.

    The first order is 0, 1, n − 1, 2, n − 2, …; the next ones add 1, modulo n. For even n these
    n orders are the design: every device stands once in every place and every ordered pair of
    neighbours occurs once. For odd n their mirror images are needed too: 2n orders, everywhere
    twice.

    Parameters
    ----------
    n
        Number of devices, at least 1.

    Raises
    ------
    ValueError
        If ``n`` is below 1.

    References
    ----------
    Williams (1949); the construction is in Sheehe and Bross (1961).

    Examples
    --------
    >>> williams_orders(4)
    ((0, 1, 3, 2), (1, 2, 0, 3), (2, 3, 1, 0), (3, 0, 2, 1))
    >>> williams_orders(3)
    ((0, 1, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0), (0, 2, 1), (1, 0, 2))
    """
    if n < 1:
        message = f"{n} devices: expected at least 1"
        raise ValueError(message)
    first = [(i + 1) // 2 if i % 2 else (n - i // 2) % n for i in range(n)]
    orders = tuple(tuple((x + shift) % n for x in first) for shift in range(n))
    return orders if n % 2 == 0 or n == 1 else orders + tuple(o[::-1] for o in orders)


def follow_counts(orders: Sequence[Order]) -> NDArray[np.int64]:
    """Return how often device b comes right after device a within an order; shape (n, n).

    Examples
    --------
    >>> follow_counts([(0, 1, 2), (2, 1, 0)]).tolist()
    [[0, 1, 0], [1, 0, 1], [0, 1, 0]]
    """
    n = len(orders[0])
    counts = np.zeros((n, n), dtype=np.int64)
    for order in orders:
        for a, b in pairwise(order):
            counts[a, b] += 1
    return counts


def position_counts(orders: Sequence[Order]) -> NDArray[np.int64]:
    """Return how often each device stands in each place; shape (devices, places).

    Examples
    --------
    >>> position_counts([(0, 1, 2), (1, 0, 2)]).tolist()
    [[1, 1, 0], [1, 1, 0], [0, 0, 2]]
    """
    n = len(orders[0])
    counts = np.zeros((n, n), dtype=np.int64)
    for order in orders:
        counts[list(order), np.arange(n)] += 1
    return counts


@dataclass(frozen=True, kw_only=True)
class OrderBalance:
    """What is balanced in a design of ``cycles`` orders of ``n`` devices, and what is not.

    Parameters
    ----------
    place_spread, place_spread_bound
        Largest minus smallest mean place of a device (turns), and the least that any design of
        this size can have.
    follow_low, follow_high
        Least and greatest number of times that one device follows another.
    follow_spread_bound
        The least difference of the two that any design of this size can have by counting alone.
    doubled
        How often a device ends one order and begins the next: two turns in a row.
    """

    n: int
    cycles: int
    place_spread: float
    place_spread_bound: float
    follow_low: int
    follow_high: int
    follow_spread_bound: int
    doubled: int

    @property
    def exact(self) -> bool:
        """Whether mean places and neighbours are balanced without any remainder."""
        return self.place_spread == 0 and self.follow_low == self.follow_high

    @property
    def best_possible(self) -> bool:
        """Whether no design of this size can be better balanced."""
        return (
            self.place_spread <= self.place_spread_bound
            and self.follow_high - self.follow_low <= self.follow_spread_bound
        )


def order_balance(orders: Sequence[Order]) -> OrderBalance:
    """Return the balance of a design.

    Notes
    -----
    Every order is a permutation, so the places of one device add up to r(n − 1)/2 on average
    over the devices. All sums can be equal only if that is a whole number: r even, or n odd.
    Otherwise they differ by at least 1, the mean places by 1/r. One order alone has n − 1.
    The r(n − 1) neighbour pairs are shared evenly by n(n − 1) ordered pairs only if n divides r.

    Examples
    --------
    One pass of three devices: places 0, 1, 2; two of the six ordered pairs occur.

    >>> b = order_balance([(0, 1, 2)])
    >>> b.place_spread, b.place_spread_bound, b.follow_low, b.follow_high, b.best_possible
    (2.0, 2.0, 0, 1, True)
    """
    n, cycles = len(orders[0]), len(orders)
    sums = position_counts(orders) @ np.arange(n)
    smallest_difference = 0.0 if cycles % 2 == 0 or n % 2 else 1.0 / cycles
    bound = float(n - 1) if cycles == 1 else smallest_difference
    follow = follow_counts(orders)[~np.eye(n, dtype=bool)]
    return OrderBalance(
        n=n,
        cycles=cycles,
        place_spread=float(sums.max() - sums.min()) / cycles,
        place_spread_bound=bound,
        follow_low=int(follow.min(initial=cycles)) if n > 1 else 0,
        follow_high=int(follow.max(initial=0)),
        follow_spread_bound=0 if cycles % n == 0 else 1,
        doubled=sum(a[-1] == b[0] for a, b in pairwise(orders)) if n > 1 else 0,
    )


def balanced_orders(n: int, cycles: int) -> tuple[Order, ...]:
    """Return ``cycles`` orders of ``n`` devices, balanced as far as that number allows.

    Whole Williams designs are used as they are. Of fewer orders the mean places come first: each
    order goes with its mirror image, so that every device has the same mean place; of an odd
    number, three orders whose places add up to the same sum for every device (sums that differ
    by 1 if n is even). Within that, pairs of neighbours are spread as evenly as a search over
    exchanges that keep the mean places finds.

    Parameters
    ----------
    n
        Number of devices (or groups), at least 1.
    cycles
        Number of orders, at least 1: each device has a turn in each.

    Raises
    ------
    ValueError
        If a number is below 1.

    Examples
    --------
    Two passes of four devices: an order and its mirror image, mean place 1.5 for all.

    >>> balanced_orders(4, 2)
    ((0, 1, 3, 2), (2, 3, 1, 0))
    >>> order_balance(balanced_orders(5, 3)).place_spread
    0.0
    """
    if cycles < 1:
        message = f"{cycles} cycles: expected at least 1"
        raise ValueError(message)
    complete = williams_orders(n)
    whole, rest = divmod(cycles, len(complete))
    if rest == 1 and whole:
        whole, rest = whole - 1, rest + len(complete)
    part = _part(n, rest, complete) if rest else ()
    return complete * whole + part


def _part(n: int, cycles: int, complete: tuple[Order, ...]) -> tuple[Order, ...]:
    """Return fewer orders than a complete design, mean places equal where possible."""
    if cycles == 1:
        return complete[:1]
    mirrored = [(o, o[::-1]) for o in complete if o <= o[::-1]]
    orders: list[Order] = list(_three_orders(n)) if cycles % 2 else []
    while len(orders) < cycles:
        pair = min(mirrored, key=lambda p: _unevenness([*orders, *p]))
        mirrored = [p for p in mirrored if p is not pair] or mirrored
        orders += pair
    if cycles <= SEARCH_LIMIT and n > 2:
        orders = _exchanged(orders)
    return tuple(_without_doubles(orders))


def _three_orders(n: int) -> tuple[Order, ...]:
    """Return three orders whose places add up alike for each device, neighbours spread evenly.

    Of the arrangement made by rule and up to `TRIALS` found by a seeded search, the most even.
    """
    best = _three_by_rule(n)
    draw = random.Random(n).random
    for _ in range(TRIALS):
        if _unevenness(best) == 3 * (n - 1):
            break
        found = _three_by_search(n, draw)
        if found and _unevenness(found) < _unevenness(best):
            best = found
    return best


def _three_by_rule(n: int) -> tuple[Order, ...]:
    """Return three orders whose places add up to 3(n − 1)/2 for each device, rounded if odd.

    Device i stands at place i in the first. With m = ⌊n/2⌋, device 2j stands at m − j in the
    second and 2m − j in the third, device 2j + 1 at 2m − j and m − 1 − j (n odd); for n even,
    at m − 1 − j and 2m − 1 − j, and 2m − 1 − j and m − 1 − j. Derived here; arrays of this kind
    are known as Kotzig arrays.
    """
    m, odd = divmod(n, 2)
    low, high = m - 1 + odd, 2 * m - 1 + odd
    second, third = [0] * n, [0] * n
    for device in range(n):
        j = device // 2
        if device % 2 == 0:
            second[low - j], third[high - j] = device, device
        else:
            second[high - j], third[m - 1 - j] = device, device
    return tuple(range(n)), tuple(second), tuple(third)


def _three_by_search(n: int, draw: Callable[[], float]) -> tuple[Order, ...] | None:
    """Place device after device at random so that its three places add up; ``None``: stuck."""
    second, third = [-1] * n, [-1] * n
    sums = {(3 * (n - 1)) // 2, (3 * (n - 1) + 1) // 2}
    steps = STEPS

    def place(device: int) -> bool:
        nonlocal steps
        if device == n:
            return True
        free = [
            (draw(), i, total - device - i)
            for total in sums
            for i in range(n)
            if second[i] < 0 and 0 <= total - device - i < n and third[total - device - i] < 0
        ]
        for _, i, k in sorted(free):
            steps -= 1
            if steps < 0:
                return False
            second[i], third[k] = device, device
            if place(device + 1):
                return True
            second[i], third[k] = -1, -1
        return False

    return (tuple(range(n)), tuple(second), tuple(third)) if place(0) else None


def _unevenness(orders: Sequence[Order]) -> int:
    """Return the sum of squared follow counts: the smaller, the more even."""
    counts = follow_counts(orders)
    return int((counts * counts).sum())


def _exchanged(orders: list[Order]) -> list[Order]:
    """Exchange two devices in two orders at once, keeping mean places, while it evens pairs."""
    current = [list(o) for o in orders]
    score = _unevenness(orders)
    improved = True
    while improved:
        improved = False
        for a, b in combinations(range(len(current[0])), 2):
            step = [o.index(b) - o.index(a) for o in current]
            for i, k in combinations(range(len(current)), 2):
                if step[i] != -step[k]:
                    continue
                for order in (current[i], current[k]):
                    _swap(order, a, b)
                trial = _unevenness([tuple(o) for o in current])
                if trial < score:
                    score, improved = trial, True
                    step = [o.index(b) - o.index(a) for o in current]
                else:
                    for order in (current[i], current[k]):
                        _swap(order, a, b)
    return [tuple(o) for o in current]


def _swap(order: list[int], a: int, b: int) -> None:
    i, k = order.index(a), order.index(b)
    order[i], order[k] = b, a


def _without_doubles(orders: list[Order]) -> list[Order]:
    """Arrange the orders so that, where possible, none begins with who ended the one before."""
    left = list(orders)
    arranged = [left.pop(0)]
    while left:
        fresh = [o for o in left if o[0] != arranged[-1][-1]]
        chosen = (fresh or left)[0]
        left.remove(chosen)
        arranged.append(chosen)
    return arranged
