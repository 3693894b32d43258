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
from tests.helpers.files import ROOT
from tests.helpers.recorder_day import DAY, SetClock, empty_day

if TYPE_CHECKING:
    from collections.abc import Callable

    from kit.recorder.notebook import Panel

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
            panel.entry.value += f"{typed}\n"
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


# ------------------------------------------------------- typing in the browser


def typed_in_browser(panel: Panel, text: str) -> None:
    """Let the field say what it says in the browser."""
    panel.entry.set_state({"value": text})


def saved(panel: Panel) -> list[tuple[str, str]]:
    """Return device and percentage of the readings that were taken."""
    rows = panel.recorder.here().rows
    return [(r.get("device"), r.get("soc_pct")) for r in rows if r.get("event") == "reading"]


def test_what_is_typed_ahead_is_neither_lost_nor_taken_twice(tmp_path: Path) -> None:
    """States that wait for a message on its way come late, some never; each holds all before."""
    panel = open_panel(empty_day(tmp_path / "day"), clock=SetClock("08:00:00"))
    panel.submit("s")
    for text in ("1", "100\n", "100\n9", "100\n99\n98\n", "100\n99\n98\n9", "100\n99\n98\n97\n"):
        typed_in_browser(panel, text)
    row = panel.recorder.protocol.row
    assert saved(panel) == list(zip(row, ("100", "99", "98", "97"), strict=False))
    panel.recorder.close()


def test_a_line_from_before_that_is_changed_enters_nothing(tmp_path: Path) -> None:
    panel = open_panel(empty_day(tmp_path / "day"), clock=SetClock("08:00:00"))
    panel.submit("s")
    typed_in_browser(panel, "100\n")
    typed_in_browser(panel, "10\n")
    assert "refused: Nothing was entered" in panel.reply.value
    assert len(saved(panel)) == 1
    typed_in_browser(panel, "10\n98\n")
    assert [soc for _, soc in saved(panel)] == ["100", "98"]
    panel.pad["9"].click()  # the line is cleared of what was taken
    panel.pad["7"].click()
    assert panel.entry.value == "97"
    panel.pad["Enter"].click()
    assert [soc for _, soc in saved(panel)] == ["100", "98", "97"]
    panel.recorder.close()


def test_a_button_waits_for_the_last_digit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The press overtakes the state of the field, which waits for the message before it."""
    monkeypatch.setattr(notebook_module, "GRACE_S", 0.05)

    async def day() -> None:
        panel = open_panel(empty_day(tmp_path / "day"), clock=SetClock("08:00:00"))
        panel.submit("s")
        typed_in_browser(panel, "9")
        panel.pad["Enter"].click()
        panel.actions["Missed"].click()
        assert saved(panel) == []
        typed_in_browser(panel, "98")
        await asyncio.sleep(0.2)
        assert [soc for _, soc in saved(panel)] == ["98", ""]
        typed_in_browser(panel, "9")
        panel.pad["Enter"].click()
        typed_in_browser(panel, "97\n")  # Enter on the keyboard instead of waiting
        await asyncio.sleep(0.2)
        assert [soc for _, soc in saved(panel)][2:] == ["97"]
        panel.recorder.close()

    asyncio.run(day())


# ------------------------------------------------------------------ in a browser


LAB = (
    "--no-browser", "--allow-root", "--ip=127.0.0.1", "--ServerApp.terminals_enabled=False",
    "--LabApp.extension_manager=readonly", "--LabApp.news_url=None",
    "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
)  # fmt: skip
PATIENCE_S = 240.0
"""For each single step; a loaded computer is slow, not broken."""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


def eventually(done: Callable[[], bool], what: str, seconds: float = PATIENCE_S) -> None:
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


class Server:
    """A JupyterLab that shows one folder."""

    def __init__(self, work: Path, home: Path) -> None:
        self.port, self.token = free_port(), secrets.token_hex(16)
        self.base = f"http://127.0.0.1:{self.port}"
        self.log = home.with_name("server.log").open("wb")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "jupyterlab", *LAB, f"--port={self.port}",
             f"--IdentityProvider.token={self.token}", f"--ServerApp.root_dir={work}"],
            cwd=work, stdout=self.log, stderr=self.log,
            env={**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(home),
                 "JUPYTER_CONFIG_DIR": str(home / "config"), "IPYTHONDIR": str(home / "ipython")},
        )  # fmt: skip

    def ask(self, path: str, /, **body: object) -> Any:
        """Return what the server answers; ``None`` while it does not."""
        request = urllib.request.Request(
            f"{self.base}/api/{path}",
            data=json.dumps(body).encode() if body else None,
            headers={"Authorization": f"token {self.token}"},
        )
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:
                return json.loads(answer.read())
        except OSError:
            return None

    def start_kernel(self) -> None:
        """Start the notebook's kernel before its page is opened."""
        eventually(lambda: self.ask("status") is not None, "the server did not start")
        made = self.ask(
            "sessions", path="recorder.ipynb", name="recorder.ipynb", type="notebook",
            kernel={"name": "python3"},
        )  # fmt: skip
        assert made is not None

    def idle(self) -> bool:
        """Whether the kernel has nothing to do."""
        sessions = self.ask("sessions")
        return bool(sessions) and sessions[0]["kernel"]["execution_state"] == "idle"

    def stop(self) -> None:
        """End it."""
        self.process.terminate()
        try:
            self.process.wait(30)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self.log.close()


