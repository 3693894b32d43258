"""A clock for recorders in other processes: it shows the time that stands in a file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from tests.helpers.recorder_day import moment

if TYPE_CHECKING:
    from datetime import datetime

__all__ = ["FileClock"]


class FileClock:
    """A clock that another process sets."""

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)

    def __call__(self) -> datetime:
        return moment(self.path.read_text())


if __name__ == "__main__":
    import sys

    from kit.recorder.app import RecorderApp
    from kit.recorder.recorder import Recorder

    with Recorder(sys.argv[1], clock=FileClock(sys.argv[2])) as recorder:
        RecorderApp(recorder).run()
