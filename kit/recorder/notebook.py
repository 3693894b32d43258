"""The recorder in JupyterLab: buttons big enough for a thumb, the same journal.

A press does nothing but type for the operator: what goes to the recorder is the line that the
terminal would have got.

Browser and kernel talk in messages, and while one is on its way later states of a field wait for
it, but a press of a button or of Enter does not: it can be here before the last digit. So a line
counts by what it says, never by the message that it is finished: Enter puts a line end into the
text, nothing that was typed is cleared while somebody may be typing, and a button that takes the
text waits a moment for what may be on its way.
"""

from __future__ import annotations

import asyncio
import html
from contextlib import suppress
from typing import TYPE_CHECKING

import ipywidgets as widgets

from kit.recorder.recorder import Recorder, Reply, wall_clock
from kit.recorder.words import (
    HELP,
    device_cells,
    phase_line,
    prompt_line,
    time_line,
    whose_line,
)
from kit.safe_text import displayable

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime
    from pathlib import Path

__all__ = ["Panel", "open_panel"]

REFRESH_S = 5.0
GRACE_S = 0.5
"""Longer than a message takes from the browser to the kernel and back (s)."""

KEY_HEIGHT = "3.5rem"
HEADINGS = ("", "No.", "Device", "State", "Last", "At", "Does")

ACTIONS = (
    ("Off", "x", "The device is off: the one chosen above, else the next of the round"),
    ("Went off", "xx", "The device went off before my eyes"),
    ("Missed", "m", "No reading of the next device"),
    ("All on", "l", "Looked along the row: all that are not marked off are on"),
    ("Start phase", "s", "The next phase starts"),
    ("End phase", "e", "The phase ends"),
    ("Next turn", "w", "The turn or half is over and the next begins"),
    ("Read row", "r", "Read the row now"),
    ("Yes, keep", "y", "Keep what was questioned"),
    ("Undo", "u", "Withdraw the entry before"),
    ("Stop", "f", "The session is stopped: all that are not off are still on"),
)
"""Label, what it types, what it means."""

OF_A_DEVICE = ("x", "xx", "m")

# what changes has a fixed height: a button that moved under the thumb would be another one
STYLE = """<style>
.rundown-recorder button {font-size: 1.15rem; min-height: 3rem; white-space: normal;
  line-height: 1.2;}
.rundown-recorder .status {height: 5.6rem; overflow: auto; line-height: 1.4;}
.rundown-recorder .next {font-size: 1.5rem; font-weight: bold; border: 3px solid; padding: .3em;
  height: 6.2rem; overflow: auto; line-height: 1.3; overflow-wrap: anywhere;}
.rundown-recorder .reply {font-size: 1.15rem; line-height: 1.4; white-space: pre-wrap;
  height: 5rem; overflow: auto;}
.rundown-recorder table {font-size: 1.05rem; border-collapse: collapse;}
.rundown-recorder th, .rundown-recorder td {padding: .2em .6em; text-align: left;
  border-bottom: 1px solid;}
.rundown-recorder tr.first td {font-weight: bold;}
.rundown-recorder textarea {font-size: 1.3rem; height: 3rem !important; line-height: 2.8rem;
  padding: 0 .5rem; resize: none; overflow: hidden; white-space: pre;}
</style>"""

_open: dict[Path, Recorder] = {}


