"""Which table is a log, and which of its columns are those of the schema."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.read.cells import Collector, nearest, quoted
from kit.read.table_schema import log_schema

if TYPE_CHECKING:
    from kit.read.csv_dialect import RawTable

__all__ = ["is_long_form", "known_columns", "plain_name"]


def is_long_form(table: RawTable) -> bool:
    """Whether the table has the columns of a log rather than those of a scorecard.

    A table without ``event`` but with two or more of the columns that only a log has is a log
    whose heading is wrong; one whose column ``event`` stands among devices is a scorecard.
    """
    names = {plain_name(str(c)) for c in table.frame.columns}
    known = names & set(log_schema().names)
    if "event" in names:
        return 2 * len(known) >= len(names)
    return len(names & {"device", "soc_pct", "point", "last_on"}) >= 2


def plain_name(name: str) -> str:
    """Return a heading in small letters with underscores, as the schema names columns."""
    return name.strip().casefold().replace(" ", "_").replace("-", "_")


def known_columns(table: RawTable, notes: Collector) -> pd.DataFrame:
    """Take the columns of the schema; tell those that are not of it."""
    known = log_schema().names
    heading = Collector(notes.file, np.array([table.header_line]))
    columns: dict[str, pd.Series] = {}
    for raw in map(str, table.frame.columns):
        name = raw if raw in known else plain_name(raw)
        if name not in known:
            likely = nearest(raw, [k for k in known if k not in table.frame.columns])
            heading.add(
                "column-unknown",
                row=0,
                column=raw,
                severity="note",
                found="a column that the kit does not know",
                expected=f"columns of a log: {', '.join(known)}",
                remedy="It is not read."
                + (f" Rename it if {quoted(likely)} was meant." if likely else ""),
            )
        elif name in columns:
            heading.add(
                "column-twice",
                row=0,
                column=raw,
                found=f"a second column {quoted(name)}",
                expected="every column once",
                remedy="Delete or rename one of them.",
            )
        else:
            if raw != name:
                heading.add(
                    "column-name",
                    row=0,
                    column=raw,
                    severity="note",
                    found=f"the name {quoted(raw)}",
                    expected=f"the name {quoted(name)}",
                    remedy=f"It was read as {quoted(name)}.",
                )
            columns[name] = table.frame[raw]
    notes.findings.extend(heading.findings)
    return pd.DataFrame(columns, index=table.frame.index)
