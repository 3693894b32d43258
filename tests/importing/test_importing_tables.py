"""One day in many tables: each must give the same readings, times and power-off."""

import datetime as dt

import pytest

from tests.helpers.import_corpus import (
    CLOCKS,
    DAY,
    HEAD,
    NAMES,
    VALUES,
    assert_the_day,
    book,
    card,
    cell,
    csv_card,
    edited,
    formatted,
    imported,
    ods,
)

FRACTIONS = [(1.0, 1.0), (0.91, 0.88), (0.76, "-")]
LIST_HEAD = ["Device", "Phase", "Point", "Clock", "Battery %"]
LIST = [
    ["Limpet 10", "map", "start", dt.time(8, 0), 100],
    ["Dunlin 9", "map", "start", dt.time(8, 0), 100],
    ["Limpet 10", "map", "end", dt.time(9, 1), 91],
    ["Dunlin 9", "map", "end", dt.time(9, 1), 88],
    ["Limpet 10", "photo", "end", dt.time(10, 3), 76],
]


def serial(clock, day=0):
    """Day number and part of the day: 8:00 is 1/3; 16 May 2026 is day 46158 from 30 Dec 1899."""
    return day + (clock.hour * 60 + clock.minute) / 1440


def merged_title(book_, page):
    page.merge_cells("A1:D1")


def styled_blanks(path):
    rows = "".join(f'<row r="{r}"><c r="E{r}" s="0"/></row>' for r in range(8, 100_008))
    return edited(path, "xl/worksheets/sheet1.xml", "</sheetData>", rows + "</sheetData>")


def trailing(_, page):
    page["H3"].number_format = "0%"
    page["C40"].number_format = "h:mm"


def hidden(book_, page):
    other = book_.create_sheet("Old")
    for row in card([(100, 100), (50, 50), (20, 20)]):
        other.append(row)
    other.sheet_state = "hidden"


def group(_, page):
    page.insert_rows(1)
    page["C1"] = "Tablets"
    page.merge_cells("C1:D1")


def phase_column(_, page):
    page.merge_cells("A2:A3")


def spans(_, page):
    page.merge_cells("B1:C1")


