"""The log beside the journal: made anew after every entry, never over the work of somebody else.

What the recorder wrote last is known; if the file says anything else, somebody edited it, and it
is left alone until the operator says what is to become of it.
"""

from __future__ import annotations

import os
from contextlib import suppress
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["LogFile", "LogState"]

LogState = Literal["ours", "missing", "edited"]


class LogFile:
    """A log that is replaced as a whole.

    Parameters
    ----------
    path
        Where it is.
    written
        What the recorder wrote last; ``None``: nothing yet.
    """

    def __init__(self, path: Path, written: bytes | None = None) -> None:
        self.path = path
        self.written = written

    @property
    def found(self) -> bytes | None:
        """Return what stands in the file; ``None`` if there is none."""
        try:
            return self.path.read_bytes()
        except FileNotFoundError:
            return None

    @property
    def state(self) -> LogState:
        """Return whether the file is what the recorder wrote."""
        found = self.found
        if found is None:
            return "missing"
        return "ours" if found == self.written else "edited"

    def write(self, data: bytes) -> LogState:
        """Replace the log, unless it was edited; return how it was found.

        The new file is complete on disk before it takes the old one's name. If an editor saved
        in the very moment of the exchange, its version is kept beside the log under another name
        and the state is ``"edited"``.

        Raises
        ------
        OSError
            If it cannot be written; the log is as it was.
        """
        state = self.state
        if state == "edited":
            return state
        new = self.path.with_name(f".{self.path.name}.new")
        old = self.path.with_name(f".{self.path.name}.old")
        try:
            with new.open("wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            held = state == "ours" and self._hold(old)
            new.replace(self.path)
        except OSError:
            with suppress(OSError):
                new.unlink(missing_ok=True)
            raise
        before, self.written = self.written, data
        if held:
            if old.read_bytes() != before:
                old.replace(self.free_name("edited"))
                return "edited"
            old.unlink()
        return state

    def _hold(self, old: Path) -> bool:
        """Keep a second name for the file that is about to be replaced."""
        try:
            old.unlink(missing_ok=True)
            os.link(self.path, old)
        except OSError:  # a file system without links
            return False
        return True

    def set_aside(self) -> Path:
        """Give the edited log another name; return it."""
        target = self.free_name("edited")
        self.path.replace(target)
        return target

    def free_name(self, word: str) -> Path:
        """Return a name beside the log that is not taken, as ``log.edited-1.csv``."""
        number = 1
        while True:
            name = f"{self.path.stem}.{word}-{number}{self.path.suffix}"
            path = self.path.with_name(name)
            if not path.exists():
                return path
            number += 1
