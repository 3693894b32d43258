"""What is asked of a record, worked out by hand: the sentences, and the numbers put in question."""

from __future__ import annotations

from kit.claims.candidates import candidates
from kit.claims.conclusions import asked_of_run, printed
from kit.claims.doubts import off_doubts, reading_doubts, seen_doubts, stop_doubts, swap_doubts
from kit.claims.evidence import evidence
from kit.claims.judge import LEAST_URGENT, grounds
from kit.claims.table import claims
from kit.claims.words import Speech
from kit.drain.phases import prepare
from kit.drain.swaps import with_swaps
from kit.results import Settings
from kit.session import Phase
from tests.helpers.builders import BARE, make_session, seen
from tests.helpers.claimed import day


def asked(session):
    """Return code, devices and phases of each candidate, in order."""
    found = evidence(prepare(session), 0, Settings())
    return [
        (claim.code, claim.a, claim.b, claim.phase_from, claim.measurand)
        for claim in candidates(session, found)
    ]


def test_candidates():
    # off within 300 to 304 and 350 to 353: b is written down as the longer. Drains 10 and 11, then
    # 12 and 8: a drained least first, b in the second hour. Left 80 and 79, one point apart, which
    # people call tied; then 68 and 71: a led after the first, b after the second, in which b, that
    # stood behind a, drained less
    session = day(
        {"a": [90, 80, 68], "b": [90, 79, 71]},
        power_offs={"a": seen(300, 303), "b": seen(350, 352)},
    )
    assert asked(session) == [
        ("longest", 1, -1, -1, "runtime"),
        ("outlasted", 1, 0, -1, "runtime"),
        ("drained_least", 0, -1, 0, "displayed"),
        ("drained_least", 0, -1, 0, "true_charge"),
        ("drained_least", 1, -1, 1, "displayed"),
        ("drained_least", 1, -1, 1, "true_charge"),
        ("led", 0, -1, 0, "displayed"),
        ("led", 1, -1, 1, "displayed"),
        ("tied_after", 0, 1, 0, "displayed"),
        ("gained", 1, 0, 1, "displayed"),
    ]


def test_printed_and_asked_of_run():
    # the sentences on charge do not stand where nothing is known of the gauges but 3 pp: they are
    # in the full list only. Every sentence on the run is asked by the claim that it came from
    session = day({"a": [90, 80], "b": [90, 76]}, assumptions=None)
    ready = prepare(session)
    (ground,) = grounds(ready, Settings())
    frame = claims(session, Settings(), prepared=ready, known=[ground])
    conclusions = printed(frame)
    left_out = set(frame["statement"]) - {c.statement for c in conclusions}
    assert left_out == set(frame.loc[frame["priority"] == LEAST_URGENT, "statement"])
    assert "a used the smallest share of its charge in phase\N{NO-BREAK SPACE}1 (“p1”)" in left_out
    found, places = asked_of_run(Speech.of(session), ground, conclusions)
    assert [conclusions[p].code for p in places] == [claim.code for claim in found]
    on_kinds = [p for p, c in enumerate(conclusions) if c.code == "lasts_longer"]
    assert sorted([*places, *on_kinds]) == list(range(len(conclusions)))


def slips(doubts, device, column, noted):
    """Return what one noted number may have been."""
    return {
        doubt.slip.value
        for doubt in doubts
        if (doubt.device, doubt.column, doubt.noted) == (device, column, noted)
    }


def test_reading_doubts():
    doubts = reading_doubts(prepare(day({"a": [90, 80, 60], "b": [90, 79, 71]})), 0)
    # 80 between 90 and 60: one off; 0 for 6 or 8, 8 for 6 (3 lies below 60, no display shows 00);
    # ten off, 90 as well as 70; 08 is not shown
    assert slips(doubts, 0, "soc_pct", 80) == {79, 81, 86, 88, 60, 70, 90}
    # the end of a phase and the start of the next are one reading, put in question once
    assert len({doubt.row for doubt in doubts if doubt.device == 0}) == 3


def test_off_doubts():
    session = make_session(
        devices=["a", "b"], phases={"p1": 900}, start=None,
        power_offs={"a": seen(300, 303), "b": seen(350, 352)},
    )  # fmt: skip
    ready = prepare(session)
    doubts = off_doubts(ready, 0, evidence(ready, 0, Settings()))
    # seen on at 5:00, not after it was seen off at 5:03: 5:06 and 5:08 (0 for 6 or 8) and 5:10 are
    assert slips(doubts, 0, "last_on_min", 300) == {299, 301, 290}
    # seen off at 5:03, not before 5:00: 2:53 is; 3 for 5 or 8; 03 and 30 exchanged
    assert slips(doubts, 0, "first_off_min", 303) == {302, 304, 313, 305, 308, 330}


def test_seen_doubts():
    inside = {"device": "a", "phase": "p1", "point": "inside", "soc_pct": 20.0, "t_min": 300.0}
    session = make_session(
        devices=["a", "b"], phases={"p1": 900}, start=None, assumptions=BARE,
        more_readings=[inside], power_offs={"a": 310, "b": seen(350, 352)},
    )  # fmt: skip
    doubts = seen_doubts(prepare(session), 0)
    # read at 5:00, off in the minute 5:10: up to that minute; 0 for 6 or 8; 00 cannot be exchanged
    assert slips(doubts, 0, "t_min", 300) == {299, 301, 290, 310, 306, 308}
    # b was seen on at 350 by itself: that time is asked about with its power-off
    assert {doubt.device for doubt in doubts} == {0}


def test_stop_doubts():
    session = make_session(
        phases={"p1": 60, "p2": 60}, readings={"a": [90, 70], "b": [90, 60]}, start=None,
        power_offs={"b": {**seen(100, 103), "phase": "p2"}}, still_on={"a": 120}, assumptions=BARE,
    )  # fmt: skip
    session.power_offs.loc[session.power_offs["still_on"], "soc_pct"] = 40.0
    doubts = stop_doubts(prepare(session), 0)
    # 40 seen at the stop, after 70: one off, ten off, 0 for 6 or 8; 4 for 9 gives 90, above 70
    assert slips(doubts, 0, "soc_pct", 40) == {39, 41, 30, 50, 46, 48}
    assert {doubt.frame for doubt in doubts} == {"power_offs"}


def test_swap_doubts():
    phase = Phase(
        id="x", label="", kind="crossover", parts=("film", "call"), first_half=("a",),
        planned_min=120,
    )  # fmt: skip
    middle = [
        {"device": d, "phase": "x", "point": "inside", "t_min": 60.0, "soc_pct": soc}
        for d, soc in (("a", 90), ("b", 88))
    ]
    session = make_session(
        phases=[phase], start=None, assumptions=BARE, more_readings=middle,
        readings={"a": [97, 80], "b": [97, 80]},
    )  # fmt: skip
    ready = prepare(session)
    doubts = swap_doubts(ready, 0, with_swaps(ready))
    # 90 between 97 and 80: one off, 0 for 6 (98 lies above 97), ten off below (100 lies above)
    assert slips(doubts, 0, "soc_pct", 90) == {89, 91, 96, 80}
    assert {doubt.boundary for doubt in doubts} == {-1}
