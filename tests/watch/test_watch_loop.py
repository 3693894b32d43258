"""When the loop makes a draft and what it says, with a clock and files that the test moves."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.errors import Finding, RecordError, RenderError, RundownError
from kit.render.report import Outputs
from kit.watch.settle import INCOMPLETE_S, STILL_S, Stamp
from kit.watch.watch import POLL_S, Watcher

if TYPE_CHECKING:
    from collections.abc import Callable

    from kit.watch.watch import Draft

RENDER_S = 1.5


class World:
    """Files, a clock, and a report that says what the log says."""

    def __init__(self) -> None:
        self.now = 0.0
        self.log = "Limpet"
        self.saves = 0
        self.said: list[Any] = []
        self.made = 0
        self.meanwhile: Callable[[], None] = lambda: None
        self.watcher = Watcher(
            look=self.look, make=self.make, lead=lambda: self.shown, events=self,
            clock=lambda: self.now,
        )  # fmt: skip
        self.shown = ""

    def look(self, _now: float) -> dict[str, Stamp]:
        if not self.log:
            return {"log.csv": Stamp()}
        return {"log.csv": Stamp(size=len(self.log), mtime_ns=self.saves, digest=self.log)}

    def make(self) -> Outputs:
        self.made += 1
        taken = self.log
        self.now += RENDER_S
        self.meanwhile()
        if self.log != taken:
            message = "The record changed while its report was being made. Run again."
            raise RenderError(message)
        if taken == "bad":
            raise RecordError([_finding()])
        self.shown = f"{taken} lasted longest."
        path = Path("x")
        return Outputs(
            notebook=path, html=path, pdf=path, results=path, tables=path, findings=(),
            revision=2, headline=f"The conclusion on {taken}.",
        )  # fmt: skip

    def save(self, log: str) -> None:
        self.log = log
        self.saves += 1

    def drafted(self, draft: Draft) -> None:
        self.said.append(draft)

    def refused(self, error: RundownError) -> None:
        self.said.append(error)

    def run(self, seconds: float) -> list[Any]:
        """Let time pass; return what was said meanwhile."""
        self.said = []
        end = self.now + seconds
        while self.now < end:
            self.watcher.step()
            self.now += POLL_S
        return self.said


def _finding() -> Finding:
    return Finding(
        rule="soc-range", severity="error", file="log.csv", line=4, column="soc_pct",
        found="'107'", expected="0 to 100", remedy="Correct it.",
    )  # fmt: skip


def test_a_draft_at_the_start_and_one_for_each_save() -> None:
    world = World()
    (first,) = world.run(5)
    assert (first.first, first.lead_changed, first.lead) == (True, False, "Limpet lasted longest.")
    assert first.headline == "The conclusion on Limpet."
    assert world.run(60) == []
    world.save("Dunlin")
    (second,) = world.run(5)
    assert (second.first, second.lead_changed) == (False, True)
    # seen at the first look, at rest a look or two later, then made: within two seconds
    assert RENDER_S + STILL_S <= second.seconds <= RENDER_S + STILL_S + POLL_S < 2.0
    world.save("Dunlin")
    assert world.run(5) == []
    assert world.made == 2


def test_many_saves_in_one_go_make_one_draft() -> None:
    world = World()
    world.run(5)
    for k in range(10):
        world.save(f"Whelk {k}")
        assert world.run(POLL_S) == []
    (draft,) = world.run(5)
    assert draft.lead == "Whelk 9 lasted longest."
    assert world.made == 2


def test_a_bad_record_is_told_once_and_the_next_save_is_the_next_chance() -> None:
    world = World()
    world.run(5)
    world.save("bad")
    (error,) = world.run(10)
    assert isinstance(error, RecordError)
    assert world.shown == "Limpet lasted longest."
    world.save("Limpet")
    (draft,) = world.run(5)
    assert (draft.lead_changed, draft.first) == (False, False)


def test_a_bad_record_at_the_start() -> None:
    world = World()
    world.save("bad")
    (error,) = world.run(5)
    assert isinstance(error, RecordError)
    world.save("Dunlin")
    (draft,) = world.run(5)
    assert draft.first


def test_a_save_while_a_draft_is_made_is_no_error_and_gets_its_own_draft() -> None:
    world = World()
    world.run(5)

    def again() -> None:
        world.meanwhile = lambda: None
        world.save("Kelpfin")

    world.meanwhile = again
    world.save("Dunlin")
    (draft,) = world.run(10)
    assert draft.lead == "Kelpfin lasted longest."


def test_a_file_that_is_away_for_a_moment_is_waited_for() -> None:
    world = World()
    world.run(5)
    world.save("")
    assert world.run(INCOMPLETE_S / 2) == []
    world.save("Dunlin")
    (draft,) = world.run(5)
    assert draft.lead == "Dunlin lasted longest."
    assert world.made == 2
