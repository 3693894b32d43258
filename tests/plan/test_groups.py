"""Groups over the row: even, central, and fair when drawn by lot."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.plan.groups import balanced_groups, group_sizes, random_groups


@given(n=st.integers(2, 24), groups=st.integers(1, 8))
def test_row_groups_are_even_and_central(n, groups):
    groups = min(groups, n)
    made = balanced_groups(n, groups)
    assert sorted(i for g in made for i in g) == list(range(n))
    assert sorted(map(len, made)) == sorted(group_sizes(n, groups))
    assert max(map(len, made)) - min(map(len, made)) <= 1
    if groups == 2:
        # Any sum of a positions can be reached, so the best is the whole number next to
        # a (n - 1)/2.
        a, b = made
        total = n * (n - 1) // 2

        def apart(s):
            return abs(s / len(a) - (total - s) / len(b))

        assert apart(sum(a)) == pytest.approx(min(map(apart, range(total + 1))))


def test_row_groups_by_hand():
    # 0 3 4 = 7 against 1 2 5 = 8; four devices 0 3 against 1 2, both 3.
    assert balanced_groups(6, 2) == ((0, 3, 4), (1, 2, 5))
    assert balanced_groups(4, 2) == ((0, 3), (1, 2))
    assert balanced_groups(3, 3) == ((0,), (1,), (2,))


@settings(max_examples=30)
@given(n=st.integers(2, 24), groups=st.integers(1, 8), seed=st.integers(0, 2**32))
def test_random_groups_are_even_and_repeatable(n, groups, seed):
    groups = min(groups, n)
    made = random_groups(n, groups, seed)
    assert sorted(i for g in made for i in g) == list(range(n))
    assert tuple(map(len, made)) == group_sizes(n, groups)
    assert made == random_groups(n, groups, seed)


def test_random_groups_are_fair():
    # 4000 draws of 6 into 3 + 3: position 0 is in the first group half of the time,
    # standard deviation sqrt(0.25/4000) = 0.0079; five of them are allowed.
    share = np.mean([0 in random_groups(6, 2, seed)[0] for seed in range(4000)])
    assert abs(share - 0.5) < 0.04
    assert len({random_groups(6, 2, seed) for seed in range(4000)}) == 20  # 6!/(3! 3!)


@pytest.mark.parametrize("make", [balanced_groups, lambda n, g: random_groups(n, g, 0)])
@pytest.mark.parametrize("groups", [0, 5])
def test_impossible_groups_are_refused(make, groups):
    with pytest.raises(ValueError, match="expected 1 to 4"):
        make(4, groups)
