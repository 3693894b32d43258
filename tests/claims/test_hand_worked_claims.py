"""Claims worked out by hand, function by function: means, drains, priorities, doubted numbers."""

from __future__ import annotations

import numpy as np
import pytest

from kit.claims.conclusions import printed
from kit.claims.doubted_mixes import OnMixes
from kit.claims.doubted_runs import (
    Asking,
    changed_record,
    misnoted_verdicts,
    misread_verdicts,
    retimed_verdicts,
)
from kit.claims.doubts import Doubt
from kit.claims.evidence import evidence
from kit.claims.judge import LEAST_URGENT, grounds, judged
from kit.claims.level_claims import tell_levels
from kit.claims.mean_claims import LONGEST, mean_rows, mean_verdicts, top_verdicts
from kit.claims.misreadings import Slip
from kit.claims.table import claims
from kit.claims.verdicts import NOT_SUPPORTED, SUPPORTED, TIED, VERDICTS
from kit.claims.words import Speech
from kit.drain.phases import prepare
from kit.drain.segments import segments
from kit.results import RESULT_COLUMNS, Settings
from kit.runtime.replicate_pairs import replicate_pairs
from kit.runtime.runtimes import runtimes
from kit.session import Assumptions, Device
from kit.units import NO_BREAK
from tests.helpers.builders import BARE, make_session, seen
from tests.helpers.claimed import day
from tests.helpers.repeated_runs import NO_DRAIN, runs_of


def three_runs():
    """Return three runs of devices whose means are 701, 603 and 601 min.

    Off within two minutes of what is noted, hence a minute more than noted in the middle. What is
    left of the values without devices and runs is ((2, −2, 0), (−2, 2, 0), (0, 0, 0)): s² = 16/4.
    """
    names = {"a": (), "b": ("small",), "c": ("small",)}
    return runs_of(
        {"a": [702, 698, 700], "b": [600, 604, 602], "c": [600, 600, 600]},
        devices=[Device(id=k, label=k, groups=g) for k, g in names.items()],
    )


def mean_pairs(session):
    return replicate_pairs(session, runtimes(session), NO_DRAIN, Settings())


# q(0.95; 3, 4) = 5.040 (table of the studentized range, from memory): 5.040 × 2/√3 = 5.820 min;
# two windows of ±1 min make a triangle over ±2, 95 % of which lie within 2 (1 − √0.05) = 1.553;
# √(5.820² + 1.553²) = 6.023 min: 98 of a over b and 100 of a over c stand, 2 of b over c do not
NEEDED_MIN = 6.023


def test_mean_verdicts():
    found = set(mean_verdicts(mean_pairs(three_runs()).to_dict("records")))
    assert found == {("a", "b", SUPPORTED), ("a", "c", SUPPORTED), ("b", "c", TIED)}
    # a device that is ahead is named first, whichever way round the pair was written down
    turned = runs_of({"c": [600, 600, 600], "b": [600, 604, 602], "a": [702, 698, 700]})
    assert set(mean_verdicts(mean_pairs(turned).to_dict("records"))) == found


def test_top_verdicts():
    session = three_runs()
    pairs = mean_pairs(session).to_dict("records")
    found = {row[:2]: row[2] for row in top_verdicts(session, pairs)}
    # a ran longer than both; b and c are each behind a, and too close to each other to say which
    # of the small ones ran longest
    assert found == {
        ("a", ""): SUPPORTED, ("b", ""): NOT_SUPPORTED, ("c", ""): NOT_SUPPORTED,
        ("b", "small"): TIED, ("c", "small"): TIED,
    }  # fmt: skip


def test_mean_rows():
    session = three_runs()
    rows = [
        dict(zip(RESULT_COLUMNS["claims"], row, strict=True))
        for row in mean_rows(Speech.of(session), mean_pairs(session))
    ]
    assert [(row["code"], row["device_a"], row["device_b"], row["verdict"]) for row in rows] == [
        (LONGEST, "a", "", SUPPORTED),
        (LONGEST, "b", "", TIED),
        ("longer_on_average", "a", "b", SUPPORTED),
        ("longer_on_average", "a", "c", SUPPORTED),
        ("longer_on_average", "b", "c", TIED),
    ]
    # neighbours in the order of means open the report, the others do not
    assert [row["priority"] for row in rows] == [1, 1, 1, 2, 1]
    pair = rows[2]
    assert pair["lead"] == pytest.approx(98.0)
    assert pair["needed"] == pytest.approx(NEEDED_MIN, abs=0.01)
    assert pair["lead_low"] == pytest.approx(98.0 - NEEDED_MIN, abs=0.01)
    # outwards in whole minutes: 91.98 to 104.02
    assert pair["wording"].replace(NO_BREAK, " ") == (
        "On average over three runs, a ran longer than b, by 1 h 31 min to 1 h 45 min."
    )
    assert rows[0]["wording"].replace(NO_BREAK, " ") == (
        "On average over three runs, a ran longest of the three devices, at least 1 h 31 min "
        "longer than any other."
    )


