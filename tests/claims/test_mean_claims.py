"""What is said of mean runtimes, and of kinds, where a run was not seen to its end."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.claims import claims
from kit.claims.kinds_compared import kind_pairs
from kit.claims.load_bearing import bearing
from kit.claims.words import told_apart
from kit.results import Settings
from kit.session import Device
from kit.units import NO_BREAK
from tests.helpers.builders import make_session
from tests.helpers.repeated_runs import runs_of


def on_average(session):
    frame = claims(session, Settings())
    return frame[frame["code"] == "longer_on_average"]


def one(session):
    frame = on_average(session)
    assert len(frame) == 1
    row = frame.iloc[0].to_dict()
    return {**row, **{name: row[name].replace(NO_BREAK, " ") for name in ("wording", "reason")}}


def open_runs(a, b):
    """Return a session in which a was still on at the stop of every run."""
    return runs_of({"a": a, "b": b}, still_on={("a", r) for r in range(len(a))})


def test_six_runs_all_won():
    # the least leads 20, 13, 28, 8, 18, 38: at least the least of them, and 2 of 2^6 by chance
    claim = one(open_runs([622, 625, 625, 615, 632, 630], [600, 610, 595, 605, 612, 590]))
    assert (claim["verdict"], claim["device_a"]) == ("supported", "a")
    assert claim["lead_low"] == pytest.approx(8)
    assert np.isnan(claim["lead_high"])
    assert np.isnan(claim["needed"])
    assert claim["method"].startswith("exact signed-rank test")
    assert claim["reason"] == "six of six runs won, by chance once in 32 times"
    assert claim["wording"] == (
        "On average over six runs, a ran longer than b, by at least 8 min; how much longer is not "
        "known, for not every run was seen to its end."
    )


def test_the_one_still_on_is_named_first_whichever_was_entered_first():
    session = runs_of(
        {"b": [600, 610, 595, 605, 612, 590], "a": [622, 625, 625, 615, 632, 630]},
        still_on={("a", r) for r in range(6)},
    )
    claim = one(session)
    assert (claim["device_a"], claim["statement"]) == ("a", "a ran longer than b on average")
    assert claim["lead_low"] == pytest.approx(8)
    assert np.isnan(claim["lead_high"])


def test_three_runs_far_apart():
    # 120 less 35.13 (t(2) · 8.165): 84.87 min, 1 h 24 min rounded down
    claim = one(open_runs([722, 727, 717], [600, 610, 590]))
    assert claim["verdict"] == "supported"
    assert (claim["lead"], claim["needed"]) == pytest.approx((120, 35.13), abs=0.01)
    assert "by at least 1 h 24 min; how much longer is not known" in claim["wording"]
    assert claim["reason"] == "at least 2 h on average, 36 min needed"


def test_three_runs_all_won_by_too_little_say_what_it_would_take():
    claim = one(open_runs([632, 637, 627], [600, 610, 590]))
    assert claim["verdict"] == "cannot_be_said"
    assert claim["wording"] == (
        "Which of a and b runs longer on average cannot be said: a outlasted b in all three runs, "
        "but a lead of at least 30 min is no more than so few runs may scatter (36 min). Counting "
        "runs alone could decide it from six runs of each on."
    )
    assert claim["reason"] == (
        "at least 30 min on average, 36 min needed; counting runs alone takes six runs"
    )


def test_each_still_on_in_another_run():
    session = runs_of(
        {"a": [722, 600, 717], "b": [600, 640, 590]}, still_on={("a", 0), ("b", 1)}
    )  # fmt: skip
    claim = one(session)
    assert claim["verdict"] == "cannot_be_said"
    assert "a outlasted b in two of three runs, but each was still on" in claim["wording"]


def test_one_that_was_taken_away_early():
    claim = one(
        runs_of({"a": [300, 610, 590], "b": [600, 510, 690]}, still_on={("a", 0)})
    )  # fmt: skip
    # a won run 2, b run 3; b ran 300 longer than a was watched in run 1
    assert (claim["verdict"], claim["device_a"]) == ("cannot_be_said", "b")
    assert "b outlasted a in one of three runs, but a was still on" in claim["wording"]
    assert np.isnan(claim["needed"])


def test_enough_runs_but_no_winner():
    session = runs_of(
        {"a": [610, 590, 610, 590, 610, 590], "b": [600] * 6}, still_on={("a", 0)}
    )  # fmt: skip
    claim = one(session)
    assert claim["verdict"] == "cannot_be_said"
    assert claim["wording"].endswith(
        "a outlasted b in three of six runs, but such runs come about by chance as often as not."
    )


def test_runs_of_their_own_are_not_called_no_runs():
    session = runs_of({"a": [600, 606, None, None], "b": [None, None, 650, 656]})
    claim = one(session)
    assert claim["wording"].startswith("On average over runs of their own, b ran longer than a")
    counted = runs_of(
        {"a": [700, 690, 680, 670, *[None] * 4], "b": [*[None] * 4, 600, 606, 590, 610]},
        still_on={("a", 0)},
    )
    claim = one(counted)
    assert claim["reason"] == "by chance once in 35 times"
    assert "by at least 58 min" in claim["wording"]


def test_the_method_names_how_many_pairs_it_allows_for():
    b, c = [600, 610, 590], [400, 411, 389]
    session = runs_of({"a": [722] * 3, "b": b, "c": c}, still_on={("a", r) for r in range(3)})
    methods = on_average(session).set_index(["device_a", "device_b"])["method"]
    assert methods["a", "b"].endswith("3 pairs together (Bonferroni)")
    assert "Tukey" in methods["b", "c"]
    declared = on_average(replace(session, declared_comparison=("a", "b")))
    methods = declared.set_index(["device_a", "device_b"])["method"]
    assert methods["a", "b"].endswith("one declared pair")
    assert methods["a", "c"].endswith("2 pairs together (Bonferroni)")


# --- kinds of device ---------------------------------------------------------------------------


def units(a, b, *, still_on):
    """Return a session of the models A and B with these units, off or still on at these minutes."""
    devices, offs, on = [], {}, {}
    for model, ends in (("A", a), ("B", b)):
        for k, m in enumerate(ends):
            device = f"{model}{k}"
            devices.append(
                Device(id=device, label=device, model=model, health_pct=100.0, health_u_pct=0.0)
            )
            if device in still_on:
                on[device] = float(m)
            else:
                offs[device] = {"last_on_min": float(m - 1), "first_off_min": float(m)}
    return make_session(
        devices=devices, phases={"day": 1000}, start=None, power_offs=offs, still_on=on
    )  # fmt: skip


def test_units_that_were_all_stopped_show_no_scatter():
    # A: three on at 620; B: 600, 602, 598 min, alike because they were the ones that ended before
    # the stop. For each the stated 3 %, all on one day: 1.96 · √(18.6² + 18²) = 50.7 > 20.
    session = units([620] * 3, [600, 602, 598], still_on={"A0", "A1", "A2"})
    frame = claims(session, Settings())
    claim = frame[frame["code"] == "lasts_longer"].iloc[0]
    assert claim["verdict"] == "cannot_be_said"
    assert claim["needed"] == pytest.approx(50.7, abs=0.1)
    assert "three runs of three units, not all seen to their end" in claim["reason"]
    assert "3 % scatter between runs and units" in claim["reason"]


def test_kinds_truly_equal_whose_units_were_stopped():
    """Three units each, stopped soon after the last unit of one kind is off."""
    rng = np.random.default_rng(20260801)
    session = units([620] * 3, [600] * 3, still_on={"A0", "A1", "A2"})
    wrong = open_sessions = 0
    for _ in range(1500):
        true = 600 * (1 + 0.03 * rng.standard_normal(6))
        stop = min(true[:3].max(), true[3:].max()) + 2.0
        low = np.minimum(true, stop)
        frame = pd.DataFrame(
            {
                "run": 1, "device": [d.id for d in session.devices], "runtime_h": low / 60.0,
                "runtime_h_u": 1.0 / 60.0, "right_censored": true > stop,
                "runtime_h_low": low / 60.0, "runtime_h_high": low / 60.0, "last_soc_pct": 5.0,
            }
        )  # fmt: skip
        (pair,) = kind_pairs(session, frame, Settings())
        open_sessions += bool((true > stop).any())
        wrong += pair.supported
    assert open_sessions > 1300
    # 5 %, and 3 standard errors of 0.56 %
    assert wrong / 1500 <= 0.067


# -- who ran longest on average --------------------------------------------------------------------


def means_of(session):
    frame = claims(session, Settings())
    found = frame[frame["code"].isin(["longest_on_average", "longer_on_average"])]
    return found.to_dict("records")


THREE = {"a": [600, 610, 590], "b": [641, 649, 630], "c": [681, 689, 670]}
"""Run by run c is about 40 min longer than b and b than a; scatter of some 0.5 min.

