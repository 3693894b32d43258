"""Faults at every call of a whole report run and of a correction; two runs at once.

The report of a corrected record is made over a good report. What the notebook, the HTML and the
PDF come to is taken from an undisturbed run: here it is about files.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from contextlib import nullcontext
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from kit.render import report as render
from kit.revise import amend as amending
from kit.revise.amend import amend
from kit.revise.swap import STAGE, finish, unfinished
from tests.helpers.faults import KINDS, calls, with_fault
from tests.helpers.short_report import SETTINGS, make_record, short_template

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
ON = date(2026, 6, 1)
STEP = 12


def content(folder: Path) -> dict[str, bytes]:
    """Return all files but those of the machinery."""
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in folder.rglob("*")
        if p.is_file() and STAGE not in p.parts and not p.name.startswith(".rundown")
    }


def leftovers(folder: Path) -> list[str]:
    return [p.name for p in folder.rglob(".rundown*")]


def correct(record: Path) -> None:
    amend(record, line=4, column="soc_pct", to="88", reason="misread", by="Wren", on=ON)


class Runs:
    """A good report of a record, and what becomes of it."""

    def __init__(self, folder: Path) -> None:
        self.template = short_template(folder / "templates")
        self.record = make_record(folder / "day")
        self.out = folder / "out"
        self.saved: dict[str, Any] = {}

    def render(self, out: Path) -> None:
        render.render_report(self.record, out, settings=SETTINGS, template=self.template)

    def saving(self, module: Any, name: str) -> None:
        real = getattr(module, name)

        def wrapped(*args: Any, **kwargs: Any) -> Any:
            self.saved[name] = real(*args, **kwargs)
            return self.saved[name]

        setattr(module, name, wrapped)


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Runs]:
    made = Runs(tmp_path_factory.mktemp("runs"))
    with pytest.MonkeyPatch.context() as patch:
        made.render(made.out)
        correct(made.record)
        places = [(render, "run_notebook"), (render.html, "html_page"), (render.pdf, "pdf_bytes")]
        for module, name in places:
            patch.setattr(module, name, getattr(module, name))  # to be put back at the end
            made.saving(module, name)
        new = shutil.copytree(made.out, made.out.parent / "new")
        made.render(new)
        for module, name in places:
            patch.setattr(module, name, lambda *_, _name=name, **__: made.saved[_name])
        patch.setattr(render, "start_kernel", lambda *_, **__: nullcontext())
        patch.setattr(os, "fsync", lambda _: None)
        yield made


def test_a_run_that_meets_a_fault_at_any_call_leaves_one_whole_report(
    runs: Runs, tmp_path: Path
) -> None:
    old, new = content(runs.out), content(runs.out.parent / "new")
    assert sum(old.get(name) != new[name] for name in new) > 10
    assert {"revisions/001/report.pdf", "revisions/002/results.json"} <= new.keys() - old.keys()
    base = Path(shutil.copytree(runs.out, tmp_path / "base"))
    total = calls(tmp_path, lambda: runs.render(base))
    assert content(base) == new
    states = set()
    # spread over the run; the tests of `kit.revise.swap` have every call with every kind
    for at in range(1 + total % STEP, total + 1, STEP):
        kind = KINDS[at // STEP % len(KINDS)] if at // STEP % 2 else "killed"
        out = Path(shutil.copytree(runs.out, tmp_path / "out"))
        ended = with_fault(tmp_path, lambda out=out: runs.render(out), kind=kind, at=at)
        found = content(out)
        state = "old" if found == old else "new" if found == new else "mixed"
        states.add((ended.how, state))
        assert state != "mixed" or (ended.how == "killed" and unfinished(out)), (at, kind)
        if ended.how == "raised":
            assert state == "old", (at, kind)
        runs.render(out)  # the next run
        assert content(out) == new, (at, kind)
        assert leftovers(tmp_path) == [], (at, kind)
        shutil.rmtree(out)
    assert {("killed", "old"), ("killed", "mixed"), ("killed", "new"), ("raised", "old")} <= states


@pytest.mark.parametrize("second", [False, True])
def test_a_correction_that_meets_a_fault_is_made_or_not(
    tmp_path: Path, second: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    base = make_record(tmp_path / "base" / "day")
    if second:
        amend(base, line=5, column="soc_pct", to="84", reason="blurred", on=ON)
    # what reading and checking say is known by now
    monkeypatch.setattr(amending, "_checked", lambda *_: ())
    monkeypatch.setattr(amending, "log_of", lambda record: record / "log.csv")
    monkeypatch.setattr(os, "fsync", lambda _: None)
    after = Path(shutil.copytree(base, tmp_path / "after" / "day"))
    old = content(base)
    total = calls(after, lambda: correct(after))
    new = content(after)
    assert old.keys() | {"corrections.csv"} < new.keys() | {"x"}
    assert b",misread\n" in new["corrections.csv"]
    for at in range(1, total + 1):
        record = Path(shutil.copytree(base, tmp_path / "try" / "day"))
        kind = KINDS[at % len(KINDS)] if second else "killed"
        ended = with_fault(record, lambda record=record: correct(record), kind=kind, at=at)
        found = content(record)
        assert found in (old, new) or (ended.how == "killed" and unfinished(record)), at
        if ended.how == "raised":
            assert found == old, at
        # never a reason for a change that was not made, however it ended
        rows = found.get("corrections.csv", b"")
        assert b",misread\n" not in rows or found["log.csv"] == new["log.csv"], at
        finish(record)
        assert content(record) in (old, new), at
        if content(record) == old:
            correct(record)
        assert content(record) == new, at
        shutil.rmtree(record)


def test_a_report_completes_a_correction_that_was_killed(runs: Runs, tmp_path: Path) -> None:
    base = make_record(tmp_path / "base")
    total = calls(base, lambda: correct(base))
    for at in range(total, 0, -1):
        record = make_record(tmp_path / str(at) / "day")
        with_fault(record, lambda record=record: correct(record), kind="killed", at=at)
        if unfinished(record) and not (record / "corrections.csv").exists():
            break
    # what is saved of the notebook has the corrected record: the run must read that one
    render.render_report(record, tmp_path / "out", settings=SETTINGS, template=runs.template)
    assert not unfinished(record)
    assert content(record)["log.csv"] == content(runs.record)["log.csv"]
    assert content(record)["corrections.csv"] == content(runs.record)["corrections.csv"]


# --- real processes ------------------------------------------------------------------------

SCRIPT = """
import sys
from pathlib import Path
from kit.errors import RundownError
from kit.render.report import render_report
from tests.helpers.short_report import SETTINGS
record, out, template = map(Path, sys.argv[1:4])
def said(step, share):
    print(step, flush=True)
