"""Functions whose hand-worked example a docstring cannot hold: frames over runs."""

from __future__ import annotations

import math

import pytest

from kit.drain.phases import phase_drain
from kit.results import Settings
from kit.runtime.replicate_pairs import replicate_pairs, run_effects
from kit.runtime.runtimes import runtimes
from tests.helpers.builders import join_runs, make_session, seen

RUNS = ((600, 620), (610, 634))
"""Minutes of a and b, side by side; seen on and off in one minute, so exact to ±1 min.

Device means 605 and 627, run means 610 and 622, all of them 616. Left over are 600 − 605 + 6 = 1,
610 − 605 − 6 = −1, 620 − 627 + 6 = −1 and 634 − 627 − 6 = 1: s² = 4/1, s = 2 with one degree of
freedom, t = 12.706.
"""


def frames(declared=None):
    s = join_runs(*(
        make_session(
            devices=["a", "b"], phases={"p": 900}, declared_comparison=declared,
            power_offs={"a": seen(a, a), "b": seen(b, b)},
        )
        for a, b in RUNS
    ))  # fmt: skip
    return s, runtimes(s), phase_drain(s, Settings())


def minutes(row, *columns):
    return [60 * float(row[c]) for c in columns]


def test_run_effects():
    """−6 and +6 min; u = s √(1/2 − 1/4) = 1 min, ±12.706."""
    first, second = run_effects(*frames(), Settings()).to_dict("records")
    columns = ("effect", "effect_u", "effect_low", "effect_high")
    assert minutes(first, *columns) == pytest.approx([-6, 1, -18.706, 6.706], abs=1e-3)
    assert minutes(second, *columns) == pytest.approx([6, 1, -6.706, 18.706], abs=1e-3)
    assert (first["run"], first["quantity"], first["unit_symbol"]) == (1, "runtime", "h")


@pytest.mark.parametrize(("declared", "method"), [(None, "tukey"), (("a", "b"), "paired")])
def test_replicate_pairs(declared, method):
    """a − b: −20 and −24 min, mean −22, u = s √(2/2) = 2 min; of two devices both ways agree.

    95 % of the sum of two errors up to 1 min lie within 2(1 − √0.05) = 1.553 min, so U = √(1.553² +
    (12.706 · 2)²) = 25.459 min. b surely ran longer in both runs.
    """
    (row,) = replicate_pairs(*frames(declared), Settings()).to_dict("records")
    assert (row["method"], row["dof"], row["verdict"]) == (method, 1, "too_close")
    assert minutes(row, "difference", "difference_u") == pytest.approx([-22, 2])
    half = math.hypot(2 * (1 - math.sqrt(0.05)), 12.706 * 2)
    assert half == pytest.approx(25.459, abs=1e-3)
    ends = minutes(row, "difference_low", "difference_high")
    assert ends == pytest.approx([-22 - half, -22 + half], abs=5e-3)
    assert (row["runs_a_longer"], row["runs_b_longer"]) == (0, 2)
