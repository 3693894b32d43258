"""Tables of the report: what stands in which cell, and what stands there when nothing does."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from kit.drain.flags import FLAGS
from kit.drain.model import SOURCES
from kit.errors import Finding
from kit.session import Assumptions, Device, Gauge, Phase, Session
from kit.show import tables
from kit.show.cells import Marks
from kit.show.flag_words import flag_text, source_text, status_text
from kit.units import NO_BREAK
from tests.helpers.builders import join_runs, make_session
from tests.helpers.fake_results import fake_results, field_day, rows

if TYPE_CHECKING:
    from kit.display import Table

HOSTILE = ("<script>alert(1)</script>", '=HYPERLINK("x")', "**x**", "$x^2$", "שלום", "🐚" * 300)


def plain(text: str) -> str:
    """Return the text with ordinary spaces."""
    return text.replace(NO_BREAK, " ")


def cell(table: Table, row: str, column: str) -> str:
    """Return the cell in the row whose first cell starts with ``row``."""
    headings = [c.name for c in table.columns]
    found = [r for r in table.rows if plain(r[0]).startswith(row)]
    assert len(found) == 1, f"{len(found)} rows start with {row!r}"
    return plain(found[0][headings.index(column)])


def test_the_title_block_names_session_data_and_kit() -> None:
    results = fake_results(field_day(operator="", revision=3))
    table = tables.title_block(results, kit_version="1.2.3")
    shown = {plain(row[0]): plain(row[1]) for row in table.rows}
    assert shown["Session"] == "Tablets for the tide-pool survey"
    assert shown["Date and start"] == "2026-05-16, 08:00"
    assert shown["Operator"] == "not recorded"
    assert shown["Record"] == "test-session, revision 3"
    assert shown["In the row"] == "five devices, one run"
    assert shown["Data fingerprint"] == results.session.fingerprint
    assert shown["Made with"] == "Rundown Kit 1.2.3"


def test_the_start_says_what_is_known_of_it() -> None:
    def start_of(session: Session) -> str:
        title = tables.title_block(fake_results(session), kit_version="0")
        return cell(title, "Date and start", "Value")

    assert start_of(field_day(start=None)) == "2026-05-16, clock time not recorded"
    assert start_of(field_day(date=None)) == "date not recorded, 08:00"
    undated = field_day(date=None, start=datetime(1, 1, 1, 9, 0))
    assert start_of(join_runs(undated, undated)) == "09:00"
    assert start_of(field_day(timezone="Europe/London")) == "2026-05-16, 08:00 (Europe/London)"
    later = field_day(start=datetime(2026, 5, 17, 9, 30, tzinfo=UTC))
    assert start_of(join_runs(field_day(), later)) == "2026-05-16 08:00; 2026-05-17 09:30"


def test_a_record_without_setup_says_not_recorded_everywhere() -> None:
    results = fake_results(
        make_session(
            phases={"p1": 60},
            readings={"a": [100, 90]},
            has_setup=False,
            title="",
            date=None,
            start=None,
        )
    )
    title = tables.title_block(results, kit_version="0")
    assert cell(title, "Date and start", "Value") == "not recorded"
    device = tables.devices(results).rows[0]
    assert [plain(c) for c in device[2:]] == ["not recorded"] * 4
    assert {plain(r[1]) for r in tables.conditions(results).rows} == {"not recorded"}
    gauge = tables.gauges(results).rows[0]
    assert set(gauge[1:]) == {"not recorded"}


def test_devices_and_gauges_show_what_was_recorded() -> None:
    device = Device(
        id="limpet",
        label="Limpet 10",
        position=2,
        display_diagonal_in=10.2,
        display_px=(2160, 1620),
        rated_energy_wh=30.2,
        rated_energy_tol_pct=3.0,
        rated_capacity_mah=7900.0,
        nominal_voltage_v=3.82,
        health_pct=97.0,
        health_u_pct=2.0,
        software="Tideline 5.1",
        groups=("ten-inch",),
        notes="borrowed",
        gauge=Gauge(
            rounding="truncated", counts="charge", step_pct=1.0, reading_wakes_device=False
        ),
    )
    results = fake_results(
        make_session(devices=[device], phases={"p1": 60}, readings={"limpet": [100, 90]})
    )
    table = tables.devices(results)
    assert cell(table, "Limpet 10", "Display") == "10.2 in, 2160 × 1620 px"
    assert cell(table, "Limpet 10", "Battery, rated") == "30.2 Wh ± 3 %, 7900 mAh, 3.82 V"
    assert cell(table, "Limpet 10", "Battery health") == "97 %, u = 2 %"
    assert table.notes == ("Limpet 10: borrowed",)
    assert tables.gauges(results).rows[0] == ("Limpet 10", "down", "charge", "1", "no")


def test_conditions_show_units_exceptions_and_free_keys() -> None:
    devices = [
        Device(id="a", label="Limpet 10"),
        Device(id="b", label="Dunlin 9", conditions={"power_saver": "on", "stand": "tilted"}),
    ]
    results = fake_results(
        make_session(
            devices=devices,
            phases={"p1": 60},
            readings={},
            conditions={
                "brightness_pct": 60,
                "power_saver": False,
                "volume": "loud",
                "luminance_cd_m2": "not recorded",
                "row order": "fixed",
            },
        )
    )
    table = tables.conditions(results)
    assert cell(table, "Brightness setting", "All devices") == "60 %"
    assert cell(table, "Measured luminance", "All devices") == "not recorded"
    assert cell(table, "Volume", "All devices") == "loud"
    assert table.rows[[r[0] for r in table.rows].index("Power saver")] == (
        "Power saver",
        "no",
        "Dunlin 9: on",
    )
    assert cell(table, "row order", "All devices") == "fixed"
    assert cell(table, "stand", "Exceptions") == "Dunlin 9: tilted"


def test_the_protocol_shows_clock_times_and_the_time_between_phases() -> None:
    start = datetime(2026, 5, 16, 22, 30, tzinfo=ZoneInfo("Europe/London"))
    results = fake_results(
        make_session(
            phases=[
                Phase(id="p1", label="Maps", activity="map", planned_min=60),
                Phase(id="p2", label="Forms", activity="forms", planned_min=45, evaluated=False),
                Phase(id="p3", label="Until empty", kind="until_empty"),
            ],
            readings={"a": [100, 90, 80]},
            gaps={"p2": 7.0},
            lengths={"p3": 30.0},
            start=start,
            stop_min=142.0,
            stated_elapsed_min=140.0,
        )
    )
    table = tables.protocol(results, 1)
    assert [plain(r[0]) for r in table.rows] == [
        "1 Maps",
        "not accounted for",
        "2 Forms",
        "3 Until empty",
    ]
    assert cell(table, "1 Maps", "Start") == "22:30"
    assert cell(table, "1 Maps", "End") == "23:30"
    assert cell(table, "not accounted for", "Lasted") == "0:07"
    # 22:30 + 60 + 7 + 45 min = 00:22 on the next day
    assert cell(table, "2 Forms", "End") == "00:22 (+1 d)"
    assert cell(table, "3 Until empty", "Planned") == "until empty"
    notes = [plain(note) for note in table.notes]
    assert "The session was stopped after 2 h 22 min (00:52 (+1 d))." in notes
    assert "Elapsed time stated by the operator: 2 h 20 min." in notes
    assert "Shown but not evaluated (warm-up): Forms." in notes


def test_a_protocol_from_the_plan_alone_has_no_actual_times() -> None:
    results = fake_results(
        make_session(
            phases={"p1": 60, "p2": None}, readings={"a": [100, 90]}, span_source="planned"
        )
    )
    table = tables.protocol(results, 1)
    assert cell(table, "1 p1", "Start") == "not recorded"
    assert cell(table, "1 p1", "Times from") == "plan only"
    assert cell(table, "2 p2", "Planned") == "unknown"
    assert cell(table, "2 p2", "Lasted") == "–"


def test_phase_details_say_how_work_was_shared() -> None:
    results = fake_results(
        make_session(
            devices=[Device(id="a", label="Limpet 10"), Device(id="b", label="Dunlin 9")],
            phases=[
                Phase(id="x", label="X", kind="crossover", parts=("stream", "forms"),
                      first_half=("a",), screen_on=True, script=("One", "Two")),
                Phase(id="y", label="Y", kind="rotation", parts=("call", "guide"), turn_min=10),
            ],
            readings={},
        )
    )  # fmt: skip
    table = tables.phase_details(results)
    assert cell(table, "1 X", "Shared out") == (
        "crossover: stream then forms for Limpet 10; the others the other way round"
    )
    assert cell(table, "1 X", "Content and steps") == "One; Two"
    assert cell(table, "2 Y", "Shared out") == (
        "rotation: one device at a time call for 10 min, the others guide"
    )
    assert cell(table, "2 Y", "Screen") == "not recorded"


def test_data_quality_lists_findings_and_is_absent_without() -> None:
    finding = Finding(
        rule="soc-rises", severity="caution", file="log.csv", line=7, column="soc_pct",
        found="91 after 90", expected="no rise", remedy="Look again.",
    )  # fmt: skip
    table = tables.data_quality(fake_results(findings=(finding,)))
    assert table is not None
    assert table.rows == (
        (
            "caution",
            "log.csv, line 7, column soc_pct",
            "91 after 90; expected no rise",
            "Look again.",
        ),
    )
    assert tables.data_quality(fake_results()) is None


def test_drains_show_estimate_and_interval_by_phase_and_device() -> None:
    (table,) = tables.drain(fake_results(), 1)
    assert [c.heading for c in table.columns][:2] == ["Phase", "limpet (pp)"]
    # 100 → 90 in the fake results, ± 0.8
    assert cell(table, "1 Browsing", "limpet") == "10.0 (9.2 to 10.8)"
    assert cell(table, "4 Streaming until empty", "kelpfin") == "no reading"
    assert cell(table, "4 Streaming until empty", "whelk") == "off before"
    died = cell(table, "3 Drawing", "whelk")
    assert died.startswith("37.0 (36.2 to 37.8) [")
    letter = died[-2]
    assert any(n.startswith(f"[{letter}] The device powered off") for n in table.notes)


def test_many_devices_are_set_evenly_in_several_tables() -> None:
    session = make_session(
        phases={"p1": 60}, readings={f"d{k:02}": [100, 90 - k] for k in range(13)}
    )
    parts = tables.drain(fake_results(session), 1)
    # 13 in three tables, none with one device by itself
    assert [len(t.columns) - 1 for t in parts] == [5, 4, 4]
    assert [t.id for t in parts] == [f"drain-displayed-{k}" for k in (1, 2, 3)]
    assert parts[1].caption.endswith("(2 of 3)")


def test_a_phase_without_any_value_is_named_under_the_table() -> None:
    session = make_session(
        phases=[
            Phase(id="p1", label="Maps", planned_min=60),
            Phase(id="p2", label="Forms, later", planned_min=60),
        ],
        readings={"a": [100, 90], "b": [100, 85]},
    )
    (table,) = tables.standing(fake_results(session), 1)
    assert [plain(row[0]) for row in table.rows] == ["1 Maps"]
    assert "Without a value for any device, and so not listed: “Forms, later”." in table.notes


def test_remarks_stand_where_they_belong() -> None:
    codes = {
        ("p1", "a"): ["gap", "woken", "from_full"],
        ("p1", "b"): ["gap", "from_full"],
        ("p2", "a"): ["gap", "woken", "saver"],
        ("p2", "b"): ["gap"],
    }
    marks = Marks(codes)
    assert marks.everywhere == ["gap"]
    assert plain(marks.phase("p1")) == " [a]"  # from_full: every cell of the phase
    assert plain(marks.device("a")) == " [b]"  # woken: every cell of the device
    assert plain(marks.cell("p2", "a")) == " [c]"  # saver: this cell alone
    assert marks.cell("p1", "a") == marks.cell("p2", "b") == marks.device("b") == ""
    assert marks.notes[0].startswith("Everywhere: ")
    assert [note[:3] for note in marks.notes[1:]] == ["[a]", "[b]", "[c]"]


def test_standing_shows_ties_as_ranges_of_places() -> None:
    (table,) = tables.standing(fake_results(), 1)
    assert cell(table, "1 Browsing", "kelpfin") == "92 (1)"
    # 40 and 41 % are told apart by no rule here: places overlap
    assert cell(table, "3 Drawing", "limpet") == "40 (3–4)"
    assert cell(table, "3 Drawing", "whelk") == "no reading"


def test_drain_order_names_only_differences_that_stand() -> None:
    pairs = rows(
        "drain_pairs",
        [
            {"phase": "browse", "device_a": "limpet", "device_b": "whelk",
             "measurand": "true_charge", "margin_table_pp": 4.0, "verdict_table": "a"},
            {"phase": "browse", "device_a": "limpet", "device_b": "dunlin",
             "measurand": "true_charge", "margin_table_pp": 5.0, "verdict_table": "tie"},
            {"phase": "browse", "device_a": "dunlin", "device_b": "whelk",
             "measurand": "true_charge", "verdict_table": "not_compared"},
        ],
    )  # fmt: skip
    table = tables.drain_order(fake_results(drain_pairs=pairs), 1)
    assert [tuple(map(plain, row)) for row in table.rows] == [
        ("1 Browsing the tide tables", "limpet less than whelk", "1", "1", "4.0 to 5.0")
    ]


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


def test_energy_and_power_leave_out_what_has_no_rating() -> None:
    frame = rows(
        "energy",
        [
            {"phase": "browse", "device": "limpet", "energy_wh": 1.8, "energy_wh_low": 1.64,
             "energy_wh_high": 1.96, "power_w": 1.8, "power_w_low": 1.64, "power_w_high": 1.96},
            {"phase": "browse", "device": "whelk", "flags": "no_rated_energy"},
        ],
    )  # fmt: skip
    results = fake_results(energy=frame)
    (table,) = tables.energy(results, 1)
    assert cell(table, "1 Browsing", "limpet") == "1.80 (1.64 to 1.96)"
    assert [c.name for c in table.columns] == ["Phase", "limpet"]
    (table,) = tables.power(results, 1)
    assert table.columns[1].heading == "limpet (W)"


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


def test_the_budget_says_source_value_effect_and_reference() -> None:
    table = tables.budget(fake_results())
    assert tuple(tuple(map(plain, row)) for row in table.rows) == (
        ("Resolution: Whole percentages at both ends", "triangular", "1 pp", "0.41", "type B",
         "GUM F.2.2.1"),
    )  # fmt: skip


def test_assumptions_tell_defaults_from_what_was_stated() -> None:
    used = Assumptions(gauge_error_pp=2.0, stated=frozenset({"gauge_error_pp"}))
    table = tables.assumptions(fake_results(field_day(assumptions=used)))
    gauge = next(r for r in table.rows if r[0].startswith("Largest error of the gauge"))
    assert tuple(map(plain, gauge[1:])) == ("2 pp", "setup file")
    assert {r[2] for r in table.rows} == {"setup file", "the kit's default"}
    assert len(table.rows) == len(vars(used)) - 1


def test_the_share_of_each_source_is_a_mean_over_all_results_of_a_kind() -> None:
    one = {"phase": "browse", "quantity": "energy", "unit_symbol": "Wh"}
    frame = rows(
        "budgets",
        [
            # u² of the first is 9 + 16, all of the second is the gauge's 4
            {**one, "device": "limpet", "u": 5.0, "source": "gauge", "u_source": 3.0,
             "share": 0.36},
            {**one, "device": "limpet", "u": 5.0, "source": "health", "u_source": 4.0,
             "share": 0.64},
            {**one, "device": "whelk", "u": 2.0, "source": "gauge", "u_source": 2.0, "share": 1.0},
        ],
    )  # fmt: skip
    table = tables.shares(replace(fake_results(), extra={"budgets": frame}))
    assert table is not None
    # gauge (0.36 + 1)/2, health (0.64 + 0)/2, the middle of 5 and 2
    assert [tuple(map(plain, row)) for row in table.rows] == [
        ("gauge deviation", "68"), ("battery health", "32"), ("all together: middle u", "3.5 Wh"),
    ]  # fmt: skip
    assert tables.shares(fake_results()) is None


def test_drain_since_the_start_has_its_interval() -> None:
    standing = rows(
        "standing",
        [
            {"phase": phase, "device": "limpet", "total_drain_pp": d, "total_drain_pp_low": d - 0.8,
             "total_drain_pp_high": d + 0.8}
            for phase, d in (("browse", 12.0), ("stream", 34.0))
        ],
    )  # fmt: skip
    (table,) = tables.total_drain(fake_results(standing=standing), 1)
    assert [plain(row[1]) for row in table.rows][:2] == [
        "12.0 (11.2 to 12.8)",
        "34.0 (33.2 to 34.8)",
    ]
    assert tables.total_drain(fake_results(standing=standing.head(1)), 1) == ()


def test_agreement_counts_and_says_why_not() -> None:
    frame = rows(
        "agreement",
        [
            {"phase": "browse", "device": "limpet", "gum_low": 11.12, "gum_high": 12.88,
             "mc_low": 11.16, "mc_high": 12.84, "tolerance_pp": 0.05, "agrees": True},
            {"phase": "browse", "device": "whelk", "gum_low": 0.0, "gum_high": 0.84,
             "mc_low": 0.01, "mc_high": 0.95, "tolerance_pp": 0.05, "agrees": False,
             "why": "one-sided"},
        ],
    )  # fmt: skip
    table = tables.agreement(fake_results(agreement=frame))
    assert table is not None
    assert [plain(c) for c in table.rows[0][1:]] == ["2", "1", "0.110", "0.050", "one-sided"]
    assert tables.agreement(fake_results(agreement=rows("agreement"))) is None


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


def test_inputs_carry_their_sha256() -> None:
    table = tables.inputs(fake_results())
    assert table.rows[0] == ("log.csv", "0", "0" * 64)


def test_tables_of_several_runs_have_ids_of_their_own() -> None:
    session = join_runs(field_day(), field_day())
    results = fake_results(session)
    ids = [
        t.id
        for run in (1, 2)
        for t in (
            tables.protocol(results, run),
            tables.runtimes(results, run),
            tables.runtime_pairs(results, run),
            *tables.drain(results, run),
            *tables.rate(results, run, "true_charge"),
            *tables.standing(results, run),
            tables.drain_order(results, run),
            tables.parts(results, run),
        )
    ]
    assert len(ids) == len(set(ids))
    assert all("-run-" in i for i in ids)


@pytest.mark.parametrize("label", HOSTILE)
def test_hostile_labels_stand_in_cells_as_they_are(label: str) -> None:
    session = make_session(
        devices=[Device(id="a", label=label), Device(id="b", label="Dunlin 9")],
        phases=[Phase(id="p1", label=label, activity=label, planned_min=60)],
        readings={"a": [100, 90], "b": [100, 80]},
    )
    results = fake_results(session)
    assert tables.devices(results).rows[0][0] == label
    assert label in plain(tables.phase_details(results).rows[0][0])
    (table,) = tables.drain(results, 1)
    assert label.startswith(table.columns[1].name.rstrip("…"))


def test_every_flag_and_source_is_said_in_words() -> None:
    for code in FLAGS:
        assert flag_text(code).endswith(".")
    assert {source_text(code) for code in SOURCES}.isdisjoint(set(SOURCES) - {"gap"})
    assert status_text("not_reached") == "off before"


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