Differences within runs: b − a 41, 39, 40; c − b 40, 40, 40.
"""


def test_who_ran_longest_on_average_opens_and_neighbours_follow():
    longest, *pairs = means_of(runs_of(THREE))
    assert (longest["code"], longest["device_a"]) == ("longest_on_average", "c")
    assert (longest["verdict"], longest["priority"]) == ("supported", 1)
    # the closest is b, 40 min behind
    assert longest["lead"] == pytest.approx(40)
    assert longest["statement"] == "c ran longest on average"
    wording = longest["wording"].replace(NO_BREAK, " ")
    least = int(longest["lead_low"])
    assert 30 < least < 40
    assert wording == (
        f"On average over three runs, c ran longest of the three devices, at least {least} min "
        "longer than any other."
    )
    assert [(p["device_a"], p["device_b"], p["priority"]) for p in pairs] == [
        ("c", "b", 1), ("b", "a", 1), ("c", "a", 2),
    ]  # fmt: skip


def test_a_leader_too_close_to_one_is_not_called_the_longest():
    # c − b: 8, −6, 1
    session = runs_of({**THREE, "c": [649, 643, 631]})
    longest = means_of(session)[0]
    assert (longest["device_a"], longest["verdict"]) == ("c", "tied")
    assert longest["wording"] == (
        "On average over three runs, c and b are too close to say which ran longest of the three "
        "devices."
    )


def test_a_leader_that_was_not_seen_off_leaves_it_open():
    session = runs_of(THREE, still_on={("c", 0)})
    longest = means_of(session)[0]
    pair = next(p for p in means_of(session)[1:] if {p["device_a"], p["device_b"]} == {"b", "c"})
    assert longest["verdict"] == pair["verdict"]
    assert pair["reason"] in longest["reason"]


def test_of_two_devices_the_pair_says_it_all():
    assert [c["code"] for c in means_of(runs_of({d: THREE[d] for d in "ab"}))] == [
        "longer_on_average"
    ]


def test_the_longest_of_a_group_and_the_declared_pair_open_the_report():
    session = runs_of({**THREE, "d": [720, 731, 709]})
    devices = tuple(replace(d, groups=("small",) if d.id in "ab" else ()) for d in session.devices)
    session = replace(session, devices=devices, declared_comparison=("a", "c"))
    first = [c for c in means_of(session) if c["priority"] == 1]
    assert [c["statement"] for c in first] == [
        "d ran longest on average", "b ran longest on average among “small”",
        "c ran longer than a on average", "d ran longer than c on average",
        "c ran longer than b on average", "b ran longer than a on average",
    ]  # fmt: skip
    assert first[1]["group"] == "small"
    assert first[1]["wording"].startswith("On average over three runs, b ran longest among “small”")


def test_load_bearing_asks_who_ran_longest_on_average():
    # c − b: 7, 8, 6 min; t of three runs (Tukey, 4 degrees of freedom) leaves little of it: with
    # run 1 of c noted ten minutes less it is −3, 8, 6
    session = runs_of({"a": [600, 610, 590], "b": [641, 649, 630], "c": [648, 657, 636]})
    assert means_of(session)[0]["verdict"] == "supported"
    frame = bearing(session, Settings()).readings
    asked = frame[frame["statement"] == "c ran longest on average"]
    assert len(asked) > 0
    assert set(asked["verdict_if_misread"]) <= {"tied", "cannot_be_said", "not_supported"}


def test_a_lead_that_is_more_than_needed_reads_as_more():
    told = {
        (20.9, 20.3): ("20.9 min", "20.3 min"),
        (18.31, 18.27): ("18.31 min", "18.27 min"),
        (60.2, 60.1): ("1 h 00.2 min", "1 h 00.1 min"),
        (100.0, 99.7): ("1 h 40.0 min", "1 h 39.7 min"),
        (12.6, 38.2): ("13 min", "39 min"),
    }
    for (lead, needed), texts in told.items():
        assert tuple(t.replace(NO_BREAK, " ") for t in told_apart(lead, needed)) == texts
