"""Replicate runs end to end: from windows and drains to means, pairs, effects and curves."""

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

NO_DRAIN = pd.DataFrame({c: [] for c in RESULT_COLUMNS["phase_drain"]})


def seen(minute):
    """Seen on at ``minute``, off at the next: with a stopwatch the window [minute, minute + 2)."""
    return {"last_on_min": float(minute), "first_off_min": float(minute + 1)}


def runs_of(offs, *, still_on=(), devices=None):
    """Return a session; ``offs`` = device -> minute last seen on per run (None: not in the run)."""
    count = len(next(iter(offs.values())))
    ids = devices or list(offs)
    sessions = [
        make_session(
            devices=ids,
            phases={"day": 1000},
            power_offs={
                d: seen(m[r])
                for d, m in offs.items()
                if m[r] is not None and (d, r) not in still_on
            },
            still_on={d: float(m[r]) for d, m in offs.items() if (d, r) in still_on},
            start=None,
        )
        for r in range(count)
    ]
    return join_runs(*sessions) if count > 1 else sessions[0]


def drains(rows):
    """Return a phase_drain frame; ``rows`` = (run, device, drain, half-width, u)."""
    return pd.DataFrame(
        [
            {
                **dict.fromkeys(RESULT_COLUMNS["phase_drain"], float("nan")),
                "run": run, "phase": "p1", "device": device, "measurand": "displayed",
                "status": "measured", "drain_pp": d, "drain_pp_low": d - h,
                "drain_pp_high": d + h, "drain_pp_u": u, "flags": "",
            }
            for run, device, d, h, u in rows
        ]
    )  # fmt: skip


def table(function, session, phase_drain=NO_DRAIN):
    return function(session, runtimes(session), phase_drain)


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


def of_models(session, **models):
    """Return the session with the models of its devices named."""
    devices = tuple(replace(d, model=models.get(d.id, "")) for d in session.devices)
    return replace(session, devices=devices)


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


def test_all_pairs_by_the_studentized_range():
    # Three devices, three runs; run effects +10 and -10 min shared by all: taken out.
    # a 600 610 590, b 603 613 593 +-, c 640 650 630 with residuals of 1 min.
    session = runs_of({"a": [600, 609, 589], "b": [603, 613, 594], "c": [640, 651, 630]})
    frame = table(replicate_pairs, session).set_index(["device_a", "device_b"])
    assert frame["method"].unique().tolist() == ["tukey"]
    assert frame["verdict"].to_dict() == {
        ("a", "b"): "b", ("a", "c"): "b", ("b", "c"): "b",
    }  # fmt: skip
    row = frame.loc[("a", "b")]
    # means 599.33 and 603.33: -4 min. Residuals of the additive fit by hand: run means
    # 614.333, 624.333, 604.333 (grand 614.333): effects 0, 10, -10. a: 600-599.333 = .667, .
    # 609-609.333 = -.333, 589-589.333 = -.333; b: -.333, -.333, .667; c (640.333): -.333, .667,
    # -.333. SS = 3 * (.4444 + 2 * .1111) = 2.0 on 4 dof: s^2 = .5, u^2 = .5 * 2/3 = 1/3.
    assert row["difference"] * 60 == pytest.approx(-4)
    assert (row["difference_u"] * 60) ** 2 == pytest.approx(1 / 3)
    assert row["dof"] == 4
    # q(.05; 3, 4) = 5.040 (tables, from memory): 5.040/sqrt 2 * .57735 = 2.0576; resolution of
    # two windows of +-1 min: 2 - sqrt(.2) = 1.5528; together 2.578.
    assert (row["difference_high"] - row["difference"]) * 60 == pytest.approx(2.578, abs=2e-3)
    # windows [600,602) v [603,605) in run 1, [609,611) v [613,615), [589,591) v [594,596)
    assert (row["runs_a_longer"], row["runs_b_longer"]) == (0, 3)
    # separated: none more than the three
    assert (row["runs_more"], row["runs_needed"]) == (0, 3)


