"""Pieces of a page that several sections share, and the parts that only some records have.

A part returns nothing where its record has nothing to show, so that no section stands empty.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from kit.display import Block, Prose
from kit.show import pictures, tables, wording
from kit.show.cells import run_numbers

if TYPE_CHECKING:
    from kit.display import BlockKind, DataBundle, Picture, Table
    from kit.results import Results

__all__ = [
    "Page",
    "by_runs",
    "heading",
    "mixes",
    "present",
    "prose",
    "repeats",
    "ticks",
    "within",
]

Page = tuple["Table | Prose | Picture | DataBundle", ...]


def prose(*texts: str, kind: BlockKind = "paragraph") -> tuple[Prose, ...]:
    """Return one piece of prose; nothing for empty texts."""
    blocks = tuple(Block(kind=kind, text=text) for text in texts if text)
    return (Prose(blocks=blocks),) if blocks else ()


def heading(text: str) -> tuple[Prose, ...]:
    """Return a heading below that of the section."""
    return prose(text, kind="heading")


def present(*items: Any) -> Page:
    """Return the items that there are; tuples of items are laid out flat."""
    flat: list[Any] = []
    for item in items:
        if isinstance(item, tuple):
            flat.extend(present(*item))
        elif item is not None:
            flat.append(item)
    return tuple(flat)


def ticks(results: Results) -> Page:
    """Return what noted changes of the display gained; nothing where none was used."""
    text = wording.ticks_gained(results)
    return present(heading("What changes of the display gained"), prose(text)) if text else ()


def within(results: Results) -> Page:
    """Return whether devices drained evenly within a phase; nothing without dense readings."""
    found = [
        (wording.evenness(results, run), tables.within_phase(results, run))
        for run in run_numbers(results)
    ]
    if not any(table for _, table in found):
        return ()
    pages = [(prose(text), table) for text, table in found]
    shape = wording.gauge_shapes(results)
    return present(heading("Within a phase"), *pages, prose(*shape), tables.rate_by_level(results))


def repeats(results: Results) -> Page:
    """Return what an activity done early and again late says; nothing where none was."""
    texts = wording.repeated_phases(results)
    if not texts:
        return ()
    return present(
        heading("The same activity early and late"),
        prose(*texts),
        tables.reference_repeats(results),
    )


def by_runs(results: Results) -> Page:
    """Return the runs without a normal distribution: counted, and as a survival curve."""
    pairs = tables.group_pairs(results)
    means = tables.run_means(results)
    if pairs is None and means is None:
        return ()
    return present(
        heading("Run against run"),
        prose(*wording.runs_counted(results)),
        pairs,
        pictures.survival(results),
        tables.survival(results),
        means,
    )


def mixes(results: Results) -> Page:
    """Return hours on mixes and where the winner changes; nothing without a mix."""
    found = tables.mixes(results)
    if not found:
        return ()
    return present(
        heading("On a mix of activities"),
        prose(*wording.mix_order(results)),
        found,
        prose(*wording.shift_sentences(results)),
        pictures.mix_shifts(results),
    )
