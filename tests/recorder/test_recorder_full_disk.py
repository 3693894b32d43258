"""A disk that is full at any single moment: every write, fsync, link and rename fails once."""

from __future__ import annotations

import contextlib
import errno
import os
from typing import TYPE_CHECKING, Any

import pytest

from kit.errors import RundownError
from kit.recorder.recorder import Recorder
from tests.helpers.recorder_day import SetClock, empty_day

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

TYPED = (
    ("08:00:00", "s"), ("08:00:10", "100"), ("08:00:20", "99"), ("08:00:30", "98"),
    ("08:00:40", "u"), ("08:00:50", "97"), ("08:01:00", "@ -1"), ("08:01:10", "mm"),
)  # fmt: skip
CALLS = ("write", "fsync", "link", "replace", "ftruncate")


class Disk:
    """Counts the calls that need room; those from ``first`` on fail, ``long`` of them."""

    def __init__(self, patch: pytest.MonkeyPatch, first: int, long: int) -> None:
        self.first, self.long, self.calls = first, long, 0
        for name in CALLS:
            patch.setattr(os, name, self.failing(name, getattr(os, name)))

    def failing(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*given: Any, **more: Any) -> Any:
            self.calls += 1
            if self.first <= self.calls < self.first + self.long:
                if name == "write":  # as full disks do: a part still fits
                    real(given[0], bytes(given[1])[: len(given[1]) // 2])
                raise OSError(errno.ENOSPC, "No space left on device")
            return real(*given, **more)

        return call


def record(folder: Path) -> None:
    """Type everything; what is refused, or cannot be opened, is tried again until it works."""
    clock = SetClock()
    recorder = None
    while recorder is None:
        with contextlib.suppress(RundownError):
            recorder = Recorder(folder, clock=clock)
    for at, text in TYPED:
        clock.set(at)
        while True:
            reply = recorder.submit(text)
            if reply.kind == "saved" or "saved after all" in reply.text:
                break
            assert "NOT SAVED" in reply.text
            assert "No space left" in reply.text
    recorder.close()


def result(folder: Path) -> bytes:
    """Return the log as the next recorder leaves it."""
    with Recorder(folder, clock=SetClock("09:00:00")):
        pass
    return (folder / "log.csv").read_bytes()


@pytest.mark.slow
@pytest.mark.parametrize("long", [1, 2, 3, 7])
def test_a_full_disk_at_any_moment_changes_nothing_in_the_end(tmp_path: Path, long: int) -> None:
    with pytest.MonkeyPatch.context() as patch:
        counted = Disk(patch, first=0, long=0)
        record(empty_day(tmp_path / "reference"))
    reference = result(tmp_path / "reference")
    assert reference.count(b"reading") == 5
    assert counted.calls > 40
    for first in range(1, counted.calls + 1):
        folder = empty_day(tmp_path / f"day-{first}")
        with pytest.MonkeyPatch.context() as patch:
            Disk(patch, first=first, long=long)
            record(folder)
        assert result(folder) == reference, first
