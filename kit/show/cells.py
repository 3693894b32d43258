"""What several tables share: names, runs, phase headings, and devices × phases on a page."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from kit.display import Column, Table
from kit.labels import TABLE_WIDTH, device_names, phase_names, phase_numbers
from kit.show.flag_words import flag_text
from kit.units import MISSING, NO_BREAK, joined, ordinal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    import pandas as pd

    from kit.results import Results
    from kit.session import Session

__all__ = [
    "DEVICES_PER_TABLE",
    "Marks",
    "Names",
    "by_phase_and_device",
    "lettered",
    "lettered_notes",
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


class Marks:
    """Letters for remarks under a table, set where a remark belongs: cell, row, column or all.

    A remark on all cells of a phase stands at the phase, one on all cells of a device at the
    device, one on every cell once under the table; the rest stands in the cells.

    Parameters
    ----------
    codes
        (phase, device) → codes of that cell.
    """

    def __init__(self, codes: Mapping[tuple[str, str], Sequence[str]]) -> None:
        self.letters: dict[str, str] = {}
        cells = {key: list(dict.fromkeys(c for c in found if c)) for key, found in codes.items()}
        self.everywhere = self._shared(list(cells.values()))
        cells = _without(cells, self.everywhere)
        phases = list(dict.fromkeys(p for p, _ in cells))
        devices = list(dict.fromkeys(d for _, d in cells))
        self.by_phase = {
            p: self._shared([c for k, c in cells.items() if k[0] == p]) for p in phases
        }
        cells = {
            k: [c for c in found if c not in self.by_phase[k[0]]] for k, found in cells.items()
        }
        self.by_device = {
            d: self._shared([c for k, c in cells.items() if k[1] == d]) for d in devices
        }
        self.by_cell = {
            k: [c for c in found if c not in self.by_device[k[1]]] for k, found in cells.items()
        }

    @staticmethod
    def _shared(groups: Sequence[Sequence[str]]) -> list[str]:
        """Return the codes that stand in every one of at least two groups."""
        if len(groups) < 2:
            return []
        return [code for code in groups[0] if all(code in group for group in groups)]

    def _set(self, codes: Sequence[str]) -> str:
        return lettered(codes, self.letters)

    def phase(self, phase: str) -> str:
        """Return the letters of a phase."""
        return self._set(self.by_phase.get(phase, []))

    def device(self, device: str) -> str:
        """Return the letters of a device."""
        return self._set(self.by_device.get(device, []))

    def cell(self, phase: str, device: str) -> str:
        """Return the letters of a cell."""
        return self._set(self.by_cell.get((phase, device), []))

    @property
    def notes(self) -> tuple[str, ...]:
        """Return the remarks whose letters were set so far, and those on every cell."""
        return (
            *(f"Everywhere: {flag_text(code)}" for code in self.everywhere),
            *lettered_notes(self.letters),
        )


def lettered(codes: Iterable[str], letters: dict[str, str]) -> str:
    """Return `` [a]`` for the codes of one cell; ``letters`` keeps remark → letter."""
    texts = dict.fromkeys(flag_text(code) for code in codes if code)
    found = sorted(letters.setdefault(text, _letter(len(letters))) for text in texts)
    return f"{NO_BREAK}[{', '.join(found)}]" if found else ""


def lettered_notes(letters: Mapping[str, str]) -> tuple[str, ...]:
    """Return the remarks of ``lettered``, in the order of their letters."""
    return tuple(f"[{letter}] {text}" for text, letter in letters.items())


def _has_number(text: str) -> bool:
    return any(char.isdigit() for char in text)


def _without(
    cells: Mapping[tuple[str, str], Sequence[str]], codes: Sequence[str]
) -> dict[tuple[str, str], list[str]]:
    return {key: [c for c in found if c not in codes] for key, found in cells.items()}


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


def _evenly(devices: list[str]) -> list[list[str]]:
    """Return devices in groups of at most `DEVICES_PER_TABLE`, none much smaller than another.

    Examples
    --------
    >>> [["".join(group) for group in _evenly(list(all_))] for all_ in ("abcdefg", "abc", "")]
    [['abcd', 'efg'], ['abc'], []]
    """
    groups = -(-len(devices) // DEVICES_PER_TABLE)
    ends = [-(-len(devices) * k // max(groups, 1)) for k in range(groups + 1)]
    return [devices[start:end] for start, end in pairwise(ends)]


def by_phase_and_device(
    results: Results,
    frame: pd.DataFrame,
    cell: Callable[[Row], str],
    *,
    table_id: str,
    caption: str,
    unit: str,
    codes: Callable[[Row], Sequence[str]] = lambda _: (),
    notes: Sequence[str] = (),
    explained: str = "",
) -> tuple[Table, ...]:
    """Return phases down, devices across, at most ``DEVICES_PER_TABLE`` devices to a table.

    Parameters
    ----------
    frame
        At most one row per phase and device, with these two columns. A phase in which no device
        has a number is named under the table instead.
    cell
        Makes the text of one row; a pair without a row shows ``MISSING``.
    codes
        Flags of one row, set as letters and explained under the table.
    notes
        Further remarks under the last table.
    explained
        Where the letters are explained, if not under this table.
    """
    session = results.session
    names = Names.of(session)
    rows = {(row.phase, row.device): row for row in rows_of(frame)}
    texts = {key: cell(row) for key, row in rows.items()}
    flags = {key: codes(row) for key, row in rows.items()}
    met = [p.id for p in session.phases if any(key[0] == p.id for key in rows)]
    phases = [p for p in met if any(_has_number(texts[k]) for k in texts if k[0] == p)]
    empty = joined(f"“{names.phase[p]}”" for p in met if p not in phases)
    # a cell without number and flag, such as "off before", is no exception to a remark
    marks = Marks(
        {k: f for k, f in flags.items() if k[0] in phases and (f or _has_number(texts[k]))}
    )
    devices = [d.id for d in session.devices if any(key[1] == d.id for key in rows)]
    heads = {d: names.device[d] + marks.device(d) for d in devices}
    body = {
        p: (
            names.numbered(p) + marks.phase(p),
            {d: texts[p, d] + marks.cell(p, d) if (p, d) in texts else MISSING for d in devices},
        )
        for p in phases
    }
    remarks = (explained,) if explained and marks.notes else marks.notes
    if empty:
        remarks = (*remarks, f"Without a value for any device, and so not listed: {empty}.")
    groups = _evenly(devices)
    return tuple(
        Table(
            id=table_id if len(groups) == 1 else f"{table_id}-{number}",
            caption=caption if len(groups) == 1 else f"{caption} ({number} of {len(groups)})",
            columns=(
                Column(name="Phase"),
                *(
                    Column(name=heads[d], unit=unit, align="right", numeric_sort=True)
                    for d in group
                ),
            ),
            rows=tuple((head, *(cells[d] for d in group)) for head, cells in body.values()),
            notes=(*remarks, *notes) if number == len(groups) else (),
        )
        for number, group in enumerate(groups, start=1)
    )
