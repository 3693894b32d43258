"""Frames of results are those that ``pandas.DataFrame`` makes of the same columns."""

import sys

import numpy as np
import pandas as pd
import pytest

from kit import frames
from kit.frames import frame_of_rows, no_rows, result_frame


def texts(*values):
    return np.array(values, dtype=object)


COLUMNS = {
    "floats": np.array([1.5, np.nan]),
    "whole": np.array([1, 2]),
    "answers": np.array([True, False]),
    "texts": texts("a", "b"),
    "text_or_none": texts("a", None),
    "listed_text_or_nan": ["a", float("nan")],
    "listed_floats": [1.5, float("nan")],
    "listed_whole": [1, 2],
    "listed_answers": [True, False],
    "listed_numbers": [1, 2.5],
    "listed_answer_and_number": [True, 2.5],
    "listed_float_or_none": [None, 2.5],
    "listed_nothing": [None, None],
    "numbers_as_objects": texts(1.5, 2),
    "letters_of_numpy": np.array(["a", "b"]),
    "floats_of_numpy": [np.float64(1.0), 2.0],
    "tuple_of_texts": ("a", "b"),
    "more_floats": np.array([3.0, 4.0]),
    "small_whole": np.array([1, 2], dtype=np.int8),
}


@pytest.fixture
def named(monkeypatch):
    """Return a function that makes a result frame of any columns, under a name of its own."""

    def make(columns):
        monkeypatch.setattr(frames, "RESULT_COLUMNS", {"test": tuple(columns)})
        frames._columns.cache_clear()
        return result_frame("test", dict(reversed(columns.items())))

    yield make
    frames._columns.cache_clear()


def same(frame, expected):
    pd.testing.assert_frame_equal(frame, expected, check_exact=True)
    assert [type(t) for t in frame.dtypes] == [type(t) for t in expected.dtypes]


def test_columns_have_the_types_that_pandas_gives_them(named):
    same(named(COLUMNS), pd.DataFrame(COLUMNS))


@pytest.mark.parametrize("nothing", [[], (), np.empty(0), texts(), np.array([], dtype=int)])
def test_columns_without_values_have_them_too(named, nothing):
    columns = {"first": nothing, "second": []}
    same(named(columns), pd.DataFrame(columns))


def test_an_older_pandas_makes_the_same_frame(named, monkeypatch):
    quick = named(COLUMNS)
    monkeypatch.setitem(sys.modules, "pandas.api.internals", None)
    same(named(COLUMNS), quick)


def test_nothing_is_shared_with_the_columns(named):
    columns = {"x": np.array([1.0, 2.0]), "text": texts("a", "b")}
    frame = named(columns)
    columns["x"][0] = 9.0
    columns["text"][0] = "z"
    assert frame["x"].tolist() == [1.0, 2.0]
    assert frame["text"].tolist() == ["a", "b"]


def test_nothing_is_shared_between_frames_of_one_name(named):
    columns = {"x": np.array([1.0]), "text": texts("a")}
    first, second = named(columns), named(columns)
    first.columns.name = "renamed"
    first.loc[0, "x"] = 5.0
    assert second.columns.name is None
    assert second["x"].tolist() == [1.0]


def test_a_frame_can_be_written_to_and_widened(named):
    frame = named({"x": np.array([1.0, 2.0]), "text": texts("a", "b")})
    frame["y"] = [1, 2]
    frame.loc[frame["text"] == "b", "x"] = 7.0
    assert frame.sort_values("x", ascending=False).to_dict("list") == {
        "x": [7.0, 1.0], "text": ["b", "a"], "y": [2, 1],
    }  # fmt: skip


def test_columns_of_different_length_are_refused(named):
    with pytest.raises(ValueError, match="differ in length"):
        named({"x": np.array([1.0, 2.0]), "y": np.array([1.0])})


def test_a_missing_column_is_refused():
    with pytest.raises(KeyError):
        result_frame("mix_parts", {"mix": ["day"]})


def test_rows_make_the_frame_that_their_columns_make():
    rows = [("day", "map", 0.75), ("day", "film", 0.25)]
    same(
        frame_of_rows("mix_parts", rows),
        pd.DataFrame(rows, columns=["mix", "activity", "share"]),
    )


def test_no_rows():
    same(no_rows("mix_parts"), pd.DataFrame([], columns=["mix", "activity", "share"]))
    assert frame_of_rows("mix_parts", []).dtypes.unique().tolist() == [np.dtype("float64")]
