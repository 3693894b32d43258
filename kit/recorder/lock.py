"""One recorder at a time: a lock that the operating system lets go when its holder ends.

The lock is one on the open file, not the file itself: a file that a killed recorder left behind
locks nothing, and no number of a process has to be believed. What the file says (process, host,
since when) is for people, and to notice a recorder on another computer that shares the folder:
whether that one still runs cannot be known from here, so it is refused until told otherwise.
"""

from __future__ import annotations

import json
import os
import socket
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.errors import UsageError

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

__all__ = ["LOCK_NAME", "Holder", "SessionLock"]

LOCK_NAME = ".recorder.lock"

LOCKED_BYTE = 1 << 30
"""Far behind the text, for on Windows nobody else can read bytes that are locked."""


@dataclass(frozen=True, kw_only=True)
class Holder:
    """Who holds, or held, the lock."""

    pid: int
    host: str
    since: str

    @property
    def words(self) -> str:
        """Return ``process 4711 on field-laptop, since 08:02 on 2026-05-16``."""
        day, _, time = self.since.partition("T")
        return f"process {self.pid} on {self.host}, since {time[:5]} on {day}"


class SessionLock:
    """The lock of a session folder; held from construction to `release`.

    Parameters
    ----------
    folder
        Folder of the session.
    now
        When the lock is taken, for the message that others get.
    take_over
        ``"other_host"``: also when the last holder, on another computer, has not let go.

    Raises
    ------
    UsageError
        If another recorder holds it; names process, host and time.
    """

    def __init__(self, folder: Path, now: datetime, *, take_over: str = "") -> None:
        self.path = folder / LOCK_NAME
        self._fd: int | None = None
        try:
            flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0)
            fd = os.open(self.path, flags, 0o666)
        except OSError as error:
            message = f"{self.path} cannot be made: {error.strerror}"
            raise UsageError(message) from error
        found = _holder(fd)
        try:
            _lock(fd)
        except OSError as error:
            os.close(fd)
            raise UsageError(_refusal(folder, found, error)) from error
        host = socket.gethostname()
        if found is not None and found.host != host and take_over != "other_host":
            _unlock(fd)
            os.close(fd)
            message = (
                f"{folder} was last recorded by {found.words}, and that recorder has not signed "
                "off. If it surely does not run any more, add --take-over."
            )
            raise UsageError(message)
        self._fd = fd
        self.last = found
        self._say(Holder(pid=os.getpid(), host=host, since=now.isoformat(timespec="seconds")))

    @property
    def held(self) -> bool:
        """Whether the lock is still held."""
        return self._fd is not None

    def _say(self, holder: Holder | None) -> None:
        """Write who holds the lock; a full disk must not stop a recorder."""
        if self._fd is None:
            return
        try:
            os.ftruncate(self._fd, 0)
            if holder is not None:
                os.lseek(self._fd, 0, os.SEEK_SET)
                text = {"pid": holder.pid, "host": holder.host, "since": holder.since}
                os.write(self._fd, json.dumps(text).encode())
        except OSError:
            return

    def release(self) -> None:
        """Let go of the lock, and say so in the file, which stays."""
        if self._fd is not None:
            self._say(None)
            fd, self._fd = self._fd, None
            _unlock(fd)
            os.close(fd)


def _refusal(folder: Path, found: Holder | None, error: OSError) -> str:
    if isinstance(error, (BlockingIOError, PermissionError)):
        who = "another process" if found is None else found.words
        return (
            f"{folder} is being recorded already, by {who}. Two recorders on one session would "
            "mix up its log; use that one, or end it first."
        )
    return (
        f"the file system of {folder} cannot lock files ({error.strerror}), so a second recorder "
        "would not be noticed. Record in a folder on this computer's own disk."
    )


def _holder(fd: int) -> Holder | None:
    try:
        said = json.loads(os.read(fd, 4096))
        return Holder(pid=int(said["pid"]), host=str(said["host"]), since=str(said["since"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


if sys.platform == "win32":
    import msvcrt

    def _lock(fd: int) -> None:
        os.lseek(fd, LOCKED_BYTE, os.SEEK_SET)
        msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)

    def _unlock(fd: int) -> None:
        os.lseek(fd, LOCKED_BYTE, os.SEEK_SET)
        msvcrt.locking(fd, msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _lock(fd: int) -> None:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def _unlock(fd: int) -> None:
        fcntl.flock(fd, fcntl.LOCK_UN)
