"""Tables of the claims: verdict, margin and rule, and the table that opens the report."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from kit.session import Device
from kit.show import tables
from tests.helpers.fake_results import fake_results, field_day, rows
from tests.helpers.shown import plain

CLAIMS = [
    {"run": 1, "priority": 1, "kind": "this_session", "statement": "A outlasted B",
     "code": "outlasted",
     "verdict": "supported", "lead_low": 34.6, "unit_symbol": "min", "method": "all pairs",
     "reason": "apart", "wording": "A outlasted B by at least 34 min."},
    {"run": 1, "priority": 2, "kind": "this_session", "statement": "A drained least",
     "measurand": "displayed", "code": "drained_least",
     "verdict": "tied", "lead": 0.97, "lead_low": -0.85, "lead_high": 2.79, "unit_symbol": "pp",
     "method": "all pairs", "reason": "too near", "wording": "A and B are too close to call."},
    {"run": 1, "priority": 3, "kind": "this_session", "statement": "Nobody asked"},
    {"run": 1, "priority": 1, "kind": "kind_of_device", "statement": "An A lasts longer",
     "code": "lasts_longer", "verdict": "cannot_be_said", "method": "t interval"},
]  # fmt: skip


def test_claims_show_verdict_margin_and_wording_by_kind() -> None:
    results = replace(fake_results(), extra={"claims": rows("claims", CLAIMS)})
    here, kind = tables.claims(results)
    assert [tuple(map(plain, row)) for row in here.rows] == [
        ("A outlasted B", "supported", "at least 34 min", "apart",
         "A outlasted B by at least 34 min."),
        ("A drained least, by the display", "tied", "1.0 (−0.9 to 2.8) pp", "too near",
         "A and B are too close to call."),
    ]  # fmt: skip
    assert tuple(map(plain, here.notes)) == (
        "Margin: in brackets, of runtimes bounds that always hold; of percentages the difference "
        "less and plus what is needed by the rule below: where 0 is within, no order is shown.",
        "Runtimes and drains, each judged by: all pairs.",
        "One further sentence is in tables/claims.csv.",
    )
    assert kind.notes[-1] == "Kinds of device, judged by: t interval."
    assert [row[1] for row in kind.rows] == ["cannot be said"]
    glance = tables.claims_at_a_glance(results)
    assert glance is not None
    assert [row[0] for row in glance.rows] == ["A outlasted B", "An A lasts longer"]


def opening(
    *claims: dict[str, object], **fields: Any
) -> tuple[list[tuple[str, ...]], tuple[str, ...]]:
    """Return rows and notes of the table that opens a report with these claims."""
    base = {"run": 0, "priority": 1, "kind": "this_session", "unit_symbol": "min",
            "code": "longer_on_average", "verdict": "supported", "device_a": "a",
            "device_b": "b"}  # fmt: skip
    frame = rows("claims", [{**base, **claim} for claim in claims])
    session = replace(field_day(), **fields)
    table = tables.claims_at_a_glance(replace(fake_results(session), extra={"claims": frame}))
    assert table is not None
    return [tuple(map(plain, row)) for row in table.rows], tuple(map(plain, table.notes))


def test_the_opening_keeps_who_was_longest_groups_kinds_and_the_declared_pair() -> None:
    """20 pairs and four others: twelve rows, in the order of the frame, and what is left out."""
    pairs = [{"statement": f"pair {k}", "device_a": f"x{k}"} for k in range(20)]
    others = [
        {"statement": "longest", "code": "longest_on_average"},
        {"statement": "kind", "code": "lasts_longer", "kind": "kind_of_device"},
        {"statement": "group", "code": "first_in_group"},
        {"statement": "declared", "device_a": "d", "device_b": "e"},
    ]
    found, notes = opening(*pairs, *others, declared_comparison=("e", "d"))
    assert [row[0] for row in found] == [f"pair {k}" for k in range(8)] + [
        "longest", "kind", "group", "declared",
    ]  # fmt: skip
    assert notes[-1] == "And twelve more sentences of this sort, under “What may be said”."
    few, notes = opening(*pairs[:3])
    assert len(few) == 3
    assert len(notes) == 1
    # means of which only a least lead is known have a need as well
    bound = {"lead": 26.4, "lead_low": -58.8, "needed": 85.2, "verdict": "cannot_be_said"}
    _, notes = opening({"statement": "mean", **bound})
    assert notes[1].startswith("“Needed”: ")


@pytest.mark.parametrize(
    ("claim", "cell"),
    [
        # a survivor's kind: 26.4 min seen at least, 85.2 needed
        ({"kind": "kind_of_device", "code": "lasts_longer", "verdict": "cannot_be_said",
          "lead": 26.4, "lead_low": -58.8, "needed": 85.2},
         "cannot be said (at least 26 min seen, 1 h 26 min needed)"),
        ({"kind": "kind_of_device", "code": "lasts_longer", "verdict": "supported",
          "lead": 191.3, "lead_low": 121.2, "needed": 70.1},
         "supported: at least 3 h 11 min"),
        ({"kind": "kind_of_device", "code": "lasts_longer", "verdict": "supported",
          "lead": 140.4, "lead_low": 60.4, "lead_high": 220.4, "needed": 80.0},
         "supported: about 2 h 20 min"),
        # a lead of a survivor that is not sure
        ({"kind": "kind_of_device", "code": "lasts_longer", "verdict": "cannot_be_said",
          "lead": -4.0, "lead_low": -62.0, "needed": 58.0},
         "cannot be said (no sure lead, 58 min needed)"),
        ({"kind": "kind_of_device", "code": "lasts_longer", "verdict": "cannot_be_said",
          "lead": 16.9, "lead_low": -38.0, "lead_high": 71.8, "needed": 54.9},
         "cannot be said (17 min seen, 55 min needed)"),
        ({"verdict": "cannot_be_said", "lead": 2.7, "lead_low": -97.3, "needed": 99.98},
         "cannot be said (at least 2 min seen, 1 h 40 min needed)"),
        ({"lead": 18.3, "lead_low": 0.4, "lead_high": 36.2, "needed": 17.9},
         "supported: 18.3 (0.4 to 36.2) min"),
        # from an hour on in hours and minutes, the ends rounded outwards
        ({"lead": 169.0, "lead_low": 165.2, "lead_high": 172.8},
         "supported: 2 h 49 min (2 h 45 min to 2 h 53 min)"),
        ({"verdict": "tied", "lead": 25.3, "lead_low": -12.1, "lead_high": 62.7},
         "tied: 25 min (−13 min to 1 h 03 min)"),
        ({"lead_low": 89.6, "code": "longest"}, "supported: at least 1 h 29 min"),
        ({"verdict": "tied", "lead_low": -62.4}, "tied: from −1 h 03 min on"),
        ({"lead_low": 0.33, "code": "longest"}, "supported: at least 0.3 min"),
        ({"lead_low": 0.0, "code": "longest"}, "supported: more than 0 min"),
        ({"lead_low": 5.9, "code": "longest"}, "supported: at least 5 min"),
        ({"verdict": "tied", "lead": 1.0, "lead_low": -2.4, "lead_high": 4.4},
         "tied: 1 (−3 to 5) min"),
        # a survivor last seen on 2.4 min before the other was off: no end on the other side
        ({"verdict": "tied", "lead_low": -2.4}, "tied: from −3 min on"),
        ({"verdict": "cannot_be_said"}, "cannot be said"),
    ],
)  # fmt: skip
def test_verdict_and_margin_read_as_they_are(claim: dict[str, object], cell: str) -> None:
    found, _ = opening({"statement": "said", **claim})
    assert found[0][1] == cell


@pytest.mark.parametrize(
    ("health", "cell"),
    [
        (100.0, "cannot be said (17 min seen, 55 min needed)"),
        (90.0, "cannot be said (17 min at equal battery health, 55 min needed)"),
    ],
)
def test_a_lead_of_kinds_says_that_battery_health_is_in_it(health: float, cell: str) -> None:
    kind = {"kind": "kind_of_device", "code": "lasts_longer", "verdict": "cannot_be_said",
            "lead": 16.9, "lead_low": -38.0, "lead_high": 71.8, "needed": 54.9,
            "statement": "a and b"}  # fmt: skip
    devices = [Device(id="a", label="a", health_pct=100.0),
               Device(id="b", label="b", health_pct=health)]  # fmt: skip
    found, _ = opening(kind, devices=tuple(devices))
    assert found[0][1] == cell


def test_the_rule_of_who_ran_longest_is_that_of_the_pairs() -> None:
    base = {"run": 0, "priority": 1, "kind": "this_session", "unit_symbol": "min",
            "verdict": "tied", "device_a": "a", "device_b": "b"}  # fmt: skip
    claims = [
        {**base, "code": "longest_on_average", "method": "rule one and rule two"},
        {**base, "code": "longer_on_average", "method": "rule one"},
        {**base, "code": "longer_on_average", "method": "rule two"},
    ]
    (table,) = tables.claims(replace(fake_results(), extra={"claims": rows("claims", claims)}))
    assert table.notes[-2:] == (
        "Mean runtimes, judged by: rule one.", "Mean runtimes, judged by: rule two.",
    )  # fmt: skip


def test_the_margin_of_a_kind_is_what_its_reason_says() -> None:
    kind = {**CLAIMS[-1], "priority": 1, "unit_symbol": "min", "lead": 191.3, "lead_low": 121.2,
            "needed": 70.1, "verdict": "supported"}  # fmt: skip
    (table,) = tables.claims(replace(fake_results(), extra={"claims": rows("claims", [kind])}))
    assert plain(table.rows[0][2]) == "at least 3 h 11 min, 1 h 11 min needed"
    assert table.notes[0] == (
        "Margin: the difference, at equal battery health where the reason says so, and what is "
        "needed for that pair by the rule below."
    )
