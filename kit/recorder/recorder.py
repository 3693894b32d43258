"""The recorder: takes what is typed, puts it on disk, says what it did.

All three ways to record (plain prompt, full screen, browser) are this class with other windows,
so that the same strokes give the same journal and the same log.
"""

from __future__ import annotations

import os
import platform
import re
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from kit.errors import UsageError
from kit.recorder.entries import Refused, confirmed, propose
from kit.recorder.journal import JOURNAL_NAME, Entry, Journal, JournalError
from kit.recorder.keys import Misunderstood, parse
from kit.recorder.lock import SessionLock
from kit.recorder.log_file import LogFile
from kit.recorder.rows import (
    adopted,
    effective_rows,
    last_alive,
    log_bytes,
    parse_log,
    says_something,
)
from kit.recorder.setup import protocol_of, setup_in
from kit.recorder.state import situation
from kit.recorder.words import HELP, remarks

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from kit.recorder.entries import Proposal
    from kit.recorder.journal import EntryKind
    from kit.recorder.state import Situation

__all__ = ["Recorder", "Reply", "wall_clock"]

LOG_NAME = "log.csv"
ENOUGH_BYTES = 5_000_000
"""With less room than this on the disk the operator is warned; a day needs far less."""


def wall_clock() -> datetime:
    """Return the computer's time, with the offset from UTC that it has now."""
    return datetime.now().astimezone()


@dataclass(frozen=True, kw_only=True)
class Reply:
    """What the recorder says to what was typed.

    Parameters
    ----------
    kind
        ``saved``: it is on disk. ``question``: nothing is saved yet, ``y`` keeps it.
        ``refused``: nothing is saved. ``told``: nothing was to be saved. ``quit``: leave.
    """

    kind: Literal["saved", "question", "refused", "told", "quit"]
    text: str