def test_how_many_more_runs_by_the_rule_of_the_verdict():
    # Three devices, three runs, residuals as drawn; a and b 2 min apart, X = 1.5528 min.
    session = runs_of({"a": [600, 609, 589], "b": [601, 612, 592], "c": [640, 651, 630]})
    frame = table(replicate_pairs, session).set_index(["device_a", "device_b"])
    row = frame.loc[("a", "b")]
    # a 599.333, b 601.667, c 640.333; runs 613.667, 624, 603.667, grand 613.778. Residuals a:
    # .778, -.556, -.222; b -.556, .111, .444; c -.222, .444, -.222: SS = 1.7778 on 4 dof: s^2 =
    # .4444. n runs: D normal about -2.3333 with sd s sqrt(2/n), s^2 from 2 (n - 1) dof.
    assert row["verdict"] == "too_close"
    assert (row["difference"] * 60, row["dof"]) == pytest.approx((-7 / 3, 4))

    def separated(n):
        rng = np.random.default_rng(n)
        u = math.sqrt(4 / 9 * 2 / n)
        d = 7 / 3 + u * rng.standard_normal(40_000)
        dof = 2 * (n - 1)
        u_found = u * np.sqrt(rng.chisquare(dof, 40_000) / dof)
        from scipy.stats import studentized_range

        q = studentized_range.ppf(0.95, 3, dof) / math.sqrt(2)
        return (np.abs(d) > np.hypot(2 - math.sqrt(0.2), q * u_found)).mean()

    total = 3 + int(row["runs_more"])
    assert row["runs_needed"] == total
    assert separated(total) > 0.79
    assert separated(total - 1) < 0.81
    # separated ones need none; a difference within its resolution no number of runs would tell
    assert frame.loc[("a", "c"), "runs_more"] == 0
    near = runs_of({"a": [600, 609, 589], "b": [601, 611, 589], "c": [640, 651, 630]})
    row = table(replicate_pairs, near).iloc[0]
    assert row["difference"] * 60 == pytest.approx(-1)
    assert math.isnan(row["runs_more"])


def test_unpaired_comparison_would_miss_what_runs_share():
    # The same data: sd between runs 10 min hides a 4-min difference from an unpaired t.
    from kit.stats.scatter import welch

    a, b = np.array([600, 609, 589]), np.array([603, 613, 594])
    d = welch(a.mean(), a.std(ddof=1), 3, b.mean(), b.std(ddof=1), 3)
    assert d.half_width(0.95) > 20


def test_declared_pair_uses_its_own_differences():
    session = runs_of({"a": [600, 609, 589], "b": [603, 613, 594], "c": [640, 651, 630]})
    session = replace(session, declared_comparison=("b", "a"))
    frame = table(replicate_pairs, session).set_index(["device_a", "device_b"])
    row = frame.loc[("a", "b")]
    # differences -3, -4, -5: mean -4, s = 1, u = .57735, t(2) = 4.3027: 2.484; with 1.5528: 2.930
    assert (row["method"], row["flags"], row["dof"]) == ("paired", "declared", 2)
    assert (row["difference_high"] - row["difference"]) * 60 == pytest.approx(2.930, abs=1e-3)
    assert row["verdict"] == "b"
    assert frame.loc[("a", "c"), "method"] == "tukey"


def test_devices_that_never_ran_together_are_compared_by_their_own_runs():
    session = runs_of({"a": [600, 606, None, None], "b": [None, None, 650, 656]})
    row = table(replicate_pairs, session).iloc[0]
    assert (row["method"], row["runs"]) == ("welch", 0)
    # means 604 and 654 (middles): -50; s = 4.243 each: u^2 = 9 + 9; dof 2
    assert row["difference"] * 60 == pytest.approx(-50)
    assert (row["difference_u"] * 60, row["dof"]) == pytest.approx((math.sqrt(18), 2))
    assert row["verdict"] == "b"
    assert row["runs_more"] == 0
    # 12 min apart, 4.3027 sqrt 18 = 18.3 needed: three of each have t(4) = 2.776 and u = sqrt 12
    # (U = 9.6 min), which falls short of 80 %; four t(6) = 2.447 and u = 3 (U = 7.3)
    session = runs_of({"a": [600, 606, None, None], "b": [None, None, 612, 618]})
    row = table(replicate_pairs, session).iloc[0]
    assert (row["verdict"], row["runs_more"]) == ("too_close", 2)


