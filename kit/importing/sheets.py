"""Which sheets are read, with the cells that the mapping file decides, and which run each is."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from kit.errors import Finding, UsageError
from kit.importing.grid import Grid, at, column_letters, tell
from kit.importing.layout import Table, find_table
from kit.importing.percent import NUMBER as PLAIN_NUMBER
from kit.importing.setup_text import toml_string
from kit.read.cells import quoted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.importing.mapping import Decisions

__all__ = ["decided", "hidden_cells", "no_table", "runs_of", "tables_of", "unused_keys"]

RUN_NAME = re.compile(
    r"(?:run|replicate|rep|trial|round)[ _-]*#?0*([1-9][0-9]{0,2})", re.IGNORECASE
)
"""A sheet called so is that run."""

MOST_NAMED = 8
"""Hidden rows and columns that are named one by one."""


def decided(grid: Grid, decisions: Decisions) -> Grid:
    """Return a sheet with the cells that the mapping file decides."""
    cells = {
        cell: text for (sheet, cell), text in decisions.cells.items()
        if sheet in ("", grid.sheet)
    }  # fmt: skip
    if not cells:
        return grid
    rows = [list(r) for r in grid.rows]
    places = {at(grid, r, c): (r, c) for r in range(len(rows)) for c in range(grid.width)}
    faults, percent, sign = dict(grid.faults), set(grid.percent), set(grid.percent_sign)
    for cell, text in cells.items():
        if cell not in places:
            continue
        r, c = places[cell]
        faults.pop((r, c), None)
        percent.discard((r, c))
        sign.discard((r, c))
        rows[r][c] = text
        if PLAIN_NUMBER.fullmatch(text):
            rows[r][c] = float(text.replace(",", "."))
            sign.add((r, c))
    return replace(
        grid, rows=rows, faults=faults, percent=frozenset(percent), percent_sign=frozenset(sign)
    )


def unused_keys(grids: Sequence[Grid], decisions: Decisions) -> list[Finding]:
    """Tell keys of the mapping file that name a sheet or cell that is not there."""
    found = []
    sheets = {g.sheet for g in grids}
    for sheet, cell in decisions.cells:
        key = f"cells.{sheet}!{cell}" if sheet else f"cells.{cell}"
        there = [
            g for g in grids
            if sheet in ("", g.sheet)
            and any(at(g, r, c) == cell for r in range(len(g.rows)) for c in range(g.width)
                    if str(g.lines[r]) == cell.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ"))
        ]  # fmt: skip
        if not there:
            found.append(_key(decisions, key, f"no cell {cell}", "a cell of a file"))
        elif len(there) > 1:
            found.append(
                _key(decisions, key, f"a cell {cell} in several sheets", 'a key "SHEET!CELL"')
            )
    for sheet in decisions.by_sheet:
        if grids and sheet not in sheets:
            known = ", ".join(sorted(sheets))
            found.append(
                _key(decisions, f"sheets.{sheet}", f"no sheet {quoted(sheet)}", f"one of {known}")
            )
    return found


def _key(decisions: Decisions, key: str, found: str, expected: str) -> Finding:
    return Finding(
        rule="import-key",
        severity="error",
        file=decisions.source,
        line=decisions.lines.get(key),
        column=key,
        found=found,
        expected=expected,
        remedy="Correct the key or delete the line.",
    )


def tables_of(grids: Sequence[Grid], decisions: Decisions) -> tuple[list[Table], list[str]]:
    """Return the tables of readings, and the sheets that hold none or are not to be read."""
    names = {g.sheet for g in grids}
    for wanted in decisions.sheets:
        if grids and wanted not in names:
            message = f"there is no sheet {quoted(wanted)}; there are {', '.join(sorted(names))}"
            raise UsageError(message)
    tables, aside = [], []
    for grid in grids:
        if decisions.sheets and grid.sheet not in decisions.sheets:
            aside.append(f"{grid.name} (not asked for)")
            continue
        if grid.hidden and grid.sheet not in decisions.sheets:
            aside.append(f"{grid.name} (hidden; --sheet reads it)")
            continue
        table = find_table(grid, decisions)
        if table is None:
            aside.append(f"{grid.name} (no table of readings)")
        else:
            tables.append(table)
    return tables, aside


def hidden_cells(table: Table) -> list[Finding]:
    """Tell rows and columns with something in them that the program does not show."""
    grid = table.grid
    below = range(table.header_row, len(grid.rows))
    rows = [str(grid.lines[r]) for r in below if r in grid.hidden_rows
            and any(v != "" for v in grid.rows[r])]  # fmt: skip
    columns = [column_letters(c) for c in range(grid.width) if c in grid.hidden_columns
               and any(grid.rows[r][c] != "" for r in below)]  # fmt: skip
    told = [
        f"{kind if len(which) == 1 else kind + 's'} {', '.join(which[:MOST_NAMED])}"
        + (f" and {len(which) - MOST_NAMED} more" if len(which) > MOST_NAMED else "")
        for kind, which in (("row", rows), ("column", columns)) if which
    ]  # fmt: skip
    if not told:
        return []
    return [
        tell(
            grid,
            "import-hidden",
            severity="note",
            found=f"hidden, but with something in it: {' and '.join(told)}",
            expected="nothing hidden in a table that is read",
            remedy="It is read like the rest. If it does not belong to the session, delete it in "
            'the file, or leave it out by "ignore" under [columns] or [rows] of the mapping file.',
        )
    ]


def no_table(files: Sequence[str | Path]) -> Finding:
    """Return the finding that no sheet holds a table."""
    return Finding(
        rule="import-no-table",
        severity="error",
        file=Path(files[0]).name,
        found="no table of readings",
        expected="a row of headings with percentages under them",
        remedy="Name the row of the headings by header_row under [file] of a mapping file.",
    )


def runs_of(tables: Sequence[Table], decisions: Decisions) -> tuple[list[int], list[Finding]]:
    """Return the run of each table; several sheets must say it."""
    runs: list[int] = []
    findings: list[Finding] = []
    for table in tables:
        choice = decisions.by_sheet.get(table.grid.sheet)
        named = RUN_NAME.fullmatch(table.grid.sheet.strip())
        run = (choice.run if choice else None) or (int(named[1]) if named else None)
        has_column = any(h.role == "run" for h in table.headings)
        if run is None and len(tables) > 1 and not has_column:
            key = f"sheets.{toml_string(table.grid.sheet)}.run"
            findings.append(
                tell(
                    table.grid,
                    "import-ambiguous",
                    found="a table, one of several",
                    expected="which run it is; it could be another run, or more of the same",
                    remedy=f"Write {key} = 1 (2, …) in the mapping file.",
                    decide=key,
                )
            )
        runs.append(run or 1)
    return runs, findings
