"""A report in the middle of the day, from the log as the recorder has it then."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from kit.errors import RecordError
from kit.read.record import read_record
from kit.recorder.recorder import Recorder
from kit.render.report import render_report
from kit.results import Settings
from tests.helpers.recorder_day import DAY, SetClock, empty_day

if TYPE_CHECKING:
    from pathlib import Path

CUTS = {
    "first round half read": "08:00:29",
    "first phase running": "08:01:30",
    "in the middle of a round": "09:00:29",
    "first half of the crossover": "10:23:00",
    "right after the swap": "11:23:00",
    "in the break": "12:35:00",
    "in a turn": "14:11:00",
    "one device is off": "16:21:00",
    "last phase begins": "17:00:00",
    "three are off": "17:24:00",
}
"""What is going on → the last entry that is there."""


def cut(folder: Path, last: str) -> Path:
    """Record the day up to a time; return its folder."""
    clock = SetClock()
    with Recorder(empty_day(folder), clock=clock) as recorder:
        for at, text in DAY:
            if at > last:
                break
            clock.set(at)
            assert recorder.submit(text).kind == "saved"
    path = folder / "session.toml"
    lines = path.read_text().splitlines(keepends=True)
    gone = ("stop =", "stated_elapsed =")  # nobody knows them yet
    path.write_text("".join(line for line in lines if not line.startswith(gone)))
    return folder


@pytest.mark.parametrize("last", CUTS.values(), ids=CUTS)
def test_an_unfinished_log_is_a_record(tmp_path: Path, last: str) -> None:
    from kit.analyse import analyse
    from kit.checks import check_session

    session, met = read_record(cut(tmp_path / "day", last))
    findings = (*met, *check_session(session))
    assert [f.sentence for f in findings if f.severity == "error"] == []
    analyse(session, findings, Settings(draws=10_000))


@pytest.mark.slow
@pytest.mark.parametrize("last", ["08:01:30", "12:35:00", "16:21:00"])
def test_an_unfinished_log_has_a_report(tmp_path: Path, last: str) -> None:
    folder = cut(tmp_path / "day", last)
    outputs = render_report(folder, tmp_path / "report", settings=Settings(draws=10_000))
    results: dict[str, Any] = json.loads(outputs.results.read_text(encoding="utf-8"))
    assert results["session"]["id"] == "saltmarsh-2026-05-16"
    assert outputs.pdf.read_bytes().startswith(b"%PDF")


def test_a_log_without_an_observation_is_no_record_yet(tmp_path: Path) -> None:
    folder = cut(tmp_path / "day", "07:00:00")
    with pytest.raises(RecordError, match="a heading without observations"):
        read_record(folder)
