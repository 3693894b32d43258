"""Tables of runtimes: of one run, in pairs, projected, and as means over runs."""

from __future__ import annotations

from kit.show import tables
from tests.helpers.builders import make_session
from tests.helpers.fake_results import fake_results, rows
from tests.helpers.shown import cell, plain


def test_runtimes_stand_longest_first_and_a_survivor_has_a_lower_bound() -> None:
    table = tables.runtimes(fake_results(), 1)
    assert [row[0] for row in table.rows] == ["kelpfin", "periwinkle", "limpet", "dunlin", "whelk"]
    shown = [plain(c) for c in table.rows[0]]
    assert shown[1:6] == ["1", "> 8:30", "at least 8:30", "> 8.50", "–"]
    # last seen on at minute 449, first seen off at 451 after 08:00
    shown = [plain(c) for c in table.rows[1]]
    assert shown[1:7] == ["2–3", "7:30", "7:29 to 7:31", "7.50", "15:29 to 15:31", "1"]


def test_a_runtime_that_was_not_recorded_is_a_dash() -> None:
    session = make_session(phases={"p1": 60}, readings={"a": [100, 90], "b": [100, 80]})
    table = tables.runtimes(fake_results(session), 1)
    assert [plain(c) for c in table.rows[0][2:6]] == ["–"] * 4


def test_pairs_are_told_from_the_longer_lasting_device() -> None:
    table = tables.runtime_pairs(fake_results(), 1)
    assert [plain(c) for c in table.rows[0]] == [
        "kelpfin", "periwinkle", "at least 59", "1", "kelpfin lasted longer",
    ]  # fmt: skip
    close = next(r for r in table.rows if r[:2] == ("periwinkle", "limpet"))
    # [449, 451] and [448, 450]: difference −1 to 3 min; P = 1 − (1·1/2)/(2·2) = 0.875
    assert [plain(c) for c in close[2:]] == ["−1 to 3", "0.875", "too close to call"]


def test_projections_state_a_lower_limit_alone_where_only_that_is_known() -> None:
    frame = rows(
        "projections",
        [
            {"phase": "browse", "device": "limpet", "hours": 10.0, "hours_low": 9.26,
             "hours_high": 10.87, "ranked": True},
            {"phase": "browse", "device": "whelk", "hours_low": 62.5, "at_least": True,
             "ranked": True},
            {"phase": "browse", "device": "dunlin"},
        ],
    )  # fmt: skip
    (table,) = tables.projections(fake_results(projections=frame), 1)
    assert cell(table, "1 Browsing", "limpet") == "10.0 (9.2 to 10.9)"
    assert cell(table, "1 Browsing", "whelk") == "at least 62.5"
    assert cell(table, "1 Browsing", "dunlin") == "–"


def test_replicates_give_means_with_intervals() -> None:
    frame = rows(
        "replicates",
        [
            {"device": "limpet", "quantity": "runtime", "runs": 3, "mean": 9.1, "s_r": 0.05,
             "dof": 2.0, "mean_low": 8.95, "mean_high": 9.25, "unit_symbol": "h",
             "repeatability_limit": 0.14},
            {"device": "limpet", "quantity": "drain:browse", "runs": 3, "mean": 10.0,
             "mean_low": 9.2, "mean_high": 10.8, "unit_symbol": "pp", "flags": "no_scatter_seen"},
        ],
    )  # fmt: skip
    table = tables.replicates(fake_results(replicates=frame))
    assert [plain(c) for c in table.rows[0]] == [
        "limpet", "runtime", "3", "9.10 (8.95 to 9.25) h", "0.05 h", "0.14 h", "2",
    ]  # fmt: skip
    assert plain(table.rows[1][1]) == "drain in Browsing the tide tables"
    assert plain(table.rows[1][3]) == "10.0 (9.2 to 10.8) pp [a]"
    # GUM, table E.1 (from memory): a standard deviation of three values is uncertain by 52 %
    assert [plain(note) for note in table.notes] == [
        "Limit: two single runs of a unit differ by more in about one of twenty cases "
        "(repeatability limit of ISO 5725, 2.8 s).",
        "A scatter is itself uncertain, from three runs to 52 % (one standard uncertainty, after "
        "GUM, table E.1).",
        "[a] All runs gave the same value, so only the resolution is in the interval.",
    ]
