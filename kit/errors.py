"""What can go wrong, and the one sentence in which it is said.

::

    RundownError                 every error a user can meet; carries its exit code
    ├── RecordError        (1)   the record did not pass: carries all findings
    ├── UsageError         (2)   a path, option or parameter that makes no sense
    ├── NotebookError      (3)   the notebook failed while it ran
    └── RenderError        (4)   the HTML, PDF or results could not be made or written
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = [
    "ExitCode",
    "Finding",
    "NotebookError",
    "RecordError",
    "RenderError",
    "RundownError",
    "Severity",
    "UsageError",
]

Severity = Literal["error", "caution", "note"]
"""``error`` stops; ``caution`` and ``note`` go on into the report."""

SEVERITIES: tuple[Severity, ...] = ("error", "caution", "note")


class ExitCode(IntEnum):
    """Exit statuses of the command line; documented in README.md."""

    DONE = 0
    RECORD = 1
    USAGE = 2
    NOTEBOOK = 3
    RENDER = 4


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing seen in a record: where, what, what was expected, how to mend it.

    Parameters
    ----------
    rule
        Stable kebab-case name of the rule, e.g. ``"soc-rises"``.
    severity
        ``"error"`` (nothing is analysed), ``"caution"`` or ``"note"``.
    file
        Name of the file as the user gave it (no folder).
    line
        Line as a text editor counts it, header = 1; ``None`` when no single line is meant.
    column
        Column (or dotted key of the setup file); empty when none is meant.
    found, expected, remedy
        Plain text without final full stop in ``found`` and ``expected``; ``remedy`` is a sentence.
    device, phase, run
        What the finding is about, where that is one thing (ids as in the record).
    """

    rule: str
    severity: Severity
    file: str
    found: str
    expected: str
    remedy: str
    line: int | None = None
    column: str = ""
    device: str = ""
    phase: str = ""
    run: int | None = None

    @property
    def where(self) -> str:
        """Return ``file, line 14, column soc_pct`` with the parts that are known.

        Examples
        --------
        >>> Finding(rule="soc-range", severity="error", file="log.csv", line=14,
        ...         column="soc_pct", found="'107'", expected="0 to 100",
        ...         remedy="Correct it.").where
        'log.csv, line 14, column soc_pct'
        """
        parts = [self.file]
        if self.line is not None:
            parts.append(f"line {self.line}")
        if self.column:
            parts.append(f"{'key' if self.file.endswith('.toml') else 'column'} {self.column}")
        return ", ".join(parts)

    @property
    def sentence(self) -> str:
        """Return the finding as one line of plain text.

        Examples
        --------
        >>> Finding(rule="soc-range", severity="error", file="log.csv", line=14,
        ...         column="soc_pct", found="'107'", expected="0 to 100",
        ...         remedy="Correct it.").sentence
        "log.csv, line 14, column soc_pct: found '107'; expected 0 to 100. Correct it."
        """
        return f"{self.where}: found {self.found}; expected {self.expected}. {self.remedy}"

    def as_dict(self) -> dict[str, object]:
        """Return the fields as plain data for JSON."""
        return asdict(self)


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return the findings by severity, then file and line."""
    rank = {name: i for i, name in enumerate(SEVERITIES)}
    return tuple(
        sorted(findings, key=lambda f: (rank[f.severity], f.file, f.line or 0, f.column, f.rule))
    )


class RundownError(Exception):
    """Base of every error that a user can meet."""

    exit_code: ExitCode = ExitCode.USAGE


class RecordError(RundownError):
    """The record did not pass; carries all findings, errors first.

    Parameters
    ----------
    subject
        What did not pass, in a word for the closing line: the record, a plan.
    """

    exit_code = ExitCode.RECORD

    def __init__(self, findings: Iterable[Finding], *, subject: str = "record") -> None:
        self.findings = in_order(findings)
        self.subject = subject
        super().__init__("\n".join(f.sentence for f in self.findings if f.severity == "error"))


class UsageError(RundownError):
    """A path, option or parameter that makes no sense."""

    exit_code = ExitCode.USAGE


class NotebookError(RundownError):
    """The notebook failed while it ran."""

    exit_code = ExitCode.NOTEBOOK


class RenderError(RundownError):
    """An output could not be made or written."""

    exit_code = ExitCode.RENDER
