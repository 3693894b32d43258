"""A paragraph for a public correction notice: what was wrong, what it was, what follows."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.read.cells import quoted
from kit.revise.changes import count_changes
from kit.revise.statements import device_labels, phase_labels
from kit.units import count, number, u_decimals

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from typing import Any

    from kit.revise.changes import CellChange
    from kit.revise.compare import Comparison, Move

__all__ = ["MOVED_WORDS", "notice", "of_what"]

MOST_CELLS = 6
COLUMN_WORDS = {
    "soc_pct": "the percentage",
    "clock": "the time",
    "elapsed_min": "the elapsed time",
    "date": "the date",
    "last_on": "the time last seen on",
    "first_off": "the time first seen off",
    "temperature_c": "the temperature",
    "device": "the device",
    "phase": "the phase",
    "duration_min": "the length",
}
EVENT_WORDS = {
    "reading": "the reading",
    "tick": "the change of the display",
    "power_off": "the power-off",
    "still_on": "the last look",
    "temperature": "the temperature",
    "turn": "the turn",
}
POINT_WORDS = {"start": "at the start of", "end": "at the end of", "inside": "in"}
MOVED_WORDS = {
    "drain_pp": "drain",
    "rate_pp_per_h": "rate",
    "total_drain_pp": "total drain",
    "runtime_h": "runtime",
    "hours": "projected hours",
    "energy_wh": "energy",
    "power_w": "mean power",
    "mean": "mean",
    "mean_h": "mean runtime",
    "difference": "difference of means",
    "effect": "effect of the run",
}


def notice(
    changes: Sequence[CellChange],
    reasons: Mapping[CellChange, str],
    *,
    data: Mapping[str, Any],
    earlier: tuple[int, str],
    date: str,
    conclusion: str,
    comparison: Comparison | None,
    again: int | None = None,
) -> str:
    """Return the paragraph.

    Parameters
    ----------
    changes
        All that is different in the record.
    reasons
        Why, for the changes of which it is known.
    data
        Results of the corrected record as plain data.
    earlier
        Number and fingerprint of the earlier revision.
    date
        Day of the correction (ISO); empty if it is not known.
    conclusion
        The sentence of `kit.revise.headline.headline`.
    comparison
        Of the two results; ``None`` if they could not be compared.
    again
        Number of a revision before ``earlier`` that had the same data, if there is one.
    """
    session = data["session"]
    when = f" of {session['date']}" if session.get("date") else ""
    opening = f"Correction{f' of {date}' if date else ''} to “{session['title']}”{when}."
    if changes:
        why = {reasons.get(c, "") for c in changes}
        shared = why.pop() if len(changes) > 1 and len(why) == 1 else ""
        said = [_cell(c, "" if shared else reasons.get(c, ""), data) for c in changes[:MOST_CELLS]]
        rest = len(changes) - MOST_CELLS
        if rest > 0:
            said.append(f"{count(rest, 'further change')} listed in the report")
        what = f"In the record, {_were(changes)}: {'; '.join(said)}."
        what += f" The reason for all of them: {shared.rstrip('.')}." if shared else ""
    else:
        what = (
            "Only the form of the files of the record changed (order of rows or columns, quotation "
            "marks, line ends, comments): no cell is different."
        )
    number_, fingerprint = earlier
    back = "" if again is None else f", whose data are those of revision {again} again"
    closing = (
        f"The corrected report is revision {session['revision']} (data fingerprint "
        f"{session['fingerprint']}){back}; revision {number_} (data fingerprint {fingerprint}) is "
        "kept beside it."
    )
    parts = (opening, what, conclusion, _most(comparison, data), closing)
    return " ".join(part for part in parts if part)


def _were(changes: Sequence[CellChange]) -> str:
    text = count_changes(changes)
    first, _, rest = text.partition(" ")
    one = len(changes) == 1
    noun, _, kind = rest.rpartition(" ")
    if "," in text or " and " in text:
        return f"{text} since"
    return f"{first} {noun} was {kind}" if one else f"{first} {noun} were {kind}"


def _cell(change: CellChange, reason: str, data: Mapping[str, Any]) -> str:
    place = change.file if change.line is None else f"{change.file}, line {change.line}"
    why = f"; {reason}" if reason else ""
    if change.kind != "changed" or not change.column:
        text = quoted(change.new if change.kind == "added" else change.old)
        of = f"key {change.column} = " if change.column else ""
        return f"{of}{text} was {change.kind} ({place}{why})"
    if change.file.endswith(".toml"):
        what = f"the key {change.column}"
    elif change.event:
        names, phases = device_labels(data), phase_labels(data)
        column = COLUMN_WORDS.get(change.column, f"the column {change.column}")
        event = EVENT_WORDS.get(change.event, f"the row {change.event}")
        device = names.get(change.device, change.device)
        phase = phases.get(change.phase, change.phase)
        point = POINT_WORDS.get(change.point, "in")
        same = column == event
        what = column + ("" if same else f" in {event}")
        what += f" of {device}" if device else ""
        what += f" {point} “{phase}”" if phase else ""
    else:
        what = f"{change.column} at {change.what}"
    was, now = (text or "blank" for text in (change.old, change.new))
    return f"{what} was noted as {was} and is {now} ({place}{why})"


def of_what(move: Move, data: Mapping[str, Any]) -> str:
    """Return what a figure is of: device, phase, detail, run."""
    names, phases = device_labels(data), phase_labels(data)
    details = [names.get(part, part) for part in move.detail.split(", ") if part]
    words = {"true_charge": "true charge", "displayed": "as displayed"}
    parts = [
        names.get(move.device, move.device),
        phases.get(move.phase, move.phase),
        *(words.get(part, part) for part in details),
    ]
    several = len(data["session"].get("runs", ())) > 1
    parts.append(f"run {move.run}" if several and move.run is not None else "")
    return ", ".join(part for part in parts if part)


def _most(comparison: Comparison | None, data: Mapping[str, Any]) -> str:
    """Return the figure that moved most against its uncertainty."""
    moves = comparison.moves if comparison is not None else ()
    found = [m for m in moves if m.scale == "u" and math.isfinite(m.per_scale)]
    if not found:
        return ""
    move = found[0]
    places = u_decimals(move.size)
    quantity = MOVED_WORDS.get(move.quantity, move.quantity)
    steps = f"from {number(move.old, places)} to {number(move.new, places)} {move.unit}"
    return (
        "The figure that moved most against its uncertainty is the "
        f"{quantity} of {of_what(move, data)}: {steps} (u = {number(move.size, places)} "
        f"{move.unit})."
    )
