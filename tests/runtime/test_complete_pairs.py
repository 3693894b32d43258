"""Means of complete runs for many sets of values at once, against the pairs one by one."""

from __future__ import annotations

import numpy as np
import pytest

from kit.runtime.complete_pairs import ran_longer
from kit.runtime.replicate_pairs import pairs_of
from kit.runtime.replicates import RUNTIME, Quantity
from tests.helpers.builders import make_session

SIDE = {"a": 1, "b": -1, "too_close": 0}


@pytest.mark.parametrize(("runs", "n", "declared"), [
    (2, 2, None), (3, 3, None), (3, 4, ("d1", "d3")), (5, 2, ("d1", "d0")), (4, 5, None),
])  # fmt: skip
def test_sides_are_those_of_the_pairs(runs, n, declared):
    rng = np.random.default_rng(runs * 10 + n)
    sets = 40
    spread = rng.uniform(0.02, 0.3, (sets, 1, 1))
    value = 8.0 + rng.normal(0.0, 0.3, (sets, 1, n)) + spread * rng.normal(size=(sets, runs, n))
    half = rng.uniform(0.01, 0.15, (sets, runs, n))
    names = [f"d{k}" for k in range(n)]
    session = make_session(devices=names, phases={"p": 60}, declared_comparison=declared)
    pair = None if declared is None else (names.index(declared[0]), names.index(declared[1]))
    found = ran_longer(value, half, pair, 0.95)
    seen = set()
    for one, lengths, widths in zip(found, value, half, strict=True):
        off = np.zeros((runs, n), dtype=bool)
        quantity = Quantity(RUNTIME, "h", lengths, widths, widths / np.sqrt(3.0), off)
        for row in pairs_of(quantity, session, 0.95):
            i, j, side = names.index(row[0]), names.index(row[1]), SIDE[row[10]]
            assert one[i, j] == side == -one[j, i]
            seen.add(abs(side))
    assert seen == {0, 1}
