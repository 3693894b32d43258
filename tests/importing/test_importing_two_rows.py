"""Headings of two rows, a time beside each percentage, and columns that are no devices."""

import datetime as dt

import pytest

from kit.importing.preview import preview
from tests.helpers.import_corpus import (
    CLOCKS,
    NAMES,
    OFF,
    VALUES,
    assert_the_day,
    book,
    card,
    cell,
    imported,
    ods,
    open_cells,
    wrong_rules,
)

UPPER = ["Checkpoint", "Clock", "Limpet 10", None, "Dunlin 9", None]
LOWER = [None, None, "%", "time", "%", "time"]
SECOND = dt.timedelta(minutes=1)


def later(clock, minutes):
    return (dt.datetime(2026, 5, 16, clock.hour, clock.minute) + minutes * SECOND).time()


def rows(*, shared=True, last="time"):
    """Return the day with the second device read a minute after the first."""
    table = [UPPER, [*LOWER[:5], last]]
    for name, clock, (one, two) in zip(NAMES, CLOCKS, VALUES, strict=True):
        own = [one / 100, clock, two and two / 100, two and later(clock, 1)]
        table.append([name, clock if shared else None, *own])
    table.append(["last seen on", None, None, None, None, dt.time(9, 56)])
    table.append(["first seen off", None, None, None, None, dt.time(9, 58)])
    return table


def merged(workbook, page):
    for cells in ("C1:D1", "E1:F1", "A1:A2", "B1:B2"):
        page.merge_cells(cells)
    for r in range(3, 6):
        for column in "CE":
            page[f"{column}{r}"].number_format = "0%"


def times(state):
    readings = state.session.readings
    rows = readings[readings["soc_pct"].notna()]
    keys = zip(rows["device"], rows["phase"], rows["point"], rows["t_min"], strict=True)
    return {(d, p, q): t for d, p, q, t in keys}


# 08:00, 09:01 and 10:03 as minutes since 08:00, and a minute later for the second device
EACH = {
    ("Limpet 10", "map", "start"): 0,
    ("Dunlin 9", "map", "start"): 1,
    ("Limpet 10", "map", "end"): 61,
    ("Dunlin 9", "map", "end"): 62,
    ("Limpet 10", "photo", "end"): 123,
}


@pytest.mark.parametrize("shared", [True, False])
def test_every_reading_has_the_time_that_stands_beside_it(tmp_path, shared):
    path = book(tmp_path / "a.xlsx", rows(shared=shared), shape=merged)
    state = imported(path)
    assert_the_day(state, times=False)
    assert times(state) == EACH
    assert "of each reading, by the clock (column D, column F)" in preview(state)
    assert not [f for f in state.findings if f.rule == "reading-missing"]


def test_without_merged_cells_a_name_reaches_over_the_blank_ones(tmp_path):
    text = (
        "Checkpoint;Limpet 10;;Dunlin 9;\n;%;time;%;time\n"
        "start;100;8:00;100;8:01\nafter map;91;9:01;88;9:02\nafter photo;76;10:03;dead;10:04\n"
        "last seen on;;;;9:56\nfirst seen off;;;;9:58\n"
    )
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8")
    state = imported(path)
    assert_the_day(state, times=False)
    assert times(state) == EACH


def test_ods_spans_count_as_merged_cells(tmp_path):
    table = [
        [cell("Checkpoint"), cell("Limpet 10", table_number_columns_spanned=2),
         "<table:covered-table-cell/>", cell("Dunlin 9", table_number_columns_spanned=2)],
        [cell(None), cell("%"), cell("time"), cell("%"), cell("time")],
        [cell("start"), cell(100), cell(dt.time(8, 0)), cell(100), cell(dt.time(8, 1))],
        [cell("after map"), cell(91), cell(dt.time(9, 1)), cell(88), cell(dt.time(9, 2))],
        [cell("after photo"), cell(76), cell(dt.time(10, 3))],
        [cell("last seen on"), *[cell(None)] * 3, cell(dt.time(9, 56))],
        [cell("first seen off"), *[cell(None)] * 3, cell(dt.time(9, 58))],
    ]  # fmt: skip
    state = imported(ods(tmp_path / "a.ods", {"Card": table}))
    assert_the_day(state, times=False)
    assert times(state) == EACH


