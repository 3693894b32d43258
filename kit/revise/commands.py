"""Commands that correct, verify and watch; heavy imports stay inside them."""

from __future__ import annotations

import os
from datetime import date, datetime
from pathlib import Path

import click

from kit.console import count, printable, progress_line, shown
from kit.options import record_argument

__all__ = ["amend_command", "verify_command"]


@click.command("amend")
@record_argument
@click.option(
    "--line",
    type=click.IntRange(2),
    metavar="N",
    help="Line of the observation, as an editor counts.",
)
@click.option("--column", metavar="TEXT", help="Heading of the column.")
@click.option("--to", metavar="TEXT", help="What the cell is to hold; '' for a blank cell.")
@click.option(
    "--cell", "cells", multiple=True, metavar="LINE:COLUMN=VALUE",
    help="Several cells in one go, checked together, one reason for all; repeat it for each. "
    "Stands in for --line, --column and --to.",
)  # fmt: skip
@click.option("--reason", required=True, help="Why, in words for readers of the report.")
@click.option("--by", default="", help="Who corrects it.")
@click.option(
    "--on", type=click.DateTime(["%Y-%m-%d"]), default=None, metavar="DATE",
    help="Day of the correction  [default: today]",
)  # fmt: skip
def amend_command(
    record: Path,
    *,
    line: int | None,
    column: str | None,
    to: str | None,
    cells: tuple[str, ...],
    reason: str,
    by: str,
    on: datetime | None,
) -> None:
    """Correct cells of a log; note who, when and why in corrections.csv."""
    from kit.errors import UsageError
    from kit.revise.amend import Cell, amend_cells, cell_of, today

    wanted = [cell_of(text) for text in cells]
    if line is not None and column is not None and to is not None:
        wanted.insert(0, Cell(line=line, column=column, to=to))
    elif not wanted or any(part is not None for part in (line, column, to)):
        message = "name the cell with --line, --column and --to, all three, or with --cell"
        raise UsageError(message)
    day: date = on.date() if on is not None else today(os.environ)
    done = amend_cells(record, wanted, reason=reason, by=by, on=day)
    for row in done.corrections:
        place = f"{row.file}, line {row.line}, column {row.column}"
        click.echo(printable(f"{place}: {row.old or '(blank)'} → {row.new or '(blank)'}"))
    click.echo(f"The corrected record passes: {count(done.findings)}.")
    click.echo(f"  {'reason in':<14} {shown(done.log.with_name('corrections.csv'))}")
    click.echo(f"  {'log before':<14} {shown(done.kept)}")
    click.echo("Make the report again to see what moves.")


@click.command("verify")
@click.argument(
    "report", type=click.Path(exists=True, path_type=Path), metavar="REPORT.pdf|REPORT.html|FOLDER"
)
@click.option("--json", "as_json", is_flag=True, help="Print the differences as JSON.")
@click.option("-q", "--quiet", is_flag=True, help="Print nothing but differences.")
def verify_command(report: Path, *, as_json: bool, quiet: bool) -> None:
    """Work a report or comparison out anew from its data; name whatever does not follow."""
    import json
    from dataclasses import asdict

    from kit.errors import ExitCode
    from kit.revise.verify import verify

    with progress_line(quiet=quiet or as_json) as progress:
        done = verify(report, progress=progress)
    if as_json:
        made = {"follows": done.follows, "differences": [asdict(d) for d in done.differences]}
        click.echo(json.dumps(made, ensure_ascii=False, indent=2))
    else:
        for difference in done.differences:
            mark = "✗ differs" if difference.severity == "error" else "· note   "
            click.echo(f"{mark}  {printable(difference.sentence)}")
        if done.follows and not quiet:
            click.echo(f"Everything in {report.name} follows from the data inside it.")
        elif not done.follows:
            n = sum(d.severity == "error" for d in done.differences)
            places = "one place does" if n == 1 else f"{n} places do"
            click.echo(f"{report.name} does not follow from the data inside it: {places} not.")
    if not done.follows:
        raise SystemExit(ExitCode.RECORD)
