"""Who drained least doing something: over several phases, and in one half of a crossover."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.claims.activities import Stretch, doing, stretches
from kit.claims.evidence import DOING, altered_facts, evidence
from kit.drain.misread import misread_chains
from kit.drain.phases import prepare
from kit.results import Settings
from kit.session import Phase
from tests.helpers.builders import BARE, frame, make_session, seen
from tests.helpers.claimed import one, table

FOUR = [
    Phase(id="p1", label="p1", activity="map", planned_min=60),
    Phase(id="p2", label="p2", activity="film", planned_min=60),
    Phase(id="p3", label="p3", activity="film", planned_min=60),
    Phase(id="p4", label="p4", activity="map", planned_min=60),
]


def repeated(**readings):
    return make_session(phases=FOUR, readings=readings, assumptions=BARE, start=None)


def test_an_activity_done_twice_is_compared_over_both_phases():
    # film in p2 and p3: A 90 → 70, B 90 → 67, C 90 → 60: the reading between them cancels, so the
    # hard bound is 2 pp as for one phase, and 3 is more. By themselves: p2 10, 11; p3 10, 12.
    session = repeated(A=[97, 90, 80, 70, 60], B=[97, 90, 79, 67, 57], C=[97, 90, 75, 60, 50])
    film = one(session, code="least_doing", group="film")
    assert (film["device_a"], film["verdict"]) == ("A", "supported")
    assert (film["lead"], film["needed"]) == pytest.approx((3, 2))
    assert (film["phase_from"], film["phase_to"], film["priority"]) == ("p2", "p3", 2)
    assert film["statement"].replace("\u00a0", " ") == (
        "A drained least doing “film” in phases 2 and 3 together"
    )
    assert film["wording"].replace("\u00a0", " ") == (
        "In the time spent doing “film” in phases 2 and 3 together, the display of A fell less "
        "than that of any other: about 20.0 percentage points, against 23.0 percentage points for "
        "B."
    )
    alone = table(session, code="drained_least", measurand="displayed").set_index("phase_from")
    assert alone["verdict"][["p2", "p3"]].tolist() == ["tied", "tied"]


def test_phases_apart_add_up_their_errors():
    # map in p1 and p4: four readings of each device that do not cancel, at most 4 pp apart
    session = repeated(A=[97, 90, 80, 70, 60], B=[97, 89, 79, 69, 58], C=[97, 85, 75, 65, 50])
    claim = one(session, code="least_doing", group="map")
    # A 7 + 10, B 8 + 11
    assert (claim["lead"], claim["needed"]) == pytest.approx((2, 4))
    assert claim["verdict"] == "tied"
    assert "six comparisons (Bonferroni)" in claim["method"]


def test_an_activity_done_once_is_asked_in_its_phase_alone():
    phases = [replace(p, activity=p.id) for p in FOUR]
    session = make_session(phases=phases, readings={"A": [97, 90], "B": [97, 80]})
    assert stretches(session) == ()
    assert table(session, code="least_doing").empty


def test_what_keeps_a_device_out_of_any_of_the_phases_is_told():
    # C powers off in the second of the two phases of film
    session = make_session(
        phases=FOUR, assumptions=BARE, start=None,
        readings={"A": [97, 90, 80, 70, 60], "B": [97, 90, 79, 67, 57], "C": [97, 90, 20]},
        power_offs={"C": {**seen(150, 153), "phase": "p3"}},
    )  # fmt: skip
    film = one(session, code="least_doing", group="film")
    assert film["wording"].endswith("Not compared: C (powered off).")


def test_a_device_not_read_in_between_is_named_as_left_out():
    session = repeated(A=[97, 90, 80, 70, 60], B=[97, 90, 79, 67, 57], C=[97, 90, 75, None, 50])
    film = one(session, code="least_doing", group="film")
    assert film["statement"].startswith("Among those that can be compared (A and B), A drained")
    assert film["wording"].endswith("Not compared: C (no drain to compare).")


def crossover(swap, *, first_half=("A", "B"), **readings):
    """Two hours of film and forms; A and B begin with film, C and D with forms."""
    phase = Phase(
        id="x", label="x", kind="crossover", parts=("film", "forms"), first_half=first_half,
        planned_min=120,
    )  # fmt: skip
    middle = [
        {"device": d, "phase": "x", "point": "inside", "kind": "reading", "t_min": 60.0,
         "t_resolution_min": 1.0, "soc_pct": v}
        for d, v in swap.items()
    ]  # fmt: skip
    return make_session(
        phases=[phase], readings=readings, more_readings=middle, assumptions=BARE, start=None
    )


def test_halves_of_a_crossover_are_compared_within_the_half():
    session = crossover(
        {"A": 80, "B": 70, "C": 88, "D": 87}, A=[97, 60], B=[97, 59], C=[97, 70], D=[97, 50]
    )
    claims = table(session, code="least_doing")
    found = {
        (r.group, r.statement.split(" half")[0].rsplit(" ", 1)[1]): (r.device_a, r.verdict, r.lead)
        for r in claims.itertuples()
    }
    # film, first half: A 17, B 27; forms, second half: A 20, B 11; forms, first half: C 9, D 10;
    # film, second half: C 18, D 37
    assert found == {
        ("film", "first"): ("A", "supported", pytest.approx(10)),
        ("forms", "second"): ("B", "supported", pytest.approx(9)),
        ("forms", "first"): ("C", "tied", pytest.approx(1)),
        ("film", "second"): ("C", "supported", pytest.approx(19)),
    }
    film = claims[(claims["group"] == "film") & (claims["device_a"] == "A")].iloc[0]
    assert film["statement"].replace("\u00a0", " ") == (
        "Among those that can be compared (A and B), A drained least doing “film” in the first "
        "half of phase 1 (“x”)"
    )
    assert film["wording"].endswith(
        "Not compared: C (did something else then) and D (did something else then)."
    )


def test_a_half_of_another_length_is_not_compared():
    session = crossover(
        {"A": 80, "B": 70, "C": 88, "D": 87}, A=[97, 60], B=[97, 59], C=[97, 70], D=[97, 50],
        first_half=("A", "B", "C"),
    )  # fmt: skip
    turns = [
        {"run": 1, "phase": "x", "device": d, "activity": part, "start_min": start,
         "duration_min": length, "line": 0}
        for d, cut in (("A", 60.0), ("B", 60.0), ("C", 40.0))
        for part, start, length in (("film", 0.0, cut), ("forms", cut, 120.0 - cut))
    ]  # fmt: skip
    logged = replace(session, turns=frame("turns", turns))
    asked = stretches(logged)
    found = doing(prepare(logged), range(4), asked)
    first = asked.index(Stretch("film", (0,), 1))
    assert found.ready[:, first].tolist() == [True, True, False, False]


def test_alternatives_of_a_reading_give_what_the_changed_record_gives():
    session = crossover(
        {"A": 80, "B": 70, "C": 88, "D": 87}, A=[97, 60], B=[97, 59], C=[97, 70], D=[97, 50]
    )
    ready = prepare(session)
    # A's end read as 69 in place of 60, B's start as 87 in place of 97
    unit, boundary, value = np.array([0, 1]), np.array([1, 0]), np.array([69.0, 87.0])
    chains = misread_chains(ready.chains, unit, boundary, value)
    assert chains is not None
    other = prepare(session, chains=chains)
    facts, comparable = altered_facts(ready, 0, other, Settings())
    for k, (device, point, soc) in enumerate((("A", "end", 69.0), ("B", "start", 87.0))):
        readings = session.readings.copy()
        here = (readings["device"] == device) & (readings["point"] == point)
        readings.loc[here, "soc_pct"] = soc
        again = evidence(prepare(replace(session, readings=readings)), 0, Settings())
        assert (facts[DOING][k] == again.facts[DOING]).all()
        assert (comparable[DOING][k] == again.open_pairs[DOING]).all()
    # A's forms then took 11 as B's did
    base = evidence(ready, 0, Settings())
    assert (facts[DOING][0] != base.facts[DOING]).any()
