"""A recorder on a real folder: its log, other hands on it, resuming, the plain prompt."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import UTC, timedelta
from pathlib import Path

import pytest

from kit.errors import RecordError, UsageError
from kit.places import samples_folder
from kit.read.record import read_record
from kit.recorder.journal import JOURNAL_NAME
from kit.recorder.plain import run_plain
from kit.recorder.recorder import Recorder, wall_clock
from tests.helpers.recorder_day import DAY, SetClock, empty_day
from tests.helpers.recorder_folders import MINI, mini, rows, saved

# --------------------------------------------------------------- the whole day


def test_the_sample_day_typed_in_is_the_sample_day(tmp_path: Path) -> None:
    """Against the log of the sample, which was written by another program."""
    folder = empty_day(tmp_path / "day")
    clock = SetClock()
    with Recorder(folder, clock=clock) as recorder:
        for time, text in DAY:
            clock.set(time)
            saved(recorder, text)
        assert recorder.here().step == "done"
    session, _ = read_record(folder)
    sample, _ = read_record(samples_folder() / "full-day")
    columns = ["device", "phase", "point", "soc_pct", "order", "by"]
    ours = session.readings[columns].astype(str).to_numpy().tolist()
    theirs = sample.readings[columns].astype(str).to_numpy().tolist()
    assert ours == theirs
    # times to the minute and a half that a walk takes
    assert (session.readings["t_min"] - sample.readings["t_min"]).abs().max() < 1.5
    offs = ["device", "phase", "soc_pct", "still_on"]
    assert (
        session.power_offs[offs].astype(str).to_numpy().tolist()
        == sample.power_offs[offs].astype(str).to_numpy().tolist()
    )
    assert session.spans["start_min"].tolist() == sample.spans["start_min"].tolist()
    turns = ["device", "activity", "completed", "start_min"]
    assert sorted(session.turns[turns].to_numpy().tolist()) == sorted(
        sample.turns[turns].to_numpy().tolist()
    )


def test_a_recorder_killed_after_every_entry_writes_the_same_log(tmp_path: Path) -> None:
    one, other = empty_day(tmp_path / "one"), empty_day(tmp_path / "other")
    clock = SetClock()
    with Recorder(one, clock=clock) as recorder:
        for time, text in DAY:
            clock.set(time)
            saved(recorder, text)
    clock = SetClock()
    for time, text in DAY:
        clock.set(time)
        killed = Recorder(other, clock=clock)
        saved(killed, text)
        killed.journal.close()  # what the system does for a process that is killed
        os.close(killed.lock._fd or -1)
    assert (one / "log.csv").read_bytes() == (other / "log.csv").read_bytes()


def test_time_goes_on_while_the_recorder_does_not(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    clock = SetClock("08:00:00")
    with Recorder(folder, clock=clock) as recorder:
        saved(recorder, "s")
    clock.wait(45)  # the lid was shut
    with Recorder(folder, clock=clock) as recorder:
        assert recorder.here().left_min == 15.0
        assert recorder.news == ()


def test_a_recorder_that_was_cut_off_says_what_is_not_saved(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    clock = SetClock("08:00:00")
    with Recorder(folder, clock=clock) as recorder:
        saved(recorder, "s")
        log = (folder / "log.csv").read_bytes()
        saved(recorder, "100")
    path = folder / JOURNAL_NAME
    *kept, _ = path.read_bytes().splitlines(keepends=True)
    (folder / "log.csv").write_bytes(log)  # it is written after the journal
    path.write_bytes(b"".join(kept)[:-20])  # in the middle of the reading; close is gone too
    with Recorder(folder, clock=clock) as recorder:
        assert "did not end in order" in recorder.news[0]
        assert "cut off and is not saved" in recorder.news[1]
        assert recorder.news[1].endswith("'100'")
        assert recorder.log_problem == ""
        assert [r["event"] for r in rows(folder)] == ["phase_start"]
    with Recorder(folder, clock=clock) as recorder:
        assert recorder.news == ()  # it is told once


def test_a_clock_that_runs_behind_is_told(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    clock = SetClock("08:10:00")
    with Recorder(folder, clock=clock) as recorder:
        saved(recorder, "s @ 8:00")
    clock.set("08:02:00")
    with Recorder(folder, clock=clock) as recorder:
        assert "clock is behind: the last entry was made at 08:10:00" in recorder.news[0]


def test_what_the_setup_file_says_otherwise_is_remarked(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    clock = SetClock("08:07:00")
    with Recorder(folder, clock=clock) as recorder:
        saved(recorder, "s")
    with Recorder(folder, clock=clock) as recorder:
        assert "start 08:00, the first phase started at 08:07" in recorder.news[0]
    clock.now += timedelta(days=1)
    undated = tmp_path / "undated"
    undated.mkdir()
    with Recorder(mini(undated, MINI), clock=clock) as recorder:
        saved(recorder, "s")
    with Recorder(undated / "mini", clock=clock) as recorder:
        assert "says 2026-05-16, the first phase started on 2026-05-17" in recorder.news[0]


def test_questions_wait_for_a_yes_and_for_nothing_else(tmp_path: Path) -> None:
    with Recorder(mini(tmp_path), clock=SetClock("08:00:00")) as recorder:
        assert recorder.submit("y").text == "Nothing was asked."
        saved(recorder, "s", "50", "60")
        reply = recorder.submit("1 55")
        assert reply.kind == "question"
        assert "55 % is more than 50 % at 08:00" in reply.text
        assert recorder.submit("?").kind == "told"
        assert recorder.submit("y").kind == "refused"  # another line answers no
        recorder.submit("1 55")
        saved(recorder, "y it was charged at noon")
        assert recorder.submit("y").kind == "refused"
        note = rows(recorder.folder)[-1]["note"]
        assert note == "confirmed: 55 % is more than 50 % at 08:00; it was charged at noon"
        saved(recorder, "u", "u")
        assert recorder.submit("nonsense").kind == "refused"
        assert recorder.submit("f").kind == "refused"
        assert recorder.submit("q").kind == "quit"


def test_nothing_to_withdraw_is_said(tmp_path: Path) -> None:
    with Recorder(mini(tmp_path), clock=SetClock()) as recorder:
        assert recorder.submit("u").text == "There is nothing to withdraw."


# ------------------------------------------------------------------ refusals


def test_a_folder_without_a_setup_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="needs to know the devices and phases"):
        Recorder(tmp_path)


def test_a_setup_file_without_devices_or_phases_is_refused(tmp_path: Path) -> None:
    folder = mini(tmp_path, '[session]\nid = "x"\n')
    with pytest.raises(RecordError) as caught:
        Recorder(folder)
    assert [(f.file, f.column) for f in caught.value.findings] == [
        ("session.toml", "devices"),
        ("session.toml", "phases"),
    ]
    assert caught.value.findings[0].remedy == "Write a table [[devices]] for each of them."
    (folder / "session.toml").write_text("[session]\nid = 3\n")
    with pytest.raises(RecordError):
        Recorder(folder)


def test_runs_are_recorded_apart(tmp_path: Path) -> None:
    setup = MINI.replace('start = "08:00"\n', "") + "[[runs]]\nnumber = 1\nstart = 08:00:00\n"
    setup += "[[runs]]\nnumber = 2\ndate = 2026-05-17\nstart = 08:00:00\n"
    folder = mini(tmp_path, setup)
    clock = SetClock("08:00:00")
    with pytest.raises(UsageError, match="has the runs 1, 2; say which with --run"):
        Recorder(folder, clock=clock)
    with Recorder(folder, clock=clock, run=1) as recorder:
        saved(recorder, "s", "99")
    clock.now += timedelta(days=1)
    with Recorder(folder, clock=clock, run=2) as recorder:
        assert recorder.here().phase is None
        assert recorder.here().devices[0].soc_pct is None
        saved(recorder, "s", "97")
    assert [(r["run"], r.get("soc_pct")) for r in rows(folder)] == [
        ("1", None), ("1", "99"), ("2", None), ("2", "97"),
    ]  # fmt: skip


def test_a_run_that_does_not_exist_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="has one run only"):
        Recorder(mini(tmp_path), run=2)


def test_a_damaged_journal_is_refused_and_the_way_on_works(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    clock = SetClock("08:00:00")
    with Recorder(folder, clock=clock) as recorder:
        saved(recorder, "s", "99")
    path = folder / JOURNAL_NAME
    path.write_bytes(path.read_bytes().replace(b'"said":"s"', b'"said":"t"'))
    with pytest.raises(RecordError, match=r"journal\.jsonl, line 3"):
        Recorder(folder, clock=clock)
    path.rename(folder / "journal.damaged.jsonl")
    with Recorder(folder, clock=clock) as recorder:
        assert recorder.here().phase is not None
        assert len(rows(folder)) == 2


def test_a_session_without_a_zone_is_kept_in_that_of_the_computer(tmp_path: Path) -> None:
    setup = MINI.replace('timezone = "Europe/London"\n', "")
    clock = SetClock("08:00:00")
    clock.now = clock.now.astimezone(UTC)
    with Recorder(mini(tmp_path, setup), clock=clock) as recorder:
        saved(recorder, "s")
        assert rows(recorder.folder)[0]["clock"] == "07:00:00"


def test_the_wall_clock_knows_its_offset() -> None:
    assert wall_clock().utcoffset() is not None


# --------------------------------------------------------------- plain prompt


def test_the_plain_prompt_says_where_the_day_is_line_by_line(tmp_path: Path) -> None:
    lines: list[str] = []
    typed = iter(["s", "100", "", "101", "y", "?", "q", "never asked"])
    with Recorder(mini(tmp_path), clock=SetClock("08:00:00"), by="Wren") as recorder:
        run_plain(recorder, ask=lambda _: next(typed), say=lines.append)
    assert lines[0] == "mini"
    assert "READ  1  A   [start of p1, 1 of 2]" in lines
    assert "saved: A: 100 %  (1 of 2)" in lines
    assert "1 A, read, 100 %, 08:00, One" in lines
    assert any(line.startswith("question: 101 is no percentage") for line in lines)
    assert "08:00  p1  One. 1 h 00 min left, to 09:00" in lines
    assert lines[-1] == "quit: Everything is saved."
    assert next(typed) == "never asked"


def test_the_plain_prompt_ends_with_its_input(tmp_path: Path) -> None:
    def ask(_: str) -> str:
        raise EOFError

    with Recorder(mini(tmp_path), clock=SetClock()) as recorder:
        run_plain(recorder, ask=ask, say=lambda _: None)


def test_the_command_records_from_standard_input(tmp_path: Path) -> None:
    folder = mini(tmp_path)
    done = subprocess.run(
        [sys.executable, "-m", "kit", "record", "--plain", "--by", "Wren", str(folder)],
        input="s\n100\n99\n", capture_output=True, text=True, check=False,
        cwd=Path(__file__).resolve().parents[2],
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert [r.get("soc_pct") for r in rows(folder)] == [None, "100", "99"]
    assert {r["by"] for r in rows(folder)} == {"Wren"}


def test_the_command_refuses_in_words(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "kit", "record", "--plain", str(tmp_path)],
        capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL,
        cwd=Path(__file__).resolve().parents[2],
    )  # fmt: skip
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert "needs to know the devices and phases" in done.stderr
