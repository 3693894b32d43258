"""Which sessions are meant: session folders, CSV files, and folders that hold sessions.

A folder is a session if it has a ``session.toml`` or a ``log.csv``, and nothing below it is
another one. Below a folder that is none, sessions are looked for at any depth, except in hidden
folders, in reports with what is kept beside them, and through links.
"""

from __future__ import annotations

import os
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any, Literal

from kit.batch.jobs import Job
from kit.errors import UsageError
from kit.read.record import CORRECTIONS_NAME, LOG_NAME, SETUP_NAME

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

__all__ = ["find_jobs", "is_left_out", "is_session"]

MARKS = frozenset({SETUP_NAME, LOG_NAME})
LEFT_OUT = frozenset({"report", "revisions", "tables", "__pycache__", "node_modules"})
REPORT = "report"


def is_session(names: Iterable[str]) -> bool:
    """Return whether a folder with these files is a session.

    Examples
    --------
    >>> is_session(["log.csv", "notes.txt"]), is_session(["results.json"])
    (True, False)
    """
    return not MARKS.isdisjoint(names)


def is_left_out(folder: str) -> bool:
    """Return whether sessions are not looked for in a folder of this name.

    Examples
    --------
    >>> [is_left_out(name) for name in ("report", "day-1-report", ".git", "reports", "day-1")]
    [True, True, True, False, False]
    """
    return folder in LEFT_OUT or folder.startswith(".") or folder.endswith(("-report", "-sheet"))


def find_jobs(
    paths: Sequence[str],
    *,
    out: str | None,
    settings: Mapping[str, Any],
    again: Literal["always", "if_changed"],
    timeout_s: float,
    epoch: str = "",
) -> tuple[Job, ...]:
    """Return a job for each session that the paths mean, in their order, each once.

    Parameters
    ----------
    paths
        Session folders, CSV files, folders that hold sessions; or addresses of such.
    out
        Folder that takes all reports, each in a folder of its own; ``None``: each where
        ``rundown report`` would put it.
    settings, again, timeout_s, epoch
        As in `kit.batch.jobs.Job`.

    Raises
    ------
    UsageError
        If a path is not there or holds no session, or two reports would go into one folder.
    """
    jobs: dict[str, Job] = {}
    taken: dict[str, str] = {}
    for path in paths:
        for record, name in _sessions(path):
            if record in jobs:
                continue
            place = _default_out(record) if out is None else _joined(_whole(out), name)
            if place in taken:
                message = (
                    f"The reports of {taken[place]} and of {record} would both go to {place}. "
                    "Give one of them a batch, or a folder, of its own."
                )
                raise UsageError(message)
            taken[place] = record
            jobs[record] = Job(
                name=name, record=record, out=place, settings=settings, again=again,
                timeout_s=timeout_s,
                epoch=epoch,
            )  # fmt: skip
    return tuple(jobs.values())


def _whole(path: str) -> str:
    # absolute without following links: a report names its record as the user knows it
    return path.rstrip("/") if "://" in path else os.path.abspath(path)  # noqa: PTH100


def _joined(folder: str, name: str) -> str:
    return f"{folder}/{name}" if "://" in folder else str(Path(folder, name))


def _default_out(record: str) -> str:
    path: PurePosixPath | Path = PurePosixPath(record) if "://" in record else Path(record)
    if path.suffix.lower() == ".csv":
        base = record[: -len(path.name)]
        return f"{base}{path.stem}-report"
    return _joined(record, REPORT)


def _sessions(path: str) -> Iterator[tuple[str, str]]:
    """Yield (record, name) of each session that a path means."""
    whole = _whole(path)
    if "://" in path:
        from kit.batch.elsewhere import sessions_at

        found = list(sessions_at(whole))
    else:
        found = list(_sessions_here(Path(whole)))
    if not found:
        message = (
            f"{path} holds no session: no folder with {SETUP_NAME} or {LOG_NAME}. "
            "Name the CSV files themselves if they are the records."
        )
        raise UsageError(message)
    yield from found


def _sessions_here(path: Path) -> Iterator[tuple[str, str]]:
    if not path.exists():
        message = f"there is no file or folder {str(path)!r}"
        raise UsageError(message)
    if path.is_file():
        record = path.parent if path.name == SETUP_NAME else path
        yield str(record), record.name if record.is_dir() else record.stem
        return
    names = [p.name for p in path.iterdir() if p.is_file()]
    if is_session(names):
        yield str(path), path.name
        return
    inside = 0
    for folder, below, files in os.walk(path):
        below[:] = sorted(name for name in below if not is_left_out(name))
        if is_session(files):
            below.clear()
            inside += 1
            yield folder, Path(folder).relative_to(path).as_posix()
    tables = [n for n in names if n.lower().endswith(".csv") and n != CORRECTIONS_NAME]
    if not inside and len(tables) == 1:  # as `rundown report` takes it
        yield str(path), path.name
