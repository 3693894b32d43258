"""Files as they come out of spreadsheets, editors and loggers, and files that are none."""

import csv
import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.read import csv_dialect
from kit.read.cells import Collector
from kit.read.csv_dialect import read_table

PLAIN = "event,device,note\nreading,limpet,a\ntick,dunlin,b\n"


def table_of(text, name="log.csv"):
    table, findings = read_table(text if isinstance(text, bytes) else text.encode(), name)
    assert findings == ()
    return table


def finding_of(data):
    table, findings = read_table(data, "log.csv")
    assert len(findings) == 1
    assert findings[0].severity == "error"
    assert findings[0].file == "log.csv"
    return table, findings[0]


@pytest.mark.parametrize(
    "text",
    [
        PLAIN,
        PLAIN.replace(",", ";"),
        PLAIN.replace(",", "\t"),
        "\ufeff" + PLAIN,
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace("\n", "\r"),
        PLAIN.rstrip("\n"),
        PLAIN.replace("note", " note "),
        '"event","device","note"\n"reading","limpet","a"\n"tick","dunlin","b"\n',
        PLAIN.replace("\n", ",\n"),  # a column too many, empty, as spreadsheets leave behind
    ],
)
def test_the_same_table_in_any_dress(text):
    table = table_of(text)
    assert list(table.frame.columns) == ["event", "device", "note"]
    assert table.frame.values.tolist() == [["reading", "limpet", "a"], ["tick", "dunlin", "b"]]
    assert table.lines.tolist() == [2, 3]
    assert table.header_line == 1


def test_lines_count_as_an_editor_does():
    text = '\n  \nevent,note\n\nreading,"one\ntwo\nthree"\n,\ntick,b\n'
    # 1, 2 blank; 3 heading; 4 blank; 5-7 the reading; 8 an empty row; 9 the tick
    table = table_of(text)
    assert table.header_line == 3
    assert table.lines.tolist() == [5, 9]
    assert table.frame["note"].tolist() == ["one\ntwo\nthree", "b"]


def test_a_declared_separator_is_obeyed_and_counts_as_a_line():
    table = table_of("sep=;\nevent;note\nreading;a,b,c,d\n")
    assert table.separator == ";"
    assert table.header_line == 2
    assert table.lines.tolist() == [3]
    assert table.frame["note"].tolist() == ["a,b,c,d"]


def test_commas_in_a_heading_do_not_hide_the_semicolons():
    table = table_of("checkpoint;Limpet 10, blue;Dunlin 9, old, red\nstart;100;100\n")
    assert table.separator == ";"


def test_one_column_needs_no_separator():
    assert table_of("event\nnote\n").separator == ","


def test_short_rows_have_blank_cells():
    assert table_of("event,device,note\nreading\n").frame.values.tolist() == [["reading", "", ""]]


@pytest.mark.parametrize(
    ("data", "rule", "line", "word", "remedy"),
    [
        (b"", "file-empty", 1, "empty", "right file"),
        (b"\xef\xbb\xbf \r\n\r\n", "file-empty", 1, "empty", "right file"),
        (b"\n;;\n;;\n", "file-empty", 2, "without names", "right file"),
        ("event\nx".encode("utf-16"), "file-encoding", 1, "UTF-16", "CSV UTF-8"),
        (b"event,note\nnote,caf\xe9\n", "file-encoding", 2, "0xe9", "CSV UTF-8"),
        (b"event,note\nnote,a\nnote,\0\n", "file-nul", 3, "NUL", "as CSV"),
    ],
)
def test_files_that_are_no_text(data, rule, line, word, remedy):
    table, finding = finding_of(data)
    assert table is None
    assert finding.rule == rule
    assert finding.line == line
    assert word in finding.found
    assert remedy in finding.remedy


def test_a_byte_of_an_old_encoding_is_shown_as_what_it_may_be():
    _, finding = finding_of(b"event,note\nnote,caf\xe9\n")
    assert "'é'" in finding.found


def test_a_row_wider_than_the_heading_is_told_with_its_line():
    table, finding = finding_of(b'event,note\nnote,"x\ny"\nnote,a,b,c\ntick,z\n')
    assert finding.rule == "row-width"
    assert finding.line == 4  # the row before takes two lines
    assert finding.found == "4 cells"
    assert finding.expected == "at most 2, as many as the heading names (separator: comma)"
    assert "quotation marks" in finding.remedy
    assert len(table.frame) == 3  # so that everything else can be told too


