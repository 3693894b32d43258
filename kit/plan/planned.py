"""What a plan says, once read: the session as it is meant to be, and the means to carry it out.

Devices, phases, conditions and assumptions are those of a session (`kit.session`); what only a
plan has (who reads how fast, limits, breaks, people, earlier rates) stands beside them. Nothing
here is computed; `kit.plan.timetable` makes the timetable and `kit.plan.predict` the expected
course.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from kit.session import Assumptions

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime

    from kit.plan.schedules import Assignment
    from kit.session import Device, Phase

__all__ = [
    "Break",
    "DeviceForecast",
    "Limit",
    "NextPhase",
    "Person",
    "PhasePlan",
    "Plan",
    "RateSource",
    "ReadAt",
]

NextPhase = Literal["after_walk", "at_once"]
ReadAt = Literal["start_and_end", "end"]
RateSource = Literal["plan", "earlier", "power"]


@dataclass(frozen=True, kw_only=True)
class Limit:
    """At most ``at_once`` devices can do ``activity`` at the same time, and why."""

    activity: str
    at_once: int
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class Break:
    """Time after a phase in which no phase runs: a meal, a change of room.

    Parameters
    ----------
    after
        Id of the phase before the break.
    minutes
        Length (min).
    activity
        What the devices do meanwhile, "" when it is not planned; only its drain is foreseen.
    """

    after: str
    minutes: float
    label: str = "Break"
    activity: str = ""


@dataclass(frozen=True, kw_only=True)
class Person:
    """Who is with the devices, in minutes since the start of the session."""

    name: str
    from_min: float
    to_min: float
    task: str = ""


@dataclass(frozen=True, kw_only=True)
class PhasePlan:
    """What a plan adds to a phase.

    Parameters
    ----------
    setup_min
        Time before the phase to prepare every device (min).
    change_min
        Time between two turns of a limited phase (min); ``None``: the walk along the row in a
        crossover (the row is read at the swap), 0 in a rotation.
    assignment, seed
        How the groups of a limited phase are formed.
    first
        Devices that shall have their turn early, most urgent first.
    """

    setup_min: float = 0.0
    change_min: float | None = None
    assignment: Assignment = "row"
    seed: int = 0
    first: tuple[str, ...] = ()

    @property
    def drawn(self) -> int | None:
        """Return the seed by which groups are drawn by lot; ``None`` if they are not."""
        return self.seed if self.assignment == "random" else None


@dataclass(frozen=True, kw_only=True)
class DeviceForecast:
    """What is known beforehand of a device's rates.

    Parameters
    ----------
    rates_pp_per_h
        Activity → rate (pp/h) of this unit.
    rates_u_pct
        Relative standard uncertainty of the rates (%).
    power_w
        Activity → mean power (W); used with the rated energy and the health of the device.
    power_u_pct
        Relative standard uncertainty of the powers (%).
    rates_runs
        Number of runs from which the rates are; each of them had its own day.
    sources
        Activity → where its rate came from, for the printed forecast.
    rates_u
        Activity → standard uncertainty of its rate (pp/h), where it is known for itself.
    """

    rates_pp_per_h: Mapping[str, float] = field(default_factory=dict)
    rates_u_pct: float = 5.0
    rates_runs: int = 1
    power_w: Mapping[str, float] = field(default_factory=dict)
    power_u_pct: float = 10.0
    sources: Mapping[str, RateSource] = field(default_factory=dict)
    rates_u: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A planned session.

    Parameters
    ----------
    start
        Clock time at which the first walk begins; ``None``: the timetable counts from 0:00.
    timezone
        IANA name, "" when none is given; then ``start`` is naive.
    phases
        In order. A limited phase has ``kind`` crossover or rotation and its ``parts``.
    phase_plans
        Phase id → what the plan adds to it.
    reading_seconds
        Device id → time to read and note one percentage (s).
    read_at
        ``start_and_end``: the row is read again at the start of a phase that does not follow at
        once; ``end``: at the start of the first phase, then at each end only.
    next_phase
        ``after_walk``: a phase begins when the walk along the row is over; ``at_once``: it
        begins with the walk, so that readings come late by up to its length.
    between
        What the devices do on walks and while phases are prepared, "" when it is not planned.
    alternate
        Whether the reading direction along the row alternates.
    known_to_min
        Width of the window within which a power-off shall be known (min).
    coverage
        Probability of the predicted windows.
    forecasts
        Device id → what is known of its rates.
    earlier
        Folders of earlier sessions, as written.
    stop_min
        Planned end of the session (min since start); ``None``: when the last device is off.
    resolve_to_pct
        A phase resolves a drain when its interval is at most ± this share of it (%).
    """

    id: str
    title: str
    date: date | None = None
    timezone: str = ""
    operator: str = ""
    notes: str = ""
    start: datetime | None = None
    devices: tuple[Device, ...]
    phases: tuple[Phase, ...]
    phase_plans: Mapping[str, PhasePlan] = field(default_factory=dict)
    limits: tuple[Limit, ...] = ()
    breaks: tuple[Break, ...] = ()
    people: tuple[Person, ...] = ()
    conditions: Mapping[str, object] = field(default_factory=dict)
    assumptions: Assumptions = field(default_factory=Assumptions)
    mixes: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    declared_comparison: tuple[str, str] | None = None
    reading_seconds: Mapping[str, float] = field(default_factory=dict)
    read_at: ReadAt = "start_and_end"
    next_phase: NextPhase = "after_walk"
    between: str = ""
    alternate: bool = True
    known_to_min: float = 3.0
    coverage: float = 0.90
    resolve_to_pct: float = 25.0
    forecasts: Mapping[str, DeviceForecast] = field(default_factory=dict)
    earlier: tuple[str, ...] = ()
    stop_min: float | None = None

    def device(self, device_id: str) -> Device:
        """Return the device with this id; ``KeyError`` if there is none."""
        for device in self.devices:
            if device.id == device_id:
                return device
        raise KeyError(device_id)

    def phase(self, phase_id: str) -> Phase:
        """Return the phase with this id; ``KeyError`` if there is none."""
        for phase in self.phases:
            if phase.id == phase_id:
                return phase
        raise KeyError(phase_id)

    def phase_plan(self, phase_id: str) -> PhasePlan:
        """Return what the plan adds to a phase."""
        return self.phase_plans.get(phase_id, PhasePlan())

    def at_once(self, activity: str) -> int | None:
        """Return how many devices can do an activity at once; ``None`` without a limit."""
        limits = [limit.at_once for limit in self.limits if limit.activity == activity]
        return min(limits) if limits else None

    @property
    def walk_min(self) -> float:
        """Return the time of a walk along the whole row (min)."""
        return sum(self.reading_seconds.get(d.id, 0.0) for d in self.devices) / 60.0
