"""The swap in the middle of a crossover as one more boundary, read by one more reading.

`with_swaps` appends to the boundary states of `kit.drain.model` one state per crossover phase:
the state of charge at the swap. Everything that combines states then treats a half like a
phase.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from kit.drain.part_rows import done_h, turns
from kit.drain.states import States

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from kit.drain.part_rows import Turn
    from kit.drain.phases import Prepared
    from kit.drain.readings import Observed
    from kit.session import Phase

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = ["UNNAMED_PARTS", "Plan", "Swaps", "with_swaps"]

UNNAMED_PARTS = ("first activity", "second activity")
"""Names of the parts of a phase that does not name them."""


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What one device really did in a crossover.

    Parameters
    ----------
    first, second
        Activities in the order in which this device did them.
    exposure
        Activity → time (h).
    swap_h
        Time of the swap (h since the run's start).
    """

    first: str
    second: str
    exposure: dict[str, float]
    swap_h: float


def _plan(
    logged: Sequence[Turn], phase: Phase, device: str,
    start_h: float, length_h: float,
) -> Plan:  # fmt: skip
    a, b = phase.parts or UNNAMED_PARTS
    order = (a, b) if device in phase.first_half else (b, a)
    half = length_h / 2.0
    exposure = dict.fromkeys(order, half)
    swap = start_h + half
    named = [turn for turn in logged if turn.activity in (a, b)]
    if named:
        first = named[0].activity
        order = (first, b if first == a else a)
        for part in (a, b):
            own = [done_h(turn, half) for turn in named if turn.activity == part]
            if own:
                exposure[part] = float(sum(own))
        begin = named[0].start_min / 60.0
        ends = [named[0].end_min / 60.0, *(t.start_min / 60.0 for t in named[1:2])]
        known = [t for t in (*ends, begin + exposure[first]) if t == t]
        swap = known[0] if known else swap
    return Plan(first=order[0], second=order[1], exposure=exposure, swap_h=swap)


def _middle(obs: Observed, unit: int, phase: int, swap_h: float) -> int:
    """Return the reading inside the phase that is nearest to the swap, −1 if none is."""
    rows = np.flatnonzero((obs.unit == unit) & (obs.phase == phase) & (obs.point == 2) & ~obs.tick)
    if not rows.size:
        return -1
    t = obs.t[rows] / 60.0
    if np.isnan(t).all() or np.isnan(swap_h):
        return int(rows[0]) if rows.size == 1 else -1
    return int(rows[np.nanargmin(np.abs(t - swap_h))])


@dataclass(frozen=True, kw_only=True)
class Swaps:
    """Boundary states with the swaps appended.

    Parameters
    ----------
    states
        As `kit.drain.states.States`, B + S boundaries for S crossover phases.
    weights
        Shape (K, B + S). Variance factor of each reading's resolution.
    column
        Position of a crossover phase → its boundary.
    plans
        (unit, position of the phase) → what the device did.
    rows
        The same → which observation was made at the swap, −1: none.
    """

    states: States
    weights: Floats
    column: Mapping[int, int]
    plans: Mapping[tuple[int, int], Plan]
    rows: Mapping[tuple[int, int], int]


def _delay(ready: Prepared, obs: Observed, row: int, swap_h: float) -> tuple[float, float]:
    """Return how long after the swap lies what its reading shows, and u of that (h)."""
    given = ready.chains.session.assumptions
    tau, lag = given.reading_delay_min / 60.0, given.display_lag_min / 60.0
    made, u = _made_after(ready, obs, row, swap_h, tau)
    return made - lag / 2.0, float(np.hypot(u, lag / 12.0**0.5))


def _made_after(
    ready: Prepared, obs: Observed, row: int, swap_h: float, tau: float
) -> tuple[float, float]:
    """Return how long after the swap a look was made within tau, and u of that (h)."""
    after = float(obs.t[row]) / 60.0 - swap_h
    by_clock = after == after and abs(after) > tau
    if by_clock:
        return after, float(np.hypot(obs.resolution[row], 1.0)) / 60.0 / 12.0**0.5
    n = len(ready.chains.devices)
    place = int(obs.order[row])
    if 0 < place <= n and n > 1:
        return (place - 0.5) / n * tau, tau / 2.0 / 12.0**0.5
    return tau / 2.0, tau / 12.0**0.5


