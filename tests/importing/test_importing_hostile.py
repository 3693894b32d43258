"""Files that are broken or meant to do harm: refused in words, or read as mere data."""

import struct
import time
import zipfile
import zlib

import openpyxl
import pytest

from kit.errors import UsageError
from kit.importing import archive
from kit.importing.archive import RefusedError, repacked, unpacked
from kit.importing.preview import preview
from tests.helpers.import_corpus import (
    CLOCKS,
    HEAD,
    assert_the_day,
    book,
    card,
    cell,
    csv_card,
    edited,
    imported,
    ods,
    wrong_rules,
)

BOMB = (
    '<!DOCTYPE x [<!ENTITY a "0123456789"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">'
    '<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]>'
)


def with_part(path, name, data):
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as file:
        file.writestr(name, data)
    return path


def test_a_document_type_is_refused_before_any_parser_sees_it(tmp_path):
    path = edited(book(tmp_path / "a.xlsx", card()), "xl/worksheets/sheet1.xml",
                  "<worksheet", BOMB + "<worksheet")  # fmt: skip
    assert wrong_rules(imported(path)) == {"import-entities"}
    sheet = {"Card": [[cell(v) for v in row] for row in card()]}
    assert wrong_rules(imported(ods(tmp_path / "a.ods", sheet, dtd=BOMB))) == {"import-entities"}


def test_a_document_type_in_another_encoding_is_refused(tmp_path):
    for encoding in ("utf-16", "utf-7"):
        xml = f'<?xml version="1.0" encoding="{encoding}"?>{BOMB}<x>&c;</x>'
        path = tmp_path / f"{encoding}.xlsx"
        with zipfile.ZipFile(path, "w") as file:
            file.writestr("xl/workbook.xml", xml.encode(encoding))
        assert wrong_rules(imported(path)) == {"import-broken"}


def test_a_part_that_would_unpack_to_very_much_is_refused(tmp_path, monkeypatch):
    path = book(tmp_path / "a.xlsx", card())
    with_part(path, "xl/extra.xml", b"<x>" + b" " * 60_000_000 + b"</x>")  # packed 1000-fold
    before = time.perf_counter()
    assert wrong_rules(imported(path)) == {"import-too-large"}
    assert time.perf_counter() - before < 2
    monkeypatch.setattr(archive, "LARGEST_UNPACKED", 1000)
    assert wrong_rules(imported(book(tmp_path / "b.xlsx", card()))) == {"import-too-large"}


def test_an_archive_that_lies_about_sizes_unpacks_to_no_more_than_it_says():
    """The size in the directory is made 10 bytes; the reader of cells gets what was read."""
    import io

    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("a.xml", b"<x>" + b"y" * 5000 + b"</x>")
    data = bytearray(stream.getvalue())
    at = data.index(b"PK\x01\x02")
    data[at + 24 : at + 28] = struct.pack("<I", 10)
    with pytest.raises(RefusedError):
        unpacked(bytes(data))


def test_what_is_handed_on_holds_only_what_was_unpacked():
    parts = {"a.xml": b"<a/>", "b/c.rels": b"<b/>"}
    with zipfile.ZipFile(repacked(parts)) as file:
        assert {n: file.read(n) for n in file.namelist()} == parts


def test_a_file_cut_short_anywhere_is_refused_in_words(tmp_path):
    whole = book(tmp_path / "a.xlsx", card()).read_bytes()
    for share in (0.1, 0.5, 0.9, 0.99):
        path = tmp_path / f"{share}.xlsx"
        path.write_bytes(whole[: int(share * len(whole))])
        assert wrong_rules(imported(path)) == {"import-broken"}


def test_a_damaged_part_is_refused_in_words(tmp_path):
    path = tmp_path / "a.xlsx"
    book(path, card())
    data = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as file:
        info = file.getinfo("xl/worksheets/sheet1.xml")
    at = info.header_offset + 30 + len(info.filename)
    data[at + 10 : at + 40] = bytes(30)
    path.write_bytes(data)
    assert wrong_rules(imported(path)) == {"import-broken"}


