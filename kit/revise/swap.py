"""Several files of a folder replaced together: after any interruption all are old or all are new.

No file system renames several files at once, so a journal says what is under way. Everything
lives in a hidden folder inside the folder itself, where a rename is a rename:

::

    .rundown-swap/new/…          the new files, written and flushed to disk first
                  journal.json   there from the moment on which the new files are to stand
                  old/…          the files they replace, by a second name (a hard link)
                  undo.json      the journal under another name: the old files are to stand

1. *Stage.* A run that ends here has changed nothing; what it left behind is thrown away.
2. *Commit.* ``journal.json`` appears by one rename.
3. *Move.* Each new file takes the place of its predecessor by one rename. A run that fails here
   puts the old files back. One that is killed leaves the journal, and `finish` completes the
   moves: they need no space, and each can be made twice.
4. *Close.* The journal goes, then the rest of the hidden folder.

Until `finish` has been called a folder with a journal may hold files of both versions:
`unfinished` tells, and whoever reads the folder as a whole asks it first.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Literal

from kit.errors import RenderError
from kit.revise.lock import alone_in

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

__all__ = ["STAGE", "Until", "finish", "place_of", "replace_files", "unfinished"]

Until = Literal["on_disk", "handed_over"]
"""How far a file is followed before it takes its place."""

STAGE = ".rundown-swap"
"""Hidden folder in which files wait."""

FORMAT = "rundown-swap/1"
NEW = "new"
OLD = "old"
JOURNAL = "journal.json"
UNDO = "undo.json"


@dataclass(frozen=True, kw_only=True)
class _Plan:
    """What a journal says; all paths relative to the folder, with ``/``.

    Parameters
    ----------
    names
        Files that are put in place, in this order.
    obsolete
        Files that go away.
    had
        Those of both that were there before.
    folders
        Folders that are made for them, outermost first.
    """

    names: tuple[str, ...]
    obsolete: tuple[str, ...]
    had: tuple[str, ...]
    folders: tuple[str, ...]


def replace_files(
    folder: Path,
    files: Mapping[str, bytes],
    *,
    obsolete: Iterable[str] = (),
    until: Until = "on_disk",
) -> None:
    """Replace files of a folder together; a failure leaves all as they were.

    A file that replaces another keeps its permissions. What an earlier call left unfinished is
    finished first.

    Parameters
    ----------
    folder
        Folder; made if it is not there.
    files
        Path relative to ``folder``, with ``/`` → content, in the order in which they are put in
        place.
    obsolete
        Paths of files that go away with this, if they are there.
    until
        Wait until the disk has each file, or only until it is handed over. Then a power cut in
        the next seconds may leave files without content, which is for what is made anew anyway.

    Raises
    ------
    OSError
        If a file cannot be written or moved. If even the old files could not be put back,
        `unfinished` says so.
    RenderError
        If another process replaces files there, or a journal cannot be read.
    """
    with alone_in(folder / STAGE, doing="putting files in place"):
        _finish(folder)
        plan = _planned(folder, tuple(files), tuple(obsolete))
        stage = folder / STAGE
        try:
            for name, content in files.items():
                _write(stage / NEW / name, content, until)
                if name in plan.had:
                    (stage / NEW / name).chmod((folder / name).stat().st_mode & 0o7777)
            _commit(stage, plan)
            _forward(folder, plan)
        except BaseException:
            if (stage / JOURNAL).exists():
                (stage / JOURNAL).replace(stage / UNDO)
                _back(folder, plan)
            _drop(stage)
            raise
        with suppress(OSError):  # all stand; what is left here goes with the next call
            _drop(stage)


def unfinished(folder: Path) -> bool:
    """Return whether files of two versions may stand in a folder, because moving them goes on.

    ``True`` while another process moves them, or after one was killed while it did.
    """
    return any((folder / STAGE / name).exists() for name in (JOURNAL, UNDO))


def finish(folder: Path) -> bool:
    """Finish what a killed process left in a folder; return whether files were moved.

    Files that were all ready are put in place; what was not ready is thrown away.

    Raises
    ------
    RenderError
        If files cannot be moved, another process is moving them, or the journal is damaged.
    """
    if not (folder / STAGE).exists():
        return False
    with alone_in(folder / STAGE, doing="putting files in place"):
        there = unfinished(folder)
        try:
            _finish(folder)
        except OSError as error:
            message = (
                f"An interrupted run left {folder} between two versions, and that cannot be "
                f"mended now: {place_of(error, folder)}: {error.strerror}. If the file is open in "
                "another program, close it there and run again."
            )
            raise RenderError(message) from error
    return there


def place_of(error: OSError, folder: Path) -> str:
    """Return which file an error is about, under the name that it has in the folder."""
    place = str(error.filename2 or error.filename or folder)
    for part in (NEW, OLD):
        place = place.replace(f"{STAGE}{os.sep}{part}{os.sep}", "")
    return place


def _finish(folder: Path) -> None:
    """Finish what is left, with the lock held."""
    stage = folder / STAGE
    if (stage / UNDO).exists():
        _back(folder, _read(stage / UNDO))
    elif (stage / JOURNAL).exists():
        plan = _read(stage / JOURNAL)
        try:
            _forward(folder, plan)
        except OSError:
            (stage / JOURNAL).replace(stage / UNDO)
            _back(folder, plan)
    if stage.exists():
        _drop(stage)


def _planned(folder: Path, names: tuple[str, ...], obsolete: tuple[str, ...]) -> _Plan:
    gone = tuple(name for name in dict.fromkeys(obsolete) if name not in names)
    for name in (*names, *gone):
        if (folder / name).is_dir():  # somebody's folder: nothing of ours may take its place
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(folder / name))
    parents = {
        parent.as_posix(): None
        for name in names
        for parent in reversed(PurePosixPath(name).parents)
        if not (folder / parent).is_dir()
    }
    return _Plan(
        names=names,
        obsolete=gone,
        had=tuple(name for name in (*names, *gone) if (folder / name).exists()),
        folders=tuple(parents),
    )


def _commit(stage: Path, plan: _Plan) -> None:
    """Let the journal appear, once everything it promises is on the disk."""
    for place in (stage / NEW).rglob("*") if (stage / NEW).exists() else ():
        if place.is_dir():
            _sync(place)
    _sync(stage / NEW)
    text = json.dumps({"format": FORMAT, **asdict(plan)}, ensure_ascii=False, indent=1)
    part = stage / f"{JOURNAL}.part"
    _write(part, text.encode("utf-8"))
    part.replace(stage / JOURNAL)
    _sync(stage)


def _read(path: Path) -> _Plan:
    """Return what a journal says; one that names a place outside the folder is damaged."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        parts = {key: found[key] for key in ("names", "obsolete", "had", "folders")}
        safe = found["format"] == FORMAT and all(
            isinstance(names, list) and all(_inside(name) for name in names)
            for names in parts.values()
        )
    except (OSError, ValueError, KeyError, TypeError):
        safe = False
    if not safe:
        message = (
            f"{path} is damaged: it cannot be said which files belong together in "
            f"{path.parent.parent}. Move the folder {path.parent} away and make the report again."
        )
        raise RenderError(message)
    return _Plan(**{key: tuple(names) for key, names in parts.items()})


