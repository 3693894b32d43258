"""The steps of several displays at once are those of each by itself."""

import numpy as np
import pytest

from kit.drain.gauge import display_step, display_steps

STEPS = (20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.1, 0.03, 0.01)


@pytest.mark.parametrize("step", STEPS)
def test_many_displays_have_the_steps_that_each_has_alone(step):
    rng = np.random.default_rng(int(step * 100))
    shown = np.round(rng.integers(0, int(100 / step) + 1, size=(60, 9)) * step, 6)
    shown[rng.random(shown.shape) < 0.2] = np.nan
    # one in ten is read between the steps
    shown[rng.random(len(shown)) < 0.1, 0] = 43.0
    assert display_steps(shown).tolist() == [display_step(row) for row in shown]


def test_displays_that_showed_nothing_below_full():
    # 100 is left out and NaN is none: whole numbers are taken
    assert display_steps(np.array([[100.0, np.nan], [np.nan, np.nan]])).tolist() == [1.0, 1.0]
    assert display_steps(np.zeros((2, 0))).tolist() == [1.0, 1.0]
