"""Rotation phases: one device at a time does an activity for a short turn.

The rate in the turn has to be got from the whole phase, by taking off what the rest of the time
drained at the rate of a plain phase. Rates are those of the display, in pp/h.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.flags import NOT_TYPICAL
from kit.drain.part_rows import PartRow, done_h, flag_exposure, planned_h, turns
from kit.drain.states import time_variance
from kit.stats.uncertainty import normal_factor, resolution

if TYPE_CHECKING:
    from kit.drain.phases import Prepared

__all__ = ["plain_phase", "rotation_rows"]

_UNNAMED = ("turn", "rest of the time")


def plain_phase(ready: Prepared, unit: int, phase: int, activity: str) -> int:
    """Return the plain phase nearest to a rotation in which a unit did the other activity, −1.

    A phase that was disturbed (`kit.drain.flags.NOT_TYPICAL`), as by a power saver, is not taken.

    Examples
    --------
    The devices read in the first and in the fourth phase; the rotation is the third:

    >>> from kit.drain.phases import prepare
    >>> from kit.session import Phase
    >>> from tests.helpers.builders import make_session
    >>> plain = [Phase(id=name, label=name, activity=what, planned_min=60)
    ...          for name, what in (("p1", "read"), ("p2", "map"), ("p4", "read"))]
    >>> turn = Phase(id="p3", label="p3", kind="rotation", parts=("scan", "read"), planned_min=60)
    >>> s = make_session(phases=[*plain[:2], turn, plain[2]], readings={"a": [90, 80, 70, 60, 50]})
    >>> plain_phase(prepare(s), 0, 2, "read"), plain_phase(prepare(s), 0, 2, "photo")
    (3, -1)
    """
    session = ready.chains.session
    usable = [
        j
        for j, other in enumerate(session.phases)
        if not other.is_split
        and other.activity == activity
        and ready.status["displayed"][unit, j] == "measured"
        and not any(ready.flags[flag][unit, j] for flag in NOT_TYPICAL)
    ]
    return min(usable, key=lambda j: (abs(j - phase), j), default=-1)


def rotation_rows(ready: Prepared, run: int, phase: int, coverage: float) -> list[PartRow]:
    """Return the rows of one rotation, two per device.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    run, phase
        Positions of run and phase.
    coverage
        Probability of the intervals.

    Notes
    -----
    ``r_A = (d − e_B r_B)/e_A`` with r_B from the nearest plain phase of that activity. From the
    resolution of whole percentages alone, with ρ = e_B over the length of the plain phase, u is
    ``√((ρ² + (1 + ρ)² + 1)/12)/e_A`` where the two share a reading, else ``√((2 + 2ρ²)/12)/e_A``.
    A device without a turn has no value (``not_reached``). ``not_resolvable``: r_B lies within the
    interval, or that reaches 0, below which no rate can lie. Derived in docs/measurement.md.
    """
    chains, session = ready.chains, ready.chains.session
    spec = session.phases[phase]
    a, b = spec.parts or _UNNAMED
    number = chains.runs[run]
    logged = turns(session, number, spec)
    turn_h = float("nan") if spec.turn_min is None else spec.turn_min / 60.0
    rows: list[PartRow] = []
    longest: dict[str, float] = {}
    for i, device in enumerate(chains.devices):
        unit = run * len(chains.devices) + i
        status = str(ready.status["displayed"][unit, phase])
        own = [done_h(t, turn_h) for t in logged.get(device, ()) if t.activity == a]
        silent = not logged and status == "split"
        exposure = float(sum(own)) if own else (planned_h(spec, device) if silent else 0.0)
        total = float(chains.exposure_h[unit, phase])
        rest = total - exposure
        longest[a] = max(longest.get(a, 0.0), exposure if exposure == exposure else 0.0)
        plain = plain_phase(ready, unit, phase, b)
        rows += _rotation_rows(ready, unit, phase, plain, (exposure, rest), coverage,
                               (number, spec.id, device, a, b), status)  # fmt: skip
    return flag_exposure(rows, longest)


def _rotation_rows(
    ready: Prepared, unit: int, phase: int, plain: int, exposures: tuple[float, float],
    coverage: float, names: tuple[int, str, str, str, str], status: str,
) -> list[PartRow]:  # fmt: skip
    number, phase_id, device, a, b = names
    turn, rest = exposures
    base = PartRow(run=number, phase=phase_id, device=device)
    if status != "split" or not turn > 0.0 or plain < 0:
        why = status if status != "split" else ("not_reached" if turn == 0.0 else "no_reading")
        return [
            replace(base, part=a, exposure_h=turn, status=why),
            replace(base, part=b, exposure_h=rest, status=why),
        ]
    chains, now, found = ready.chains, ready.states, ready.drains["displayed"]
    plain_h = float(chains.length_h[unit, plain])
    weight = np.zeros((1, 1, now.level.shape[1]))
    weight[0, 0, [2 * phase, 2 * phase + 1]] = [1.0, -1.0]
    rho = rest / plain_h
    weight[0, 0, 2 * plain] -= rho
    weight[0, 0, 2 * plain + 1] += rho
    shown = resolution(
        weight[0] @ now.matrix[unit],
        weights=chains.observations.weight[unit],
        step=float(chains.observations.step[unit]),
        convention_variance=float(chains.offset_variance[unit]),
    )
    d, d_plain = float(found.drain_pp[unit, phase]), float(found.drain_pp[unit, plain])
    rate_b = d_plain / plain_h
    rate_a = (d - rho * d_plain) / turn
    length_u = float(chains.length_u_h[unit, phase])
    time2 = float(time_variance(now.unit(unit), weight)[0, 0])
    length2 = ((rate_a - rate_b) * length_u) ** 2
    other2 = time2 + length2
    bound = float(found.bound_pp[unit, phase] + rho * found.bound_pp[unit, plain])
    k = normal_factor(coverage)
    half = float(shown.expanded(other2**0.5, coverage, bound=bound)[0]) / turn
    variance = {
        "resolution": float(shown.own[0]), "rounding": float(shown.common[0]),
        "reading_time": time2, "phase_length": length2, "gap": bound**2 / 3.0,
    }  # fmt: skip
    u = float(sum(variance.values()) ** 0.5) / turn
    plain_u = float(found.rate_u_pp_per_h[unit, plain])
    x_plain = float(found.resolution.half_width(coverage)[unit, plain])
    other_plain = float(np.hypot(found.u_other_pp[unit, plain],
                                 found.variance["phase_length"][unit, plain] ** 0.5))  # fmt: skip
    half_b = float(np.hypot(x_plain, k * other_plain) + found.bound_pp[unit, plain]) / plain_h
    blurred = rate_a - half < rate_b < rate_a + half or rate_a <= half
    return [
        replace(
            base, part=a, exposure_h=turn, rate=rate_a, u=u, half_width=half,
            flags=("not_resolvable",) if blurred else (),
            variance={source: v / turn**2 for source, v in variance.items()},
        ),
        replace(
            base, part=b, exposure_h=rest, rate=rate_b, u=plain_u, half_width=half_b,
            variance={
                source: float(v[unit, plain]) / plain_h**2 for source, v in found.variance.items()
            },
        ),
    ]  # fmt: skip
