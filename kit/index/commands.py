"""The command that makes an index page; heavy imports stay inside it."""

from __future__ import annotations

from pathlib import Path

import click

from kit.console import printable, progress_line, shown
from kit.options import quiet_option

__all__ = ["index_command"]


@click.command("index")
@click.argument(
    "folders", type=click.Path(exists=True, file_okay=False, path_type=Path), metavar="FOLDER...",
    nargs=-1, required=True,
)  # fmt: skip
@click.option(
    "-o", "--out", type=click.Path(path_type=Path), metavar="FILE.html",
    help="Where the page goes  [default: index.html in the first FOLDER]",
)  # fmt: skip
@click.option("--title", default="Sessions", show_default=True, help="Heading of the page.")
@quiet_option
def index_command(folders: tuple[Path, ...], *, out: Path | None, title: str, quiet: bool) -> None:
    """Make one page over all sessions in the FOLDERs, to search, sort and open their reports.

    Reports are read as they are; nothing is computed anew. A record without a report, and a
    report that cannot be read, are listed with the reason.
    """
    from kit.index.page import tally
    from kit.index.write import write_index

    file = folders[0] / "index.html" if out is None else out
    with progress_line(quiet=quiet) as progress:
        entries = write_index(folders, file, title=title, progress=progress)
    if quiet:
        return
    for entry in entries:
        if entry.state == "unreadable":
            click.echo(f"! {printable(f'{entry.place}: {entry.headline}')}")
    told = ", ".join(f"{n} {name}" for name, n in tally(entries).items())
    click.echo(f"Sessions: {told}.")
    click.echo(f"  {'index':<14} {shown(file)}")
