"""What the rows of a log must have, whatever was measured: known ids and the cells they need."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.read.cells import MOST_ALIKE, distinct_texts, hint, quoted
from kit.session import SEEN_ON

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from kit.read.cells import Collector
    from kit.read.log import Log
    from kit.read.setup_file import Setup
    from kit.read.toml_table import Notes
    from kit.session import Phase

__all__ = ["NEEDS", "tell_ids", "tell_missing", "tell_notes", "tell_parts", "tell_setup_devices"]


def tell_ids(
    log: Log, devices: Sequence[str], phases: Sequence[str], notes: Collector, setup_file: str
) -> None:
    """Tell ids that the setup file does not know; where it names none, all are known."""
    for column, known, what in (
        ("device", devices, "devices"),
        ("phase", phases, "phases"),
    ):
        if not known:
            continue
        # without a setup file they are those of a scorecard
        source = f"an id of [[{what}]] in {setup_file}" if setup_file else f"one of the {what}"
        texts = distinct_texts(log.frame[column])
        strange = np.array([bool(t) and t not in known for t in texts], dtype=bool)
        codes = log.frame[column].cat.codes.to_numpy()
        rows = np.flatnonzero(strange[codes])
        notes.add_rows(
            f"{column}-unknown",
            rows,
            [texts[codes[r]] for r in rows],
            column=column,
            expected=f"{source}: {', '.join(known)}",
            remedy=f"Correct the id, or add it to [[{what}]] of {setup_file or 'a setup file'}.",
            likely=known,
        )


NEEDS: Mapping[str, tuple[str, ...]] = {
    "reading": ("device",),
    "tick": ("device", "soc_pct", "time"),
    "power_off": ("device",),
    "still_on": ("device",),
    "phase_start": ("phase", "time"),
    "phase_end": ("phase", "time"),
    "turn": ("phase", "device", "part"),
    "charge_start": ("device",),
    "charge_end": ("device",),
    "temperature": ("temperature_c",),
    "incident": ("cause",),
    "note": ("note",),
}
"""Cells that an event cannot do without; ``time`` is clock or elapsed_min."""


def tell_missing(log: Log, notes: Collector) -> None:
    """Tell rows without a cell that their event needs."""
    timed = log.filled["clock"] | log.filled["elapsed_min"]
    for event, needs in NEEDS.items():
        of_event = log.is_event(event)
        for name in needs if of_event.any() else ():
            blank = of_event & ~(timed if name == "time" else log.filled[name])
            column = "clock" if name == "time" else name
            what = "clock or elapsed_min" if name == "time" else name
            _tell_blank(
                "cell-missing",
                blank,
                column,
                f"a cell in {what}, which {event} cannot do without",
                f"Fill {what} in, or delete the row.",
                notes,
            )
    reading = log.is_event("reading", "tick")
    point = log.holds("point", "start", "end")
    _tell_blank(
        "cell-missing",
        reading & point & ~log.filled["phase"],
        "phase",
        "the phase of which this is the start or end",
        "Fill the phase in.",
        notes,
    )
    bare = log.is_event("reading") & ~log.filled["point"] & ~timed
    _tell_blank(
        "cell-missing",
        bare & log.filled["phase"],
        "point",
        "start, end or inside; or a time, if the reading was made at another moment",
        "Fill in the point of the phase, or the time of the reading.",
        notes,
    )
    _tell_blank(
        "cell-missing",
        bare & ~log.filled["phase"],
        "phase",
        "phase and point of the reading, or its time",
        "Fill in phase and point, or clock or elapsed_min.",
        notes,
    )
    off = log.is_event("power_off")
    known = timed | log.filled["last_on"] | log.filled["first_off"] | log.filled["phase"]
    _tell_blank(
        "cell-missing",
        off & ~known,
        "clock",
        "when the device powered off: a time, last_on and first_off, or at least the phase",
        "Fill in what is known, or delete the row.",
        notes,
    )


def _tell_blank(
    rule: str, blank: NDArray[np.bool_], column: str, expected: str, remedy: str, notes: Collector
) -> None:
    rows = np.flatnonzero(blank)
    notes.add_rows(
        rule,
        rows,
        [""] * min(rows.size, MOST_ALIKE),
        column=column,
        expected=expected,
        remedy=remedy,
    )


def tell_notes(log: Log, notes: Collector) -> None:
    """Pass the operator's notes on, so that they are printed with the findings."""
    for row in np.flatnonzero(log.is_event("note") & log.filled["note"]).tolist():
        if log.text("evidence", row).startswith(SEEN_ON):
            continue
        notes.add(
            "operator-note",
            row=row,
            column="note",
            severity="note",
            device=log.text("device", row),
            phase=log.text("phase", row),
            run=int(log.run[row]),
            found=quoted(log.text("note", row)),
            expected="nothing: this is a note of the operator",
            remedy="Read it beside the results.",
        )


def tell_setup_devices(setup: Setup, known: Sequence[str], notes: Notes) -> None:
    """Tell devices named in the setup file that the log does not have, where it lists none."""
    if setup.devices:
        return
    named = [("claims.declared_comparison", n) for n in setup.declared_comparison or ()]
    for i, phase in enumerate(setup.phases, start=1):
        named += [(f"phases[{i}].first_half", n) for n in phase.first_half]
    for key, name in named:
        if name not in known:
            notes.add(
                "setup-device",
                key,
                found=f"the device {quoted(name)}",
                expected=f"a device of the log: {', '.join(known)}",
                remedy="Correct the id." + hint(name, known),
            )


def tell_parts(log: Log, phases: Sequence[Phase], notes: Collector) -> None:
    """Tell turns whose activity is none of the two of their phase."""
    parts = {p.id: p.parts for p in phases if p.parts}
    for row in np.flatnonzero(log.is_event("turn") & log.filled["part"]).tolist():
        known = parts.get(log.text("phase", row))
        part = log.text("part", row)
        if known and part not in known:
            notes.add(
                "part-unknown",
                row=row,
                column="part",
                phase=log.text("phase", row),
                device=log.text("device", row),
                found=quoted(part),
                expected=f"one of the parts of the phase: {', '.join(known)}",
                remedy="Correct the name." + hint(part, known),
            )
