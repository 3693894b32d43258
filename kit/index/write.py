"""The index page of some folders, written into its place at once."""

from __future__ import annotations

import os
from contextlib import suppress
from typing import TYPE_CHECKING

from kit.errors import RenderError, UsageError
from kit.index.found import found_entries
from kit.index.page import GENERATOR, index_page

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from kit.index.entry import Entry

__all__ = ["write_index"]

HEAD = 4_000
"""Bytes of a page in which its generator is named. Chosen, no source."""


def write_index(
    folders: Sequence[Path],
    file: Path,
    *,
    title: str = "Sessions",
    progress: Callable[[str, float], None] = lambda step, fraction: None,
) -> tuple[Entry, ...]:
    """Write the index page over all sessions below some folders.

    Parameters
    ----------
    folders
        Where to look for reports and records, at any depth.
    file
        The page; an earlier index there is replaced, at once or not at all.
    title
        Heading of the page.
    progress
        Called with what is being done and how far it is.

    Returns
    -------
    tuple of Entry
        What the page lists, in its order.

    Raises
    ------
    UsageError
        If there is no session in the folders, or ``file`` is something else than an index.
    RenderError
        If the page cannot be written; what was there is as it was.
    """
    _check_place(file)
    entries = found_entries(folders, file.absolute().parent, progress=progress)
    if not entries:
        named = ", ".join(str(folder) for folder in folders)
        message = (
            f"there is no report and no record in {named}: looked for results.json, "
            "session.toml and log.csv at any depth"
        )
        raise UsageError(message)
    progress("Writing the page", 1.0)
    _replace(file, index_page(entries, title=title).encode("utf-8"))
    return entries


def _check_place(file: Path) -> None:
    """Refuse to put the page over a file that is no index."""
    if file.is_dir():
        message = f"{file} is a folder; name a file with --out, for instance {file / 'index.html'}"
        raise UsageError(message)
    if not file.exists():
        return
    try:
        with file.open("rb") as opened:
            head = opened.read(HEAD)
    except OSError as error:
        message = f"{file} cannot be read: {error.strerror}. Name another file with --out."
        raise UsageError(message) from error
    if f'content="{GENERATOR} '.encode() not in head:
        message = (
            f"{file} is there already and is no index made by this kit; nothing was written. "
            "Name another file with --out, or move it away."
        )
        raise UsageError(message)


def _replace(file: Path, content: bytes) -> None:
    """Put a file in its place with one rename, when all of it is on the disk."""
    new = file.with_name(f".{file.name}.{os.getpid()}.new")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with new.open("wb") as opened:
            opened.write(content)
            opened.flush()
            os.fsync(opened.fileno())
        new.replace(file)
    except OSError as error:
        with suppress(OSError):
            new.unlink()
        message = (
            f"Cannot write {file}: {error.strerror}. What was there is as it was. Name another "
            "file with --out."
        )
        raise RenderError(message) from error