@pytest.mark.parametrize(
    "part",
    ["xl/worksheets/sheet1.xml", "xl/workbook.xml", "xl/styles.xml", "xl/_rels/workbook.xml.rels"],
)
def test_parts_that_are_no_xml_are_refused_in_words(part, tmp_path):
    path = book(tmp_path / "a.xlsx", card([(1.0, 1.0), (0.9, 0.8), (0.7, None)]))
    edited(path, part, r">", '><broken numFmtId="9" ')
    assert wrong_rules(imported(path)) == {"import-broken"}


@pytest.mark.parametrize("place", ["XFD1048576", "XFD4", "D1048576"])
def test_a_cell_far_out_is_refused_and_named(place, tmp_path):
    path = book(tmp_path / "a.xlsx", card())
    row = place.lstrip("XFD")
    more = f'<row r="{row}"><c r="{place}"><v>1</v></c></row></sheetData>'
    edited(path, "xl/worksheets/sheet1.xml", "</sheetData>", more)
    state = imported(path)
    assert wrong_rules(state) == {"import-too-large"}
    assert place in state.findings[0].found


def test_an_ods_sheet_repeated_without_end_is_refused(tmp_path):
    rows = [[cell(v) for v in row] for row in card()]
    wide = [*rows, [cell(1, table_number_columns_repeated=99_999_999)]]
    state = imported(ods(tmp_path / "a.ods", {"Card": wide}))
    assert wrong_rules(state) == {"import-too-large"}


def test_a_locked_or_old_file_is_refused_in_words(tmp_path):
    path = tmp_path / "a.xlsx"
    path.write_bytes(bytes.fromhex("d0cf11e0a1b11ae1") + bytes(2000))
    state = imported(path)
    assert wrong_rules(state) == {"import-kind"}
    assert "password" in state.findings[0].sentence


def test_a_member_behind_a_password_is_refused_in_words(tmp_path):
    path = book(tmp_path / "a.xlsx", card())
    data = bytearray(path.read_bytes())
    at = -1
    while (at := data.find(b"PK\x01\x02", at + 1)) >= 0:
        data[at + 8] |= 1
    path.write_bytes(data)
    assert wrong_rules(imported(path)) == {"import-locked"}


def test_other_archives_and_documents_are_no_spreadsheets(tmp_path):
    text = tmp_path / "a.odt"
    with zipfile.ZipFile(text, "w") as file:
        file.writestr("mimetype", "application/vnd.oasis.opendocument.text")
        file.writestr("content.xml", "<x/>")
    other = tmp_path / "b.zip"
    with zipfile.ZipFile(other, "w") as file:
        file.writestr("readme.txt", "hello")
    for path in (text, other):
        assert wrong_rules(imported(path)) == {"import-kind"}


