"""Results of a session as plain data, written by hand in the layout of ``results.json``."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

LABELS = {"limpet": "Limpet 10", "kelpfin": "Kelpfin 11", "dunlin": "Dunlin 9"}


def table(rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return rows as the table of a ``results.json``; all have the columns of the first."""
    columns = list(rows[0]) if rows else []
    return {"columns": columns, "rows": [[row[name] for name in columns] for row in rows]}


def runtime(device: str, low: float, high: float | None, rank: int, run: int = 1) -> dict[str, Any]:
    """Return a row of ``runtimes``, ends in hours; without a high end it was still on."""
    return {
        "run": run, "device": device, "status": "still_on" if high is None else "observed",
        "runtime_h": low if high is None else (low + high) / 2,
        "runtime_h_low": low, "runtime_h_high": high, "right_censored": high is None,
        "rank_best": rank, "rank_worst": rank,
    }  # fmt: skip


def longest_claim(
    device: str, verdict: str, *, lead_low: float | None = None, run: int = 1
) -> dict[str, Any]:
    """Return the row of ``claims`` that a device lasted longest in a run."""
    return {
        "run": run, "code": "longest", "device_a": device, "verdict": verdict,
        "lead_low": lead_low,
    }  # fmt: skip


def revision(number: int, conclusion: str) -> dict[str, Any]:
    """Return a row of ``revisions``."""
    return {"number": number, "conclusion": conclusion}


def caution(rule: str = "soc-rises", severity: str = "caution") -> dict[str, Any]:
    """Return a finding."""
    return {"rule": rule, "severity": severity, "file": "log.csv", "found": "", "expected": ""}


def plain_results(
    *,
    title: str = "Mud flats",
    date: str | None = "2026-05-16",
    revision_number: int = 1,
    runs: int = 1,
    labels: Mapping[str, str] = LABELS,
    findings: Sequence[Mapping[str, Any]] = (),
    glance: Sequence[str] = ("Kelpfin 11 lasted longest.", "Another sentence."),
    sources: Sequence[Mapping[str, Any]] = (),
    **tables: Sequence[Mapping[str, Any]],
) -> dict[str, Any]:
    """Return results of a session; a table is given by its rows."""
    devices = [{"id": id_, "label": label} for id_, label in labels.items()]
    return {
        "format": "rundown-results/1",
        "kit_version": "0",
        "session": {
            "id": "mud", "title": title, "date": date, "revision": revision_number,
            "runs": [{"number": n + 1} for n in range(runs)], "sources": list(sources),
        },
        "findings": list(findings),
        "glance": list(glance),
        "tables": {name: table(rows) for name, rows in {"devices": devices, **tables}.items()},
    }  # fmt: skip


def put_report(folder: Path, data: object, *, files: Sequence[str] = ()) -> Path:
    """Write a report folder with these results, and with other files that say nothing."""
    folder.mkdir(parents=True, exist_ok=True)
    text = json.dumps(data, ensure_ascii=False, indent=1)
    (folder / "results.json").write_text(text, encoding="utf-8")
    for name in files:
        (folder / name).write_text("", encoding="utf-8")
    return folder
