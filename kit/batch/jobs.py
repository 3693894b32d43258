"""One session of a batch: what is to be made of it, and what became of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from kit.errors import ExitCode

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

__all__ = ["STATUSES", "Job", "Outcome", "Status", "exit_status"]

Status = Literal["made", "unchanged", "not_passed", "failed", "left"]
"""``left``: not begun, because the batch was interrupted."""

STATUSES: tuple[Status, ...] = ("made", "unchanged", "not_passed", "failed", "left")

INTERRUPTED = 130
"""Exit status after Ctrl-C, by the custom of shells (128 + the number of SIGINT)."""


@dataclass(frozen=True, kw_only=True)
class Job:
    """One session to make a report of.

    Parameters
    ----------
    name
        How the session is called in the table.
    record
        Folder of the session, or its CSV; a path or an address (``s3://…``).
    out
        Output folder, likewise.
    settings
        Fields of `kit.results.Settings`.
    again
        ``"always"``: make the report anyway; ``"if_changed"``: only if another would come of it.
    timeout_s
        Seconds after which a session is given up.
    epoch
        ``SOURCE_DATE_EPOCH`` of the process that asks, or empty.
    """

    name: str
    record: str
    out: str
    settings: Mapping[str, Any] = field(default_factory=dict)
    again: Literal["always", "if_changed"] = "if_changed"
    timeout_s: float = 900.0
    epoch: str = ""


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of a session.

    Parameters
    ----------
    name, record, out
        Of the job.
    status
        How it ended.
    why
        For ``made``, what called for it; for ``unchanged``, what is the same; for the others,
        what was wrong and where.
    title
        Title of the session, where it is known.
    report
        The HTML page, where there is one from this run or an earlier one.
    exit_code
        What ``rundown report`` would have ended with.
    findings
        Findings of a record that did not pass, or cautions and notes of one that did: how many.
    revision
        Number of the report's revision, 0 if not known.
    headline
        Whether the conclusion changed, for a correction.
    seconds
        Time from taking up the session to its end.
    memory_mib
        Resident memory of the process that made it, afterwards; 0 if not known.
    """

    name: str
    record: str
    out: str
    status: Status
    why: str = ""
    title: str = ""
    report: str = ""
    exit_code: int = 0
    findings: int = 0
    revision: int = 0
    headline: str = ""
    seconds: float = 0.0
    memory_mib: float = 0.0


def exit_status(outcomes: Iterable[Outcome]) -> int:
    """Return the exit status of a batch: that of its gravest session.

    Could-not-be-made (4) is graver than notebook-failed (3), that than wrong use (2) and that
    than did-not-pass (1). A batch that was interrupted ends with 130 whatever else happened.

    Examples
    --------
    >>> made = Outcome(name="a", record="a", out="a/report", status="made")
    >>> poor = Outcome(name="b", record="b", out="b/report", status="not_passed", exit_code=1)
    >>> exit_status([made]), exit_status([made, poor])
    (0, 1)
    """
    ended = list(outcomes)
    if any(outcome.status == "left" for outcome in ended):
        return INTERRUPTED
    return max((outcome.exit_code for outcome in ended), default=int(ExitCode.DONE))
