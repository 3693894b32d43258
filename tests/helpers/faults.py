"""Faults at the k-th call to the file system, in a child process that may die of them.

Every call that changes a folder, and every opening of a file in it, is an audit event of Python
itself: none can be missed or passed by. POSIX only: the child is a fork of the test.
"""

from __future__ import annotations

import errno
import os
import sys
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

__all__ = ["KINDS", "Kind", "calls", "with_fault"]

Kind = Literal["killed", "torn", "full", "full from then on", "interrupted"]
KINDS: tuple[Kind, ...] = ("killed", "torn", "full", "full from then on", "interrupted")
"""``killed``: the process is gone. ``torn``: it is gone and the file it was writing is cut in half.
``full``: no space, once. ``full from then on``: nothing can be written any more, though files can
be renamed and removed. ``interrupted``: Ctrl-C. None waits until the disk has a file."""

CHANGING = {
    "open", "os.rename", "os.link", "os.remove", "os.mkdir", "os.rmdir", "os.chmod",
    "os.truncate", "fsync",
}  # fmt: skip
NEEDS_SPACE = {"open", "os.link", "os.mkdir", "fsync"}
DONE, RAISED, INTERRUPTED, KILLED = 0, 71, 72, 73


@dataclass(frozen=True)
class _Ended:
    """How the child ended: ``done``, ``raised``, ``interrupted`` or ``killed``; calls seen."""

    how: str
    calls: int


def calls(folder: Path, act: Callable[[], Any]) -> int:
    """Return how many calls an action makes on files below a folder, by making it in a child."""
    ended = with_fault(folder, act, kind="killed", at=0)
    assert ended.how == "done", ended
    return ended.calls


def with_fault(folder: Path, act: Callable[[], Any], *, kind: Kind, at: int) -> _Ended:
    """Do something in a child process in which the ``at``-th call fails; 0: none does.

    Parameters
    ----------
    folder
        Only calls on paths below it, or relative to an open folder, are counted.
    """
    reading, writing = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # a fork where other threads run
        child = os.fork()
    if not child:
        try:
            os.close(reading)
            _child(str(folder), act, kind, at, writing)
        finally:
            os._exit(99)
    os.close(writing)
    with os.fdopen(reading) as stream:
        said = stream.read()
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    names = {DONE: "done", RAISED: "raised", INTERRUPTED: "interrupted", KILLED: "killed"}
    assert code in names, (code, said)
    return _Ended(names[code], int(said or 0))


def _child(folder: str, act: Callable[[], Any], kind: Kind, at: int, out: int) -> None:
    counter = _Counter(folder, kind, at)
    os.fsync = lambda handle: counter.seen("fsync", (handle,))
    sys.addaudithook(counter.seen)
    try:
        act()
    except KeyboardInterrupt:
        code = INTERRUPTED
    except BaseException:  # whatever it is, the test looks at the files
        code = RAISED
    else:
        code = DONE
    total, counter.folder = counter.count, "\0"
    os.write(out, str(total).encode())
    os._exit(code)


class _Counter:
    """Counts calls on files below a folder, and lets one fail."""

    def __init__(self, folder: str, kind: Kind, at: int) -> None:
        self.folder, self.kind, self.at = folder, kind, at
        self.count = 0

    def seen(self, event: str, args: tuple[Any, ...]) -> None:
        if not self._counts(event, args):
            return
        self.count += 1
        late = self.kind == "full from then on" and 0 < self.at < self.count
        if self.count == self.at or (late and event in NEEDS_SPACE):
            self._fail(event, args[0])

    def _counts(self, event: str, args: tuple[Any, ...]) -> bool:
        if event not in CHANGING or event == "fsync":
            return event == "fsync"
        if isinstance(args[0], int):
            return False
        text = os.fsdecode(args[0])
        # relative: in a folder that is being removed, by its open handle
        return text.startswith(self.folder) or (event != "open" and not text.startswith("/"))

    def _fail(self, event: str, place: Any) -> None:
        if self.kind == "torn" and event == "fsync":
            os.truncate(place, os.fstat(place).st_size // 2)
        if self.kind in ("killed", "torn"):
            os._exit(KILLED)
        if self.kind == "interrupted":
            raise KeyboardInterrupt
        if event in NEEDS_SPACE:
            name = self.folder if isinstance(place, int) else os.fsdecode(place)
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), name)
