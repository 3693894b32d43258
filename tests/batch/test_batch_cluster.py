"""Sessions behind addresses, and batches on a Dask scheduler that loses a worker."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from kit.batch.elsewhere import needed
from kit.batch.find import find_jobs
from kit.batch.jobs import Job
from kit.batch.make import make
from kit.batch.process import WarmProcess
from kit.errors import UsageError
from kit.places import samples_folder
from kit.render.report import CHECKSUMS, render_report
from kit.results import Settings

ROOT = Path(__file__).resolve().parents[2]
DRAWS = {"draws": 10_000}


def session(folder: Path) -> Path:
    left_out = shutil.ignore_patterns("report", "truth")
    return Path(shutil.copytree(samples_folder() / "scorecard", folder, ignore=left_out))


def content(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }


@pytest.fixture(scope="module")
def expected(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Return the report of a session in a folder ``a``, made by itself."""
    folder = tmp_path_factory.mktemp("alone")
    render_report(session(folder / "a"), folder / "out", settings=Settings(draws=10_000))
    return content(folder / "out")


def test_a_package_that_is_missing_is_named_with_its_remedy() -> None:
    with pytest.raises(UsageError, match=r"needs the package no_such_package.*pip install"):
        needed("no_such_package.core", why="An address like x://y")


