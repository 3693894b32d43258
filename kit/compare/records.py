"""Sessions read and checked from their folders."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from kit.errors import RecordError, in_order

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from kit.errors import Finding
    from kit.session import Session

__all__ = ["read_records"]

Record = tuple["Session", tuple["Finding", ...]]


def read_records(paths: Iterable[Path]) -> tuple[Record, ...]:
    """Return every session with its cautions and notes.

    Raises
    ------
    RecordError
        If records did not pass; the findings of all of them, each named with its folder.
    UsageError
        If there is no such record.
    """
    from kit.checks import check_session
    from kit.read.record import read_record

    records: list[Record] = []
    faults: list[Finding] = []
    for path in paths:
        try:
            session, met = read_record(path)
        except RecordError as error:
            faults += [
                replace(f, file=f"{path.name}/{f.file}")
                for f in error.findings
                if f.severity == "error"
            ]
            continue
        findings = in_order((*met, *check_session(session)))
        wrong = [f for f in findings if f.severity == "error"]
        faults += [replace(f, file=f"{path.name}/{f.file}") for f in wrong]
        records.append((session, findings))
    if faults:
        raise RecordError(faults)
    return tuple(records)
