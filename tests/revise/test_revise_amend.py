"""One cell corrected: every other byte stays, the reason stays, and a failure changes nothing."""

from __future__ import annotations

import csv
import io
import os
import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.cli import cli
from kit.errors import RecordError, RenderError, UsageError
from kit.read.csv_dialect import read_table
from kit.read.record import read_record
from kit.revise.amend import Cell, amend, amend_cells, cell_of, today
from kit.revise.cell_edit import edited
from kit.revise.corrections import corrections_of, net
from kit.revise.lock import alone_in
from tests.helpers.files import content
from tests.helpers.records import SETUP

LOG = """event,phase,point,device,elapsed_min,soc_pct,note
reading,map,start,limpet,0,100,
reading,map,start,dunlin,0,100,"two, with a comma"
reading,map,end,limpet,60,87,
reading,map,end,dunlin,60,85,
reading,photo,end,limpet,90,80,
reading,photo,end,dunlin,90,77,
"""
ON = date(2026, 6, 1)


def record_in(folder: Path, log: str = LOG) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "log.csv").write_bytes(log.encode())
    (folder / "session.toml").write_text(SETUP, encoding="utf-8")
    return folder


def correct(record: Path, **changes: Any) -> Any:
    asked = {
        "line": 5,
        "column": "soc_pct",
        "to": "83",
        "reason": "misread",
        "by": "Wren",
        "on": ON,
    }
    return amend(record, **{**asked, **changes})


def test_one_cell_changes_and_the_reason_and_the_old_bytes_are_kept(tmp_path: Path) -> None:
    record = record_in(tmp_path / "day")
    done = correct(record)
    assert (record / "log.csv").read_text() == LOG.replace("60,85", "60,83")
    assert (record / "corrections.csv").read_text() == (
        "date,by,file,line,column,old,new,reason\n2026-06-01,Wren,log.csv,5,soc_pct,85,83,misread\n"
    )
    assert done.kept.parent == record / "earlier_logs"
    assert done.kept.read_text() == LOG
    assert sorted(content(record)) == [
        "corrections.csv", f"earlier_logs/{done.kept.name}", "log.csv", "session.toml",
    ]  # fmt: skip


def test_a_second_correction_is_added_and_a_reverted_one_cancels(tmp_path: Path) -> None:
    record = record_in(tmp_path / "day")
    correct(record)
    first = (record / "corrections.csv").read_bytes()
    correct(record, to="85", reason='it was "85", after all')
    assert (record / "corrections.csv").read_bytes().startswith(first)
    rows = corrections_of(record)
    assert [r.reason for r in rows] == ["misread", 'it was "85", after all']
    assert net(rows) == ()
    assert (record / "log.csv").read_text() == LOG


def test_a_record_that_would_not_pass_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    record = record_in(tmp_path / "day")
    before = content(record)
    with pytest.raises(RecordError) as caught:
        correct(record, to="107")
    assert [(f.line, f.column) for f in caught.value.findings if f.severity == "error"] == [
        (5, "soc_pct")
    ]
    assert content(record) == before


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"line": 1}, "no observation on line 1; they stand on lines 2 to 7"),
        ({"line": 8}, "no observation on line 8"),
        ({"column": "socpct"}, "no column 'socpct'"),
        ({"to": "85"}, "already holds '85'"),
        ({"to": "8\x005"}, "control character"),
        ({"reason": "  "}, "needs a reason"),
    ],
)
def test_what_makes_no_sense_is_refused(
    tmp_path: Path, changes: dict[str, Any], message: str
) -> None:
    record = record_in(tmp_path / "day")
    before = content(record)
    with pytest.raises(UsageError, match=re.escape(message)):
        correct(record, **changes)
    assert content(record) == before


def test_a_csv_alone_beside_its_corrections_is_still_found(tmp_path: Path) -> None:
    record = record_in(tmp_path / "day")
    (record / "log.csv").rename(record / "readings.csv")
    assert correct(record).log.name == "readings.csv"
    session, _ = read_record(record)
    assert [s.name for s in session.sources] == ["session.toml", "readings.csv"]


def test_a_file_that_is_no_list_of_corrections_is_not_added_to(tmp_path: Path) -> None:
    record = record_in(tmp_path / "day")
    (record / "corrections.csv").write_text("a,b\n1,2\n")
    before = content(record)
    with pytest.raises(RecordError, match=r"corrections\.csv, line 1: found the columns a, b"):
        correct(record)
    assert content(record) == before


