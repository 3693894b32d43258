"""What the operator types: a few strokes for each device.

===============  ==========================================================================
typed            means
===============  ==========================================================================
``91``           the next device of the round shows 91 %
``3 91``         device 3 (its place in the row, or the beginning of its name) shows 91 %
``x``            the next device is found off; ``3 x`` device 3
``3 xx``         device 3 went off before my eyes; ``3 x 2``, ``3 xx 2``: it showed 2 % last
``3 t 91``       its display changed to 91 % just now
``m`` ``mm``     no reading of the next device; of none that is left in the round
``l``            looked along the row: all that are not marked off are on
``s`` ``e``      the next phase starts; the phase ends
``w``            the turn (or half) is over and the next begins; ``w end`` only over
``r``            read the row now
``f``            the session is stopped: all that are not off are still on
``3 c 35.2``     temperature of device 3 (°C); ``c 21.5`` of the room
``3 plug``       put on its charger; ``3 unplug`` taken off
``3 i …``        incident in words; ``n …`` a note; ``by …`` who reads from now on
``v …``          evidence for the entry before (a timecode, a photograph)
``@ 9:05``       the entry before was at 9:05; ``@ -2`` two minutes earlier than it says
``> …``          a note to the entry before
``u``            withdraw the entry before; once more: the one before that
``y …``          yes, keep what was questioned, with a note
===============  ==========================================================================

A time and a note can close any entry: ``3 x @ 16:21 > sound stopped``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from kit.safe_text import displayable

if TYPE_CHECKING:
    from kit.recorder.state import Protocol

__all__ = ["WORDS", "Action", "Command", "Misunderstood", "parse"]

Action = Literal[
    "reading", "tick", "off", "seen_off", "missed", "missed_rest", "look", "start", "end",
    "turn", "round", "stop", "temperature", "plug", "unplug", "incident", "note", "by",
    "evidence", "time", "add_note", "undo", "yes", "adopt", "aside", "help", "quit",
]  # fmt: skip

WORDS: dict[str, Action] = {
    "x": "off", "off": "off", "xx": "seen_off", "t": "tick", "tick": "tick",
    "m": "missed", "missed": "missed", "mm": "missed_rest", "l": "look", "look": "look",
    "s": "start", "start": "start", "e": "end", "end": "end", "w": "turn", "turn": "turn",
    "r": "round", "read": "round", "f": "stop", "finish": "stop", "c": "temperature",
    "plug": "plug", "unplug": "unplug", "i": "incident", "incident": "incident", "n": "note",
    "note": "note", "by": "by", "v": "evidence", "evidence": "evidence", "u": "undo",
    "undo": "undo", "y": "yes", "yes": "yes", "adopt": "adopt", "aside": "aside", "?": "help",
    "help": "help", "q": "quit", "quit": "quit",
}  # fmt: skip
"""First word → what it does; the short ones are for the day, the long ones for memory."""

OF_A_DEVICE = frozenset(
    {"off", "seen_off", "tick", "missed", "turn", "temperature", "plug", "unplug", "incident"}
)
WITH_NUMBER = frozenset({"tick", "temperature", "plug", "unplug"})
MAYBE_NUMBER = frozenset({"off", "seen_off"})
WITH_TEXT = frozenset({"incident", "note", "by", "evidence", "turn", "start", "yes"})

_TIME = re.compile(r"\s*@\s*(-?\d{1,3}|\d{1,2}:\d{2}(?::\d{2})?)\s*$")
_NUMBER = re.compile(r"[-+−]?\d+(?:[.,]\d+)?")


class Misunderstood(ValueError):  # noqa: N818 (what happened, not an error of the program)
    """The text means nothing; the message says what was expected."""


@dataclass(frozen=True, kw_only=True)
class Command:
    """What was typed, taken apart.

    Parameters
    ----------
    devices
        Ids named; empty for "the next one".
    number
        The percentage or temperature.
    text
        Free words after the command.
    at
        ``"9:05"`` or ``"-2"``; "" for now.
    note
        Words after ``>``.
    """

    action: Action
    devices: tuple[str, ...] = ()
    number: float | None = None
    text: str = ""
    at: str = ""
    note: str = ""


def parse(text: str, protocol: Protocol) -> Command:
    """Take apart what was typed.

    Raises
    ------
    Misunderstood
        If it means nothing.
    """
    typed = displayable(text).strip()
    if not typed:
        message = "Nothing was typed. Type ? for the keys."
        raise Misunderstood(message)
    body, _, note = typed.partition(">")
    body, note = body.strip(), note.strip()
    found = _TIME.search(body)
    at = "" if found is None else found[1]
    body = body if found is None else body[: found.start()].strip()
    if not body:
        return _about_the_last(at, note)
    first, *rest = body.split()
    if first.casefold() in WORDS:
        return _command(WORDS[first.casefold()], (), rest, at, note)
    if not rest and _NUMBER.fullmatch(first.rstrip("%")):
        return Command(action="reading", number=_number(first), at=at, note=note)
    devices = tuple(_device(part, protocol) for part in first.split("+"))
    if not rest:
        message = f"{first}: and what about it? A percentage, x for off, … Type ? for the keys."
        raise Misunderstood(message)
    word, *more = rest
    if word.casefold() in WORDS:
        action = WORDS[word.casefold()]
        if action not in OF_A_DEVICE:
            message = f"{word} is not about one device. Type it alone."
            raise Misunderstood(message)
        return _command(action, devices, more, at, note)
    if len(devices) > 1 or more:
        message = f"{body}: expected a device and a percentage, such as 3 91. Type ? for the keys."
        raise Misunderstood(message)
    return Command(action="reading", devices=devices, number=_number(word), at=at, note=note)


def _about_the_last(at: str, note: str) -> Command:
    if at:
        return Command(action="time", at=at, note=note)
    if note:
        return Command(action="add_note", note=note)
    message = "> needs a note after it, @ a time."
    raise Misunderstood(message)


def _command(
    action: Action, devices: tuple[str, ...], rest: list[str], at: str, note: str
) -> Command:
    number = None
    if len(devices) > 1 and action != "turn":
        message = "One device at a time, please; only turns can be of several (2+4 w)."
        raise Misunderstood(message)
    maybe = action in MAYBE_NUMBER and bool(rest) and _NUMBER.fullmatch(rest[0].rstrip("%"))
    if rest and (action in WITH_NUMBER or maybe):
        number = _number(rest[0])
        rest = rest[1:]
    text = " ".join(rest)
    if text and action not in WITH_TEXT:
        if action not in ("missed", "missed_rest", "off", "seen_off", "look", "temperature"):
            message = f"{text!r} was not understood there. A note follows a >."
            raise Misunderstood(message)
        note, text = " ".join((text, note)).strip(), ""
    if number is None and action in ("tick", "temperature"):
        message = "A number is missing, such as 3 t 91 or 3 c 35.2."
        raise Misunderstood(message)
    if action in ("note", "incident", "by", "evidence") and not text:
        message = "Words are missing after it."
        raise Misunderstood(message)
    return Command(action=action, devices=devices, number=number, text=text, at=at, note=note)


def _number(text: str) -> float:
    plain = text.rstrip("%").replace("−", "-").replace(",", ".")
    if not _NUMBER.fullmatch(plain):
        message = f"{text!r} is no number and no command. Type ? for the keys."
        raise Misunderstood(message)
    return float(plain)


def _device(text: str, protocol: Protocol) -> str:
    if text.isdecimal():
        place = int(text)
        if 1 <= place <= len(protocol.devices):
            return protocol.devices[place - 1].id
        message = f"There is no place {text} in the row; it has {len(protocol.devices)}."
        raise Misunderstood(message)
    wanted = text.casefold()
    exact = [d.id for d in protocol.devices if wanted in (d.id.casefold(), d.label.casefold())]
    begin = [
        d.id
        for d in protocol.devices
        if d.id.casefold().startswith(wanted) or d.label.casefold().startswith(wanted)
    ]
    for found in (exact, begin):
        if len(found) == 1:
            return found[0]
    if begin:
        message = f"{text}: which one? {', '.join(begin)}."
    else:
        message = f"{text!r} is no device and no command. Type ? for the keys."
    raise Misunderstood(message)
