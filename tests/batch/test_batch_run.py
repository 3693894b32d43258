"""Real batches: warm bytes equal cold ones, and nothing is lost by kills, Ctrl-C or company."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from kit.batch.find import find_jobs
from kit.batch.pool import run_here
from kit.batch.process import EndedError, WarmProcess
from kit.places import samples_folder
from kit.render.report import CHECKSUMS, render_report
from kit.render.warm import GaveUpError, WarmKernel
from kit.results import Settings

pytestmark = pytest.mark.slow
ROOT = Path(__file__).resolve().parents[2]
SETTINGS = {"draws": 10_000}
QUICK = ["--draws", "10000"]


def session(folder: Path, sample: str = "scorecard") -> Path:
    """Copy a sample session under another name."""
    left_out = shutil.ignore_patterns("report", "truth")
    return Path(shutil.copytree(samples_folder() / sample, folder, ignore=left_out))


def content(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }


def alone(record: Path, out: Path) -> dict[str, bytes]:
    """Return the files of a report made by itself, in a kernel of its own."""
    render_report(record, out, settings=Settings(draws=10_000))
    return content(out)


@pytest.fixture(scope="module")
def alone_a(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Return the files of the report of a session in a folder ``a``, made by itself."""
    folder = tmp_path_factory.mktemp("alone")
    return alone(session(folder / "a"), folder / "out")


def run(*paths: Path, workers: int, out: Path | None = None) -> dict[str, Any]:
    jobs = find_jobs(
        [str(p) for p in paths], out=None if out is None else str(out), settings=SETTINGS,
        again="if_changed", timeout_s=300,
    )  # fmt: skip
    outcomes = run_here(jobs, workers=workers, on_outcome=lambda _: None, on_interrupt=lambda: None)
    return {outcome.name: outcome for outcome in outcomes}


