"""Short days typed into a journal in memory, minute by minute."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from kit.recorder.entries import Refused, confirmed, propose
from kit.recorder.journal import Entry
from kit.recorder.keys import parse
from kit.recorder.rows import effective_rows, last_alive
from kit.recorder.state import Protocol, Situation, situation
from kit.session import Device, Phase

if TYPE_CHECKING:
    from collections.abc import Mapping

START = datetime(2026, 5, 16, 8, 0, tzinfo=UTC)
ROW = tuple(Device(id=i, label=i.upper()) for i in ("a", "b", "c"))
PLAIN = (
    Phase(id="p1", label="One", activity="map", planned_min=60),
    Phase(id="p2", label="Two", activity="photo", planned_min=30),
)
CROSS = Phase(
    id="p1", label="Cross", kind="crossover", parts=("stream", "forms"), first_half=("a", "b"),
    planned_min=60,
)  # fmt: skip
TURNS = Phase(
    id="p1", label="Turns", kind="rotation", parts=("call", "guide"), turn_min=10, planned_min=40
)


class Day:
    """A journal in memory."""

    def __init__(self, *phases: Phase, **facts: object) -> None:
        self.protocol = Protocol(
            title="T", devices=ROW, phases=phases or PLAIN, zone=UTC, zoned=True, start=START,
            **facts,  # type: ignore[arg-type]  # fields of Protocol
        )  # fmt: skip
        self.entries: list[Entry] = []
        self.now = START

    @property
    def here(self) -> Situation:
        return situation(self.protocol, self.entries, self.now)

    def at(self, minute: float) -> Day:
        self.now = START + timedelta(minutes=minute)
        return self

    def put(self, kind: str, **said: object) -> None:
        self.entries.append(
            Entry(
                n=len(self.entries) + 1, at=self.now.isoformat(), kind=kind, **said  # type: ignore[arg-type]  # fields of Entry
            )
        )  # fmt: skip

    def type(self, *texts: str, yes: bool = False) -> tuple[str, ...]:
        """Type texts; return what was questioned in the last one."""
        questions: tuple[str, ...] = ()
        for text in texts:
            if text == "u":
                last = last_alive(self.entries)
                if last is None:
                    message = "nothing"
                    raise Refused(message)
                self.put("undo", facts={"of": last.n})
                continue
            made = propose(parse(text, self.protocol), self.here, self.protocol)
            questions = made.questions
            if questions and not yes:
                continue
            if questions:
                made = confirmed(made, "")
            self.put("enter", said=text, rows=made.rows, changes=made.changes, facts=made.facts)
        return questions

    def rows(self, *events: str) -> list[Mapping[str, str]]:
        return [r.cells for r in effective_rows(self.entries) if r.cells["event"] in events]

    def due(self) -> tuple[str, str, tuple[str, ...]] | None:
        walk = self.here.round
        return None if walk is None else (walk.phase, walk.point, walk.due)