def open_in_browser(page: Any, server: Server) -> Any:
    """Open the notebook, run it, and return the recorder's panel."""
    page.set_default_timeout(PATIENCE_S * 1000)
    page.goto(f"{server.base}/doc/tree/recorder.ipynb?token={server.token}")
    page.locator(".jp-Notebook .jp-CodeCell").nth(1).wait_for()
    panel = page.locator(".rundown-recorder")
    limit = time.monotonic() + PATIENCE_S
    while not panel.count():  # a command given before the page knows its kernel does nothing
        assert time.monotonic() < limit, "the cells were not run"
        eventually(server.idle, "the kernel is busy")
        page.get_by_role("menuitem", name="Run", exact=True).click()
        page.get_by_role("menuitem", name="Run All Cells", exact=True).click()
        patience = time.monotonic() + 20
        while not panel.count() and time.monotonic() < patience:
            page.wait_for_timeout(100)
    eventually(server.idle, "the kernel is busy")
    return panel.first


@pytest.mark.system
@pytest.mark.slow
def test_the_day_in_jupyterlab_in_a_browser_gives_the_same_log(tmp_path: Path) -> None:
    sync_api = pytest.importorskip("playwright.sync_api")
    session = empty_day(tmp_path / "day")
    work = tmp_path / "work"
    work.mkdir()
    clock = tmp_path / "clock"
    clock.write_text("07:55:00")
    write_notebook(work, session, clock)
    journal = session / "journal.jsonl"
    server = Server(work, tmp_path / "home")
    try:
        server.start_kernel()
        with sync_api.sync_playwright() as play:
            browser = play.chromium.launch(
                executable_path="/usr/bin/chromium", args=["--no-sandbox"]
            )
            page = browser.new_page(viewport={"width": 1280, "height": 1800})
            panel = open_in_browser(page, server)
            page.set_viewport_size({"width": 430, "height": 1800})  # as wide as a phone
            entry = panel.locator("textarea")
            before = journal.read_bytes().count(b"\n")
            for count, (at, text) in enumerate(DAY, start=before + 1):
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
                    entry.click()
                    page.keyboard.type(f"{typed}\n")
                panel.locator(f".reply[data-entry='{count}']").wait_for()
                assert journal.read_bytes().count(b"\n") == count, f"{at} {text}"
            page.get_by_text("DONE: every device").wait_for()
            box = panel.locator("button", has_text=re.compile("^7$")).bounding_box()
            assert box is not None
            assert box["height"] >= 44
            assert box["width"] >= 44
            browser.close()
    finally:
        server.stop()
    assert (session / "log.csv").read_bytes() == log_without_window(tmp_path)
