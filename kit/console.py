"""What the commands print: findings, paths, progress. Loads click and nothing heavy."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kit.errors import SEVERITIES, in_order
from kit.safe_text import displayable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from kit.errors import Finding

__all__ = ["count", "printable", "progress_line", "show_findings", "show_remarks", "shown"]

MARKS = {"error": "✗ error  ", "caution": "! caution", "note": "· note   "}
PLURALS = {"error": "errors", "caution": "cautions", "note": "notes"}


def shown(path: Path) -> str:
    """Return a path relative to the working folder where it lies below it."""
    try:
        return str(path.resolve().relative_to(Path.cwd()))
    except ValueError:
        return str(path)


def count(findings: Iterable[Finding]) -> str:
    """Return the findings in numbers, worst first.

    Examples
    --------
    >>> from kit.errors import Finding
    >>> note = Finding(rule="a", severity="note", file="f", found="", expected="", remedy="")
    >>> caution = Finding(rule="a", severity="caution", file="f", found="", expected="", remedy="")
    >>> count([note, caution, caution]), count([])
    ('2 cautions and 1 note', 'no findings')
    """
    by = Counter(f.severity for f in findings)
    parts = [f"{by[s]} {s if by[s] == 1 else PLURALS[s]}" for s in SEVERITIES if by[s]]
    return " and ".join(", ".join(parts).rsplit(", ", 1)) or "no findings"


def show_findings(findings: tuple[Finding, ...], *, subject: str = "record") -> None:
    """Print every finding, worst first, and a closing line on what they are about."""
    show_remarks(findings)
    if findings:
        click.echo("")
    if any(f.severity == "error" for f in findings):
        click.echo(f"The {subject} did not pass: {count(findings)}. Nothing was written.")
    else:
        click.echo(f"The record passes: {count(findings)}.")


def show_remarks(findings: tuple[Finding, ...]) -> None:
    """Print findings, worst first."""
    for finding in in_order(findings):
        click.echo(f"{MARKS[finding.severity]}  {printable(finding.sentence)}")


def printable(text: str) -> str:
    """Return text of a record without characters that could steer a terminal."""
    return displayable(text)


class progress_line:  # noqa: N801 (a context manager used like a function)
    """Show what is being done and how far it is, on one line of a terminal's standard error."""

    def __init__(self, *, quiet: bool) -> None:
        self.live = not quiet and sys.stderr.isatty()
        self.plain = not quiet and not self.live
        self.last = ""

    def __enter__(self) -> Callable[[str, float], None]:
        return self.show

    def __exit__(self, *exception: object) -> None:
        if self.live:
            click.echo("\r\x1b[2K", nl=False, err=True)

    def show(self, step: str, fraction: float) -> None:
        """Draw the line; without a terminal, print each step once."""
        if self.live:
            full = round(24 * fraction)
            bar = "━" * full + "·" * (24 - full)
            click.echo(f"\r\x1b[2K{bar} {fraction:4.0%}  {step}", nl=False, err=True)
        elif self.plain and step != self.last:
            self.last = step
            click.echo(f"{step} …", err=True)
