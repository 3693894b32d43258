"""What an XLSX file says of its cells besides their values: formats, errors, merged cells, bounds.

The parts are those of ISO/IEC 29500-1 (SpreadsheetML, from memory): ``xl/workbook.xml`` names the
sheets, ``xl/styles.xml`` the number formats, each worksheet holds cells ``c`` in rows ``row`` with
``r`` (reference), ``s`` (style), ``t`` (type), ``f`` (formula) and ``v`` (stored value).
"""

from __future__ import annotations

import posixpath
import re
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET
from xml.parsers import expat

from kit.importing.archive import RefusedError
from kit.importing.grid import CELL, column_letters, column_number
from kit.importing.sheet_facts import BoundsError, Facts, refuse_bounds

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["sheet_facts", "uses_1904"]

PERCENT_IDS = (b'numFmtId="9"', b'numFmtId="10"', b"%")
WORKBOOK = "xl/workbook.xml"
TRUE = ("1", "true")

QUOTED = re.compile(r'"[^"]*"|\\.|_.|\*.')
"""Literal text in a number format, an escaped character, a space as wide as one, a filler."""


def _local(tag: str) -> str:
    return tag.rpartition("}")[2]


def _tree(parts: Mapping[str, bytes], name: str) -> ET.Element:
    try:
        return ET.fromstring(parts[name])
    except (KeyError, ET.ParseError) as error:
        raise RefusedError(
            rule="import-broken",
            found=f"no readable part {name!r} ({error})",
            expected="a whole XLSX file",
            remedy="Save the file again.",
        ) from error


def uses_1904(parts: Mapping[str, bytes]) -> bool:
    """Return whether the day numbers of a workbook count from 1904."""
    for element in _tree(parts, WORKBOOK).iter():
        if _local(element.tag) == "workbookPr":
            return element.get("date1904", "0") in ("1", "true")
    return False


def sheet_facts(parts: Mapping[str, bytes]) -> dict[str, Facts]:
    """Return the facts of every worksheet, by its name.

    Raises
    ------
    RefusedError
        If a part is broken, or a sheet is too large to lay out.
    """
    times100, signs = _percent_styles(parts)
    found = {}
    for name, part in _sheet_parts(parts).items():
        if part in parts:
            found[name] = _scan(parts[part], name, times100, signs)
    return found


def _sheet_parts(parts: Mapping[str, bytes]) -> dict[str, str]:
    """Return the name of each sheet → the name of its part."""
    folder = posixpath.dirname(WORKBOOK)
    targets = {}
    for element in _tree(parts, "xl/_rels/workbook.xml.rels").iter():
        target = element.get("Target", "")
        whole = target.lstrip("/") if target.startswith("/") else posixpath.join(folder, target)
        targets[element.get("Id", "")] = posixpath.normpath(whole)
    sheets = {}
    for element in _tree(parts, WORKBOOK).iter():
        if _local(element.tag) == "sheet":
            key = next((v for k, v in element.attrib.items() if _local(k) == "id"), "")
            sheets[element.get("name", "")] = targets.get(key, "")
    return sheets


def _percent_styles(parts: Mapping[str, bytes]) -> tuple[frozenset[str], frozenset[str]]:
    """Return the styles whose format multiplies by a hundred, and those that only add a sign."""
    styles = parts.get("xl/styles.xml", b"")
    if not any(mark in styles for mark in PERCENT_IDS):
        return frozenset(), frozenset()
    from openpyxl.styles.numbers import BUILTIN_FORMATS

    custom: dict[str, str] = {}
    codes: list[str] = []
    for element in _tree(parts, "xl/styles.xml"):
        if _local(element.tag) == "numFmts":
            custom = {f.get("numFmtId", ""): f.get("formatCode", "") for f in element}
        elif _local(element.tag) == "cellXfs":
            used = [x.get("numFmtId", "0") for x in element]
            codes = [
                custom.get(i) or BUILTIN_FORMATS.get(int(i) if i.isdigit() else 0, "") for i in used
            ]
    kinds = [percent_kind(code) for code in codes]
    return (
        frozenset(str(i) for i, k in enumerate(kinds) if k == "times100"),
        frozenset(str(i) for i, k in enumerate(kinds) if k == "sign"),
    )


