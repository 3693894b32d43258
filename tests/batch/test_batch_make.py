"""One job with a process that is made up: skipping, trying again, giving up, and what is told."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import kit.batch.make as make_module
import kit.batch.pool as pool_module
from kit.batch.jobs import Job, Outcome, exit_status
from kit.batch.make import TakenError, made_here, make
from kit.batch.pool import run_here
from kit.batch.process import EndedError, WarmProcess
from kit.batch.summary import summary_data, table_lines


class Made(WarmProcess):
    """Answers from a list; an exception in it is raised."""

    def __init__(self, *answers: dict[str, Any] | Exception) -> None:
        super().__init__()
        self.answers = list(answers)
        self.asked: list[dict[str, Any]] = []

    def ask(self, job: Any, *, timeout_s: float) -> dict[str, Any]:
        self.asked.append(dict(job))
        answer = self.answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return dict(answer)


def job(folder: Path, name: str = "day", **changes: Any) -> Job:
    record = folder / name
    record.mkdir(exist_ok=True)
    (record / "log.csv").write_text("event\n", encoding="utf-8")
    made = Job(name=name, record=str(record), out=str(record / "report"), settings={"seed": 7})
    return replace(made, **changes)


GOOD = {"end": "made", "findings": 2, "revision": 1, "headline": ""}


def test_a_job_without_a_report_is_made_with_all_settings(tmp_path: Path) -> None:
    process = Made(GOOD)
    done = make(job(tmp_path), process)
    assert (done.status, done.why, done.exit_code) == ("made", "there was no report yet", 0)
    assert process.asked[0]["settings"]["seed"] == 7
    assert process.asked[0]["settings"]["draws"] == 100_000


def test_a_process_that_ends_gets_one_more_try(tmp_path: Path) -> None:
    ended = EndedError("the process that made it was ended by signal 9")
    assert make(job(tmp_path), Made(ended, GOOD)).status == "made"
    twice = make(job(tmp_path), Made(ended, ended))
    assert (twice.status, twice.exit_code) == ("failed", 4)
    assert "twice: the process that made it was ended by signal 9" in twice.why


def test_a_session_that_takes_too_long_gets_no_second_try(tmp_path: Path) -> None:
    class Slow(Made):
        def ask(self, job: Any, *, timeout_s: float) -> dict[str, Any]:
            time.sleep(timeout_s)
            return super().ask(job, timeout_s=timeout_s)

    process = Slow(EndedError("took longer than 0.01 s"), GOOD)
    assert make(job(tmp_path, timeout_s=0.01), process).status == "failed"
    assert len(process.asked) == 1


def test_a_report_that_another_run_makes_comes_again_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    busy = {"end": "busy", "why": "Another run is making it.", "exit_code": 4}
    with pytest.raises(TakenError):
        made_here(job(tmp_path), tmp_path / "day", tmp_path / "day/report", Made(busy))
    process = Made(busy, GOOD, GOOD)
    monkeypatch.setattr(pool_module, "WarmProcess", lambda: process)
    jobs = [job(tmp_path, "a"), job(tmp_path, "b")]
    seen: list[str] = []
    done = run_here(
        jobs, workers=1, on_outcome=lambda o: seen.append(o.name), on_interrupt=lambda: None
    )
    assert seen == ["b", "a"]
    assert [o.status for o in done] == ["made", "made"]
    monkeypatch.setattr(pool_module, "BUSY_S", 0.0)
    process.answers = [busy] * 9
    [given_up] = run_here(jobs[:1], workers=1, on_outcome=lambda _: None, on_interrupt=lambda: None)
    assert (given_up.status, given_up.why) == ("failed", "Another run is making it.")


def test_whatever_goes_wrong_is_one_session_s_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    poor = {"end": "not_passed", "why": "log.csv, line 2: …", "findings": 3, "exit_code": 1}
    process = Made(poor, RuntimeError("boom"), GOOD)
    monkeypatch.setattr(pool_module, "WarmProcess", lambda: process)
    done = run_here(
        [job(tmp_path, n) for n in "abc"], workers=1,
        on_outcome=lambda _: None, on_interrupt=lambda: None,
    )  # fmt: skip
    assert [o.status for o in done] == ["not_passed", "failed", "made"]
    assert exit_status(done) == 4
    assert exit_status(done[::2]) == 1
    assert "RuntimeError: boom" in done[1].why


def test_ctrl_c_begins_nothing_more_and_says_what_is_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pool_module, "WarmProcess", lambda: Made(*[GOOD] * 9))
    told: list[str] = []
    interrupts = [KeyboardInterrupt]

    def on_outcome(outcome: Outcome) -> None:
        if interrupts:
            raise interrupts.pop()

    original = make_module.made_here

    def slowly(*arguments: Any) -> Outcome:
        time.sleep(0.3)
        return original(*arguments)

    monkeypatch.setattr(make_module, "made_here", slowly)
    done = run_here(
        [job(tmp_path, n) for n in "abcdef"], workers=1,
        on_outcome=on_outcome, on_interrupt=lambda: told.append("stopped"),
    )  # fmt: skip
    assert told == ["stopped"]
    assert done[0].status == "made"
    assert done[-1].status == "left"
    assert exit_status(done) == 130


def test_the_summary_carries_folder_report_title_and_status() -> None:
    outcomes = [
        Outcome(name="a", record="/s/a", out="/s/a/report", status="made", title="Day one",
                report="/s/a/report/report.html", seconds=1.0, why="log.csv changed"),
        Outcome(name="b", record="/s/b", out="/s/b/report", status="failed", exit_code=3,
                why="The notebook failed in code cell [3]\x1b[2J.\n  ValueError: no\nkept as x"),
    ]  # fmt: skip
    data = json.loads(json.dumps(summary_data(outcomes, seconds=2.5)))
    assert data["format"] == "rundown-batch/1"
    assert data["exit_status"] == 3
    assert data["counts"] == {
        "made": 1, "unchanged": 0, "not_passed": 0, "failed": 1, "left": 0,
    }  # fmt: skip
    first = data["sessions"][0]
    assert [first[k] for k in ("folder", "report", "title", "status")] == [
        "/s/a", "/s/a/report/report.html", "Day one", "made",
    ]  # fmt: skip
    lines = list(table_lines(outcomes))
    assert lines[0].startswith("a  ✓ made")
    assert "\x1b" not in lines[1]
    assert "ValueError: no" in lines[1]
    assert list(table_lines(outcomes, only_bad=True)) == lines[1:]
