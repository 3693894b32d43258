"""Words over columns and at the head of rows, and what they say is there."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.importing.percent import cleaned
from kit.read.checkpoints import TIME_ROWS, plain_words
from kit.read.scorecard import FOUND_OFF, NOT_READ

if TYPE_CHECKING:
    from kit.importing.mapping import Decisions

__all__ = [
    "OFF_ROWS",
    "Heading",
    "heading_of",
    "is_footnote",
    "is_missed",
    "is_off",
    "names_checkpoint",
    "row_name",
]

ROLE_WORDS: dict[str, str] = {
    **dict.fromkeys(("checkpoint", "check point", "checkpoints", "boundary"), "checkpoint"),
    **dict.fromkeys(("phase", "activity"), "phase"),
    **dict.fromkeys(("point",), "point"),
    **dict.fromkeys(("clock", "clock time", "time of day", "wall clock", "local time"), "clock"),
    **dict.fromkeys(
        ("elapsed", "elapsed min", "elapsed time", "time elapsed", "since start", "minutes", "min",
         "mins", "time since start", "hours", "h", "seconds", "elapsed s", "elapsed h"),
        "elapsed",
    ),
    **dict.fromkeys(
        ("time", "timestamp", "date time", "datetime", "date and time", "epoch", "unix time", "ts",
         "logged at", "when", "noted at", "read at", "utc", "time utc", "epoch ms", "timestamp ms",
         "epoch s", "timestamp utc"),
        "time",
    ),
    **dict.fromkeys(("date", "day"), "date"),
    **dict.fromkeys(("run", "run no", "run number"), "run"),
    **dict.fromkeys(
        ("device", "devices", "tablet", "tablets", "phone", "phones", "handheld", "unit", "model",
         "name", "device id", "device name"),
        "device",
    ),
    **dict.fromkeys(
        ("percent", "percentage", "battery", "battery level", "battery percent", "level", "soc",
         "battery percentage", "soc pct", "charge", "state of charge", "batt", "%", "capacity",
         "battery level percent", "charge level", "battery pct", "level pct", "remaining"),
        "percent",
    ),
    **dict.fromkeys(("note", "notes", "remark", "remarks", "comment", "comments"), "note"),
    **dict.fromkeys(("by", "who", "reader", "read by", "operator"), "by"),
    **dict.fromkeys(("evidence", "footage", "time code", "timecode"), "evidence"),
    **dict.fromkeys(("order",), "order"),
    **dict.fromkeys(("event",), "event"),
    **dict.fromkeys(("#", "no", "no.", "nr", "nr.", "number", "index", "row", "id"), "ignore"),
}  # fmt: skip
"""Heading in plain small words, without its unit → role."""

UNIT = re.compile(
    r"\s*(?:[(\[]\s*(?P<inner>[^()\[\]]{1,16})\s*[)\]]|, ?(?P<after>min|h|s)|,? ?(?P<sign>%))\s*$"
)
UNIT_WORDS = {
    **dict.fromkeys(("s", "sec", "secs", "seconds"), "seconds"),
    **dict.fromkeys(("min", "mins", "minutes", "m"), "minutes"),
    **dict.fromkeys(("h", "hr", "hrs", "hours"), "hours"),
    **dict.fromkeys(("d", "days"), "days"),
}
OTHER_QUANTITY = re.compile(
    r"°|\btemp|\bmah\b|\bwh\b|\bvolt|\bmv\b|\bma\b|\bcurrent\b|\bpower\b|\blux\b|\bnits?\b|\bbright"
    r"|\b(?:drain|drained|drop|loss|lost|used|use|diff|difference|delta|rate|average|avg|mean|median"
    r"|total|sum|change|rank|winner|status|state)\b|Δ|/ ?h\b",
    re.IGNORECASE,
)
"""Quantities that are no percentage displayed: temperatures, results worked out, and the like."""

SURROUNDINGS = frozenset(
    {"room", "the room", "ambient", "room air", "indoors", "outdoors", "humidity", "weather"}
)
"""Headings of columns about the place."""

TOTALS = re.compile(
    r"(?:total|sum|average|avg|mean|median|min|max|minimum|maximum|rank|winner)"
    r"(?: drain| drained| loss| rate| %)?"
    r"|.*\b(?:drain|drained|drain rate|loss|per hour|pp/h|%/h|change)",
    re.IGNORECASE,
)
"""Rows in which a spreadsheet worked something out."""

OFF_ROWS: dict[str, str] = {
    **{name: name for name in TIME_ROWS},
    **dict.fromkeys(
        ("power off time", "time of power off", "powered off at", "shutdown", "shut down",
         "shutdown at", "shut down at", "died", "died at", "dead", "dead at", "time of death",
         "switched off", "switched off at", "empty at", "off time"),
        "power off",
    ),
    **dict.fromkeys(("last seen alive", "seen on last"), "last seen on"),
    **dict.fromkeys(("first seen dead", "found off", "found off at", "found dead"),
                    "first seen off"),
    **dict.fromkeys(("still alive", "still running", "alive at stop"), "still on"),
    **dict.fromkeys(("total runtime", "lasted"), "runtime"),
}  # fmt: skip
"""Names of rows that hold the end of each device → the name that the kit reads."""

PLACED = re.compile(
    r"(?:start|begin|beginning|end|finish|half ?way|middle|during|before|after|at start|at end)\b.*"
    r"|.* (?:start|begin|end|middle)",
    re.IGNORECASE,
)


FOOTNOTE = re.compile(r"\s*(?:[*†‡§]|(?:note|notes|nb|n\.b\.|remark|remarks|legend|key)\s*:)", re.I)
"""Beginning of a row that explains the table."""


@dataclass(frozen=True)
class Heading:
    """What a heading says.

    Parameters
    ----------
    text
        As written, cleaned.
    role
        One of ``kit.importing.mapping.ROLES``; "" if its words say none.
    unit
        ``seconds``, ``minutes``, ``hours`` or ``days`` where one stands with a time.
    other
        Whether it names a quantity that is no percentage displayed.
    decided
        Whether the mapping file says the role.
    """

    text: str
    role: str = ""
    unit: str = ""
    other: bool = False
    decided: bool = False


def heading_of(text: str, letters: str, decisions: Decisions) -> Heading:
    """Return what a heading says, or what the mapping file says of it.

    Examples
    --------
    >>> from kit.importing.mapping import Decisions
    >>> h = heading_of("Elapsed (min)", "B", Decisions()); h.role, h.unit
    ('elapsed', 'minutes')
    >>> heading_of("Limpet 10 (%)", "C", Decisions()).role
    ''
    """
    text = cleaned(text)
    role = decisions.columns.get(text.casefold()) or decisions.columns.get(letters.casefold(), "")
    match = UNIT.search(text)
    unit = (match["inner"] or match["after"] or "").strip().casefold() if match else ""
    base = plain_words(text[: match.start()] if match else text)
    whole = plain_words(text)
    said = ROLE_WORDS.get(whole) or ROLE_WORDS.get(base, "")
    words = whole.split()
    time_unit = UNIT_WORDS.get(unit, "")
    if said in ("elapsed", "time", "clock") and not time_unit and words:
        time_unit = UNIT_WORDS.get(words[-1], "")
        time_unit = "milliseconds" if words[-1] == "ms" else time_unit
    if role:
        return Heading(text, role, time_unit, decided=True)
    if decisions.device_called(text):
        return Heading(text, "readings", decided=True)
    place = {whole, base} & SURROUNDINGS
    other = not said and (bool(place) or OTHER_QUANTITY.search(text) is not None)
    return Heading(text, said, time_unit, other)


def row_name(text: str, decisions: Decisions) -> str:
    """Return the name that the kit reads for a row; ``ignore`` for one that is left aside."""
    plain = plain_words(cleaned(text))
    if plain in decisions.rows:
        return decisions.rows[plain]
    for name in (plain, plain_words(UNIT.sub("", cleaned(text)))):
        if name in OFF_ROWS:
            return OFF_ROWS[name]
    return "ignore" if TOTALS.fullmatch(plain) else cleaned(text)


def names_checkpoint(text: str) -> bool:
    """Whether a text names a place in a session: start, after map, power off.

    Examples
    --------
    >>> [names_checkpoint(t) for t in ("start", "after map", "Power off", "Limpet 10")]
    [True, True, True, False]
    """
    plain = plain_words(UNIT.sub("", cleaned(text)))
    return plain in OFF_ROWS or PLACED.fullmatch(plain) is not None


def is_footnote(text: str) -> bool:
    """Whether the only text of a row explains the table and names no checkpoint.

    Examples
    --------
    >>> [is_footnote(t) for t in ("* read by Wren", "Note: fan off", "after map", "notes taken")]
    [True, True, False, False]
    """
    return FOOTNOTE.match(text) is not None


def is_off(text: str, decisions: Decisions) -> bool:
    """Whether a word says that the device was found off."""
    plain = plain_words(text)
    return plain in FOUND_OFF or plain in {plain_words(w) for w in decisions.off}


def is_missed(text: str, decisions: Decisions) -> bool:
    """Whether a word says that there is no reading."""
    plain = text.casefold()
    return plain in NOT_READ or plain in MISSED or plain in {w.casefold() for w in decisions.missed}


MISSED = frozenset({"--", "---", "n.a.", "#n/a", "not taken", "missed", "skipped", "none", "nil"})
"""Besides the words that a scorecard may have."""