CASES = {
    "whole numbers": lambda p: book(p / "a.xlsx", card()),
    "percent cells": lambda p: book(p / "a.xlsx", card(FRACTIONS), shape=formatted("0%")),
    "percent cells with decimals": lambda p: book(
        p / "a.xlsx", card(FRACTIONS), shape=formatted("0.0 %")
    ),
    "a literal per cent sign": lambda p: book(p / "a.xlsx", card(), shape=formatted('0"%"')),
    "fractions of one": lambda p: book(p / "a.xlsx", card(FRACTIONS)),
    "numbers as text": lambda p: book(
        p / "a.xlsx", card([("100", "100"), ("91", "88"), ("76", "n/a")])
    ),
    "texts with the sign": lambda p: book(
        p / "a.xlsx", card([("100 %", "100%"), ("91\u202f%", "88 %"), ("76 percent", "–")])
    ),
    "decimal commas": lambda p: book(
        p / "a.xlsx", card([("100,0", "100,0"), ("91,0", "88,00"), ("76,0", "")])
    ),
    "fractions as text": lambda p: book(
        p / "a.xlsx", card([("1", "1"), ("0,91", "0,88"), ("0,76", "")])
    ),
    "one column formatted, one not": lambda p: book(
        p / "a.xlsx", card([(1.0, 100), (0.91, 88), (0.76, None)]), shape=formatted("0%", "C2:C4")
    ),
    "a title row": lambda p: book(p / "a.xlsx", card(), top=[["Tide-pool tablets"]]),
    "a merged title and a date": lambda p: book(
        p / "a.xlsx", card(), top=[["Tide-pool tablets"], ["Date", DAY], []], shape=merged_title
    ),
    "several titles": lambda p: book(
        p / "a.xlsx",
        card(),
        top=[["Saltmarsh survey"], ["Read by", "Wren"], ["Room", "21 °C"], [], ["16.05.2026"]],
    ),
    "a heading over the devices": lambda p: book(p / "a.xlsx", card(), shape=group),
    "a column of notes": lambda p: book(
        p / "a.xlsx",
        card(
            [(*v, n) for v, n in zip(VALUES, ["", "wind", "sun"], strict=True)],
            head=[*HEAD, "Remarks"],
        ),
    ),
    "trailing blanks": lambda p: book(p / "a.xlsx", card(), shape=trailing),
    "a hundred thousand blank rows": lambda p: styled_blanks(book(p / "a.xlsx", card())),
    "times as text": lambda p: book(
        p / "a.xlsx", card(clocks=["8:00", "09:01", "10.03 h".replace(".", ":")])
    ),
    "times with AM and PM": lambda p: book(
        p / "a.xlsx", card(clocks=["8:00 AM", "9:01 a.m.", "10:03am"])
    ),
    "date and time cells": lambda p: book(
        p / "a.xlsx", card(clocks=[dt.datetime.combine(DAY, c) for c in CLOCKS])
    ),
    "parts of a day": lambda p: book(p / "a.xlsx", card(clocks=[serial(c) for c in CLOCKS])),
    "day numbers": lambda p: book(p / "a.xlsx", card(clocks=[serial(c, 46158) for c in CLOCKS])),
    "times typed as durations": lambda p: book(
        p / "a.xlsx", card(), shape=formatted("[h]:mm", "B2:B4")
    ),
    "elapsed durations": lambda p: book(
        p / "a.xlsx",
        card(
            clocks=[dt.timedelta(0), dt.timedelta(minutes=61), dt.timedelta(minutes=123)],
            head=["", "Elapsed", *HEAD[2:]],
            ends=False,
            extra=[["last seen on", None, None, 116], ["first seen off", None, None, 118]],
        ),
    ),
    "elapsed minutes": lambda p: book(
        p / "a.xlsx",
        card(
            clocks=[0, 61, 123],
            head=["", "Elapsed (min)", *HEAD[2:]],
            ends=False,
            extra=[["last seen on", None, None, 116], ["first seen off", None, None, 118]],
        ),
    ),
    "devices in rows": lambda p: book(
        p / "a.xlsx",
        [
            ["Tablet", *NAMES, "last seen on", "first seen off", "Remarks"],
            ["Clock", *CLOCKS],
            ["Limpet 10", 100, 91, 76],
            ["Dunlin 9", 100, 88, None, dt.time(9, 56), dt.time(9, 58), "the old one"],
        ],
    ),
    "phases over columns": lambda p: book(
        p / "a.xlsx",
        [
            ["", "map", "", "photo", "", ""],
            ["Tablet", "start", "end", "end", "last seen on", "first seen off"],
            ["Clock", *CLOCKS],
            ["Limpet 10", 100, 91, 76],
            ["Dunlin 9", 100, 88, None, dt.time(9, 56), dt.time(9, 58)],
        ],
        shape=lambda b, s: (s.merge_cells("B1:C1"), s.merge_cells("D1:E1")),
    ),
    "phases over rows": lambda p: book(
        p / "a.xlsx",
        [
            HEAD,
            ["map"],
            ["start", *[CLOCKS[0], 100, 100]],
            ["end", CLOCKS[1], 91, 88],
            ["photo"],
            ["end", CLOCKS[2], 76, "-"],
            ["last seen on", None, None, dt.time(9, 56)],
            ["first seen off", None, None, dt.time(9, 58)],
        ],
    ),
    "a merged column of phases": lambda p: book(
        p / "a.xlsx",
        [
            ["Phase", *HEAD],
            ["map", "start", CLOCKS[0], 100, 100],
            [None, "end", CLOCKS[1], 91, 88],
            ["photo", "end", CLOCKS[2], 76],
            [None, "last seen on", None, None, dt.time(9, 56)],
            [None, "first seen off", None, None, dt.time(9, 58)],
        ],
        shape=phase_column,
    ),
    "rows that a spreadsheet worked out": lambda p: book(
        p / "a.xlsx", card(extra=[["Average", None, 89, 94], ["Total drain", None, 24, 12]])
    ),
    "columns that are no devices": lambda p: book(
        p / "a.xlsx",
        card(
            [(*v, t, d) for v, t, d in zip(VALUES, [21, 22, 23], [0, 3, 5], strict=True)],
            head=[*HEAD, "Room (°C)", "Mean drain"],
        ),
    ),
    "a hidden sheet": lambda p: book(p / "a.xlsx", card(), shape=hidden),
    "a wrong extent": lambda p: edited(
        book(p / "a.xlsx", card()),
        "xl/worksheets/sheet1.xml",
        r'<dimension ref="[^"]*"\s*/>',
        '<dimension ref="A1:XFD1048576"/>',
    ),
    "a list": lambda p: book(
        p / "a.xlsx",
        [
            ["Device", "Event", "Phase", "Point", "Clock", "soc_pct", "last_on", "first_off"],
            *[[d, "reading", ph, pt, c, s] for d, ph, pt, c, s in LIST],
            ["Dunlin 9", "power_off", None, None, None, None, dt.time(9, 56), dt.time(9, 58)],
        ],
    ),
    "a list by checkpoints": lambda p: book(
        p / "a.xlsx",
        [
            ["Checkpoint", "Tablet", "Clock", "Battery"],
            *[[{"start": "start"}.get(pt, f"after {ph}"), d, c, s] for d, ph, pt, c, s in LIST],
            ["last seen on", "Dunlin 9", dt.time(9, 56)],
            ["first seen off", "Dunlin 9", dt.time(9, 58)],
        ],
    ),
    "CSV": lambda p: text(p, csv_card()),
    "CSV with semicolons and decimal commas": lambda p: text(p, csv_card(";", ",0")),
    "CSV with tabs": lambda p: text(p, csv_card("\t")),
    "CSV that says its separator": lambda p: text(p, "sep=;\n" + csv_card(";")),
    "CSV with a byte order mark": lambda p: text(p, "\ufeff" + csv_card(";")),
    "CSV in UTF-16": lambda p: text(p, csv_card("\t"), "utf-16"),
    "CSV with old line ends": lambda p: text(p, csv_card().replace("\n", "\r\n")),
    "CSV with title lines": lambda p: text(p, "Tide-pool tablets\n\n" + csv_card(";", ",0")),
    "CSV with padded title lines": lambda p: text(
        p, "Tide-pool tablets;;;\nWren;;;\n" + csv_card(";")
    ),
    "CSV with quoted decimal commas": lambda p: text(p, csv_card(",", ",0", '"')),
    "CSV with signs": lambda p: text(p, csv_card(";", " %")),
    "CSV with trailing columns and rows": lambda p: text(
        p, "".join(line + ";;;\n" for line in csv_card(";").splitlines()) + ";;;;;;\n" * 20
    ),
    "CSV under another name": lambda p: text(p, csv_card(), name="a.xlsx"),
    "a spreadsheet under another name": lambda p: book(p / "a.xlsx", card()).rename(p / "a.csv"),
    "ODS": lambda p: ods(
        p / "a.ods", {"Card": [[cell(v) for v in row] for row in card(FRACTIONS)]}
    ),
    "ODS with whole numbers and a date": lambda p: ods(
        p / "a.ods",
        {
            "Card": [
                [cell("Tide-pool tablets")],
                [cell("Date"), cell(DAY)],
                *[[cell(v) for v in row] for row in card()],
            ]
        },
    ),
    "ODS with repeated cells": lambda p: ods(
        p / "a.ods",
        {
            "Card": [
                *[[cell(v) for v in row] for row in card()[:1]],
                [cell("start"), cell(CLOCKS[0]), cell(100, table_number_columns_repeated=2)],
                *[[cell(v) for v in row] for row in card()[2:]],
                [cell(None, table_number_columns_repeated=16000)],
            ]
        },
    ),
}


