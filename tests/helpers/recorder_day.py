"""The sample day as it is typed into a recorder: (time by the clock, what is typed)."""

from __future__ import annotations

import shutil
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from kit.places import samples_folder

if TYPE_CHECKING:
    from collections.abc import Iterator

ZONE = ZoneInfo("Europe/London")
DATE = (2026, 5, 16)
HEADER = "event,phase,point,device,clock,soc_pct,order\n"


def _round(start: str, values: str) -> Iterator[tuple[str, str]]:
    """Type a round, twelve seconds for each device."""
    moment = datetime.strptime(start, "%H:%M").replace(second=5)
    for value in values.split(" | "):
        yield f"{moment:%H:%M:%S}", value
        moment += timedelta(seconds=12)


DAY: tuple[tuple[str, str], ...] = (
    ("07:59:30", "by Wren"),
    ("08:00:00", "s"),
    *_round("08:00", "100 | 100 | 100 | 100 | 100"),
    ("08:01:30", "c 20.5 > wall thermometer"),
    ("09:00:00", "e"),
    *_round("09:00", "91 | 90 | 90 | 92 | 91"),
    ("09:03:00", "s"),
    ("10:18:00", "e"),
    *_round("10:18", "71 | 76 | 71 | 68 | 73"),
    ("10:20:00", "1 c 35.2 > infrared thermometer"),
    ("10:20:20", "2 c 33.8"),
    ("10:21:00", "3 c 37.4"),
    ("10:21:20", "4 c 40,1"),
    ("10:22:00", "5 c 34.9"),
    ("10:23:00", "s"),
    ("11:23:00", "w"),
    *_round("11:23", "63 | 57 | 60 | 65 | 59"),
    ("12:23:00", "e"),
    *_round("12:23", "50 | 58 | 50 | 44 | 52"),
    ("12:25:00", "n meal break, all on the home screen"),
    ("12:35:00", "c 22"),
    ("12:36:00", "by Teal"),
    ("12:37:00", "s"),
    *_round("12:37", "50 | 42 | 48 | 56 | 48"),
    ("13:37:00", "e"),
    *_round("13:37", "39 | 48 | 38 | 31 | 40"),
    ("13:41:00", "s"),
    ("13:51:00", "w"),
    ("13:51:30", "1 c 37"),
    ("14:01:00", "w"),
    ("14:11:00", "w"),
    ("14:18:00", "w partly the call dropped"),
    ("14:18:20", "u"),
    ("14:18:30", "w end"),
    ("14:21:00", "w"),
    ("14:31:00", "w end"),
    ("14:41:00", "e"),
    *_round("14:41", "29 | 19 | 25 | 38 | 27"),
    ("14:44:00", "s"),
    ("15:49:00", "e"),
    *_round("15:49", "17 | 28 | 14 | m screen lock had come up | 18"),
    ("15:54:00", "r"),
    ("15:55:00", "s"),
    *_round("15:55", "18 | 7 | 13 | 28 | 16"),
    ("16:18:00", "l"),
    ("16:21:00", "4 x 3"),
    ("16:55:00", "e"),
    *_round("16:55", "4 | 17 | 0 | 5"),
    ("16:59:00", "3 x > between two phases"),
    ("17:00:00", "s"),
    ("17:20:00", "l"),
    ("17:23:00", "limpet x 1"),
    ("17:24:00", "whelk xx 2"),
    ("18:00:00", "e"),
    ("18:00:10", "8"),
    ("18:00:20", "f"),
    ("18:00:40", "c 23 > wall thermometer"),
    ("18:01:00", "v cam-1 10:02:00"),
)
"""Nothing in it is questioned."""


def moment(text: str) -> datetime:
    """Return a time of the day as a moment."""
    clock = datetime.strptime(text, "%H:%M:%S").time()
    return datetime(*DATE, clock.hour, clock.minute, clock.second, tzinfo=ZONE)


class SetClock:
    """A clock that shows what it is set to."""

    def __init__(self, text: str = "07:55:00") -> None:
        self.now = moment(text)

    def set(self, text: str) -> None:
        """Set the clock."""
        self.now = moment(text)

    def wait(self, minutes: float) -> None:
        """Move the clock on."""
        self.now += timedelta(minutes=minutes)

    def __call__(self) -> datetime:
        return self.now


def empty_day(folder: Path) -> Path:
    """Make the folder of the sample day with an empty log; return it."""
    folder.mkdir()
    shutil.copy(samples_folder() / "full-day" / "session.toml", folder)
    (folder / "log.csv").write_text(HEADER)
    return folder
