"""One job: skipped if its report is the one that would be made, else made by a warm process."""

from __future__ import annotations

import json
import time
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.batch.jobs import Outcome
from kit.batch.process import EndedError
from kit.batch.unchanged import why_make
from kit.errors import ExitCode
from kit.places import templates_folder
from kit.render.report import TEMPLATE
from kit.results import Settings

if TYPE_CHECKING:
    from kit.batch.jobs import Job
    from kit.batch.process import WarmProcess

__all__ = ["BUSY_S", "TakenError", "made_here", "make"]

SAME = "same record, settings, template and versions, and every file is as it was made"
TRIES = 2
"""How often a session may end the process that makes it; a process may also be ended by a system
that is short of memory, which is not the session's fault. Chosen, no source."""
BUSY_S = 300.0
"""Seconds to wait for another run that has the same output folder. Chosen, no source."""


class TakenError(Exception):
    """Another run is making the same report just now."""


def make(job: Job, process: WarmProcess) -> Outcome:
    """Return what becomes of a job; an address is fetched and put back (`kit.batch.elsewhere`).

    Raises
    ------
    TakenError
        If another run is making the same report.
    """
    from kit.batch.elsewhere import is_address, made_elsewhere

    begin = time.perf_counter()
    if is_address(job.record) or is_address(job.out):
        outcome = made_elsewhere(job, process)
    else:
        outcome = made_here(job, Path(job.record), Path(job.out), process)
    return replace(outcome, seconds=round(time.perf_counter() - begin, 3))


def made_here(job: Job, record: Path, out: Path, process: WarmProcess) -> Outcome:
    """Return what becomes of a job whose files are on this computer.

    Parameters
    ----------
    job
        The job; its ``record`` and ``out`` may be addresses of what is here.
    record, out
        Where the files are here.
    process
        Makes the report if one is to be made.
    """
    settings = asdict(Settings(**job.settings))
    why = "asked for"
    if job.again == "if_changed":
        why = why_make(
            record,
            out,
            settings=settings,
            template=templates_folder() / TEMPLATE,
            epoch=job.epoch,
        )
    base = Outcome(name=job.name, record=job.record, out=job.out, status="made", why=why)
    if not why:
        return _with_report(replace(base, status="unchanged", why=SAME), out)
    asked = {"record": str(record), "out": str(out), "settings": settings, "epoch": job.epoch}
    answer = _answer(asked, process, job.timeout_s)
    end = answer.pop("end")
    if end == "busy":
        raise TakenError(answer["why"])
    return _with_report(replace(base, status=end, **answer), out)


def _answer(asked: dict[str, Any], process: WarmProcess, timeout_s: float) -> dict[str, Any]:
    """Ask the process; once more if it ended, which is then another process."""
    ends: list[str] = []
    for _ in range(TRIES):
        begin = time.perf_counter()
        try:
            return process.ask(asked, timeout_s=timeout_s)
        except EndedError as error:
            ends.append(str(error))
            if time.perf_counter() - begin >= timeout_s:
                break
    times = " twice" if len(ends) == TRIES else ""
    return {
        "end": "failed",
        "why": f"It could not be made{times}: {ends[-1]}. The last report is as it was.",
        "exit_code": int(ExitCode.RENDER),
    }


def _with_report(outcome: Outcome, out: Path) -> Outcome:
    """Return the outcome with what the report that is there says of itself."""
    if not (out / "report.html").is_file():
        return outcome
    outcome = replace(outcome, report=f"{outcome.out}/report.html")
    try:
        session = json.loads((out / "results.json").read_text(encoding="utf-8"))["session"]
        title, revision = str(session["title"]), int(session["revision"])
    except (OSError, ValueError, KeyError, TypeError):
        return outcome
    return replace(outcome, title=title, revision=revision)