@pytest.fixture
def batches() -> Iterator[Callable[..., subprocess.Popen[str]]]:
    """Start batches as commands of their own; end those that still run."""
    started: list[subprocess.Popen[str]] = []

    def start(*arguments: object) -> subprocess.Popen[str]:
        command = [sys.executable, "-m", "kit", "batch", *map(str, arguments), "--json", *QUICK]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        process = subprocess.Popen(
            command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        started.append(process)
        return process

    yield start
    for process in started:
        process.kill()
        process.communicate()


def ended(process: subprocess.Popen[str]) -> tuple[int, dict[str, Any]]:
    out, _ = process.communicate(timeout=300)
    data = json.loads(out)
    return process.returncode, {**data, "by": {s["name"]: s for s in data["sessions"]}}


def wait_for(done: Callable[[], object], *, seconds: float = 120) -> None:
    until = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < until, "nothing came of it"
        time.sleep(0.02)


def test_one_process_makes_session_after_session_as_if_each_were_alone(
    tmp_path: Path, alone_a: dict[str, bytes]
) -> None:
    days = tmp_path / "days"
    for name, sample in (("a", "scorecard"), ("b", "after-midnight"), ("c", "scorecard")):
        session(days / name, sample)
    # one that does not pass, and one that warns in its notebook, between good ones
    session(days / "b-poor")
    (days / "b-poor" / "session.toml").write_text("devices = 3\n", encoding="utf-8")
    taken = session(days / "b-taken")
    (taken / "report").write_text("a file where the folder should be", encoding="utf-8")
    done = run(days, workers=1)
    assert {name: o.status for name, o in done.items()} == {
        "a": "made", "b": "made", "b-poor": "not_passed", "b-taken": "failed", "c": "made",
    }  # fmt: skip
    assert [done[n].exit_code for n in ("b-poor", "b-taken")] == [1, 4]
    assert "session.toml" in done["b-poor"].why
    assert done["c"].title
    assert content(days / "a" / "report") == alone_a
    assert content(days / "b" / "report") == alone(days / "b", tmp_path / "alone")
    again = run(days, workers=2)
    assert [again[n].status for n in "abc"] == ["unchanged"] * 3
    # a corrected log is made again, by the same process as others, with its history
    log = next((days / "c").glob("*.csv"))
    log.write_bytes(log.read_bytes() + b"\n")
    once_more = run(days / "a", days / "c", workers=1)
    assert (once_more["c"].status, once_more["c"].revision) == ("made", 2)
    assert once_more["a"].status == "unchanged"


@pytest.fixture
def warm() -> Iterator[WarmKernel]:
    kernel = WarmKernel()
    yield kernel
    kernel.close()


def test_what_is_no_plain_showing_is_left_to_a_kernel_and_forgotten(
    tmp_path: Path, warm: WarmKernel
) -> None:
    import nbformat

    def notebook(*sources: str) -> Any:
        cells = [nbformat.v4.new_code_cell(source) for source in sources]
        return nbformat.v4.new_notebook(cells=cells)

    for source in (
        "print(1)", "1", "1/0", "import warnings; warnings.warn('w')", "raise SystemExit",
        "from IPython.display import clear_output; clear_output()", "def (",
        "import sys; print('e', file=sys.stderr)", "import os; os.environ['LEAK'] = '1'; leak",
        "from IPython.display import display; display({'x/y': object()}, raw=True)",
        "h = __import__('IPython.display').display.display({}, raw=True, display_id=True)",
    ):  # fmt: skip
        with warm.notebook(tmp_path), pytest.raises(GaveUpError):
            warm.run(notebook(source))
    place = Path.cwd()
    for _ in range(2):  # the same warning-free cell numbers and shows alike every time
        good = notebook(
            "import os\nfrom IPython.display import display",
            "here = os.path.basename(os.getcwd())\n"
            "display({'text/plain': f'{here} {\"leak\" in globals()} {\"LEAK\" in os.environ}'}, "
            "raw=True)\nleak = 1",
        )
        with warm.notebook(tmp_path):
            warm.run(good)
        assert [c.execution_count for c in good.cells] == [1, 2]
        [shown] = good.cells[1].outputs
        assert shown.data["text/plain"] == f"{tmp_path.name} False False"
    assert Path.cwd() == place


def test_a_process_that_is_killed_is_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    session(tmp_path / "days" / "a")
    ask, pids = WarmProcess.ask, []

    def killing(self: WarmProcess, job: Any, *, timeout_s: float) -> dict[str, Any]:
        process = self._started()
        pids.append(process.pid)
        if len(pids) == 1:
            process.kill()
        return ask(self, job, timeout_s=timeout_s)

    monkeypatch.setattr(WarmProcess, "ask", killing)
    done = run(tmp_path / "days", workers=1)
    assert done["a"].status == "made"
    assert len(set(pids)) == 2
    process = WarmProcess()
    with pytest.raises(EndedError, match=r"took longer than 0\.05 s"):
        ask(process, {"record": "x", "out": "y", "settings": {}, "epoch": ""}, timeout_s=0.05)
    assert process.pid is None
    with pytest.raises(EndedError, match=r"ended with status 1 \(KeyError: 'epoch'\)"):
        ask(process, {"record": "x"}, timeout_s=100)
    process.end()


def test_a_process_that_has_grown_large_is_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    poor = tmp_path / "poor"
    poor.mkdir()
    (poor / "log.csv").write_text("event\nwalrus\n", encoding="utf-8")
    job = {"record": str(poor), "out": str(poor / "report"), "settings": SETTINGS, "epoch": ""}
    process = WarmProcess()
    try:
        assert process.ask(job, timeout_s=100)["end"] == "not_passed"
        first = process.pid
        assert first is not None
        monkeypatch.setattr("kit.batch.process.LARGEST_MIB", -1.0)
        assert process.ask(job, timeout_s=100)["end"] == "not_passed"
        assert process.pid is None
    finally:
        process.end()


def test_a_killed_batch_goes_on_where_it_was(
    tmp_path: Path, alone_a: dict[str, bytes], batches: Callable[..., subprocess.Popen[str]]
) -> None:
    days = tmp_path / "days"
    for name in ("a", "b", "c"):
        session(days / name)
    first = batches(days, "--jobs", 1)
    wait_for(lambda: any(days.glob(f"*/report/{CHECKSUMS}")))
    first.kill()
    first.wait()
    # the process beside it may still be finishing the session that it had begun
    code, done = ended(batches(days, "--jobs", 1))
    assert code == 0
    assert done["counts"]["unchanged"] >= 1
    assert done["counts"]["made"] + done["counts"]["unchanged"] == 3
    assert content(days / "a" / "report") == alone_a
    # no lock, no hidden folder, no half report is left anywhere
    assert not list(tmp_path.rglob(".*"))


def test_ctrl_c_finishes_what_was_begun_and_ends_with_130(
    tmp_path: Path, batches: Callable[..., subprocess.Popen[str]]
) -> None:
    days = tmp_path / "days"
    for name in ("a", "b", "c", "d"):
        session(days / name)
    process = batches(days, "--jobs", 1)
    wait_for(lambda: any(days.glob("*/.rundown-*.lock")))
    process.send_signal(signal.SIGINT)
    code, done = ended(process)
    assert code == 130
    assert done["by"]["d"]["status"] == "left"
    assert done["by"]["a"]["status"] == "made"
    assert (days / "a/report" / CHECKSUMS).is_file()


def test_two_batches_over_the_same_sessions_share_the_work(
    tmp_path: Path, alone_a: dict[str, bytes], batches: Callable[..., subprocess.Popen[str]]
) -> None:
    days = tmp_path / "days"
    for name in ("a", "b"):
        session(days / name)
    both = [batches(days, "--jobs", 1) for _ in range(2)]
    ends = [ended(process) for process in both]
    assert [code for code, _ in ends] == [0, 0]
    assert {s["status"] for _, done in ends for s in done["sessions"]} <= {"made", "unchanged"}
    assert content(days / "a" / "report") == alone_a