@pytest.mark.parametrize("call", ["replace", "fsync", "open"])
@pytest.mark.parametrize("nth", [1, 2, 3])
@pytest.mark.parametrize("second", [False, True])
def test_a_write_that_fails_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str, nth: int, *, second: bool
) -> None:
    record = record_in(tmp_path / "day")
    if second:
        correct(record, line=4, to="88")
    before, count = content(record), 0

    def failing(real: Any) -> Any:
        def wrapped(*args: Any, **kwargs: Any) -> Any:
            nonlocal count
            if call != "open" or {"wb", "ab"} & {str(a) for a in args[1:]}:
                count += 1
                if count == nth:
                    raise OSError(28, "No space left on device", str(args[0]))
            return real(*args, **kwargs)

        return wrapped

    with monkeypatch.context() as patch:
        if call == "replace":
            patch.setattr(Path, "replace", failing(Path.replace))
        elif call == "open":
            patch.setattr(Path, "open", failing(Path.open))
        else:
            patch.setattr(os, "fsync", failing(os.fsync))
        try:
            correct(record)
        except RenderError as error:
            assert "No space left on device. The record is as it was." in str(error)  # noqa: PT017
            assert content(record) == before
        else:
            assert count < nth
            assert (record / "corrections.csv").read_text().count("\n") == 2 + second


def test_two_corrections_at_once_are_one_refused(tmp_path: Path) -> None:
    record = record_in(tmp_path / "day")
    with (
        alone_in(record / "earlier_logs", doing="correcting the log"),
        pytest.raises(RenderError, match=rf"Another run \(process {os.getpid()}\) is correcting"),
    ):
        correct(record)
    correct(record)


OFFS = """event,phase,point,device,clock,soc_pct,last_on,first_off
reading,map,start,limpet,08:00,100,,
reading,map,start,dunlin,08:00,100,,
reading,map,end,limpet,09:00,87,,
reading,map,end,dunlin,09:00,85,,
power_off,,,limpet,16:42,,16:40,16:42
power_off,,,dunlin,17:10,,17:08,17:10
"""


def test_cells_that_hold_each_other_in_place_are_corrected_together(tmp_path: Path) -> None:
    """A power-off an hour later than noted: last seen on cannot pass first seen off alone."""
    record = record_in(tmp_path / "day", OFFS)
    before = content(record)
    with pytest.raises(RecordError, match="last seen on no later than first seen off"):
        correct(record, line=6, column="last_on", to="17:40")
    assert content(record) == before
    cells = [cell_of(f"6:{c}") for c in ("clock=17:42", "last_on=17:40", "first_off=17:42")]
    done = amend_cells(record, cells, reason="the clock in view was an hour slow", on=ON)
    assert (record / "log.csv").read_text() == OFFS.replace(
        "limpet,16:42,,16:40,16:42", "limpet,17:42,,17:40,17:42"
    )
    assert [(r.line, r.column, r.old, r.new) for r in done.corrections] == [
        ("6", "clock", "16:42", "17:42"),
        ("6", "last_on", "16:40", "17:40"),
        ("6", "first_off", "16:42", "17:42"),
    ]
    assert corrections_of(record) == done.corrections
    assert len({r.reason for r in done.corrections}) == 1
    back = [Cell(line=6, column=r.column, to=r.old) for r in done.corrections]
    amend_cells(record, back, reason="it was right", on=ON)
    assert net(corrections_of(record)) == ()
    assert (record / "log.csv").read_text() == OFFS


def test_lines_are_counted_in_the_log_as_it_is(tmp_path: Path) -> None:
    """A cell that becomes one of two lines does not move those that are named below it."""
    record = record_in(tmp_path / "day")
    cells = [Cell(line=2, column="note", to="a\nb"), Cell(line=5, column="soc_pct", to="83")]
    done = amend_cells(record, cells, reason="misread", on=ON)
    assert (record / "log.csv").read_text() == LOG.replace("0,100,\n", '0,100,"a\nb"\n', 1).replace(
        "60,85", "60,83"
    )
    assert [r.line for r in done.corrections] == ["2", "5"]


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        ([], "no cell is named"),
        (["4:soc_pct=88", "4: SOC_PCT =89"], "line 4, column soc_pct is to be corrected twice"),
        (["4:soc_pct=88", "5:soc_pct=85"], "already holds '85'"),
        (["4:soc_pct=88", "9:soc_pct=85"], "no observation on line 9"),
    ],
)
def test_one_wrong_cell_of_several_changes_nothing(
    tmp_path: Path, cells: list[str], message: str
) -> None:
    record = record_in(tmp_path / "day")
    before = content(record)
    with pytest.raises(UsageError, match=re.escape(message)):
        amend_cells(record, [cell_of(text) for text in cells], reason="misread", on=ON)
    assert content(record) == before


@pytest.mark.parametrize("text", ["soc_pct=88", "4:soc_pct", "four:soc_pct=88", "4:=88", ""])
def test_a_text_that_names_no_cell_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="LINE:COLUMN=VALUE"):
        cell_of(text)


