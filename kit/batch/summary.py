"""Outcomes of a batch as a table for people and as plain data for programs."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import kit
from kit.batch.jobs import STATUSES, exit_status
from kit.safe_text import displayable

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from kit.batch.jobs import Outcome, Status

__all__ = ["FORMAT", "counted", "summary_data", "table_lines"]

FORMAT = "rundown-batch/1"

WORDS: Mapping[Status, str] = {
    "made": "✓ made      ",
    "unchanged": "= unchanged ",
    "not_passed": "✗ not passed",
    "failed": "✗ failed    ",
    "left": "· not begun ",
}
COUNTED: Mapping[Status, str] = {
    "made": "made",
    "unchanged": "unchanged",
    "not_passed": "did not pass",
    "failed": "failed",
    "left": "not begun",
}
LONGEST_NAME = 40


def table_lines(outcomes: Sequence[Outcome], *, only_bad: bool = False) -> Iterator[str]:
    """Yield a line for each session: name, how it ended, why.

    Examples
    --------
    >>> from kit.batch.jobs import Outcome
    >>> [line] = table_lines([Outcome(name="day-1", record="day-1", out="day-1/report",
    ...                               status="made", why="log.csv changed", seconds=1.24)])
    >>> line
    'day-1  ✓ made        1.2 s; log.csv changed'
    """
    shown = [o for o in outcomes if not only_bad or o.status not in ("made", "unchanged")]
    width = min(LONGEST_NAME, max((len(o.name) for o in shown), default=0))
    for outcome in shown:
        yield f"{displayable(outcome.name):<{width}}  {WORDS[outcome.status]}  {_told(outcome)}"


def _told(outcome: Outcome) -> str:
    why = displayable(" ".join(outcome.why.split()))
    if outcome.status == "made":
        return f"{outcome.seconds:.1f} s; " + (displayable(outcome.headline) or why)
    return f"skipped: {why}" if outcome.status == "unchanged" else why


def counted(outcomes: Iterable[Outcome]) -> str:
    """Return ``3 made, 1 did not pass``.

    Examples
    --------
    >>> from kit.batch.jobs import Outcome
    >>> counted([Outcome(name=n, record=n, out=n, status=s)
    ...          for n, s in (("a", "left"), ("b", "made"), ("c", "made"))])
    '2 made, 1 not begun'
    """
    by = Counter(outcome.status for outcome in outcomes)
    return ", ".join(f"{by[s]} {COUNTED[s]}" for s in STATUSES if by[s]) or "nothing"


def summary_data(outcomes: Sequence[Outcome], *, seconds: float) -> dict[str, Any]:
    """Return the batch as plain data.

    Returns
    -------
    dict
        Keys ``format``, ``kit_version``, ``exit_status``, ``seconds``, ``counts`` and
        ``sessions``: for each its ``folder`` (the record), ``report`` (the HTML page, empty if
        there is none), ``title``, ``status`` and the other fields of `kit.batch.jobs.Outcome`.
    """
    by = Counter(outcome.status for outcome in outcomes)
    sessions = []
    for outcome in outcomes:
        fields = asdict(outcome)
        sessions.append({"folder": fields.pop("record"), **fields})
    return {
        "format": FORMAT,
        "kit_version": kit.__version__,
        "exit_status": exit_status(outcomes),
        "seconds": round(seconds, 3),
        "counts": {status: by[status] for status in STATUSES},
        "sessions": sessions,
    }
