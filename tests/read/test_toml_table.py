"""Tables of a TOML file: what is asked for is checked, what is not asked for is told."""

from datetime import date, time

import pytest

from kit.read.toml_table import Notes, Table, is_number, key_lines, toml_text


def table(data, path="devices[1]", lines=None):
    return Table(data, path, Notes("session.toml", lines or {}))


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "true"),
        (1.5, "1.5"),
        ("", "an empty text"),
        ("a\nb", r"'a\nb'"),
        (date(2026, 5, 16), "2026-05-16"),
        (time(8, 0), "08:00:00"),
        ([1, "a"], '[1, "a"]'),
        ([{"a": 1}], "an array with tables"),
        ({}, "a table"),
    ],
)
def test_values_stand_in_messages_about_as_in_the_file(value, text):
    assert toml_text(value) == text


def test_numbers_are_finite_and_no_truth_values():
    assert [is_number(v) for v in (1, 1.5, True, float("nan"), float("inf"), "1")] == [
        True, True, False, False, False, False,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("bounds", "expected"),
    [
        ({}, "a number"),
        ({"low": 0}, "a number from 0"),
        ({"low": 0, "high": 100, "unit": "%"}, "a number from 0 to 100 (%)"),
    ],
)
def test_the_bounds_of_a_number_are_in_its_message(bounds, expected):
    given = table({"x": "much"})
    assert given.number("x", **bounds) is None
    assert given.notes.findings[0].expected == expected


def test_a_finding_stands_on_the_line_of_its_key_or_of_the_table_around_it():
    given = table({"x": 1, "y": 2}, lines={"devices[1]": 4, "devices[1].x": 5})
    given.finish()
    assert [(f.column, f.line) for f in given.notes.findings] == [
        ("devices[1].x", 5),
        ("devices[1].y", 4),
    ]


def test_keys_that_others_read_are_not_told():
    notes = Notes("plan.toml", {}, also={"devices": ("watts",)})
    Table({"watts": 1, "wats": 2}, "devices[3]", notes).finish()
    assert [f.column for f in notes.findings] == ["devices[3].wats"]
    assert notes.findings[0].remedy.endswith("Did you mean 'watts'?")


def test_lines_of_quoted_and_nested_keys():
    text = '["odd name"]\n"a.b" = 1\n[[x.y]]\nz = 1\n[[x.y]]\n[x.y.w]\nv = 1\n'
    assert key_lines(text) == {
        "odd name": 1, "odd name.a.b": 2, "x.y[1]": 3, "x.y[1].z": 4, "x.y[2]": 5,
        "x.y[2].w": 6, "x.y[2].w.v": 7,
    }  # fmt: skip
