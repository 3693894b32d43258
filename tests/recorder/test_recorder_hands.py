"""The log beside the journal, and the work of other hands."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from kit.recorder.journal import JOURNAL_NAME, read_journal
from kit.recorder.log_file import LogFile
from kit.recorder.recorder import Recorder
from tests.helpers.recorder_day import SetClock
from tests.helpers.recorder_folders import mini, rows, saved


def edit(folder: Path, old: str, new: str) -> bytes:
    path = folder / "log.csv"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    return path.read_bytes()


def test_a_log_edited_while_recording_is_left_alone_and_can_be_taken_over(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    with Recorder(folder, clock=SetClock("08:00:00")) as recorder:
        saved(recorder, "s", "99", "98")
        hand = edit(folder, ",99,", ",97,")
        saved(recorder, "1 96")
        assert "was changed by hand and is left alone" in recorder.log_problem
        assert (folder / "log.csv").read_bytes() == hand
        saved(recorder, "n still here")
        assert (folder / "log.csv").read_bytes() == hand
        saved(recorder, "adopt")
        assert recorder.log_problem == ""
        got = rows(folder)
        assert [r.get("soc_pct", r.get("note")) for r in got] == [
            None, "97", "98", "96", "still here",
        ]  # fmt: skip
        # what was taken over cannot be withdrawn, but entries after it can
        assert recorder.submit("u").text == "There is nothing to withdraw."
        saved(recorder, "n more", "u")
        assert len(rows(folder)) == 5
        assert recorder.submit("adopt").text == "log.csv was not changed by hand."


def test_a_correction_of_a_row_that_was_not_touched_survives_taking_over(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    with Recorder(folder, clock=SetClock("08:00:00")) as recorder:
        saved(recorder, "s", "99", "98")
        edit(folder, ",99,", ",97,")
        saved(recorder, "> read twice")  # of the reading of b
        saved(recorder, "adopt")
        assert rows(folder)[1]["soc_pct"] == "97"
        assert rows(folder)[2]["note"] == "read twice"


def test_an_edited_log_can_be_set_aside(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    with Recorder(folder, clock=SetClock("08:00:00")) as recorder:
        saved(recorder, "s", "99")
        hand = edit(folder, ",99,", ",97,")
        saved(recorder, "98", "aside")
        assert (folder / "log.edited-1.csv").read_bytes() == hand
        assert [r.get("soc_pct") for r in rows(folder)] == [None, "99", "98"]


def test_a_log_edited_between_two_recorders_is_noticed(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    clock = SetClock("08:00:00")
    with Recorder(folder, clock=clock) as recorder:
        saved(recorder, "s", "99", "98")
    hand = edit(folder, ",99,", ",97,")
    with Recorder(folder, clock=clock) as recorder:
        assert "changed by hand" in recorder.log_problem
        assert (folder / "log.csv").read_bytes() == hand
        saved(recorder, "n later", "adopt")
        assert [r.get("soc_pct", r.get("note")) for r in rows(folder)] == [
            None, "97", "98", "later",
        ]  # fmt: skip


def test_an_entry_confirmed_after_the_edit_survives_a_kill_and_taking_over(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    clock = SetClock("08:00:00")
    with Recorder(folder, clock=clock) as recorder:
        saved(recorder, "s", "99")
        edit(folder, ",99,", ",97,")
        saved(recorder, "98")  # in the journal alone
    with Recorder(folder, clock=clock) as recorder:
        saved(recorder, "adopt")
        assert [r.get("soc_pct") for r in rows(folder)] == [None, "97", "98"]


def test_a_deleted_log_is_made_anew(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    clock = SetClock("08:00:00")
    with Recorder(folder, clock=clock) as recorder:
        saved(recorder, "s", "99")
        before = (folder / "log.csv").read_bytes()
        (folder / "log.csv").unlink()
    assert (folder / "log.csv").read_bytes() == before


def test_an_edited_log_that_is_no_log_is_refused_with_reason(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    with Recorder(folder, clock=SetClock("08:00:00")) as recorder:
        saved(recorder, "s")
        (folder / "log.csv").write_text("checkpoint,a,b\nstart,100,100\n")
        saved(recorder, "99")
        reply = recorder.submit("adopt")
        assert reply.kind == "refused"
        assert "is a scorecard" in reply.text
        (folder / "log.csv").write_bytes(b'event,device\n"note,a\n\xff')
        assert "cannot be taken over" in recorder.submit("adopt").text
        saved(recorder, "aside")
        assert len(rows(folder)) == 2


def test_a_log_begun_by_hand_is_taken_over_at_the_start(tmp_path: Path) -> None:
    log = "event;device;phase;point;clock;soc_pct;order;weather\n"
    log += "phase_start;;p1;;08:00;;;\nreading;a;p1;start;08:00;99,5;1;wind\n"
    folder = mini(tmp_path, log=log)
    with Recorder(folder, clock=SetClock("08:01:00")) as recorder:
        assert recorder.news == ("2 rows of log.csv were taken over.",)
        here = recorder.here()
        assert here.round is not None
        assert here.round.due == ("b",)
        saved(recorder, "98")
    assert [(r.get("soc_pct"), r.get("weather")) for r in rows(folder)] == [
        (None, None),
        ("99.5", "wind"),
        ("98", None),
    ]


def test_the_rows_of_a_plan_that_wait_to_be_filled_in_are_not_taken_over(tmp_path: Path) -> None:
    log = "event,phase,point,device,clock,soc_pct,order\nphase_start,p1,,,,,\n"
    log += "reading,p1,start,a,,,1\npower_off,,,a,,,\n"
    folder = mini(tmp_path, log=log)
    with Recorder(folder, clock=SetClock("08:00:00")) as recorder:
        saved(recorder, "s")
    assert [r["event"] for r in rows(folder)] == ["phase_start"]
    journal = read_journal((folder / JOURNAL_NAME).read_bytes(), JOURNAL_NAME)
    assert journal.entries[1].facts["text"] == log  # nothing is lost all the same


def test_a_folder_without_a_log_gets_one(tmp_path: Path) -> None:
    folder = mini(tmp_path, log=None)
    with Recorder(folder, clock=SetClock()):
        assert rows(folder) == []


def test_an_editor_that_saves_in_the_moment_of_the_exchange_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(b"old")
    log = LogFile(path, b"old")
    real = os.fsync

    def save_now(fd: int) -> None:
        real(fd)
        path.write_bytes(b"by hand")

    monkeypatch.setattr(os, "fsync", save_now)
    assert log.write(b"new") == "edited"
    assert path.read_bytes() == b"new"
    assert (tmp_path / "log.edited-1.csv").read_bytes() == b"by hand"


def test_a_version_left_by_a_kill_in_that_moment_is_kept(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    clock = SetClock("08:00:00")
    with Recorder(folder, clock=clock) as recorder:
        saved(recorder, "s")
        ours = (folder / "log.csv").read_bytes()
        saved(recorder, "99")
    (folder / ".log.csv.old").write_bytes(ours)
    with Recorder(folder, clock=clock) as recorder:
        assert recorder.news == ()
    assert not (folder / ".log.csv.old").exists()
    (folder / ".log.csv.old").write_bytes(b"by hand")
    with Recorder(folder, clock=clock) as recorder:
        assert "kept as log.edited-1.csv" in recorder.news[0]
    assert (folder / "log.edited-1.csv").read_bytes() == b"by hand"


def test_a_log_that_cannot_be_written_is_told_and_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = mini(tmp_path)
    with Recorder(folder, clock=SetClock("08:00:00")) as recorder:
        with monkeypatch.context() as patch:

            def busy(_: Path, __: Path) -> Path:
                raise PermissionError(errno.EACCES, "Permission denied")

            patch.setattr(Path, "replace", busy)
            saved(recorder, "s")
            assert "could not be written (Permission denied)" in recorder.log_problem
        assert rows(folder) == []
        assert not (folder / ".log.csv.new").exists()
        saved(recorder, "99")
        assert recorder.log_problem == ""
        assert len(rows(folder)) == 2


def test_where_there_are_no_links_the_log_is_replaced_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_link(_: Path, __: Path) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", no_link)
    folder = mini(tmp_path)
    with Recorder(folder, clock=SetClock("08:00:00")) as recorder:
        saved(recorder, "s", "99")
        assert len(rows(folder)) == 2
