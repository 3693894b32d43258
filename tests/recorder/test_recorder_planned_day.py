"""From the sample plan to a recorded day, with the mistakes that an operator makes."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from kit.checks import check_session
from kit.drain.off_times import off_times
from kit.places import samples_folder
from kit.plan.file import read_plan
from kit.plan.new_session import new_session
from kit.plan.rest_of_day import rest_of_day
from kit.read.record import read_record
from kit.recorder.recorder import Recorder

if TYPE_CHECKING:
    from pathlib import Path

ASKED = "asked"
DAY = (
    ("07:59:00", "c 20.5"),
    ("08:00:00", "100", "100", "100", "100", "100", "100"),
    ("08:02:00", "s"),
    ("08:22:10", "e", "97"),
    ("08:22:32", (ASKED, "960"), "96", "97", "m screen lock", "95", "96"),
    ("08:24:00", "s"),
    ("08:50:00", "3 t 90"),
    ("09:24:30", "e", "86", "87", "83", "85", "88", "87"),
    ("09:25:10", "u", "86"),
    ("09:31:00", "86", "88", "85", "83", "87", "86"),
    ("09:33:00", "s"),
    ("10:48:10", "e", "63", "71", "62", "69", "66", "65"),
    ("10:50:00", "s"),
    ("11:50:05", "w", "53", "50", "60", "51", "62", "53"),
    ("11:52:00", "w"),
    ("12:52:05", "e", "43", "52", "42", "50", "41", "42"),
    ("13:39:00", "41", "40", "50", "42", "52", (ASKED, "51"), "42"),
    ("13:41:00", "s"),
    ("14:41:05", "e", "31", "42", "31", "41", "32", "32"),
    ("14:43:00", "s"),
    ("14:53:00", "w"),
    ("14:57:00", (ASKED, "3 x 30"), "y the screen went black"),
    ("15:03:00", "w"),
    ("15:13:00", "w"),
    ("15:23:00", "w"),
    ("15:33:00", "w"),
    ("15:43:00", "e", "22", "24", "31", "33", "21"),
    ("15:45:00", "s"),
    ("16:50:05", "e", "11", "22", "10", "14", "12"),
    ("16:52:00", "s"),
    ("17:12:05", "e", "12", "14", "10", "22", "11"),
    ("17:14:00", "s"),
    ("17:16:00", "l"),
    ("17:20:00", "6 xx 1"),
    ("17:40:00", "r", "2", "14", "x", "9", "@ 17:39"),
    ("18:15:00", "1 x @ 18:05"),
    ("18:45:00", "5 x"),
    ("19:30:00", "e", "4", "f"),
    ("19:31:00", "c 22"),
)  # fmt: skip


class Clock:
    """A clock of the planned day."""

    now = datetime(2026, 6, 6, 7, 55, tzinfo=ZoneInfo("Europe/London"))

    def set(self, text: str) -> None:
        hour, minute, second = map(int, text.split(":"))
        self.now = self.now.replace(hour=hour, minute=minute, second=second)

    def __call__(self) -> datetime:
        return self.now


def record(folder: Path, until: str = "23:59:59") -> None:
    """Type the day up to a time, with a new recorder after every pause."""
    clock = Clock()
    for at, *texts in DAY:
        if at > until:
            return
        clock.set(at)
        with Recorder(folder, clock=clock, by="Wren") as recorder:
            for text in texts:
                wanted, typed = text if isinstance(text, tuple) else ("saved", text)
                kind = recorder.submit(typed).kind
                assert kind == ("question" if wanted == ASKED else wanted), (at, typed)


def folder_of_plan(tmp_path: Path) -> Path:
    plan, _ = read_plan(samples_folder() / "plan.toml")
    return new_session(plan, tmp_path / "day")


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of the whole day."""
    folder = folder_of_plan(tmp_path_factory.mktemp("planned"))
    record(folder)
    return folder


def test_a_planned_day_with_mistakes_is_a_record_that_passes(recorded: Path) -> None:
    session, met = read_record(recorded)
    findings = (*met, *check_session(session))
    assert [f.sentence for f in findings if f.severity == "error"] == []
    told = {f.rule for f in findings}
    assert not {"turns-not-as-planned", "turns-not-logged"} & told
    assert "died-before-turn" in told  # periwinkle
    calls = session.turns[session.turns["phase"] == "p5"].sort_values("start_min")
    # the place of periwinkle, 15:03 to 15:13, stays empty; minute 0 is 08:02
    assert list(zip(calls["device"], calls["start_min"], strict=True)) == [
        ("limpet", 401.0), ("kelpfin", 411.0), ("dunlin", 431.0), ("whelk", 441.0),
        ("turnstone", 451.0),
    ]  # fmt: skip
    halves = session.turns[session.turns["phase"] == "p3"]
    assert sorted(set(halves["duration_min"].round())) == [60.0]
    assert len(halves) == 12


def test_power_offs_are_known_as_far_as_somebody_looked(recorded: Path) -> None:
    """Minute 0 is 08:02. Periwinkle was read at 14:41:05 and found off at 14:57: 399.1 to 415, and
    so on; times to the second, so the bounds hold a second more."""
    session, _ = read_record(recorded)
    (times,) = off_times(session)
    bounds = dict(
        zip((d.id for d in session.devices), zip(times.low, times.high, strict=True), strict=True)
    )
    wanted = {
        "periwinkle": (399 + 5 / 60, 415.0),
        "turnstone": (557.0, 558.0),  # before my eyes at 17:20
        "dunlin": (554.0, 578.0),  # looked at 17:16, found off on the walk at 17:40
        "limpet": (578.0, 603.0),  # read at 17:40, off at 18:05, noted later
        "whelk": (577.0, 643.0),  # its reading was put at 17:39; off at 18:45
    }
    for device, (low, high) in wanted.items():
        assert abs(bounds[device][0] - low) <= 1.0, device
        assert abs(bounds[device][1] - high) <= 1.0, device


def test_the_day_is_foreseen_while_it_goes_on(tmp_path: Path) -> None:
    folder = folder_of_plan(tmp_path)
    record(folder, until="15:44:00")
    session, _ = read_record(folder)
    rest = rest_of_day(session)
    assert rest is not None
    assert [p.phase for p in rest.phases] == ["p6", "standby", "p8"]
    assert {e.device for e in rest.devices} == {"limpet", "kelpfin", "dunlin", "whelk", "turnstone"}
    record_end = {"turnstone": 557.5, "dunlin": 566.0, "limpet": 590.0, "whelk": 610.0}
    inside = [e.low_min <= record_end.get(e.device, 700.0) <= e.high_min for e in rest.devices]
    assert sum(inside) >= 3
