"""Stated elapsed time against summed phases, told apart by a power-off in mid-phase."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.results import RESULT_COLUMNS, Settings
from kit.runtime.elapsed import OPEN_END, elapsed_fit
from kit.runtime.runtimes import runtimes
from kit.session import Assumptions
from kit.show.tables import quality
from kit.show.wording import sections
from tests.helpers.builders import make_session
from tests.helpers.fake_results import fake_results

# Drains per phase of a, b, c at rates 8, 12, 10 pp/h times 1.0, 1.5, 0.75, 1.0 (a longer list
# would do no harm), all phases of 60 min.
ACTIVITY = [1.0, 1.5, 0.75, 1.25, 1.0, 1.5]
RATE = {"a": 10.0, "b": 14.0, "c": 11.0}


def drains(died, *, left, phases=6):
    """Return phase_drain rows: all devices complete all phases but ``died``, off in the last."""
    rows = []
    for k in range(phases):
        for device, rate in RATE.items():
            last = device == died and k == phases - 1
            rows.append(
                {
                    **dict.fromkeys(RESULT_COLUMNS["phase_drain"], float("nan")),
                    "run": 1, "phase": f"p{k + 1}", "device": device,
                    "measurand": "true_charge", "flags": "",
                    "status": "died" if last else "measured",
                    "start_pct": left if last else float("nan"),
                    "drain_pp": left if last else rate * ACTIVITY[k],
                }
            )  # fmt: skip
    return pd.DataFrame(rows)


def record(off, *, stated, span_source="planned", gaps=None, gauge=0.0, last=60.0, **more):
    return make_session(
        devices=list(RATE),
        phases={**{f"p{k}": 60.0 for k in range(1, 6)}, "p6": last},
        power_offs={"b": {"last_on_min": off - 1, "first_off_min": off}} if off else {},
        span_source=span_source,
        gaps=gaps,
        stated_elapsed_min=stated,
        assumptions=Assumptions(gauge_error_pp=gauge),
        start=None,
        **more,
    )


def only_row(session, frame):
    fit = elapsed_fit(session, frame, runtimes(session))
    assert tuple(fit.columns) == RESULT_COLUMNS["elapsed_fit"]
    assert len(fit) == 1
    return fit.iloc[0]


def test_forty_minutes_that_were_no_phase_time():
    # b: 14 * 1.5 = 21 pp expected in p6; 7 % left at its start: a third of 60 min = 20 min.
    # Phases sum to 360, the operator states 400: 40 missing. Off at 300 + 40 + 20 = 360 by the
    # watch. If the stated time were phase time, b would have run 60 of 100 min of p6 (.6);
    # by the summed phases 20 of 60 (.333).
    row = only_row(record(360.0, stated=400.0), drains("b", left=7.0))
    assert row["unaccounted_min"] == 40
    assert row["exposure_fit_min"] == pytest.approx(20, abs=0.01)
    assert row["exposure_stated_min"] == pytest.approx(60)
    assert row["exposure_summed_min"] == pytest.approx(20)
    assert row["exposure_fit_min_low"] < 20 < row["exposure_fit_min_high"] < 40
    assert (row["verdict"], row["reason"]) == (
        "summed",
        "40 min of the stated time were not phase time",
    )


def test_forty_minutes_by_which_the_phase_was_longer():
    # The same, but p6 really took 100 min: 7 of 21 pp at 33.3 min, off at 300 + 33.3.
    row = only_row(record(333.0, stated=400.0), drains("b", left=7.0))
    # stated: 33/100 = .33 fits .333; summed: 33 - 40 < 0 does not
    assert row["verdict"] == "stated"


def test_uncertainty_by_hand():
    # Perfectly additive drains: s = 0, floor .05 (dof 17 - 8 = 9). b in p6 predicted from three
    # devices by six phases with one cell missing: 1 + 1/2 + 1/5 + 1/10 = 1.8 times s^2 (balanced
    # two-way layout with one missing cell: (m+n-1)/((m-1)(n-1)) + 1 = 8/10 + 1 = 1.8).
    # u^2 = (.25 + 0)/49 + .0025 * 1.8 = .005102 + .0045 = .009602, u = .09799; the floor is an
    # assumption, so k = 1.95996 for 95 %: bounds 20 exp(-+.19206) = 16.50 and 24.23.
    row = only_row(record(360.0, stated=400.0), drains("b", left=7.0))
    assert row["exposure_fit_min_low"] == pytest.approx(20 * math.exp(-0.19206), rel=1e-4)
    assert row["exposure_fit_min_high"] == pytest.approx(20 * math.exp(0.19206), rel=1e-4)


def test_times_that_agree_are_said_to_agree():
    row = only_row(record(320.0, stated=361.0), drains("b", left=7.0))
    assert row["verdict"] == "agree"
    # tolerance 3 sqrt(6/12 + 1/6) = 2.449
    assert row["reason"] == "stated and summed times agree within 2.4 min"


def test_percentages_that_cannot_tell():
    # 6 min missing, gauge +-3 pp: shares 26/66 = .39 and 20/60 = .33 both fit.
    row = only_row(record(326.0, stated=366.0, gauge=3.0), drains("b", left=7.0))
    assert row["verdict"] == "both"
    assert "cannot tell" in row["reason"]


def test_power_off_that_fits_neither():
    row = only_row(record(359.0, stated=300.0), drains("b", left=2.0))
    # stated 60 min short: share 59/0 impossible; summed: 59 + 60 > 60, .095 expected
    assert row["verdict"] == "neither"


def test_noted_phase_starts_count_real_time():
    # Phases noted by the clock with a logged break of 40 min before p6: off at 340 + 20 = 360.
    # The record itself places b 20 min into p6; the stated 400 min, as phase time, would add 40.
    session = record(360.0, stated=400.0, span_source="clock", gaps={"p6": 40.0})
    row = only_row(session, drains("b", left=7.0))
    assert (row["exposure_summed_min"], row["exposure_stated_min"]) == pytest.approx((20, 60))
    assert row["verdict"] == "summed"


@pytest.mark.parametrize(
    ("session", "frame", "reason"),
    [
        (record(360.0, stated=400.0, last=None), drains("b", left=7.0), "unknown length"),
        (record(None, stated=400.0), drains("b", left=7.0), "not recorded"),
        (record(360.0, stated=400.0), drains("b", left=float("nan")), "no percentage"),
        (
            record(360.0, stated=400.0),
            drains("b", left=7.0).query("device == 'b'"),
            "no neighbour completed",
        ),
        (
            record(360.0, stated=400.0),
            drains("b", left=7.0).query("device != 'c' and phase in ['p1', 'p6']"),
            "too few phases",
        ),
    ],
)
def test_what_cannot_be_said_is_said(session, frame, reason):
    row = only_row(session, frame)
    assert row["verdict"] == "cannot_be_said"
    assert reason in row["reason"]
    assert np.isnan(row["exposure_fit_min"])


def test_shares_by_hand():
    # 40 min missing: by its drain 7/21 = 1/3 of the phase; by the stated time 60 of 100 min, by
    # the summed phases 20 of 60. The bounds of the share are those of the minutes over 60.
    row = only_row(record(360.0, stated=400.0), drains("b", left=7.0))
    assert row["share_fit"] == pytest.approx(1 / 3)
    assert row["share_stated"] == pytest.approx(0.6)
    assert row["share_summed"] == pytest.approx(1 / 3)
    assert row["share_fit_high"] == pytest.approx(row["exposure_fit_min_high"] / 60)


@pytest.mark.parametrize(("coverage", "k"), [(0.8, 1.28155), (0.99, 2.57583)])
def test_the_interval_is_that_of_the_coverage(coverage, k):
    # ln u = .09799 as above
    session = record(360.0, stated=400.0)
    fit = elapsed_fit(
        session, drains("b", left=7.0), runtimes(session), Settings(coverage=coverage)
    )
    assert fit.iloc[0]["share_fit_high"] == pytest.approx(math.exp(k * 0.09799) / 3, rel=1e-4)


def test_scatter_that_was_measured_has_the_t_of_its_degrees_of_freedom():
    # a's drains 10 % up and down by turns: s > .05 with 9 degrees of freedom, so k is above 1.96.
    frame = drains("b", left=7.0)
    own = (frame["device"] == "a") & (frame["status"] == "measured")
    frame.loc[own, "drain_pp"] *= np.where(np.arange(own.sum()) % 2, 1.25, 0.8)
    row = only_row(record(360.0, stated=400.0), frame)
    logs = np.log(frame["drain_pp"].to_numpy().reshape(6, 3))
    logs[5, 1] = np.nan
    # least squares by another road: 17 equations, 8 unknowns
    rows, columns = np.nonzero(~np.isnan(logs))
    design = np.column_stack([np.eye(6)[rows], np.eye(3)[columns][:, 1:]])
    found, residual, *_ = np.linalg.lstsq(design, logs[rows, columns], rcond=None)
    s2 = float(residual[0]) / 9
    at = np.concatenate([np.eye(6)[5], np.eye(3)[1][1:]])
    expected = float(at @ found)
    u_fit2 = s2 * (1.0 + at @ np.linalg.inv(design.T @ design) @ at)
    u2 = 0.25 / 49 + u_fit2
    dof = 9 * (u2 / u_fit2) ** 2
    from scipy.stats import t

    share = 7 / math.exp(expected)
    assert row["share_fit"] == pytest.approx(share)
    high = share * math.exp(t.ppf(0.975, dof) * math.sqrt(u2))
    assert row["share_fit_high"] == pytest.approx(high, rel=0.002)


def open_ended(off, *, phase="p5"):
    """Return five phases of 60 min, not noted when, and one until empty, filled to 545 min."""
    spans = [
        {"phase": f"p{k}", "start_min": 60.0 * (k - 1), "end_min": 60.0 * k,
         "start_source": "clock" if k == 1 else "planned", "end_source": "planned",
         "duration_min": 60.0, "duration_u_min": 0.05, "t_resolution_min": 0.0}
        for k in range(1, 6)
    ]  # fmt: skip
    spans.append(
        {"phase": "p6", "start_min": 300.0, "end_min": 545.0, "start_source": "planned",
         "end_source": "clock", "duration_min": 245.0, "duration_u_min": 0.6,
         "t_resolution_min": 1.0}
    )  # fmt: skip
    return make_session(
        devices=list(RATE),
        phases={**{f"p{k}": 60.0 for k in range(1, 6)}, "p6": None},
        spans=spans,
        power_offs={"b": {"last_on_min": off - 1, "first_off_min": off, "phase": phase}},
        stop_min=545.0,
        stated_elapsed_min=545.0,
        assumptions=Assumptions(gauge_error_pp=0.0),
        start=None,
    )


def logged(phase, left):
    """Return drains with b's last one under the phase in which its power-off was logged."""
    frame = drains(None, left=0.0, phases=5)
    gone = (frame["device"] == "b") & (frame["phase"] == phase)
    frame.loc[gone, ["status", "start_pct", "drain_pp"]] = ["no_reading", left, math.nan]
    return frame


