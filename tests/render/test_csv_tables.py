"""Result tables as CSV that no spreadsheet runs and any reader gets back."""

from __future__ import annotations

import csv
import io

from hypothesis import given
from hypothesis import strategies as st

from kit.render.csv_tables import QUOTED_CELLS, csv_files
from tests.helpers.rendering import HOSTILE


def rows_of(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


def test_numbers_keep_their_precision_and_absence_is_an_empty_cell() -> None:
    table = {"columns": ["a", "b", "c"], "rows": [[0.1 + 0.2, -3, None], [True, 1e-9, "x"]]}
    files = csv_files({"t": table})
    assert files == {"t.csv": "a,b,c\n0.30000000000000004,-3,\ntrue,1e-09,x\n"}


def test_formulas_get_an_apostrophe_and_are_listed_by_line_and_column() -> None:
    table = {
        "columns": ["device", "note"],
        "rows": [["a\nb", "ok"], ["=1+1", "-0.5"], ["c", "@x"], ["d", "−1"]],
    }
    files = csv_files({"t": table})
    assert rows_of(files["t.csv"])[1:] == [
        ["a\nb", "ok"], ["'=1+1", "-0.5"], ["c", "'@x"], ["d", "−1"],
    ]  # fmt: skip
    listed = files[QUOTED_CELLS].splitlines()[3:]
    # header 1; the first row takes lines 2 and 3
    assert listed == ["t.csv, line 4, column device", "t.csv, line 5, column note"]
    assert files["t.csv"].splitlines()[3].startswith("'=1+1")


@given(st.lists(st.tuples(st.sampled_from(HOSTILE), st.text(max_size=8)), max_size=4))
def test_every_text_comes_back_but_for_the_listed_apostrophes(rows: list[tuple[str, str]]) -> None:
    rows = [tuple(cell.replace("\r", "").replace("\x00", "") for cell in row) for row in rows]
    files = csv_files({"t": {"columns": ["a", "b"], "rows": rows}})
    back = rows_of(files["t.csv"])[1:]
    changed = 0
    for row, found in zip(rows, back, strict=True):
        for cell, read in zip(row, found, strict=True):
            assert read in (cell, f"'{cell}")
            changed += read != cell
            assert not read.startswith(("=", "@", "+1+1"))
    listed = files.get(QUOTED_CELLS, "").splitlines()[3:]
    assert len(listed) == changed
