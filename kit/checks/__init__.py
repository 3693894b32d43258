"""Doubts about a measurement: every one named, with what it can do to the results.

A session that reaches these rules is structurally sound; the readers see to that. The rules look
at what the numbers say about how they came about. None of them repairs anything, and none of
their findings is an error: the report still comes, with the findings in it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.checks import (
    conditions,
    design,
    elapsed,
    exposure,
    gauge,
    levels,
    phase_lengths,
    planned_turns,
    plausibility,
    power_off_empty,
    power_off_recorded,
    power_off_times,
    reading_times,
    unlogged_time,
)
from kit.checks.facts import gather
from kit.checks.rule import Rule
from kit.errors import in_order

if TYPE_CHECKING:
    from kit.errors import Finding
    from kit.session import Session

__all__ = ["RULES", "Rule", "check_session"]

RULES: tuple[Rule, ...] = (
    *levels.RULES,
    *power_off_recorded.RULES,
    *power_off_times.RULES,
    *power_off_empty.RULES,
    *unlogged_time.RULES,
    *phase_lengths.RULES,
    *reading_times.RULES,
    *elapsed.RULES,
    *exposure.RULES,
    *planned_turns.RULES,
    *plausibility.RULES,
    *gauge.RULES,
    *conditions.RULES,
    *design.RULES,
)
"""All rules, in the order in which docs/checks.md lists them."""


def check_session(session: Session) -> tuple[Finding, ...]:
    """Return all doubts about a session: by severity, then by file and line.

    Parameters
    ----------
    session
        A session as the readers return it.

    Returns
    -------
    tuple of Finding
        Cautions and notes, never errors.

    Examples
    --------
    A log without a setup file, one device, one phase, no reading:

    >>> from kit.session import Device, Phase, Run, Session, empty_frames
    >>> session = Session(id="s", title="S", devices=(Device(id="a", label="A"),),
    ...     phases=(Phase(id="p", label="P", planned_min=60.0),), runs=(Run(number=1),),
    ...     has_setup=False, **empty_frames())
    >>> sorted({finding.rule for finding in check_session(session)})
    ['boundary-not-read', 'condition-missing', 'one-unit-one-run', 'power-off-missing']
    """
    facts = gather(session)
    return in_order(finding for rule in RULES for finding in rule.findings(facts))
