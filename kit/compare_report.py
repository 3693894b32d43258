"""What the cells of the comparison notebook call: one function a section, a comparison in.

::

    from kit import compare_report
    found = compare_report.load(sessions, coverage=coverage)
    compare_report.show(compare_report.order(found))

Every function but ``load`` and ``show`` returns a tuple of display objects and reads nothing but
its argument. A section without data holds one sentence that says why.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import kit
from kit.compare import change_tables, like_tables, order_tables, prose
from kit.compare.settings import CompareSettings, same_pairs
from kit.display import Block, DataBundle, Prose, show
from kit.show.tables import reference_list

if TYPE_CHECKING:
    from kit.compare.analysis import Comparison
    from kit.display import BlockKind

__all__ = [
    "changes",
    "claims",
    "comparable",
    "data",
    "glance",
    "history",
    "identity",
    "limits",
    "load",
    "methods",
    "order",
    "pairs",
    "phases",
    "references",
    "reproduce",
    "settings_of",
    "show",
    "spread",
    "title_block",
]

Page = tuple[Any, ...]

NO_ORDER = "No two devices of these sessions can be put in an order."
NO_RETURN = "No device took part in more than one of these sessions."
NO_PHASES = "No phase of one session has a counterpart in another."
NO_PHASE_CHANGES = "No device that returned was read in a phase that has a counterpart."
ALL_COMPARED = "Every two devices of these sessions are compared."


def settings_of(
    *,
    coverage: float = 0.95,
    same: str = "",
    accept: str = "",
    session_cv: float = 0.0,
    length_tolerance_pct: float = 10.0,
) -> CompareSettings:
    """Return the settings that the parameters of the notebook stand for.

    Parameters
    ----------
    same, accept
        ``a=b`` and keys of conditions, one a line.
    session_cv
        0: devices that nothing links are not compared.
    coverage, length_tolerance_pct
        As in `kit.compare.settings.CompareSettings`.

    Raises
    ------
    UsageError
        For a parameter that makes no sense.
    """
    return CompareSettings(
        coverage=coverage,
        same=same_pairs(line for line in same.splitlines() if line.strip()),
        accept=frozenset(line.strip() for line in accept.splitlines() if line.strip()),
        session_cv=None if session_cv == 0.0 else session_cv,
        length_tolerance_pct=length_tolerance_pct,
    )


def load(
    sessions: str,
    *,
    coverage: float = 0.95,
    same: str = "",
    accept: str = "",
    session_cv: float = 0.0,
    length_tolerance_pct: float = 10.0,
) -> Comparison:
    """Read, check and compare sessions.

    Parameters
    ----------
    sessions
        Folders or CSV files, one a line. A relative path is looked up from the working folder,
        then beside the package, where the samples are.
    coverage, same, accept, session_cv, length_tolerance_pct
        As for :func:`settings_of`.

    Raises
    ------
    RecordError
        If a record did not pass.
    UsageError
        For a path or parameter that makes no sense.
    """
    from kit.compare.analysis import compare
    from kit.compare.records import read_records

    chosen = settings_of(
        coverage=coverage,
        same=same,
        accept=accept,
        session_cv=session_cv,
        length_tolerance_pct=length_tolerance_pct,
    )
    paths = [_found(line) for line in sessions.splitlines() if line.strip()]
    return compare(read_records(paths), chosen)


def _found(record: str) -> Path:
    """Return the first place where the record exists; the path as given if nowhere."""
    from kit.places import PACKAGE, samples_folder

    given = Path(record).expanduser()
    places = (given, PACKAGE.parent / given, samples_folder().parent / given)
    return next((place for place in places if place.exists()), given)


def _prose(*texts: str, kind: BlockKind = "paragraph") -> Page:
    blocks = tuple(Block(kind=kind, text=text) for text in texts if text)
    return (Prose(blocks=blocks),) if blocks else ()


def _or(why: str, *items: Any) -> Page:
    """Return the items that there are, or one sentence that says why there are none."""
    flat: list[Any] = []
    for item in items:
        flat += item if isinstance(item, tuple) else [item]
    return tuple(item for item in flat if item is not None) or _prose(why)


def title_block(found: Comparison) -> Page:
    """Return the sessions, in order, with their fingerprints."""
    return (like_tables.sessions(found),)


def glance(found: Comparison) -> Page:
    """Return the result in plain words."""
    first, *rest = prose.glance(found)
    blocks = (Block(kind="lead", text=first), *(Block(kind="bullet", text=t) for t in rest))
    return (Prose(blocks=blocks),)


def claims(found: Comparison) -> Page:
    """Return the sentences that people want to say, with verdict and a true wording."""
    return _or(NO_ORDER, order_tables.claims(found))


def order(found: Comparison) -> Page:
    """Return the all-time order: figure and table."""
    from kit.compare.figure import order_pictures

    return _or(NO_ORDER, order_pictures(found), order_tables.order(found))


def history(found: Comparison) -> Page:
    """Return who led after each session."""
    return (order_tables.history(found),)


def pairs(found: Comparison) -> Page:
    """Return every two devices, and which are not compared."""
    return _or(NO_ORDER, order_tables.pairs(found))


def comparable(found: Comparison) -> Page:
    """Return what is comparable and what is not."""
    return (
        *like_tables.conditions(found),
        *_or(ALL_COMPARED, like_tables.not_compared(found)),
    )


def changes(found: Comparison) -> Page:
    """Return how the devices that returned changed, and what else did."""
    if not found.changes:
        return _prose(NO_RETURN)
    return (
        *_or(NO_RETURN, change_tables.runtime_changes(found)),
        *_or("", change_tables.what_changed(found)),
        *_or(NO_PHASE_CHANGES, change_tables.phase_changes(found)),
    )


def phases(found: Comparison) -> Page:
    """Return which phases were matched, and which were not and why."""
    return (
        *_or(NO_PHASES, change_tables.phases(found)),
        *_or("", change_tables.unmatched(found)),
    )


def spread(found: Comparison) -> Page:
    """Return how much of the spread is resolution, run, session and unit."""
    return (
        *_prose(prose.scatter_sentence(found)),
        like_tables.spread(found),
        *_or("", like_tables.drain_spread(found)),
    )


def identity(found: Comparison) -> Page:
    """Return which device is which."""
    return (like_tables.devices(found),)


def methods(found: Comparison) -> Page:
    """Return how the figures were obtained."""
    return _prose(*prose.methods(found))


def limits(found: Comparison) -> Page:
    """Return what the comparison cannot carry."""
    return _prose(*prose.limits(found), kind="bullet")


def reproduce(found: Comparison) -> Page:
    """Return inputs with their SHA-256, parameters and versions."""
    return (
        *_prose(
            "The same files, parameters and versions give the same comparison, byte for byte. The "
            "input files are inside this document."
        ),
        like_tables.inputs(found),
        *like_tables.parameters(found, _versions()),
    )


def _versions() -> dict[str, str]:
    from kit.revise.carried import versions

    return {"rundown-kit": kit.__version__, **versions()}


def references(found: Comparison) -> Page:
    """Return the publications that the comparison relies on."""
    return (reference_list(prose.references()),)


def data(found: Comparison) -> DataBundle:
    """Return everything for machines."""
    from kit.compare.data import comparison_data

    return DataBundle(comparison_data(found, kit_version=kit.__version__))
