"""Which phase, and which point of it, the rows of a scorecard are about, from their names."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from kit.read.cells import hint, quoted
from kit.session import Phase

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kit.read.cells import Collector
    from kit.read.setup_file import Setup

__all__ = ["TIME_ROWS", "UNKNOWN", "Place", "places_of", "plain_words"]

UNKNOWN = "unknown"
"""Point of a row whose name was told as unknown."""

Place = tuple[str, str]
"""Phase id and point; both "" where a row is a reading at a time only."""

TIME_ROWS: Mapping[str, str] = {
    **dict.fromkeys(("power off", "powered off", "power off at", "off", "off at"), "clock"),
    **dict.fromkeys(("last seen on", "last on"), "last_on"),
    **dict.fromkeys(("first seen off", "first off"), "first_off"),
    **dict.fromkeys(("still on", "still on at"), "still_on"),
    **dict.fromkeys(("runtime", "run time", "ran for"), "elapsed_min"),
    **dict.fromkeys(
        ("last percentage", "last seen percentage", "last %", "last seen %"), "soc_pct"
    ),
}
"""Names of the rows that hold one value for each device → what the value is."""

FIRST = frozenset({"start", "begin", "beginning", "start of session", "at start", "at the start"})
LAST = frozenset({"end", "finish", "end of session", "at the end"})
HALF_WAY = frozenset({"inside", "during", "half way", "halfway", "middle", "in between"})
START_OF = re.compile(r"(?:start of|beginning of|before|start|begin)\s+(.+)|(.+)\s+(?:start|begin)")
INSIDE = re.compile(
    r"(?:during|inside|in|half ?way(?: through)?|middle of)\s+(.+)|(.+)\s+(?:half ?way|middle)"
)
END_OF = re.compile(r"(?:end of|after|end)\s+(.+)|(.+)\s+end")


def plain_words(text: str) -> str:
    """Return a text in small letters, with one blank between words, without a final colon."""
    return re.sub(r"[\s_-]+", " ", text.casefold()).strip(" :")


def places_of(
    names: Sequence[str],
    phase_cells: Sequence[str],
    setup: Setup,
    column: str,
    notes: Collector,
) -> tuple[list[Place | None], Setup]:
    """Find the place of each row.

    Parameters
    ----------
    names, phase_cells
        For each row the name of the checkpoint and the cell of the column ``phase``, or "".
    column
        Heading of the column of names.

    Returns
    -------
    places
        For each row its place; ``None`` for a row such as "power off".
    setup
        With the phases that the rows name, where the setup file names none.
    """
    known = _known_phases(setup)
    inferred = not setup.phases
    places: list[Place | None] = []
    for row, (text, cell) in enumerate(zip(names, phase_cells, strict=True)):
        if plain_words(text) in TIME_ROWS:
            places.append(None)
            continue
        place = _place(text, cell, known, setup)
        if place is None:
            _tell_checkpoint(cell or text, "phase" if cell else column, setup, row, notes)
        places.append(place or ("", UNKNOWN))
    if inferred:
        ids = dict.fromkeys(p[0] for p in places if p is not None and p[0])
        setup = replace(setup, phases=tuple(Phase(id=n, label=n) for n in ids))
    if setup.phases:
        begin = setup.phases[0].id, "start"
        places = [begin if p == ("", "start") else p for p in places]
    return places, setup


def _place(text: str, cell: str, known: dict[str, str], setup: Setup) -> Place | None:
    """Return the place that a row names; ``None`` if it names a phase that is not known.

    Where the setup file names no phases, ``known`` gathers those of the rows.
    """
    name = plain_words(text)
    what, point = _named_point(name)
    if not cell and (not name or name in FIRST):
        return "", point if name else ""
    if not cell and name in LAST and setup.phases:
        return setup.phases[-1].id, "end"
    if cell:
        what = plain_words(cell)
    if not setup.phases:
        known.setdefault(what, cell or _phase_name(text))
    return (known[what], point) if what in known else None


def _known_phases(setup: Setup) -> dict[str, str]:
    """Return what a checkpoint may call a phase → id; an activity only if one phase has it."""
    activities = [p.activity for p in setup.phases]
    known = {
        plain_words(p.activity): p.id
        for p in setup.phases
        if p.activity and activities.count(p.activity) == 1
    }
    known |= {plain_words(p.label): p.id for p in setup.phases}
    return known | {plain_words(p.id): p.id for p in setup.phases}


def _named_point(name: str) -> tuple[str, str]:
    """Return the phase that a checkpoint names and its point.

    Examples
    --------
    >>> _named_point("after map"), _named_point("start of map"), _named_point("map")
    (('map', 'end'), ('map', 'start'), ('map', 'end'))
    """
    for pattern, point in ((START_OF, "start"), (INSIDE, "inside"), (END_OF, "end")):
        match = pattern.fullmatch(name)
        if match:
            return next(g for g in match.groups() if g), point
    if name in FIRST:
        return name, "start"
    return name, "inside" if name in HALF_WAY else "end"


def _phase_name(text: str) -> str:
    """Return the name of a phase from that of its checkpoint, as it is written."""
    for pattern in (START_OF, INSIDE, END_OF):
        match = re.fullmatch(pattern.pattern, text.strip(" :"), re.IGNORECASE)
        if match:
            return next(g for g in match.groups() if g).strip()
    return text.strip(" :")


def _tell_checkpoint(text: str, column: str, setup: Setup, row: int, notes: Collector) -> None:
    known = [p.label for p in setup.phases] + [p.id for p in setup.phases]
    notes.add(
        "checkpoint-unknown",
        row=row,
        column=column,
        found=quoted(text),
        expected="'start', 'start of …', 'after …' or the name of a phase of the setup file "
        f"({', '.join(dict.fromkeys(known))}), or a row such as 'power off'",
        remedy="Correct the name, or fill in a column 'phase'."
        + hint(_named_point(plain_words(text))[0], [*known, *TIME_ROWS]),
    )
