"""One run at a time for each folder.

The operating system holds the lock and lets go of it when the process ends, however it ends: a
lock file left behind by a crash locks nothing.
"""

from __future__ import annotations

import hashlib
import os
import sys
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from kit.errors import RenderError

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["BusyError", "alone_in"]


class BusyError(RenderError):
    """Somebody else holds the lock of a folder."""


@contextmanager
def alone_in(
    folder: Path, *, doing: str = "making a report", remedy: str = "Name another folder."
) -> Iterator[None]:
    """Hold the lock of a folder, which need not exist yet, while the block runs.

    Parameters
    ----------
    folder
        The folder that is written to. The lock file stands beside it, and goes with the block.
    doing
        What the holder does, for the message.
    remedy
        What helps where nothing can be written, as a sentence.

    Raises
    ------
    BusyError
        If another process, or another block of this one, holds it.
    RenderError
        If nothing can be written there.
    """
    folder = Path(os.path.abspath(folder))  # noqa: PTH100 (a link is another name for one folder)
    folder = folder.resolve()
    made = _missing(folder.parent)
    path = _path(folder)
    try:
        handle = _opened(path, folder, doing)
    except OSError as error:
        _remove(made)
        message = f"Cannot write to {path.parent}: {error.strerror}. {remedy}"
        raise RenderError(message) from error
    try:
        os.ftruncate(handle, 0)
        os.write(handle, str(os.getpid()).encode())
        yield
    finally:
        with suppress(OSError):
            path.unlink()
        os.close(handle)
        with suppress(OSError):  # where an open file cannot be removed
            path.unlink(missing_ok=True) if sys.platform == "win32" else None
        _remove(made)


def _path(folder: Path) -> Path:
    digest = hashlib.sha256(os.fsencode(folder)).hexdigest()[:8]
    return folder.parent / f".rundown-{digest}.lock"


def _missing(parent: Path) -> list[Path]:
    """Make the folders above; return those that were not there, innermost first."""
    made = [p for p in (parent, *parent.parents) if not p.exists()]
    with suppress(OSError):
        parent.mkdir(parents=True, exist_ok=True)
    return made


def _remove(folders: list[Path]) -> None:
    for folder in folders:
        with suppress(OSError):  # not empty: the report is in it
            folder.rmdir()


def _opened(path: Path, folder: Path, doing: str) -> int:
    """Return the open, locked file."""
    while True:
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
        if not _locked(handle):
            holder = (
                os.pread(handle, 20, 0).decode(errors="replace") if hasattr(os, "pread") else ""
            )
            os.close(handle)
            who = f" (process {holder})" if holder.strip().isdecimal() else ""
            message = (
                f"Another run{who} is {doing} in {folder}. Wait until it has ended and try again; "
                "nothing was changed."
            )
            raise BusyError(message)
        # the holder before us may have removed the file between our opening and locking it
        try:
            same = os.fstat(handle).st_ino == path.stat().st_ino
        except FileNotFoundError:
            same = False
        if same:
            return handle
        os.close(handle)


if sys.platform == "win32":
    import msvcrt

    def _locked(handle: int) -> bool:
        """Lock the file; return whether that could be done."""
        try:
            # beyond the text, so that others can read who holds it
            os.lseek(handle, 1 << 20, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        os.lseek(handle, 0, os.SEEK_SET)
        return True

else:
    import fcntl

    def _locked(handle: int) -> bool:
        """Lock the file; return whether that could be done."""
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
