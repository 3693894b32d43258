"""Small session folders for the recorder."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from kit.recorder.recorder import Recorder
from tests.helpers.recorder_day import HEADER

MINI = """
[session]
id = "mini"
date = 2026-05-16
timezone = "Europe/London"
start = "08:00"
[[devices]]
id = "a"
label = "A"
[[devices]]
id = "b"
label = "B"
[[phases]]
id = "p1"
label = "One"
planned_min = 60
"""


def mini(tmp_path: Path, setup: str = MINI, log: str | None = HEADER) -> Path:
    folder = tmp_path / "mini"
    folder.mkdir()
    (folder / "session.toml").write_text(setup)
    if log is not None:
        (folder / "log.csv").write_text(log)
    return folder


def rows(folder: Path) -> list[dict[str, str]]:
    text = (folder / "log.csv").read_text(encoding="utf-8")
    return [{c: t for c, t in r.items() if t} for r in csv.DictReader(io.StringIO(text))]


def saved(recorder: Recorder, *texts: str) -> None:
    for text in texts:
        reply = recorder.submit(text)
        assert reply.kind == "saved", (text, reply)
