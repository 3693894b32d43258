"""The recorder notebook: its cells, its buttons, and the whole of it in a browser."""

from __future__ import annotations

import ast
import asyncio
import json
import os
import re
import secrets
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from kit.errors import UsageError
from kit.places import templates_folder
from kit.recorder import notebook as notebook_module
from kit.recorder.notebook import ACTIONS, KEY_HEIGHT, open_panel
from kit.recorder.recorder import Recorder
from tests.helpers.recorder_day import DAY, SetClock, empty_day

if TYPE_CHECKING:
    from collections.abc import Callable

    from kit.recorder.notebook import Panel

ROOT = Path(__file__).resolve().parents[2]
ALLOWED = (
    ast.Module, ast.Import, ast.ImportFrom, ast.alias, ast.Assign, ast.Expr, ast.Call, ast.Name,
    ast.Attribute, ast.Constant, ast.keyword, ast.Load, ast.Store,
)  # fmt: skip

BUTTONS = {
    "s": "Start phase", "e": "End phase", "w": "Next turn", "l": "All on", "r": "Read row",
    "f": "Stop", "u": "Undo",
}  # fmt: skip
"""What of the day is one press of a button."""


def presses(text: str) -> tuple[list[str], str]:
    """Return the buttons that say a line of the day, or the line to type."""
    if text in BUTTONS:
        return [BUTTONS[text]], ""
    if text.isdecimal():
        return [*text, "Enter"], ""
    found = re.fullmatch(r"(\d) x(?: (\d+))?", text)
    if found:
        return [f"device {found[1]}", *(found[2] or ""), "Off"], ""
    return [], text


def button(panel: Panel, name: str) -> Any:
    if name.startswith("device "):
        return list(panel.devices.values())[int(name[7:]) - 1]
    return panel.pad.get(name) or panel.actions[name]


def log_without_window(tmp_path: Path) -> bytes:
    folder = empty_day(tmp_path / "reference")
    clock = SetClock()
    with Recorder(folder, clock=clock) as recorder:
        for at, text in DAY:
            clock.set(at)
            assert recorder.submit(text).kind == "saved"
    return (folder / "log.csv").read_bytes()


def template() -> dict[str, Any]:
    text = (templates_folder() / "recorder.ipynb").read_text(encoding="utf-8")
    content: dict[str, Any] = json.loads(text)
    return content


def test_code_cells_hold_imports_assignments_and_calls_only() -> None:
    cells = [c for c in template()["cells"] if c["cell_type"] == "code"]
    for cell in cells:
        assert cell["outputs"] == []
        for node in ast.walk(ast.parse("".join(cell["source"]))):
            assert isinstance(node, ALLOWED), f"{cell['id']}: {type(node).__name__}"
    tagged = [c for c in cells if "parameters" in c["metadata"].get("tags", ())]
    assert len(tagged) == 1


def test_the_day_through_the_buttons_gives_the_same_log(tmp_path: Path) -> None:
    folder = empty_day(tmp_path / "day")
    clock = SetClock()
    panel = open_panel(folder, clock=clock)
    pressed = 0
    for at, text in DAY:
        clock.set(at)
        names, typed = presses(text)
        pressed += len(names)
        for name in names:
            button(panel, name).click()
        if typed:
            panel.entry.value = typed
            panel._on_message(panel.entry, {"event": "submit"}, [])
        assert panel.said.kind == "saved", (at, text, panel.said)
    panel.recorder.close()
    assert pressed > 150
    assert (folder / "log.csv").read_bytes() == log_without_window(tmp_path)


def test_what_the_panel_shows(tmp_path: Path) -> None:
    folder = empty_day(tmp_path / "day")
    path = folder / "session.toml"
    path.write_text(path.read_text().replace('label = "Limpet 10"', 'label = "<b>L"'))
    clock = SetClock("08:00:00")
    panel = open_panel(folder, clock=clock, by="Wren")
    assert "READ  1  &lt;b&gt;L" in panel.prompt.value
    assert "<td>&lt;b&gt;L</td>" in panel.row.value
    panel.actions["Start phase"].click()
    assert "1 h 00 min left, to 09:00" in panel.status.value
    panel.pad["9"].click()
    panel.pad["8"].click()
    panel.pad["⌫"].click()
    assert panel.entry.value == "9"
    panel.pad["Enter"].click()
    panel.pad["Enter"].click()  # nothing typed, nothing saved
    assert "saved: &lt;b&gt;L: 9 %" in panel.reply.value
    panel.entry.value = "1 12"
    panel.enter()
    assert "question: " in panel.reply.value
    panel.entry.value = "it was 19"
    panel.actions["Yes, keep"].click()
    assert panel.said.kind == "saved"
    panel.devices["kelpfin"].click()
    assert panel.devices["kelpfin"].description == "2 Kelpfin 11 ✓ chosen"
    panel.devices["kelpfin"].click()
    assert panel.chosen == ""
    panel.devices["whelk"].click()
    panel.entry.value = "97"
    panel.enter()
    assert panel.recorder.here().device("whelk").soc_pct == 97
    (folder / "log.csv").write_text("event\n")
    panel.actions["Missed"].click()
    assert "Attention: log.csv was changed by hand" in panel.reply.value
    bundle = panel._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in bundle  # type: ignore[operator]
    panel.entry.value = "q"
    panel.enter()
    assert "Closed. Run the cell again" in panel.prompt.value
    with Recorder(folder, clock=clock):
        pass  # the lock is free


