"""Values of the GUM (JCGM 100:2008): annexes E, F, G and H.

H.1 (components) and H.3 (data and results): seen in the documentation and examples of the GTC
package of the New Zealand standards laboratory (API/GUM_H1, API/GUM_H3), but for s of H.3, which is
from memory. F.2.2.1: seen as quoted by a clause list. Clauses, table G.2, table E.1 and the example
of G.4.1: from memory; each was recomputed. Typed. Tolerances: half a unit of the last printed digit
unless said.
"""

from __future__ import annotations

import numpy as np
import pytest

from kit.stats.line_fit import straight_line
from kit.stats.uncertainty import (
    coverage_factor,
    effective_dof,
    relative_u_of_s,
    resolution,
    u_rectangular,
    u_resolution,
)


def test_digital_resolution():
    # F.2.2.1: u = 0.29 δx
    assert float(u_resolution(1.0)) == pytest.approx(0.29, abs=0.005)
    assert float(resolution([1]).own ** 0.5) == pytest.approx(0.29, abs=0.005)


def test_rectangle():
    # 4.3.7: a²/3
    assert float(u_rectangular(1.0)) == pytest.approx(3**-0.5)


def test_welch_satterthwaite_example():
    """G.4.1 (from memory): Y = bX₁X₂X₃, relative u 0.25, 0.57, 0.82 %, n = 10, 5, 15.

    u_c = 1.03 %, ν_eff = 19.0, t₉₅(19) = 2.09, U₉₅ = 2.2 %. Unrounded 18.999: the table is
    entered with 19, not with 18.
    """
    parts, dof = [0.25, 0.57, 0.82], [9, 4, 14]
    u_c = float(np.hypot.reduce(parts))
    nu = effective_dof(parts, dof)
    assert u_c == pytest.approx(1.03, abs=0.005)
    assert nu == pytest.approx(18.999, abs=0.0005)
    assert coverage_factor(0.95, nu) == pytest.approx(2.09, abs=0.005)
    assert coverage_factor(0.95, nu) == pytest.approx(coverage_factor(0.95, 19), abs=1e-4)
    assert u_c * coverage_factor(0.95, nu) == pytest.approx(2.2, abs=0.05)


def test_end_gauge_calibration():
    """H.1: 25 (18), 9.7 (25.6), 2.9 (50), 16.6 nm (2): u_c = 32 nm, ν_eff = 16, U₉₉ = 93 nm.

    u_c = 31.6637674 and ν_eff = 16.7521475 are test values of GTC for the unrounded components
    (5.8, 3.9, 6.7 nm for the second; 2.8868 and 16.599 nm for the last two). The printed, rounded
    components give them to three digits. From memory: ν_eff is truncated to 16, t₉₉(16) = 2.92.
    """
    second = [5.8, 3.9, 6.7]
    assert float(np.hypot.reduce(second)) == pytest.approx(9.7, abs=0.05)
    assert effective_dof(second, [24, 5, 8]) == pytest.approx(25.44725, abs=5e-6)
    parts = [25.0, float(np.hypot.reduce(second)), 2.8868, 16.599]
    u_c = float(np.hypot.reduce(parts))
    nu = effective_dof(parts, [18, 25.44725, 50, 2])
    assert u_c == pytest.approx(31.66, abs=0.02)
    assert nu == pytest.approx(16.75, abs=0.02)
    factor = coverage_factor(0.99, 16)
    assert factor == pytest.approx(2.92, abs=0.005)
    assert round(u_c) * factor == pytest.approx(93, abs=0.5)
    # rounding u_c before ν_eff is the trap: 17.5 in place of 16.7
    spread = sum(u**4 / v for u, v in zip(parts, [18, 25.44725, 50, 2], strict=True))
    assert 32.0**4 / spread == pytest.approx(17.5, abs=0.05)


H3_T = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
H3_B = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


def test_thermometer_line():
    """H.3: y₁ = −0.1712(29) °C, y₂ = 0.002 18(67), r = −0.930; b(30 °C) = −0.1494(41).

    More digits as GTC gives them; tolerance 1 in the last. s = 0.0035 is from memory: from the sum
    of squares that GTC gives, √(0.000110096583109/9) = 0.0034976.
    """
    fit = straight_line(H3_T, H3_B, origin=20.0)
    assert fit.intercept == pytest.approx(-0.17120379, abs=1e-8)
    assert fit.slope == pytest.approx(0.0021826977, abs=1e-10)
    assert fit.intercept_u == pytest.approx(0.0028776, abs=1e-7)
    assert fit.slope_u == pytest.approx(0.00066794, abs=1e-8)
    assert fit.correlation == pytest.approx(-0.930, abs=5e-4)
    assert fit.s == pytest.approx(0.0035, abs=5e-5)
    assert fit.s == pytest.approx(0.0034976, abs=5e-8)
    assert fit.s**2 * fit.dof == pytest.approx(0.000110096583109, abs=1e-15)
    value, u = fit.at(30.0)
    assert value == pytest.approx(-0.14937681, abs=1e-8)
    assert u == pytest.approx(0.00413860, abs=1e-8)
    assert fit.dof == 9


T_TABLE = {
    1: (12.71, 63.66), 2: (4.30, 9.92), 3: (3.18, 5.84), 4: (2.78, 4.60), 5: (2.57, 4.03),
    8: (2.31, 3.36), 10: (2.23, 3.17), 16: (2.12, 2.92), 20: (2.09, 2.85), 50: (2.01, 2.68),
}  # fmt: skip


@pytest.mark.parametrize(("dof", "factors"), T_TABLE.items())
def test_student_factors(dof, factors):
    """Table G.2 (from memory), 95 and 99 %."""
    found = [coverage_factor(p, dof) for p in (0.95, 0.99)]
    assert found == pytest.approx(list(factors), abs=0.005)


def test_normal_limit():
    assert coverage_factor(0.95) == pytest.approx(1.960, abs=0.0005)


@pytest.mark.parametrize(
    ("n", "percent"),
    [(2, 76), (3, 52), (4, 42), (5, 36), (10, 24), (20, 16), (30, 13), (50, 10)],
)
def test_uncertainty_of_an_uncertainty(n, percent):
    """Table E.1 (from memory; 13 % for n = 30 seen in G.1.2)."""
    assert 100 * relative_u_of_s(n) == pytest.approx(percent, abs=0.5)
