"""Quoting, nearest names, numbers, and how findings are gathered."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.read.cells import MOST_ALIKE, Collector, hint, nearest, parse_numbers, quoted


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("87 %", "'87 %'"),
        ("", "an empty cell"),
        ("a\r\nb\t", r"'a\r\nb\t'"),
        ("\u202eabc", r"'\u202eabc'"),
        ("<script>", "'<script>'"),
        ("🦀", "'🦀'"),
        (3.5, "3.5"),
        ("x" * 300, "'" + "x" * 79 + "…'"),
    ],
)
def test_a_quoted_value_is_one_visible_line(value, shown):
    assert quoted(value) == shown


@given(st.text())
def test_a_quoted_text_holds_no_control_or_direction_mark(text):
    assert quoted(text).isprintable()


def test_the_nearest_name_ignores_case_but_not_sense():
    assert nearest("LIMPIT", ["dunlin", "Limpet"]) == "Limpet"
    assert nearest("whelk", ["dunlin", "limpet"]) == ""
    assert hint("whelk", ["dunlin"]) == ""


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("87", 87.0),
        ("87.5", 87.5),
        ("87,5", 87.5),
        (" 87 ", 87.0),
        ("+5", 5.0),
        ("-5", -5.0),
        ("\u22125", -5.0),  # the minus sign that a spreadsheet may set
        (".5", 0.5),
        ("5.", 5.0),
        ("1e2", 100.0),
        ("1.234", 1.234),
    ],
)
def test_numbers_that_are_read(text, number):
    values, bad = parse_numbers([text])
    assert values.tolist() == [number]
    assert not bad[0]


@pytest.mark.parametrize(
    "text",
    [
        "87 %",
        "87%",
        "x",
        "1.2.3",
        "1,2,3",
        "nan",
        "inf",
        "1_000",
        "1e999",
        "--5",
        "٨٧",
        "0x1F",
        ".",
    ],
)
def test_texts_that_are_no_number(text):
    values, bad = parse_numbers([text])
    assert math.isnan(values[0])
    assert bad[0]


def test_a_blank_is_neither_a_number_nor_a_fault():
    values, bad = parse_numbers(["", "  ", "3"])
    assert np.isnan(values[:2]).all()
    assert not bad.any()


def test_a_thousand_or_one_and_a_bit_is_refused_not_guessed():
    # in a file with decimal commas 1.234 may be a thousand
    assert parse_numbers(["87,5", "1.234", "2.5"])[1].tolist() == [False, True, False]
    # in a file with comma separators a quoted 1,234 may be one too
    assert parse_numbers(["1,234", "87,5"], comma_is_separator=True)[1].tolist() == [True, False]
    assert parse_numbers(["1,234"])[0].tolist() == [1.234]


@given(st.lists(st.floats(-1e6, 1e6).map(lambda x: repr(round(x, 4))), min_size=1))
def test_the_quick_and_the_careful_way_read_the_same(texts):
    careful = [parse_numbers([t + " "])[0][0] for t in texts]  # a blank takes the careful way
    assert parse_numbers(texts)[0].tolist() == careful


def test_findings_past_the_limit_are_summed_up_with_their_last_line():
    rows = np.arange(MOST_ALIKE + 5)
    notes = Collector("log.csv", lines=rows + 2)
    notes.add_rows(
        "cell-enum", rows, ["redaing"] * rows.size, column="event", expected="an event",
        remedy="Correct it.", likely=["reading", "tick"],
    )  # fmt: skip
    assert len(notes.findings) == MOST_ALIKE + 1
    assert notes.findings[0].remedy == "Correct it. Did you mean 'reading'?"
    # 205 rows from line 2 on: the 201st stands in line 202, the last in line 206
    assert notes.findings[-1].line == 202
    assert notes.findings[-1].found == "5 more of this kind, from here to line 206"


def test_a_finding_on_a_scorecard_names_the_column_of_the_device():
    notes = Collector("s.csv", np.array([5]), origin=["Limpet 10"], own=frozenset({"clock"}))
    for column in ("soc_pct", "clock"):
        notes.add("x", row=0, column=column, found="a", expected="b", remedy="c")
    assert [f.column for f in notes.findings] == ["Limpet 10", "clock"]
    assert [f.line for f in notes.findings] == [5, 5]