def told(session, code):
    """Return every sentence of one code on drains or standings, by phase: verdict and words."""
    found = evidence(prepare(session), 0, Settings())
    return {
        item.claim.phase_from: (
            VERDICTS[item.verdict],
            tell_levels(Speech.of(session), found, item.claim, VERDICTS[item.verdict]),
        )
        for item in judged(session, found)
        if item.claim.code == code and item.claim.measurand == "displayed"
    }


def test_tell_levels():
    # two whole percentages of each device, so that a comparison is off by no more than 2 pp;
    # drains 10 and 14, then 6 and 7; left 80 and 76, then 74 and 69, each off by half a point and
    # by what nobody says of how the displays round, half a point: 2 pp as well
    session = day({"a": [90, 80, 74], "b": [90, 76, 69]})
    drained = told(session, "drained_least")
    verdict, words = drained[0]
    assert verdict == SUPPORTED
    assert (words.lead, words.needed, words.lead_low, words.lead_high) == (4.0, 2.0, 2.0, 6.0)
    assert words.wording.replace(NO_BREAK, " ") == (
        "In phase 1 (“p1”), the display of a fell less than that of b: about 10.0 percentage "
        "points, against 14.0 percentage points for b."
    )
    verdict, words = drained[1]
    assert verdict == TIED
    assert (words.lead, words.needed) == (1.0, 2.0)
    assert words.reason.replace(NO_BREAK, " ") == (
        "against b: 1.0 pp apart; 2.0 pp would be needed"
    )
    verdict, words = told(session, "led")[0]
    assert verdict == SUPPORTED
    # 80 − 76 after the first phase is less than 74 − 69 after the second
    assert (words.lead, words.needed) == (4.0, 2.0)
    assert words.wording == (
        "a led after every phase from 1 to 2: its display stood higher than every other."
    )


def priorities(session):
    found = evidence(prepare(session), 0, Settings())
    return {
        (item.claim.code, item.claim.measurand): (VERDICTS[item.verdict], item.priority)
        for item in judged(session, found)
        if item.claim.code.startswith("drained")
    }


def test_judged_sends_back_what_follows_or_does_not_stand():
    # 10, 14 and 20 pp, 2 pp needed: a drained least, so that a less than c is nothing new
    clear = priorities(day({"a": [90, 80], "b": [90, 76], "c": [90, 70]}))
    assert clear[("drained_least", "displayed")] == (SUPPORTED, 2)
    assert clear[("drained_less", "displayed")] == (SUPPORTED, LEAST_URGENT)
    # 10, 11 and 20 pp: who drained least is open, and a less than c is worth telling
    close = priorities(day({"a": [90, 80], "b": [90, 79], "c": [90, 70]}))
    assert close[("drained_least", "displayed")] == (TIED, 2)
    assert close[("drained_less", "displayed")] == (SUPPORTED, 2)
    # gauges that may be 5 pp wrong: u² of drains of 10 and 14 pp is 50/3 (1 − exp(−100/98)) = 10.66
    # and 50/3 (1 − exp(−196/98)) = 14.41 pp²; √(2² + (2.394 × √25.07)²) = 12.15 pp over 3 pairs
    vague = Assumptions(reading_delay_min=0.0, phase_length_u_min=0.0, gauge_error_pp=5.0)
    loose = priorities(day({"a": [90, 80], "b": [90, 76], "c": [90, 70]}, assumptions=vague))
    assert loose[("drained_least", "displayed")] == (SUPPORTED, 2)
    assert loose[("drained_least", "true_charge")] == (TIED, LEAST_URGENT)


def asked(session):
    """Return the record made ready, what is asked of it, and the places of sentences by code."""
    ready = prepare(session)
    ground = grounds(ready, Settings())
    conclusions = list(printed(claims(session, Settings(), prepared=ready, known=ground)))
    mixes = OnMixes(ready, 0, {}, segments(ready, coverage=0.95), 0.95)
    asking = Asking.of(Speech.of(session), ground[0], conclusions, mixes)
    places = {conclusions[p].code: at for at, p in enumerate(asking.places.tolist())}
    return ready, asking, places