def test_pairs_that_cannot_be_compared():
    survivor = runs_of({"a": [600, 650], "b": [590, 596]}, still_on={("a", 1)})
    row = table(replicate_pairs, survivor).iloc[0]
    # still a fact of these runs: a [600, 602) v b [590, 592), and a on at 650 v b [596, 598)
    assert (row["verdict"], row["runs_a_longer"]) == ("unknown", 2)
    assert row["flags"] == "lower_bound;few_runs_to_count"
    single = runs_of({"a": [600, None], "b": [None, 596]})
    assert table(replicate_pairs, single)["flags"].tolist() == ["too_few_runs"]
    absent = runs_of({"a": [600, 601], "b": [None, None]})
    assert table(replicate_pairs, absent).empty


def test_run_effects():
    session = runs_of({"a": [600, 609, 589], "b": [603, 613, 594], "c": [640, 651, 630]})
    frame = table(run_effects, session)
    assert tuple(frame.columns) == RESULT_COLUMNS["run_effects"]
    assert (frame["effect"] * 60).tolist() == pytest.approx([0, 10, -10])
    # u^2 = s^2/m (1 - 1/n) = .5/3 * 2/3 = 1/9; t(4) = 2.7764: +-.9255
    assert (frame["effect_u"] * 60).tolist() == pytest.approx([1 / 3] * 3)
    assert (frame["effect_high"] - frame["effect"]).tolist() == pytest.approx(
        [0.92548 / 60] * 3, rel=1e-5
    )


def test_run_effects_need_two_devices():
    assert table(run_effects, runs_of({"a": [600, 609, 589]})).empty


def test_survival_of_four_runs_one_still_on():
    # Windows [540, 542), [560, 562), [580, 582); still on at 570 in run 3.
    session = runs_of({"a": [540, 560, 570, 580]}, still_on={("a", 2)})
    frame = survival_curves(session, runtimes(session))
    assert tuple(frame.columns) == RESULT_COLUMNS["survival"]
    # at risk 4, 3, 1: 3/4, 1/2, 0. Greenwood: .75 sqrt(1/12) = .2165; .5 sqrt(1/12 + 1/6) = .25
    assert (frame["time_h_low"] * 60).tolist() == pytest.approx([540, 560, 580])
    assert (frame["time_h_high"] * 60).tolist() == pytest.approx([542, 562, 582])
    assert frame["at_risk"].tolist() == [4, 3, 1]
    assert frame["share_on"].tolist() == pytest.approx([0.75, 0.5, 0])
    assert frame["share_on_u"].tolist() == pytest.approx([0.21651, 0.25, 0], abs=1e-5)


def test_survival_with_overlapping_windows():
    # [540, 542) and [541, 543): both can lie in [541, 542).
    session = runs_of({"a": [540, 541]})
    frame = survival_curves(session, runtimes(session))
    assert (frame["time_h_low"] * 60).tolist() == pytest.approx([541])
    assert frame["share_on"].tolist() == [0]
    # windows that pairwise overlap but have no common part: masses shared, no Greenwood
    chained = survival_curves(*(lambda s: (s, runtimes(s)))(runs_of({"a": [540, 541, 542]})))
    assert len(chained) >= 2
    assert chained["share_on_u"].isna().all()
    assert chained["share_on"].iloc[-1] == pytest.approx(0, abs=1e-6)


def test_restricted_means_share_a_horizon():
    # a: 541, 561, 570+, 581; b: 500, 520, 540 and 560+ -> horizon: b's last time 560.
    session = runs_of(
        {"a": [540, 560, 570, 580], "b": [499, 519, 539, 560]}, still_on={("a", 2), ("b", 3)}
    )
    frame = restricted_means(session, runtimes(session)).set_index("device")
    assert (frame["horizon_h"] * 60).tolist() == pytest.approx([560, 560])
    # a up to 560: 541 + .75 * 19 = 555.25; b: 500 + .75*20 + .5*20 + .25*20 = 530
    assert frame.loc["a", "mean_h"] * 60 == pytest.approx(555.25)
    assert frame.loc["b", "mean_h"] * 60 == pytest.approx(530)
    assert frame["observed"].tolist() == [3, 3]
    assert frame.loc["b", "median_h"] * 60 == pytest.approx(520)


def test_restricted_means_of_complete_runs_are_plain_means():
    session = runs_of({"a": [599, 605, 611], "b": [619, 625, 631]})
    frame = restricted_means(session, runtimes(session))
    assert (frame["mean_h"] * 60).tolist() == pytest.approx([606, 626])


def test_device_model_alone_is_not_compared_as_units():
    session = runs_of({"a": [599, 605], "b": [620, 626]})
    assert table(replicate_models, session).empty