def test_buttons_are_big_enough_for_a_thumb(tmp_path: Path) -> None:
    """At least 44 CSS pixels (WCAG 2.2, 2.5.5 target size, from memory); 1 rem is 16 of them."""
    panel = open_panel(empty_day(tmp_path / "day"), clock=SetClock())
    assert float(KEY_HEIGHT.removesuffix("rem")) * 16 >= 44
    for made in (*panel.pad.values(), *panel.devices.values(), *panel.actions.values()):
        assert made.layout.height == KEY_HEIGHT
        assert made.tooltip
    assert len(panel.actions) == len(ACTIONS)
    panel.recorder.close()


def test_running_the_cell_again_goes_on_and_others_are_refused(tmp_path: Path) -> None:
    folder = empty_day(tmp_path / "day")
    first = open_panel(folder, clock=SetClock("08:00:00"))
    first.actions["Start phase"].click()
    second = open_panel(folder, clock=SetClock("08:01:00"))
    assert not first.recorder.lock.held
    assert second.recorder.here().phase is not None
    with pytest.raises(UsageError, match="is being recorded already"):
        Recorder(folder, clock=SetClock())
    second.recorder.close()


def test_the_time_left_is_shown_anew_while_the_recorder_is_open(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(notebook_module, "REFRESH_S", 0.001)
    clock = SetClock("08:00:00")

    async def wait() -> None:
        panel = open_panel(empty_day(tmp_path / "day"), clock=clock)
        panel.actions["Start phase"].click()
        clock.set("08:30:00")
        for _ in range(1000):
            if "30 min left" in panel.status.value:
                break
            await asyncio.sleep(0.001)
        assert "30 min left" in panel.status.value
        panel.recorder.close()
        assert panel.task is not None
        await asyncio.wait_for(panel.task, 5)

    asyncio.run(wait())


# ------------------------------------------------------------------ in a browser


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


def eventually(done: Callable[[], bool], what: str, seconds: float = 60) -> None:
    limit = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < limit, what
        time.sleep(0.02)


def write_notebook(folder: Path, session: Path, clock: Path) -> None:
    """Write the template with this session and a clock that the test sets."""
    content = template()
    for cell in content["cells"]:
        source = "".join(cell["source"])
        if cell["id"] == "parameters":
            source = f"folder = {str(session)!r}\nby = ''\nrun = 0"
        if cell["id"] == "panel":
            source = source.replace("run=run)", f"run=run, clock=FileClock({str(clock)!r}))")
            source = f"from tests.helpers.recorder_clock import FileClock\n{source}"
        if cell["id"] == "close":
            continue
        cell["source"] = source
    content["cells"] = [c for c in content["cells"] if c["id"] != "close"]
    (folder / "recorder.ipynb").write_text(json.dumps(content), encoding="utf-8")


@pytest.mark.system
def test_the_day_in_jupyterlab_in_a_browser_gives_the_same_log(tmp_path: Path) -> None:
    sync_api = pytest.importorskip("playwright.sync_api")
    session = empty_day(tmp_path / "day")
    work = tmp_path / "work"
    work.mkdir()
    clock = tmp_path / "clock"
    clock.write_text("07:55:00")
    write_notebook(work, session, clock)
    port, token = free_port(), secrets.token_hex(16)
    home = tmp_path / "home"
    server = subprocess.Popen(
        [sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ip=127.0.0.1",
         f"--port={port}", f"--IdentityProvider.token={token}", f"--ServerApp.root_dir={work}"],
        cwd=work, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(home),
             "JUPYTER_CONFIG_DIR": str(home / "config"), "IPYTHONDIR": str(home / "ipython")},
    )  # fmt: skip
    base = f"http://127.0.0.1:{port}"

    def up() -> bool:
        try:
            with urllib.request.urlopen(f"{base}/api?token={token}", timeout=2) as answer:
                return bool(answer.status == 200)
        except OSError:
            return False

    journal = session / "journal.jsonl"
    try:
        eventually(up, "the server did not start")
        with sync_api.sync_playwright() as play:
            browser = play.chromium.launch(
                executable_path="/usr/bin/chromium", args=["--no-sandbox"]
            )
            page = browser.new_page(viewport={"width": 1280, "height": 1800})
            page.goto(f"{base}/doc/tree/recorder.ipynb?token={token}")
            page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=60_000)
            page.get_by_text("(ipykernel) | Idle").wait_for(timeout=60_000)
            page.get_by_role("menuitem", name="Run", exact=True).click()
            page.get_by_role("menuitem", name="Run All Cells", exact=True).click()
            page.wait_for_selector(".rundown-recorder .next", timeout=60_000)
            page.set_viewport_size({"width": 430, "height": 1800})  # as wide as a phone
            panel = page.locator(".rundown-recorder").first
            entry = panel.locator("input[type=text]")
            for count, (at, text) in enumerate(DAY, start=2):
                aside = clock.with_name("next")
                aside.write_text(at)
                aside.replace(clock)
                names, typed = presses(text)
                for name in names:
                    if name.startswith("device "):
                        panel.locator("button", has_text=re.compile(f"^{name[7:]} ")).click()
                        panel.locator("button", has_text="chosen").wait_for()
                    else:
                        panel.locator("button", has_text=re.compile(f"^{name}$")).click()
                if typed:
                    entry.fill(typed)
                    entry.press("Enter")
                eventually(
                    lambda lines=count: journal.read_bytes().count(b"\n") >= lines, f"{at} {text}"
                )
                # the line is empty again before the next is typed
                page.wait_for_function(
                    "() => document.querySelector('.rundown-recorder input[type=text]')"
                    ".value === ''"
                )
            page.wait_for_selector("text=DONE: every device")
            box = panel.locator("button", has_text=re.compile("^7$")).bounding_box()
            assert box is not None
            assert box["height"] >= 44
            assert box["width"] >= 44
            browser.close()
    finally:
        server.terminate()
        server.wait(20)
    assert (session / "log.csv").read_bytes() == log_without_window(tmp_path)
