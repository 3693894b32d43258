"""What a table leaves open is listed cell by cell, and a mapping file decides it; never a guess."""

import datetime as dt

import pytest

from tests.helpers.import_corpus import (
    CLOCKS,
    DAY,
    HEAD,
    assert_the_day,
    book,
    card,
    csv_card,
    edited,
    formatted,
    imported,
    open_cells,
    wrong_rules,
)

TWELVE = "checkpoint,clock,Limpet 10\nstart,10:00,100\nafter map,12:30,80\nafter photo,1:15,70\n"


def write(path, text):
    path.write_text(text, encoding="utf-8")
    return path


def test_a_fraction_among_percentages_is_open_and_both_readings_are_named(tmp_path):
    path = book(tmp_path / "a.xlsx", card([(100, 100), (91, 0.88), (76, None)]))
    state = imported(path)
    assert open_cells(state) == {"D3": "units.percent"}
    [finding] = [f for f in state.findings if f.severity == "error"]
    assert finding.sentence == (
        "a.xlsx, sheet 'Card', cell D3: found 0.88; expected a percentage; it could be 0.88 % or "
        '88 %. Write percent = "percent" or percent = "fraction" under [units], or say by '
        'cells."Card!D3" what was read.'
    )
    assert_the_day(imported(path, mapping='[cells]\n"Card!D3" = 88\n'))
    kept = imported(path, mapping='[units]\npercent = "percent"\n').session.readings
    assert 0.88 in kept["soc_pct"].tolist()


@pytest.mark.parametrize(
    ("values", "cells"),
    [
        ([(1, 1), (1, 1), (1, None)], {"C2", "D2", "C3", "D3", "C4"}),  # 1 % or 100 %
        ([("100 %", 1), ("91 %", 0.88), (0.76, None)], {"D2", "D3", "C4"}),
        ([(100, 1), (91, 0.5), (76, None)], {"D2", "D3"}),  # 1 is open where fractions are
    ],
)
def test_one_may_be_one_per_cent_or_all(values, cells, tmp_path):
    assert set(open_cells(imported(book(tmp_path / "a.xlsx", card(values))))) == cells


def test_whole_numbers_among_which_is_a_one_are_percentages(tmp_path):
    rows = card([(100, 100), (91, 88), (1, None)])
    state = imported(book(tmp_path / "a.xlsx", rows))
    assert state.is_settled
    assert state.session.readings["soc_pct"].min() == 1


def test_a_number_typed_before_its_cell_was_formatted_is_open(tmp_path):
    path = book(tmp_path / "a.xlsx", card(), shape=formatted("0%", "D3:D3"))
    state = imported(path)
    assert open_cells(state) == {"D3": 'cells."Card!D3"'}
    assert "8800 %" in state.findings[0].expected


def test_unknown_words_and_remarks_are_open_and_words_can_be_taught(tmp_path):
    path = book(tmp_path / "a.xlsx", card([(100, 100), (91, "ca. 88"), ("kaputt", "nix")]))
    assert set(open_cells(imported(path))) == {"D3", "C4", "D4"}
    taught = '[words]\noff = ["Kaputt"]\nmissed = ["nix"]\n[cells]\nD3 = "88"\n'
    state = imported(path, mapping=taught)
    assert state.is_settled
    assert set(state.session.power_offs["device"]) == {"Limpet 10", "Dunlin 9"}


@pytest.mark.parametrize(("key", "month"), [("day_first", 4), ("month_first", 3), ("", None)])
def test_a_date_that_could_be_either_way_round(key, month, tmp_path):
    path = write(tmp_path / "a.csv", csv_card().replace("Checkpoint", "Date,Checkpoint", 1))
    text = path.read_text().splitlines()
    lines = [text[0], *("03/04/2026," + line for line in text[1:])]
    write(path, "\n".join(lines))
    state = imported(path, mapping=f'[units]\ndates = "{key}"\n' if key else "")
    if month is None:
        assert set(open_cells(state).values()) == {"units.dates"}
        assert len(open_cells(state)) == 5  # every row
    else:
        assert state.session.date.month == month