@pytest.mark.parametrize(
    "data", [b"", b"\n\n  \n", b"\0\1\2\3" * 100, b"%PDF-1.7 \xe2\xe3", zlib.compress(b"x" * 999)]
)
def test_what_is_no_table_at_all_is_refused_in_words(data, tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(data)
    state = imported(path)
    assert not state.is_settled
    assert state.session is None
    assert preview(state)


def test_a_line_without_end_is_refused(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("checkpoint,Limpet\nstart," + "9" * 200_000, encoding="utf-8")
    assert wrong_rules(imported(path)) == {"import-too-large"}


def test_rows_in_another_separator_are_told(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(csv_card(";").replace("after photo;", "after photo,").replace(
        "10:03;76;-", "10:03,76,-"), encoding="utf-8")  # fmt: skip
    state = imported(path)
    assert "import-separator" in wrong_rules(state)
    assert next(f for f in state.findings if f.rule == "import-separator").line == 4


def test_a_heading_like_a_formula_needs_a_name(tmp_path):
    rows = card(head=[*HEAD[:2], '=HYPERLINK("http://example.org","Limpet")', "@SUM(1)"])
    text = [["" if v is None else str(v) for v in r] for r in rows]
    path = tmp_path / "a.csv"
    path.write_text("\n".join(";".join(r) for r in text), encoding="utf-8")
    assert wrong_rules(imported(path)) == {"import-formula"}
    named = (
        '[devices."Limpet 10"]\nnames = [\'=HYPERLINK("http://example.org","Limpet")\']\n'
        '[devices."Dunlin 9"]\nnames = ["@SUM(1)"]\n'
    )
    state = imported(path, mapping=named)
    assert_the_day(state)
    assert "HYPERLINK" not in state.log + state.setup


def test_a_note_like_a_formula_is_written_as_text(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(
        "checkpoint,clock,Limpet 10,note\nstart,08:00,100,\"=cmd|'/C calc'!A0\"\n"
        "after map,09:00,91,-2 pp while idle\n",
        encoding="utf-8",
    )
    notes = imported(path).session.readings["note"].tolist()
    assert notes == ["'=cmd|'/C calc'!A0", "'-2 pp while idle"]


def test_characters_that_hide_or_steer_do_not_reach_terminal_or_record(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(
        "\u202eTitle\x1b[2J\ncheckpoint,clock,Lim\u200bpet\x1b[31m 10\nstart,08:00,100\n"
        "after \u202emap,09:00,91\n",
        encoding="utf-8",
    )
    state = imported(path)
    assert state.is_settled
    for text in (state.log, state.setup, preview(state)):
        assert not {"\x1b", "\u202e", "\u200b"} & set(text)
    assert "Limpet[31m 10" in state.log


def test_formula_cells_never_run_and_text_that_looks_like_one_stays_text(tmp_path):
    path = book(tmp_path / "a.xlsx", [*card(), ["Total", None, "=SUM(C2:C4)", "=WEBSERVICE(A1)"]])
    assert_the_day(imported(path))


def test_macros_and_pictures_are_not_even_unpacked(tmp_path):
    path = with_part(book(tmp_path / "a.xlsx", card()), "xl/vbaProject.bin", b"\xff" * 1000)
    assert "xl/vbaProject.bin" not in unpacked(path.read_bytes())
    assert_the_day(imported(path))


def test_a_file_that_is_not_there_or_two_of_one_name_are_wrong_use(tmp_path):
    with pytest.raises(UsageError, match="cannot be read"):
        imported(tmp_path / "a.csv")
    (tmp_path / "b").mkdir()
    one, two = book(tmp_path / "a.xlsx", card()), book(tmp_path / "b" / "a.xlsx", card())
    with pytest.raises(UsageError, match="two files"):
        imported(one, two)


def test_a_broken_file_does_not_keep_the_others_from_being_told(tmp_path):
    good = book(tmp_path / "a.xlsx", card([(100, 100), (91, 0.5), (76, None)]))
    bad = tmp_path / "b.xlsx"
    bad.write_bytes(b"PK\x03\x04broken")
    assert wrong_rules(imported(good, bad)) == {"import-broken", "import-ambiguous"}


def test_an_empty_workbook_and_an_empty_sheet_are_told(tmp_path):
    path = tmp_path / "a.xlsx"
    openpyxl.Workbook().save(path)
    state = imported(path)
    assert wrong_rules(state) == {"import-no-table"}
    assert state.aside == ("a.xlsx, sheet 'Sheet' (no table of readings)",)


def test_an_ordinary_file_takes_well_under_a_second(tmp_path):
    path = book(tmp_path / "a.xlsx", card([(1.0, 1.0), (0.91, 0.88), (0.76, None)]))
    imported(path)  # loads what is loaded once
    before = time.process_time()
    imported(path)
    assert time.process_time() - before < 0.5


def test_clocks_and_headings_stay_what_they_were():
    assert len(CLOCKS) == 3  # the corpus is shared: nothing above may change it
    assert HEAD[:2] == ["Checkpoint", "Clock"]


def test_an_archive_packed_by_an_unknown_method_is_refused():
    """Method 97 in both headers: a number that zipfile has a name for and nothing more."""
    import io

    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("a.xml", b"<x/>")
    data = bytearray(stream.getvalue())
    for mark, offset in ((b"PK\x03\x04", 8), (b"PK\x01\x02", 10)):
        at = data.index(mark) + offset
        data[at : at + 2] = struct.pack("<H", 97)
    with pytest.raises(RefusedError, match="packed by a method"):
        unpacked(bytes(data))
