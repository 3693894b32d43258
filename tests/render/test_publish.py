"""Files in place all together, or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from kit.errors import RenderError
from kit.render.publish import publish
from tests.helpers.files import content

OLD = {"a.txt": b"old a", "tables/b.csv": b"old b", "tables/gone.csv": b"old gone"}
NEW = {"a.txt": b"new a", "tables/b.csv": b"new b", "c.pdf": b"new c"}


def test_files_replace_the_old_ones_and_the_obsolete_go(tmp_path: Path) -> None:
    out = tmp_path / "deep" / "out"
    publish(out, OLD)
    (out / "mine.txt").write_bytes(b"kept")
    publish(out, NEW, obsolete=("tables/gone.csv", "never.txt", "a.txt"))
    assert content(out) == {**NEW, "mine.txt": b"kept"}
    assert sorted(p.name for p in out.iterdir()) == ["a.txt", "c.pdf", "mine.txt", "tables"]


@pytest.mark.parametrize("failing", range(1, 5))
def test_a_failed_move_leaves_everything_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: int
) -> None:
    publish(tmp_path, OLD)
    replace = Path.replace
    count = 0

    def stubborn(self: Path, target: Path) -> Path:
        nonlocal count
        count += 1
        if count == failing:
            raise PermissionError(13, "Permission denied", str(self), None, str(target))
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", stubborn)
    with pytest.raises(RenderError, match=r"Cannot write .*: Permission denied\. If it is open"):
        publish(tmp_path, NEW, obsolete=("tables/gone.csv",))
    assert count >= failing
    assert content(tmp_path) == OLD


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(RenderError, match=r"Cannot write to .*file/out.*--out"):
        publish(tmp_path / "file" / "out", NEW)


def test_a_folder_made_for_nothing_goes_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device", str(self))

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(RenderError, match="No space left"):
        publish(tmp_path / "out", NEW)
    assert list(tmp_path.iterdir()) == []
