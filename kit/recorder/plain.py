"""Recording at a plain prompt: one line asked, one line answered.

For screen readers, slow connections and terminals that can do nothing else. Nothing is drawn
over; every line stands by itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.recorder.words import device_cells, phase_line, prompt_line, time_line, whose_line

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from kit.recorder.recorder import Recorder

__all__ = ["run_plain", "status_lines"]


def status_lines(recorder: Recorder) -> Iterator[str]:
    """Yield where the day is, for reading aloud."""
    here = recorder.here()
    line = ". ".join(p for p in (phase_line(here), time_line(here)) if p)
    yield f"{here.now:%H:%M}  {line}"
    if whose := whose_line(here, recorder.protocol):
        yield whose
    if recorder.log_problem:
        yield f"Attention: {recorder.log_problem}"
    yield prompt_line(here, recorder.protocol)


def row_lines(recorder: Recorder) -> Iterator[str]:
    """Yield one line for each device."""
    here = recorder.here()
    for device in here.devices:
        _, place, label, state, soc, when, doing = device_cells(device, here)
        yield ", ".join(p for p in (f"{place} {label}", state, soc, when, doing) if p)


def run_plain(recorder: Recorder, *, ask: Callable[[str], str], say: Callable[[str], None]) -> None:
    """Ask and answer until the operator leaves or the input ends.

    Parameters
    ----------
    ask
        Shows a prompt and returns the line typed; raises ``EOFError`` at the end of the input.
    say
        Prints a line.
    """
    for line in (recorder.protocol.title, *recorder.news, *row_lines(recorder)):
        say(line)
    say("Type ? for the keys; an empty line says again where the day is.")
    while True:
        for line in status_lines(recorder):
            say(line)
        try:
            text = ask("> ")
        except (EOFError, KeyboardInterrupt):
            return
        if not text.strip():
            for line in row_lines(recorder):
                say(line)
            continue
        reply = recorder.submit(text)
        say(reply.text if reply.kind in ("saved", "told") else f"{reply.kind}: {reply.text}")
        if reply.kind == "quit":
            return
