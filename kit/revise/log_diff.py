"""What is different between two versions of a log: cell by cell, row by row.

A row is recognised by what it observes (event, run, phase, point, device, time), not by its line:
a row inserted above or a table sorted anew is no change of the rows below.
"""

from __future__ import annotations

from collections import defaultdict, deque
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.read.csv_dialect import read_table
from kit.read.log_columns import is_long_form, plain_name
from kit.revise.changes import CellChange

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from numpy.typing import NDArray

    from kit.read.csv_dialect import RawTable

    Row = tuple[str, ...]

__all__ = ["diff_logs"]

OBSERVED = ("event", "run", "phase", "point", "device")
TIMES = ("date", "clock", "elapsed_min")

MOST_COMPARED = 250_000
"""Pairs of left-over rows up to which each is compared with each; beyond, only equal lines are."""


def diff_logs(old: bytes, new: bytes, *, file: str) -> tuple[CellChange, ...]:
    r"""Return what changed between two versions of a log, in line order.

    Rows are paired in four rounds, each among what the rounds before left over: equal in every
    cell; the same observation at the same time; the same observation; at least half of the
    filled cells equal. What remains was added or removed.

    Parameters
    ----------
    old, new
        Bytes of the two files; both are tables that can be read.
    file
        Name of the file in the changes.

    Examples
    --------
    >>> old = b"event,device,soc_pct\nreading,a,87\nreading,b,85\n"
    >>> new = b"event,device,soc_pct\nreading,c,80\nreading,a,87\nreading,b,58\n"
    >>> for change in diff_logs(old, new, file="log.csv"):
    ...     print(change.sentence)
    log.csv, line 2: 'event reading, device c, soc_pct 80' was added
    log.csv, line 4, column soc_pct (reading b): '85' became '58'
    """
    before, after = read_table(old, file)[0], read_table(new, file)[0]
    if before is None or after is None:
        message = f"{file}: a version that is no table cannot be compared"
        raise ValueError(message)
    tables = _Tables(before, after, file)
    return tables.changes()


class _Tables:
    """Two tables with the same columns, trimmed to where they differ."""

    def __init__(self, before: RawTable, after: RawTable, file: str) -> None:
        self.file = file
        self.long = is_long_form(after)
        first, second = _columns(before), _columns(after)
        names = [*second, *(name for name in first if name not in second)]
        self.names = tuple(names)
        codes, texts = zip(
            *(_codes(first.get(n), second.get(n), len(before.lines), len(after.lines))
              for n in names), strict=True,
        )  # fmt: skip
        old = np.column_stack([a for a, _ in codes])
        new = np.column_stack([b for _, b in codes])
        head, tail = _alike(old, new)
        self.old = _rows(old[head : len(old) - tail], texts)
        self.new = _rows(new[head : len(new) - tail], texts)
        self.old_lines = before.lines[head : len(old) - tail].tolist()
        self.new_lines = after.lines[head : len(new) - tail].tolist()

    def changes(self) -> tuple[CellChange, ...]:
        """Return the differences in line order."""
        pairs = self._pairs()
        found = [change for i, j in pairs for change in self._cells(i, j)]
        gone = sorted(set(range(len(self.old))) - {i for i, _ in pairs})
        come = sorted(set(range(len(self.new))) - {j for _, j in pairs})
        for i in gone:
            found.append(self._row("removed", self.old[i], self.old_lines[i]))
        for j in come:
            found.append(self._row("added", self.new[j], self.new_lines[j]))
        return tuple(sorted(found, key=lambda c: (c.line or 0, c.kind != "removed")))

    def _pairs(self) -> list[tuple[int, int]]:
        pairs: list[tuple[int, int]] = []
        left, right = list(range(len(self.old))), list(range(len(self.new)))
        for key in (lambda row: row, self._key(timed=True), self._key(timed=False)):
            found = self._by_key(left, right, key)
            pairs += found
            left = _without(left, (i for i, _ in found))
            right = _without(right, (j for _, j in found))
        return [*pairs, *self._by_likeness(left, right)]

    def _key(self, *, timed: bool) -> Callable[[Row], Row]:
        """Return what makes a row the observation it is."""
        if not self.long:
            return lambda row: row[:1]
        wanted = (*OBSERVED, *TIMES) if timed else OBSERVED
        places = [self.names.index(n) for n in wanted if n in self.names]
        run = self.names.index("run") if "run" in self.names else -1
        return lambda row: tuple((row[k] or "1") if k == run else row[k] for k in places)

    def _by_key(
        self, left: Iterable[int], right: Iterable[int], key: Callable[[Row], Row]
    ) -> list[tuple[int, int]]:
        """Pair rows with the same key, in order."""
        waiting: dict[Row, deque[int]] = defaultdict(deque)
        for i in left:
            waiting[key(self.old[i])].append(i)
        found = []
        for j in right:
            queue = waiting.get(key(self.new[j]))
            if queue:
                found.append((queue.popleft(), j))
        return found

    def _by_likeness(self, left: list[int], right: list[int]) -> list[tuple[int, int]]:
        """Pair rows that share at least half of their filled cells, the most alike first."""
        if len(left) * len(right) > MOST_COMPARED:
            lines = {self.old_lines[i]: i for i in left}
            tried = [(lines[n], j) for j in right if (n := self.new_lines[j]) in lines]
        else:
            tried = [(i, j) for i in left for j in right]
        scored = []
        for i, j in tried:
            filled = [(a, b) for a, b in zip(self.old[i], self.new[j], strict=True) if a or b]
            equal = sum(a == b for a, b in filled)
            if filled and 2 * equal >= len(filled):
                apart = abs(self.old_lines[i] - self.new_lines[j])
                scored.append((-equal / len(filled), apart, i, j))
        found: list[tuple[int, int]] = []
        used: set[tuple[str, int]] = set()
        for _, _, i, j in sorted(scored):
            if not used & {("old", i), ("new", j)}:
                found.append((i, j))
                used |= {("old", i), ("new", j)}
        return found

    def _cells(self, i: int, j: int) -> list[CellChange]:
        return [
            CellChange(
                kind="changed",
                file=self.file,
                line=self.new_lines[j],
                column=name,
                old=a,
                new=b,
                what=self._what(self.new[j]),
                **self._parts(self.new[j]),
            )
            for name, a, b in zip(self.names, self.old[i], self.new[j], strict=True)
            if a != b
        ]

    def _row(self, kind: str, row: Row, line: int) -> CellChange:
        text = ", ".join(f"{n} {c}" for n, c in zip(self.names, row, strict=True) if c)
        return CellChange(
            kind="added" if kind == "added" else "removed",
            file=self.file,
            line=line,
            column="",
            old=text if kind == "removed" else "",
            new=text if kind == "added" else "",
            what=self._what(row),
            **self._parts(row),
        )

    def _parts(self, row: Row) -> dict[str, str]:
        if not self.long:
            return {}
        found = dict(zip(self.names, row, strict=True))
        return {n: found.get(n, "") for n in ("event", "phase", "point", "device")}

    def _what(self, row: Row) -> str:
        if not self.long:
            return row[0]
        found = dict(zip(self.names, row, strict=True))
        run = found.get("run", "")
        parts = [found.get(n, "") for n in ("event", "phase", "point", "device")]
        parts.append(f"run {run}" if run not in ("", "1") else "")
        return " ".join(part for part in parts if part)


