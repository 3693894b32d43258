"""The journal: what was confirmed is there, what was cut off is passed over, damage is told."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from kit.errors import RecordError, UsageError
from kit.recorder import journal as journal_module
from kit.recorder.journal import Entry, Journal, JournalError, entry_line, read_journal
from kit.recorder.lock import LOCK_NAME, SessionLock
from kit.recorder.recorder import Recorder
from tests.helpers.recorder_day import SetClock, empty_day, moment

if TYPE_CHECKING:
    from collections.abc import Callable

AT = "2026-05-16T08:00:00+01:00"


def entry(n: int, said: str = "91") -> Entry:
    return Entry(n=n, at=AT, kind="enter", said=said, rows=({"event": "note", "note": f"ä{said}"},))


def lines(count: int) -> bytes:
    return b"".join(entry_line(entry(n)) for n in range(1, count + 1))


def test_an_entry_comes_back_as_it_went_in() -> None:
    whole = Entry(
        n=1, at=AT, kind="adopt", said='tea > "two"\n\t', rows=({"event": "note"},),
        changes={"3.1": {"clock": ""}}, facts={"ids": ["1.1"], "through": 0},
    )  # fmt: skip
    assert read_journal(entry_line(whole), "j").entries == (whole,)


def test_a_lone_surrogate_does_not_stop_the_journal() -> None:
    line = entry_line(entry(1, "x\udc80"))
    assert read_journal(line, "j").entries[0].said == "x\udc80"


def test_a_journal_cut_at_any_byte_keeps_every_whole_entry(tmp_path: Path) -> None:
    data = lines(3)
    ends = [len(lines(n)) for n in range(4)]
    path = tmp_path / "journal.jsonl"
    for cut in range(len(data) + 1):
        path.write_bytes(data[:cut])
        # a line that lacks nothing but its line end says all it has to say
        whole = sum(1 for end in ends[1:] if cut >= end - 1)
        journal = Journal(path)
        assert [e.n for e in journal.entries] == list(range(1, whole + 1)), cut
        assert len(journal.torn) == (cut not in ends and cut + 1 not in ends), cut
        journal.append(entry(whole + 1, "after the cut"))
        journal.close()
        again = read_journal(path.read_bytes(), path.name)
        assert [e.said for e in again.entries] == ["91"] * whole + ["after the cut"], cut
        assert path.read_bytes().startswith(data[:cut])  # nothing was deleted


def test_blocks_of_zeros_after_a_power_cut_are_no_entries() -> None:
    text = read_journal(lines(2) + bytes(4096), "j")
    assert [e.n for e in text.entries] == [1, 2]
    assert text.torn == ((3, bytes(4096)),)


@pytest.mark.parametrize("place", [0, 1])
def test_an_entry_that_was_changed_later_is_told_with_its_line(place: int) -> None:
    data = bytearray(lines(3))
    at = data.index(b'"said":"91"', len(lines(place))) + 9
    data[at : at + 1] = b"4"
    with pytest.raises(RecordError) as caught:
        read_journal(bytes(data), "journal.jsonl")
    (finding,) = caught.value.findings
    assert (finding.rule, finding.line) == ("journal-damaged", place + 2)
    assert "rename it" in finding.remedy


def test_an_entry_that_stands_twice_is_told() -> None:
    with pytest.raises(RecordError) as caught:
        read_journal(lines(2) + entry_line(entry(2)), "journal.jsonl")
    assert caught.value.findings[0].found == "entry 2"
    assert caught.value.findings[0].line == 3


@pytest.mark.parametrize(
    "line",
    [
        b"[]",
        b'{"n":1,"at":"x","kind":"other"',
        b'{"at":"x","kind":"open"',
        b'{"n":1,"at":"x","kind":["open"]',
    ],
)
def test_a_line_that_is_no_entry_is_passed_over(line: bytes) -> None:
    body = line
    summed = body + f',"sum":"{journal_module._sum(body)}"}}\n'.encode()
    assert read_journal(summed, "j").entries == ()


# ------------------------------------------------------------- disks that fail


def fails(code: int, *, after: int = 0) -> Callable[..., int]:
    """Return a write that puts down some bytes first, then fails."""
    left = [after]

    def write(fd: int, data: memoryview) -> int:
        if left[0] > 0:
            part = bytes(data[: left[0]])
            left[0] -= len(part)
            return real_write(fd, part)
        raise OSError(code, os.strerror(code))

    return write


real_write = os.write


@pytest.mark.parametrize("after", [0, 1, 40])
def test_a_full_disk_loses_the_entry_being_typed_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, after: int
) -> None:
    path = tmp_path / "journal.jsonl"
    journal = Journal(path)
    journal.append(entry(1))
    with monkeypatch.context() as patch:
        patch.setattr(os, "write", fails(errno.ENOSPC, after=after))
        with pytest.raises(JournalError, match="NOT SAVED"):
            journal.append(entry(2))
    assert path.read_bytes() == lines(1)
    journal.append(entry(2, "when there was room"))
    journal.close()
    assert [e.said for e in read_journal(path.read_bytes(), "j").entries] == [
        "91",
        "when there was room",
    ]


def refuse(*_: object) -> None:
    raise OSError(errno.EIO, os.strerror(errno.EIO))


def test_a_disk_that_cannot_confirm_does_not_count_as_saved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "journal.jsonl"
    journal = Journal(path)
    journal.append(entry(1))
    with monkeypatch.context() as patch:
        patch.setattr(journal_module, "_to_disk", refuse)
        with pytest.raises(JournalError, match="NOT SAVED"):
            journal.append(entry(2))
    assert path.read_bytes() == lines(1)
    journal.append(entry(2, "anew"))
    journal.close()
    assert [e.said for e in read_journal(path.read_bytes(), "j").entries] == ["91", "anew"]


def test_what_could_be_neither_confirmed_nor_taken_back_is_decided_by_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "journal.jsonl"
    journal = Journal(path)
    journal.append(entry(1))
    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", refuse)
        patch.setattr(os, "ftruncate", refuse)
        with pytest.raises(JournalError, match="NOT SAVED"):
            journal.append(entry(2))
    with pytest.raises(JournalError, match="saved after all"):
        journal.append(entry(2, "anew"))
    journal.append(entry(3))
    journal.close()
    assert [e.n for e in read_journal(path.read_bytes(), "j").entries] == [1, 2, 3]


def test_a_disk_that_can_neither_write_nor_cut_leaves_a_line_that_is_passed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "journal.jsonl"
    journal = Journal(path)
    journal.append(entry(1))

    with monkeypatch.context() as patch:
        patch.setattr(os, "write", fails(errno.ENOSPC, after=30))
        patch.setattr(os, "ftruncate", refuse)
        with pytest.raises(JournalError):
            journal.append(entry(2))
    journal.append(entry(2))
    journal.close()
    text = read_journal(path.read_bytes(), "j")
    assert [e.n for e in text.entries] == [1, 2]
    assert len(text.torn) == 1


def test_a_recorder_on_a_full_disk_says_so_and_goes_on_when_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = SetClock("08:00:00")
    with Recorder(empty_day(tmp_path / "day"), clock=clock) as recorder:
        assert recorder.submit("s").kind == "saved"
        with monkeypatch.context() as patch:
            patch.setattr(os, "write", fails(errno.ENOSPC, after=10))
            for text in ("100", "u"):
                reply = recorder.submit(text)
                assert reply.kind == "refused"
                assert "NOT SAVED" in reply.text
            assert recorder.submit("107").kind == "question"
            assert "NOT SAVED" in recorder.submit("y").text
        assert recorder.submit("y").kind == "saved"  # still waiting to be kept
        assert recorder.here().round is not None
        assert recorder.here().round.due[0] == "kelpfin"


def test_entries_are_numbered_without_gaps(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "journal.jsonl")
    with pytest.raises(ValueError, match="entry 2 instead of 1"):
        journal.append(entry(2))
    journal.close()


def test_a_journal_that_cannot_be_opened_is_told(tmp_path: Path) -> None:
    (tmp_path / "journal.jsonl").mkdir()
    with pytest.raises(JournalError, match="cannot be opened"):
        Journal(tmp_path / "journal.jsonl")


# -------------------------------------------------------------------- the lock


def test_two_recorders_on_one_session_are_refused_with_who_and_since_when(tmp_path: Path) -> None:
    folder = empty_day(tmp_path / "day")
    with Recorder(folder, clock=SetClock("08:02:00")) as first:
        with pytest.raises(UsageError) as caught:
            Recorder(folder, clock=SetClock("08:30:00"))
        assert f"process {os.getpid()} on " in str(caught.value)
        assert "since 08:02 on 2026-05-16" in str(caught.value)
        first.submit("s")
    with Recorder(folder, clock=SetClock("08:31:00")) as second:
        assert second.here().phase is not None


def test_a_recorder_in_another_process_is_refused_too(tmp_path: Path) -> None:
    folder = empty_day(tmp_path / "day")
    command = [sys.executable, "-m", "kit", "record", "--plain", str(folder)]
    with Recorder(folder, clock=SetClock()):
        done = subprocess.run(
            command, input="q\n", capture_output=True, text=True, check=False,
            cwd=Path(__file__).resolve().parents[2],
        )  # fmt: skip
    assert done.returncode == 2
    assert f"is being recorded already, by process {os.getpid()}" in done.stderr


def test_the_lock_of_a_process_that_is_gone_locks_nothing(tmp_path: Path) -> None:
    """The number in the file is that of a process that runs: this one. It is not believed."""
    host = os.uname().nodename if hasattr(os, "uname") else ""
    left = {"pid": os.getpid(), "host": host, "since": AT}
    (tmp_path / LOCK_NAME).write_text(json.dumps(left))
    lock = SessionLock(tmp_path, moment("08:00:00"))
    assert lock.held
    lock.release()
    assert not lock.held
    assert (tmp_path / LOCK_NAME).read_bytes() == b""


def test_a_recorder_on_another_computer_is_not_overrun_unless_told(tmp_path: Path) -> None:
    folder = empty_day(tmp_path / "day")
    left = {"pid": 4711, "host": "shore-station", "since": "2026-05-16T07:58:00+01:00"}
    (folder / LOCK_NAME).write_text(json.dumps(left))
    with pytest.raises(UsageError, match=r"process 4711 on shore-station, since 07:58 .*take-over"):
        Recorder(folder, clock=SetClock())
    with Recorder(folder, clock=SetClock(), take_over=True) as recorder:
        assert recorder.lock.last is not None
        assert recorder.lock.last.host == "shore-station"


def test_a_lock_file_that_says_nonsense_is_no_obstacle(tmp_path: Path) -> None:
    (tmp_path / LOCK_NAME).write_bytes(b"\xff{")
    lock = SessionLock(tmp_path, moment("08:00:00"))
    assert lock.last is None
    lock.release()


def test_a_file_system_without_locks_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_lock(_: int) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr("kit.recorder.lock._lock", no_lock)
    with pytest.raises(UsageError, match="cannot lock files"):
        SessionLock(tmp_path, moment("08:00:00"))


def test_a_folder_without_a_place_for_the_lock_is_refused(tmp_path: Path) -> None:
    (tmp_path / LOCK_NAME).mkdir()
    with pytest.raises(UsageError, match="cannot be made"):
        SessionLock(tmp_path, moment("08:00:00"))
