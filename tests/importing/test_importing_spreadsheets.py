"""Parts of spreadsheet files that no library here writes, and files that another library wrote."""

import datetime as dt
import zipfile

import pytest

from kit.importing.spreadsheet import read_spreadsheet
from tests.helpers.import_corpus import (
    CLOCKS,
    DAY,
    HEAD,
    NAMES,
    assert_the_day,
    card,
    cell,
    imported,
    ods,
    open_cells,
)

SHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
XML = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>'


def raw_book(path, sheet, strings=(), prefix="", target="worksheets/sheet1.xml"):
    """Write a workbook by hand, with shared strings, as spreadsheet programs write them."""
    shared = "".join(f"<si>{s}</si>" for s in strings)
    parts = {
        "[Content_Types].xml": f'{XML}<Types xmlns="{PACKAGE}/content-types">'
        '<Default Extension="xml" ContentType="application/xml"/>'
        '<Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-'
        'officedocument.spreadsheetml.sheet.main+xml"/></Types>',
        "_rels/.rels": f'{XML}<Relationships xmlns="{PACKAGE}/relationships"><Relationship '
        f'Id="rId1" Type="{REL}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'{XML}<{prefix}workbook xmlns{":x" if prefix else ""}="{SHEET}" '
        f'xmlns:r="{REL}"><{prefix}sheets><{prefix}sheet name="Card" sheetId="1" r:id="rId1"/>'
        f"</{prefix}sheets></{prefix}workbook>",
        "xl/_rels/workbook.xml.rels": f'{XML}<Relationships xmlns="{PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{REL}/worksheet" Target="{target}"/>'
        f'<Relationship Id="rId2" Type="{REL}/sharedStrings" Target="sharedStrings.xml"/>'
        f'<Relationship Id="rId3" Type="{REL}/styles" Target="styles.xml"/></Relationships>',
        "xl/styles.xml": f'{XML}<styleSheet xmlns="{SHEET}"><numFmts count="1">'
        '<numFmt numFmtId="164" formatCode="0.0\\ %"/></numFmts><fonts count="1"><font/></fonts>'
        '<fills count="1"><fill/></fills><borders count="1"><border/></borders>'
        '<cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="4"><xf numFmtId="0"/>'
        '<xf numFmtId="20"/><xf numFmtId="9"/><xf numFmtId="164"/></cellXfs></styleSheet>',
        "xl/sharedStrings.xml": f'{XML}<sst xmlns="{SHEET}">{shared}</sst>',
        "xl/worksheets/sheet1.xml": f"{XML}<{prefix}worksheet xmlns{':x' if prefix else ''}="
        f'"{SHEET}"><{prefix}sheetData>{sheet}</{prefix}sheetData></{prefix}worksheet>',
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return path


STRINGS = [f"<t>{t}</t>" for t in (*HEAD, *NAMES)]
STRINGS[2] = "<r><t>Limpet</t></r><r><rPr><b/></rPr><t xml:space='preserve'> 10</t></r>"
STRINGS += ["<t>last seen on</t>", "<t>first seen off</t>"]
# shared strings 0 to 3 are the headings, 4 to 8 the names of rows; styles 1: h:mm, 2: 0%, 3: 0.0 %
DATA = [
    '<row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="s"><v>1</v></c>'
    '<c r="C1" t="s"><v>2</v></c><c r="D1" t="s"><v>3</v></c></row>',
    '<row r="2"><c r="A2" t="s"><v>4</v></c><c r="B2" s="1"><v>0.333333333333333</v></c>'
    '<c r="C2" s="2"><v>1</v></c><c r="D2" s="3"><v>1</v></c></row>',
    '<row r="3"><c r="A3" t="s"><v>5</v></c><c r="B3" s="1"><v>0.375694444444444</v></c>'
    '<c r="C3" s="2"><v>0.91</v></c><c r="D3" s="3"><f>C3-0.03</f><v>0.88</v></c></row>',
    '<row r="4"><c r="A4" t="s"><v>6</v></c><c r="B4" s="1"><v>0.41875</v></c>'
    '<c r="C4" s="2"><v>0.76</v></c><c r="D4" s="3"/></row>',
    '<row r="5"><c r="A5" t="s"><v>7</v></c><c r="D5" s="1"><v>0.413888888888889</v></c></row>',
    '<row r="6"><c r="A6" t="s"><v>8</v></c><c r="D6" s="1"><v>0.415277777777778</v></c></row>',
]


def test_shared_strings_rich_text_and_formats(tmp_path):
    assert_the_day(imported(raw_book(tmp_path / "a.xlsx", "".join(DATA), STRINGS)))


def test_an_absolute_target_of_a_sheet(tmp_path):
    path = raw_book(tmp_path / "a.xlsx", "".join(DATA), STRINGS, target="/xl/worksheets/sheet1.xml")
    assert_the_day(imported(path))


def test_cells_without_references_count_on(tmp_path):
    import re

    bare = re.sub(r' r="[A-D]?[1-6]"', "", "".join(DATA[:4]))
    path = raw_book(tmp_path / "a.xlsx", bare, STRINGS)
    state = imported(path)
    assert state.is_settled
    assert state.session.readings["soc_pct"].tolist() == [100, 100, 91, 88, 76]


def test_a_sheet_whose_formats_are_not_there_shows_its_values(tmp_path):
    data = "".join(DATA).replace(' s="2"', ' s="99"').replace(' s="3"', "")
    assert_the_day(imported(raw_book(tmp_path / "a.xlsx", data, STRINGS)))


def test_an_ods_error_is_open_and_not_blank(tmp_path):
    rows = [[cell(v) for v in row] for row in card()]
    rows[2][3] = (
        '<table:table-cell table:formula="of:=1/0" office:value-type="string" '
        'office:string-value="" calcext:value-type="error"><text:p>#DIV/0!</text:p>'
        "</table:table-cell>"
    )
    assert set(open_cells(imported(ods(tmp_path / "a.ods", {"Card": rows})))) == {"D3"}


def test_an_ods_duration_of_more_than_a_day(tmp_path):
    long = (
        '<table:table-cell office:value-type="time" office:time-value="PT30H15M00S">'
        "<text:p>30:15</text:p></table:table-cell>"
    )
    [grid] = read_spreadsheet(ods(tmp_path / "a.ods", {"S": [[long]]}).read_bytes(), "a.ods")
    assert grid.rows == [[dt.timedelta(hours=30, minutes=15)]]


def test_ods_cells_that_stand_for_many_rows_are_percentages_in_all_of_them(tmp_path):
    path = ods(tmp_path / "a.ods", {"S": [[cell(0.5, table_number_columns_repeated=2)]]})
    with zipfile.ZipFile(path) as archive:
        content = archive.read("content.xml").decode()
    content = content.replace(
        "<table:table-row>", '<table:table-row table:number-rows-repeated="3">'
    )
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", content)
        archive.writestr("META-INF/manifest.xml", "<x/>")
    [grid] = read_spreadsheet(path.read_bytes(), "a.ods")
    assert grid.rows == [[0.5, 0.5]] * 3
    assert grid.percent == {(r, c) for r in range(3) for c in range(2)}


# ------------------------------------------------------ written by another library


def odf_book(path, sheets, *, hidden=()):
    """Write an ODS file with the library that reads and writes them."""
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.style import Style, TableProperties
    from odf.table import CoveredTableCell, Table, TableCell, TableRow
    from odf.text import P

    book = OpenDocumentSpreadsheet()
    gone = Style(name="gone", family="table")
    gone.addElement(TableProperties(display="false"))
    book.automaticstyles.addElement(gone)
    kinds = {float: "percentage", int: "float", str: "string"}
    for name, rows in sheets.items():
        table = Table(name=name, **({"stylename": "gone"} if name in hidden else {}))
        for values in rows:
            row = TableRow()
            for value in values:
                if isinstance(value, tuple):  # a text over several columns
                    text, width = value
                    made = TableCell(valuetype="string", numbercolumnsspanned=str(width),
                                     numberrowsspanned="1")  # fmt: skip
                    made.addElement(P(text=text))
                    row.addElement(made)
                    row.addElement(CoveredTableCell(numbercolumnsrepeated=str(width - 1)))
                    continue
                if value is None:
                    row.addElement(TableCell())
                    continue
                if isinstance(value, dt.time):
                    made = TableCell(valuetype="time", timevalue=f"PT{value:%HH%MM%SS}")
                elif isinstance(value, dt.date):
                    made = TableCell(valuetype="date", datevalue=value.isoformat())
                elif isinstance(value, str):
                    made = TableCell(valuetype="string")
                else:
                    made = TableCell(valuetype=kinds[type(value)], value=str(value))
                made.addElement(P(text=str(value)))
                row.addElement(made)
            table.addElement(row)
        book.spreadsheet.addElement(table)
    book.save(path)
    return path


ODF = {
    "percentages": [[*row[:2], *[None if v is None else v / 100 if isinstance(v, int) else v
                                 for v in row[2:]]] for row in card()],
    "whole numbers": card(),
    "a merged title and a date": [[("Tide-pool tablets", 4)], ["Date", DAY], [], *card()],
    "date and time cells": card(clocks=[dt.datetime.combine(DAY, c) for c in CLOCKS]),
    "texts": card([("100 %", "100,0"), ("91", "88 %"), ("76", "–")],
                  clocks=["8:00", "9:01", "10:03"]),
}  # fmt: skip


@pytest.mark.system
@pytest.mark.parametrize("name", ODF)
def test_the_day_in_ods_files_of_another_library(name, tmp_path):
    pytest.importorskip("odf")
    assert_the_day(imported(odf_book(tmp_path / "a.ods", {"Card": ODF[name]})))


@pytest.mark.system
def test_a_hidden_ods_sheet_is_left_aside(tmp_path):
    pytest.importorskip("odf")
    sheets = {"Old": card([(50, 50), (40, 40), (30, None)]), "Card": card()}
    state = imported(odf_book(tmp_path / "a.ods", sheets, hidden=("Old",)))
    assert_the_day(state)
    assert state.aside == ("a.ods, sheet 'Old' (hidden; --sheet reads it)",)


@pytest.mark.system
def test_runs_in_ods_sheets(tmp_path):
    pytest.importorskip("odf")
    path = odf_book(tmp_path / "a.ods", {"Run 1": card(), "Run 2": card()})
    assert [r.number for r in imported(path).session.runs] == [1, 2]