class Panel:
    """What is shown in the notebook for a `Recorder`."""

    def __init__(self, recorder: Recorder) -> None:
        self.recorder = recorder
        self.status = widgets.HTML()
        self.prompt = widgets.HTML()
        self.row = widgets.HTML()
        self.reply = widgets.HTML()
        self.entry = widgets.Textarea(
            placeholder="or type here, then Enter", rows=1, continuous_update=True,
            layout=widgets.Layout(width="100%", height="3.2rem"),
        )  # fmt: skip
        self.entry.observe(self._on_typed, "value")
        self._taken = ""
        self._writing = False
        self._by_keyboard = False
        self._waiting: list[Callable[[], None]] = []
        self.chosen = ""
        self.task: asyncio.Task[None] | None = None
        self.devices = {
            d.id: _button(f"{place} {displayable(d.label)}", self._chooser(d.id), "8.6rem")
            for place, d in enumerate(recorder.protocol.devices, start=1)
        }
        self.pad = {key: _button(key, self._typer(key), "30%") for key in "7894561230"}
        self.pad["⌫"] = _button("⌫", self.rub_out, "30%", "Take back the last digit")
        self.pad["Enter"] = _button("Enter", self.enter, "30%", "Save what was typed")
        self.actions = {
            label: _button(label, self._doer(text), "8rem", tip) for label, text, tip in ACTIONS
        }
        order = ["7", "8", "9", "4", "5", "6", "1", "2", "3", "⌫", "0", "Enter"]
        pad = widgets.Box([self.pad[k] for k in order], layout=_wrapped("21rem"))
        help_ = widgets.Accordion(
            children=[widgets.HTML(f"<pre>{html.escape(HELP)}</pre>")], titles=("All keys",)
        )
        self.box = widgets.VBox(
            [
                widgets.HTML(STYLE),
                self.status,
                self.prompt,
                self.reply,
                widgets.Box(list(self.devices.values()), layout=_wrapped("100%")),
                self.entry,
                pad,
                widgets.Box(list(self.actions.values()), layout=_wrapped("100%")),
                self.row,
                help_,
            ]
        )
        self.box.add_class("rundown-recorder")
        self.said = Reply(kind="told", text="\n".join(recorder.news) or "Ready.")
        self.refresh()

    def _repr_mimebundle_(self, **options: object) -> object:
        return self.box._repr_mimebundle_(**options)

    # ------------------------------------------------------------- typing

    @property
    def typed(self) -> str:
        """Return what stands in the line and was not taken yet."""
        return str(self.entry.value).removeprefix(self._taken).rstrip("\n")

    def _write(self, text: str) -> None:
        """Put text into the line, in place of all that stands there."""
        self._writing, self._taken, self._by_keyboard = True, "", False
        try:
            self.entry.value = text
        finally:
            self._writing = False

    def _on_typed(self, _: object) -> None:
        """Take every line that was ended; what was taken stays, above the line that is seen."""
        if self._writing:
            return
        self._by_keyboard = True
        value = str(self.entry.value)
        if not value.startswith(self._taken):
            self._lost_place(value)
            return
        lines = value[len(self._taken) :].split("\n")
        self._taken = value[: len(value) - len(lines[-1])]
        for line in lines[:-1]:
            self._run_waiting()
            if line.strip():
                self.submit(line.strip(), of_device=True)

    def _lost_place(self, value: str) -> None:
        """Take nothing of a text in which a line that was taken before has been changed."""
        self._taken = value
        if value.strip():
            text = "Nothing was entered: a line from before was changed. Type it again."
            self.said = Reply(kind="refused", text=text)
            self.refresh()

    # ------------------------------------------------------------ pressing

    def _press(self, act: Callable[[], None]) -> None:
        """Do what a button says, after what was typed before it has come."""
        if self._waiting:
            self._waiting.append(act)
            return
        if self._by_keyboard:
            with suppress(RuntimeError):  # no kernel: nothing is on its way
                asyncio.get_running_loop().call_later(GRACE_S, self._run_waiting)
                self._waiting.append(act)
                return
        act()

    def _run_waiting(self) -> None:
        waiting, self._waiting = self._waiting, []
        for act in waiting:
            act()

    def _typer(self, key: str) -> Callable[[], None]:
        return lambda: self._press(lambda: self._write(self.typed + key))

    def rub_out(self) -> None:
        """Take back the last character."""
        self._press(lambda: self._write(self.typed[:-1]))

    def _chooser(self, device: str) -> Callable[[], None]:
        def choose() -> None:
            self.chosen = "" if self.chosen == device else device
            self.refresh()

        return lambda: self._press(choose)

    def _doer(self, text: str) -> Callable[[], None]:
        def do() -> None:
            typed = self.typed.strip()
            of_device = text in OF_A_DEVICE
            words = [text, typed] if typed and (of_device or text == "y") else [text]
            self._write("")
            self.submit(" ".join(words), of_device=of_device)

        return lambda: self._press(do)

    def enter(self) -> None:
        """Save what was typed."""

        def do() -> None:
            typed = self.typed.strip()
            self._write("")
            if typed:
                self.submit(typed, of_device=True)

        self._press(do)

    def submit(self, text: str, *, of_device: bool = False) -> Reply:
        """Hand a line to the recorder, about the chosen device if there is one."""
        if of_device and self.chosen:
            text = f"{self.recorder.protocol.place(self.chosen)} {text}"
        self.said = self.recorder.submit(text)
        self.chosen = ""
        if self.said.kind == "quit":
            self.recorder.close()
        self.refresh()
        return self.said

    # ------------------------------------------------------------- showing

    def refresh(self) -> None:
        """Show everything anew."""
        here = self.recorder.here()
        protocol = self.recorder.protocol
        first = " · ".join(p for p in (f"{here.now:%H:%M}", phase_line(here), time_line(here)) if p)
        lines = [first, whose_line(here, protocol), displayable(protocol.title)]
        text = "<br>".join(html.escape(line) for line in lines if line)
        self.status.value = f'<div class="status">{text}</div>'
        prompt = prompt_line(here, protocol)
        if not self.recorder.lock.held:
            prompt = "Closed. Run the cell again to go on."
        self.prompt.value = f'<div class="next" role="status">{html.escape(prompt)}</div>'
        self.row.value = _table([device_cells(d, here) for d in here.devices])
        for name, button in self.devices.items():
            place, label = protocol.place(name), displayable(protocol.label(name))
            button.description = f"{place} {label}" + (" ✓ chosen" if name == self.chosen else "")
        said = f"{self.said.kind}: {self.said.text.removeprefix('saved: ')}"
        if self.recorder.log_problem:
            said += f"\nAttention: {self.recorder.log_problem}"
        entry = f'data-entry="{len(self.recorder.journal.entries)}"'
        self.reply.value = f'<div class="reply" role="status" {entry}>{html.escape(said)}</div>'

    async def keep_time(self) -> None:
        """Show the time left anew, again and again, until the recorder is closed."""
        while self.recorder.lock.held:
            await asyncio.sleep(REFRESH_S)
            self.refresh()