def test_the_command_takes_one_cell_or_several(tmp_path: Path) -> None:
    record = str(record_in(tmp_path / "day"))
    several = ["--cell", "4:soc_pct=88", "--cell", "5:soc_pct=83", "--reason", "misread"]
    run = CliRunner().invoke(cli, ["amend", record, *several])
    assert run.exit_code == 0, run.output
    assert "line 4, column soc_pct: 87 → 88\nlog.csv, line 5, column soc_pct: 85 → 83" in run.output
    for wrong in (["--line", "4", "--to", "89"], ["--cell", "4:soc_pct=89", "--line", "4"], []):
        run = CliRunner().invoke(cli, ["amend", record, *wrong, "--reason", "misread"])
        assert isinstance(run.exception, UsageError)
        assert "--line, --column and --to, all three, or with --cell" in str(run.exception)


def test_a_folder_that_cannot_be_written_to_gets_advice_that_helps(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = record_in(tmp_path / "day")

    def refused(*_args: object) -> int:
        raise PermissionError(13, "Permission denied")

    with monkeypatch.context() as patch:
        patch.setattr(os, "open", refused)
        with pytest.raises(RenderError, match=r"Permission denied\. Make that folder writable"):
            correct(record)


def test_the_day_of_a_correction() -> None:
    assert today({"SOURCE_DATE_EPOCH": "86400"}) == date(1970, 1, 2)
    assert abs((today({}) - date.today()).days) <= 1


TEXT = st.text(st.sampled_from('ab1 ,;\t"\n5é'), max_size=6)
ROWS = st.lists(st.lists(TEXT, min_size=3, max_size=3), min_size=1, max_size=5)


@settings(max_examples=150, deadline=None)
@given(
    ROWS, st.sampled_from(",;\t"), st.sampled_from(["\n", "\r\n"]), st.booleans(), st.booleans(),
    TEXT, st.data(),
)  # fmt: skip
def test_any_cell_of_any_dialect_changes_alone(
    rows: list[list[str]], separator: str, end: str, mark: bool, quoted: bool, to: str, data: Any
) -> None:
    stream = io.StringIO()
    style = csv.QUOTE_ALL if quoted else csv.QUOTE_MINIMAL
    writer = csv.writer(stream, delimiter=separator, lineterminator=end, quoting=style)
    writer.writerows([["event", "device", "note"], *rows])
    raw = ("\ufeff" if mark else "").encode() + stream.getvalue().encode()
    table, findings = read_table(raw, "log.csv")
    if table is None or findings or not len(table.lines) or table.separator != separator:
        return
    k = data.draw(st.integers(0, len(table.lines) - 1))
    name = data.draw(st.sampled_from(list(table.frame.columns)))
    old = table.frame[name].astype(str).iat[k]
    line = int(table.lines[k])
    if old == to:
        with pytest.raises(UsageError, match="already holds"):
            edited(raw, file="log.csv", line=line, column=name, to=to)
        return
    made = edited(raw, file="log.csv", line=line, column=name, to=to)
    assert made.old == old
    again, _ = read_table(made.data, "log.csv")
    expected = table.frame.astype(str)
    expected.loc[k, name] = to
    # a row that has become blank is no row
    expected = expected[(expected != "").any(axis=1)].reset_index(drop=True)
    shown = again.frame.astype(str).reset_index(drop=True) if again is not None else None
    assert shown is not None
    assert shown.to_numpy().tolist() == expected.to_numpy().tolist()
    head = next((i for i, (a, b) in enumerate(zip(raw, made.data, strict=False)) if a != b), None)
    assert head is not None
    back = edited(made.data, file="log.csv", line=line, column=name, to=old) if to.strip() else None
    if back is not None and (quoted or old == old.strip()):
        restored, _ = read_table(back.data, "log.csv")
        assert restored is not None
        assert restored.frame.astype(str).equals(table.frame.astype(str))


def test_rows_that_end_early_odd_quotes_and_line_breaks_in_cells() -> None:
    raw = b'event,device,note\r\nreading\r\nreading,5" b,"x\ny"\r\ntick,c,z'
    cases = [
        (2, "note", "n", b'event,device,note\r\nreading,,n\r\nreading,5" b,"x\ny"\r\ntick,c,z'),
        (4, "note", "n", b'event,device,note\r\nreading\r\nreading,5" b,"n"\r\ntick,c,z'),
        (3, "Device", "d", b'event,device,note\r\nreading\r\nreading,d,"x\ny"\r\ntick,c,z'),
        (5, "note", "", b'event,device,note\r\nreading\r\nreading,5" b,"x\ny"\r\ntick,c,'),
        (5, "note", "a,b", b'event,device,note\r\nreading\r\nreading,5" b,"x\ny"\r\ntick,c,"a,b"'),
    ]
    for line, column, to, expected in cases:
        assert edited(raw, file="l.csv", line=line, column=column, to=to).data == expected
