"""The command that compares sessions; heavy imports stay inside it."""

from __future__ import annotations

from pathlib import Path

import click

__all__ = ["compare_command"]


@click.command("compare")
@click.argument(
    "sessions", nargs=-1, required=True, type=click.Path(exists=True, path_type=Path),
    metavar="FOLDER-OR-CSV...",
)  # fmt: skip
@click.option(
    "-o", "--out", type=click.Path(file_okay=False, path_type=Path), required=True,
    metavar="FOLDER", help="Where the comparison goes.",
)  # fmt: skip
@click.option(
    "--same", multiple=True, metavar="A=B",
    help="Device ids that name the same unit; SESSION/ID for one session only. Repeatable.",
)  # fmt: skip
@click.option(
    "--accept", multiple=True, metavar="KEY",
    help="Condition that may differ, such as network or protocol (the phases). Repeatable.",
)  # fmt: skip
@click.option(
    "--session-scatter", type=click.FloatRange(0.1, 50.0), default=None, metavar="PERCENT",
    help="Compare unlinked devices too, assuming that whole sessions scatter by this.",
)  # fmt: skip
@click.option(
    "--length-tolerance", type=click.FloatRange(0.0, 50.0), default=10.0, show_default=True,
    metavar="PERCENT", help="By how much matched phases may differ in length.",
)  # fmt: skip
@click.option(
    "--coverage", type=click.FloatRange(0.5, 0.999, min_open=True), default=0.95,
    show_default=True, help="Probability of the coverage intervals.",
)  # fmt: skip
@click.option("-q", "--quiet", is_flag=True, help="Print nothing but errors.")
def compare_command(
    sessions: tuple[Path, ...],
    *,
    out: Path,
    same: tuple[str, ...],
    accept: tuple[str, ...],
    session_scatter: float | None,
    length_tolerance: float,
    coverage: float,
    quiet: bool,
) -> None:
    """Compare sessions: what changed, who is ahead of whom, what cannot be compared."""
    from kit.compare.settings import CompareSettings, same_pairs
    from kit.console import progress_line, shown
    from kit.render.compare import render_comparison

    settings = CompareSettings(
        coverage=coverage,
        same=same_pairs(same),
        accept=frozenset(accept),
        session_cv=None if session_scatter is None else session_scatter / 100.0,
        length_tolerance_pct=length_tolerance,
    )
    with progress_line(quiet=quiet) as progress:
        made = render_comparison(sessions, out, settings=settings, progress=progress)
    if quiet:
        return
    for name, path in (
        ("report (HTML)", made.html),
        ("report (PDF)", made.pdf),
        ("notebook", made.notebook),
        ("results", made.results),
        ("tables (CSV)", made.tables),
    ):
        click.echo(f"  {name:<14} {shown(path)}")
    click.echo(made.headline)
