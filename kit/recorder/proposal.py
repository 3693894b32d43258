"""What is proposed to the journal, and all that a command is judged by."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, timedelta
from typing import TYPE_CHECKING

from kit.recorder.moments import minutes_between, near, parse_clock, stamp, stamp_of_limit

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from kit.recorder.keys import Command
    from kit.recorder.state import DeviceNow, Protocol, Situation

__all__ = ["Asked", "Proposal", "Refused", "confirmed", "future", "percent", "stated"]

AHEAD_MIN = 1.0
"""A time may lie so far in the future before it is asked about (min): clocks differ."""


class Refused(ValueError):  # noqa: N818 (what happened, not an error of the program)
    """It makes no sense now; the message says why, and what would."""


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """What would go into the journal.

    Parameters
    ----------
    said
        One line for the operator: what is saved.
    questions
        Why it cannot be; empty when nothing is against it.
    """

    said: str
    rows: tuple[Mapping[str, str], ...] = ()
    changes: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    facts: Mapping[str, object] = field(default_factory=dict)
    questions: tuple[str, ...] = ()


def confirmed(proposal: Proposal, note: str) -> Proposal:
    """Return a proposal that was asked about and confirmed: its rows say so."""
    words = "confirmed: " + "; ".join(proposal.questions)
    words = f"{words}; {note}" if note else words

    def said(cells: Mapping[str, str]) -> dict[str, str]:
        return {**cells, "note": "; ".join(p for p in (cells.get("note", ""), words) if p)}

    changes = proposal.changes
    if not proposal.rows:
        changes = {name: said(cells) for name, cells in changes.items()}
    return replace(
        proposal, rows=tuple(said(r) for r in proposal.rows), changes=changes, questions=()
    )


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A command with all it is judged by."""

    command: Command
    here: Situation
    protocol: Protocol
    at: datetime

    def row(self, event: str, **cells: str) -> dict[str, str]:
        """Return a row of the log at the moment of the command."""
        run = "" if self.protocol.run is None else str(self.protocol.run)
        phase = self.here.phase.id if self.here.phase is not None else ""
        full = {
            "event": event, "run": run, "phase": phase, **cells,
            **stamp(self.at, zoned=self.protocol.zoned),
            "by": self.here.by, "note": self.command.note,
        }  # fmt: skip
        return {column: text for column, text in full.items() if text}

    def limit(self, moment: datetime) -> str:
        """Return a cell for a time beside that of the row."""
        return stamp_of_limit(moment, self.at, zoned=self.protocol.zoned)

    def next_device(self) -> DeviceNow:
        """Return the device that was named, or the one that is next in the round."""
        if self.command.devices:
            return self.here.device(self.command.devices[0])
        if self.here.round is None:
            message = (
                "No round is on, so say which device: its place in the row first (3 91). "
                "r begins a round."
            )
            raise Refused(message)
        return self.here.device(self.here.round.due[0])


def stated(text: str, said: datetime, now: datetime) -> datetime:
    """Return the moment that ``@ 9:05`` or ``@ -2`` means; −2 counts from what it said."""
    if ":" not in text:
        back = timedelta(minutes=abs(int(text)))
        return (said.astimezone(UTC) - back).astimezone(said.tzinfo)
    clock = parse_clock(text)
    if clock is None:
        message = f"{text} is no time of day. Write it as 9:05 or 9:05:30."
        raise Refused(message)
    return near(clock, now)


def future(at: datetime, here: Situation) -> tuple[str, ...]:
    """Return what speaks against a moment that is yet to come."""
    ahead = minutes_between(here.now, at)
    return (f"{at:%H:%M} is in the future",) if ahead > AHEAD_MIN else ()


def percent(value: float) -> str:
    """Return a percentage as people write it."""
    return f"{value:g}"
