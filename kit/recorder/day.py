"""The rows of a run with their moments, and what can be looked up in them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from kit.recorder.moments import moment_of
from kit.recorder.rows import alive, effective_rows

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date, tzinfo

    from kit.recorder.journal import Entry
    from kit.recorder.rows import Row
    from kit.session import Device, Phase

__all__ = ["Day", "Protocol", "Span", "later"]


@dataclass(frozen=True, kw_only=True)
class Protocol:
    """What the setup file says, as far as recording needs it.

    Parameters
    ----------
    devices
        In row order.
    zone, zoned
        Zone of the times in the log, and whether the setup file names it.
    start
        Start of the run as planned; ``None`` if not stated.
    date
        Day of the run by the setup file; ``None`` if not stated.
    run
        Number of the run; ``None`` when the session has one run only.
    look_every_min
        How often to remind of looking along the row near empty (min), if the setup file says so.
    """

    title: str
    devices: tuple[Device, ...]
    phases: tuple[Phase, ...]
    zone: tzinfo
    zoned: bool = False
    start: datetime | None = None
    date: date | None = None
    run: int | None = None
    look_every_min: float | None = None

    @property
    def row(self) -> tuple[str, ...]:
        """Return the ids of the devices in row order."""
        return tuple(d.id for d in self.devices)

    def place(self, device: str) -> int:
        """Return the place of a device in the row, from 1."""
        return self.row.index(device) + 1

    def label(self, device: str) -> str:
        """Return what people call a device."""
        return next((d.label for d in self.devices if d.id == device), device)


@dataclass(frozen=True, kw_only=True)
class Span:
    """A phase that was begun."""

    phase: Phase
    start: datetime
    end: datetime | None


class Day:
    """All rows of the run with their moments, and what can be looked up in them."""

    def __init__(self, protocol: Protocol, entries: Sequence[Entry], now: datetime) -> None:
        self.protocol = protocol
        self.now = now
        self.entries = entries
        number = str(protocol.run or 1)
        self.rows = tuple(r for r in effective_rows(entries) if (r.get("run") or "1") == number)
        self.kept = alive(entries)
        self.moments = dict(self._moments())
        self.spans = tuple(self._spans())
        running = self.spans[-1] if self.spans and self.spans[-1].end is None else None
        self.running = running
        begun = [s.phase.id for s in self.spans]
        places = [i for i, p in enumerate(protocol.phases) if p.id in begun]
        after = protocol.phases[max(places, default=-1) + 1 :]
        self.following = after[0] if after else None
        self.ended = next((s for s in reversed(self.spans) if s.end is not None), None)

    def _moments(self) -> Iterator[tuple[str, datetime]]:
        last: datetime | None = None
        for row in self.rows:
            found = moment_of(row.cells, self.protocol.zone, last, self.protocol.start)
            if found is not None:
                last = found
                yield row.id, found

    def of(self, *events: str) -> Iterator[Row]:
        """Yield the rows of these events."""
        return (r for r in self.rows if r.get("event") in events)

    def at(self, row: Row) -> datetime | None:
        """Return when a row was."""
        return self.moments.get(row.id)

    def _spans(self) -> Iterator[Span]:
        found: dict[str, list[datetime | None]] = {}
        for row in self.of("phase_start", "phase_end"):
            moment = self.at(row)
            if moment is not None:
                ends = found.setdefault(row.get("phase"), [None, None])
                ends[row.get("event") == "phase_end"] = moment
        known = {p.id: p for p in self.protocol.phases}
        for name, (start, end) in found.items():
            if start is not None and name in known:
                yield Span(phase=known[name], start=start, end=end)

    def facts(self, name: str) -> Iterator[tuple[Entry, object]]:
        """Yield the entries that are not withdrawn and have this fact, with it."""
        for entry in self.entries:
            if entry.n in self.kept and name in entry.facts:
                yield entry, entry.facts[name]


def later(moment: datetime, minutes: float) -> datetime:
    """Return a moment so many real minutes later."""
    return (moment.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(moment.tzinfo)
