r"""The journal of a session: every entry on disk before it counts, nothing ever deleted.

One line is one entry, a JSON object that ends with the first 16 hexadecimal digits of the SHA-256
of what stands before them::

    {"n":7,"at":"2026-05-16T09:00:12+01:00","kind":"enter","said":"91","rows":[…],"sum":"…"}

Lines are only appended. A line that was cut off (the power failed, the process was killed, the
disk was full) has no valid sum: reading passes over it, since nobody was told that it was saved,
and the next entry starts on a new line. Entries are numbered without gaps, so that a line that
was damaged or lost later is noticed.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, cast, get_args

from kit.errors import Finding, RecordError, RenderError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

__all__ = [
    "JOURNAL_NAME",
    "Entry",
    "EntryKind",
    "Journal",
    "JournalError",
    "JournalText",
    "entry_line",
    "read_journal",
]

JOURNAL_NAME = "journal.jsonl"

EntryKind = Literal["open", "adopt", "enter", "undo", "close"]
"""``open``, ``close``: a recorder began or ended. ``adopt``: the log as it was found. ``enter``:
new rows, and changes of earlier ones. ``undo``: withdraws an entry, perhaps another undo."""

SUM_DIGITS = 16
_SUM = re.compile(rb',"sum":"([0-9a-f]{%d})"\}$' % SUM_DIGITS)


class JournalError(RenderError):
    """An entry could not be put on disk: it is not saved."""


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One line of the journal.

    Parameters
    ----------
    n
        Number, from 1 without gaps.
    at
        When it was made by the wall clock: ISO date, time and offset from UTC.
    said
        What was typed, for people who read the journal.
    rows
        New rows of the log: column → text. Row *i* (from 1) of entry *n* has the id ``"n.i"``.
    changes
        Id of an earlier row → the columns that change.
    facts
        What only some kinds have: ``of`` (undo), ``by``, ``round``, ``text``, ``ids``, ….
    """

    n: int
    at: str
    kind: EntryKind
    said: str = ""
    rows: tuple[Mapping[str, str], ...] = ()
    changes: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    facts: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class JournalText:
    """What stands in a journal.

    Parameters
    ----------
    entries
        The valid ones, in order.
    torn
        Line number and bytes of every line that was cut off.
    open_line
        Whether the last line does not end.
    """

    entries: tuple[Entry, ...] = ()
    torn: tuple[tuple[int, bytes], ...] = ()
    open_line: bool = False


def entry_line(entry: Entry) -> bytes:
    r"""Return the line of an entry, with its line end.

    Examples
    --------
    >>> line = entry_line(Entry(n=1, at="2026-05-16T08:00:00+01:00", kind="open"))
    >>> line.endswith(b'"}\n'), read_journal(line, "journal.jsonl").entries[0].kind
    (True, 'open')
    """
    said: dict[str, object] = {"n": entry.n, "at": entry.at, "kind": entry.kind}
    for name in ("said", "rows", "changes", "facts"):
        value = getattr(entry, name)
        if value:
            said[name] = value
    body = json.dumps(said, ensure_ascii=False, separators=(",", ":"))[:-1].encode(
        "utf-8", "backslashreplace"
    )
    return body + f',"sum":"{_sum(body)}"}}\n'.encode()


def _sum(body: bytes) -> str:
    return hashlib.sha256(body).hexdigest()[:SUM_DIGITS]


def read_journal(data: bytes, file: str) -> JournalText:
    """Read the bytes of a journal.

    Raises
    ------
    RecordError
        If an entry is missing or stands twice: that is no cut-off line, somebody or something
        changed the file.
    """
    entries: list[Entry] = []
    torn: list[tuple[int, bytes]] = []
    *lines, last = data.split(b"\n")
    for number, line in enumerate([*lines, last] if last else lines, start=1):
        entry = _entry(line)
        if entry is None:
            if line:
                torn.append((number, line))
            continue
        if entry.n != len(entries) + 1:
            raise RecordError([_damage(file, number, entry.n, len(entries) + 1)])
        entries.append(entry)
    return JournalText(entries=tuple(entries), torn=tuple(torn), open_line=bool(last))


