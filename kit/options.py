"""Arguments and options that several commands take, the same in all of them."""

from __future__ import annotations

from dataclasses import fields
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["analysis_options", "coverage_option", "default_out", "quiet_option", "record_argument"]

record_argument = click.argument(
    "record", type=click.Path(exists=True, path_type=Path), metavar="FOLDER-OR-CSV"
)
coverage_option = click.option(
    "--coverage", type=click.FloatRange(0.5, 0.999, min_open=True), default=0.95, show_default=True,
    metavar="P", help="Probability of the coverage intervals.",
)  # fmt: skip
draws_option = click.option(
    "--draws", type=click.IntRange(10_000, 10_000_000), default=100_000, show_default=True,
    metavar="N", help="Most Monte Carlo draws.",
)  # fmt: skip
digits_option = click.option(
    "--digits", type=click.IntRange(1, 2), default=1, show_default=True, metavar="N",
    help="Significant digits of every standard uncertainty that the draws are to fix.",
)  # fmt: skip
seed_option = click.option(
    "--seed", type=int, default=20260516, show_default=True, metavar="N", help="Monte Carlo seed."
)
mix_option = click.option(
    "--mix", default="", metavar="TEXT",
    help='A usage mix beside those of the setup file, such as "map 3, photo 2".',
)  # fmt: skip
quiet_option = click.option("-q", "--quiet", is_flag=True, help="Print nothing but errors.")


def analysis_options(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the fields of `kit.results.Settings` as options; it gets them as settings."""

    @wraps(command)
    def with_settings(*args: Any, **given: Any) -> None:
        from kit.results import Settings

        values = {field.name: given.pop(field.name) for field in fields(Settings)}
        command(*args, settings=Settings(**values), **given)

    return coverage_option(draws_option(digits_option(seed_option(mix_option(with_settings)))))


def default_out(record: Path) -> Path:
    """Return where a report goes when nothing was said.

    Examples
    --------
    >>> default_out(Path("day.csv")).as_posix()
    'day-report'
    """
    return record / "report" if record.is_dir() else record.with_name(f"{record.stem}-report")
