"""What several tables share: names, runs, phase headings, and devices × phases on a page."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from kit.display import Column, Table
from kit.labels import TABLE_WIDTH, device_names, phase_names, phase_numbers
from kit.units import MISSING, NO_BREAK, ordinal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    import pandas as pd

    from kit.results import Results
    from kit.session import Session

__all__ = [
    "DEVICES_PER_TABLE",
    "Marks",
    "Names",
    "by_phase_and_device",
    "note_long_names",
    "of_run",
    "place",
    "place_word",
    "rows_of",
    "run_numbers",
    "run_slug",
    "run_words",
]

DEVICES_PER_TABLE = 6
"""Devices side by side that stay readable on an A4 page; more are set in several tables."""

Row = Any
"""One row of a frame, as ``DataFrame.itertuples`` gives it."""


@dataclass(frozen=True)
class Names:
    """Shown names of the devices and phases of one session."""

    device: dict[str, str]
    phase: dict[str, str]
    number: dict[str, int]

    @classmethod
    def of(cls, session: Session, width: int = TABLE_WIDTH) -> Names:
        """Return the names of a session, none longer than ``width`` columns."""
        return cls(
            device=dict(device_names(session, width)),
            phase=dict(phase_names(session, width)),
            number=dict(phase_numbers(session)),
        )

    def numbered(self, phase: str) -> str:
        """Return ``2 Streaming video`` for a phase id."""
        if phase not in self.phase:
            return phase
        return f"{self.number[phase]}{NO_BREAK}{self.phase[phase]}"


@dataclass
class Marks:
    """Letters that stand in cells for remarks under the table, given out as they are met."""

    words: Callable[[str], str]
    met: dict[str, str] = field(default_factory=dict)

    def __call__(self, codes: Iterable[str]) -> str:
        """Return `` [a, b]`` for codes, or nothing; equal remarks share a letter."""
        letters = []
        for text in (self.words(code) for code in codes if code):
            letter = self.met.setdefault(text, _letter(len(self.met)))
            if letter not in letters:
                letters.append(letter)
        return f"{NO_BREAK}[{', '.join(sorted(letters))}]" if letters else ""

    @property
    def notes(self) -> tuple[str, ...]:
        """Return the remarks met so far, ``[a] …``, in order."""
        return tuple(f"[{letter}] {text}" for text, letter in self.met.items())


def _letter(index: int) -> str:
    alphabet = "abcdefghijklmnopqrstuvwxyz"
    return alphabet[index % 26] * (1 + index // 26)


def run_numbers(results: Results) -> tuple[int, ...]:
    """Return the numbers of the runs, in order."""
    return tuple(run.number for run in results.session.runs)


def run_words(results: Results, run: int) -> str:
    """Return ``, run 2`` for a caption; nothing when there is one run."""
    return f", run {run}" if len(results.session.runs) > 1 else ""


def run_slug(results: Results, run: int) -> str:
    """Return ``-run-2`` for an id; nothing when there is one run."""
    return f"-run-{run}" if len(results.session.runs) > 1 else ""


def of_run(frame: pd.DataFrame, run: int) -> pd.DataFrame:
    """Return the rows of one run."""
    return frame[frame["run"] == run]


def rows_of(frame: pd.DataFrame) -> Iterable[Row]:
    """Return the rows of a frame, cells as attributes."""
    return frame.itertuples(index=False)


def place(best: float, worst: float) -> str:
    """Return a place, ``1`` or ``2–3``.

    Examples
    --------
    >>> place(1, 1), place(2, 3), place(float("nan"), float("nan"))
    ('1', '2–3', '–')
    """
    if best != best or worst != worst:
        return MISSING
    return f"{best:.0f}" if best == worst else f"{best:.0f}–{worst:.0f}"


def place_word(best: float, worst: float) -> str:
    """Return a place in words, ``1st``, ``2nd or 3rd``, ``2nd to 5th``.

    Examples
    --------
    >>> place_word(1, 1), place_word(2, 3), place_word(2, 5)
    ('1st', '2nd or 3rd', '2nd to 5th')
    """
    if best != best or worst != worst:
        return "not known"
    low, high = ordinal(int(best)), ordinal(int(worst))
    return low if low == high else f"{low} or {high}" if worst - best == 1 else f"{low} to {high}"


def note_long_names(session: Session) -> tuple[str, ...]:
    """Return the remark that names were shortened, where one was."""
    names = Names.of(session)
    if any("…" in name for name in (*names.device.values(), *names.phase.values())):
        return (
            f"Names longer than {TABLE_WIDTH} characters end in “…”; "
            "they stand in full under Setup and Protocol.",
        )
    return ()


def by_phase_and_device(
    results: Results,
    frame: pd.DataFrame,
    cell: Callable[[Row], str],
    *,
    table_id: str,
    caption: str,
    unit: str,
    notes: Callable[[], Sequence[str]] = tuple,
) -> tuple[Table, ...]:
    """Return phases down, devices across, at most ``DEVICES_PER_TABLE`` devices to a table.

    Parameters
    ----------
    frame
        At most one row per phase and device, with these two columns.
    cell
        Makes the text of one row; a pair without a row shows ``MISSING``.
    notes
        Called after all cells are made; set under the last table.
    """
    session = results.session
    names = Names.of(session)
    cells = {(row.phase, row.device): cell(row) for row in rows_of(frame)}
    phases = [p.id for p in session.phases if any(key[0] == p.id for key in cells)]
    devices = [d.id for d in session.devices]
    parts = [devices[k : k + DEVICES_PER_TABLE] for k in range(0, len(devices), DEVICES_PER_TABLE)]
    if not phases:
        return ()
    tables = []
    for number, part in enumerate(parts, start=1):
        several = len(parts) > 1
        tables.append(
            Table(
                id=f"{table_id}-{number}" if several else table_id,
                caption=f"{caption} ({number} of {len(parts)})" if several else caption,
                columns=(
                    Column(name="Phase"),
                    *(
                        Column(name=names.device[d], unit=unit, align="right", numeric_sort=True)
                        for d in part
                    ),
                ),
                rows=tuple(
                    (names.numbered(p), *(cells.get((p, d), MISSING) for d in part)) for p in phases
                ),
                notes=tuple(notes()) if number == len(parts) else (),
            )
        )
    return tuple(tables)
