"""Replicate runs end to end: from windows and drains to means of devices and of models."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.results import RESULT_COLUMNS
from kit.runtime.replicate_pairs import replicate_pairs, run_effects
from kit.runtime.replicates import replicate_models, replicates
from kit.runtime.runtimes import runtimes
from kit.runtime.survival_tables import restricted_means, survival_curves
from tests.helpers.builders import join_runs, make_session
from tests.helpers.repeated_runs import drains, of_models, runs_of, table


def test_mean_of_three_runs():
    # Windows [m, m + 2): middles 600, 606, 612 min; mean 606, s = 6; half-width 1 min.
    # U = sqrt(1 + (4.3027 * 6/sqrt 3)^2) = sqrt(1 + 14.905^2) = 14.938 min.
    # u^2 = 36/3 + (2^2/12) = 12.3333; t = 4.3027 is that of 2 degrees of freedom. r = 2.8 * 6.
    frame = table(replicates, runs_of({"a": [599, 605, 611]}))
    row = frame.iloc[0]
    assert tuple(frame.columns) == RESULT_COLUMNS["replicates"]
    assert (row["quantity"], row["runs"], row["unit_symbol"]) == ("runtime", 3, "h")
    assert row["mean"] * 60 == pytest.approx(606)
    assert row["s_r"] * 60 == pytest.approx(6)
    assert row["mean_u"] * 60 == pytest.approx(math.sqrt(12.3333), abs=1e-4)
    assert row["dof"] == 2
    assert row["repeatability_limit"] * 60 == pytest.approx(16.8)
    assert (row["mean_high"] - row["mean"]) * 60 == pytest.approx(14.938, abs=1e-3)
    assert row["flags"] == ""


def test_equal_runs_keep_their_resolution():
    row = table(replicates, runs_of({"a": [599, 599, 599]})).iloc[0]
    assert (row["mean_high"] - row["mean_low"]) * 60 == pytest.approx(2)
    assert row["flags"] == "no_scatter_seen"
    assert row["dof"] == 2


def test_run_that_was_still_on_gives_a_lower_bound_only():
    session = runs_of({"a": [599, 650, 611]}, still_on={("a", 1)})
    row = table(replicates, session).iloc[0]
    # off in [599, 601) and [611, 613), on at 650: the mean is at least 620, not the 620.67 of the
    # middles, which two power-offs just after the last look would belie
    assert row["mean_low"] * 60 == pytest.approx((599 + 650 + 611) / 3)
    assert row["flags"] == "lower_bound"
    assert math.isnan(row["mean_high"])
    assert math.isnan(row["s_r"])


def charged(session, *, run, device):
    """Return the session with a device charged from minute 100 to 160 of a run."""
    row = {"run": run, "device": device, "start_min": 100.0, "end_min": 160.0}
    columns = {c: [row.get(c, "")] for c in session.charges.columns}
    return replace(session, charges=pd.DataFrame(columns))


def test_a_run_in_which_the_device_was_charged_is_in_no_mean():
    # a off at 600, 606 and, charged for an hour, 700 min: mean of the first two 603 min, not 635;
    # s = 6/sqrt 2. b and c as noted.
    session = charged(
        runs_of({"a": (599, 605, 699), "b": (500, 506, 504), "c": (400, 401, 402)}),
        run=3, device="a",
    )  # fmt: skip
    rows = table(replicates, session).set_index("device")
    assert rows["runs"].to_dict() == {"a": 2, "b": 3, "c": 3}
    assert rows["mean"].mul(60).round(9).to_dict()["a"] == 603.0
    assert rows.loc["a", "s_r"] * 60 == pytest.approx(6 / 2**0.5)
    assert rows["flags"].to_dict() == {"a": "charged_run", "b": "", "c": ""}
    pair = table(replicate_pairs, session).set_index(["device_a", "device_b"]).loc[("a", "b")]
    assert (pair["runs"], pair["runs_a_longer"]) == (2, 2)
    never = charged(runs_of({"a": (599,), "b": (500,)}), run=1, device="b")
    found = runtimes(never).set_index("device")
    assert found["rank_best"].isna().all()
    assert found["p_longest"].isna().all()


def test_one_run_of_several_and_none():
    frame = table(
        replicates, runs_of({"a": [599, 605], "b": [599, None], "c": [None, None]})
    ).set_index("device")
    assert frame["flags"].to_dict() == {"a": "", "b": "one_run", "c": "no_value"}
    assert (frame.loc["b", "mean_high"] - frame.loc["b", "mean"]) * 60 == pytest.approx(1)


def test_single_run_has_no_rows():
    session = runs_of({"a": [599], "b": [620]})
    for function in (replicates, replicate_pairs, run_effects, replicate_models):
        assert table(function, session).empty
    assert survival_curves(session, runtimes(session)).empty
    assert restricted_means(session, runtimes(session)).empty


def test_drains_are_averaged_without_shrinking_their_resolution():
    # 12, 13, 12 pp, each +-.80: mean 12.333, s = .5774; t s/sqrt 3 = 4.3027 * .3333 = 1.434;
    # U = sqrt(.64 + 2.057) = 1.642.
    session = runs_of({"a": [599, 605, 611]})
    frame = table(
        replicates,
        session,
        drains([(r, "a", d, 0.8, 0.408) for r, d in ((1, 12), (2, 13), (3, 12))]),
    )
    row = frame[frame["quantity"] == "drain:day"]
    assert row.empty  # rows of a phase that the session does not have are not used
    session = replace(session, phases=(replace(session.phases[0], id="p1"),))
    frame = table(
        replicates,
        session,
        drains([(r, "a", d, 0.8, 0.408) for r, d in ((1, 12), (2, 13), (3, 12))]),
    )
    row = frame[frame["quantity"] == "drain:p1"].iloc[0]
    assert row["mean"] == pytest.approx(12.3333, abs=1e-4)
    assert row["mean_high"] - row["mean"] == pytest.approx(1.642, abs=1e-3)
    assert row["unit_symbol"] == "pp"


def test_warm_up_is_not_averaged():
    session = runs_of({"a": [599, 605]})
    session = replace(session, phases=(replace(session.phases[0], id="p1", evaluated=False),))
    frame = table(replicates, session, drains([(1, "a", 5, 0.8, 0.4), (2, "a", 6, 0.8, 0.4)]))
    assert frame["quantity"].unique().tolist() == ["runtime"]


def test_models_with_two_units_in_runs_of_their_own():
    # Units 600, 606 and 620, 614 (middles): mean 610, u = 7.0 and 1 dof; +- 12.706*7 = 88.9 min.
    # s_r = 4.243, s_L = 9.434, s_R = 10.344.
    session = runs_of(
        {"a1": [599, 605, None, None], "a2": [None, None, 619, 613], "b": [500, 510, 500, 510]}
    )
    frame = table(replicate_models, of_models(session, a1="A", a2="A", b="B"))
    row = frame.iloc[0]
    assert tuple(frame.columns) == RESULT_COLUMNS["replicate_models"]
    assert frame["model"].tolist() == ["A"]
    assert (row["units"], row["runs"]) == (2, 4)
    got = [row[c] * 60 for c in ("mean", "s_r", "s_l", "s_reproducibility")]
    assert got == pytest.approx([610, 4.2426, 9.4340, 10.3441], abs=1e-3)
    assert (row["mean_u_runs"], row["dof"], row["flags"]) == (0, 1, "")
    assert math.isnan(row["dof_runs"])
    assert row["repeatability_limit"] * 60 == pytest.approx(2.8 * 4.2426, abs=1e-3)
    # s_L from 0 to sqrt(196/(2 * .000982)) = 316 min (kit.stats.components)
    assert row["s_l_low"] == 0
    assert row["s_l_high"] * 60 == pytest.approx(316, abs=1)
    # resolution 1 min joins: sqrt(88.94^2 + 1) = 88.95
    assert (row["mean_high"] - row["mean"]) * 60 == pytest.approx(88.95, abs=0.01)


def test_units_side_by_side_share_their_runs():
    # Runs 600 612 / 610 618 / 590 606 (middles), units 600 and 612: mean 606. Unit means:
    # s = 8.485, u = 6, 1 dof. Run means 606, 614, 598: s = 8, u = 8/sqrt 3 = 4.619, 2 dof.
    # U^2 = 1 + (12.706*6)^2 + (4.3027*4.619)^2 = 1 + 5812.0 + 395.0: 78.79 min.
    session = of_models(runs_of({"a1": [599, 609, 589], "a2": [611, 617, 605]}), a1="A", a2="A")
    row = table(replicate_models, session).iloc[0]
    assert (row["mean_high"] - row["mean"]) * 60 == pytest.approx(78.79, abs=0.01)
    assert row["mean_u_units"] * 60 == pytest.approx(6)
    assert row["mean_u_runs"] * 60 == pytest.approx(8 / math.sqrt(3))
    assert (row["dof"], row["dof_runs"]) == (1, 2)
    # with the window of one result, (2/sqrt 12)^2 = 1/3
    assert (row["mean_u"] * 60) ** 2 == pytest.approx(36 + 64 / 3 + 1 / 3)
    # residuals 0 +-2 -+2 (a1: 600 - 600 - 0, 610 - 600 - 8, 590 - 600 + 8): 16 on 2 dof, MS 8;
    # s_L^2 = 72 - 8/3; within units 200 + 72 on 4 dof: s_r^2 = 68
    assert (row["s_l"] * 60) ** 2 == pytest.approx(72 - 8 / 3)
    assert (row["s_r"] * 60) ** 2 == pytest.approx(68)


def test_drains_of_a_kind_are_treated_alike():
    # 10 12 / 14 16 pp in two runs: unit means 12 and 14, u = 1; run means 11 and 15, u = 2.
    session = of_models(runs_of({"a1": [599, 605], "a2": [619, 613]}), a1="A", a2="A")
    session = replace(session, phases=(replace(session.phases[0], id="p1"),))
    rows = [(1, "a1", 10), (1, "a2", 12), (2, "a1", 14), (2, "a2", 16)]
    frame = table(replicate_models, session, drains([(*row, 0.8, 0.4) for row in rows]))
    row = frame[frame["quantity"] == "drain:p1"].iloc[0]
    assert (row["mean"], row["mean_u_units"], row["mean_u_runs"]) == pytest.approx((13, 1, 2))
    assert row["mean_high"] - row["mean"] == pytest.approx(
        math.sqrt(0.8**2 + 12.706**2 * (1 + 4)), abs=1e-3
    )


def test_equal_drains_of_many_devices_are_not_exact():
    # as in tests/stats/test_scatter.py, through the frame: 600 devices, three runs each, from a
    # full charge, +-1.00 pp for one drain; run scatter .2 pp
    rng = np.random.default_rng(57)
    ids = [f"d{k}" for k in range(600)]
    one = make_session(devices=ids, phases={"p1": 60}, start=None)
    session = join_runs(one, one, one)
    true = 8 + rng.random(600)
    read = 100 - np.floor(100 - true - 0.2 * rng.standard_normal((3, 600)))
    rows = [(r + 1, d, float(read[r, k]), 1.0, 0.5) for r in range(3) for k, d in enumerate(ids)]
    frame = replicates(session, runtimes(session), drains(rows))
    frame = frame[frame["quantity"] == "drain:p1"]
    covered = (frame["mean_low"] <= true) & (true <= frame["mean_high"])
    assert covered.mean() >= 0.95
    equal = frame["flags"] == "no_scatter_seen"
    assert equal.mean() > 0.4
    assert (frame["mean_high"] - frame["mean_low"])[equal].tolist() == pytest.approx(
        [2.0] * int(equal.sum())
    )


def test_models_in_one_run_have_no_repeatability():
    session = runs_of({"a1": [599], "a2": [619]})
    devices = tuple(replace(d, model="A") for d in session.devices)
    row = table(replicate_models, replace(session, devices=devices)).iloc[0]
    # middles 600 and 620: s of the units 14.14, mean 610, u = 10 (and .577 of resolution)
    assert math.isnan(row["s_r"])
    assert math.isnan(row["s_l"])
    # that day may have done something to both of them
    assert row["flags"] == "one_day"
    assert math.isnan(row["mean_u_runs"])
    assert row["mean_u"] * 60 == pytest.approx(math.hypot(10, 2 / math.sqrt(12)))


@pytest.mark.parametrize("case", ["one_unit", "lower_bound"])
def test_models_that_cannot_be_averaged(case):
    offs = {"a1": [599, 605], "a2": [None, None] if case == "one_unit" else [650, 613]}
    session = runs_of(offs, still_on={("a2", 0)} if case == "lower_bound" else ())
    devices = tuple(replace(d, model="A") for d in session.devices)
    row = table(replicate_models, replace(session, devices=devices)).iloc[0]
    assert row["flags"] == case
    assert math.isnan(row["mean_high"])


def test_device_model_alone_is_not_compared_as_units():
    session = runs_of({"a": [599, 605], "b": [620, 626]})
    assert table(replicate_models, session).empty
