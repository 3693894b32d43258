"""Files replaced together: after a fault at any call all are old or all new, and readers know."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from kit.errors import RenderError
from kit.revise import swap
from kit.revise.lock import alone_in
from kit.revise.swap import STAGE, finish, replace_files, unfinished
from tests.helpers.faults import KINDS, Kind, calls, with_fault

MINE = {"mine.txt": b"kept"}
NAMES = ("tables/a.csv", "report.html", "report.pdf")
OLD = {name: f"old {name}".encode() for name in (*NAMES, "tables/gone.csv")}
NEW = {name: f"new {name}".encode() for name in (*NAMES, "revisions/002/in/log.csv")}
THIRD = {name: f"third {name}".encode() for name in NAMES}
GONE = ("tables/gone.csv", "never.txt")


@pytest.fixture(autouse=True)
def _no_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    """Do not wait for the disk: no fault here takes the power away."""
    monkeypatch.setattr(os, "fsync", lambda _: None)


def before(folder: Path) -> Path:
    """Return a folder with a good report and a file of somebody else's."""
    replace_files(folder, OLD)
    (folder / "mine.txt").write_bytes(b"kept")
    (folder / "report.pdf").chmod(0o640)
    return folder


def content(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in folder.rglob("*")
        if p.is_file() and not p.name.startswith(".rundown") and STAGE not in p.parts
    }


def folders(folder: Path) -> set[str]:
    return {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_dir()}


def put(folder: Path) -> None:
    replace_files(folder, NEW, obsolete=GONE)


@pytest.fixture(scope="module")
def total(tmp_path_factory: pytest.TempPathFactory) -> int:
    """Return how many calls it takes to put these files in place."""
    folder = before(tmp_path_factory.mktemp("total"))
    made = calls(folder, lambda: put(folder))
    assert content(folder) == {**NEW, **MINE}
    assert made > 50
    return made


@pytest.fixture(scope="module")
def between(tmp_path_factory: pytest.TempPathFactory, total: int) -> int:
    """Return a call at which some files are new and others old."""
    for at in range(total, 0, -1):
        folder = before(tmp_path_factory.mktemp("between"))
        with_fault(folder, lambda folder=folder: put(folder), kind="killed", at=at)
        found = content(folder)
        if (
            found["tables/a.csv"] == NEW["tables/a.csv"]
            and found["report.pdf"] == OLD["report.pdf"]
        ):
            return at
    raise AssertionError


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_a_fault_at_any_call_leaves_all_old_or_all_new(
    tmp_path: Path, kind: Kind, total: int
) -> None:
    old, new = {**OLD, **MINE}, {**NEW, **MINE}
    met: dict[str, set[str]] = {}
    for at in range(1, total + 2):
        folder = before(tmp_path / str(at))
        ended = with_fault(folder, lambda folder=folder: put(folder), kind=kind, at=at)
        found = content(folder)
        state = "old" if found == old else "new" if found == new else "mixed"
        if kind in ("killed", "torn"):
            # whoever reads the folder as a whole is told that it may be mixed
            assert state != "mixed" or unfinished(folder), at
            was_mixed = state == "mixed"
            assert finish(folder) or not was_mixed
            found = content(folder)
            healed = "old" if found == old else "new" if found == new else "mixed"
            assert healed != "mixed", at
            assert state in ("mixed", healed) or healed == "new", at
        else:
            assert state == ("new" if ended.how == "done" else "old") or (
                ended.how == "interrupted" and state == "new"  # while it cleaned up
            ), (at, ended, state)
        assert not unfinished(folder) or (ended.how == "interrupted" and state == "new"), at
        met.setdefault(ended.how, set()).add(state)
        if state == "old" and ended.how != "killed":
            # a revision that was not made leaves no folder that looks like one
            assert "revisions/002" not in folders(folder), at
        # the next run is an ordinary one and clears what is left
        replace_files(folder, THIRD)
        assert {k: v for k, v in content(folder).items() if k in THIRD} == THIRD
        assert not [p.name for p in folder.iterdir() if p.name.startswith(".rundown")], at
        assert folder.joinpath("report.pdf").stat().st_mode & 0o777 == 0o640
    if kind in ("killed", "torn"):
        assert met["killed"] == {"old", "mixed", "new"}  # the faults reached every stage
    elif kind == "interrupted":
        assert met["interrupted"] == {"old", "new"}
    else:
        assert {"raised", "done"} <= set(met)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["killed", "full from then on"])
def test_a_second_fault_while_the_first_is_mended(
    tmp_path: Path, kind: Kind, total: int, between: int
) -> None:
    """A run is killed between its moves; the one that mends it meets a fault at any call."""
    for at in range(1, total - between + 20):
        folder = before(tmp_path / str(at))
        with_fault(folder, lambda folder=folder: put(folder), kind="killed", at=between)
        assert unfinished(folder)
        with_fault(folder, lambda folder=folder: finish(folder), kind=kind, at=at)
        found = content(folder)
        assert found in ({**OLD, **MINE}, {**NEW, **MINE}) or unfinished(folder), at
        finish(folder)
        assert content(folder) in ({**OLD, **MINE}, {**NEW, **MINE}), at
        assert not unfinished(folder)


