"""What ``rundown batch`` prints, writes and ends with."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import kit.batch.pool as pool
from kit.batch.commands import Progress, batch_command
from kit.batch.jobs import Job, Outcome
from kit.errors import RenderError, UsageError

ENDS: dict[str, dict[str, Any]] = {
    "good": {"status": "made", "why": "there was no report yet", "seconds": 1.26},
    "same": {"status": "unchanged", "why": "same record"},
    "poor": {"status": "not_passed", "why": "log.csv, line 3: found 107.", "exit_code": 1},
}


@pytest.fixture
def days(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Three sessions whose ends are made up; what was asked for is kept in ``asked``."""
    for name in ENDS:
        (tmp_path / "days" / name).mkdir(parents=True)
        (tmp_path / "days" / name / "log.csv").touch()

    def run_here(
        jobs: Sequence[Job],
        *,
        workers: int,
        on_outcome: Callable[[Outcome], None],
        on_interrupt: Callable[[], None],
    ) -> tuple[Outcome, ...]:
        asked.append((workers, jobs))
        outcomes = [
            Outcome(name=job.name, record=job.record, out=job.out, **ENDS[job.name]) for job in jobs
        ]
        for outcome in outcomes:
            on_outcome(outcome)
        return tuple(outcomes)

    asked.clear()
    monkeypatch.setattr(pool, "run_here", run_here)
    return tmp_path / "days"


asked: list[tuple[int, Sequence[Job]]] = []


def invoke(*arguments: object) -> Result:
    return CliRunner().invoke(batch_command, [str(a) for a in arguments])


def test_a_line_for_each_session_and_the_gravest_exit_status(days: Path) -> None:
    done = invoke(days, "--jobs", 3, "--coverage", 0.9, "--again", "--timeout", 5)
    lines = done.stdout.splitlines()
    assert lines[:3] == [
        "good  ✓ made        1.3 s; there was no report yet",
        "poor  ✗ not passed  log.csv, line 3: found 107.",
        "same  = unchanged   skipped: same record",
    ]
    assert lines[3].startswith("3 sessions in ")
    assert lines[3].endswith(" s: 1 made, 1 unchanged, 1 did not pass.")
    assert done.exit_code == 1
    assert done.stderr == ""  # no terminal, no progress
    [(workers, jobs)] = asked
    assert workers == 3
    assert (jobs[0].again, jobs[0].timeout_s, jobs[0].settings["coverage"]) == ("always", 5.0, 0.9)
    assert invoke(days / "good").exit_code == 0


def test_quiet_prints_only_what_went_wrong(days: Path) -> None:
    assert invoke(days, "-q").stdout.splitlines() == [
        "poor  ✗ not passed  log.csv, line 3: found 107."
    ]
    assert invoke(days / "good", "-q").stdout == ""


def test_the_outcomes_as_json_on_the_screen_and_in_a_file(days: Path, tmp_path: Path) -> None:
    file = tmp_path / "done.json"
    done = invoke(days, "--json", "--summary", file)
    printed = json.loads(done.stdout)
    assert [s["status"] for s in printed["sessions"]] == ["made", "not_passed", "unchanged"]
    written = json.loads(file.read_text(encoding="utf-8"))
    assert written["sessions"] == printed["sessions"]
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []
    lost = invoke(days, "--summary", tmp_path / "no such folder" / "done.json")
    assert isinstance(lost.exception, RenderError)
    assert "good  ✓ made" in lost.stdout


def test_a_path_without_sessions_is_wrong_use(tmp_path: Path) -> None:
    assert isinstance(invoke(tmp_path).exception, UsageError)


def test_progress_is_one_line_on_a_terminal_and_none_elsewhere(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    outcome = Outcome(name="a", record="a", out="a", status="made")
    with Progress(2, quiet=False) as elsewhere:
        elsewhere.add(outcome)
    assert capsys.readouterr().err == ""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    written: list[str] = []
    progress = Progress(2, quiet=False)
    progress.write = written.append
    with progress:
        progress.add(outcome)
        progress.begin -= 600
        progress.add(Outcome(name="b", record="b", out="b", status="unchanged"))
    assert written[0].endswith(f"{'·' * 24} 0 of 2")
    assert f"{'━' * 12}{'·' * 12} 1 of 2  1 made  nearly done" in written[1]
    assert written[2].endswith("2 of 2  1 made, 1 unchanged")
    assert all("\n" not in text for text in written)
    assert written[-1] == "\r\x1b[2K"
