"""The network of devices and sessions: by hand, and against other solvers."""

import numpy as np
import pytest

from kit.compare.network import Observed, fit_network


def seen(rows, *, half=None, single=True, run_part=None):
    """Return runtimes from (node, session, ln runtime)."""
    node, session, value = (np.array(column) for column in zip(*rows, strict=True))
    n = len(rows)
    return Observed(
        node=node.astype(np.int64),
        session=session.astype(np.int64),
        value=value.astype(float),
        half_width=np.zeros(n) if half is None else np.array(half, dtype=float),
        run_part=np.zeros((n, n)) if run_part is None else np.array(run_part, dtype=float),
        single=np.full(n, single),
        nodes=int(node.max()) + 1,
        sessions=int(session.max()) + 1,
    )


A, B, C, D, E = range(5)


def test_two_sessions_with_one_common_device():
    # A 2.30 and C 2.10 in one session; C 2.00 and B 2.05 in the other
    net = fit_network(seen([(A, 0, 2.30), (C, 0, 2.10), (C, 1, 2.00), (B, 1, 2.05)]), assumed=0.03)
    link = net.link(A, B)
    # (2.30 − 2.10) − (2.05 − 2.00) = 0.20 − 0.05 = 0.15
    assert link.difference == pytest.approx(0.15)
    # four runtimes, each with 0.03: √4 × 0.03 = 0.06
    assert link.u == pytest.approx(0.06)
    # 1.959964 × 0.06 = 0.117598
    assert link.half_width(0.95) == pytest.approx(0.117598, abs=1e-6)
    # side by side: two runtimes, √2 × 0.03
    assert net.link(A, C).u == pytest.approx(0.0424264, abs=1e-7)
    # the second session as a whole: C ran 0.10 shorter in it
    assert net.effect.tolist() == pytest.approx([0.0, -0.10])
    assert net.scatter.basis == "assumed"
    assert net.scatter.residual_dof == 0


def test_a_chain_of_three_sessions():
    # A – C, C – D, D – B: A − B = (A − C) + (C − D) + (D − B), six runtimes
    rows = [(A, 0, 2.40), (C, 0, 2.20), (C, 1, 2.25), (D, 1, 2.10), (D, 2, 2.00), (B, 2, 1.95)]
    link = fit_network(seen(rows), assumed=0.03).link(A, B)
    # 0.20 + 0.15 + 0.05 = 0.40; √6 × 0.03 = 0.0734847
    assert link.difference == pytest.approx(0.40)
    assert link.u == pytest.approx(0.0734847, abs=1e-7)
    assert link.coefficients.tolist() == pytest.approx([1, -1, 1, -1, 1, -1])


def test_two_common_devices_halve_the_uncertainty_of_the_link_not_of_the_ends():
    rows = [(A, 0, 2.3), (C, 0, 2.1), (D, 0, 2.2), (C, 1, 2.0), (D, 1, 2.1), (B, 1, 2.05)]
    link = fit_network(seen(rows), assumed=0.03).link(A, B)
    # the two controls agree: mean of C and D is 2.15, then 2.05; (2.3 − 2.15) − (2.05 − 2.05)
    assert link.difference == pytest.approx(0.15)
    # 1 + 1 for the ends, (¼ + ¼) + (¼ + ¼) for the controls: √3 × 0.03 = 0.0519615
    assert link.u == pytest.approx(0.0519615, abs=1e-7)


def test_five_common_devices_show_the_scatter_themselves():
    first = [2.00, 2.10, 2.20, 2.30, 2.40]
    moves = [0.01, 0.03, 0.05, 0.07, 0.09]
    rows = [(k, 0, v) for k, v in enumerate(first)]
    rows += [(k, 1, v + m) for k, (v, m) in enumerate(zip(first, moves, strict=True))]
    net = fit_network(seen(rows), assumed=0.03)
    # the moves about their mean 0.05: −0.04, −0.02, 0, 0.02, 0.04; sum of squares 0.004;
    # a move has twice the variance of a runtime, 4 degrees of freedom: s² = 0.004/2/4 = 0.0005
    assert net.scatter.basis == "estimated"
    assert net.scatter.residual_dof == 4
    assert net.scatter.s**2 == pytest.approx(0.0005)
    link = net.link(4, 0)
    # each device has the mean of two runtimes: 2.445 − 2.005 = 0.44; u² = 0.0005 (½ + ½)
    assert link.difference == pytest.approx(0.44)
    assert link.u == pytest.approx(0.0005**0.5)
    assert link.dof == 4
    # t with 4 degrees of freedom is 2.776445 (GUM table G.2: 2.78)
    assert link.half_width(0.95) == pytest.approx(2.776445 * 0.0005**0.5, abs=1e-7)


def test_three_degrees_of_freedom_are_too_few():
    rows = [(k, s, 2.0 + 0.1 * k + 0.001 * k * s) for k in range(4) for s in (0, 1)]
    scatter = fit_network(seen(rows), assumed=0.03).scatter
    # 8 runtimes, 4 devices, 2 sessions in one part: 8 − 4 − 2 + 1
    assert (scatter.residual_dof, scatter.basis, scatter.s) == (3, "assumed", 0.03)


def test_too_few_common_devices_raise_the_assumption_but_never_lower_it():
    rows = [(A, 0, 2.0), (B, 0, 2.1), (A, 1, 2.0), (B, 1, 2.4)]
    # the moves 0.0 and 0.3 about 0.15: 2 × 0.0225 = 0.045; s² = 0.045/2/1 = 0.0225, s = 0.15
    raised = fit_network(seen(rows), assumed=0.03).scatter
    assert (raised.basis, raised.residual_dof) == ("raised", 1)
    assert raised.s == pytest.approx(0.15)
    quiet = [(A, 0, 2.0), (B, 0, 2.1), (A, 1, 2.0), (B, 1, 2.101)]
    kept = fit_network(seen(quiet), assumed=0.03).scatter
    assert (kept.basis, kept.s) == ("assumed", 0.03)


