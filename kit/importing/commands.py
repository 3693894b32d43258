"""The command that imports tables; heavy imports stay inside it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from kit.importing.mapping import Decisions

__all__ = ["import_command"]


@click.command("import")
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="FILE...",
)  # fmt: skip
@click.option(
    "--into", type=click.Path(file_okay=False, path_type=Path), metavar="FOLDER",
    help="Session folder to write; its session.toml is used if it has one.",
)  # fmt: skip
@click.option(
    "--mapping", type=click.Path(exists=True, dir_okay=False, path_type=Path), metavar="FILE.toml",
    help="Decides what the tables leave open; docs/importing.md has the keys.",
)  # fmt: skip
@click.option(
    "--sheet", "sheets", multiple=True, metavar="NAME",
    help="Read this sheet only; may be given several times.",
)  # fmt: skip
@click.option("--write", is_flag=True, help="Write the folder; without it this is a preview.")
@click.option("--json", "as_json", is_flag=True, help="Print the preview as JSON.")
def import_command(
    files: tuple[Path, ...],
    *,
    into: Path | None,
    mapping: Path | None,
    sheets: tuple[str, ...],
    write: bool,
    as_json: bool,
) -> None:
    """Show what tables hold (CSV, XLSX, ODS, logs of devices); with --write make a session of it.

    Nothing is guessed: a cell that could mean several things is listed, and nothing is written
    until a mapping file says which. Nothing that exists is overwritten.
    """
    import json

    from kit.console import shown
    from kit.errors import ExitCode, UsageError
    from kit.importing.gather import understand
    from kit.importing.preview import as_data, preview
    from kit.importing.write import refuse_taken, write_session

    if write and into is None:
        message = "--write needs a folder to write: --into FOLDER"
        raise UsageError(message)
    if write and into is not None:
        refuse_taken(into)
    imported = understand(files, _decisions(mapping, sheets), into=into)
    settled = imported.is_settled and imported.session is not None
    written = write_session(imported, into) if write and settled and into is not None else ()
    if as_json:
        data = as_data(imported) | {"written": [str(p) for p in written]}
        click.echo(json.dumps(data, ensure_ascii=False, indent=2))
    else:
        click.echo(preview(imported))
        for path in written:
            click.echo(f"  {shown(path)}")
        if not written and settled:
            click.echo("A preview: nothing was written. --into FOLDER --write makes the session.")
        elif not written:
            click.echo("Nothing was written. Correct the tables, or decide in a mapping file.")
    if not settled:
        raise SystemExit(ExitCode.RECORD)


def _decisions(mapping: Path | None, sheets: tuple[str, ...]) -> Decisions:
    """Return what the mapping file and the options decide."""
    from dataclasses import replace

    from kit.errors import RecordError
    from kit.importing.mapping import Decisions, read_mapping

    decisions = Decisions()
    if mapping is not None:
        decisions, findings = read_mapping(mapping.read_bytes(), mapping.name)
        if any(f.severity == "error" for f in findings):
            raise RecordError(findings, subject="mapping file")
    return replace(decisions, sheets=sheets) if sheets else decisions
