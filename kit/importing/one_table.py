"""Tables of several sheets as one table that `kit.read` reads, each row with its origin."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.importing.device_log import DeviceLog, is_whole, read_device_log
from kit.importing.grid import Grid, tell
from kit.importing.long_list import read_list
from kit.importing.merge_logs import merge_logs
from kit.importing.scorecard import read_card
from kit.importing.sheets import runs_of
from kit.read.cells import quoted
from kit.read.csv_dialect import RawTable
from kit.read.table_schema import log_schema
from kit.safe_text import displayable, starts_formula

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from kit.errors import Finding
    from kit.importing.layout import Table
    from kit.importing.mapping import Decisions
    from kit.importing.part import Part
    from kit.read.setup_file import Setup

__all__ = ["IMPORT", "Locate", "from_logs", "from_tables"]

WIDE_FIRST = ("checkpoint", "phase", "run", "date", "clock", "elapsed_min")
WIDE_FREE = ("note", "by", "evidence")

IMPORT = "(import)"
"""Stands for the tables in findings until each is led back to its cell."""

Locate = Callable[[int, str], tuple[Grid, int, int | None] | None]
"""(row, column of the one table) → sheet, row and column from which it is."""


def from_tables(
    tables: Sequence[Table],
    decisions: Decisions,
    setup: Setup,
    findings: list[Finding],
) -> tuple[list[Part], RawTable, Locate]:
    """Return the sheets read as scorecards or lists, all rows as one table, and their origin."""
    runs, told = runs_of(tables, decisions)
    findings += told
    by_clock = any(r.start is not None for r in setup.runs)
    parts = [
        read_list(t, decisions, run, setup) if t.shape == "list"
        else read_card(t, decisions, run, by_clock=by_clock)
        for t, run in zip(tables, runs, strict=True)
    ]  # fmt: skip
    for part in parts:
        findings += part.findings
    if parts[0].family == "wide":
        devices = list(dict.fromkeys(d for p in parts for d in p.devices))
        names = [*WIDE_FIRST, *devices, *WIDE_FREE]
    else:
        names = list(log_schema().names)
    used = [n for n in names if any(n in p.columns for p in parts)]
    columns = {
        n: pd.Categorical([x for p in parts for x in p.columns.get(n, [""] * len(p))]) for n in used
    }
    ends = np.cumsum([len(p) for p in parts])
    starts = [0, *ends[:-1].tolist()]

    def origin(row: int, name: str) -> tuple[Grid, int, int | None] | None:
        which = int(np.searchsorted(ends, row, side="right"))
        place = parts[which].place(row - starts[which], name)
        return None if place is None else (parts[which].grid, *place)

    return parts, _raw(columns, int(ends[-1])), origin


def _raw(columns: Mapping[str, object], size: int) -> RawTable:
    return RawTable(
        file=IMPORT,
        frame=pd.DataFrame(dict(columns)),
        lines=np.arange(size, dtype=np.int64),
        header_line=-1,
        separator="\t",
    )


def from_logs(
    tables: Sequence[Table], decisions: Decisions, setup: Setup, findings: list[Finding]
) -> tuple[list[Part], RawTable, Locate, str]:
    """Return the logs of devices as one log, its origin, and its zone if they hold instants."""
    logs: list[DeviceLog] = []
    many = {t.grid.file: sum(o.grid.file == t.grid.file for o in tables) for t in tables}
    for table in tables:
        grid = table.grid
        if not is_whole(table):
            findings.append(_no_log(table))
            continue
        own = grid.sheet if many[grid.file] > 1 else Path(grid.file).stem
        known = [decisions.device_called(n) for n in (grid.sheet, grid.file, own)]
        device = next((k for k in known if k), displayable(own).strip())
        if starts_formula(device) or device in [o.device for o in logs]:
            findings.append(
                tell(
                    grid,
                    "import-device-twice" if not starts_formula(device) else "import-formula",
                    found=f"a log of the device {quoted(device)}",
                    expected="one log for each device, with a plain name",
                    remedy='Say whose log it is: [devices.NAME] names = ["name of the file"].',
                )
            )
        logs.append(read_device_log(table, decisions, device))
    if not logs:
        return [], _raw({}, 0), lambda row, name: None, ""
    merged = merge_logs(logs, decisions, setup.timezone)
    parts = [log.part for log in logs]
    for part in parts:
        findings += part.findings
    findings += merged.findings
    for log, part in zip(logs, parts, strict=True):
        ticks = int(np.sum((merged.columns["event"] == "tick")
                           & (merged.columns["device"] == log.device)))  # fmt: skip
        part.facts.append(("of these", f"{ticks} ticks, {log.soc.size - ticks} readings"))
    heads = [
        {h.role: c for c, h in reversed(list(enumerate(t.headings)))} for t in tables if is_whole(t)
    ]

    def origin(row: int, name: str) -> tuple[Grid, int, int | None] | None:
        which = int(merged.source[row])
        roles = heads[which]
        column = roles.get("percent") if name == "soc_pct" else next(
            (roles[r] for r in ("time", "clock", "elapsed") if r in roles), None
        )  # fmt: skip
        return logs[which].part.grid, int(merged.row[row]), column

    columns = {n: _categorical(v) for n, v in merged.columns.items()}
    size = merged.source.size
    return parts, _raw(columns, size), origin, merged.timezone


def _no_log(table: Table) -> Finding:
    return tell(
        table.grid,
        "import-no-log",
        row=table.header_row,
        found="headings without one for times and one for percentages",
        expected="the log of a device, with headings such as timestamp and battery",
        remedy='Say under [columns] which column is "time" and which is "percent".',
    )


def _categorical(values: NDArray[np.object_]) -> pd.Categorical:
    codes, texts = pd.factorize(values)
    return pd.Categorical.from_codes(codes, categories=pd.Index(texts, dtype=object))
