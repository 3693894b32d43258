"""Files put into their place all together, or not at all.

Everything is first written, and flushed to disk, in a hidden folder inside the output folder
(the same file system, so that a move is a rename). Then each file replaces its predecessor,
which waits in the hidden folder; if one move fails, those made are undone.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from kit.errors import RenderError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

__all__ = ["publish"]


def publish(folder: Path, files: Mapping[str, bytes], *, obsolete: Iterable[str] = ()) -> None:
    """Write files into a folder; a failure leaves the folder as it was.

    Parameters
    ----------
    folder
        Output folder; made if it is not there.
    files
        Path relative to ``folder``, with ``/`` → content.
    obsolete
        Paths of files that go away with this, if they are there.

    Raises
    ------
    RenderError
        If a file cannot be written or moved; it names the file.
    """
    made = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        hidden = Path(tempfile.mkdtemp(prefix=".rundown-", dir=folder))
    except OSError as error:
        message = f"Cannot write to {folder}: {error.strerror}. Name another folder with --out."
        raise RenderError(message) from error
    try:
        for name, content in files.items():
            _write(hidden / "new" / name, content)
        _swap(folder, hidden, tuple(files), tuple(obsolete))
    except OSError as error:
        place = error.filename2 or error.filename or folder
        message = (
            f"Cannot write {place}: {error.strerror}. If it is open in another program, close it "
            "there and run again. The last report is as it was."
        )
        raise RenderError(message) from error
    finally:
        shutil.rmtree(hidden, ignore_errors=True)
        if made:
            with suppress(OSError):  # not empty: that is the report
                folder.rmdir()


def _write(path: Path, content: bytes) -> None:
    """Write a file and wait until the disk has it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _swap(folder: Path, hidden: Path, names: tuple[str, ...], obsolete: tuple[str, ...]) -> None:
    """Move old files out and new ones in; undo on failure."""
    done: list[tuple[Path, Path]] = []

    def move(source: Path, target: Path) -> None:
        target.parent.mkdir(parents=True, exist_ok=True)
        source.replace(target)
        done.append((source, target))

    try:
        for name in (*names, *(o for o in obsolete if o not in names)):
            if (folder / name).exists():
                move(folder / name, hidden / "old" / name)
            if name in names:
                move(hidden / "new" / name, folder / name)
    except OSError:
        for source, target in reversed(done):
            with suppress(OSError):
                target.replace(source)
        raise
