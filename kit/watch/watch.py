"""The loop of ``rundown watch``: look, wait until a save is complete, make a draft, say so."""

from __future__ import annotations

import gc
import json
import os
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from kit.errors import RundownError
from kit.revise.archive import FOLDER
from kit.revise.draft import draft_folder
from kit.revise.lock import alone_in
from kit.watch.files import RecordFiles
from kit.watch.settle import Settler

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from kit.render.report import Outputs
    from kit.results import Settings
    from kit.watch.settle import Stamp

__all__ = ["POLL_S", "Draft", "Events", "Watcher", "watch"]

LATER = ("kit.revise.compare", "kit.revise.headline")
"""Modules that only a draft with a revision before it needs."""

POLL_S = 0.05
"""So often the files are looked at (s)."""


@dataclass(frozen=True, kw_only=True)
class Draft:
    """What is said of one draft.

    Parameters
    ----------
    seconds
        From the moment a save was seen until the draft was in place.
    first
        Whether it is the first of this watch.
    lead
        The result in one sentence, as the page has it.
    lead_changed
        Whether that sentence is another than in the draft before.
    headline
        Whether the conclusion changed against the last kept revision; empty without one.
    """

    seconds: float
    first: bool
    lead: str
    lead_changed: bool
    headline: str


class Events(Protocol):
    """Where the loop says what happens."""

    def drafted(self, draft: Draft) -> None:
        """Say that a draft is in place."""

    def refused(self, error: RundownError) -> None:
        """Say that no draft could be made; the last one stays."""


class Watcher:
    """Decide at each look whether a draft is due; knows no clock and no kernel.

    Parameters
    ----------
    look
        Returns what is seen of the files at a time.
    make
        Makes the draft.
    lead
        Returns the result of the draft in one sentence.
    events
        Where it is said.
    clock
        Seconds on a clock that never goes back.
    """

    def __init__(
        self,
        *,
        look: Callable[[float], Mapping[str, Stamp]],
        make: Callable[[], Outputs],
        lead: Callable[[], str],
        events: Events,
        clock: Callable[[], float] = time.monotonic,
        settler: Settler | None = None,
    ) -> None:
        self._look = look
        self._make = make
        self._lead = lead
        self._events = events
        self._clock = clock
        self._settler = settler or Settler()
        self._made_of: dict[str, str] | None = None
        self._last: str | None = None

    def step(self) -> bool:
        """Look once; return whether a draft was made or refused."""
        now = self._clock()
        seen = self._look(now)
        if not self._settler.settled(now, seen):
            return False
        content = {name: stamp.digest for name, stamp in seen.items()}
        if content == self._made_of:
            return False
        first = self._last is None
        try:
            outputs = self._make()
        except RundownError as error:
            after = self._look(self._clock())
            if {name: stamp.digest for name, stamp in after.items()} == content:
                self._made_of = content  # it is so as it stands; the next save is the next chance
                self._events.refused(error)
            return True
        self._made_of = content
        lead = self._lead()
        changed = not first and lead != self._last
        self._last = lead
        self._events.drafted(
            Draft(
                seconds=self._clock() - (now if first else self._settler.began_at),
                first=first,
                lead=lead,
                lead_changed=changed,
                headline=outputs.headline,
            )
        )
        return True


def watch(
    record: Path,
    report: Path,
    *,
    settings: Settings,
    events: Events,
    wait: Callable[[float], bool],
) -> None:
    """Make drafts of a report as its record is edited, until it is to end.

    Parameters
    ----------
    record
        Folder of a session, or its log.
    report
        Folder of the report; it is not written to. Drafts go to `draft_folder` of it.
    settings
        Parameters of the analysis.
    events
        Where it is said what happens.
    wait
        Waits so many seconds between two looks, and returns whether that was the last one
        (`threading.Event.wait` does). A draft under way is finished first.

    Raises
    ------
    RenderError
        If another process watches this record.
    """
    from contextlib import closing

    from kit.render.report import PRELOAD, render_report
    from kit.render.warm import WarmKernel

    record, report = (Path(os.path.abspath(path)) for path in (record, report))  # noqa: PTH100
    draft = draft_folder(report)
    files = RecordFiles(record, report / FOLDER)
    with (
        alone_in(draft / "watch", doing="watching a record for drafts"),
        closing(WarmKernel(preload=(*PRELOAD, *LATER))) as kernel,
    ):

        def make() -> Outputs:
            return render_report(
                record,
                draft,
                settings=settings,
                keep="draft",
                archive=report / FOLDER,
                kernel=kernel,
            )

        def lead() -> str:
            results = json.loads((draft / "results.json").read_bytes())
            return str(next(iter(results["glance"]), ""))

        watcher = Watcher(look=files.look, make=make, lead=lead, events=events)
        frozen = False
        ended = wait(0.0)
        while not ended:
            if watcher.step():
                # while nobody waits, so that no collection falls into the next draft
                gc.collect()
                if not frozen:
                    gc.freeze()
                    frozen = True
            ended = wait(POLL_S)
