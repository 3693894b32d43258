"""What a day can decide: by hand, against naive simulation, and against other libraries."""

import numpy as np
import pytest

from kit.plan.resolve import drain_margin, length_to_separate, phase_resolution

# ---------------------------------------------------------------- phases


def test_twenty_minutes_of_standby_cannot_be_resolved():
    # 0.5 pp/h x 1/3 h = 0.17 pp against 0.80; 0.80/(0.25 x 0.5) = 6.4 h
    found = phase_resolution(0.5, 20)
    assert found.verdict == "not resolved"
    assert found.drain_pp == pytest.approx(1 / 6)
    assert found.half_width_pp == pytest.approx(0.80, abs=1e-6)
    assert found.needed_min == pytest.approx(6.4 * 60, abs=1e-3)


@pytest.mark.parametrize(
    ("rate", "minutes", "verdict"),
    [(12, 60, "resolved"), (3, 60, "coarse"), (3.2, 60, "resolved"), (0.79, 60, "not resolved")],
)
def test_verdicts_at_a_quarter(rate, minutes, verdict):
    # 0.80/12 = 7 %; 0.80/3 = 27 %; 0.80/3.2 = 25 %; 0.80/0.79 > 100 %
    assert phase_resolution(rate, minutes, share=0.2501).verdict == verdict


def test_from_full_and_coarse_displays_need_longer():
    # 1.00 from full; 5 % steps: 5 x 0.80 = 4.0
    assert phase_resolution(10, 60, from_full=True).half_width_pp == pytest.approx(1.0)
    coarse = phase_resolution(10, 60, step_pct=5)
    assert coarse.half_width_pp == pytest.approx(4.0, abs=1e-6)
    assert coarse.needed_min == pytest.approx(4.0 / (0.25 * 10) * 60, abs=1e-4)


def test_ticks_by_hand():
    # 6 pp/h: u of a tick 6/60/sqrt(12) = 0.0289 pp; two of them, k = 2: 2 x 1.414 x 0.0289
    assert phase_resolution(6, 60).tick_half_width_pp == pytest.approx(0.0816, abs=1e-4)
    assert phase_resolution(0, 60).needed_min == float("inf")


# ---------------------------------------------------------------- drains of two devices


def test_margin_by_hand():
    # exact half-width 2 - 0.6^(1/4) = 1.1199 for a difference of two drains, guarded by 2 %
    assert drain_margin(12, 12) == pytest.approx(1.1199, rel=0.025)
    # A = 3: u_g² = 2 x 9/3 x (1 - exp(-144/98)) = 6 x 0.76992 = 4.6195 per device
    gauge = drain_margin(12, 12, gauge_error_pp=3)
    assert gauge**2 - drain_margin(12, 12) ** 2 == pytest.approx(8 * 4.6195, abs=1e-3)
    assert drain_margin(12, 12, from_full=True) > drain_margin(12, 12)


def test_length_to_separate_two_devices():
    # 12 against 14: m = 1.14, so a difference of 2 must show: (1.5 + 0.8416 x 0.5774)/2 h
    by_hand = (1.5 + 0.8416 * 0.5774) / 2 * 60
    assert length_to_separate(12, 14) == pytest.approx(by_hand, abs=0.3)
    assert length_to_separate(10, 10) == float("inf")
    # 10 against 10.1: 16.3 h at 10 pp/h are more than one charge
    assert length_to_separate(10, 10.1) == float("inf")
    assert length_to_separate(0, 0) == float("inf")
    # charge, not display: longer
    assert length_to_separate(12, 14, gauge_error_pp=3) > length_to_separate(12, 14)


@pytest.mark.parametrize("error", [0.0, 3.0])
def test_length_to_separate_gives_the_power_it_promises(error):
    """Two drains at random levels, read as whole numbers, exceed the margin about as often."""
    low, high = 12.0, 16.0
    hours = length_to_separate(low, high, gauge_error_pp=error) / 60
    rng = np.random.default_rng(3)
    n = 40_000
    drains = []
    shift = rng.uniform(-2, 2, n)  # fractions of the drains: the average over them is promised
    for rate in (low, high):
        start = rng.uniform(60, 90, n)
        drain = (rate + shift) * hours
        # u_g² = 2 A²/3 (1 - exp(-d²/98)), as in the measurement model
        gauge = (2 * error**2 / 3 * (1 - np.exp(-(drain**2) / 98))) ** 0.5
        end = start - drain + gauge * rng.standard_normal(n)
        drains.append(np.round(start) - np.round(end))
    margin = drain_margin(low * hours, high * hours, gauge_error_pp=error)
    told = (drains[1] - drains[0] > margin).mean()
    assert 0.77 <= told <= 0.83


def test_margin_of_a_pair_that_is_compared_more_than_once():
    # eight phases, 24 comparisons: X = 1.04 (2 − (12 · 0.05/24)^¼) = 1.67 (kit.drain.declared)
    assert drain_margin(12, 12, comparisons=24) == pytest.approx(
        1.04 * (2 - (12 * 0.05 / 24) ** 0.25), abs=0.01
    )
    # with the gauge that of the table rule, over these 24, is less: the hard bound of the display,
    # 2, and z = Φ⁻¹(1 − 0.05/48) = 3.078
    with_gauge = drain_margin(12, 12, gauge_error_pp=3, comparisons=24)
    assert with_gauge**2 == pytest.approx(2**2 + 3.078**2 * 2 * 4.6195, rel=1e-3)
    # whole numbers differ by 2 either way: no longer by the displays, longer by the charge
    assert length_to_separate(12, 14, comparisons=24) == length_to_separate(12, 14)
    longer = length_to_separate(12, 16, gauge_error_pp=3, comparisons=24)
    assert longer > length_to_separate(12, 16, gauge_error_pp=3)
