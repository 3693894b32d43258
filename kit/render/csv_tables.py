"""The result tables as CSV: the values of ``results.json``, one file a table.

Numbers stand in full precision with a point; what could not be had is an empty cell. A text that
a spreadsheet would run as a formula gets an apostrophe in front (`kit.safe_text.csv_cell`);
``quoted-cells.txt`` beside the tables names each such cell, and is not there if there is none.
``results.json`` holds every value as it is.
"""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

from kit.safe_text import csv_cell, starts_formula

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

__all__ = ["QUOTED_CELLS", "csv_files"]

QUOTED_CELLS = "quoted-cells.txt"
_HEAD = (
    "These cells begin with a character that makes a spreadsheet run them as a formula. In the\n"
    "CSV files an apostrophe stands in front of each; results.json has them as they are.\n\n"
)


def csv_files(tables: Mapping[str, Mapping[str, Any]]) -> dict[str, str]:
    r"""Return file name → content for each table, and the list of quoted cells if there are any.

    Parameters
    ----------
    tables
        Name → ``{"columns": [...], "rows": [[...], ...]}``.

    Examples
    --------
    >>> files = csv_files({"runtimes": {"columns": ["device", "runtime_h"],
    ...                                 "rows": [["=1+1", 9.5], ["b", None]]}})
    >>> files["runtimes.csv"]
    "device,runtime_h\n'=1+1,9.5\nb,\n"
    >>> print(files["quoted-cells.txt"].splitlines()[-1])
    runtimes.csv, line 2, column device
    """
    files = {f"{name}.csv": _csv(table) for name, table in sorted(tables.items())}
    quoted = [place for name, table in sorted(tables.items()) for place in _quoted(name, table)]
    if quoted:
        files[QUOTED_CELLS] = _HEAD + "\n".join(quoted) + "\n"
    return files


def _csv(table: Mapping[str, Any]) -> str:
    """Return one table as CSV text."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([csv_cell(str(name)) for name in table["columns"]])
    writer.writerows([_cell(value) for value in row] for row in table["rows"])
    return out.getvalue()


def _cell(value: object) -> str:
    """Return one value as text."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    return csv_cell(str(value))


def _quoted(name: str, table: Mapping[str, Any]) -> Iterator[str]:
    """Yield where in a table cells got an apostrophe; lines as the CSV has them, header 1."""
    line = 2
    for row in table["rows"]:
        for column, value in zip(table["columns"], row, strict=True):
            if isinstance(value, str) and starts_formula(value):
                yield f"{name}.csv, line {line}, column {column}"
        line += 1 + sum(value.count("\n") for value in row if isinstance(value, str))