def _grown(values: NDArray[np.generic], extra: int, fill: float) -> NDArray[np.generic]:
    """Return an array of shape (K, B) with ``extra`` more columns."""
    more = np.full((values.shape[0], extra), fill).astype(values.dtype)
    return np.concatenate([values, more], axis=1)


def with_swaps(ready: Prepared) -> Swaps:
    """Return the boundary states with one more for each crossover phase.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`. The reading inside the phase that is nearest to the swap
        stands for it; without one the state is not valid.

    Examples
    --------
    90 % at the start, 78 at the swap, 70 at the end: the swap is boundary 2, and a did "map" first:

    >>> from kit.drain.phases import prepare
    >>> from kit.session import Phase
    >>> from tests.helpers.builders import BARE, make_session
    >>> cross = Phase(id="x", label="x", kind="crossover", parts=("map", "photo"),
    ...               first_half=("a",), planned_min=60)
    >>> s = make_session(phases=[cross], readings={"a": [90, 70]}, assumptions=BARE, more_readings=[
    ...     {"device": "a", "phase": "x", "point": "inside", "t_min": 30, "soc_pct": 78}])
    >>> ready = prepare(s)
    >>> found = with_swaps(ready)
    >>> found.states.value.tolist(), found.column, found.plans[0, 0].first
    ([[90.0, 70.0, 78.0]], {0: 2}, 'map')
    """
    chains, now = ready.chains, ready.states
    session, obs = chains.session, chains.observed
    phases = [j for j, phase in enumerate(session.phases) if phase.kind == "crossover"]
    k, b = now.level.shape
    extra = len(phases)
    fields: dict[str, Any] = {
        name: _grown(getattr(now, name), extra, fill)
        for name, fill in (
            ("valid", 0.0), ("level", 0.0), ("value", np.nan), ("rate", 0.0),
            ("rate_phase", -1.0), ("time_u_h", 0.0), ("start_u_h", 0.0),
            ("extra_variance", 0.0), ("bound", 0.0),
            ("gap_variance", 0.0), ("node", -1.0),
        )
    }  # fmt: skip
    matrix = np.zeros((k, b + extra, b + extra))
    matrix[:, :b, :b] = now.matrix
    transfer = np.tile(np.eye(b + extra), (k, 1, 1))
    transfer[:, :b, :b] = now.transfer
    plans: dict[tuple[int, int], Plan] = {}
    rows: dict[tuple[int, int], int] = {}
    column = {phase: b + i for i, phase in enumerate(phases)}
    n = len(chains.devices)
    for phase in phases:
        spec = session.phases[phase]
        logged = [turns(session, number, spec) for number in chains.runs]
        known: dict[int, tuple[Plan, int]] = {}
        for unit, source in enumerate(chains.origin.tolist()):
            if source not in known:
                run, place = divmod(source, n)
                device = chains.devices[place]
                made = _plan(
                    logged[run].get(device, ()), spec, device,
                    float(chains.start_h[unit, phase]), float(chains.length_h[unit, phase]),
                )  # fmt: skip
                known[source] = made, _middle(obs, source, phase, made.swap_h)
            plan, row = known[source]
            plans[unit, phase], rows[unit, phase] = plan, row
            rest = plan.exposure[plan.second]
            end = 2 * phase + 1
            if row < 0 or not rest > 0.0 or not now.valid[unit, end]:
                continue
            late, late_u = _delay(ready, obs, row, plan.swap_h)
            late = min(late, rest / 2.0)
            at = column[phase]
            shift = chains.offset[unit] * chains.observations.step[unit]
            is_other = row == chains.other_at[unit]
            soc = float(chains.other_pct[unit] if is_other else obs.soc[row])
            level = min(soc + shift, 100.0)
            # s = D + late·(s − s_end)/rest, solved for s
            own = 1.0 / (1.0 - late / rest)
            for part in (matrix, transfer):
                part[unit, at] = (1.0 - own) * part[unit, end]
                part[unit, at, at] = own
            fields["valid"][unit, at] = True
            fields["level"][unit, at] = level
            fields["node"][unit, at] = at
            value = own * level + (1.0 - own) * now.value[unit, end]
            fields["value"][unit, at] = value
            fields["rate"][unit, at] = (value - now.value[unit, end]) / rest
            fields["time_u_h"][unit, at] = late_u
    return Swaps(
        states=States(matrix=matrix, transfer=transfer, **fields),
        weights=np.asarray(_grown(chains.observations.weight, extra, 1.0), dtype=np.float64),
        column=column,
        plans=plans,
        rows=rows,
    )
