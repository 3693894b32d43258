"""The files that make a record, and what is in them now.

Only files of the record are looked at, by their names. What a spreadsheet or an editor puts beside
them while it works (locks, copies, hidden files) is never looked at.
"""

from __future__ import annotations

import hashlib
import tomllib
from typing import TYPE_CHECKING

from kit.read.record import CORRECTIONS_NAME, LOG_NAME, SETUP_NAME
from kit.revise.swap import unfinished
from kit.watch.settle import Stamp

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["RECHECK_S", "RecordFiles"]

REVISIONS = "revisions"

UNSURE_S = 3.0
"""A file changed so shortly ago may change again without another time: the coarsest file system
in use keeps times to two seconds."""

RECHECK_S = 0.5
"""So often the content of such a file is looked at (s)."""


class RecordFiles:
    """Look at the files of a record, again and again.

    Parameters
    ----------
    record
        Folder of a session, or its log.
    archive
        Folder of kept revisions: a draft compares with the last of them.
    """

    def __init__(self, record: Path, archive: Path) -> None:
        self.record = record
        self.archive = archive
        self.folder = record if record.is_dir() else record.parent
        self._known: dict[str, tuple[Stamp, float, float]] = {}
        self._log: tuple[str, str] = ("", "")

    def look(self, now: float) -> dict[str, Stamp]:
        """Return what is seen, by file name.

        Parameters
        ----------
        now
            Seconds on a clock that never goes back.
        """
        seen = {name: self._stamp(name, now) for name in (SETUP_NAME, CORRECTIONS_NAME)}
        for name in self._logs(seen[SETUP_NAME]):
            seen[name] = self._stamp(name, now)
        seen[REVISIONS] = Stamp(digest=self._revisions())
        return seen

    def _stamp(self, name: str, now: float) -> Stamp:
        """Return the stamp of a file; its content is read when it may have changed."""
        path = self.folder / name
        try:
            found = path.stat()
        except OSError:
            self._known.pop(name, None)
            return Stamp()
        here = (found.st_size, found.st_mtime_ns, found.st_ino)
        stamp, changed_at, read_at = self._known.get(name, (Stamp(), 0.0, 0.0))
        same = (stamp.size, stamp.mtime_ns, stamp.inode) == here
        unsure = now - changed_at < UNSURE_S + RECHECK_S and now - read_at >= RECHECK_S
        if same and not unsure:
            return stamp
        size, mtime_ns, inode = here
        try:
            digest = hashlib.sha256(path.read_bytes()).hexdigest()
        except OSError:  # a spreadsheet holds it just now
            digest = ""
        made = Stamp(size=size, mtime_ns=mtime_ns, inode=inode, digest=digest)
        self._known[name] = (made, changed_at if made == stamp else now, now)
        return made

    def _logs(self, setup: Stamp) -> list[str]:
        """Return the names of files that may be the log."""
        if not self.record.is_dir():
            return [self.record.name] if self.record.name != SETUP_NAME else [LOG_NAME]
        if setup.digest != self._log[0]:
            self._log = (setup.digest, self._named_log())
        if self._log[1]:
            return [self._log[1]]
        if (self.folder / LOG_NAME).exists():
            return [LOG_NAME]
        try:
            names = [p.name for p in self.folder.iterdir() if p.suffix.lower() == ".csv"]
        except OSError:
            names = []
        ours = (n for n in names if not n.startswith((".", "~")) and n != CORRECTIONS_NAME)
        return sorted(ours) or [LOG_NAME]

    def _named_log(self) -> str:
        """Return the log that the setup file names; nothing if it does not, or cannot be read."""
        try:
            found = tomllib.loads((self.folder / SETUP_NAME).read_text(encoding="utf-8-sig"))
        except (OSError, ValueError):
            return ""
        session = found.get("session")
        name = session.get("log") if isinstance(session, dict) else None
        plain = isinstance(name, str) and "/" not in name and "\\" not in name
        return str(name) if plain and name else ""

    def _revisions(self) -> str:
        """Return the names of the kept revisions; a finished change of them is a change."""
        if unfinished(self.archive.parent):
            return "changing"
        try:
            return " ".join(sorted(p.name for p in self.archive.iterdir() if p.name.isdecimal()))
        except OSError:
            return ""
