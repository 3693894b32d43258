"""What a rule is: a name, one sentence on what it sees, and a generator of doubts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from kit.errors import Finding

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from kit.checks.facts import Facts
    from kit.errors import Severity

__all__ = ["COMMON_PRACTICE", "DERIVED", "Doubt", "Rule", "rule"]

COMMON_PRACTICE = "common practice, no source"
DERIVED = "derived in docs/measurement.md"


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """A finding that does not yet know its rule and file; fields as in `kit.errors.Finding`.

    Parameters
    ----------
    place
        ``"log"``: the place meant is in the log; ``"setup"``: in the setup file.
    """

    severity: Severity
    found: str
    expected: str
    remedy: str
    place: Literal["log", "setup"] = "log"
    line: int | None = None
    column: str = ""
    device: str = ""
    phase: str = ""
    run: int | None = None


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One check of a session.

    Parameters
    ----------
    name
        Stable kebab-case name, the ``rule`` of its findings.
    severities
        Which severities its findings can have, worst first.
    sees
        What it sees, in one sentence.
    to_do
        What to do about it, in one sentence.
    source
        Where the limits come from, or ``COMMON_PRACTICE`` or ``DERIVED``.
    doubts
        The generator: facts → doubts.
    """

    name: str
    severities: tuple[Severity, ...]
    sees: str
    to_do: str
    source: str
    doubts: Callable[[Facts], Iterator[Doubt]]

    def findings(self, facts: Facts) -> Iterator[Finding]:
        """Yield what this rule finds in one record."""
        for doubt in self.doubts(facts):
            yield Finding(
                rule=self.name,
                severity=doubt.severity,
                file=facts.log_file if doubt.place == "log" else facts.setup_file,
                line=doubt.line or None,
                column=doubt.column,
                found=doubt.found,
                expected=doubt.expected,
                remedy=doubt.remedy,
                device=doubt.device,
                phase=doubt.phase,
                run=doubt.run,
            )


def rule(
    name: str, *severities: Severity, sees: str, to_do: str, source: str = COMMON_PRACTICE
) -> Callable[[Callable[[Facts], Iterator[Doubt]]], Rule]:
    """Return a decorator that makes a `Rule` of a generator of doubts."""

    def make(doubts: Callable[[Facts], Iterator[Doubt]]) -> Rule:
        return Rule(
            name=name,
            severities=severities,
            sees=sees,
            to_do=to_do,
            source=source,
            doubts=doubts,
        )

    return make
