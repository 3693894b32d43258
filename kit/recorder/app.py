"""The recorder on a full screen, made with textual; readable in 80 × 24 characters.

From top to bottom: the clock and the phase, the next thing to do (large), the row of devices,
what was said to the last entry, the line to type in. The entry line always has the keyboard; no
other control has to be reached.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import App
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Input, Static

from kit.recorder.recorder import Reply
from kit.recorder.words import (
    phase_line,
    prompt_line,
    row_lines,
    time_line,
    whose_line,
)
from kit.safe_text import displayable

if TYPE_CHECKING:
    from textual.app import ComposeResult
    from textual.binding import BindingType

    from kit.recorder.recorder import Recorder
    from kit.recorder.state import Situation

__all__ = ["RecorderApp"]

MARKS = {"saved": "✓", "question": "?", "refused": "✗", "told": "·", "quit": "·"}
SHORT_HELP = "x off  m missed  s start  e end  w turn  l looked  u undo  ? all keys  q leave"
UNDER_HELP = ("phase", "turns", "next", "row", "reply")
"""What makes room for the keys."""


class RecorderApp(App[None]):
    """A window on a `Recorder`."""

    ENABLE_COMMAND_PALETTE = False
    CSS = """
    Screen { layout: vertical; }
    #clock { height: 1; text-style: bold; }
    #phase { height: auto; max-height: 2; text-style: bold; }
    #turns { height: auto; max-height: 2; }
    #next { height: auto; min-height: 3; max-height: 4; border: heavy $foreground;
            padding: 0 1; text-style: bold; }
    #row { height: 1fr; min-height: 4; }
    #help { height: 1fr; display: none; }
    #help.shown { display: block; }
    #reply { height: auto; min-height: 1; max-height: 4; }
    #problem { height: auto; max-height: 3; text-style: reverse; }
    #entry { height: 3; border: heavy $foreground; }
    #keys { height: 1; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [("ctrl+c", "leave", "leave")]

    def __init__(self, recorder: Recorder) -> None:
        super().__init__()
        self.recorder = recorder
        self.said = Reply(kind="told", text="\n".join(recorder.news) or "Ready.")
        self.drawn: object = None
        self.helping = False

    def compose(self) -> ComposeResult:
        """Make the parts of the screen."""
        with Vertical():
            yield Static(id="clock")
            yield Static(id="phase")
            yield Static(id="turns")
            yield Static(id="next")
            yield Static(id="row")
            yield Static(id="help")
            yield Static(id="problem")
            yield Static(id="reply")
            yield Input(id="entry", placeholder="type here, then Enter", select_on_focus=False)
            yield Static(SHORT_HELP, id="keys")

    def on_mount(self) -> None:
        """Fill the screen, and keep its clock going."""
        self.query_one("#entry", Input).focus()
        self.refresh_row()
        self.set_interval(1.0, self.tick)

    def show_text(self, name: str, text: str) -> None:
        """Show plain text; nothing in it is markup."""
        part = self.query_one(f"#{name}", Static)
        part.update(Content(text))
        part.display = bool(text) and not (self.helping and name in UNDER_HELP)

    def tick(self) -> None:
        """Show the time; the row too, when a walk begins or ends by the time alone."""
        here = self.refresh_clock()
        if _of_the_row(here) != self.drawn:
            self.refresh_row()

    def refresh_clock(self) -> Situation:
        """Show the time, and what follows from it."""
        here = self.recorder.here()
        title = displayable(self.recorder.protocol.title)
        by = f"   by {displayable(here.by)}" if here.by else ""
        self.show_text("clock", f"{here.now:%H:%M:%S}  {title}{by}")
        line = "   ".join(p for p in (phase_line(here), time_line(here)) if p)
        self.show_text("phase", line)
        self.show_text("turns", whose_line(here, self.recorder.protocol))
        self.show_text("next", prompt_line(here, self.recorder.protocol))
        return here

    def refresh_row(self) -> None:
        """Show everything anew."""
        here = self.refresh_clock()
        self.drawn = _of_the_row(here)
        row = self.query_one("#row", Static)
        lines = row_lines(here, width=row.size.width or 78, height=row.size.height or 8)
        row.update(Content("\n".join(lines)))
        problem = self.recorder.log_problem
        self.show_text("problem", f"! {problem}" if problem else "")

        self.show_text("reply", f"{MARKS[self.said.kind]} {self.said.text}")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Hand what was typed to the recorder."""
        text = event.value
        event.input.value = ""
        self.show_help("")
        if not text.strip():
            self.refresh_row()
            return
        reply = self.recorder.submit(text)
        if reply.kind == "quit":
            self.exit()
            return
        if reply.kind == "told":
            self.show_help(reply.text)
            return
        self.said = reply
        self.refresh_row()

    def show_help(self, text: str) -> None:
        """Show the keys in place of what lies between the phase and the entry line."""
        panel = self.query_one("#help", Static)
        panel.update(Content(text))
        panel.set_class(bool(text), "shown")
        self.helping = bool(text)
        for name in UNDER_HELP:
            self.query_one(f"#{name}").display = not text

    def on_resize(self) -> None:
        """Fit the row of devices to the new size."""
        self.call_after_refresh(self.refresh_row)

    def action_leave(self) -> None:
        """Leave; everything confirmed is on disk."""
        self.exit()


def _of_the_row(here: Situation) -> object:
    """Return what of a situation the marks of the row depend on."""
    return None if here.round is None else (here.round.phase, here.round.point, here.round.due)