def of_reading(row, boundary, noted, value):
    slip = Slip(float(value), "one_off")
    return Doubt(0, "readings", row, "soc_pct", row % 2, boundary, float(noted), slip)


def test_misread_verdicts():
    # 10 and 13 pp are 3 apart, more than the 2 pp needed; 80 misread for 79 makes it 11 and 13,
    # 2 apart, which is not more; 80 for 81 makes it 9 and 13; 77 for 81 makes it 10 and 9, tied
    session = day({"a": [90, 80], "b": [90, 77]})
    ready, asking, places = asked(session)
    doubts = [
        of_reading(2, 1, 80, 79), of_reading(2, 1, 80, 81), of_reading(3, 1, 77, 81),
        of_reading(3, 1, 77, 85),
    ]  # fmt: skip
    found = misread_verdicts(ready, asking, doubts, Settings())[:, places["drained_least"]]
    # 77 for 85: 10 and 5, the opposite
    assert [VERDICTS[v] for v in found] == [TIED, SUPPORTED, TIED, NOT_SUPPORTED]
    assert misread_verdicts(ready, asking, [], Settings()).shape == (0, asking.places.size)


def test_misnoted_verdicts():
    # off between 300 and 304 and between 306 and 309: b outlasted a. Seen on last at 302 in place
    # of 306, b may have gone off first; seen off at 313 in place of 303, a may have gone off last;
    # seen off at 304 in place of 303 changes nothing
    session = make_session(
        devices=["a", "b"], phases={"p1": 900}, start=None,
        power_offs={"a": seen(300, 303), "b": seen(306, 308)},
    )  # fmt: skip
    ready, asking, places = asked(session)
    others = (
        (1, "last_on_min", 306, 302), (0, "first_off_min", 303, 313),
        (0, "first_off_min", 303, 304),
    )  # fmt: skip
    doubts = [
        Doubt(0, "power_offs", k, column, k, -1, float(noted), Slip(float(value), "one_off"))
        for k, column, noted, value in others
    ]
    found = misnoted_verdicts(ready, asking, doubts, Settings())
    assert found.doubts == doubts
    assert found.low.tolist() == [302.0, 300.0, 300.0]
    assert found.high.tolist() == [309.0, 314.0, 305.0]
    said = [VERDICTS[v] for v in found.verdicts[:, places["outlasted"]]]
    assert said == [TIED, TIED, SUPPORTED]


def test_retimed_verdicts():
    # a read at 300 and off when noted at 310: between 300 and 311; b between 305 and 307. Which of
    # them outlasted the other is open, also with a read at 299; read at 308, a outlasted b, and the
    # sentence asked says the opposite, for the middle of b, 306, is after that of a, 305.5
    inside = {"device": "a", "phase": "p1", "point": "inside", "soc_pct": 20.0, "t_min": 300.0}
    session = make_session(
        devices=["a", "b"], phases={"p1": 900}, start=None, assumptions=BARE,
        more_readings=[inside], power_offs={"a": 310, "b": seen(305, 306)},
    )  # fmt: skip
    ready, asking, places = asked(session)
    doubts = [
        Doubt(0, "readings", 0, "t_min", 0, -1, 300.0, Slip(value, "one_off"))
        for value in (299.0, 308.0)
    ]
    found = retimed_verdicts(ready, asking, doubts, Settings())
    assert (found.doubts, found.low.tolist(), found.high.tolist()) == (
        doubts, [299.0, 308.0], [311.0, 311.0],
    )  # fmt: skip
    said = [VERDICTS[v] for v in found.verdicts[:, places["outlasted"]]]
    assert said == [TIED, NOT_SUPPORTED]


def test_changed_record():
    session = day({"a": [90, 80], "b": [90, 77]}, power_offs={"a": 300, "b": 310})
    other = changed_record(session, of_reading(2, 1, 80, 79))
    assert other.readings["soc_pct"].tolist() == [90.0, 90.0, 79.0, 77.0]
    assert other.power_offs.equals(session.power_offs)
    late = Doubt(0, "power_offs", 1, "noted_min", 1, -1, 310.0, Slip(320.0, "ten_off"))
    other = changed_record(session, late)
    assert other.power_offs["noted_min"].tolist() == [300.0, 320.0]
    # the record itself stays as it was
    assert session.readings["soc_pct"].tolist() == [90.0, 90.0, 80.0, 77.0]
    assert np.array_equal(session.power_offs["noted_min"], [300.0, 310.0])
