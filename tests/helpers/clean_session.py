"""A session without any fault, to change one thing at a time; and a look at one rule.

Three devices, four phases of an hour and a last one until empty. ``map`` is done first, fourth
and last. Rates in pp/h (a, b, c): map 12, 10, 14; stream 15, 13, 18; film 15, 13, 17.

Power-offs at map's rate from 240 min on: a 46/12 h = 230 min, so 470; b 54/10 h = 324, so 564;
c 37/14 h = 158.6, so 398.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from kit.checks import RULES, check_session
from kit.checks.facts import gather
from kit.session import Device, Phase, Session
from tests.helpers.builders import COMPLETE_CONDITIONS, make_session

if TYPE_CHECKING:
    from kit.errors import Finding

__all__ = [
    "CONDITIONS",
    "DEVICES",
    "OFF",
    "PHASES",
    "READINGS",
    "a_off",
    "clean",
    "found",
    "one",
    "with_device",
    "with_phase",
]

DEVICES = tuple(
    Device(id=name, label=name.upper(), position=i, software="Tideline 5.1", health_pct=98.0)
    for i, name in enumerate("abc", start=1)
)
PHASES = (
    Phase(id="p1", label="Map", activity="map", planned_min=60, screen_on=True),
    Phase(id="p2", label="Stream", activity="stream", planned_min=60, screen_on=True),
    Phase(id="p3", label="Film", activity="film", planned_min=60, screen_on=True),
    Phase(id="p4", label="Map again", activity="map", planned_min=60, screen_on=True),
    Phase(id="p5", label="Map until empty", activity="map", kind="until_empty", screen_on=True),
)
READINGS = {
    "a": [100, 88, 73, 58, 46],
    "b": [100, 90, 77, 64, 54],
    "c": [100, 86, 68, 51, 37],
}
OFF = {
    "a": {"noted_min": 470, "last_on_min": 468, "phase": "p5"},
    "b": {"noted_min": 564, "last_on_min": 562, "phase": "p5"},
    "c": {"noted_min": 398, "last_on_min": 396, "phase": "p5"},
}
CONDITIONS = {**COMPLETE_CONDITIONS, "off_charger_min": 20}


def clean(**changes: Any) -> Session:
    """Return the clean session with some arguments of ``make_session`` changed."""
    return make_session(
        **{
            "devices": DEVICES,
            "phases": PHASES,
            "readings": READINGS,
            "power_offs": OFF,
            "lengths": {"p5": 325},
            "conditions": CONDITIONS,
            **changes,
        }
    )


def a_off(**columns: object) -> Session:
    """Return the clean session with another power-off of ``a``, on line 40."""
    return clean(power_offs={**OFF, "a": {"line": 40, **columns}})


def found(session: Session, rule: str) -> list[Finding]:
    """Return the findings of one rule; those of ``check_session`` must agree with it."""
    (the_rule,) = [r for r in RULES if r.name == rule]
    alone = list(the_rule.findings(gather(session)))
    together = [f for f in check_session(session) if f.rule == rule]
    assert sorted(map(repr, alone)) == sorted(map(repr, together))
    assert all(f.severity in the_rule.severities for f in alone)
    return alone


def one(session: Session, rule: str) -> Finding:
    """Return the only finding of one rule."""
    (finding,) = found(session, rule)
    return finding


def with_device(session: Session, device: str, **fields: Any) -> Session:
    """Return the session with some fields of one device changed."""
    return replace(
        session,
        devices=tuple(replace(d, **fields) if d.id == device else d for d in session.devices),
    )


def with_phase(session: Session, phase: str, **fields: Any) -> Session:
    """Return the session with some fields of one phase changed."""
    return replace(
        session,
        phases=tuple(replace(p, **fields) if p.id == phase else p for p in session.phases),
    )