def test_a_last_phase_filled_up_to_the_stop_cannot_disagree():
    # The phases add up to 545 whatever lay between them: not "agree", and no figure. b off at
    # 280 of the record, 40 min into p5, with 9.333 of 14 pp left at its start: fits.
    row = only_row(open_ended(280.0), logged("p5", 14.0 * 40 / 60))
    assert row["verdict"] == "cannot_be_said"
    assert row["reason"] == OPEN_END
    assert math.isnan(row["summed_min"])
    assert math.isnan(row["unaccounted_min"])


def test_a_power_off_that_its_phase_cannot_hold_tells_of_a_break():
    # b logged off in p5 at 315, 75 min after the lengths have p5 begin; by its drain it had come
    # 9.333/14 = 40 of 60 min: p5 began about 35 min later. u² = .25/87.1 + .0025 · 1.85, k 1.96:
    # (m + n − 1)/((m − 1)(n − 1)) + 1 = 7/8 + 1 = 1.875: u = √(.00287 + .00469) = .0869,
    # 40 exp(±.1704) = 33.7 … 47.4, so 75 − 47.4 = 27.6 … 41.3 min later.
    row = only_row(open_ended(315.0), logged("p5", 14.0 * 40 / 60))
    assert (row["phase"], row["verdict"]) == ("p5", "neither")
    assert row["exposure_summed_min"] == pytest.approx(75.0)
    assert row["share_summed"] == pytest.approx(1.25)
    assert row["share_fit"] == pytest.approx(2 / 3)
    assert (
        "the phase began 28 to 41 min later than the lengths before it add up to" in row["reason"]
    )


