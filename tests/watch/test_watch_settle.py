"""A save counts once nothing has changed for a while; half-written files are waited for."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from kit.watch.files import RECHECK_S, UNSURE_S, RecordFiles
from kit.watch.settle import INCOMPLETE_S, STILL_S, Settler, Stamp

if TYPE_CHECKING:
    from pathlib import Path


def stamp(text: str, *, at: int = 1, inode: int = 1) -> Stamp:
    return Stamp(size=len(text), mtime_ns=at, inode=inode, digest=text) if text else Stamp()


def rests(*steps: tuple[float, dict[str, Stamp]]) -> list[bool]:
    settler = Settler()
    return [settler.settled(now, seen) for now, seen in steps]


def test_files_rest_after_a_while_and_stay_at_rest() -> None:
    seen = {"log.csv": stamp("abc")}
    before = STILL_S - 0.01
    assert rests((0.0, seen), (before, seen), (STILL_S, seen), (9.0, seen)) == [
        False, False, True, True,
    ]  # fmt: skip


def test_a_file_that_grows_is_waited_for_and_the_wait_begins_anew_with_each_write() -> None:
    settler = Settler()
    assert not settler.settled(0.0, {"log.csv": stamp("old")})
    assert settler.settled(1.0, {"log.csv": stamp("old")})
    for k in range(20):  # 20 writes, each 0.1 s after the last
        assert not settler.settled(2.0 + 0.1 * k, {"log.csv": stamp("n" * (k + 1), at=k)})
    done = {"log.csv": stamp("n" * 20, at=19)}
    assert not settler.settled(3.9 + STILL_S - 0.01, done)
    assert settler.settled(3.9 + STILL_S + 0.01, done)
    assert settler.began_at == 2.0
    assert settler.changed_at == pytest.approx(3.9)


@pytest.mark.parametrize("then", [{}, {"log.csv": Stamp()}, {"log.csv": Stamp(mtime_ns=5)}])
def test_a_file_that_is_emptied_or_gone_gets_longer(then: dict[str, Stamp]) -> None:
    whole = {"log.csv": stamp("abc")}
    assert rests(
        (0.0, whole), (1.0, whole), (2.0, then), (2.0 + INCOMPLETE_S - 0.01, then),
        (2.0 + INCOMPLETE_S + 0.01, then),
    ) == [False, True, False, False, True]  # fmt: skip
    # written anew within that time: the ordinary wait
    anew = {"log.csv": stamp("abd", at=3, inode=2)}
    assert rests((0.0, whole), (1.0, whole), (2.0, then), (2.5, anew), (2.7, anew)) == [
        False, True, False, False, True,
    ]  # fmt: skip


def test_a_file_that_was_never_there_is_not_waited_for() -> None:
    seen = {"session.toml": Stamp(), "log.csv": stamp("abc")}
    assert rests((0.0, seen), (STILL_S, seen)) == [False, True]


# --- the files of a record -----------------------------------------------------------------


def record_in(folder: Path, log: str = "log.csv", named: str = "") -> RecordFiles:
    (folder / log).write_text("event\nreading\n")
    if named:
        (folder / "session.toml").write_text(f'[session]\nlog = "{named}"\n')
    return RecordFiles(folder, folder / "report" / "revisions")


def test_only_the_files_of_the_record_are_looked_at(tmp_path: Path) -> None:
    files = record_in(tmp_path)
    before = files.look(0.0)
    assert set(before) == {"session.toml", "corrections.csv", "log.csv", "revisions"}
    for name in (
        ".~lock.log.csv#",
        "~$log.csv",
        ".log.csv.swp",
        "log.csv~",
        "other.csv",
        "log.tmp",
    ):
        (tmp_path / name).write_text("x")
    assert files.look(1.0) == before
    (tmp_path / "session.toml").write_text("[session]\n")
    assert files.look(2.0)["session.toml"] != before["session.toml"]


def test_the_log_is_the_one_the_setup_file_names_now(tmp_path: Path) -> None:
    files = record_in(tmp_path, "day.csv", named="day.csv")
    assert files.look(0.0)["day.csv"].size == 14
    (tmp_path / "session.toml").write_text('[session]\nlog = "evening.csv"\n')
    assert files.look(1.0)["evening.csv"] == Stamp()
    (tmp_path / "session.toml").write_text('[session\nlog = "half')  # half-written
    assert files.look(2.0)["day.csv"].size == 14  # the only CSV file there is
    (tmp_path / "session.toml").write_text('[session]\nlog = "../x.csv"\n')
    assert "../x.csv" not in files.look(3.0)


def test_a_file_replaced_by_a_rename_and_a_touched_one(tmp_path: Path) -> None:
    files = record_in(tmp_path)
    first = files.look(0.0)["log.csv"]
    (tmp_path / "new").write_text("event\nreading\n")
    (tmp_path / "new").replace(tmp_path / "log.csv")
    second = files.look(1.0)["log.csv"]
    assert second.inode != first.inode
    assert second.digest == first.digest
    os.utime(tmp_path / "log.csv", ns=(1, 1))
    assert files.look(2.0)["log.csv"].digest == first.digest


def test_a_change_that_shows_in_no_time_and_no_length_is_found(tmp_path: Path) -> None:
    """On a file system with coarse times a second save can bear the time of the first."""
    files = record_in(tmp_path)
    log = tmp_path / "log.csv"
    held = log.stat()
    first = files.look(0.0)["log.csv"]
    with log.open("r+") as file:
        file.write("evenT")
    os.utime(log, ns=(held.st_atime_ns, held.st_mtime_ns))
    assert files.look(RECHECK_S - 0.01)["log.csv"] == first
    assert files.look(RECHECK_S + 0.01)["log.csv"].digest != first.digest
    # long after the last change the times are trusted: nothing is read again
    files.look(UNSURE_S + 20)
    again = files.look(UNSURE_S + 21)["log.csv"]
    with log.open("r+") as file:
        file.write("eveNT")
    os.utime(log, ns=(held.st_atime_ns, held.st_mtime_ns))
    assert files.look(UNSURE_S + 30)["log.csv"] == again


def test_a_kept_revision_counts_as_a_change_once_it_is_in_place(tmp_path: Path) -> None:
    files = record_in(tmp_path)
    before = files.look(0.0)["revisions"]
    (tmp_path / "report" / "revisions" / "001").mkdir(parents=True)
    after = files.look(1.0)["revisions"]
    assert after != before
    (tmp_path / "report" / ".rundown-swap").mkdir()
    (tmp_path / "report" / ".rundown-swap" / "journal.json").write_text("{}")
    assert files.look(2.0)["revisions"] not in (before, after)


def test_a_csv_alone(tmp_path: Path) -> None:
    record_in(tmp_path, "day.csv")
    files = RecordFiles(tmp_path / "day.csv", tmp_path / "day-report" / "revisions")
    assert files.look(0.0)["day.csv"].size == 14
