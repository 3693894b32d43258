"""The process that makes reports one after the other: ``python -m kit.batch.worker``.

It reads jobs from standard input, one JSON object a line, and answers each with one on standard
output. It ends when standard input does, so it does not outlive the process that started it by
more than the report that it is making.
"""

from __future__ import annotations

import gc
import json
import os
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.errors import RecordError, RundownError
from kit.render import html
from kit.render.report import PRELOAD, render_report
from kit.render.warm import WarmKernel
from kit.results import Settings
from kit.revise.lock import BusyError

if TYPE_CHECKING:
    from typing import TextIO

__all__ = ["answer", "main"]


def answer(job: dict[str, Any], kernel: WarmKernel) -> dict[str, Any]:
    """Make one report; return what became of it as plain data.

    Parameters
    ----------
    job
        ``record``, ``out``, ``settings``, and ``epoch``: what ``SOURCE_DATE_EPOCH`` is to be.
    kernel
        The warm kernel of this process.

    Returns
    -------
    dict
        ``end`` is ``"made"``, ``"busy"``, ``"not_passed"`` or ``"failed"``; the other keys are
        fields of `kit.batch.jobs.Outcome`.
    """
    os.environ.pop("SOURCE_DATE_EPOCH", None)
    if job["epoch"]:
        os.environ["SOURCE_DATE_EPOCH"] = job["epoch"]
    try:
        outputs = render_report(
            Path(job["record"]),
            Path(job["out"]),
            settings=Settings(**job["settings"]),
            kernel=kernel,
        )
    except BusyError as error:
        return {"end": "busy", "why": str(error), "exit_code": int(error.exit_code)}
    except RecordError as error:
        faults = [f for f in error.findings if f.severity == "error"]
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        return {
            "end": "not_passed",
            "why": faults[0].sentence + more,
            "findings": len(error.findings),
            "exit_code": int(error.exit_code),
        }
    except RundownError as error:
        return {"end": "failed", "why": str(error), "exit_code": int(error.exit_code)}
    except Exception as error:
        where = f"{type(error).__name__}: {error}"
        return {"end": "failed", "why": f"The kit itself failed ({where}).", "exit_code": 4}
    return {
        "end": "made",
        "findings": len(outputs.findings),
        "revision": outputs.revision,
        "headline": outputs.headline,
    }


def resident_mib() -> float:
    """Return the resident memory of this process in MiB; 0 where the system does not say."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    except (OSError, IndexError, ValueError):
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def main() -> None:
    """Answer jobs until there are no more."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that started it
    # answers go where standard output went; what anything else prints must not get between them
    answers: TextIO = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    kernel = WarmKernel(preload=PRELOAD)
    html.prepare()
    for number, line in enumerate(sys.stdin):
        made = {**answer(json.loads(line), kernel), "memory_mib": round(resident_mib(), 1)}
        answers.write(json.dumps(made) + "\n")
        answers.flush()
        if not number:
            # all modules are loaded now and stay: no need to go through them again and again
            gc.collect()
            gc.freeze()


if __name__ == "__main__":
    main()
