"""From a plan to a session folder: a setup file with comments, and a log to be filled.

The folder appears complete or not at all, and nothing that exists is ever written over.
"""

from __future__ import annotations

import csv
import io
import os
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from kit.errors import RenderError, UsageError
from kit.plan.outlook import outlook
from kit.plan.setup_text import setup_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from kit.plan.outlook import Outlook
    from kit.plan.planned import Plan
    from kit.plan.timetable import Item

__all__ = ["LOG_COLUMNS", "log_text", "new_session"]

LogRows = Literal["none", "planned"]

LOG_COLUMNS = (
    "event", "phase", "point", "device", "clock", "soc_pct", "order", "last_on", "first_off",
    "temperature_c", "part", "duration_min", "completed", "cause", "by", "evidence", "note",
)  # fmt: skip
"""Columns of a new log; docs/record-format.md has them all."""


def new_session(plan: Plan, folder: str | Path, *, rows: LogRows = "none") -> Path:
    """Make a session folder from a plan, ready for recording.

    Parameters
    ----------
    folder
        Where it is to be; must not exist yet, but its parent must.
    rows
        ``none``: the log has its header only. ``planned``: it also has a row for every start,
        end, reading and turn of the plan, to be filled in a spreadsheet.

    Returns
    -------
    Path
        The new folder, with ``session.toml`` and ``log.csv``.

    Raises
    ------
    UsageError
        If the folder exists or its parent does not.
    RenderError
        If it cannot be written; nothing is left behind then.
    """
    target = Path(folder)
    if target.exists() or target.is_symlink():
        message = f"{target} exists; nothing was written. Name a folder that does not exist yet."
        raise UsageError(message)
    if not target.parent.is_dir():
        message = f"there is no folder {target.parent} to make {target.name} in"
        raise UsageError(message)
    view = outlook(plan)
    files = {"session.toml": setup_text(plan, view), "log.csv": log_text(plan, view, rows)}
    try:
        made = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    except OSError as error:
        message = f"{target} could not be made: {error.strerror}"
        raise RenderError(message) from error
    try:
        for name, text in files.items():
            with (made / name).open("x", encoding="utf-8", newline="") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
        made.chmod(0o777 & ~_umask())
        made.rename(target)
    except OSError as error:
        shutil.rmtree(made, ignore_errors=True)
        message = f"{target} could not be made: {error.strerror}"
        raise RenderError(message) from error
    return target


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


# ------------------------------------------------------------------------ log


def log_text(plan: Plan, view: Outlook, rows: LogRows) -> str:
    """Return the log: its header, and the rows of the plan if they are wanted."""
    text = io.StringIO()
    writer = csv.DictWriter(text, LOG_COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    if rows == "planned":
        writer.writerows(_log_rows(plan, view))
    return text.getvalue()


def _log_rows(plan: Plan, view: Outlook) -> Iterator[dict[str, str]]:
    items = list(view.table.items)
    for index, item in enumerate(items):
        if item.kind == "walk":
            yield from _reading_rows(item)
        elif item.kind == "phase":
            yield {"event": "phase_start", "phase": item.phase}
            if item.end_min is not None and not _inner(items[index + 1 :]):
                yield {"event": "phase_end", "phase": item.phase}
        elif item.kind in ("turn", "spare"):
            if item.kind == "turn":
                yield from _turn_rows(plan, view, item)
            if not _inner(items[index + 1 :]):
                yield {"event": "phase_end", "phase": item.phase}
    for device in plan.devices:
        yield {"event": "power_off", "device": device.id}


def _inner(rest: Iterable[Item]) -> bool:
    """Whether the next item still lies within the phase before it."""
    following = next(iter(rest), None)
    return following is not None and (
        following.kind in ("turn", "change", "spare") or following.point == "inside"
    )


def _reading_rows(item: Item) -> Iterator[dict[str, str]]:
    for place, device in enumerate(item.devices, start=1):
        yield {
            "event": "reading", "phase": item.phase, "point": item.point, "device": device,
            "order": str(place),
        }  # fmt: skip


def _turn_rows(plan: Plan, view: Outlook, item: Item) -> Iterator[dict[str, str]]:
    """Write who does what: both parts in a crossover, the limited one in a rotation."""
    schedule = view.table.schedules[item.phase]
    for device in plan.devices:
        mine = device.id in item.devices
        if mine or schedule.kind == "crossover":
            part = schedule.parts[0 if mine else 1]
            yield {"event": "turn", "phase": item.phase, "device": device.id, "part": part}
