"""``corrections.csv``: who corrected which cell of a record, when, and why.

The file stands beside the log. It is only ever added to; nobody needs the kit to read it or to
write a row.
"""

from __future__ import annotations

import csv
import io
from dataclasses import astuple, dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING

from kit.errors import Finding, RecordError
from kit.read.record import CORRECTIONS_NAME

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.revise.changes import CellChange

__all__ = [
    "CORRECTIONS_NAME",
    "Correction",
    "corrections_of",
    "explaining",
    "net",
    "read_corrections",
    "row_text",
]


@dataclass(frozen=True, kw_only=True)
class Correction:
    """One row of ``corrections.csv``; all texts, as they stand there.

    Parameters
    ----------
    date, by
        Day (ISO) and name; empty if not recorded.
    file, line, column
        The cell, at the time of the correction.
    old, new
        What stood there and what stands there since.
    reason
        Why.
    """

    date: str
    by: str
    file: str
    line: str
    column: str
    old: str
    new: str
    reason: str


COLUMNS = tuple(field.name for field in fields(Correction))


def row_text(*rows: Correction, heading: bool) -> str:
    """Return rows as text of the file."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    if heading:
        writer.writerow(COLUMNS)
    writer.writerows(astuple(row) for row in rows)
    return stream.getvalue()


def read_corrections(data: bytes) -> tuple[Correction, ...]:
    r"""Return the rows of a file, in order; columns may stand in any order.

    Raises
    ------
    RecordError
        If it is no UTF-8 table with these columns; it names the line.

    Examples
    --------
    >>> read_corrections(b"line,new,reason\n4,87,misread\n")[0].reason
    'misread'
    """
    try:
        text = data.decode("utf-8-sig")
        reader = csv.DictReader(io.StringIO(text, newline=""), restval="", strict=True)
        rows = [{k: v for k, v in row.items() if k in COLUMNS} for row in reader]
        names = [name.strip() for name in reader.fieldnames or ()]
    except (UnicodeDecodeError, csv.Error) as error:
        raise RecordError([_unreadable(f"a file that cannot be read ({error})", 1)]) from error
    if rows and not {"line", "new"} <= set(names):
        raise RecordError([_unreadable(f"the columns {', '.join(names)}", 1)])
    return tuple(Correction(**{name: row.get(name, "") for name in COLUMNS}) for row in rows)


def _unreadable(found: str, line: int) -> Finding:
    return Finding(
        rule="corrections-file",
        severity="error",
        file=CORRECTIONS_NAME,
        line=line,
        found=found,
        expected=f"a CSV file in UTF-8 with the columns {', '.join(COLUMNS)}",
        remedy="Correct the file, or move it away and amend again.",
    )


def corrections_of(record: Path) -> tuple[Correction, ...]:
    """Return the corrections kept beside the log of a record; none without the file."""
    path = corrections_path(record)
    return read_corrections(path.read_bytes()) if path.is_file() else ()


def corrections_path(record: Path) -> Path:
    """Return where the corrections of a record are kept."""
    return (record if record.is_dir() else record.parent) / CORRECTIONS_NAME


def net(rows: Sequence[Correction]) -> tuple[Correction, ...]:
    """Return the corrections without those that were taken back.

    A correction that puts back what an earlier one of the same cell replaced cancels that one
    and all between them.

    Examples
    --------
    >>> one = Correction(date="", by="", file="log.csv", line="4", column="soc_pct", old="78",
    ...                  new="87", reason="misread")
    >>> from dataclasses import replace
    >>> net([one, replace(one, old="87", new="78", reason="it was right")])
    ()
    """
    kept: list[Correction] = []
    for row in rows:
        same = [k for k, other in enumerate(kept) if _cell(other) == _cell(row)]
        back = next((k for k in same if kept[k].old == row.new), None)
        if back is None:
            kept.append(row)
        else:
            gone = {k for k in same if k >= back}
            kept = [other for k, other in enumerate(kept) if k not in gone]
    return tuple(kept)


def _cell(row: Correction) -> tuple[str, str, str]:
    return (row.file, row.line, row.column)


def explaining(change: CellChange, rows: Sequence[Correction]) -> tuple[Correction, ...]:
    """Return the corrections that led from the old to the new text of a change, in order.

    They are the last chain of corrections of that cell that begins with the old text and ends
    with the new one. The line may differ where rows were added above; then the column and both
    texts decide.
    """
    same = [r for r in rows if _names(r, change)]
    at_line = [r for r in same if r.line.strip() == str(change.line)]
    return _chain(at_line, change) or _chain(same, change)


def _names(row: Correction, change: CellChange) -> bool:
    file = row.file.strip()
    return row.column.strip() == change.column and (not file or file == change.file)


def _chain(rows: Sequence[Correction], change: CellChange) -> tuple[Correction, ...]:
    """Return the last unbroken chain from the old to the new text."""
    ends = [k for k, row in enumerate(rows) if row.new.strip() == change.new]
    for end in reversed(ends):
        chain = [rows[end]]
        for row in reversed(rows[:end]):
            if chain[0].old.strip() == change.old:
                break
            if row.new == chain[0].old and row.line == chain[0].line:
                chain.insert(0, row)
        if chain[0].old.strip() == change.old:
            return tuple(chain)
    return ()
