"""Kinds whose units shared days or were stopped: how often equal kinds are told apart."""

from __future__ import annotations

import numpy as np
import pytest

from kit.claims.kind_scatter import UNITS_ENOUGH, Part, days_between, expanded, scatter_of
from kit.claims.kinds import Seen, kinds
from kit.claims.kinds_compared import compared_kinds
from kit.results import Settings
from kit.session import Device
from tests.helpers.builders import make_session

NAN = float("nan")


def session_of(units, runs=1):
    """Return a record of kinds A and B with so many units each; runs are given by the values."""
    devices = [
        Device(id=f"{kind}{k}", label=f"{kind}{k}", model=kind, health_pct=100.0, health_u_pct=0.0)
        for kind in "AB"
        for k in range(units)
    ]
    return make_session(devices=devices, phases={"day": 1000}, start=None)


def judged(session, values, stop=np.inf):
    """Return the pair of kinds for runtimes (runs, units of A and of B), stopped at ``stop``."""
    ended = values <= stop
    rows = {
        device.id: [
            Seen(min(value, stop), 0.3, not seen_off, run + 1)
            for run, (value, seen_off) in enumerate(zip(values[:, k], ended[:, k], strict=True))
        ]
        for k, device in enumerate(session.devices)
    }
    (pair,) = compared_kinds(session, kinds(session, rows), {}, Settings())
    return pair


@pytest.mark.parametrize("stop", [594.0, 600.0, 609.0])
def test_equal_kinds_of_which_units_were_stopped_are_not_told_apart(stop):
    # Two units each, 600 min and 3 %. Where one kind was seen to its end and the other was not, the
    # first is the one whose two units ended early, and alike. Naive: Welch on what was seen, the
    # bounds of the one stopped as values.
    rng = np.random.default_rng(int(stop))
    session = session_of(2)
    said = false = naive = 0
    for _ in range(3000):
        values = 600.0 * (1 + 0.03 * rng.standard_normal((1, 4)))
        pair = judged(session, values, stop)
        if pair.barred or not pair.a.at_least:
            continue
        said += 1
        false += pair.supported
        seen = np.minimum(values[0], stop).reshape(2, 2)
        v = seen.var(axis=1, ddof=1) / 2
        dof = v.sum() ** 2 / (v**2).sum()
        from scipy.special import stdtrit

        naive += abs(seen[0].mean() - seen[1].mean()) > stdtrit(dof, 0.975) * np.sqrt(v.sum())
    assert said > 400
    # of the pairs that were judged
    assert false / said <= 0.05
    assert naive / said > 0.05


def test_equal_kinds_stopped_on_several_days():
    # three runs, stopped when the last but one device is off; days 2 %, units 2 %, rest 1 %
    rng = np.random.default_rng(5)
    session = session_of(2)
    said = false = 0
    for _ in range(1000):
        values = 600.0 * (
            1
            + 0.02 * rng.standard_normal((3, 1))
            + 0.02 * rng.standard_normal((1, 4))
            + 0.01 * rng.standard_normal((3, 4))
        )
        stop = np.sort(values, axis=1)[:, -2:-1] + 1.0
        low = np.minimum(values, stop)
        rows = {
            device.id: [Seen(low[r, k], 0.3, bool(values[r, k] > stop[r, 0]), r + 1)
                        for r in range(3)]
            for k, device in enumerate(session.devices)
        }  # fmt: skip
        (pair,) = compared_kinds(session, kinds(session, rows), {}, Settings())
        said += not pair.barred
        false += pair.supported
    assert said > 300
    assert false / said <= 0.05


@pytest.mark.parametrize("of_kind", [0.0, 9.0])
@pytest.mark.parametrize(("units", "unit_sd"), [(2, 12.0), (4, 5.0), (4, 0.0)])
def test_equal_kinds_over_shared_days_are_not_told_apart(units, unit_sd, of_kind):
    # three runs; each adds 9 min (sd) to all devices, and to all units of one kind alone
    rng = np.random.default_rng([units, int(unit_sd), int(of_kind)])
    session = session_of(units)
    sessions, false = 1200, 0
    for _ in range(sessions):
        day = 9.0 * rng.standard_normal((3, 1)) + of_kind * np.repeat(
            rng.standard_normal((3, 2)), units, axis=1
        )
        values = 600.0 + day + unit_sd * rng.standard_normal((1, 2 * units))
        values = values + 3.0 * rng.standard_normal(values.shape)
        false += judged(session, values).supported
    # 5 %, and 3 standard errors
    assert false / sessions <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / sessions)


