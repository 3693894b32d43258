"""From the bytes of an XLSX or ODS file to grids of cells.

python-calamine reads the values; what it does not say (percent formats, errors, merged cells) comes
from the parts themselves, which also bound what it may lay out.
"""

from __future__ import annotations

import re
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING

from kit.importing.archive import RefusedError, repacked, unpacked
from kit.importing.grid import Grid
from kit.importing.sheet_facts import Facts

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kit.importing.grid import Value

__all__ = ["read_spreadsheet"]

ODS_SPAN = re.compile(
    r"(?P<sign>-?)PT?(?:(?P<h>[0-9]{1,6})H)?(?:(?P<m>[0-9]{1,6})M)?(?:(?P<s>[0-9]{1,6}(?:\.[0-9]*)?)S)?"
)
"""A length of time in an ODS file (ISO 8601 duration); more than a day comes as this text."""

ODS_TYPE = b"application/vnd.oasis.opendocument.spreadsheet"


def read_spreadsheet(data: bytes, file: str) -> list[Grid]:
    """Read every sheet of a spreadsheet file.

    Raises
    ------
    RefusedError
        If the file is broken, locked, too large, or no spreadsheet.
    """
    parts = unpacked(data)
    if "content.xml" in parts:
        from kit.importing.ods_parts import ods_1904, ods_facts

        if not parts.get("mimetype", ODS_TYPE).startswith(ODS_TYPE):
            raise _no_spreadsheet(what="an OpenDocument file of another kind")
        kind, facts, old = "ods", ods_facts(parts), ods_1904(parts)
    elif "xl/workbook.xml" in parts:
        from kit.importing.xlsx_parts import sheet_facts, uses_1904

        kind, facts, old = "xlsx", sheet_facts(parts), uses_1904(parts)
    else:
        raise _no_spreadsheet(what="an archive that holds no sheets")
    return _grids(parts, file, kind, facts, serials_1904=old)


def _no_spreadsheet(what: str) -> RefusedError:
    return RefusedError(
        rule="import-kind",
        found=what,
        expected="CSV, XLSX or ODS",
        remedy="Save the table in one of these formats.",
    )


def _grids(
    parts: Mapping[str, bytes],
    file: str,
    kind: str,
    facts: Mapping[str, Facts],
    *,
    serials_1904: bool,
) -> list[Grid]:
    from python_calamine import CalamineError, CalamineWorkbook, SheetVisibleEnum

    try:
        book = CalamineWorkbook.from_filelike(repacked(parts))
        grids = []
        for sheet in book.sheets_metadata:
            known = facts.get(sheet.name)
            if known is None:
                continue  # a chart or macro sheet has no cells
            rows = book.get_sheet_by_name(sheet.name).to_python(skip_empty_area=False)
            rows = _even(rows, known)
            grids.append(
                Grid(
                    file=file,
                    sheet=sheet.name,
                    kind="ods" if kind == "ods" else "xlsx",
                    rows=rows,
                    percent=frozenset(known.percent),
                    percent_sign=frozenset(known.percent_sign),
                    faults=_faults(rows, known),
                    merged=tuple(known.merged),
                    lines=list(range(1, len(rows) + 1)),
                    hidden=sheet.visible != SheetVisibleEnum.Visible,
                    hidden_rows=frozenset(known.hidden_rows),
                    hidden_columns=frozenset(known.hidden_columns),
                    serials_1904=serials_1904,
                )
            )
    except (CalamineError, OSError, ValueError) as error:
        raise RefusedError(
            rule="import-broken",
            found=f"a spreadsheet that cannot be read ({error})",
            expected="a whole XLSX or ODS file",
            remedy="Save the file again from a spreadsheet program, or as CSV.",
        ) from error
    return grids


def _faults(rows: list[list[Value]], known: Facts) -> dict[tuple[int, int], str]:
    """Return errors, and formulas of which no result is stored."""
    empty = {
        (r, c): "a formula whose result is not stored"
        for r, c in known.formulas
        if r < len(rows) and c < len(rows[r]) and rows[r][c] == ""
    }
    return {**empty, **known.faults}


def _even(rows: list[list[Value]], known: Facts) -> list[list[Value]]:
    """Return rows of one width that reach to the last cell with content, whole numbers floats."""
    width = max([known.last_column + 1, *map(len, rows[:1])])
    rows.extend([[] for _ in range(known.last_row + 1 - len(rows))])
    return [
        [_value(v) if v.__class__ not in (float, str) else v for v in row]
        + [""] * (width - len(row))
        for row in (_texts(r) for r in rows)
    ]


def _texts(row: list[Value]) -> list[Value]:
    return [_value(v) if isinstance(v, str) and v[:1] in ("-", "P") else v for v in row]


def _value(value: Value) -> Value:
    """Return a value with times rounded to the second; spreadsheets keep them as fractions."""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, time):
        seconds = value.hour * 3600 + value.minute * 60 + value.second + value.microsecond / 1e6
        whole = round(seconds)
        if whole == 86_400:
            return timedelta(days=1)
        return time(whole // 3600, whole // 60 % 60, whole % 60)
    if isinstance(value, datetime):
        return (value + timedelta(microseconds=500_000)).replace(microsecond=0)
    if isinstance(value, timedelta):
        return timedelta(seconds=round(value.total_seconds()))
    if isinstance(value, str):
        span = ODS_SPAN.fullmatch(value)
        if span and any(span[g] for g in "hms"):
            seconds = 3600 * int(span["h"] or 0) + 60 * int(span["m"] or 0) + float(span["s"] or 0)
            return timedelta(seconds=round(-seconds if span["sign"] else seconds))
        return value
    return value
