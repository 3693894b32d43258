"""The setup file of an imported session: what the tables say, and nothing more."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.safe_text import displayable

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, datetime

    from kit.session import Session

__all__ = ["setup_text", "toml_string"]

ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t"}


def toml_string(text: str) -> str:
    r"""Return a text as a basic string (TOML 1.0.0, "String").

    Examples
    --------
    >>> print(toml_string('7" tablet'))
    "7\" tablet"
    """
    return '"' + "".join(ESCAPES.get(c, c) for c in text if c in ESCAPES or c.isprintable()) + '"'


def setup_text(session: Session, *, files: tuple[str, ...]) -> str:
    """Return a setup file with the session's name, date, start, devices and phases.

    Parameters
    ----------
    files
        Names of the files that were imported, for a comment.
    """
    names = ", ".join("".join(c for c in displayable(f) if c.isprintable()) for f in files)
    lines = [
        f"# Imported from {names}.",
        "# docs/record-format.md has every key; what is left out is reported as not recorded.",
        "",
        *_session(session),
    ]
    if _numbered(session):
        for run in session.runs:
            lines += ["", "[[runs]]", f"number = {run.number}"]
            if run.start is not None:
                dated = _date_of(run.start)
                lines += [f"date = {dated.isoformat()}"] if dated else []
                lines += [f'start = "{_time_of(run.start)}"']
    for kind, things in (("devices", session.devices), ("phases", session.phases)):
        for thing in things:
            lines += ["", f"[[{kind}]]", f"id = {toml_string(thing.id)}"]
            if thing.label != thing.id:
                lines.append(f"label = {toml_string(thing.label)}")
    return "\n".join(lines) + "\n"


def _numbered(session: Session) -> bool:
    return [r.number for r in session.runs] != [1]


def _session(session: Session) -> Iterator[str]:
    yield "[session]"
    yield f"id = {toml_string(session.id)}"
    if session.title and session.title != session.id:
        yield f"title = {toml_string(session.title)}"
    if session.date is not None and not _numbered(session):
        yield f"date = {session.date.isoformat()}"
    if session.timezone:
        yield f"timezone = {toml_string(session.timezone)}"
    start = session.runs[0].start if session.runs and not _numbered(session) else None
    if start is not None:
        yield f'start = "{_time_of(start)}"'
    yield 'log = "log.csv"'


def _date_of(start: datetime) -> date | None:
    return None if start.year == 1 else start.date()


def _time_of(start: datetime) -> str:
    return f"{start:%H:%M:%S}" if start.second else f"{start:%H:%M}"
