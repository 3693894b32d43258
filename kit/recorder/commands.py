"""The command that records a session on the day."""

from __future__ import annotations

import sys
from pathlib import Path

import click

__all__ = ["record_command"]


@click.command("record")
@click.argument(
    "folder", type=click.Path(exists=True, file_okay=False, path_type=Path), metavar="FOLDER"
)
@click.option("--by", default="", metavar="NAME", help="Who reads; by NAME changes it later.")
@click.option("--run", type=click.IntRange(1, 1000), help="Which run, if there are several.")
@click.option("--plain", is_flag=True, help="A plain prompt, line by line (for screen readers).")
@click.option(
    "--take-over", is_flag=True,
    help="Record although a recorder on another computer has not signed off.",
)  # fmt: skip
def record_command(folder: Path, *, by: str, run: int | None, plain: bool, take_over: bool) -> None:
    """Keep the log of a session on the day: who is due, a few strokes each, saved at once."""
    from kit.recorder.recorder import Recorder

    with Recorder(folder, by=by, run=run, take_over=take_over) as recorder:
        if plain:
            from kit.recorder.plain import run_plain

            run_plain(recorder, ask=_ask, say=click.echo)
        else:
            from kit.recorder.app import RecorderApp

            RecorderApp(recorder).run()


def _ask(prompt: str) -> str:
    click.echo(prompt, nl=False)
    line = sys.stdin.readline()
    if not line:
        raise EOFError
    return line