def test_a_day_above_twelve_settles_the_order_for_the_sheet(tmp_path):
    rows = [["Date", *HEAD], ["05/16/2026", "start", *CLOCKS[:1], 100, 100],
            ["05/16/2026", "after map", CLOCKS[1], 91, 88]]  # fmt: skip
    state = imported(book(tmp_path / "a.xlsx", rows))
    assert state.is_settled
    assert state.session.date == DAY


def test_a_day_number_in_text_could_count_from_two_days(tmp_path):
    path = write(
        tmp_path / "a.csv",
        "checkpoint,date,clock,Limpet 10\nstart,46158,08:00,100\nafter map,46158,09:00,91\n",
    )
    assert set(open_cells(imported(path)).values()) == {"units.serials"}
    state = imported(path, mapping='[units]\nserials = "1900"\n')
    assert state.session.date == DAY
    # 1904-01-01 + 46158 days: 1462 days after the date counted from 30 December 1899
    later = imported(path, mapping='[units]\nserials = "1904"\n')
    assert later.session.date == DAY + dt.timedelta(days=1462)


def test_early_hours_under_time_could_count_from_the_start(tmp_path):
    path = write(
        tmp_path / "a.csv",
        "checkpoint,time,Limpet 10\nstart,0:00,100\nafter map,1:01,91\n",
    )
    assert open_cells(imported(path)) == {"B2": "units.times", "B3": "units.times"}
    elapsed = imported(path, mapping='[units]\ntimes = "elapsed"\n').session
    assert elapsed.readings["t_min"].tolist() == [0, 61]
    assert elapsed.runs[0].start is None
    clock = imported(path, mapping='[units]\ntimes = "clock"\n').session
    assert clock.runs[0].start is not None


def test_a_clock_of_twelve_hours_is_open_where_it_steps_back(tmp_path):
    path = write(tmp_path / "a.csv", TWELVE)
    assert open_cells(imported(path)) == {"B4": "units.hours"}
    session = imported(path, mapping='[units]\nhours = "12"\n').session
    # 10:00, 12:30 and 13:15 are 0, 150 and 195 min after 10:00
    assert session.readings["t_min"].tolist() == [0, 150, 195]


def test_a_power_off_on_a_clock_of_twelve_hours(tmp_path):
    text = "checkpoint,clock,Limpet 10\nstart,10:00,100\nafter map,12:30,80\npower off,,1:20\n"
    path = write(tmp_path / "a.csv", text)
    assert open_cells(imported(path)) == {"C4": "units.hours"}
    session = imported(path, mapping='[units]\nhours = "12"\n').session
    # 13:20 is 200 min after 10:00
    assert session.power_offs["noted_min"].tolist() == [200]
    half = write(tmp_path / "b.csv", text.replace("10:00", "10:00 AM").replace("12:30", "12:30 PM"))
    assert open_cells(imported(half)) == {"C4": "units.hours"}


def test_after_midnight_a_clock_of_24_hours_is_none_of_twelve(tmp_path):
    text = "checkpoint,clock,Limpet 10\nstart,21:00,100\nafter map,23:30,80\npower off,,1:20\n"
    session = imported(write(tmp_path / "a.csv", text)).session
    # 01:20 on the next day is 260 min after 21:00
    assert session.power_offs["noted_min"].tolist() == [260]


@pytest.mark.parametrize(("unit", "minutes"), [("minutes", 8.5), ("hours", 510.0)])
def test_a_bare_number_for_a_power_off_is_open_unless_it_can_only_be_minutes(
    unit, minutes, tmp_path
):
    rows = card(ends=False, extra=[["power off", None, None, 8.5]])
    day = [["Date", DAY]]  # else a step of more than six hours could be of either day
    path = book(tmp_path / "a.xlsx", rows, top=day)
    assert open_cells(imported(path)) == {"D6": "units.numbers"}
    state = imported(path, mapping=f'[units]\nnumbers = "{unit}"\n')
    assert state.session.power_offs["noted_min"].tolist() == [minutes]
    sure = book(
        tmp_path / "b.xlsx", card(ends=False, extra=[["power off", None, None, 510]]), top=day
    )
    assert imported(sure).session.power_offs["noted_min"].tolist() == [510]