def test_what_days_do_to_both_kinds_drops_out():
    # A 600 640 / 610 650, B 580 616 / 590 626 (runs × units): by runs A 620, 630, B 598, 608
    session = session_of(2)
    values = np.array([[600.0, 640.0, 580.0, 616.0], [610.0, 650.0, 590.0, 626.0]])
    pair = judged(session, values)
    # days: 22 and 22 min apart: 0. Units: A s = 28.28, u = 20; B u = 18, both with 1 degree of
    # freedom (stated: 13.3, 12.8): 12.706 hypot(20, 18); health exact, windows .3 each
    assert pair.difference_min == pytest.approx(22)
    assert pair.needed_min == pytest.approx(12.706 * np.hypot(20, 18), abs=0.1)
    assert pair.assumed == ()


def test_scatter_of_units_and_days():
    # 600 640 / 610 650: unit means 605, 645: u = 20; run means 620, 630: u = 5
    found = scatter_of(np.array([[600.0, 640], [610, 650]]), (1, 2), 0.03, at_least=False)
    assert (found.units, found.days) == (Part(pytest.approx(20), 1), Part(pytest.approx(5), 1))
    assert found.by_run == ((1, 620.0), (2, 630.0))
    # in runs of their own there is nothing that they share, and no run to compare by
    own = scatter_of(np.array([[600.0, NAN], [NAN, 650]]), (1, 2), 0.03, at_least=False)
    assert (own.days.u, own.by_run, own.units.u) == (0.0, (), pytest.approx(25))
    # one unit, three runs: s = 10, u = 10/sqrt 3 beside the stated 3 % of 610
    one = scatter_of(np.array([[600.0], [610], [620]]), (1, 2, 3), 0.03, at_least=False)
    assert one.units.u == pytest.approx(18.3)
    assert one.days == Part(pytest.approx(10 / np.sqrt(3)), 2)


def test_many_units_stand_by_themselves_but_not_for_other_days():
    # four units on one day: 600, 602, 598, 600: s^2 = 8/3, u = .816, 3 degrees of freedom; another
    # day: the stated 18 min, as far as it is not in that
    values = np.array([[600.0, 602, 598, 600]])
    assert values.shape[1] == UNITS_ENOUGH
    found = scatter_of(values, (1,), 0.03, at_least=False)
    assert found.units == Part(pytest.approx(np.sqrt(8 / 12)), 3)
    assert found.days.u == pytest.approx(np.sqrt(18**2 - 8 / 12))
    assert "3 % scatter" in found.days.assumed
    # three of them: no less than the stated 18/sqrt 3
    assert scatter_of(values[:, :3], (1,), 0.03, at_least=False).units.u == pytest.approx(
        0.03 * 600 / np.sqrt(3)
    )


def test_two_units_often_come_out_alike():
    # |a - b| < sd/5 has probability 2 Phi(.2/sqrt 2) - 1 = .112: one of nine
    rng = np.random.default_rng(3)
    two = rng.standard_normal((40_000, 2))
    assert (np.abs(two[:, 0] - two[:, 1]) < 0.2).mean() == pytest.approx(0.112, abs=0.007)


def test_stopped_units_have_the_stated_scatter():
    # on at 620 and 620 on one day: 18.6 min in all; in runs of their own 18.6/sqrt 2
    beside = scatter_of(np.array([[620.0, 620]]), (1,), 0.03, at_least=True)
    assert np.hypot(beside.units.u, beside.days.u) == pytest.approx(18.6)
    own = scatter_of(np.array([[620.0, NAN], [NAN, 620]]), (1, 2), 0.03, at_least=True)
    assert (own.units.u, own.days.u) == pytest.approx((18.6 / np.sqrt(2), 0))
    assert own.measured == "two runs of two units, not all seen to their end"


def test_parts_are_expanded_apart():
    # t(.975) = 12.706 and 4.3027 with 1 and 2 degrees of freedom: sqrt(38.118^2 + 8.6054^2)
    assert expanded([Part(3.0, 1), Part(2.0, 2)], 0.95) == pytest.approx(39.08, abs=0.01)
    one = scatter_of(np.array([[600.0], [610]]), (1, 2), 0.03, at_least=False)
    other = scatter_of(np.array([[500.0], [530]]), (1, 3), 0.03, at_least=False)
    # not the same runs: both by themselves, u = 5 and 15
    assert [part.u for part in days_between(one, other, (1.0, 2.0))] == pytest.approx([5, 30])
