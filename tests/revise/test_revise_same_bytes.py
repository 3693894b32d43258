"""Two processes, folders, hash seeds, time zones, languages and umasks make the same bytes."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from kit.revise.amend import amend
from tests.helpers.short_report import LOG, make_record

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
PLACES = (
    ("a", {"PYTHONHASHSEED": "1", "TZ": "Pacific/Auckland", "LC_ALL": "C", "LANG": "C"}, 0o022),
    (
        "deeper/folder with spaces ü",
        {"PYTHONHASHSEED": "4711", "TZ": "America/Lima", "LC_ALL": "tr_TR.UTF-8",
         "LANG": "de_DE.UTF-8", "PYTHONUTF8": "1", "COLUMNS": "40"},
        0o077,
    ),
)  # fmt: skip


def content(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }


def test_the_report_of_a_corrected_record_has_the_same_bytes_anywhere(tmp_path: Path) -> None:
    """The whole report, of a record with a correction behind it, made twice from nothing."""
    outs = []
    for name, _, _ in PLACES:
        record = make_record(tmp_path / name / "day")
        outs.append(record.parent / "out")
    for stage in ("first", "corrected"):
        running = []
        for (name, environment, umask), out in zip(PLACES, outs, strict=True):
            record = tmp_path / name / "day"
            if stage == "corrected":
                amend(record, line=4, column="soc_pct", to="88", reason="misread",
                      by="Wren", on=date(2026, 6, 1))  # fmt: skip
            inherited = {k: v for k, v in os.environ.items() if k != "SOURCE_DATE_EPOCH"}
            running.append(
                subprocess.Popen(
                    [
                        sys.executable,
                        "-m",
                        "kit",
                        "report",
                        "day",
                        "-o",
                        out,
                        "-q",
                        "--draws",
                        "10000",
                    ],
                    cwd=record.parent,
                    umask=umask,
                    env={**inherited, "PYTHONPATH": str(ROOT), **environment},
                )
            )
        assert [process.wait(300) for process in running] == [0, 0]
    one, other = (content(out) for out in outs)
    assert one.keys() == other.keys()
    assert [name for name in one if one[name] != other[name]] == []
    assert {"report.html", "report.pdf", "report.ipynb", "results.json", "manifest.json",
            "revisions/002/results.json", "revisions/001/report.pdf"} <= one.keys()  # fmt: skip
    assert one["revisions/001/inputs/log.csv"] == LOG.encode()
    everything = b"".join(one.values())
    for trace in (str(tmp_path), "Pacific/Auckland", "America/Lima", "tr_TR.UTF-8"):
        assert trace.encode() not in everything, trace
