"""Drains of one activity: over all phases in which it was done, and in one half of a crossover."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.drain.flags import UNRANKED
from kit.drain.states import time_variance
from kit.drain.swaps import UNNAMED_PARTS, with_swaps
from kit.stats.uncertainty import Resolution, resolution

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.drain.swaps import Swaps
    from kit.session import Session

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = ["Doing", "Stretch", "doing", "stretches"]

_SAME_H = 1.0 / 60.0
"""Halves whose lengths, or whose swaps, differ by no more than this are the same (h)."""


class Stretch(NamedTuple):
    """An activity and where it was done.

    Parameters
    ----------
    activity
        Its name.
    phases
        Positions of the phases: several plain ones, together, or one crossover.
    half
        Of a crossover, 1 or 2; 0: whole phases.
    """

    activity: str
    phases: tuple[int, ...]
    half: int = 0


def stretches(session: Session) -> tuple[Stretch, ...]:
    """Return what drains are compared by activity.

    An activity done in one plain phase alone is compared in that phase.

    Examples
    --------
    >>> from kit.session import Phase
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases=[
    ...     Phase(id="p1", label="", activity="map"), Phase(id="p2", label="", activity="film"),
    ...     Phase(id="p3", label="", activity="map"),
    ...     Phase(id="p4", label="", kind="crossover", parts=("film", "call"))])
    >>> for stretch in stretches(s):
    ...     print(*stretch)
    map (0, 2) 0
    film (3,) 1
    film (3,) 2
    call (3,) 1
    call (3,) 2
    """
    plain: dict[str, list[int]] = {}
    for place, phase in enumerate(session.phases):
        if not phase.is_split and phase.evaluated and phase.activity:
            plain.setdefault(phase.activity, []).append(place)
    found = [Stretch(name, tuple(where)) for name, where in plain.items() if len(where) > 1]
    for place, phase in enumerate(session.phases):
        if phase.kind == "crossover" and phase.evaluated:
            parts = phase.parts or UNNAMED_PARTS
            found += [Stretch(part, (place,), half) for part in parts for half in (1, 2)]
    return tuple(found)


class Doing(NamedTuple):
    """Displayed drains of G stretches for some units, with what it takes to compare them.

    Parameters
    ----------
    drain, u2, bound
        Shape (K, G). Drain (pp), variance from the moments of the readings (pp²), half-width from
        gaps and looks (pp).
    shown
        What the resolution adds, shape (K, G).
    ready
        Shape (K, G). Whether it may be compared.
    """

    drain: Floats
    shown: Resolution
    u2: Floats
    bound: Floats
    ready: Bools


def _crossover(
    ready: Prepared, swaps: Swaps, stretch: Stretch, units: range
) -> tuple[NDArray[np.int64], Bools]:
    """Return first and last boundary of the half, (2,), and who did the activity in it, (n,)."""
    (phase,) = stretch.phases
    middle = swaps.column[phase]
    ends = (2 * phase, middle) if stretch.half == 1 else (middle, 2 * phase + 1)
    did = np.zeros(len(units), dtype=bool)
    hours, swap = np.zeros(len(units)), np.zeros(len(units))
    for k, unit in enumerate(units):
        plan = swaps.plans[unit, phase]
        did[k] = stretch.activity == (plan.first if stretch.half == 1 else plan.second)
        hours[k], swap[k] = plan.exposure.get(stretch.activity, np.nan), plan.swap_h
    rows = slice(units.start, units.stop)
    did &= swaps.states.valid[rows][:, [2 * phase, middle, 2 * phase + 1]].all(axis=1)
    did &= ready.status["displayed"][rows, phase] == "split"
    for code in UNRANKED - {"split"}:
        did &= ~ready.flags[code][rows, phase]
    if did.any():
        for values in (hours, swap):
            with np.errstate(invalid="ignore"):
                did &= np.abs(values - np.nanmedian(values[did])) <= _SAME_H
    return np.array(ends, dtype=np.int64), did


def doing(ready: Prepared, units: range, asked: tuple[Stretch, ...]) -> Doing:
    """Return the displayed drains of activities.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    units
        Those of one run.
    asked
        From `stretches`.

    Notes
    -----
    Over several phases the drains add up, and so do their errors: readings are combined first, so
    that one between two phases of the same activity cancels. In a crossover only devices that did
    the activity in the same half are ready together: those of the other half did it at another
    hour and from another charge, and what that makes is told by the effect of the order, which
    is no better known than the difference asked for.
    """
    chains, now = ready.chains, ready.states
    rows = slice(units.start, units.stop)
    weights = chains.observations.weight
    matrix, value, valid = now.matrix, now.value, ready.ranked
    swaps = None
    if any(stretch.half for stretch in asked):
        swaps = with_swaps(ready)
        now, weights = swaps.states, swaps.weights
        matrix, value = now.matrix, now.value
    base = np.zeros((chains.units, len(asked), matrix.shape[1]))
    can = np.zeros((len(units), len(asked)), dtype=bool)
    wake = np.zeros((len(units), len(asked)))
    for g, stretch in enumerate(asked):
        if swaps is not None and stretch.half:
            (first, last), can[:, g] = _crossover(ready, swaps, stretch, units)
            base[:, g, first], base[:, g, last] = 1.0, -1.0
            continue
        phases = list(stretch.phases)
        for phase in phases:
            base[:, g, 2 * phase] += 1.0
            base[:, g, 2 * phase + 1] -= 1.0
        can[:, g] = valid[rows][:, phases].all(axis=1)
        looks = np.sqrt(3.0 * ready.drains["displayed"].variance["wake"][rows][:, phases])
        wake[:, g] = np.nan_to_num(looks).sum(axis=1)
    slopes = (base @ matrix)[rows]
    drain = (base @ np.nan_to_num(value)[:, :, None])[rows, :, 0]
    return Doing(
        drain=np.where(can, drain, np.nan),
        shown=resolution(
            slopes,
            weights=weights[rows, None, :],
            step=chains.observations.step[rows, None],
            convention_variance=chains.offset_variance[rows, None],
        ),
        u2=time_variance(now, base)[rows],
        bound=now.bounds(base)[rows] + wake,
        ready=can,
    )