def _inside(name: object) -> bool:
    if not isinstance(name, str) or not name or set(name) & set("\\:\0"):
        return False
    path = PurePosixPath(name)
    return not path.is_absolute() and ".." not in path.parts and path.parts[:1] != (STAGE,)


def _forward(folder: Path, plan: _Plan) -> None:
    """Put the new files in place; what is there already stays."""
    stage = folder / STAGE
    for name in (*plan.names, *plan.obsolete):
        new, old, target = stage / NEW / name, stage / OLD / name, folder / name
        arriving = name in plan.names
        if arriving and not new.exists():
            continue
        if name in plan.had and target.exists() and not old.exists():
            old.parent.mkdir(parents=True, exist_ok=True)
            _second_name(target, old)
        if arriving:
            target.parent.mkdir(parents=True, exist_ok=True)
            new.replace(target)
        elif old.exists():
            target.unlink(missing_ok=True)
    _sync_parents(folder, plan)


def _second_name(target: Path, old: Path) -> None:
    """Keep a file under a second name, so that its place is never empty.

    A file system without hard links gets it moved; then its place is empty for a moment.
    """
    try:
        os.link(target, old)
    except OSError:  # where no links are
        target.replace(old)


def _back(folder: Path, plan: _Plan) -> None:
    """Put the old files back; what is there already stays."""
    stage = folder / STAGE
    for name in reversed((*plan.names, *plan.obsolete)):
        old, target = stage / OLD / name, folder / name
        if name in plan.had:
            if old.exists():
                old.replace(target)
        elif not (stage / NEW / name).exists():
            target.unlink(missing_ok=True)
    for name in reversed(plan.folders):
        with suppress(OSError):  # not empty: somebody put something there
            (folder / name).rmdir()
    _sync_parents(folder, plan)


def _drop(stage: Path) -> None:
    """Remove the hidden folder, the journal first: without its files it would be wrong."""
    for name in (JOURNAL, UNDO):
        (stage / name).unlink(missing_ok=True)
    _sync(stage)
    shutil.rmtree(stage, ignore_errors=True)


def _write(path: Path, content: bytes, until: Until = "on_disk") -> None:
    """Write a file, and wait until the disk has it if that is wanted."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.write(content)
        if until == "on_disk":
            file.flush()
            os.fsync(file.fileno())


def _sync_parents(folder: Path, plan: _Plan) -> None:
    """Wait until the disk has the names of the files."""
    for parent in {(folder / name).parent for name in (*plan.names, *plan.obsolete)}:
        _sync(parent)


def _sync(folder: Path) -> None:
    """Wait until the disk has the names in a folder, where the system can say so."""
    if os.name == "nt" or not folder.is_dir():
        return
    with suppress(OSError):  # some network file systems cannot
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