def test_a_power_off_in_the_filled_phase_says_nothing():
    frame = drains("b", left=7.0)
    row = only_row(open_ended(400.0, phase="p6"), frame)
    assert (row["verdict"], row["reason"]) == ("cannot_be_said", OPEN_END)
    assert math.isnan(row["share_summed"])


def test_table_shows_both_and_hides_what_agrees():
    def shown(frame):
        return quality.elapsed_fit(
            replace(fake_results(record(326.0, stated=366.0)), extra={"elapsed_fit": frame})
        )

    session = record(326.0, stated=366.0, gauge=3.0)
    table = shown(elapsed_fit(session, drains("b", left=7.0), runtimes(session)))
    (row,) = table.rows
    # 6 min missing: 26 of 66 = 39 %, 20 of 60 = 33 %, by its drain 33 %
    assert [c.replace("\N{NO-BREAK SPACE}", " ") for c in row[5:]] == [
        "39 (26 min)", "33 (20 min)", "either",
    ]  # fmt: skip
    assert row[4].startswith("33 (")
    assert table.notes[0] == (
        "b: the power-off fits either: the percentages cannot tell them apart."
    )
    agreeing = record(320.0, stated=361.0)
    assert shown(elapsed_fit(agreeing, drains("b", left=7.0), runtimes(agreeing))) is None