def test_devices_in_rows_with_a_time_beside_each_percentage(tmp_path):
    table = [
        ["Tablet", "start", None, "after map", None, "after photo", None, "last seen on",
         "first seen off", "Remarks"],
        [None, "%", "time", "%", "time", "%", "time"],
        ["Limpet 10", 100, dt.time(8, 0), 91, dt.time(9, 1), 76, dt.time(10, 3)],
        ["Dunlin 9", 100, dt.time(8, 1), 88, dt.time(9, 2), "dead", dt.time(10, 4),
         dt.time(9, 56), dt.time(9, 58), "saver on"],
    ]  # fmt: skip
    state = imported(book(tmp_path / "a.xlsx", table))
    assert_the_day(state, times=False)
    assert times(state) == EACH
    assert state.parts[0].aside == ["column J 'Remarks'"]
    [start] = [f for f in state.findings if f.rule == "start-from-log"]
    assert start.cell == "C3"


def test_times_since_the_start_beside_the_percentages(tmp_path):
    text = (
        "Checkpoint,Limpet 10,,Dunlin 9,\n,%,min,%,min\n"
        "start,100,0,100,1\nafter map,91,61,88,62\nafter photo,76,123,,\n"
        "last seen on,,,,116\nfirst seen off,,,,118\n"
    )
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8")
    state = imported(path)
    assert state.is_settled, preview(state)
    assert times(state) == EACH
    offs = state.session.power_offs
    assert offs["last_on_min"].tolist() == [OFF["Dunlin 9"][0]]


def test_a_walk_past_midnight_stays_in_order(tmp_path):
    text = (
        "Checkpoint,Limpet 10,,Dunlin 9,\n,%,clock,%,clock\n"
        "start,100,22:30,100,22:31\nafter map,91,23:59,88,00:01\n"
    )
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8")
    state = imported(path)
    assert state.is_settled, preview(state)
    # 22:30 to 00:01 are 91 minutes
    assert sorted(times(state).values()) == [0, 1, 89, 91]


def test_what_else_stands_under_a_name_is_left_aside_and_named(tmp_path):
    path = book(tmp_path / "a.xlsx", rows(last="temp"), shape=merged)
    state = imported(path)
    [part] = state.parts
    assert "heading 'Dunlin 9 temp' (column F)" in part.aside


def test_a_percentage_beside_the_time_of_a_power_off_is_left_aside(tmp_path):
    table = [*rows()[:-2], ["power off", None, None, None, 0.01, dt.time(9, 58)]]
    state = imported(book(tmp_path / "a.xlsx", table, shape=merged))
    assert state.session.power_offs["noted_min"].tolist() == [118]
    assert "E6 '0.01'" in state.parts[0].aside


def test_a_row_of_units_under_single_names(tmp_path):
    head = ["Checkpoint", "Clock", "Limpet 10", "Dunlin 9", "Shed"]
    table = [head, [None, "hh:mm", "%", "%", "°C"], *(
        [*r, 20] for r in card(ends=False)[1:]
    ), *card()[-2:]]  # fmt: skip
    state = imported(book(tmp_path / "a.xlsx", table))
    assert_the_day(state)
    assert state.parts[0].aside == ["heading 'Shed (°C)' (column E)"]


def test_the_mapping_file_decides_columns_under_two_rows(tmp_path):
    path = book(tmp_path / "a.xlsx", rows(), shape=merged)
    state = imported(path, mapping='[columns]\nD = "ignore"\nF = "ignore"\n')
    assert set(times(state).values()) == {0, 61, 123}
    state = imported(path, mapping='[devices.limpet]\nnames = ["Limpet 10"]\n')
    assert {d.id for d in state.session.devices} == {"limpet", "Dunlin 9"}


@pytest.mark.parametrize("heading", ["Room", "room", "Ambient", "Humidity", "Room °C"])
def test_a_column_about_the_place_is_left_aside_and_named(tmp_path, heading):
    table = [[*r, v] for r, v in zip(card(), (heading, 21, 21.5, 22, None, None), strict=True)]
    state = imported(book(tmp_path / "a.xlsx", table))
    assert_the_day(state)
    assert state.parts[0].aside == [f"heading '{heading}' (column E)"]


@pytest.mark.parametrize("values", [(21, 21.5, 22), (21, 20, 19)])
def test_numbers_that_do_not_run_down_are_open(tmp_path, values):
    table = [[*r, v] for r, v in zip(card(), ("Shed", *values, None, None), strict=True)]
    path = book(tmp_path / "a.xlsx", table)
    state = imported(path)
    assert open_cells(state)["E1"] == 'columns."Shed"'
    assert not state.is_settled
    assert_the_day(imported(path, mapping='[columns]\n"Shed" = "ignore"\n'))


def test_a_decided_column_is_not_asked_about(tmp_path):
    table = [[*r, v] for r, v in zip(card(), ("Shed", 21, 21, 22, None, None), strict=True)]
    state = imported(book(tmp_path / "a.xlsx", table), mapping='[columns]\n"Shed" = "readings"\n')
    assert {d.id for d in state.session.devices} == {"Limpet 10", "Dunlin 9", "Shed"}