def test_what_can_be_completed_is_completed_and_what_cannot_is_undone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, between: int
) -> None:
    folder = before(tmp_path)
    with_fault(folder, lambda: put(folder), kind="killed", at=between)
    assert unfinished(folder)
    replace = Path.replace

    def held(self: Path, target: Path) -> Path:
        if Path(target) == folder / "report.pdf" and self.parts[-2] == "new":
            raise PermissionError(13, "Permission denied", str(self), None, str(target))
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", held)
    assert finish(folder)
    assert content(folder) == {**OLD, **MINE}
    assert "revisions/002" not in folders(folder)


def test_a_file_that_is_held_open_and_cannot_be_put_back_either_is_said_and_mended_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, between: int
) -> None:
    folder = before(tmp_path)
    with_fault(folder, lambda: put(folder), kind="killed", at=between)
    with monkeypatch.context() as patch:

        def held(self: Path, target: Path) -> Path:
            raise PermissionError(13, "Permission denied", str(self), None, str(target))

        patch.setattr(Path, "replace", held)
        with pytest.raises(RenderError, match=r"between two versions.*Permission denied\. If the"):
            finish(folder)
        assert unfinished(folder)
    finish(folder)
    assert content(folder) in ({**OLD, **MINE}, {**NEW, **MINE})


@pytest.mark.slow
def test_without_hard_links_it_is_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, total: int
) -> None:
    def none(*_: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", none)
    for at in range(1, total + 1, 2):
        folder = before(tmp_path / str(at))
        with_fault(folder, lambda folder=folder: put(folder), kind="killed", at=at)
        found = content(folder)
        assert found in ({**OLD, **MINE}, {**NEW, **MINE}) or unfinished(folder)
        finish(folder)
        assert content(folder) in ({**OLD, **MINE}, {**NEW, **MINE}), at


@pytest.mark.parametrize(
    "text",
    [
        "", "{}", "[1]",
        *(
            json.dumps({"format": swap.FORMAT, "names": [], "obsolete": [], "had": [],
                        "folders": [], **bad})
            for bad in (
                {"names": ["../x"]}, {"obsolete": ["/etc/x"]}, {"had": ["a\\..\\x"]},
                {"folders": ["c:x"]}, {"names": "ab"}, {"names": [1]}, {"format": "other"},
                {"names": [f"{STAGE}/journal.json"]},
            )
        ),
    ],
)  # fmt: skip
def test_a_journal_that_no_run_writes_moves_nothing(tmp_path: Path, text: str) -> None:
    folder = before(tmp_path / "out")
    (folder / STAGE).mkdir()
    (folder / STAGE / "journal.json").write_text(text)
    victim = tmp_path / "x"
    victim.write_text("safe")
    with pytest.raises(RenderError, match=r"journal\.json is damaged.*Move the folder"):
        finish(folder)
    assert victim.read_text() == "safe"
    assert content(folder) == {**OLD, **MINE}


def test_a_folder_under_the_name_of_a_file_is_not_moved_away(tmp_path: Path) -> None:
    folder = before(tmp_path)
    (folder / "revisions" / "002" / "in" / "log.csv").mkdir(parents=True)
    (folder / "revisions" / "002" / "in" / "log.csv" / "precious").write_text("x")
    with pytest.raises(IsADirectoryError):
        put(folder)
    assert content(folder) == {**OLD, **MINE, "revisions/002/in/log.csv/precious": b"x"}


def test_two_at_once_are_one_refused_and_a_reader_is_told_to_wait(
    tmp_path: Path, between: int
) -> None:
    folder = before(tmp_path)
    with_fault(folder, lambda: put(folder), kind="killed", at=between)
    with alone_in(folder / STAGE, doing="putting files in place"):
        for act in (put, finish):
            with pytest.raises(RenderError, match=r"Another run \(process \d+\) is putting files"):
                act(folder)
    finish(folder)
    assert content(folder) == {**NEW, **MINE}


def test_a_draft_does_not_wait_for_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of three files and the journal with its folders, the three are not waited for."""
    real, waits = os.fsync, []

    def counted(handle: int) -> None:
        waits.append(handle)
        real(handle)

    monkeypatch.setattr(os, "fsync", counted)
    files = {name: name.encode() for name in ("a", "b", "c")}
    counts = []
    for until in ("on_disk", "handed_over"):
        waits.clear()
        replace_files(tmp_path / until, files, until=until)
        assert {p.name: p.read_bytes() for p in (tmp_path / until).iterdir()} == files
        counts.append(len(waits))
    assert counts[0] - counts[1] == 3