def test_an_open_end_is_one_sentence_and_no_table():
    session = open_ended(280.0)
    frame = elapsed_fit(session, logged("p5", 14.0 * 40 / 60), runtimes(session))
    results = replace(fake_results(session), extra={"elapsed_fit": frame})
    assert quality.elapsed_fit(results) is None
    assert OPEN_END in sections.open_end_sentence(results)
    told = elapsed_fit(open_ended(315.0), logged("p5", 14.0 * 40 / 60), runtimes(open_ended(315.0)))
    results = replace(results, extra={"elapsed_fit": told})
    table = quality.elapsed_fit(results)
    assert table is not None
    assert table.rows[0][-1] == "not the phase lengths"
    assert sections.open_end_sentence(results) == ""


def test_nothing_stated_nothing_died():
    assert elapsed_fit(record(360.0, stated=None), drains("b", left=7.0), pd.DataFrame()).empty
    session = record(None, stated=400.0)
    assert elapsed_fit(session, drains(None, left=0.0), runtimes(session)).empty


def test_simulated_records_are_told_apart():
    # 3 devices, 6 phases, device-by-activity scatter 4 %, whole-number readings, 40 min missing
    # from a break (odd days) or inside p6 (even days). The verdict may say "both", but must name
    # the wrong one in at most 5 % of days.
    rng = np.random.default_rng(61)
    right = wrong = 0
    for day in range(120):
        longer = day % 2 == 0
        scale = np.exp(0.04 * rng.standard_normal((6, 3)))
        rate = np.array(list(RATE.values())) * np.array(ACTIVITY)[:, None] * scale
        left = rng.uniform(5, 12)
        share = left / rate[5, 1]
        off = 300 + (share * 100 if longer else 40 + share * 60)
        frame = drains("b", left=float(np.floor(left + rng.random())))
        read = np.round(rate + rng.triangular(-1, 0, 1, size=rate.shape))
        frame.loc[frame["status"] == "measured", "drain_pp"] = np.delete(read.ravel(), 16)
        verdict = only_row(record(float(np.ceil(off)), stated=400.0), frame)["verdict"]
        truth = "stated" if longer else "summed"
        right += verdict == truth
        wrong += verdict in ("stated", "summed") and verdict != truth
    assert right > 60
    assert wrong <= 6