def text(folder, content, encoding="utf-8", name="a.csv"):
    path = folder / name
    path.write_bytes(content.encode(encoding))
    return path


@pytest.mark.parametrize("name", CASES)
def test_the_day_comes_out_the_same(name, tmp_path):
    assert_the_day(imported(CASES[name](tmp_path)))


def test_there_are_more_than_forty_tables():
    assert len(CASES) > 40


def test_a_workbook_that_counts_days_from_1904_gives_the_same_date(tmp_path):
    def old(workbook, page):
        workbook.epoch = openpyxl_epoch()

    path = book(tmp_path / "a.xlsx", card(), top=[["Date", DAY]], shape=old)
    state = imported(path)
    assert_the_day(state)
    assert state.session.date == DAY


def openpyxl_epoch():
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    return CALENDAR_MAC_1904


def test_the_date_above_the_table_is_the_date_of_the_session(tmp_path):
    state = imported(CASES["a merged title and a date"](tmp_path))
    assert state.session.date == DAY
    assert state.session.title == "Tide-pool tablets"
    assert 'date = 2026-05-16\nstart = "08:00"' in state.setup


def test_sheets_called_runs_are_runs(tmp_path):
    def second(workbook, page):
        other = workbook.create_sheet("Run 2")
        for row in card([(100, 100), (90, 87), (75, None)]):
            other.append(row)

    state = imported(book(tmp_path / "a.xlsx", card(), sheet="Run 1", shape=second))
    assert state.is_settled
    readings = state.session.readings
    assert [r.number for r in state.session.runs] == [1, 2]
    # the second sheet reads 100, 100, 90, 87, 75
    assert readings.loc[readings["run"] == 2, "soc_pct"].tolist() == [100, 100, 90, 87, 75]
    assert '[[runs]]\nnumber = 2\nstart = "08:00"' in state.setup


def test_found_off_at_a_checkpoint_is_a_power_off_seen_there(tmp_path):
    for word in ("off", "dead", "DEAD", "Powered off"):
        rows = card([(100, 100), (91, 88), (76, word)], ends=False)
        state = imported(book(tmp_path / "a.xlsx", rows))
        assert_the_day(state, limits=False)
        # 10:03 is 123 min after 08:00
        assert state.session.power_offs["first_off_min"].tolist() == [123]


def test_several_sheets_of_one_day_may_be_one_run_if_the_mapping_says_so(tmp_path):
    left = [[r[0], r[1], r[2]] for r in card(ends=False)]
    right = [[r[0], r[1], r[3]] for r in card()]

    def second(workbook, page):
        other = workbook.create_sheet("Right")
        for row in right:
            other.append(row)

    path = book(tmp_path / "a.xlsx", left, sheet="Left", shape=second)
    assert not imported(path).is_settled
    assert_the_day(imported(path, mapping="[sheets.Left]\nrun = 1\n[sheets.Right]\nrun = 1\n"))


def test_one_sheet_can_be_asked_for(tmp_path):
    def second(workbook, page):
        other = workbook.create_sheet("Other")
        for row in card([(1, 2), (3, 4), (5, 6)]):
            other.append(row)

    path = book(tmp_path / "a.xlsx", card(), shape=second)
    state = imported(path, mapping='[file]\nsheets = ["Card"]\n')
    assert_the_day(state)
    assert state.aside == ("a.xlsx, sheet 'Other' (not asked for)",)
