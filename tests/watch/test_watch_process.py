"""``rundown watch`` as a process: a save is a draft soon after, and Ctrl-C ends it."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from kit.places import samples_folder
from kit.render.report import render_report
from kit.results import Settings
from kit.revise.archive import FOLDER, read_archive
from kit.revise.draft import DRAFT_LINE
from kit.revise.verify import verify
from tests.helpers.files import ROOT, content

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = pytest.mark.slow

LONGEST_S = 60
"""Until the test gives up, on a computer with other work."""


class Watched:
    """A record that another process watches."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.page = folder / "report-draft" / "report.html"
        self.out = folder.parent / "said.txt"
        with self.out.open("wb") as file:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "kit", "watch", str(folder), "--draws", "10000"],
                stdout=file, stderr=subprocess.STDOUT, cwd=folder.parent,
                env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"},
            )  # fmt: skip

    def said(self) -> str:
        return self.out.read_text(encoding="utf-8")

    def until_said(self, text: str, times: int = 1) -> float:
        """Wait until it has said something so often; return how long that took (s)."""
        began = time.monotonic()
        while self.said().count(text) < times:
            assert self.process.poll() is None, self.said()
            assert time.monotonic() - began < LONGEST_S, self.said()
            time.sleep(0.02)
        return time.monotonic() - began

    def save(self, old: str, new: str) -> None:
        """Save as a spreadsheet does: a lock, a new file beside, a rename."""
        log = self.folder / "log.csv"
        text = log.read_text(encoding="utf-8")
        assert old in text
        lock = self.folder / ".~lock.log.csv#"
        lock.write_text("somebody")
        beside = self.folder / "lu4711.tmp"
        beside.write_text(text.replace(old, new, 1), encoding="utf-8")
        beside.replace(log)
        lock.unlink()


@pytest.fixture
def watched(tmp_path: Path) -> Iterator[Watched]:
    record = tmp_path / "day"
    shutil.copytree(samples_folder() / "full-day", record, ignore=shutil.ignore_patterns("report*"))
    render_report(record, record / "report", settings=Settings(draws=10_000))
    made = Watched(record)
    yield made
    if made.process.poll() is None:
        made.process.kill()
        made.process.wait()


def test_a_save_is_a_draft_and_never_a_revision(
    watched: Watched, capsys: pytest.CaptureFixture[str]
) -> None:
    report = content(watched.folder / "report")
    began = time.monotonic()
    watched.until_said("first draft in")
    cold = time.monotonic() - began
    log = (watched.folder / "log.csv").read_text("utf-8")
    cell = "reading,p3,end,periwinkle,12:24,50,"
    assert cell in log
    took = []
    for k in range(3):
        old, new = (cell, cell.replace(",50,", ",49,"))[:: 1 if k % 2 == 0 else -1]
        watched.save(old, new)
        began = time.monotonic()
        watched.until_said("  draft in", times=k + 1)
        took.append(time.monotonic() - began)
    with capsys.disabled():
        sys.stdout.write(
            f"\n[watch] first {cold:.1f} s, saves {', '.join(f'{t:.2f}' for t in took)} s\n"
        )
    # the rest of the machine may be busy: a draft is held to the time that a cold start takes
    assert min(took) < 0.7 * cold
    page = watched.page.read_text(encoding="utf-8")
    assert DRAFT_LINE in page
    assert "<title>" in page
    assert "Draft · " in page.partition("<title>")[2].partition("</title>")[0]
    assert "against revision 1" in watched.said()

    watched.save(",12:24,49,", ",12:24,149,")
    watched.until_said("no draft: the record has one error; the last draft stays")
    assert "'149'" in watched.said()
    assert watched.page.read_text(encoding="utf-8") == page

    # what is sent by mistake is still true, and says what it is
    done = verify(watched.folder / "report-draft")
    assert done.follows, [d.sentence for d in done.differences]

    watched.process.send_signal(signal.SIGINT)
    assert watched.process.wait(LONGEST_S) == 0
    assert "Watching ended." in watched.said()
    assert "Traceback" not in watched.said()
    assert content(watched.folder / "report") == report
    assert len(read_archive(watched.folder / "report" / FOLDER)) == 1
    assert not (watched.folder / "report-draft" / FOLDER).exists()
    assert not list(watched.folder.rglob(".rundown-*"))


@pytest.mark.parametrize("after_s", [0.0, 1.5])
def test_an_interruption_at_any_time_is_an_end_without_noise(
    tmp_path: Path, after_s: float
) -> None:
    record = tmp_path / "day"
    shutil.copytree(samples_folder() / "full-day", record, ignore=shutil.ignore_patterns("report*"))
    watched = Watched(record)
    watched.until_said("Watching ")
    time.sleep(after_s)
    watched.process.send_signal(signal.SIGINT)
    assert watched.process.wait(LONGEST_S) == 0
    assert "Traceback" not in watched.said()
    assert "Watching ended." in watched.said()