def _button(label: str, press: Callable[[], None], width: str, tip: str = "") -> widgets.Button:
    button = widgets.Button(
        description=label, tooltip=tip or label,
        layout=widgets.Layout(width=width, height=KEY_HEIGHT, margin="0.15rem"),
    )  # fmt: skip
    button.on_click(lambda _: press())
    return button


def _wrapped(width: str) -> widgets.Layout:
    return widgets.Layout(display="flex", flex_flow="row wrap", width="100%", max_width=width)


def _table(rows: Sequence[Sequence[str]]) -> str:
    head = "".join(f"<th scope='col'>{h}</th>" for h in HEADINGS)
    body = "".join(
        f"<tr{' class=first' if row[0] == '▶' else ''}>"
        + "".join(f"<td>{html.escape(cell)}</td>" for cell in row)
        + "</tr>"
        for row in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def open_panel(
    folder: str | Path,
    *,
    by: str = "",
    run: int = 0,
    take_over: bool = False,
    clock: Callable[[], datetime] = wall_clock,
) -> Panel:
    """Open the recorder of a session for the notebook, and keep its clock going.

    Run again, it closes the panel that this notebook had open and goes on where it was.

    Parameters
    ----------
    folder
        Folder of the session.
    run
        Number of the run; 0: the only one.

    Raises
    ------
    UsageError
        If another recorder runs, or there is no such session.
    """
    from pathlib import Path

    place = Path(folder).resolve()
    earlier = _open.pop(place, None)
    if earlier is not None:
        earlier.close()
    recorder = Recorder(folder, by=by, run=run or None, take_over=take_over, clock=clock)
    _open[place] = recorder
    panel = Panel(recorder)
    try:
        task = asyncio.get_running_loop().create_task(panel.keep_time())
    except RuntimeError:  # no kernel: nothing keeps the time
        return panel
    panel.task = task
    return panel
