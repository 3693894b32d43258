"""From a command to what goes into the journal, or to a question, or to a plain no.

What cannot be (a percentage that rises, one above 100, one of a device that is off) is asked
about at once. It may be true all the same, so a yes is enough to keep it; the log then says that
it was confirmed, and why it was asked about.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from kit.recorder import enter_off, enter_other, enter_phases, enter_readings, enter_turns
from kit.recorder.moments import minutes_between
from kit.recorder.proposal import Asked, Proposal, Refused, confirmed, future, stated

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from kit.recorder.keys import Action, Command
    from kit.recorder.state import Protocol, Situation

__all__ = ["Proposal", "Refused", "confirmed", "propose"]

BEHIND_MIN = 1.0
"""A clock that is so far behind the entry before has been put back (min)."""


def propose(command: Command, here: Situation, protocol: Protocol) -> Proposal:
    """Return what a command would put into the journal.

    Raises
    ------
    Refused
        If it makes no sense now.
    """
    at, late = _moment(command, here, protocol)
    late = (*late, *_behind(here)) if not command.at else late
    made = _DOES[command.action](Asked(command=command, here=here, protocol=protocol, at=at))
    return replace(made, questions=(*late, *made.questions))


def _moment(
    command: Command, here: Situation, protocol: Protocol
) -> tuple[datetime, tuple[str, ...]]:
    """Return when it was, and what speaks against that."""
    base = here.now.replace(microsecond=0)
    if command.action == "time" or not command.at:
        return base, ()
    at = stated(command.at, base, base)
    return at.astimezone(protocol.zone), future(at, here)


def _behind(here: Situation) -> tuple[str, ...]:
    """Return that the computer's clock was put back, if it is behind the entry before."""
    last = here.entered_at
    if last is None or minutes_between(here.now, last) <= BEHIND_MIN:
        return ()
    before = last.astimezone(here.now.tzinfo)
    return (
        f"the computer's clock says {here.now:%H:%M}, but the entry before was made at "
        f"{before:%H:%M}",
    )


_DOES: dict[Action, Callable[[Asked], Proposal]] = {
    "reading": enter_readings.reading,
    "tick": enter_readings.tick,
    "missed": enter_readings.missed,
    "missed_rest": enter_readings.missed_rest,
    "off": enter_off.off,
    "seen_off": enter_off.off,
    "look": enter_off.look,
    "stop": enter_off.stop,
    "start": enter_phases.start,
    "end": enter_phases.end,
    "round": enter_phases.round_,
    "turn": enter_turns.turn,
    "temperature": enter_other.temperature,
    "plug": enter_other.charge,
    "unplug": enter_other.charge,
    "incident": enter_other.incident,
    "note": enter_other.note,
    "by": enter_other.by,
    "evidence": enter_other.evidence,
    "time": enter_other.time,
    "add_note": enter_other.add_note,
}
