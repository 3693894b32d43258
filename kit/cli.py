"""The ``rundown`` command: parse, one library call, print, exit code.

Heavy imports stay inside the commands: ``rundown --help`` loads click and nothing else.
"""

from __future__ import annotations

import io
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from kit import __version__
from kit.batch.commands import batch_command
from kit.compare.commands import compare_command
from kit.console import count, progress_line, show_findings, show_remarks, shown
from kit.errors import ExitCode, RecordError, RundownError, in_order
from kit.importing.commands import import_command
from kit.index.commands import index_command
from kit.options import analysis_options, default_out, quiet_option, record_argument
from kit.recorder.commands import record_command
from kit.revise.commands import amend_command, verify_command
from kit.watch.commands import watch_command

if TYPE_CHECKING:
    from kit.errors import Finding
    from kit.results import Settings

__all__ = ["cli", "main"]


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="rundown")
def cli() -> None:
    """Plan and check side-by-side battery rundown sessions, and report what they show.

    Exit status: 0 done, 1 the record did not pass, 2 wrong use, 3 the notebook failed,
    4 an output could not be made or written.
    """


@cli.command()
@record_argument
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
def check(record: Path, *, as_json: bool) -> None:
    """Say what is wrong, doubtful or missing in a record; write nothing."""
    from kit.checks import check_session
    from kit.read.record import read_record

    findings: tuple[Finding, ...]
    try:
        session, met = read_record(record)
    except RecordError as error:
        findings = error.findings
    else:
        findings = in_order((*met, *check_session(session)))
    if as_json:
        import json

        click.echo(json.dumps([f.as_dict() for f in findings], ensure_ascii=False, indent=2))
    else:
        show_findings(findings)
    if any(f.severity == "error" for f in findings):
        raise SystemExit(ExitCode.RECORD)


@cli.command()
@record_argument
@click.option(
    "-o", "--out", type=click.Path(file_okay=False, path_type=Path), metavar="FOLDER",
    help="Where the report goes  [default: 'report' inside the record's folder, "
    "or NAME-report beside a single CSV]",
)  # fmt: skip
@analysis_options
@quiet_option
def report(
    record: Path,
    *,
    out: Path | None,
    settings: Settings,
    quiet: bool,
) -> None:
    """Make the report of a record: notebook, HTML, PDF, results.json and CSV tables."""
    from kit.render.report import render_report

    with progress_line(quiet=quiet) as progress:
        outputs = render_report(
            record, default_out(record) if out is None else out,
            settings=settings, progress=progress,
        )  # fmt: skip
    if not quiet:
        if outputs.findings:
            click.echo(f"The record passed with {count(outputs.findings)}; the report lists them.")
        for name, path in (
            ("report (HTML)", outputs.html),
            ("report (PDF)", outputs.pdf),
            ("notebook", outputs.notebook),
            ("results", outputs.results),
            ("tables (CSV)", outputs.tables),
        ):
            click.echo(f"  {name:<14} {shown(path)}")
        if outputs.headline:
            click.echo(f"Revision {outputs.revision}, corrected. {outputs.headline}")


plan_argument = click.argument(
    "plan_file", type=click.Path(exists=True, dir_okay=False, path_type=Path), metavar="PLAN"
)


@cli.command()
@plan_argument
def plan(plan_file: Path) -> None:
    """Show the day of a plan: timetable, fair turns, expected power-offs, what it can decide."""
    from kit.plan.file import read_plan
    from kit.plan.text import plan_text

    planned, findings = read_plan(plan_file)
    click.echo(plan_text(planned))
    if findings:
        click.echo("")
        show_remarks(findings)


@cli.command()
@plan_argument
@click.option(
    "-o", "--out", type=click.Path(file_okay=False, path_type=Path), metavar="FOLDER",
    help="Where the sheet goes  [default: NAME-sheet beside the plan]",
)  # fmt: skip
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True,
    help="Paper of the PDF.",
)  # fmt: skip
@quiet_option
def sheet(plan_file: Path, *, out: Path | None, paper: str, quiet: bool) -> None:
    """Make the run sheet of a plan (HTML and PDF): checks, timetable, scorecard, power-offs."""
    from kit.render.sheet import render_run_sheet

    folder = plan_file.with_name(f"{plan_file.stem}-sheet") if out is None else out
    size: Literal["a4", "letter"] = "letter" if paper == "letter" else "a4"
    with progress_line(quiet=quiet) as progress:
        made = render_run_sheet(plan_file, folder, paper=size, progress=progress)
    if not quiet:
        for name, path in (("sheet (HTML)", made.html), ("sheet (PDF)", made.pdf)):
            click.echo(f"  {name:<14} {shown(path)}")


@cli.command()
@plan_argument
@click.argument("folder", type=click.Path(path_type=Path), metavar="FOLDER")
def new(plan_file: Path, folder: Path) -> None:
    """Make FOLDER for the session of a plan: setup file and empty log; overwrite nothing."""
    from kit.plan.file import read_plan
    from kit.plan.new_session import new_session

    planned, _ = read_plan(plan_file)
    made = new_session(planned, folder)
    for name in ("session.toml", "log.csv"):
        click.echo(f"  {shown(made / name)}")
    click.echo(f"On the day: rundown record {shown(made)}")


@cli.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path), metavar="FOLDER")
def samples(folder: Path) -> None:
    """Copy the sample sessions into FOLDER, to try things on; overwrite nothing."""
    from kit.places import copy_samples

    for copied in copy_samples(folder):
        click.echo(f"  {shown(copied)}")


cli.add_command(amend_command)
cli.add_command(verify_command)
cli.add_command(watch_command)
cli.add_command(record_command)
cli.add_command(import_command)
cli.add_command(index_command)
cli.add_command(batch_command)
cli.add_command(compare_command)


def main() -> None:
    """Run the command line; every error a user can meet ends in words, not in a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a console of another encoding must not stop it
            stream.reconfigure(errors="replace")
    try:
        cli.main(standalone_mode=True)
    except RecordError as error:
        show_findings(error.findings, subject=error.subject)
        sys.exit(error.exit_code)
    except RundownError as error:
        click.echo(f"rundown: {error}", err=True)
        sys.exit(error.exit_code)
