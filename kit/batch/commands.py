"""``rundown batch``; heavy imports stay inside the command."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kit.options import analysis_options

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from kit.batch.jobs import Job, Outcome
    from kit.results import Settings

__all__ = ["batch_command"]


@click.command("batch")
@click.argument("paths", nargs=-1, required=True, metavar="PATHS…")
@click.option(
    "-j", "--jobs", type=click.IntRange(1, 512), default=None, metavar="N",
    help="Processes that work at once  [default: one for each processor]",
)  # fmt: skip
@click.option(
    "-o", "--out", default=None, metavar="FOLDER",
    help="One folder for all reports, each in a folder of its own  [default: where 'rundown "
    "report' puts each]",
)  # fmt: skip
@click.option("--again", is_flag=True, help="Make unchanged sessions too.")
@analysis_options
@click.option(
    "--timeout", "timeout_s", type=click.FloatRange(1), default=900.0, show_default=True,
    metavar="SECONDS", help="Give a session up after that time.",
)  # fmt: skip
@click.option(
    "--scheduler", default=None, metavar="ADDRESS",
    help="Have the work done by the Dask scheduler at this address, or by 'local' for one started "
    "here for the time of the batch.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print the outcomes as JSON.")
@click.option(
    "--summary", type=click.Path(dir_okay=False, path_type=Path), default=None, metavar="FILE",
    help="Write the outcomes as JSON to a file.",
)  # fmt: skip
@click.option("-q", "--quiet", is_flag=True, help="Print nothing but sessions that went wrong.")
def batch_command(
    paths: tuple[str, ...],
    *,
    jobs: int | None,
    out: str | None,
    again: bool,
    settings: Settings,
    timeout_s: float,
    scheduler: str | None,
    as_json: bool,
    summary: Path | None,
    quiet: bool,
) -> None:
    """Make the reports of many sessions, several at a time; skip what is unchanged.

    PATHS are session folders, CSV files, or folders that hold sessions at any depth. A session
    that goes wrong does not stop the others. After an interruption the same command goes on where
    it stopped.

    Exit status: 0 all reports are there; 1 a record did not pass; 2 wrong use; 3 a notebook
    failed; 4 an output could not be made; the gravest of all sessions counts. 130 interrupted.
    """
    from dataclasses import asdict

    from kit.batch.elsewhere import is_address, needed
    from kit.batch.find import find_jobs
    from kit.batch.jobs import exit_status

    begin = time.perf_counter()
    if out is not None and is_address(out):
        needed("fsspec", why=f"An address like {out}")
    work = find_jobs(
        paths,
        out=out,
        settings=asdict(settings),
        again="always" if again else "if_changed",
        timeout_s=timeout_s,
        epoch=os.environ.get("SOURCE_DATE_EPOCH", ""),
    )
    with Progress(len(work), quiet=quiet or as_json) as progress:
        outcomes = _run(work, jobs or os.cpu_count() or 1, scheduler, progress)
    seconds = time.perf_counter() - begin
    _tell(outcomes, seconds=seconds, as_json=as_json, quiet=quiet)
    if summary is not None:
        _write(summary, outcomes, seconds)
    raise SystemExit(exit_status(outcomes))


def _run(
    work: Sequence[Job], workers: int, scheduler: str | None, progress: Progress
) -> tuple[Outcome, ...]:
    if scheduler is None:
        from kit.batch.pool import run_here

        return run_here(
            work, workers=workers, on_outcome=progress.add, on_interrupt=progress.interrupted
        )
    from kit.batch.cluster import run_on

    return run_on(
        scheduler, work, workers=workers, on_outcome=progress.add,
        on_interrupt=progress.interrupted,
    )  # fmt: skip


def _tell(outcomes: Sequence[Outcome], *, seconds: float, as_json: bool, quiet: bool) -> None:
    import json

    from kit.batch.summary import counted, summary_data, table_lines

    if as_json:
        data = summary_data(outcomes, seconds=seconds)
        click.echo(json.dumps(data, ensure_ascii=False, indent=1))
        return
    for line in table_lines(outcomes, only_bad=quiet):
        click.echo(line)
    if not quiet:
        n = len(outcomes)
        sessions = "1 session" if n == 1 else f"{n} sessions"
        click.echo(f"{sessions} in {seconds:.1f} s: {counted(outcomes)}.")


def _write(path: Path, outcomes: Sequence[Outcome], seconds: float) -> None:
    """Write the summary beside its place, then move it there: whoever reads it finds it whole."""
    import json

    from kit.batch.summary import summary_data
    from kit.errors import RenderError

    text = json.dumps(summary_data(outcomes, seconds=seconds), ensure_ascii=False, indent=1)
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        beside.write_text(text + "\n", encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        message = f"Cannot write {path}: {error.strerror}. All else is done."
        raise RenderError(message) from error


class Progress:
    """How far a batch is, on one line of a terminal's standard error; nothing elsewhere."""

    def __init__(self, total: int, *, quiet: bool) -> None:
        self.total = total
        self.live = not quiet and sys.stderr.isatty()
        self.outcomes: list[Outcome] = []
        self.begin = time.perf_counter()
        self.write: Callable[[str], None] = lambda text: click.echo(text, nl=False, err=True)

    def __enter__(self) -> Progress:
        self._draw()
        return self

    def __exit__(self, *exception: object) -> None:
        if self.live:
            self.write("\r\x1b[2K")

    def add(self, outcome: Outcome) -> None:
        """Count a session."""
        self.outcomes.append(outcome)
        self._draw()

    def interrupted(self) -> None:
        """Say that no further session is begun."""
        if self.live:
            self.write("\r\x1b[2K")
        self.write("Interrupted: sessions under way are finished; Ctrl-C again ends them.\n")

    def _draw(self) -> None:
        if not self.live:
            return
        from kit.batch.summary import counted

        done = len(self.outcomes)
        full = round(24 * done / self.total)
        bar = "━" * full + "·" * (24 - full)
        told = f"  {counted(self.outcomes)}" if done else ""
        self.write(f"\r\x1b[2K{bar} {done} of {self.total}{told}{self._remaining()}")

    def _remaining(self) -> str:
        """Return how long the rest will take, from the sessions that took time."""
        made = [outcome for outcome in self.outcomes if outcome.status != "unchanged"]
        rest = self.total - len(self.outcomes)
        if not made or not rest:
            return ""
        each = (time.perf_counter() - self.begin) / len(made)
        minutes = each * rest / 60
        return f"  about {minutes:.0f} min left" if minutes >= 1.5 else "  nearly done"
