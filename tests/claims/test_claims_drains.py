"""Claims on drains and standings: verdicts worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.claims import evidence
from kit.claims.evidence import AHEAD, LESS
from kit.drain.order import drain_pairs
from kit.drain.phases import prepare
from kit.drain.standing import standing
from kit.read.record import read_record
from kit.results import Settings
from tests.helpers.builders import BARE, seen
from tests.helpers.claimed import day, one, table
from tests.helpers.files import SAMPLES


def test_drained_least_by_the_table_rule():
    # p2: A 10, B 13, C 14 pp. Table rule with nothing but whole percentages: hard bound 2.0 pp.
    # 3 > 2: A less than each. p3: A 10, B 12 (2 is not > 2), C 13: tied.
    session = day({"A": [97, 91, 81, 71], "B": [97, 91, 78, 66], "C": [97, 91, 77, 64]})
    least = table(session, code="drained_least", measurand="displayed").set_index("phase_from")
    assert least["verdict"].to_dict() == {"p1": "tied", "p2": "supported", "p3": "tied"}
    assert least["device_a"].to_dict() == {"p1": "A", "p2": "A", "p3": "A"}
    assert least.loc["p2", "lead"] == pytest.approx(3)
    assert least.loc["p2", "needed"] == pytest.approx(2)
    assert "9 comparisons (Bonferroni)" in least.loc["p2", "method"].replace("nine", "9")
    assert least.loc["p2", "wording"].replace("\u00a0", " ") == (
        "In phase 2 (“p2”), the display of A fell less than that of any other: about 10.0 "
        "percentage points, against 13.0 percentage points for B."
    )
    # the claim on charge adds nothing here but says it in its own words
    charge = table(session, code="drained_least", measurand="true_charge").set_index("phase_from")
    assert charge.loc["p2", "verdict"] == "supported"
    assert "used a smaller share of its charge" in charge.loc["p2", "wording"]


def test_gauge_error_takes_the_claim_on_charge_away():
    exact = day({"A": [97, 91, 81], "B": [97, 91, 78]})
    with_gauge = replace(exact, assumptions=replace(BARE, gauge_error_pp=3.0))
    frame = table(with_gauge, code="drained_least", phase_from="p2").set_index("measurand")
    assert frame["verdict"].to_dict() == {"displayed": "supported", "true_charge": "tied"}
    assert frame.loc["true_charge", "needed"] > 6


def test_least_and_most_are_compared_where_nobody_stands_out():
    # p2: A 10, B 11, C 14: A not less than B, but less than C.
    session = day({"A": [97, 91, 81], "B": [97, 91, 80], "C": [97, 91, 77]})
    frame = table(session, measurand="displayed", phase_from="p2").set_index("code")
    assert frame.loc["drained_least", "verdict"] == "tied"
    assert frame.loc["drained_less", "verdict"] == "supported"
    assert (frame.loc["drained_less", "device_a"], frame.loc["drained_less", "device_b"]) == (
        "A", "C",
    )  # fmt: skip
    assert frame.loc["drained_less", "priority"] == 2


def test_led_from_when_it_is_sure():
    # Displays after p1..p3: A 90, 86, 81; B 89, 83, 77. Leads 1 (tied), 3, 4 pp (> 2.0).
    session = day({"A": [97, 90, 86, 81], "B": [97, 89, 83, 77]})
    led = table(session, code="led")
    spans = {(r.phase_from, r.phase_to): r.verdict for r in led.itertuples()}
    assert spans == {("p1", "p3"): "tied", ("p2", "p3"): "supported"}
    asked = led[led["phase_from"] == "p1"].iloc[0]
    assert asked["reason"] == "too close after phase 1"
    assert "too close to speak of a lead" in asked["wording"]
    sure = led[led["phase_from"] == "p2"].iloc[0]
    assert sure["wording"].startswith("A led after every phase from 2 to 3")
    assert (sure["lead"], sure["needed"]) == pytest.approx((3, 2))


def test_lead_over_devices_that_are_off():
    session = day(
        {"A": [97, 60, 41], "B": [97, 31]},
        power_offs={"B": {**seen(100, 103), "phase": "p2"}},
        still_on={"A": 120.0},
    )
    led = one(session, code="led", verdict="supported")
    assert (led["phase_from"], led["phase_to"]) == ("p1", "p2")


def test_tied_after_a_phase():
    session = day({"A": [97, 91, 81], "B": [97, 91, 80]})
    ties = table(session, code="tied_after").set_index("phase_from")
    assert ties["verdict"].to_dict() == {"p1": "tied", "p2": "tied"}
    assert ties.loc["p2", "priority"] == 2
    assert ties.loc["p2", "wording"].replace("\u00a0", " ") == (
        "After phase 2 (“p2”), A and B were too close to call: 81 % and 80 % shown."
    )


def test_sharp_ticks_part_what_looks_tied():
    # One display step apart, but both moments of change noted: half a percent is resolved.
    ticks = [
        {"device": d, "phase": "p2", "point": "end", "kind": "tick", "t_min": 120.0, "soc_pct": v}
        for d, v in (("A", 81), ("B", 80))
    ]
    session = day({"A": [97, 91], "B": [97, 91]}, phases={"p1": 60, "p2": 60}, more_readings=ticks)
    tie = one(session, code="tied_after", phase_from="p2")
    assert tie["needed"] < 1.5


def test_gained_on_the_one_ahead():
    # Before p2 A leads B by 5; in p2 A drains 14, B 10: B gains 4 (> 2). In p3 12 and 11: tied.
    session = day({"A": [99, 91, 77, 65], "B": [99, 86, 76, 65]})
    gained = table(session, code="gained").set_index("phase_from")
    assert gained["verdict"].to_dict() == {"p2": "supported", "p3": "tied"}
    assert gained.loc["p2", "wording"].replace("\u00a0", " ") == (
        "In phase 2 (“p2”), B gained on A: its display fell 4.0 percentage points less."
    )


@pytest.mark.parametrize("name", ["full-day", "scorecard", "replicates", "minute-log"])
def test_tables_agree_with_the_frames_of_the_analysis(name):
    session = read_record(SAMPLES / name)[0]
    ready = prepare(session)
    settings = Settings()
    pairs = drain_pairs(session, settings, prepared=ready)
    stands = standing(session, settings, prepared=ready)
    for place, run in enumerate(session.runs):
        found = evidence(ready, place, settings)
        index = {d: k for k, d in enumerate(found.devices)}
        for r in pairs[pairs["run"] == run.number].itertuples():
            p, a, b = found.phases.index(r.phase), index[r.device_a], index[r.device_b]
            less = found.facts[LESS[r.measurand]][p]
            verdict = r.verdict_declared or r.verdict_table
            expected = {"a": (True, False), "b": (False, True)}.get(verdict, (False, False))
            assert (less[a, b], less[b, a]) == expected
        mine = stands[stands["run"] == run.number]
        for p, phase in enumerate(found.phases):
            rows = mine[mine["phase"] == phase].set_index("device").loc[list(found.devices)]
            for suffix, m in (("", "displayed"), ("_true_charge", "true_charge")):
                best = rows[f"rank_best{suffix}"].to_numpy()
                taken = ~np.isnan(best)
                ahead = found.facts[AHEAD[m]][p][np.ix_(taken, taken)]
                assert (1 + ahead.sum(axis=0)).tolist() == best[taken].tolist()
