"""What an ODS file says of its cells besides their values: percentages, errors, merges, bounds.

``content.xml`` of OpenDocument 1.2, part 1 (from memory): ``table:table`` holds rows and cells,
each of which may stand for many (``number-rows-repeated``, ``number-columns-repeated``);
``office:value-type`` is the type.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from xml.parsers import expat

from kit.importing.archive import RefusedError
from kit.importing.grid import column_letters
from kit.importing.sheet_facts import BoundsError, Facts, refuse_bounds

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["ods_1904", "ods_facts"]

CELLS = ("table-cell", "covered-table-cell")
HIDDEN = ("collapse", "filter")
OFFICE = "opendocument:xmlns:office:"
"""In the name space of the type; extensions have types of their own, among them errors."""

NULL_DATE = re.compile(rb"null-date[^>]{0,80}date-value=\"1904-01-01\"")


def ods_1904(parts: Mapping[str, bytes]) -> bool:
    """Return whether day numbers count from 1904."""
    return NULL_DATE.search(parts.get("content.xml", b"")) is not None


def ods_facts(parts: Mapping[str, bytes]) -> dict[str, Facts]:
    """Return the facts of every sheet, by its name.

    Raises
    ------
    RefusedError
        If the content is broken, or a sheet is too large to lay out.
    """
    if "content.xml" not in parts:
        raise RefusedError(
            rule="import-broken",
            found="no part 'content.xml'",
            expected="a whole ODS file",
            remedy="Save the file again.",
        )
    walk = _Walk()
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = walk.start
    parser.EndElementHandler = walk.end
    try:
        parser.Parse(parts["content.xml"], True)  # noqa: FBT003 - the parser's own signature
        for name, facts in walk.sheets.items():
            walk.name = name
            facts.check_density()
    except expat.ExpatError as error:
        raise RefusedError(
            rule="import-broken",
            found=f"content that cannot be read ({error})",
            expected="a whole ODS file",
            remedy="Save the file again.",
        ) from error
    except BoundsError as error:
        cell = f"{column_letters(error.column)}{error.row + 1}"
        raise refuse_bounds(walk.name, cell) from error
    return walk.sheets


class _Walk:
    """Follows rows and cells through the content."""

    def __init__(self) -> None:
        self.sheets: dict[str, Facts] = {}
        self.name = ""
        self.depth = 0
        self.row = self.column = 0
        self.described = 0
        self.hidden_row = False
        self.repeat_rows = 1
        self.cell: dict[str, str] = {}
        self.has_text = self.is_error = False

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        name = tag.rpartition(" ")[2]
        if name == "table":
            self.depth += 1
            if self.depth == 1:
                self.name = _of(attributes, "name")
                self.sheets[self.name] = Facts()
                self.row = self.described = 0
        elif name == "table-row" and self.depth == 1:
            self.column = 0
            self.repeat_rows = _count(attributes, "number-rows-repeated")
            if _of(attributes, "visibility") in HIDDEN:
                self.hidden_row = True
        elif name == "table-column" and self.depth == 1:
            last = self.described + _count(attributes, "number-columns-repeated")
            if _of(attributes, "visibility") in HIDDEN:
                self.sheets[self.name].hide_columns(self.described, last - 1)
            self.described = last
        elif name in CELLS and self.depth == 1:
            self.cell = {k.rpartition(" ")[2]: v for k, v in attributes.items()}
            kinds = {k: v for k, v in attributes.items() if k.endswith(" value-type")}
            self.is_error = "error" in kinds.values()
            self.cell["value-type"] = next((v for k, v in kinds.items() if OFFICE in k), "")
            self.has_text = False
        elif name == "p":
            self.has_text = True

    def end(self, tag: str) -> None:
        name = tag.rpartition(" ")[2]
        if name == "table":
            self.depth -= 1
        elif name == "table-row" and self.depth == 1:
            self.hidden_row = False
            self.row += self.repeat_rows
        elif name in CELLS and self.depth == 1:
            self._cell(_number(self.cell.get("number-columns-repeated", "")))

    def _cell(self, columns: int) -> None:
        kind = self.cell.get("value-type", "")
        facts = self.sheets[self.name]
        if kind or self.has_text:
            last = self.row + self.repeat_rows - 1, self.column + columns - 1
            facts.reach(*last, cells=self.repeat_rows * columns)
            if self.hidden_row:
                facts.hidden_rows.update(range(self.row, last[0] + 1))
            places = [
                (r, c)
                for r in range(self.row, self.row + self.repeat_rows)
                for c in range(self.column, self.column + columns)
            ] if kind == "percentage" or self.is_error else []  # fmt: skip
            if kind == "percentage":
                facts.percent.update(places)
            else:
                facts.faults.update(dict.fromkeys(places, "an error of the spreadsheet"))
        across = _number(self.cell.get("number-columns-spanned", ""))
        down = _number(self.cell.get("number-rows-spanned", ""))
        if across * down > 1:
            facts.merged.append(
                (self.row, self.column, self.row + down - 1, self.column + across - 1)
            )
        self.column += columns


def _of(attributes: Mapping[str, str], name: str) -> str:
    return next((v for k, v in attributes.items() if k.rpartition(" ")[2] == name), "")


def _count(attributes: Mapping[str, str], name: str) -> int:
    return _number(_of(attributes, name))


def _number(text: str) -> int:
    return int(text) if text.isdigit() and len(text) < 9 else 1
