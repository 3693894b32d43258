"""Claims on who lasted longer: verdicts worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.claims.verdicts import VERDICTS
from kit.results import RESULT_COLUMNS
from kit.session import Device
from tests.helpers.builders import make_session, seen
from tests.helpers.claimed import one, table


@pytest.fixture
def row():
    """A still on at 900; B [840, 844), C [841, 845), D [700, 704)."""
    return make_session(
        devices=["A", "B", "C", "D"],
        phases={"day": 1000},
        power_offs={"B": seen(840, 843), "C": seen(841, 844), "D": seen(700, 703)},
        still_on={"A": 900.0},
        start=None,
    )


def test_frame(row):
    frame = table(row)
    assert tuple(frame.columns) == RESULT_COLUMNS["claims"]
    assert set(frame["verdict"]) <= set(VERDICTS)
    assert set(frame["kind"]) == {"this_session", "kind_of_device"}
    assert frame["priority"].is_monotonic_increasing


def test_survivor_lasted_longest_with_a_lower_bound(row):
    claim = one(row, code="longest")
    assert (claim["device_a"], claim["verdict"]) == ("A", "supported")
    # on at 900, C off before 845: at least 55 min, no upper bound and no middle
    assert claim["lead_low"] == 55
    assert np.isnan(claim["lead_high"])
    assert np.isnan(claim["lead"])
    assert claim["wording"].replace("\u00a0", " ") == (
        "In this session A lasted longest of the four devices: it was still on when the session "
        "was stopped, at least 55 min after the last of the others powered off, and how much "
        "longer it would have run was not seen."
    )


def test_neighbours_too_close_to_call(row):
    claim = one(row, code="outlasted", device_a="C", device_b="B")
    # C - B: [841 - 844, 845 - 840) = -3..5 min
    assert claim["verdict"] == "tied"
    assert (claim["lead_low"], claim["lead_high"]) == (-3, 5)
    assert claim["wording"].replace("\u00a0", " ") == (
        "C and B powered off too close together to call: the notes allow anything from 3 min "
        "earlier to 5 min later for C."
    )


def test_outlasted_by_bounds(row):
    claim = one(row, code="outlasted", device_a="B", device_b="D")
    # [840 - 704, 844 - 700) = 136..144 min
    assert claim["verdict"] == "supported"
    assert (claim["lead_low"], claim["lead_high"]) == (136, 144)
    assert "by 2 h 16 min to 2 h 24 min" in claim["wording"].replace("\u00a0", " ")
    assert claim["reason"] == "their power-offs do not overlap"
    assert "bounds of the noted times" in claim["method"]


def test_windows_that_share_a_minute_are_tied():
    # [843, 847) v [840, 844), P = 1 - 1/216; A - B from 843 - 844 to 847 - 840.
    session = make_session(
        devices=["A", "B"], phases={"day": 1000}, start=None,
        power_offs={"A": seen(843, 846), "B": seen(840, 843)},
    )  # fmt: skip
    claim = one(session, code="outlasted")
    assert (claim["verdict"], claim["lead_low"], claim["lead_high"]) == ("tied", -1, 7)
    assert claim["reason"].replace("\u00a0", " ") == (
        "their power-offs may fall into the same minutes (probability, if they are independent: "
        "99.5 %)"
    )
    assert claim["wording"].replace("\u00a0", " ") == (
        "A and B powered off too close together to call: the notes allow anything from 1 min "
        "earlier to 7 min later for A."
    )


def test_windows_that_touch_claim_no_minimum():
    # [844, 848) v [840, 844): A was on from 844 on, B off before: by 0 to 8 min.
    session = make_session(
        devices=["A", "B"], phases={"day": 1000}, start=None,
        power_offs={"A": seen(844, 847), "B": seen(840, 843)},
    )  # fmt: skip
    claim = one(session, code="outlasted")
    assert claim["verdict"] == "supported"
    assert claim["wording"].replace("\u00a0", " ") == (
        "In this session A outlasted B, by at most 8 min."
    )


def test_first_in_group():
    small = ("small",)
    devices = [
        Device(id="A", label="A"),
        Device(id="B", label="B", groups=small),
        Device(id="C", label="C", groups=small),
    ]
    offs = {"A": seen(900, 903), "B": seen(840, 843), "C": seen(700, 703)}
    session = make_session(devices=devices, phases={"day": 1000}, power_offs=offs, start=None)
    claim = one(session, code="first_in_group")
    assert (claim["device_a"], claim["group"], claim["verdict"]) == ("B", "small", "supported")
    assert "among “small”" in claim["wording"]


def test_declared_pair_is_asked_as_declared():
    offs = {"A": seen(840, 843), "B": seen(900, 903), "C": seen(870, 873)}
    session = make_session(
        devices=["A", "B", "C"], phases={"day": 1000}, power_offs=offs, start=None,
        declared_comparison=("A", "B"),
    )  # fmt: skip
    claim = one(session, code="outlasted", device_a="A", device_b="B")
    assert (claim["priority"], claim["verdict"]) == (1, "not_supported")
    assert "bounds of the noted times" in claim["method"]
    assert claim["reason"].startswith("the opposite holds")
    assert claim["wording"].startswith("In this session B outlasted A")


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"still_on": {"A": 600.0, "B": 600.0}}, "both were still on when the session was stopped"),
        (
            {"still_on": {"A": 600.0}, "power_offs": {"B": seen(840, 843)}},
            "A was last seen on before B powered off",
        ),
        ({"power_offs": {"A": seen(840, 843)}}, "nothing was recorded of when B powered off"),
        (
            {
                "more_readings": [
                    {"device": d, "phase": "day", "point": "inside", "t_min": 9.0, "soc_pct": 50}
                    for d in ("A", "B")
                ]
            },
            "of neither the power-off was recorded",
        ),
    ],
)
def test_what_was_not_seen_cannot_be_said(fields, why):
    session = make_session(devices=["A", "B"], phases={"day": 1000}, start=None, **fields)
    claim = one(session, code="outlasted")
    assert claim["verdict"] == "cannot_be_said"
    assert why in claim["reason"]
    assert "cannot be said" in claim["wording"]


def test_survivor_seen_within_the_minutes_of_a_power_off():
    # A seen on at 842 and taken away; B [840, 844): P = 1 - .5 * min(.5, 2/120) = .9917 for W = 60
    # is a claim; with 3 min left at its busiest rate it is not: q = 1/2, x/2W = 2/6:
    # 1 - 1/2 * 1/3 = .833.
    session = make_session(
        phases={"p1": 60, "p2": 900},
        readings={"A": [100, 40], "B": [100, 40]},
        more_readings=[
            {"device": "A", "phase": "p2", "point": "inside", "t_min": 842.0, "soc_pct": 3}
        ],
        power_offs={"B": seen(840, 843)},
        still_on={"A": 842.0},
        start=None,
    )
    claim = one(session, code="outlasted")
    assert claim["verdict"] == "tied"
    assert "was last seen on in the minutes in which B powered off" in claim["wording"]


def test_different_settings_and_charging_are_said():
    devices = [
        Device(id="A", label="A"),
        Device(id="B", label="B", conditions={"power_saver": "on", "start_offset_min": 0.0}),
    ]
    session = make_session(
        devices=devices, phases={"day": 1000}, start=None,
        power_offs={"A": seen(900, 903), "B": seen(840, 843)},
        charges=[{"device": "A", "start_min": 100.0, "end_min": 110.0}],
    )  # fmt: skip
    # what cannot be compared is not called supported, whatever the power-offs were
    found = one(session, code="outlasted")
    assert found["statement"] == "B (power saver on) outlasted A (charged)"
    assert found["verdict"] == "cannot_be_said"
    assert found["reason"].replace("\N{NO-BREAK SPACE}", " ") == (
        "A was charged for 10 min in phase 1"
    )
    assert not len(table(session, code="longest"))
    without = replace(session, charges=session.charges.iloc[:0])
    found = one(without, code="outlasted")
    assert found["statement"] == "A outlasted B (power saver on)"
    assert found["verdict"] == "supported"
    assert found["wording"].endswith("Not under like conditions: B (power saver on).")


def test_of_those_still_on_the_one_that_showed_most_is_asked_about():
    session = make_session(
        devices=["A", "B", "C"], phases={"day": 600}, start=None,
        readings={"A": [100, 10], "B": [100, 23], "C": [100]},
        power_offs={"C": seen(400, 401)}, still_on={"A": 600.0, "B": 600.0},
    )  # fmt: skip
    longest = one(session, code="longest")
    assert (longest["device_a"], longest["verdict"]) == ("B", "cannot_be_said")
    kinds = table(session, kind="kind_of_device")
    pairs = list(zip(kinds["device_a"], kinds["device_b"], strict=True))
    assert pairs[0] == ("B", "A")