class Recorder:
    """A session that is being recorded; one at a time for each folder.

    Parameters
    ----------
    folder
        Folder of the session, with ``session.toml``.
    clock
        Returns the moment now, with an offset from UTC.
    run
        Which run, where the session has several.
    by
        Who reads.
    take_over
        Also when a recorder on another computer has not signed off.

    Raises
    ------
    UsageError
        If there is no setup file with devices and phases, or another recorder runs.
    RecordError
        If the setup file or the journal is faulty.
    JournalError
        If the journal cannot be written.
    """

    def __init__(
        self,
        folder: str | Path,
        *,
        clock: Callable[[], datetime] = wall_clock,
        run: int | None = None,
        by: str = "",
        take_over: bool = False,
    ) -> None:
        self.folder = Path(folder)
        self.clock = clock
        setup = setup_in(self.folder)
        local = clock().astimezone().tzinfo if clock is wall_clock else clock().tzinfo
        title = setup.title or setup.id or self.folder.resolve().name
        self.protocol = protocol_of(setup, title=title, run=run, local=local or UTC)
        self.news: tuple[str, ...] = ()
        self.log_problem = ""
        self._waiting: tuple[Proposal, str] | None = None
        other = "other_host" if take_over else ""
        self.lock = SessionLock(self.folder, clock(), take_over=other)
        try:
            self.journal = Journal(self.folder / JOURNAL_NAME)
            try:
                self._begin(setup.log or LOG_NAME, by)
            except BaseException:
                self.journal.close()
                raise
        except BaseException:
            self.lock.release()
            raise

    # ------------------------------------------------------------- beginning

    def _begin(self, log_name: str, by: str) -> None:
        entries = self.journal.entries
        self.log = LogFile(self.folder / log_name)
        resumed = any(e.kind == "enter" for e in entries)
        if resumed and (entries[-1].kind != "close"):
            self._tell("The recorder did not end in order last time; everything confirmed is here.")
        torn = [t.decode("utf-8", "replace") for _, t in self.journal.torn]
        known = {t for e in entries for t in _texts(e.facts.get("torn"))}
        new_torn = [t for t in torn if t not in known]
        if new_torn:
            self._tell(
                "The entry being written then was cut off and is not saved: "
                + "; ".join(_shown(t) for t in new_torn)
            )
        facts: dict[str, object] = {"version": 1, "pid": os.getpid(), "host": platform.node()}
        if new_torn:
            facts["torn"] = new_torn
        if self.protocol.run is not None:
            facts["run"] = self.protocol.run
        if by and by != self.here().by:
            facts["by"] = by
        last = None if not entries else datetime.fromisoformat(entries[-1].at)
        if last is not None and self.clock() < last:
            self._tell(
                f"The computer's clock is behind: the last entry was made at {last:%H:%M:%S} on "
                f"{last:%Y-%m-%d}. Set the clock right, or correct times with @."
            )
        self._find_log()
        self._append("open", facts=facts)
        self._take_first_log()
        self._write_log()
        with suppress(OSError):
            import shutil

            if shutil.disk_usage(self.folder).free < ENOUGH_BYTES:
                self._tell("The disk is nearly full: make room before the day goes on.")
        for remark in remarks(self.here(), self.protocol):
            self._tell(remark)

    def _tell(self, text: str) -> None:
        self.news = (*self.news, text)

    def _find_log(self) -> None:
        """Find out whether the log is as a recorder left it after one of the entries."""
        entries = self.journal.entries
        self._through = 0
        old = self.log.path.with_name(f".{self.log.path.name}.old")
        left = old.read_bytes() if old.exists() else None
        found = self.log.found
        for end in range(len(entries), 0, -1):
            data = log_bytes(effective_rows(entries[:end]))
            if found == data and self.log.written is None:
                self.log.written, self._through = data, end
            if left == data:
                left = None
            if (self.log.written is not None or found is None) and left is None:
                break
        if left is not None:  # an editor saved while the recorder was killed
            kept = self.log.free_name("edited")
            old.replace(kept)
            self._tell(f"A version of the log that somebody else wrote is kept as {kept.name}.")
        else:
            old.unlink(missing_ok=True)
        if self.log.written is None and self._taken and found is not None:
            made = [e for e in entries if e.kind in ("adopt", "enter", "undo")]
            self._through = int(str(made[-1].facts.get("log_through", len(entries))))

    @property
    def _taken(self) -> bool:
        """Whether this journal has rows, or took over a log, already."""
        return any(e.kind in ("adopt", "enter") for e in self.journal.entries)

    def _take_first_log(self) -> None:
        """Take over a log that was begun without the recorder."""
        found = self.log.found
        if self._taken or found is None or found == self.log.written:
            return
        rows = parse_log(found, self.log.path.name)
        kept = [r for r in rows if says_something(r)]
        if kept or rows:
            self._adopt(found, kept)
            self._tell(f"{len(kept)} rows of {self.log.path.name} were taken over.")
        self.log.written = found

    # ------------------------------------------------------------- the day

    def here(self) -> Situation:
        """Return where the day is now."""
        return situation(self.protocol, self.journal.entries, self.clock())

    def submit(self, text: str) -> Reply:
        """Take what was typed.

        When the reply is ``saved``, the entry is on disk.
        """
        text = text.strip()
        try:
            command = parse(text, self.protocol)
            if command.action == "yes":
                return self._yes(" ".join(p for p in (command.text, command.note) if p))
            self._waiting = None
            if command.action == "help":
                return Reply(kind="told", text=HELP)
            if command.action == "quit":
                return Reply(kind="quit", text="Everything is saved.")
            if command.action == "undo":
                return self._undo()
            if command.action in ("adopt", "aside"):
                return self._settle_edit(command.action)
            proposal = propose(command, self.here(), self.protocol)
        except (Misunderstood, Refused) as error:
            return Reply(kind="refused", text=str(error))
        except JournalError as error:
            return Reply(kind="refused", text=str(error))
        if proposal.questions:
            self._waiting = proposal, text
            doubts = _sentence("; ".join(proposal.questions))
            return Reply(
                kind="question",
                text=f"{doubts}. Really? y keeps it (y and a note), or enter anew.",
            )
        return self._save(proposal, text)

    def _yes(self, note: str) -> Reply:
        if self._waiting is None:
            return Reply(kind="refused", text="Nothing was asked.")
        proposal, text = self._waiting
        said = " ".join(("y", note)).strip()
        reply = self._save(confirmed(proposal, note), f"{text} | {said}")
        if reply.kind == "saved":
            self._waiting = None
        return reply

    def _save(self, proposal: Proposal, said: str) -> Reply:
        facts = {**proposal.facts, **self._while_edited()}
        try:
            self._append(
                "enter", said=said, rows=proposal.rows, changes=proposal.changes, facts=facts
            )
        except JournalError as error:
            return Reply(kind="refused", text=str(error))
        self._write_log()
        return Reply(kind="saved", text=f"saved: {proposal.said}")

    def _while_edited(self) -> dict[str, object]:
        """Return, while an edited log is waiting, the last entry that it can have seen."""
        return {"log_through": self._through} if self.log.state == "edited" else {}

    def _undo(self) -> Reply:
        last = last_alive(self.journal.entries)
        if last is None:
            return Reply(kind="refused", text="There is nothing to withdraw.")
        self._append("undo", said="u", facts={"of": last.n, **self._while_edited()})
        self._write_log()
        devices = dict.fromkeys(row["device"] for row in last.rows if row.get("device"))
        who = f"{self.protocol.label(next(iter(devices)))}, " if len(devices) == 1 else ""
        return Reply(kind="saved", text=f"withdrawn: {last.said} ({who}{last.at[11:19]})")

    def _append(
        self,
        kind: EntryKind,
        *,
        said: str = "",
        rows: Sequence[Mapping[str, str]] = (),
        changes: Mapping[str, Mapping[str, str]] | None = None,
        facts: Mapping[str, object] | None = None,
    ) -> None:
        now = self.clock().astimezone(self.protocol.zone)
        self.journal.append(
            Entry(
                n=len(self.journal.entries) + 1,
                at=now.isoformat(timespec="seconds"),
                kind=kind,
                said=said,
                rows=tuple(rows),
                changes=changes or {},
                facts=facts or {},
            )
        )

    # ------------------------------------------------------------- the log

    def _write_log(self) -> None:
        """Make the log anew; what hinders that is told, and tried again after the next entry."""
        entries = self.journal.entries
        try:
            state = self.log.write(log_bytes(effective_rows(entries)))
        except OSError as error:
            self.log_problem = (
                f"{self.log.path.name} could not be written ({error.strerror}); the entries are "
                f"safe in {JOURNAL_NAME}, and it is tried again after the next one."
            )
            return
        if state == "edited":
            self.log_problem = (
                f"{self.log.path.name} was changed by hand and is left alone. adopt takes the "
                "changes into the journal; aside keeps that file under another name and goes on "
                "with the journal."
            )
            return
        self.log_problem = ""
        self._through = len(entries)

    def _settle_edit(self, how: str) -> Reply:
        found = self.log.found
        if found is None or self.log.state != "edited":
            self._write_log()
            return Reply(kind="refused", text=f"{self.log.path.name} was not changed by hand.")
        name = self.log.path.name
        if how == "aside":
            try:
                kept = self.log.set_aside()
            except OSError as error:
                return Reply(kind="refused", text=f"{name} cannot be moved: {error.strerror}.")
            self._write_log()
            return Reply(kind="saved", text=f"the changed log is kept as {kept.name}")
        try:
            rows = parse_log(found, name)
        except UsageError as error:
            return Reply(kind="refused", text=str(error))
        self._adopt(found, rows)
        self.log.written = found
        self._write_log()
        return Reply(kind="saved", text=f"{name} was taken over as it is, {len(rows)} rows")

    def _adopt(self, found: bytes, rows: Sequence[Mapping[str, str]]) -> None:
        entries = self.journal.entries
        written = effective_rows(entries[: self._through])
        names, cells = adopted(rows, written, len(entries) + 1)
        text = found.decode("utf-8", "backslashreplace")
        facts = {"through": self._through, "ids": list(names), "text": text}
        self._append("adopt", said="adopt", rows=cells, facts=facts)

    # ------------------------------------------------------------- ending

    def close(self) -> None:
        """Sign off and let others record; nothing is lost if this never happens."""
        if self.lock.held:
            with suppress(JournalError):
                self._append("close")
            self._write_log()
            self.journal.close()
            self.lock.release()

    def __enter__(self) -> Recorder:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()


def _texts(value: object) -> list[str]:
    return [str(v) for v in value] if isinstance(value, list) else []


def _shown(text: str) -> str:
    """Return what was typed of an entry that was cut off, as far as it stands there."""
    found = re.search(r'"said":"((?:[^"\\]|\\.)*)', text)
    return repr(found[1] if found else text[:60])


def _sentence(doubts: str) -> str:
    """Return doubts as the beginning of a sentence; names keep their own letters.

    Examples
    --------
    >>> _sentence("it was planned to 15:32"), _sentence("iris 3 is off")
    ('It was planned to 15:32', 'iris 3 is off')
    """
    return doubts[:1].upper() + doubts[1:] if doubts.startswith(("it ", "the ")) else doubts
