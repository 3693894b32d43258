"""Tables of drains by phase: estimates, standing, order, energy, and remarks on them."""

from __future__ import annotations

from kit.session import Phase
from kit.show import tables
from kit.show.cells import Marks
from tests.helpers.builders import make_session
from tests.helpers.fake_results import fake_results, rows
from tests.helpers.shown import cell, plain


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
