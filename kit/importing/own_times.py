"""Times that a scorecard has for every single reading, beside its percentage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.importing.time_column import Convention, TimeReader
from kit.importing.times import DAY_S

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from kit.importing.layout import Table
    from kit.importing.times import TimeCell

__all__ = ["Line", "OwnTimes"]


@dataclass(frozen=True, kw_only=True)
class Line:
    """A row of a scorecard, or the part of it that was read at one time.

    Parameters
    ----------
    at
        Place of the row among those that are kept.
    devices
        Columns of the devices that belong to it; ``None``: all.
    time
        Their own time, as a log writes it; "": that of the row.
    day
        Whether the time says its date itself.
    """

    at: int
    devices: frozenset[int] | None = None
    time: str = ""
    day: bool = False


class OwnTimes:
    """The times beside the percentages of a sheet.

    Parameters
    ----------
    columns
        Column of the percentages of a device → column of the times beside them, and what its
        heading says of them.
    kept
        Rows of the table that are read.
    readings
        Which of them hold readings.
    known
        How the other times of the sheet count.
    days
        Run and day of every row that is kept.

    Attributes
    ----------
    convention
        How these times count; ``known`` if there are none.
    """

    def __init__(
        self,
        table: Table,
        times: TimeReader,
        columns: Mapping[int, tuple[int, str]],
        kept: Sequence[int],
        readings: Iterable[int],
        known: Convention,
        days: Sequence[str],
    ) -> None:
        self.columns, self.kept = columns, kept
        self.cells: dict[tuple[int, int], tuple[TimeCell, str]] = {}
        self.convention = known
        rows = list(readings)
        for device, (column, said) in columns.items():
            heading = table.headings[column]
            role = "clock" if known == "clock" and said == "time" else said
            places = [table.places[i][column] for i in rows]
            cells = times.cells(places, role, heading.unit)
            convention = times.convention(cells, role)
            if convention == "clock":
                day = dict(zip(kept, days, strict=True))
                cells = times.halves(places, cells, [day[i] for i in rows])
            texts = times.texts(places, cells, convention)
            if any(texts) and (known == "open" or self.convention == "open"):
                self.convention = convention
            for i, cell, text in zip(rows, cells, texts, strict=True):
                if text:
                    self.cells[i, device] = cell, text

    def clocks(self, device: int) -> dict[int, TimeCell]:
        """Return the times of one device, by the rows of the table."""
        return {i: cell for (i, d), (cell, _) in self.cells.items() if d == device}

    def lines(self, devices: Iterable[int]) -> list[Line]:
        """Return the rows, each divided into what was read at one time, the first time first."""
        devices = list(devices)
        lines: list[Line] = []
        for k, i in enumerate(self.kept):
            own = {d: self.cells[i, d] for d in devices if (i, d) in self.cells}
            if not own:
                lines.append(Line(at=k))
                continue
            if rest := frozenset(devices) - set(own):
                lines.append(Line(at=k, devices=rest))
            seconds = [cell.seconds for cell, _ in own.values()]
            late = max(seconds) - min(seconds) > DAY_S / 2  # the walk went on past midnight
            texts = sorted(
                {text: (c.seconds + DAY_S * (late and c.seconds < DAY_S / 2), c.day is not None)
                 for c, text in own.values()}.items(),
                key=lambda item: item[1][0],
            )  # fmt: skip
            lines += [
                Line(
                    at=k,
                    devices=frozenset(d for d, (_, t) in own.items() if t == text),
                    time=text,
                    day=day,
                )
                for text, (_, day) in texts
            ]
        return lines
