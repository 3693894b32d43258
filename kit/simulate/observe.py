"""What the operator sees and notes: readings, ticks, power-offs; times are those noted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.simulate.scenario import Operator, Scenario
    from kit.simulate.timeline import RunTruth

    Floats = NDArray[np.float64]

__all__ = [
    "Look",
    "Seen",
    "dense_looks",
    "looks",
    "misread",
    "noted_end",
    "noted_minute",
    "off_seen",
    "slipped",
    "tick_times",
]

_NEIGHBOURING_DIGIT = 3.0
"""A digit taken for one that looks like it is off by this much (3 for 6, 5 for 8, and alike)."""
_MISREAD_SHARES = (0.5, 0.25, 0.25)
"""One point off, a digit that looks like another, two digits swapped (assumption, no source)."""
_WRONG_MINUTES = (-10.0, -1.0, 1.0, 10.0)
"""By how much a minute is noted wrongly, all equally likely (assumption, no source)."""
_TICK_SCAN_MIN = 0.05
"""Resolution at which the display is watched for ticks (min)."""


@dataclass(frozen=True)
class Look:
    """One reading: device (index), where in the protocol, true time (min), number noted.

    ``soc_pct`` is NaN where the operator looked but noted nothing.
    """

    device: int
    phase: str
    point: str
    t_min: float
    soc_pct: float
    order: int


@dataclass(frozen=True)
class Seen:
    """How a device's end was seen: true times of the two looks (min), percentage last seen."""

    last_on_min: float
    first_off_min: float
    soc_pct: float


def noted_minute(operator: Operator, run: RunTruth, t_min: float | Floats) -> Floats:
    """Return what is noted for a true time (min), counted from the minute noted for the start."""
    t = np.asarray(t_min, dtype=np.float64) + run.into_minute_min
    noted: Floats = np.floor(t + (1e-9 if operator.clock == "floor" else 0.5))
    return noted


def _places(operator: Operator, on: NDArray[np.bool_], boundary: int) -> NDArray[np.int64]:
    """Return the place in the walk of each device that is on (1, 2, …); 0 for the others."""
    backward = operator.order == "alternating" and boundary % 2 == 1
    along = on[::-1] if backward else on
    places = np.where(along, np.cumsum(along), 0)
    walked: NDArray[np.int64] = places[::-1] if backward else places
    return walked


def _delays(operator: Operator, places: NDArray[np.int64], rng: np.random.Generator) -> Floats:
    n = len(places)
    if operator.delay == "walk":
        walked: Floats = np.maximum(places - 0.5, 0.0) / n * operator.delay_max_min
        return walked
    return rng.uniform(0.0, operator.delay_max_min, n)


def misread(operator: Operator, values: Floats, rng: np.random.Generator) -> Floats:
    """Return readings as they are noted, some of them wrongly.

    A number whose digits cannot be swapped, or not to another one, is one point off instead.
    """
    if not operator.misread_probability:
        return values
    wrong = rng.uniform(size=values.shape) < operator.misread_probability
    kind = rng.choice(len(_MISREAD_SHARES), p=_MISREAD_SHARES, size=values.shape)
    sign = rng.choice([-1.0, 1.0], size=values.shape)
    tens, ones = np.divmod(values, 10.0)
    swapped = 10.0 * ones + tens
    can_swap = (tens >= 1.0) & (tens < 10.0) & (ones == np.floor(ones)) & (swapped != values)
    noted = np.select(
        [kind == 1, (kind == 2) & can_swap],
        [values + sign * _NEIGHBOURING_DIGIT, swapped],
        default=values + sign,
    )
    return np.where(wrong, np.clip(noted, 0.0, 100.0), values)


def slipped(operator: Operator, minutes: Floats, rng: np.random.Generator) -> Floats:
    """Return minutes as they are noted, some of them wrongly; none before the start."""
    if not operator.wrong_minute_probability:
        return minutes
    wrong = rng.uniform(size=minutes.shape) < operator.wrong_minute_probability
    by = rng.choice(_WRONG_MINUTES, size=minutes.shape)
    return np.maximum(np.where(wrong, minutes + by, minutes), 0.0)


def noted_end(
    operator: Operator, right: Floats, stop: float, rng: np.random.Generator
) -> tuple[float, float]:
    """Return last on and first off as noted; a slip to what cannot be is put right."""
    last_on, first_off = slipped(operator, right, rng).tolist()
    if not last_on <= first_off <= stop:
        last_on, first_off = right.tolist()
    return last_on, first_off