def _damage(file: str, line: int, found: int, expected: int) -> Finding:
    return Finding(
        rule="journal-damaged",
        severity="error",
        file=file,
        line=line,
        found=f"entry {found}",
        expected=f"entry {expected}: the entries are numbered without gaps",
        remedy="The journal was changed or damaged. Keep a copy of it and put back an undamaged "
        "one; or rename it: then recording goes on from log.csv, which holds the rows.",
    )


def _entry(line: bytes) -> Entry | None:
    """Return the entry of a line; ``None`` if the line was cut off or is something else."""
    found = _SUM.search(line)
    if found is None or _sum(line[: found.start()]).encode() != found[1]:
        return None
    try:
        said = json.loads(line)
        if said["kind"] not in get_args(EntryKind):
            return None
        return Entry(
            n=said["n"],
            at=said["at"],
            kind=said["kind"],
            said=said.get("said", ""),
            rows=tuple(said.get("rows", ())),
            changes=said.get("changes", {}),
            facts=said.get("facts", {}),
        )
    except (ValueError, KeyError, TypeError):
        return None


class Journal:
    """The journal of one session on disk, opened for appending.

    Whoever opens it holds the lock of the session (`kit.recorder.lock`).

    Raises
    ------
    JournalError
        If it cannot be opened.
    RecordError
        If it is damaged.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._fd: int | None = None
        self._load()

    def _load(self) -> None:
        """Open the file and read what really stands in it."""
        new = not self.path.exists()
        try:
            flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
            self._fd = os.open(self.path, flags, 0o666)
            data = _read_all(self._fd)
            if new:
                _folder_to_disk(self.path.parent)
        except OSError as error:
            self.close()
            message = f"{self.path} cannot be opened: {error.strerror}"
            raise JournalError(message) from error
        try:
            text = read_journal(data, self.path.name)
        except RecordError:
            self.close()
            raise
        self.entries = list(text.entries)
        self.torn = text.torn
        self._length = len(data)
        self._open_line = text.open_line

    def append(self, entry: Entry) -> None:
        """Put an entry on disk; on return it is there, whatever happens next.

        Raises
        ------
        JournalError
            If it could not be; then it is not saved, and what was saved before is untouched.
        """
        if self._fd is None:
            before = len(self.entries)
            self._load()
            if len(self.entries) != before:
                message = (
                    "The entry before was saved after all, although the disk said otherwise. This "
                    "one was not: enter it if it is another."
                )
                raise JournalError(message)
        if entry.n != len(self.entries) + 1:
            message = f"entry {entry.n} instead of {len(self.entries) + 1}"
            raise ValueError(message)
        line = (b"\n" if self._open_line else b"") + entry_line(entry)
        fd = cast("int", self._fd)
        try:
            _write_all(fd, line)
            _to_disk(fd)
        except OSError as error:
            self._take_back(fd)
            reason = error.strerror or str(error)
            message = (
                f"NOT SAVED, the disk refused it: {reason}. Make room (or mend the disk) and "
                "enter it again; all entries before are safe."
            )
            raise JournalError(message) from error
        self._length += len(line)
        self._open_line = False
        self.entries.append(entry)

    def _take_back(self, fd: int) -> None:
        """Cut off what was written of an entry that failed; else read the file anew next time."""
        try:
            os.ftruncate(fd, self._length)
            _to_disk(fd)
        except OSError:
            self.close()

    def close(self) -> None:
        """Close the file."""
        if self._fd is not None:
            fd, self._fd = self._fd, None
            os.close(fd)


def _read_all(fd: int) -> bytes:
    os.lseek(fd, 0, os.SEEK_SET)
    parts = []
    while part := os.read(fd, 1 << 20):
        parts.append(part)
    return b"".join(parts)


def _write_all(fd: int, data: bytes) -> None:
    rest = memoryview(data)
    while rest:
        written = os.write(fd, rest)
        rest = rest[written:]


def _to_disk(fd: int) -> None:
    """Wait until the disk has it; where fsync stops at the drive's cache, go further."""
    try:
        import fcntl
    except ImportError:  # Windows: fsync flushes the drive too
        os.fsync(fd)
        return
    full = getattr(fcntl, "F_FULLFSYNC", None)
    if full is None:
        os.fsync(fd)
        return
    try:
        fcntl.fcntl(fd, full)
    except OSError:  # a file system without it
        os.fsync(fd)


def _folder_to_disk(folder: Path) -> None:
    """Wait until the name of a new file is on disk, where the system can do that."""
    if os.name != "posix":
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)
