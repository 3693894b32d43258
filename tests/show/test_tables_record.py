"""Tables of what was recorded: session, devices, conditions, protocol, findings and inputs."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from kit.errors import Finding
from kit.session import Device, Gauge, Phase, Session
from kit.show import tables
from tests.helpers.builders import join_runs, make_session
from tests.helpers.fake_results import fake_results, field_day
from tests.helpers.shown import cell, plain


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


def test_inputs_carry_their_sha256() -> None:
    table = tables.inputs(fake_results())
    assert table.rows[0] == ("log.csv", "0", "0" * 64)
