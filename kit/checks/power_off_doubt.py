"""A doubt about a power-off, placed at its row."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.checks.rule import Doubt

if TYPE_CHECKING:
    from kit.checks.facts import Facts
    from kit.errors import Severity

__all__ = ["at_power_off"]


def at_power_off(
    facts: Facts,
    at: tuple[int, int],
    severity: Severity,
    found: str,
    expected: str,
    remedy: str,
    *,
    column: str = "",
    line: int | None = None,
) -> Doubt:
    """Return a doubt placed at the power-off row of one device in one run."""
    run, device = at
    note = facts.off_notes.get(at)
    return Doubt(
        severity=severity,
        line=note.line if line is None and note is not None else line,
        column=column or facts.off_column(run, device),
        found=found,
        expected=expected,
        remedy=remedy,
        device=facts.devices[device],
        phase=facts.phases[note.phase] if note is not None and note.phase >= 0 else "",
        run=facts.runs[run],
    )
