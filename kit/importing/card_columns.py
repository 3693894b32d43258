"""Which columns of a scorecard are devices, which say something else, which are left aside."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from kit.importing.grid import column_letters, tell
from kit.importing.percent import cleaned, percent_of
from kit.importing.setup_text import toml_string
from kit.importing.words import is_missed, is_off
from kit.read.cells import quoted
from kit.read.scorecard import HEADING_UNIT
from kit.safe_text import starts_formula

if TYPE_CHECKING:
    from kit.importing.layout import Table
    from kit.importing.mapping import Decisions
    from kit.importing.part import Part

__all__ = ["CHECKPOINT", "FREE", "CardColumns"]

FREE = ("note", "by", "evidence")
SHARED = ("phase", "date", "clock", "elapsed_min", "run", *FREE)
CHECKPOINT = "checkpoint"
CLOCK = re.compile(r"[0-9]{1,2}[:.h][0-9]{2}(?::[0-9]{2})?(?: ?[ap]\.?m\.?)?", re.IGNORECASE)


class CardColumns:
    """The columns of one scorecard; findings and what is left aside go to its part.

    Attributes
    ----------
    roles
        What a column says → its number.
    devices
        Number of a column → id of its device.
    """

    def __init__(self, table: Table, decisions: Decisions, part: Part) -> None:
        self.table, self.decisions, self.part = table, decisions, part
        self.grid = table.grid
        self.roles: dict[str, int] = {}
        self.devices: dict[int, str] = {}
        self._columns()

    def _columns(self) -> None:
        own = {c for c, _ in self.table.own_times.values()}
        said = [h.role for h in self.table.headings]
        pointed = CHECKPOINT not in said and "phase" in said and "point" in said
        named = CHECKPOINT in said or pointed
        for c, heading in enumerate(self.table.headings):
            role = "elapsed_min" if heading.role == "elapsed" else heading.role
            role = CHECKPOINT if pointed and role == "point" else role
            held = self._held(c)
            first = c == 0 and not (named or heading.decided) and role in ("", "phase", "device")
            if first and self._is_text(c):
                self.roles[CHECKPOINT] = c
            elif role in ("readings", "percent") or (not role and not heading.other and held):
                self._device(c, heading.text)
            elif c in own:
                pass
            elif role in (*SHARED, CHECKPOINT, "time") and role not in self.roles:
                self.roles[role] = c
            elif heading.text and any(self.table.text(i, c) for i in range(len(self.table.places))):
                what = "heading" if self.table.shape != "devices_in_rows" else "row"
                self.part.aside.append(f"{what} {quoted(heading.text)} ({self.spot(c)})")
            elif held:
                self._unnamed(c)
        if not self.devices and not self.part.findings:
            self.part.findings.append(
                tell(
                    self.grid,
                    "import-no-devices",
                    row=self.table.header_row,
                    found="headings without a column of percentages under them",
                    expected="a column of percentages for each device",
                    remedy="Name the row of the headings by file.header_row of the mapping file, "
                    "or the columns under [columns].",
                )
            )

    def spot(self, column: int) -> str:
        """Return where a column stands in the sheet, in words."""
        r, c = self.table.heads[column]
        if self.table.shape == "devices_in_rows":
            return f"row {self.grid.lines[r]}"
        return f"column {column_letters(c)}"

    def _held(self, column: int) -> bool:
        """Whether percentages, words for missing ones, or cells without a value stand there."""
        cells = [row[column] for row in self.table.places]
        filled = [p for p in cells if p in self.grid.faults or self.grid.rows[p[0]][p[1]] != ""]
        if filled and all(p in self.grid.faults for p in filled):
            return True
        for i in range(len(self.table.places)):
            place = self.table.places[i][column]
            cell = percent_of(self.table.value(i, column), times100=place in self.grid.percent)
            if cell.sort in ("percent", "bare") and 0 <= cell.value <= 100:
                return True
            if cell.sort == "word" and is_off(cell.text, self.decisions):
                return True
        return False

    def _is_text(self, column: int) -> bool:
        """Whether most cells of a column are words, and no words for readings."""
        texts = [self.table.text(i, column) for i in range(len(self.table.places))]
        words = [
            t for t in texts
            if percent_of(t).sort in ("word", "odd") and not is_missed(t, self.decisions)
        ]  # fmt: skip
        return 2 * len(words) > sum(1 for t in texts if t)

    def _device(self, column: int, text: str) -> None:
        name = self.decisions.device_called(text) or _without_unit(text)
        row, c = self.table.heads[column]
        if not name:
            self._unnamed(column)
        elif name in self.devices.values():
            self.part.findings.append(
                tell(
                    self.grid,
                    "import-device-twice",
                    row=row,
                    column=c,
                    expected="every device once",
                    remedy="Rename one of the two headings, or say by columns."
                    f'"{column_letters(c)}" = "ignore" that it is left aside.',
                    device=name,
                )
            )
        elif CLOCK.fullmatch(name) and not self.table.headings[column].decided:
            key = f"columns.{toml_string(self.table.headings[column].text)}"
            self.part.findings.append(
                tell(
                    self.grid,
                    "import-ambiguous",
                    row=row,
                    column=c,
                    expected="the name of a device; a time of day stands there",
                    remedy="Turn the table, so that each device has a column and the times stand "
                    f'in a column Clock. If it is a device, write {key} = "readings".',
                    decide=key,
                )
            )
        elif starts_formula(name):
            self.part.findings.append(
                tell(
                    self.grid,
                    "import-formula",
                    row=row,
                    column=c,
                    expected="the name of a device; a spreadsheet would take this for a formula",
                    remedy="Rename it in the file, or give the device a name of its own: "
                    '[devices.NAME] names = ["…"].',
                )
            )
        else:
            self.devices[column] = name
            self.part.devices.append(name)

    def _unnamed(self, column: int) -> None:
        row, c = self.table.heads[column]
        self.part.findings.append(
            tell(
                self.grid,
                "import-unnamed",
                row=row,
                column=c,
                expected="a heading over every column with percentages",
                remedy="Name the column in the file, or say by columns."
                f'"{column_letters(c)}" = "ignore" that it is left aside.',
            )
        )


def _without_unit(text: str) -> str:
    return HEADING_UNIT.sub("", cleaned(text)).strip()
