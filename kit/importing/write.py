"""The session folder of an import: whole or not at all, and never over anything."""

from __future__ import annotations

import os
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from kit.errors import RecordError, RenderError, UsageError
from kit.read.cells import quoted
from kit.read.record import SETUP_NAME
from kit.read.setup_file import read_setup

if TYPE_CHECKING:
    from kit.importing.gather import Imported

__all__ = ["LOG_NAME", "refuse_taken", "write_session"]

LOG_NAME = "log.csv"


def refuse_taken(folder: Path) -> None:
    """Refuse a folder in which an import could not be written.

    Raises
    ------
    UsageError
        If it has a log, its setup file names another one, it is no folder, or its parent is not
        there.
    """
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        message = f"{folder} is no folder; nothing was written"
        raise UsageError(message)
    if not folder.exists() and not folder.parent.is_dir():
        message = f"there is no folder {folder.parent} to make {folder.name} in"
        raise UsageError(message)
    if os.path.lexists(folder / LOG_NAME):
        message = (
            f"{folder / LOG_NAME} exists; nothing was written. Name another folder, or move it "
            "away."
        )
        raise UsageError(message)
    setup = folder / SETUP_NAME
    if setup.is_file():
        named = read_setup(setup.read_bytes(), SETUP_NAME)[0].log
        if named and named != LOG_NAME:
            message = (
                f"{setup} names the log {quoted(named)}, so that {LOG_NAME} would not be read; "
                f"take the key log out of it, or name another folder"
            )
            raise UsageError(message)


def write_session(imported: Imported, folder: Path) -> tuple[Path, ...]:
    """Write the log, and a setup file if there is none; return what was written.

    A new folder appears complete or not at all. In a folder that exists each file appears
    complete under a name that nothing had, or neither does.

    Raises
    ------
    RecordError
        If something is wrong or open.
    UsageError
        If the folder has a log already, or cannot be one.
    RenderError
        If it cannot be written; nothing is left behind then.
    """
    if not imported.is_settled or imported.session is None:
        raise RecordError(imported.findings)
    refuse_taken(folder)
    files = {SETUP_NAME: imported.setup} if imported.setup else {}
    files[LOG_NAME] = imported.log
    try:
        if folder.exists():
            _into(folder, files)
        else:
            _as(folder, files)
    except FileExistsError as error:
        message = f"{error.filename2 or error.filename} exists; nothing was written"
        raise UsageError(message) from error
    except OSError as error:
        message = f"{folder} could not be written: {error.strerror}; nothing was left behind"
        raise RenderError(message) from error
    return tuple(folder / name for name in files)


def _as(folder: Path, files: dict[str, str]) -> None:
    """Make a folder whose files are there from its first moment."""
    made = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    try:
        for name, text in files.items():
            _put(made / name, text)
        made.chmod(0o777 & ~_umask())
        made.rename(folder)  # fails if anything but an empty folder has the name by now
    except OSError:
        shutil.rmtree(made, ignore_errors=True)
        raise


def _into(folder: Path, files: dict[str, str]) -> None:
    """Add files to a folder; each takes its name complete, and only a name that is free."""
    done: list[Path] = []
    made = Path(tempfile.mkdtemp(prefix=".import-", dir=folder))
    try:
        for name, text in files.items():
            _put(made / name, text)
        for name in files:
            _claim(made / name, folder / name)
            done.append(folder / name)
    except OSError:
        for path in done:
            with suppress(OSError):
                path.unlink()
        raise
    finally:
        shutil.rmtree(made, ignore_errors=True)


def _claim(source: Path, target: Path) -> None:
    """Give a finished file its name unless something has it."""
    try:
        os.link(source, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without links: create the name first, which fails if taken
        with target.open("xb"):
            pass
        source.replace(target)


def _put(path: Path, text: str) -> None:
    with path.open("x", encoding="utf-8", newline="") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