def percent_kind(code: str) -> str:
    r"""Return what a number format makes of a per cent sign.

    Examples
    --------
    >>> [percent_kind(c) for c in ("0%", "0.0 %", '0"%"', r"0\%", "0.00", "General")]
    ['times100', 'times100', 'sign', 'sign', '', '']
    """
    if "%" not in code:
        return ""
    return "times100" if "%" in QUOTED.sub("", code) else "sign"


def _scan(data: bytes, name: str, times100: frozenset[str], signs: frozenset[str]) -> Facts:
    """Walk through the cells of one worksheet."""
    walk = _Walk(times100, signs)
    parser = expat.ParserCreate()
    parser.StartElementHandler, parser.EndElementHandler = walk.start, walk.end
    try:
        parser.Parse(data, True)  # noqa: FBT003 - the parser's own signature
        walk.facts.check_density()
    except expat.ExpatError as error:
        raise RefusedError(
            rule="import-broken",
            found=f"a sheet {name!r} that cannot be read ({error})",
            expected="a whole XLSX file",
            remedy="Save the file again.",
        ) from error
    except BoundsError as error:
        raise refuse_bounds(name, f"{column_letters(error.column)}{error.row + 1}") from error
    return walk.facts


class _Walk:
    """Follows rows and cells through a worksheet."""

    def __init__(self, times100: frozenset[str], signs: frozenset[str]) -> None:
        self.times100, self.signs = times100, signs
        self.facts = Facts()
        self.row = self.column = -1
        self.style = self.kind = ""
        self.has_value = self.has_formula = False

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        if ":" in tag:
            tag = tag.rpartition(":")[2]
        if tag == "c":
            place = CELL.fullmatch(attributes.get("r", ""))
            if place:
                self.row, self.column = int(place[2]) - 1, column_number(place[1])
            else:
                self.column += 1
            self.style, self.kind = attributes.get("s", ""), attributes.get("t", "")
            self.has_value = self.has_formula = False
        elif tag in ("v", "t"):
            self.has_value = True
        elif tag == "f":
            self.has_formula = True
        elif tag == "row":
            number = attributes.get("r", "")
            self.row = int(number) - 1 if number.isdigit() else self.row + 1
            self.column = -1
            self.facts.hidden_rows |= {self.row} if attributes.get("hidden") in TRUE else set()
        elif tag == "col":
            self._columns(attributes)
        elif tag == "mergeCell":
            self._merge(attributes.get("ref", ""))

    def end(self, tag: str) -> None:
        if tag == "c" or tag.endswith(":c"):
            self._cell()

    def _cell(self) -> None:
        place = self.row, self.column
        if not (self.has_value or self.has_formula):
            return
        if self.has_formula and self.kind in ("", "n"):
            self.facts.formulas.add(place)
        if self.kind == "e":
            self.facts.faults[place] = "an error of the spreadsheet"
        elif self.kind in ("", "n"):
            if self.style in self.times100:
                self.facts.percent.add(place)
            elif self.style in self.signs:
                self.facts.percent_sign.add(place)
        self.facts.reach(*place)

    def _columns(self, attributes: dict[str, str]) -> None:
        first, last = attributes.get("min", ""), attributes.get("max", "")
        numbers = first.isdigit() and last.isdigit() and max(len(first), len(last)) < 9
        if numbers and attributes.get("hidden") in TRUE:
            self.facts.hide_columns(int(first) - 1, int(last) - 1)

    def _merge(self, ref: str) -> None:
        first, _, last = ref.partition(":")
        one, two = CELL.fullmatch(first), CELL.fullmatch(last)
        if one and two:
            self.facts.merged.append(
                (int(one[2]) - 1, column_number(one[1]), int(two[2]) - 1, column_number(two[1]))
            )