try:
    render_report(record, out, settings=SETTINGS, template=template, progress=said)
except RundownError as error:
    print("refused:", error, flush=True)
    sys.exit(error.exit_code)
"""


def started(runs: Runs, record: Path, out: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", SCRIPT, record, out, runs.template],
        stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip


def test_two_runs_at_once_are_one_report_and_one_refusal(runs: Runs, tmp_path: Path) -> None:
    out = Path(shutil.copytree(runs.out, tmp_path / "out"))
    first = started(runs, runs.record, out)
    assert first.stdout is not None
    assert first.stdout.readline().startswith("Starting the notebook")
    second = started(runs, runs.record, out)
    said, _ = second.communicate(timeout=120)
    first.communicate(timeout=120)
    assert (first.returncode, second.returncode) == (0, 4)
    assert f"refused: Another run (process {first.pid}) is making a report in {out}. Wait" in said
    assert content(out) == content(runs.out.parent / "new")
    assert leftovers(tmp_path) == []


def test_a_process_killed_while_it_puts_files_in_place_is_healed_by_the_next(
    runs: Runs, tmp_path: Path
) -> None:
    out = Path(shutil.copytree(runs.out, tmp_path / "out"))
    run = started(runs, runs.record, out)
    while not (out / STAGE).exists():
        assert run.poll() is None
    run.kill()
    run.communicate()
    old, new = content(runs.out), content(runs.out.parent / "new")
    assert content(out) in (old, new) or unfinished(out)
    finish(out)
    assert content(out) in (old, new)
    runs.render(out)
    assert content(out) == new
    assert leftovers(tmp_path) == []
