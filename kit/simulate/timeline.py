"""When each phase really ran, and what each device did when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.simulate.physics import track

if TYPE_CHECKING:
    import numpy as np

    from kit.simulate.physics import Track
    from kit.simulate.scenario import Operator, Scenario, TruePhase

__all__ = ["FOREVER_MIN", "RunTruth", "Turn", "run_truth"]

FOREVER_MIN = 60.0 * 24.0 * 30.0
"""The last activity goes on this long after its start, so that every device has a power-off."""


@dataclass(frozen=True)
class Turn:
    """One stretch of one activity by one device in a split phase (min)."""

    phase: str
    device: str
    activity: str
    start_min: float
    end_min: float


@dataclass(frozen=True)
class RunTruth:
    """One run as it really went.

    Parameters
    ----------
    starts_min, ends_min
        Real start and end of each phase (min since the start of the run).
    stop_min
        When the session was stopped.
    into_minute_min
        How far into the minute noted for the start the run really started (min).
    tracks
        One per device, in the order of the scenario.
    turns
        What each device did in crossover and rotation phases, as planned: whether it lived to
        complete it is for the reader to see from its power-off.
    """

    number: int
    starts_min: tuple[float, ...]
    ends_min: tuple[float, ...]
    stop_min: float
    into_minute_min: float
    tracks: tuple[Track, ...]
    turns: tuple[Turn, ...]


def _stretches(
    phase: TruePhase, device: str, place: int, start: float, end: float
) -> tuple[tuple[float, str], ...]:
    """Return (start, activity) of one device within one phase, in order."""
    if phase.kind == "crossover" and phase.parts is not None:
        first, second = phase.parts if device in phase.first_half else phase.parts[::-1]
        return ((start, first), ((start + end) / 2.0, second))
    if phase.kind == "rotation" and phase.parts is not None:
        turn, rest = phase.parts
        length = phase.turn_min or 0.0
        begins = min(start + place * length, end)
        ceases = min(begins + phase.short_turns.get(device, length), end)
        stretches = ((start, rest), (begins, turn), (ceases, rest))
        ends = (begins, stretches[2][0], end)
        return tuple(s for s, e in zip(stretches, ends, strict=True) if e > s[0])
    return ((start, phase.activity),)


def _lengths(scenario: Scenario, rng: np.random.Generator) -> tuple[float, ...]:
    sd, bias = scenario.operator.length_sd_min, scenario.operator.length_bias_min
    return tuple(
        FOREVER_MIN
        if phase.length_min is None
        else max(phase.length_min + bias + (rng.normal(0.0, sd) if sd else 0.0), 0.1)
        for phase in scenario.phases
    )


def _into_minute(operator: Operator, rng: np.random.Generator) -> float:
    if operator.starts == "on_the_minute":
        return 0.0
    return float(rng.uniform(0.0, 1.0)) - (0.5 if operator.clock == "nearest" else 0.0)


def _stop(scenario: Scenario, last_end: float, tracks: list[Track]) -> float:
    if scenario.stop_min is not None:
        return scenario.stop_min
    if scenario.phases[-1].length_min is not None:
        return last_end
    operator = scenario.operator
    return max(t.off_min for t in tracks) + operator.pass_every_min + operator.pass_takes_min


def run_truth(scenario: Scenario, number: int, rng: np.random.Generator) -> RunTruth:
    """Return the true course of one run; draws phase lengths and the scatter between runs."""
    starts: list[float] = []
    ends: list[float] = []
    t = 0.0
    for phase, length in zip(scenario.phases, _lengths(scenario, rng), strict=True):
        starts.append(t)
        ends.append(t + length)
        t = t + length + phase.gap_after_min
    tracks: list[Track] = []
    turns: list[Turn] = []
    today = 1.0 + scenario.day_cv * rng.standard_normal() if scenario.day_cv else 1.0
    for place, device in enumerate(scenario.devices):
        breaks: list[float] = []
        activities: list[str] = []
        for phase, start, end in zip(scenario.phases, starts, ends, strict=True):
            stretches = _stretches(phase, device.id, place, start, end)
            breaks += [s for s, _ in stretches]
            activities += [a for _, a in stretches]
            if phase.kind in ("crossover", "rotation"):
                until = [*(s for s, _ in stretches[1:]), end]
                turns += [
                    Turn(phase.id, device.id, activity, begin, finish)
                    for (begin, activity), finish in zip(stretches, until, strict=True)
                ]
            if phase.gap_after_min > 0.0 and phase is not scenario.phases[-1]:
                breaks.append(end)
                activities.append(phase.gap_activity)
        factor = 1.0 + scenario.run_cv * rng.standard_normal() if scenario.run_cv else 1.0
        power = [device.power_w[a] * factor * today for a in activities]
        tracks.append(track(device, [*breaks, breaks[-1] + FOREVER_MIN], power))
    stop = _stop(scenario, ends[-1], tracks)
    ends[-1] = min(ends[-1], stop)
    return RunTruth(
        number=number,
        starts_min=tuple(starts),
        ends_min=tuple(ends),
        stop_min=stop,
        into_minute_min=_into_minute(scenario.operator, rng),
        tracks=tuple(tracks),
        turns=tuple(turns),
    )