def test_a_footnote_is_no_checkpoint(tmp_path):
    table = [*card()[:3], ["* read by Wren"], *card()[3:]]
    state = imported(book(tmp_path / "a.xlsx", table))
    assert_the_day(state)
    assert state.parts[0].aside == ["row 4 '* read by Wren'"]


def test_a_device_of_formulas_without_results_is_told_cell_by_cell(tmp_path):
    path = book(tmp_path / "a.xlsx", card([(100, "=C2"), (91, "=C3-3"), (76, None)], ends=False))
    assert open_cells(imported(path)) == {"D2": 'cells."Card!D2"', "D3": 'cells."Card!D3"'}


def test_a_list_may_say_when(tmp_path):
    table = [
        ["When", "Tablet", "Battery"],
        [dt.datetime(2026, 5, 16, 8, 0), "Limpet 10", 100],
        [dt.datetime(2026, 5, 16, 9, 1), "Limpet 10", 91],
    ]
    state = imported(book(tmp_path / "a.xlsx", table))
    assert state.session.readings["t_min"].tolist() == [0, 61]  # 8:00 to 9:01


def test_a_column_of_phases_and_one_of_points(tmp_path):
    table = [
        ["Phase", "Point", "Clock", "Limpet 10", "Dunlin 9"],
        ["map", "start", dt.time(8, 0), 100, 100],
        [None, "end", dt.time(9, 1), 91, 88],
        ["photo", "end", dt.time(10, 3), 76, None],
        [None, "last seen on", None, None, dt.time(9, 56)],
        [None, "first seen off", None, None, dt.time(9, 58)],
    ]
    path = book(tmp_path / "a.xlsx", table, shape=lambda _, page: page.merge_cells("A2:A3"))
    assert_the_day(imported(path))


def test_times_over_columns_are_no_devices(tmp_path):
    table = [["", "8:00", "9:01"], ["Limpet 10", "100 %", "91 %"], ["Dunlin 9", "100 %", "88 %"]]
    path = book(tmp_path / "a.xlsx", table)
    assert open_cells(imported(path)) == {"B1": 'columns."8:00"', "C1": 'columns."9:01"'}


def test_a_second_table_in_a_sheet_is_told_once(tmp_path):
    table = [*card(ends=False), [], ["Run 2"], *card(ends=False)]
    state = imported(book(tmp_path / "a.xlsx", table))
    [told] = [f for f in state.findings if f.severity == "error"]
    # four rows, a blank one, the title of the second: its headings are in row 7
    assert (told.rule, told.line) == ("import-second-table", 7)


def hide(workbook, page):
    page.row_dimensions[3].hidden = True
    page.column_dimensions["D"].hidden = True
    page.column_dimensions["K"].hidden = True


def test_hidden_rows_and_columns_are_read_and_told(tmp_path):
    state = imported(book(tmp_path / "a.xlsx", card(), shape=hide))
    assert_the_day(state)
    [told] = [f for f in state.findings if f.rule == "import-hidden"]
    assert told.severity == "note"
    assert told.found == "hidden, but with something in it: row 3 and column D"


def test_hidden_rows_and_columns_of_ods_are_told(tmp_path):
    table = [[cell(v) for v in row] for row in card()]
    path = ods(tmp_path / "a.ods", {"Card": table})
    plain = imported(path)
    assert not [f for f in plain.findings if f.rule == "import-hidden"]
    from tests.helpers.import_corpus import edited

    column = '<table:table-column table:number-columns-repeated="3"/>'
    edited(path, "content.xml", '(table:name="Card">)',
           r"\1" + column + '<table:table-column table:visibility="collapse"/>')  # fmt: skip
    edited(path, "content.xml", "<table:table-row>(?=<table:table-cell[^>]*><text:p>after map)",
           '<table:table-row table:visibility="filter">')  # fmt: skip
    state = imported(path)
    assert_the_day(state)
    [told] = [f for f in state.findings if f.rule == "import-hidden"]
    assert told.found == "hidden, but with something in it: row 3 and column D"


def test_an_old_encoding_is_told_with_the_key_that_names_it(tmp_path):
    path = tmp_path / "a.csv"
    text = "Prüfpunkt;Uhrzeit;Limpet 10;Dunlin 9\nstart;8:00;100;100\nafter map;9:01;91;88\n"
    path.write_bytes(text.encode("cp1252"))
    state = imported(path)
    assert wrong_rules(state) == {"file-encoding"}
    assert 'encoding = "cp1252"' in state.findings[0].remedy
    mapping = '[file]\nencoding = "cp1252"\n[columns]\nUhrzeit = "clock"\n'
    assert imported(path, mapping=mapping).is_settled
