"""One difference between two versions of a record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from kit.read.cells import quoted
from kit.units import count

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["CellChange", "count_changes"]


@dataclass(frozen=True, kw_only=True)
class CellChange:
    """A cell, a row or a key that is not what it was.

    Parameters
    ----------
    kind
        ``"changed"``: one cell or key. ``"added"``, ``"removed"``: a whole row, or a key.
    file
        Name of the file in the later version; in the earlier one if it is gone.
    line
        Line as a text editor counts it, header = 1: in the later version, for what was removed
        in the earlier one; ``None`` if it is not known.
    column
        Column of the log or dotted key of the setup file; empty for a whole row.
    old, new
        What stood there and what stands there now; for a row, its cells; empty for blank.
    what
        The observation in the words of the log, such as ``reading p1 end limpet``.
    event, phase, point, device
        Parts of it, ids as in the log; empty where the row has none.
    """

    kind: Literal["changed", "added", "removed"]
    file: str
    line: int | None
    column: str
    old: str
    new: str
    what: str = ""
    event: str = ""
    phase: str = ""
    point: str = ""
    device: str = ""

    @property
    def sentence(self) -> str:
        """Return the change in one plain sentence without full stop.

        Examples
        --------
        >>> CellChange(kind="changed", file="log.csv", line=14, column="soc_pct", old="78",
        ...            new="87", what="reading p1 end limpet").sentence
        "log.csv, line 14, column soc_pct (reading p1 end limpet): '78' became '87'"
        """
        place = self.file if self.line is None else f"{self.file}, line {self.line}"
        if self.column:
            place += f", {'key' if self.file.endswith('.toml') else 'column'} {self.column}"
        if self.what and self.column:
            place += f" ({self.what})"
        if self.kind == "changed":
            return f"{place}: {quoted(self.old)} became {quoted(self.new)}"
        text = self.new if self.kind == "added" else self.old
        return f"{place}: {quoted(text)} was {self.kind}"


def count_changes(changes: Sequence[CellChange]) -> str:
    """Return how many changes of each sort there are, in words.

    Examples
    --------
    >>> change = dict(file="log.csv", line=2, old="a", new="b")
    >>> count_changes([CellChange(kind="changed", column="note", **change),
    ...                CellChange(kind="added", column="", **change)])
    'one cell changed and one row added'
    """
    found: dict[tuple[str, str], int] = {}
    for kind in ("changed", "added", "removed"):
        for change in changes:
            if change.kind == kind:
                key = (_noun(change), kind)
                found[key] = found.get(key, 0) + 1
    parts = [f"{count(n, noun)} {kind}" for (noun, kind), n in found.items()]
    return " and ".join(", ".join(parts).rsplit(", ", 1)) if parts else "no cell changed"


def _noun(change: CellChange) -> str:
    if change.file.endswith(".toml"):
        return "key"
    return "cell" if change.column else "row"
