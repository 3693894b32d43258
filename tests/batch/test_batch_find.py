"""Which sessions a batch finds, and where their reports go."""

from __future__ import annotations

from pathlib import Path

import pytest

from kit.batch.find import find_jobs
from kit.batch.jobs import Job
from kit.errors import UsageError


def touched(folder: Path, *names: str) -> Path:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("event\n", encoding="utf-8")
    return folder


def found(*paths: object, out: str | None = None) -> tuple[Job, ...]:
    return find_jobs(
        [str(path) for path in paths], out=out, settings={}, again="if_changed", timeout_s=1
    )


def test_sessions_are_found_at_any_depth_and_nothing_else_is(tmp_path: Path) -> None:
    touched(
        tmp_path,
        "b/session.toml", "a/log.csv", "year/spring/day 1/session.toml",
        # reports, kept revisions, hidden folders, and what lies inside a session
        "report/session.toml", "b/report/revisions/001/inputs/log.csv", "x/revisions/log.csv",
        ".trash/log.csv", "single-report/log.csv", "b/raw/log.csv", "a/a/session.toml",
        "pictures/walrus.csv", "results.json",
    )  # fmt: skip
    (tmp_path / "again").symlink_to(tmp_path / "a", target_is_directory=True)
    jobs = found(tmp_path)
    assert [job.name for job in jobs] == ["a", "b", "year/spring/day 1"]
    assert [job.record for job in jobs] == [
        str(tmp_path / name) for name in ("a", "b", "year/spring/day 1")
    ]
    assert jobs[0].out == str(tmp_path / "a" / "report")


def test_a_path_may_be_a_session_a_setup_file_or_a_csv(tmp_path: Path) -> None:
    touched(tmp_path, "day/session.toml", "other/session.toml", "cards/one.csv", "only/walk.csv")
    jobs = found(
        tmp_path / "day", tmp_path / "other" / "session.toml", tmp_path / "cards" / "one.csv",
        tmp_path / "only", f"{tmp_path}/day/",
    )  # fmt: skip
    assert [(job.name, Path(job.out).relative_to(tmp_path).as_posix()) for job in jobs] == [
        ("day", "day/report"),
        ("other", "other/report"),
        ("one", "cards/one-report"),
        ("only", "only/report"),
    ]


def test_all_reports_may_go_into_one_folder(tmp_path: Path) -> None:
    touched(tmp_path, "s/a/log.csv", "s/deep/b/log.csv")
    jobs = found(tmp_path / "s", out=str(tmp_path / "all"))
    assert [job.out for job in jobs] == [str(tmp_path / "all/a"), str(tmp_path / "all/deep/b")]


def test_two_reports_never_share_a_folder(tmp_path: Path) -> None:
    touched(tmp_path, "spring/day/log.csv", "autumn/day/log.csv")
    with pytest.raises(UsageError, match="would both go to"):
        found(tmp_path / "spring/day", tmp_path / "autumn/day", out=str(tmp_path / "all"))


@pytest.mark.parametrize(
    ("path", "said"), [("nowhere", "there is no file or folder"), ("empty", "holds no session")]
)
def test_a_path_without_a_session_is_wrong_use(tmp_path: Path, path: str, said: str) -> None:
    (tmp_path / "empty").mkdir()
    touched(tmp_path / "empty", "a.csv", "b.csv")
    with pytest.raises(UsageError, match=said):
        found(tmp_path / path)
