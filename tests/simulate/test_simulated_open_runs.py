"""Simulated days of several runs, stopped while some devices were still on: nothing false is said.

Runs scatter by 3 % of each device by itself: what one run adds to all drops out of differences and
would only make them safer.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.results import RESULT_COLUMNS, Settings
from kit.runtime.replicate_pairs import replicate_pairs
from kit.runtime.runtimes import runtimes
from kit.simulate import Limits, random_day, simulate_day

CV = 0.03
NO_DRAIN = pd.DataFrame({c: [] for c in RESULT_COLUMNS["phase_drain"]})
LIMITS = Limits(phases=2, run_cv=CV, rate_pp_per_h=(10.0, 25.0), until_empty=True)


def open_days(rng, days, **limits):
    """Yield the pairs found and the true mean runtimes (h) of days that were stopped early."""
    for _ in range(days):
        scenario = random_day(replace(LIMITS, **limits), rng)
        _, session = simulate_day(scenario, rng)
        quiet, _ = simulate_day(replace(scenario, runs=1, run_cv=0.0), np.random.default_rng(0))
        # a run draws all powers times 1 + cv z: runtimes have the mean T (1 + cv² + 3 cv⁴ + …)
        off_h = quiet.runtimes["off_min"] * (1.0 + CV**2 + 3.0 * CV**4) / 60.0
        mean = dict(zip(quiet.runtimes["device"], off_h, strict=True))
        pairs = replicate_pairs(session, runtimes(session), NO_DRAIN, Settings())
        truth = [
            mean[a] - mean[b] for a, b in zip(pairs["device_a"], pairs["device_b"], strict=True)
        ]
        yield pairs.assign(truth=truth)


def open_ones(frames):
    every = pd.concat(frames)
    return every[every["flags"].str.contains("lower_bound")]


@pytest.mark.parametrize(
    ("devices", "runs", "left"), [(2, 3, -3.0), (3, 3, -6.0), (2, 4, -2.0), (2, 7, -4.0)]
)
def test_devices_truly_equal_are_not_told_apart(devices, runs, left):
    rng = np.random.default_rng([devices, runs, 2026])
    frames = list(
        open_days(
            rng, 50, devices=devices, runs=runs, device_spread=0.0, stop_pct_left=left
        )
    )  # fmt: skip
    false = sum(frame["verdict"].isin(["a", "b"]).any() for frame in frames)
    assert len(open_ones(frames)) > 10
    # 5 % of 50, and 3 standard errors of 1.54
    assert false <= 2.5 + 4.62


def test_bounds_hold_and_clear_leads_are_found():
    rng = np.random.default_rng(20260901)
    frames = list(open_days(rng, 90, devices=2, runs=4, stop_pct_left=-1.0))
    found = open_ones(frames)
    # one end each way at 2.5 %: 5 % in all, and 3 standard errors of 2.5 %
    missed = (found["difference_low"] > found["truth"]) | (
        found["difference_high"] < found["truth"]
    )
    assert len(found) > 45
    assert missed.mean() <= 0.05 + 0.075
    far = found[found["truth"].abs() > 2.0]
    assert far["verdict"].isin(["a", "b"]).mean() > 0.6
    right = np.where(found["truth"] > 0, "a", "b")
    said = found["verdict"].isin(["a", "b"])
    assert (found["verdict"][said] == right[said]).all()