def test_unconnected_devices_are_not_compared_but_by_assumption():
    net = fit_network(seen([(A, 0, 2.30), (C, 0, 2.10), (D, 1, 2.00), (B, 1, 2.05)]), assumed=0.03)
    assert net.part.tolist() == [0, 1, 0, 1]
    with pytest.raises(ValueError, match="nothing connects"):
        net.link(A, B)
    # sessions about one mean with 0.05: two runtimes and two sessions in the difference,
    # u² = 2 × 0.0009 + 2 × 0.0025 = 0.0068; no other device is in it: 2.30 − 2.05
    link = net.across(A, B, 0.05)
    assert link.difference == pytest.approx(0.25)
    assert link.u == pytest.approx(0.0068**0.5)
    # within a session they are in the difference no more: √2 × 0.03
    assert net.across(A, C, 0.05).u == pytest.approx(0.0018**0.5)


def test_windows_never_widen_beyond_their_hard_bound():
    # no scatter assumed worth speaking of; windows of ± 0.02 on both
    link = fit_network(seen([(A, 0, 2.3), (B, 0, 2.1)], half=[0.02, 0.02]), assumed=1e-9).link(A, B)
    # 1.959964 × 0.02 × √(2/3) = 0.032006, below the bound 0.04
    assert link.half_width(0.95) == pytest.approx(0.032006, abs=1e-6)
    assert link.half_width(0.999999) == pytest.approx(0.04, abs=1e-6)


def test_runs_and_sessions_have_their_own_degrees_of_freedom():
    # one session of three runs each: u² = 2·0.03² + σ²(⅓ + ⅓) with σ = 0.06 of 4 degrees
    part = np.diag([1 / 3, 1 / 3])
    net = fit_network(
        seen([(A, 0, 2.3), (B, 0, 2.1)], single=False, run_part=part),
        assumed=0.03, run_s=0.06, run_dof=4,
    )  # fmt: skip
    link = net.link(A, B)
    # 0.0018 + 0.0036 × 2/3 = 0.0018 + 0.0024 = 0.0042
    assert link.u**2 == pytest.approx(0.0042)
    # Welch–Satterthwaite: 0.0042² / (0.0024²/4) = 1.764e-5 / 1.44e-6 = 12.25
    assert link.dof == pytest.approx(12.25)


def random_network(rng):
    sessions, nodes = int(rng.integers(2, 6)), int(rng.integers(3, 9))
    rows = []
    for s in range(sessions):
        for k in rng.choice(nodes, size=int(rng.integers(2, nodes + 1)), replace=False):
            rows.append((int(k), s, float(rng.normal(2.2, 0.1))))
    half = rng.uniform(0.0, 0.03, size=len(rows))
    return seen(rows, half=half)


@pytest.mark.parametrize("seed", range(12))
def test_whitened_least_squares_by_another_solver_agrees(seed):
    """Any solution of the whitened, rank-deficient problem has the same estimable differences."""
    given = random_network(np.random.default_rng(seed))
    net = fit_network(given, assumed=0.03)
    covariance = net.random + np.diag(given.half_width**2 / 3)
    root = np.linalg.inv(np.linalg.cholesky(covariance))
    n = len(given.value)
    x = np.zeros((n, given.nodes + given.sessions))
    x[np.arange(n), given.node] = 1
    x[np.arange(n), given.nodes + given.session] = 1
    best = np.linalg.lstsq(root @ x, root @ given.value, rcond=None)[0]
    spread = np.linalg.pinv(x.T @ np.linalg.inv(covariance) @ x)
    checked = 0
    for i in range(given.nodes):
        for j in range(i):
            if net.part[i] != net.part[j] or net.part[i] < 0:
                continue
            link = net.link(i, j)
            assert link.difference == pytest.approx(best[i] - best[j], abs=1e-9)
            variance = spread[i, i] + spread[j, j] - 2 * spread[i, j]
            assert link.u**2 == pytest.approx(variance, rel=1e-6)
            checked += 1
    assert checked


@pytest.mark.system
def test_statsmodels_finds_the_same():
    sm = pytest.importorskip("statsmodels.api")
    rows = [(A, 0, 2.40), (C, 0, 2.20), (D, 0, 2.15), (C, 1, 2.25), (D, 1, 2.10), (B, 1, 2.0),
            (D, 2, 2.00), (B, 2, 1.95), (E, 2, 2.3)]  # fmt: skip
    given = seen(rows, half=np.linspace(0.0, 0.03, 9))
    net = fit_network(given, assumed=0.03)
    x = np.zeros((9, 5 + 2))
    x[np.arange(9), given.node] = 1
    for k in (1, 2):
        x[given.session == k, 4 + k] = 1
    sigma = net.scatter.s**2 * np.eye(9) + np.diag(given.half_width**2 / 3)
    fit = sm.GLS(given.value, x, sigma=sigma).fit()
    unscaled = fit.cov_params() / fit.scale
    for i, j in ((A, B), (A, E), (C, E), (B, D)):
        link = net.link(i, j)
        assert link.difference == pytest.approx(fit.params[i] - fit.params[j], abs=1e-10)
        variance = unscaled[i, i] + unscaled[j, j] - 2 * unscaled[i, j]
        assert link.u**2 == pytest.approx(variance, rel=1e-9)
