"""Whom a claim is about: devices left out, not read, still on; the pair declared beforehand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.claims import evidence
from kit.claims.evidence import AHEAD
from kit.drain.phases import prepare
from kit.drain.standing import standing
from kit.results import Settings
from kit.session import Device
from tests.helpers.builders import join_runs, seen
from tests.helpers.claimed import day, one, table


def said(claim):
    return claim["wording"].replace("\u00a0", " ")


# --- devices that were on but may not be compared ---------------------------------------------


def with_saver():
    """In p2 A falls 12, B 20 pp; C, at 19 % where its saver starts at 20 %, falls 6."""
    devices = [
        Device(id="A", label="A"),
        Device(id="B", label="B"),
        Device(id="C", label="C", conditions={"power_saver_threshold_pct": 20}),
    ]
    return day({"A": [97, 80, 68], "B": [97, 75, 55], "C": [97, 25, 19]}, devices=devices)


def test_a_device_left_out_is_named_and_the_claim_is_not_on_all():
    claim = one(with_saver(), code="drained_least", measurand="displayed", phase_from="p2")
    assert (claim["device_a"], claim["verdict"]) == ("A", "supported")
    assert claim["statement"].replace("\u00a0", " ") == (
        "Among those that can be compared (A and B), A drained least in phase 2 (“p2”)"
    )
    assert said(claim) == (
        "In phase 2 (“p2”), the display of A fell less than that of B: about 12.0 percentage "
        "points, against 20.0 percentage points for B. Not compared: C (may have been saving "
        "power)."
    )


def test_everybody_compared_is_said_of_everybody():
    claim = one(with_saver(), code="drained_least", measurand="displayed", phase_from="p1")
    assert claim["statement"].startswith("A drained least in phase")
    assert "any other: " in claim["wording"]
    assert "Not compared" not in claim["wording"]


def test_a_device_that_powered_off_in_the_phase_is_left_out_by_name():
    # D falls from 4 to off: fewer points than any, but it was not on for all of it
    session = day(
        {"A": [97, 80, 70], "B": [97, 75, 55], "C": [97, 70, 49], "D": [97, 4]},
        power_offs={"D": {**seen(100, 103), "phase": "p2"}},
    )
    claim = one(session, code="drained_least", measurand="displayed", phase_from="p2")
    assert "any other of those that can be compared (A, B and C)" in claim["wording"]
    assert claim["wording"].endswith("Not compared: D (powered off).")
    assert claim["statement"].startswith("Among those that can be compared (A, B and C), A ")


def test_a_device_that_was_off_before_or_not_read_at_all():
    # D was off before p2, E was never in this run: p2 is about A, B and C; F was not read after it
    session = day(
        {"A": [97, 80, 70], "B": [97, 75, 55], "C": [97, 70, 49], "D": [97], "F": [97, 60]},
        devices=["A", "B", "C", "D", "E", "F"],
        power_offs={"D": {**seen(40, 43), "phase": "p1"}},
    )
    claim = one(session, code="drained_least", measurand="displayed", phase_from="p2")
    assert said(claim).endswith("Not compared: F (no drain to compare).")


# --- devices that were not read ------------------------------------------------------------------


def test_no_lead_over_a_device_that_may_stand_higher():
    # After p2 A shows 70, B 60; C was not read: 75 after p1, so anything up to 75.
    session = day({"A": [97, 80, 70, 60], "B": [97, 70, 60, 50], "C": [97, 75, None, 40]})
    led = table(session, code="led")
    spans = {(r.phase_from, r.phase_to): r.verdict for r in led.itertuples()}
    assert spans == {
        ("p1", "p3"): "cannot_be_said",
        ("p1", "p1"): "supported",
        ("p3", "p3"): "supported",
    }
    asked = led[led["verdict"] == "cannot_be_said"].iloc[0]
    assert asked["reason"] == "C was not read after phase 2"
    assert said(asked) == (
        "Whether A led after every phase from 1 to 3 cannot be said: C was not read after phase "
        "2, and may have stood higher."
    )
    assert np.isnan(asked["lead"])
    assert np.isnan(asked["lead_low"])


def test_a_device_not_read_stands_no_higher_than_its_last_reading():
    # C: 60 after p1. After p2 A shows 70, 10 more: it led although C was not read.
    session = day({"A": [97, 80, 70], "B": [97, 65, 55], "C": [97, 60, None]})
    claim = one(session, code="led", verdict="supported")
    assert (claim["phase_from"], claim["phase_to"]) == ("p1", "p2")
    found = evidence(prepare(session), 0, Settings())
    ahead = found.facts[AHEAD["displayed"]][1]
    assert ahead[0].tolist() == [False, True, True]
    # B, 55, may be above or below C; C above nobody
    assert not ahead[1, 2]
    assert not ahead[2].any()


def test_unless_it_was_charged_since():
    session = day(
        {"A": [97, 80, 70], "B": [97, 65, 55], "C": [97, 60, None]},
        charges=[{"device": "C", "start_min": 70.0, "end_min": 90.0}],
    )
    led = table(session, code="led").set_index(["phase_from", "phase_to"])
    # after the charge C stands beside nobody: the lead is told of the two others
    assert led["verdict"].to_dict() == {("p1", "p2"): "supported"}
    assert led["statement"].tolist() == [
        "Of those not charged (A and B), A led from phase 1 to phase 2"
    ]


@pytest.mark.parametrize("highest", [75, 66, 60])
def test_a_lead_is_supported_where_the_place_is_one_alone(highest):
    # A 70 after p2; C, not read, had `highest` an hour before (its bound: more than 2.0 pp lower)
    session = day({"A": [97, 80, 70], "B": [97, 65, 55], "C": [97, highest, None]})
    places = standing(session, Settings()).set_index(["phase", "device"])
    alone = places.loc[("p2", "A"), "rank_worst"] == 1
    spans = table(session, code="led", verdict="supported")["phase_to"].tolist()
    assert alone == ("p2" in spans)
    assert alone == (highest < 68)


def test_survivors_not_read_lead_the_dead_and_nobody_leads_them():
    session = day(
        {"A": [97, 60], "B": [97, 50], "C": [97, 31]},
        phases={"p1": 60, "p2": 60},
        power_offs={"C": {**seen(100, 103), "phase": "p2"}},
        still_on={"A": 120.0, "B": 120.0},
    )
    ahead = evidence(prepare(session), 0, Settings()).facts[AHEAD["displayed"]][1]
    assert ahead.tolist() == [[False, False, True], [False, False, True], [False] * 3]
    # nobody was read after p2, so nobody is asked about
    assert table(session, code="led")["phase_to"].tolist() == ["p1"]


# --- the pair declared beforehand ------------------------------------------------------------


READINGS = {"A": [97, 91, 81, 70], "B": [97, 91, 79, 68], "C": [97, 90, 77, 60]}


def test_declared_pair_is_asked_in_every_phase_by_its_own_rule():
    # p2: A 10, B 12, two pp apart. The table asks for 2.0, the pair, over 3 × 3 comparisons, for
    # 1.04 (2 − (12 · 0.05/9)^¼) = 1.55
    session = day(READINGS, declared_comparison=("A", "B"))
    less = table(session, code="drained_less", measurand="displayed", device_a="A", device_b="B")
    assert less.set_index("phase_from")["verdict"].to_dict() == {
        "p1": "tied",
        "p2": "supported",
        "p3": "tied",
    }
    assert (less["priority"] == 2).all()
    claim = less.set_index("phase_from").loc["p2"]
    needed = 1.04 * (2 - (12 * 0.05 / 9) ** 0.25)
    assert claim["needed"] == pytest.approx(needed, abs=0.01)
    assert (claim["lead_low"], claim["lead_high"]) == pytest.approx((2 - needed, 2 + needed), 0.01)
    assert "rule of the pair declared beforehand" in claim["method"]
    assert "nine comparisons (Bonferroni)" in claim["method"]
    plain = replace(session, declared_comparison=None)
    assert table(plain, code="drained_less", device_b="B").empty


def test_declared_pair_is_asked_after_every_phase():
    # 91 and 91; 81 and 79; 70 and 68: one reading each, nothing cancels, 2 is not more than 2.0
    session = day(READINGS, declared_comparison=("B", "A"))
    after = table(session)[lambda f: f["code"].isin(["tied_after", "ahead_after"])]
    pair = after[(after["device_a"] + after["device_b"]).isin(["AB", "BA"])]
    assert pair.set_index("phase_from")["code"].to_dict() == {
        "p1": "tied_after",
        "p2": "ahead_after",
        "p3": "ahead_after",
    }
    assert (pair["priority"] == 2).all()
    claim = pair[pair["phase_from"] == "p2"].iloc[0]
    assert claim["statement"].replace("\u00a0", " ") == "A was ahead of B after phase 2 (“p2”)"
    assert claim["verdict"] == "tied"
    assert said(claim) == (
        "After phase 2 (“p2”), A and B were too close to call: 81 % and 79 % shown."
    )


def test_ahead_is_said_with_what_was_shown():
    session = day({"A": [97, 91], "B": [97, 85], "C": [97, 60]}, declared_comparison=("B", "A"))
    claim = one(session, code="ahead_after")
    assert claim["verdict"] == "supported"
    assert said(claim) == "After phase 1 (“p1”), A was ahead of B: 91 % and 85 % shown."


def test_two_devices_alone_are_asked_once():
    session = day({"A": [97, 91, 81], "B": [97, 91, 78]}, declared_comparison=("A", "B"))
    frame = table(session, measurand="displayed", phase_from="p2")
    assert frame["code"].tolist().count("drained_less") == 0
    least = frame.set_index("code").loc["drained_least"]
    assert "pair declared beforehand" in least["method"]


# --- how close it was ---------------------------------------------------------------------------


def test_a_difference_that_does_not_do_is_not_said_as_one_that_does():
    session = day({"A": [97, 91, 81], "B": [97, 91, 80], "C": [97, 91, 70]})
    frame = table(session, measurand="displayed", phase_from="p2").set_index("code")
    reason = frame.loc["drained_least", "reason"].replace("\u00a0", " ")
    assert reason == "against B: 1.0 pp apart; 2.0 pp would be needed"
    reason = frame.loc["drained_less", "reason"].replace("\u00a0", " ")
    assert reason == "against C: 11.0 pp apart, 2.0 pp needed"


@pytest.mark.parametrize("declared", [None, ("A", "B")])
def test_the_interval_of_what_is_tied_holds_zero_and_of_what_stands_does_not(declared):
    rng = np.random.default_rng(5)
    drops = rng.integers(8, 13, (4, 5)).cumsum(axis=1)
    readings = {name: [97, *(97 - row).tolist()] for name, row in zip("ABCD", drops, strict=True)}
    frame = table(day(readings, declared_comparison=declared))
    frame = frame[(frame["unit_symbol"] == "pp") & frame["lead"].notna()]
    assert {"supported", "tied"} <= set(frame["verdict"])
    spans_zero = (frame["lead_low"] <= 0.0) & (frame["lead_high"] >= 0.0)
    assert (spans_zero == (frame["verdict"] == "tied")).all()


# --- several runs -------------------------------------------------------------------------------


def test_several_runs_list_who_drained_least_in_all_of_them():
    # p1: A 10 against 20 in both runs. p2: A 10 against 13, then B 10 against 13.
    first = day({"A": [97, 87, 77], "B": [97, 77, 64]})
    second = day({"A": [97, 87, 74], "B": [97, 77, 67]})
    frame = table(join_runs(first, second), code="drained_least", measurand="displayed")
    listed = frame[frame["priority"] < 3]
    assert listed[["run", "phase_from", "device_a"]].values.tolist() == [
        [1, "p1", "A"],
        [2, "p1", "A"],
    ]
    assert listed["statement"].str.endswith(("(run 1)", "(run 2)")).all()
    rest = frame[frame["priority"] == 3]
    assert rest["verdict"].tolist() == ["supported", "supported"]