def test_errors_and_formulas_without_result_are_not_taken_for_blanks(tmp_path):
    path = book(tmp_path / "a.xlsx", card([(100, 100), (91, "=44*2"), (76, "-")]))
    state = imported(path)
    assert open_cells(state) == {"D3": 'cells."Card!D3"'}
    assert_the_day(imported(path, mapping='[cells]\n"Card!D3" = 88\n'))
    failed = book(tmp_path / "b.xlsx", card())
    edited(failed, "xl/worksheets/sheet1.xml", r'<c r="D3"[^>]*><v>88</v></c>',
           '<c r="D3" t="e"><v>#DIV/0!</v></c>')  # fmt: skip
    assert set(open_cells(imported(failed))) == {"D3"}


def test_a_formula_with_a_stored_result_counts_as_its_result(tmp_path):
    path = book(tmp_path / "a.xlsx", card())
    edited(path, "xl/worksheets/sheet1.xml", r'(<c r="D3"[^>]*>)<v>88</v>',
           r"\1<f>2*44</f><v>88</v>")  # fmt: skip
    assert_the_day(imported(path))


def test_several_sheets_must_say_which_run_they_are(tmp_path):
    def second(workbook, page):
        other = workbook.create_sheet("Sheet2")
        for row in card():
            other.append(row)

    path = book(tmp_path / "a.xlsx", card(), sheet="Sheet1", shape=second)
    state = imported(path)
    assert [f.decide for f in state.findings if f.severity == "error"] == [
        'sheets."Sheet1".run',
        'sheets."Sheet2".run',
    ]
    said = "[sheets.Sheet1]\nrun = 1\n[sheets.Sheet2]\nrun = 2\n"
    assert [r.number for r in imported(path, mapping=said).session.runs] == [1, 2]


def test_two_dates_above_the_table_are_open(tmp_path):
    top = [["Printed", dt.date(2026, 5, 20)], ["Day", DAY]]
    path = book(tmp_path / "a.xlsx", card(), top=top)
    assert set(open_cells(imported(path)).values()) == {"session.date"}
    state = imported(path, mapping="[session]\ndate = 2026-05-16\n")
    assert_the_day(state)
    assert state.session.date == DAY


def test_two_columns_of_one_device_are_an_error(tmp_path):
    rows = [[*HEAD, "Limpet 10"], ["start", CLOCKS[0], 100, 100, 99]]
    state = imported(book(tmp_path / "a.xlsx", rows))
    assert wrong_rules(state) == {"import-device-twice"}
    [finding] = [f for f in state.findings if f.severity == "error"]
    assert finding.cell == "E1"


def test_percentages_without_a_heading_are_an_error(tmp_path):
    rows = [[*HEAD, None], ["start", CLOCKS[0], 100, 100, 99]]
    assert wrong_rules(imported(book(tmp_path / "a.xlsx", rows))) == {"import-unnamed"}


def test_kinds_of_tables_are_not_mixed(tmp_path):
    one = book(tmp_path / "a.xlsx", card())
    two = write(tmp_path / "b.csv", "timestamp,level\n2026-05-16T08:00:00,100\n"
                "2026-05-16T08:01:00,99\n")  # fmt: skip
    assert wrong_rules(imported(one, two)) == {"import-mixed"}


def test_what_the_reader_of_scorecards_finds_is_led_back_to_its_cell(tmp_path):
    path = book(tmp_path / "a.xlsx", card([(100, 100), (91, 188), (76, None)]))
    state = imported(path)
    [finding] = [f for f in state.findings if f.severity == "error"]
    assert (finding.rule, finding.cell, finding.found) == ("cell-maximum", "D3", "'188'")


def test_times_that_a_log_without_a_date_cannot_keep_in_order_need_the_date(tmp_path):
    """The tablet is off before the first reading, which is minute 0: minute −254 of no day."""
    text = (
        "checkpoint,clock,Limpet 10,Dunlin 9\nstart,08:13,-,off\nafter map,12:27,64,64\n"
        "after photo,14:19,60,58\n"
    )
    path = write(tmp_path / "a.csv", text)
    state = imported(path)
    assert wrong_rules(state) == {"import-not-same"}
    assert next(f for f in state.findings if f.severity == "error").decide == "session.date"
    assert imported(path, mapping="[session]\ndate = 2026-05-16\n").is_settled
