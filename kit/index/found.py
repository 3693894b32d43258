"""Reports and records below some folders, each read into an `Entry`.

A report is a folder with a ``results.json``; a record is one with a ``session.toml`` or a
``log.csv``. Hidden folders and what a report keeps inside itself are not looked into.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from kit.index.entry import Entry, NoResultsError, entry_of
from kit.read.record import LOG_NAME, SETUP_NAME
from kit.revise.archive import FOLDER as REVISIONS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

__all__ = ["found_entries"]

RESULTS = "results.json"
PAGE = "report.html"
FILES = (("HTML", PAGE), ("PDF", "report.pdf"), ("JSON", RESULTS))
INSIDE = (REVISIONS, "tables")
"""Folders inside a report."""
DRAFT = "-draft"
"""End of the name of a folder with a draft (`kit.revise.draft`), which is no report."""
OTHER_LAYOUTS = "rundown-"
"""Start of the layouts of everything that the kit writes; what is no session is not listed."""
CHANGED = "The record has changed since this report was made."
NO_REPORT = "No report of this record, as it is now, was found."


def found_entries(
    folders: Iterable[Path],
    base: Path,
    *,
    progress: Callable[[str, float], None] = lambda step, fraction: None,
) -> tuple[Entry, ...]:
    """Return every session below some folders, newest first, then by title and place.

    Parameters
    ----------
    folders
        Where to look, at any depth. A folder that is reached twice is listed once.
    base
        Folder of the page, from which places and addresses are counted.
    progress
        Called with what is being done and how far it is.

    Returns
    -------
    tuple of Entry
        Sessions without a date, and those without a report, at the end.
    """
    reports, records, refused = _places(folders)
    entries = [_refused(folder, why, base) for folder, why in refused]
    homes: set[Path] = set()
    for number, folder in enumerate(reports):
        progress("Reading results", number / len(reports))
        if (entry := _report(folder, base)) is not None:
            home = _home(folder, entry)
            homes.add(home)
            stale = _has(home, entry.sources) and not _same(home, entry.sources)
            entries.append(replace(entry, remark=CHANGED) if stale else entry)
    made_from = {entry.sources for entry in entries if entry.sources}
    names = {tuple(name for name, _ in sources) for sources in made_from}
    for folder in records:
        if folder not in homes and not any(_digests(folder, n) in made_from for n in names):
            entries.append(_without_report(folder, base))
    return tuple(sorted(sorted(entries, key=_by_name), key=lambda e: e.date, reverse=True))


def _by_name(entry: Entry) -> tuple[bool, str, str]:
    return entry.state != "report", entry.title.casefold(), entry.place


def _places(
    folders: Iterable[Path],
) -> tuple[list[Path], list[Path], list[tuple[Path, str]]]:
    """Return folders of reports, folders of records, and those that could not be looked into."""
    reports: dict[Path, None] = {}
    records: dict[Path, None] = {}
    refused: dict[Path, str] = {}

    def note(error: OSError) -> None:
        refused[Path(os.fsdecode(error.filename))] = error.strerror or type(error).__name__

    for top in folders:
        for place, inner, files in os.walk(top.resolve(), onerror=note):
            folder = Path(place)
            made = RESULTS in files or PAGE in files
            inner[:] = sorted(
                n for n in inner if not n.startswith(".") and not (made and n in INSIDE)
            )
            if made and not folder.name.endswith(DRAFT):
                reports[folder] = None
            if SETUP_NAME in files or LOG_NAME in files:
                records[folder] = None
    return list(reports), list(records), list(refused.items())


def _report(folder: Path, base: Path) -> Entry | None:
    """Return the row of a report; ``None`` if the kit wrote it, but of something else."""
    links = tuple(
        (name, _address(folder / file, base)) for name, file in FILES if (folder / file).is_file()
    )
    if not (folder / RESULTS).is_file():
        return _unreadable(folder, base, "it is not there", links)
    try:
        data = json.loads((folder / RESULTS).read_bytes())
        if isinstance(data, dict) and _other(data.get("format")):
            return None
        entry = entry_of(data)
    except NoResultsError as error:
        why = str(error)
    except OSError as error:
        why = error.strerror or type(error).__name__
    except (ValueError, RecursionError):
        why = "it is no JSON, or was cut short"
    else:
        title = entry.title or _session_name(folder)
        return replace(entry, place=_relative(folder, base), title=title, links=links)
    return _unreadable(folder, base, why, links)


def _unreadable(folder: Path, base: Path, why: str, links: tuple[tuple[str, str], ...]) -> Entry:
    return Entry(
        state="unreadable",
        place=_relative(folder, base),
        title=_session_name(folder),
        headline=f"{RESULTS} cannot be read: {why}.",
        links=links,
    )


def _other(layout: object) -> bool:
    """Return whether it is the name of a layout of the kit that is not of a session."""
    return (
        isinstance(layout, str)
        and layout.startswith(OTHER_LAYOUTS)
        and not layout.startswith("rundown-results/")
    )


def _session_name(folder: Path) -> str:
    """Return the name of the record that a report is of, as far as its folder tells."""
    return folder.parent.name if folder.name == "report" else folder.name


def _home(report: Path, entry: Entry) -> Path:
    """Return where the record of a report is, as far as can be told: around it, or beside it."""
    return report if entry.sources and _has(report, entry.sources) else report.parent


def _has(folder: Path, sources: Iterable[tuple[str, str]]) -> bool:
    """Return whether a folder holds files of these names; a name is never a way elsewhere."""
    return all(
        name and Path(name).name == name and (folder / name).is_file() for name, _ in sources
    )


def _same(folder: Path, sources: tuple[tuple[str, str], ...]) -> bool:
    """Return whether a folder holds exactly these files."""
    return _digests(folder, [name for name, _ in sources]) == sources


def _digests(folder: Path, names: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Return names and SHA-256 of files of a folder; nothing if one of them is not there."""
    wanted = [(name, "") for name in names]
    if not _has(folder, wanted):
        return ()
    try:
        return tuple(
            (name, hashlib.sha256((folder / name).read_bytes()).hexdigest()) for name, _ in wanted
        )
    except OSError:
        return ()


def _without_report(folder: Path, base: Path) -> Entry:
    place = _relative(folder, base)
    return Entry(state="no_report", place=place, title=folder.name, headline=NO_REPORT)


def _refused(folder: Path, why: str, base: Path) -> Entry:
    return Entry(
        state="unreadable",
        place=_relative(folder, base),
        title=folder.name,
        headline=f"This folder cannot be looked into: {why}.",
    )


def _relative(path: Path, base: Path) -> str:
    """Return a path from the folder of the page, with ``/``; whole where there is no way."""
    try:
        return Path(os.path.relpath(path, base.resolve())).as_posix()
    except ValueError:  # another drive
        return path.as_posix()


def _address(path: Path, base: Path) -> str:
    """Return the address of a file as a link of the page.

    Examples
    --------
    >>> _address(Path("/s/mud: 1?/report.html"), Path("/s"))
    'mud%3A%201%3F/report.html'
    """
    relative = _relative(path, base)
    if Path(relative).is_absolute():
        return Path(relative).as_uri()
    return quote(os.fsencode(relative))