@pytest.mark.system
@pytest.mark.slow
def test_a_session_behind_an_address_is_fetched_made_and_put_back(
    expected: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    fsspec = pytest.importorskip("fsspec")
    system = fsspec.filesystem("memory")
    system.store.clear()
    for path in sorted((samples_folder() / "scorecard").glob("*.*")):
        system.pipe_file(f"/season/a/{path.name}", path.read_bytes())
    system.pipe_file("/season/a/film.mp4", b"never fetched")
    system.pipe_file("/season/.old/log.csv", b"x")
    system.pipe_file("/season/a/report/revisions/001/inputs/log.csv", b"x")
    [job] = find_jobs(
        ["memory://season"], out=None, settings=DRAWS, again="if_changed", timeout_s=300
    )
    assert (job.name, job.record, job.out) == (
        "a", "memory://season/a", "memory://season/a/report",
    )  # fmt: skip
    put: list[str] = []
    pipe = type(system).pipe_file

    def noted(self: Any, path: str, value: bytes, **more: Any) -> None:
        put.append(path)
        pipe(self, path, value, **more)

    monkeypatch.setattr(type(system), "pipe_file", noted)
    process = WarmProcess()
    try:
        done = make(job, process)
        assert (done.status, done.report) == ("made", "memory://season/a/report/report.html")
        assert put[-1].endswith(f"/{CHECKSUMS}")
        assert put[-2].endswith("/manifest.json")
        stored = {
            name.removeprefix("/season/a/report/"): system.cat_file(name)
            for name in system.find("/season/a/report")
        }
        assert stored == expected
        put.clear()
        assert make(job, process).status == "unchanged"
        assert not put

        # an upload that broke off: no mark, and a revision without its description
        system.rm_file(f"/season/a/report/{CHECKSUMS}")
        system.rm_file("/season/a/report/revisions/001/revision.json")
        system.pipe_file("/season/a/report/report.pdf", b"half")
        assert make(job, process).why == "no whole report was there"
        assert system.cat_file("/season/a/report/report.pdf") == expected["report.pdf"]

        # a correction: the earlier report is kept, what is no longer made goes
        [log] = [n for n in system.find("/season/a", maxdepth=1) if n.endswith(".csv")]
        system.pipe_file(log, system.cat_file(log) + b"\n")
        system.pipe_file("/season/a/report/report.failed.ipynb", b"{}")
        done = make(job, process)
        assert (done.status, done.revision) == ("made", 2)
        assert (
            system.cat_file("/season/a/report/revisions/001/report.pdf") == (expected["report.pdf"])
        )
        assert not system.exists("/season/a/report/report.failed.ipynb")

        def refuse(self: Any, path: str, value: bytes, **more: Any) -> None:
            raise PermissionError(path)

        monkeypatch.setattr(type(system), "pipe_file", refuse)
        system.rm("/season/a/report", recursive=True)
        refused = make(job, process)
        assert (refused.status, refused.exit_code) == ("failed", 4)
        assert "fetched or put back (PermissionError" in refused.why
    finally:
        process.end()
        system.store.clear()


@pytest.fixture
def scheduler(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Start a scheduler and two workers as processes of their own; yield address and workers."""
    pytest.importorskip("distributed")
    file = tmp_path / "scheduler.json"
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": environment}
    at = ["--scheduler-file", str(file)]
    started = [
        subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1",
             "--port", "0", "--no-dashboard", *at], **quiet,
        )
    ]  # fmt: skip
    try:
        until = time.monotonic() + 60
        while not file.exists():
            assert time.monotonic() < until, "the scheduler did not start"
            time.sleep(0.05)
        started += [
            subprocess.Popen(
                [sys.executable, "-m", "distributed.cli.dask_worker", "--nthreads", "1",
                 "--no-nanny", "--no-dashboard", "--host", "127.0.0.1",
                 "--local-directory", str(tmp_path / f"worker-{k}"), *at], **quiet,
            )
            for k in range(2)
        ]  # fmt: skip
        yield json.loads(file.read_text())["address"], started[1:]
    finally:
        for process in started[::-1]:
            process.kill()
            process.wait()


@pytest.mark.system
@pytest.mark.slow
def test_every_report_is_made_though_a_worker_is_killed(
    tmp_path: Path,
    expected: dict[str, bytes],
    scheduler: tuple[str, list[subprocess.Popen[bytes]]],
) -> None:
    address, workers = scheduler
    days = tmp_path / "days"
    names = [f"s{k}/a" for k in range(5)]
    for name in names:
        session(days / name)
    poison = session(days / "poison")
    (poison / "session.toml").write_bytes(b"\xff\xfe\x00 = [")
    command = [sys.executable, "-m", "kit", "batch", f"file://{days}", "--scheduler", address,
               "--json", "--draws", "10000"]  # fmt: skip
    batch = subprocess.Popen(
        command, env={**os.environ, "PYTHONPATH": str(ROOT)}, stdout=subprocess.PIPE
    )
    try:
        until = time.monotonic() + 200
        while not any(days.glob(f"*/*/report/{CHECKSUMS}")):
            assert time.monotonic() < until, "no report was made"
            time.sleep(0.02)
        workers[0].send_signal(signal.SIGKILL)
        out, _ = batch.communicate(timeout=300)
    finally:
        batch.kill()
        batch.wait()
    done = {s["name"]: s for s in json.loads(out)["sessions"]}
    assert {done[name]["status"] for name in names} <= {"made", "unchanged"}
    assert done["poison"]["status"] == "not_passed"
    assert batch.returncode == 1
    for name in names:
        assert content(days / name / "report") == expected


@pytest.mark.system
def test_an_address_where_no_scheduler_is_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed")
    import kit.batch.cluster as cluster

    monkeypatch.setattr(cluster, "REACHED_S", 1)
    job = Job(name="a", record=str(tmp_path), out=str(tmp_path / "out"))
    with pytest.raises(UsageError, match=r"No Dask scheduler answers at tcp://127\.0\.0\.1:9"):
        cluster.run_on(
            "tcp://127.0.0.1:9", [job], workers=1,
            on_outcome=lambda _: None, on_interrupt=lambda: None,
        )  # fmt: skip


@pytest.mark.system
def test_a_worker_of_another_version_is_refused(tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    from kit.batch.cluster import task

    job = {"name": "a", "record": str(tmp_path), "out": str(tmp_path / "out")}
    done = task(job, "0.0.1")
    assert (done["status"], done["exit_code"]) == ("failed", 4)
    assert "the batch 0.0.1. Install the same version" in done["why"]