def _checkpoints(scenario: Scenario, run: RunTruth) -> list[tuple[str, str, float]]:
    """Return (phase, point, true time of the boundary), in order of time."""
    points: list[tuple[str, str, float]] = []
    chosen = scenario.operator.reads_starts
    gap_before = True
    for phase, start, end in zip(scenario.phases, run.starts_min, run.ends_min, strict=True):
        if start == 0.0 or (gap_before if chosen == "all" else phase.id in chosen):
            points.append((phase.id, "start", start))
        if phase.kind == "crossover" and scenario.operator.reads_swaps:
            points.append((phase.id, "inside", (start + end) / 2.0))
        points.append((phase.id, "end", end))
        gap_before = phase.gap_after_min > 0.0
    return points


def looks(scenario: Scenario, run: RunTruth, rng: np.random.Generator) -> tuple[Look, ...]:
    """Return the readings at the boundaries of one run, in order of time.

    The reading at the very start is made before anything runs, so it has no delay. A device that
    is off when its turn comes is not read.
    """
    operator = scenario.operator
    off = np.array([tr.off_min for tr in run.tracks])
    points = _checkpoints(scenario, run)
    places = [_places(operator, off > t, b) for b, (_, _, t) in enumerate(points)]
    times = np.array(
        [
            [t] * len(off) if t == 0.0 else t + _delays(operator, place, rng)
            for (_, _, t), place in zip(points, places, strict=True)
        ]
    )
    shown = np.column_stack([tr.display(times[:, k]) for k, tr in enumerate(run.tracks)])
    noted = misread(operator, shown, rng)
    if operator.miss_probability:
        missed = rng.uniform(size=noted.shape) < operator.miss_probability
        noted = np.where(missed, np.nan, noted)
    found: list[Look] = []
    for b, (phase, point, _) in enumerate(points):
        alive = times[b] < off
        for k in np.argsort(places[b]):
            if alive[k]:
                found.append(
                    Look(int(k), phase, point, times[b, k], noted[b, k], int(places[b][k]))
                )
    return tuple(found)


def dense_looks(scenario: Scenario, run: RunTruth) -> tuple[Floats, tuple[Floats, ...]]:
    """Return the times of a dense log and what each device showed; NaN once it is off.

    The moments of boundaries are left out: there the row is read anyway.
    """
    every = scenario.operator.dense_every_min
    if every is None:
        return np.empty(0), tuple(np.empty(0) for _ in run.tracks)
    times: Floats = np.arange(1.0, np.floor(run.stop_min / every) + 1.0) * every
    times = times[~np.isin(times, [*run.starts_min, *run.ends_min])]
    return times, tuple(
        np.where(times < track.off_min, track.display(times), np.nan) for track in run.tracks
    )


def tick_times(run: RunTruth, device: int) -> tuple[Floats, Floats]:
    """Return the true times at which the display changed, and the number it changed to."""
    track = run.tracks[device]
    end = min(track.off_min, run.stop_min)
    grid = np.arange(0.0, end, _TICK_SCAN_MIN)
    shown = track.display(grid)
    at = np.flatnonzero(np.diff(shown) != 0.0) + 1
    return grid[at], shown[at]


def off_seen(
    scenario: Scenario, run: RunTruth, rng: np.random.Generator, read: tuple[Look, ...]
) -> tuple[Seen | None, ...]:
    """Return per device how its power-off was seen; ``None``: on when the session stopped.

    The operator passes along the row every ``pass_every_min``, from a random minute on; a
    reading counts as a look at a device that is on.
    """
    operator = scenario.operator
    n = len(run.tracks)
    first = operator.first_pass_min
    if first is None:
        first = rng.uniform(0.0, operator.pass_every_min)
    seen: list[Seen | None] = []
    for k, track in enumerate(run.tracks):
        off = track.off_min
        within_pass = (k + 0.5) / n * operator.pass_takes_min
        if off >= run.stop_min:
            seen.append(None)
            continue
        # passes at first + j * every + within_pass; the last one before `off`
        j = np.ceil((off - first - within_pass) / operator.pass_every_min) - 1.0
        last = max(first + j * operator.pass_every_min + within_pass, 0.0)
        read_on = [look.t_min for look in read if look.device == k and look.t_min < off]
        first_off = first + (j + 1.0) * operator.pass_every_min + within_pass
        last = max([last, *read_on])
        soc = float(track.display(last))
        seen.append(Seen(last_on_min=last, first_off_min=min(first_off, run.stop_min), soc_pct=soc))
    return tuple(seen)