def test_all_wide_rows_are_told():
    _, findings = read_table(b"a,b\n1,2,3\n1,2\n1,2,3\n", "x.csv")
    assert [f.line for f in findings] == [2, 4]


@pytest.mark.parametrize("row", ['"a', '"a"b,c'])
def test_a_quotation_mark_that_is_not_closed(row):
    _, finding = finding_of(f"event,note\nnote,x\nnote,{row}\n".encode())
    assert finding.rule == "file-quotes"
    assert finding.line == 3
    assert "twice" in finding.remedy


def test_a_heading_with_a_broken_quotation_mark():
    table, finding = finding_of(b'"event,note\nx,y\n')
    assert table is None
    assert finding.rule == "file-quotes"
    assert finding.line == 1


def test_a_column_without_a_name_is_told_only_if_it_has_cells():
    assert list(table_of("event,,note\nnote,,x\n").frame.columns) == ["event", "note"]
    _, finding = finding_of(b"event,,note\nnote,1,x\n")
    assert finding.rule == "column-unnamed"
    assert finding.line == 1
    assert "column 2" in finding.found


def test_a_name_over_two_columns_is_told():
    _, finding = finding_of(b"event,note,note\nnote,1,x\n")
    assert finding.rule == "column-twice"
    assert (finding.line, finding.column) == (1, "note")


@pytest.mark.parametrize("mark", ["'", '"', "🦀"])
def test_the_parser_for_dense_logs_reads_what_the_plain_one_does(mark):
    rows = [
        ["reading", f"d{i % 3}", str(i / 8), f"{mark}{i}" if i % 7 == 0 else ""]
        for i in range(9000)
    ]
    rows[5][3] = 'two\nlines, and "quotes"'
    rows[70][3] = "\n\nthree\n"
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\n").writerows([["event", "device", "t", "note"], *rows])
    text = stream.getvalue().replace("d0,1.5,", "d0,1.5,", 1)
    assert len(text) > csv_dialect.DENSE_BYTES
    table = table_of(text)
    assert table.frame.values.tolist() == rows
    # the sixth row has one line break in it, the seventy-first three
    lines = np.arange(2, 9002) + (np.arange(9000) > 5) + 3 * (np.arange(9000) > 70)
    assert table.lines.tolist() == lines.tolist()


CELL = st.text(st.sampled_from("ab1,;\"\n \t'é"), max_size=4)


@settings(max_examples=200)
@given(
    st.lists(st.lists(CELL, min_size=3, max_size=3), min_size=1, max_size=12),
    st.sampled_from(",;\t"),
)
def test_dense_and_plain_reading_agree_on_any_cells(rows, separator):
    stream = io.StringIO()
    csv.writer(stream, delimiter=separator, lineterminator="\n", quoting=csv.QUOTE_ALL).writerows(
        rows
    )
    text = stream.getvalue()
    notes = Collector("x")
    plain = csv_dialect._rows_plain(text, separator, 3, 2, notes)
    dense = csv_dialect._rows_dense(text, separator, 3, 2)
    kept = [r for r in rows if any(r)]
    assert [list(r) for r in zip(*plain[0], strict=True)] == kept
    assert notes.findings == []
    if dense is not None and kept:
        assert [c.tolist() for c in dense[0]] == [c.tolist() for c in plain[0]]
        assert dense[1].tolist() == plain[1].tolist()


def test_a_dense_log_with_one_wide_row_still_tells_its_line():
    for more in (",x", ",x,y,z"):
        text = "event,t\n" + "reading,1\n" * 20_000 + f"reading,1{more}\n"
        _, finding = finding_of(text.encode())
        assert finding.rule == "row-width"
        assert finding.line == 20_002


def test_lines_are_not_guessed_where_rows_and_line_breaks_do_not_tally():
    text = 'a,"b\nc"\nd,e\n'
    assert csv_dialect._lines_with_quotes(text, ",", 2, 2).tolist() == [2, 4]
    assert csv_dialect._lines_with_quotes(text, ",", 4, 2) is None


def test_numbers_in_a_dense_log_stay_as_written():
    text = "t\n" + "".join(f"{i % 100:04d}.{i % 10}0\n" for i in range(20_000))
    assert table_of(text).frame["t"].tolist()[:3] == ["0000.00", "0001.10", "0002.20"]


@given(st.binary(max_size=300))
def test_any_bytes_are_a_table_or_findings(data):
    table, findings = read_table(data, "x.csv")
    assert table is not None or findings
