"""Drains by hand: readings that are missing, charging, conditions, and every flag."""

from __future__ import annotations

import pytest

from kit.drain.flags import FLAGS, UNRANKED
from kit.drain.phases import prepare
from kit.session import Device, Phase
from tests.helpers.builders import BARE, COMPLETE_CONDITIONS, make_session
from tests.helpers.drained import ends, flags, row


def test_missing_reading():
    s = make_session(
        phases={"p1": 60, "p2": 60, "p3": 60}, readings={"a": [90, None, 60, 50]}, assumptions=BARE
    )
    assert [row(s, p)["status"] for p in ("p1", "p2", "p3")] == [
        "no_reading", "no_reading", "measured"
    ]  # fmt: skip


def test_charge_breaks_the_chain():
    """Charged from 70 to 80 min, in the break: the reading at 60 min is no start for p2."""
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [50, 30, 70]},
        gaps={"p2": 30},
        charges=[{"device": "a", "start_min": 70, "end_min": 80}],
        assumptions=BARE,
    )
    assert row(s, "p1")["status"] == "measured"
    assert row(s, "p2")["status"] == "no_reading"


def test_charge_within_a_phase():
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [50, 70, 60]},
        charges=[{"device": "a", "start_min": 20, "end_min": 40}],
        assumptions=BARE,
    )
    assert row(s, "p1")["status"] == "no_reading"
    assert "charged" in flags(row(s, "p1"))
    assert row(s, "p2")["drain_pp"] == 10.0


def test_charge_without_a_time_is_taken_from_its_phase():
    s = make_session(
        phases={"p1": 60, "p2": 60},
        readings={"a": [50, 70, 60]},
        charges=[{"device": "a", "phase": "p1"}],
        assumptions=BARE,
    )
    assert row(s, "p1")["status"] == "no_reading"
    assert row(s, "p2")["status"] == "no_reading"


def test_a_rise_is_shown_as_it_is():
    s = make_session(phases={"p1": 60}, readings={"a": [60, 63]}, assumptions=BARE)
    found = row(s, "p1")
    assert ends(found) == [-3.0, -3.8, -2.2]
    assert "rises" in flags(found)


def test_split_phase_keeps_its_drain():
    s = make_session(
        phases=[
            Phase(id="x", label="x", kind="crossover", parts=("m", "n"), planned_min=120),
        ],
        readings={"a": [90, 70]},
        assumptions=BARE,
    )
    assert (row(s, "x")["status"], row(s, "x")["drain_pp"]) == ("split", 20.0)


@pytest.mark.parametrize(
    ("readings", "conditions", "flagged"),
    [
        ([30, 19], {}, True),
        ([30, 20], {}, True),
        ([30, 21], {}, False),
        ([14, 12], {}, True),
        ([30, 19], {"power_saver": "off"}, False),
        ([30, 19], {"power_saver": "on", "power_saver_threshold_pct": 10}, False),
        ([30, 19], {"power_saver": "not recorded"}, True),
    ],
)
def test_saver_flag(readings, conditions, flagged):
    s = make_session(phases={"p1": 60}, readings={"a": readings}, conditions=conditions)
    assert ("saver" in flags(row(s, "p1"))) is flagged
    assert bool(prepare(s).ranked[0, 0]) is not flagged


def test_conditions_of_one_device_go_before_those_of_the_session():
    s = make_session(
        devices=[
            Device(id="a", label="A", conditions={"power_saver": "on"}),
            Device(id="b", label="B"),
        ],
        phases={"p1": 60},
        readings={"a": [30, 19], "b": [30, 19]},
        conditions=COMPLETE_CONDITIONS,
    )
    assert "saver" in flags(row(s, "p1", "a"))
    assert "saver" not in flags(row(s, "p1", "b"))


def test_start_taken_from_the_conditions():
    s = make_session(
        phases={"p1": 60},
        readings={"a": [None, 92]},
        conditions={"start_charge_pct": 100},
        assumptions=BARE,
    )
    found = row(s, "p1")
    assert ends(found) == [8.0, 7.0, 9.0]
    assert {"from_full", "start_assumed_full"} <= flags(found)


def test_warm_up_is_shown_and_not_ranked():
    s = make_session(
        phases=[
            Phase(id="w", label="w", planned_min=20, evaluated=False),
            Phase(id="p", label="p", planned_min=60),
        ],
        readings={"a": [100, 96, 84]},
        assumptions=BARE,
    )
    assert row(s, "w")["drain_pp"] == 4.0
    assert prepare(s).ranked.tolist() == [[False, True]]
    assert "warm_up" in flags(row(s, "w"))


def test_every_flag_has_a_sentence_and_every_bar_is_a_flag():
    assert set(FLAGS) >= UNRANKED
    for sentence in FLAGS.values():
        assert sentence.endswith(".")
        assert sentence[0].isupper()
