"""The full screen: by its own test driver, and in a real terminal."""

from __future__ import annotations

import asyncio
import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from textual.widgets import Input

from kit.recorder.app import RecorderApp
from kit.recorder.recorder import Recorder
from tests.helpers.files import ROOT
from tests.helpers.recorder_day import DAY, SetClock, empty_day

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from textual.pilot import Pilot


def reference_log(tmp_path: Path) -> bytes:
    """Return the log of the day as the recorder without any window makes it."""
    folder = empty_day(tmp_path / "reference")
    clock = SetClock()
    with Recorder(folder, clock=clock) as recorder:
        for at, text in DAY:
            clock.set(at)
            assert recorder.submit(text).kind == "saved"
    return (folder / "log.csv").read_bytes()


def screen(app: RecorderApp) -> list[str]:
    """Return what is on the screen, line by line."""
    return [
        "".join(segment.text for segment in strip).rstrip()
        for strip in app.screen._compositor.render_strips()
    ]


async def press(pilot: Pilot[None], text: str) -> None:
    """Press every key of a line, and Enter."""
    names = {" ": "space", "@": "at", ">": "greater_than_sign", ":": "colon", "?": "question_mark"}
    await pilot.press(*(names.get(key, key) for key in text), "enter")


async def play(app: RecorderApp, clock: SetClock, day: Sequence[tuple[str, str]]) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        for at, text in day:
            clock.set(at)
            app.query_one("#entry", Input).value = text
            await pilot.press("enter")
            assert app.said.kind == "saved", (at, text, app.said)


def test_the_day_through_the_screen_gives_the_same_log(tmp_path: Path) -> None:
    folder = empty_day(tmp_path / "day")
    clock = SetClock()
    with Recorder(folder, clock=clock) as recorder:
        asyncio.run(play(RecorderApp(recorder), clock, DAY))
    assert (folder / "log.csv").read_bytes() == reference_log(tmp_path)


def test_what_the_screen_shows_in_80_by_24(tmp_path: Path) -> None:
    folder = empty_day(tmp_path / "day")
    clock = SetClock()

    async def look(recorder: Recorder) -> None:
        app = RecorderApp(recorder)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            assert any("READ  1  Limpet 10   [start of p1, 1 of 5]" in s for s in screen(app))
            clock.set("08:00:00")
            for text in ("s", "100", "2 99"):
                await press(pilot, text)
            await pilot.pause()
            shown = screen(app)
            assert len(shown) == 24
            assert shown[0].startswith("08:00:00  Five field tablets")
            assert shown[1] == "p1  Map and tide table   1 h 00 min left, to 09:00"
            assert any("READ  3  Periwinkle 8" in s for s in shown)
            assert any(s.startswith("▶  3  Periwinkle 8") and "READ" in s for s in shown)
            assert any(s.startswith("   2  Kelpfin 11") and "99 %" in s for s in shown)
            assert any(s.startswith("✓ saved: Kelpfin 11: 99 %") for s in shown)
            await press(pilot, "107")
            await pilot.pause()
            assert any(s.startswith("? 107 is no percentage") for s in screen(app))
            await press(pilot, "?")
            await pilot.pause()
            shown = screen(app)
            assert any("the last entry was then" in s for s in shown)
            assert any("Any entry can end with" in s for s in shown)
            app.tick()  # the clock goes on, and the keys stay where they are
            await pilot.pause()
            assert any("Any entry can end with" in s for s in screen(app))
            assert not any("READ  3" in s for s in screen(app))
            await press(pilot, "")
            await pilot.pause()
            assert any(s.startswith("▶  3") for s in screen(app))
            (folder / "log.csv").write_text("event\n")
            await press(pilot, "98")
            await pilot.pause()
            assert any("! log.csv was changed by hand" in s for s in screen(app))
            await pilot.resize_terminal(60, 16)
            await pilot.pause()
            assert any(s.startswith("▶  4  Dunlin 9") for s in screen(app))
            await press(pilot, "q")
        assert app.return_code == 0

    with Recorder(folder, clock=clock) as recorder:
        asyncio.run(look(recorder))


def test_markup_in_a_label_or_note_is_text(tmp_path: Path) -> None:
    folder = empty_day(tmp_path / "day")
    path = folder / "session.toml"
    path.write_text(path.read_text().replace('label = "Limpet 10"', 'label = "[red]L[/] [x"'))
    clock = SetClock("08:00:00")

    async def look(recorder: Recorder) -> None:
        app = RecorderApp(recorder)
        async with app.run_test(size=(80, 24)) as pilot:
            app.query_one("#entry", Input).value = "n [bold]a[/nothing]"
            await pilot.press("enter")
            await pilot.pause()
            assert any("READ  1  [red]L[/] [x" in s for s in screen(app))
            await pilot.press("ctrl+c")

    with Recorder(folder, clock=clock) as recorder:
        asyncio.run(look(recorder))


if os.name == "posix":

    @pytest.mark.system
    def test_the_day_in_a_real_terminal_gives_the_same_log(tmp_path: Path) -> None:
        pexpect = pytest.importorskip("pexpect")
        pyte = pytest.importorskip("pyte")
        folder = empty_day(tmp_path / "day")
        clock = tmp_path / "clock"
        clock.write_text("07:55:00")
        child = pexpect.spawn(
            sys.executable,
            ["-m", "tests.helpers.recorder_clock", str(folder), str(clock)],
            cwd=str(ROOT), dimensions=(24, 80), encoding="utf-8", timeout=20,
            env={**os.environ, "TERM": "xterm-256color"},
        )  # fmt: skip
        shown = pyte.Screen(80, 24)
        stream = pyte.Stream(shown)

        def until(done: Callable[[], bool]) -> None:
            """Draw what the recorder writes until something is so."""
            limit = time.monotonic() + 20
            while not done():
                assert time.monotonic() < limit, "\n".join(shown.display)
                try:
                    stream.feed(child.read_nonblocking(65536, timeout=0.02))
                except pexpect.TIMEOUT:
                    continue

        def on_screen(words: str) -> Callable[[], bool]:
            return lambda: words in "\n".join(shown.display)

        until(on_screen("READ  1  Limpet 10"))
        journal = folder / "journal.jsonl"
        for count, (at, text) in enumerate(DAY, start=2):
            aside = clock.with_name("next")
            aside.write_text(at)
            aside.replace(clock)
            child.send(text + "\r")
            until(lambda lines=count: journal.read_bytes().count(b"\n") >= lines)
            if text == "4 x 3":
                until(on_screen("Dunlin 9: OFF at 16:21"))
        until(on_screen("DONE"))
        child.send("q\r")
        child.expect(pexpect.EOF)
        child.close()
        assert child.exitstatus == 0
        assert (folder / "log.csv").read_bytes() == reference_log(tmp_path)
