"""Differences between two versions of a record: found by what a row observes, not by its line."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.places import samples_folder
from kit.revise.changes import CellChange, count_changes
from kit.revise.corrections import Correction, explaining
from kit.revise.log_diff import diff_logs
from kit.revise.setup_diff import diff_setups

LOG = (samples_folder() / "full-day" / "log.csv").read_bytes()
ROWS = list(csv.reader(io.StringIO(LOG.decode())))


def written(rows: list[list[str]], separator: str = ",", end: str = "\n") -> bytes:
    stream = io.StringIO()
    csv.writer(stream, delimiter=separator, lineterminator=end).writerows(rows)
    return stream.getvalue().encode()


def short(changes: tuple[CellChange, ...]) -> list[tuple[Any, ...]]:
    return [(c.kind, c.line, c.column, c.old, c.new) for c in changes]


def test_another_form_of_the_same_table_is_no_change() -> None:
    assert diff_logs(LOG, b"\xef\xbb\xbf" + written(ROWS, ";", "\r\n"), file="log.csv") == ()
    order = [*range(1, len(ROWS[0])), 0]
    assert diff_logs(LOG, written([[r[k] for k in order] for r in ROWS]), file="log.csv") == ()
    assert diff_logs(LOG, written([ROWS[0], *reversed(ROWS[1:])]), file="log.csv") == ()


def test_a_row_put_in_above_and_one_taken_out_below() -> None:
    new = [ROWS[0], ["note", *[""] * (len(ROWS[0]) - 2), "rain"], *ROWS[1:50], *ROWS[51:]]
    changes = diff_logs(LOG, written(new), file="log.csv")
    assert [(c.kind, c.line, c.column) for c in changes] == [
        ("added", 2, ""), ("removed", 51, ""),
    ]  # fmt: skip
    assert changes[0].new == "event note, note rain"


def test_a_device_noted_under_another_name_is_one_cell() -> None:
    new = [list(r) for r in ROWS]
    assert new[9][3] == "whelk"
    new[9][3] = "dunlin"
    assert short(diff_logs(LOG, written(new), file="log.csv")) == [
        ("changed", 10, "device", "whelk", "dunlin")
    ]


def test_a_scorecard_is_compared_by_checkpoint() -> None:
    old = b"checkpoint,limpet,dunlin\nstart,100,100\nmap,88,90\n"
    new = b"checkpoint,limpet,dunlin\nstart,100,100\nmap,88,80\nend,5,7\n"
    changes = diff_logs(old, new, file="card.csv")
    assert short(changes) == [
        ("changed", 3, "dunlin", "90", "80"),
        ("added", 4, "", "", "checkpoint end, limpet 5, dunlin 7"),
    ]
    assert changes[0].what == "map"


@settings(max_examples=60, deadline=None)
@given(
    st.dictionaries(
        st.tuples(st.integers(1, len(ROWS) - 1), st.sampled_from([5, 14])),
        st.integers(0, 100).map(lambda n: f"new {n}"), max_size=6,
    ),
    st.lists(st.integers(1, len(ROWS) - 1), max_size=3),
)  # fmt: skip
def test_the_cells_changed_are_the_cells_found(
    cells: dict[tuple[int, int], str], blank_lines: list[int]
) -> None:
    new = [list(r) for r in ROWS]
    for (row, column), text in cells.items():
        new[row][column] = text
    lines = written(new).splitlines(keepends=True)
    for at in sorted(blank_lines, reverse=True):
        lines.insert(at, b"\n")
    found = diff_logs(LOG, b"".join(lines), file="log.csv")
    assert {c.kind for c in found} <= {"changed"}
    # rows that say the same of the same device at the same time may be told apart by line only
    expected = sorted(
        (ROWS[0][c], ROWS[r][c], text) for (r, c), text in cells.items() if ROWS[r][c] != text
    )
    assert sorted((c.column, c.old, c.new) for c in found) == expected


def test_keys_of_a_setup_file() -> None:
    old = (samples_folder() / "full-day" / "session.toml").read_text(encoding="utf-8")
    new = old.replace("brightness_pct = 60", "brightness_pct = 70").replace(
        'id = "dunlin"', 'id = "dunlin"\nmodel = "Dunlin"'
    )
    assert new.count("\n") == old.count("\n") + 1
    changes = diff_setups(old.encode(), new.encode(), file="session.toml")
    line = {text.split("#")[0].strip(): n for n, text in enumerate(new.split("\n"), start=1)}
    assert short(changes) == [
        ("changed", line["brightness_pct = 70"], "conditions.brightness_pct", "60", "70"),
        ("added", line['model = "Dunlin"'], "devices[dunlin].model", "", "Dunlin"),
    ]
    back = diff_setups(new.encode(), old.encode(), file="session.toml")
    assert [c.kind for c in back] == ["changed", "removed"]
    assert len(diff_setups(b"", old.encode(), file="session.toml")) > 50


def test_counting_in_words() -> None:
    change = CellChange(kind="changed", file="log.csv", line=2, column="note", old="", new="a")
    key = CellChange(kind="removed", file="session.toml", line=2, column="a.b", old="1", new="")
    row = CellChange(kind="added", file="log.csv", line=2, column="", old="", new="a")
    assert count_changes(()) == "no cell changed"
    assert (
        count_changes([key, change, row, change])
        == "two cells changed, one row added and one key removed"
    )


@pytest.mark.parametrize(
    ("steps", "line", "expected"),
    [
        ([("4", "78", "87")], 4, ["78"]),
        ([("4", "78", "80"), ("4", "80", "87")], 4, ["78", "80"]),
        ([("4", "78", "87")], 9, ["78"]),  # a row was put in above since
        ([("4", "78", "88")], 4, []),
        ([("4", "78", "87"), ("4", "87", "78"), ("4", "78", "87")], 4, ["78"]),
    ],
)
def test_the_reasons_of_a_change(
    steps: list[tuple[str, str, str]], line: int, expected: list[str]
) -> None:
    rows = [
        Correction(date="", by="", file="log.csv", line=at, column="c", old=a, new=b, reason="r")
        for at, a, b in steps
    ]
    change = CellChange(kind="changed", file="log.csv", line=line, column="c", old="78", new="87")
    assert [r.old for r in explaining(change, rows)] == expected


def test_a_version_that_is_no_table_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"log\.csv: a version that is no table"):
        diff_logs(LOG, b"\xff\xfe", file="log.csv")