def _columns(table: RawTable) -> dict[str, pd.Series]:
    """Return the columns by their plain names where the table is a log."""
    if not is_long_form(table):
        return {str(name): table.frame[name] for name in table.frame.columns}
    found: dict[str, pd.Series] = {}
    for name in table.frame.columns:
        found.setdefault(plain_name(str(name)), table.frame[name])
    return found


def _codes(
    old: pd.Series | None, new: pd.Series | None, n_old: int, n_new: int
) -> tuple[tuple[NDArray[np.int64], NDArray[np.int64]], list[str]]:
    """Return one column of both tables as numbers of the same texts; absent = blank."""
    index: dict[str, int] = {"": 0}
    made = []
    for column, size in ((old, n_old), (new, n_new)):
        if column is None:
            made.append(np.zeros(size, dtype=np.int64))
            continue
        texts = [str(c).strip() for c in column.cat.categories]
        numbers = np.array([index.setdefault(t, len(index)) for t in texts], dtype=np.int64)
        made.append(numbers[column.cat.codes.to_numpy()])
    return (made[0], made[1]), list(index)


def _alike(old: NDArray[np.int64], new: NDArray[np.int64]) -> tuple[int, int]:
    """Return how many rows are equal from the top, and from the bottom among the rest."""
    size = min(len(old), len(new))
    differ = (old[:size] != new[:size]).any(axis=1)
    head = int(differ.argmax()) if differ.any() else size
    rest = size - head
    differ = (old[len(old) - rest :] != new[len(new) - rest :]).any(axis=1)[::-1]
    tail = int(differ.argmax()) if differ.any() else rest
    return head, tail


def _rows(codes: NDArray[np.int64], texts: tuple[list[str], ...]) -> list[Row]:
    columns = [np.array(names, dtype=object)[codes[:, k]].tolist() for k, names in enumerate(texts)]
    return list(zip(*columns, strict=True)) if len(codes) else []


def _without(rows: list[int], taken: Iterable[int]) -> list[int]:
    gone = set(taken)
    return [row for row in rows if row not in gone]
