"""``rundown watch``; heavy imports stay inside it."""

from __future__ import annotations

import signal
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kit.console import printable, show_remarks, shown
from kit.options import analysis_options, default_out, record_argument

if TYPE_CHECKING:
    from threading import Event
    from types import FrameType

    from kit.errors import RundownError
    from kit.results import Settings
    from kit.watch.watch import Draft

__all__ = ["watch_command"]


@click.command("watch")
@record_argument
@click.option(
    "-o", "--out", type=click.Path(file_okay=False, path_type=Path), metavar="FOLDER",
    help="Where the report is, or will be; drafts go beside it, into FOLDER-draft  "
    "[default: as for 'report']",
)  # fmt: skip
@analysis_options
def watch_command(record: Path, *, out: Path | None, settings: Settings) -> None:
    """Make a draft of the report anew with every save of the log or setup file, until Ctrl-C.

    The report itself and its revisions stay as they are; 'rundown report' makes them.
    """
    from kit.revise.draft import draft_folder
    from kit.watch.watch import watch

    report = default_out(record) if out is None else out
    page = draft_folder(report) / "report.html"
    ended = _ended_by_signals()
    click.echo(f"Watching {shown(record)}; Ctrl-C ends. The draft is {shown(page)}")
    watch(record, report, settings=settings, events=_Lines(), wait=ended.wait)
    there = f"The draft is in {shown(page.parent)}. " if page.exists() else ""
    click.echo(f"Watching ended. {there}'rundown report' makes the report and keeps it.")


def _ended_by_signals() -> Event:
    """Return an event that Ctrl-C and a request to terminate set; a second one interrupts.

    An exception out of a signal's handler could come in the middle of an import or of another
    library's loop, which may swallow it or end the process by the signal.
    """
    from threading import Event

    ended = Event()

    def end(_number: int, _frame: FrameType | None) -> None:
        for other in (signal.SIGINT, signal.SIGTERM):
            signal.signal(other, signal.default_int_handler)
        ended.set()

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, end)
    return ended


class _Lines:
    """One line for each draft; findings for a record that does not pass."""

    def drafted(self, draft: Draft) -> None:
        """Say how long it took and whether the headline is another."""
        if draft.first:
            text = f"first draft in {draft.seconds:.1f} s; headline: {draft.lead}"
        elif draft.lead_changed:
            text = f"draft in {draft.seconds:.1f} s; the headline changed: {draft.lead}"
        else:
            text = f"draft in {draft.seconds:.1f} s; the headline is the same"
        if draft.headline:
            text += f" · {draft.headline.partition(':')[0].rstrip('.')}"
        click.echo(printable(f"{_now()}  {text}"))

    def refused(self, error: RundownError) -> None:
        """Say why there is no draft."""
        from kit.errors import RecordError

        if isinstance(error, RecordError):
            wrong = [f for f in error.findings if f.severity == "error"]
            show_remarks(tuple(wrong))
            n = "one error" if len(wrong) == 1 else f"{len(wrong)} errors"
            click.echo(f"{_now()}  no draft: the record has {n}; the last draft stays")
        else:
            click.echo(printable(f"{_now()}  no draft: {error}"))


def _now() -> str:
    from datetime import datetime

    return f"{datetime.now().astimezone():%H:%M:%S}"
