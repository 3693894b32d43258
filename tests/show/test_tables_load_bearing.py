"""Tables of the readings that bear a claim, and of the claims that no slip changes."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from kit.show import tables
from tests.helpers.builders import join_runs
from tests.helpers.fake_results import fake_results, field_day, rows
from tests.helpers.shown import plain


def test_readings_that_bear_a_claim_are_listed_once_each() -> None:
    bearing = {
        "run": 1, "rank": 1, "statement": "A drained least", "verdict": "supported",
        "verdict_if_misread": "tied", "what": "reading", "device": "limpet", "phase": "stream",
        "point": "end", "noted": "66 %", "instead": "65 %", "slip": "one off", "affected": 2,
        "line": 13, "evidence": "cam-1 01:02",
    }  # fmt: skip
    off = {
        **bearing, "rank": 2, "what": "power-off", "point": "last seen on", "noted": "15:28",
        "instead": "15:18", "affected": 1, "line": 0, "evidence": "",
    }  # fmt: skip
    frame = rows("load_bearing", [bearing, {**bearing, "statement": "Another"}, off])
    table = tables.load_bearing(replace(fake_results(), extra={"load_bearing": frame}))
    assert table is not None
    assert [tuple(map(plain, row)) for row in table.rows] == [
        ("limpet, reading, end of 2 Streaming video", "66 %", "65 % (one off)",
         "A drained least: supported → tied", "2", "line 13, cam-1 01:02"),
        ("limpet, power-off, last seen on", "15:28", "15:18 (one off)",
         "A drained least: supported → tied", "1", ""),
    ]  # fmt: skip


def test_a_change_of_the_display_that_bears_a_claim_is_called_one() -> None:
    tick = {"device": "limpet", "phase": "stream", "point": "inside", "kind": "tick",
            "t_min": 100.0, "soc_pct": 66.0, "line": 13}  # fmt: skip
    day = field_day()
    readings = pd.concat([day.readings, pd.DataFrame([tick])], ignore_index=True)
    bearing = {
        "run": 1, "rank": 1, "statement": "A drained least", "verdict": "supported",
        "verdict_if_misread": "tied", "what": "reading", "device": "limpet", "phase": "stream",
        "point": "inside", "noted": "66 %", "instead": "65 %", "slip": "one off", "affected": 2,
        "line": 13, "evidence": "",
    }  # fmt: skip
    results = fake_results(replace(day, readings=readings))
    table = tables.load_bearing(
        replace(results, extra={"load_bearing": rows("load_bearing", [bearing])})
    )
    assert table is not None
    assert ", change of the display in " in plain(table.rows[0][0])


def test_readings_of_several_runs_stand_in_one_order_with_the_sentences_of_the_claims() -> None:
    bearing = {
        "run": 2, "rank": 1, "statement": "A drained least (run 2)", "verdict": "supported",
        "verdict_if_misread": "tied", "what": "reading", "device": "limpet", "phase": "stream",
        "point": "end", "noted": "66 %", "instead": "65 %", "slip": "one off", "affected": 1,
        "line": 13, "evidence": "",
    }  # fmt: skip
    many = [
        {**bearing, "rank": rank, "run": 2 - rank % 2, "line": 12 + rank} for rank in range(1, 15)
    ]
    said = {
        "run": 2, "priority": 2, "kind": "this_session", "code": "drained_least",
        "statement": "A drained least (run 2)", "verdict": "supported", "measurand": "displayed",
    }  # fmt: skip
    frames = {"load_bearing": rows("load_bearing", many), "claims": rows("claims", [said])}
    session = join_runs(field_day(), field_day())
    table = tables.load_bearing(replace(fake_results(session), extra=frames))
    assert table is not None
    assert len(table.rows) == 12
    lines = [plain(row[5]) for row in table.rows]
    assert lines == [f"line {12 + rank}" for rank in range(1, 13)]
    assert plain(table.rows[0][3]) == "A drained least (run 2), by the display: supported → tied"
    assert plain(table.notes[-1]) == "Two further ones, no more dangerous, are in the CSV tables."


def test_sentences_that_no_slip_changes_are_named() -> None:
    found = [
        {"run": 0, "statement": "A ran longer than B on average", "verdict": "supported"},
        {"run": 1, "statement": "A drained least", "verdict": "tied"},
        {"run": 1, "statement": "An A lasts longer", "verdict": "cannot_be_said"},
    ]
    said = {
        "run": 1, "priority": 2, "kind": "this_session", "code": "drained_least",
        "statement": "A drained least", "verdict": "tied", "measurand": "displayed",
    }  # fmt: skip
    frames = {"robust_claims": rows("robust_claims", found), "claims": rows("claims", [said])}
    table = tables.robust_claims(replace(fake_results(), extra=frames))
    assert table is not None
    assert [tuple(map(plain, row)) for row in table.rows] == [
        ("A ran longer than B on average", "supported"),
        ("A drained least, by the display", "tied"),
    ]
    assert [plain(note) for note in table.notes] == [
        "What cannot be said stays so as well: one sentence."
    ]
    many = [{**found[0], "statement": f"Sentence {k}"} for k in range(23)]
    long = tables.robust_claims(
        replace(fake_results(), extra={"robust_claims": rows("robust_claims", many)})
    )
    assert long is not None
    assert len(long.rows) == 20
    assert [plain(note) for note in long.notes] == ["Three further ones are in the CSV tables."]
    silent = {"robust_claims": rows("robust_claims", found[2:])}
    assert tables.robust_claims(replace(fake_results(), extra=silent)) is None
    assert tables.robust_claims(fake_results()) is None
