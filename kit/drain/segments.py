"""Stretches of a session in which one device did one activity: phases, halves, turns.

A *segment* is a plain phase, one half of a crossover, or the turn of a rotation. Its drain is a
combination of boundary states, so that whatever is made from several segments knows which
readings they share. Drains are true-charge drains as a measure of energy (`kit.drain.power_drain`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.flags import LITTLE_CHARGE_PCT, NOT_TYPICAL, SHORT_EXPOSURE_H
from kit.drain.gauge import charge_excess
from kit.drain.part_rows import done_h, planned_h, turns
from kit.drain.reference_repeats import charge_share
from kit.drain.rotation import plain_phase
from kit.drain.states import gauge_covariance
from kit.drain.swaps import UNNAMED_PARTS, with_swaps

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.drain.swaps import Swaps

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]
    Texts = NDArray[np.object_]

__all__ = ["Segments", "segments"]


@dataclass(frozen=True, kw_only=True)
class Segments:
    """Segments of every unit; shapes: K units, S segments, B boundary states.

    Parameters
    ----------
    swaps
        The boundary states.
    activity
        (K, S). What the unit did; differs by unit in the halves of a crossover.
    usable
        (K, S). Whether the segment may stand for its activity.
    phase, plain
        (S,). The phase that the segment lies in, and whether it is all of it.
    indirect
        (S,). The turn of a rotation: used only where nothing better stands for the activity.
    hours
        (K, S). Time that it lasted (h).
    base
        (K, S, B). The drain as a combination of states.
    dying
        (K, S). The unit powered off at the end of the segment.
    drain_pp
        (K, S). True-charge drain (pp).
    beta
        (K, S). Effect of the level on a gauge that counts charge.
    share, share_half_width
        (K, 1). How much of that effect the unit's gauge shows.
    plain_rate
        (K, S). Rate (pp/h) at which the rest of a rotation is taken off; 0 for others.
    length_u_h
        (K, S). u of the length (h).
    start_variance
        (K, S). Variance from the charge at the start (pp²).
    wake_pp
        (K, S). Half-width for what looking at a device with its screen off took (pp).
    gauge
        (K, B, B). Covariance of the gauge's deviations at the readings (pp²).
    """

    swaps: Swaps
    activity: Texts
    usable: Bools
    phase: Ints
    plain: Bools
    indirect: Bools
    hours: Floats
    base: Floats
    dying: Bools
    drain_pp: Floats
    beta: Floats
    share: Floats
    share_half_width: Floats
    plain_rate: Floats
    length_u_h: Floats
    start_variance: Floats
    wake_pp: Floats
    gauge: Floats

    @cached_property
    def factor(self) -> Floats:
        """Return the factor from drain to a measure of energy, shape (K, S)."""
        return np.asarray(1.0 / (1.0 + self.share * self.beta))

    @cached_property
    def _found(self) -> dict[str, tuple[Bools, Floats]]:
        return {}

    def standing_for(self, activity: str) -> tuple[Bools, Floats]:
        """Return which segments stand for an activity, (K, S), and their hours together, (K,).

        The same activity is asked for in one mix after the other; it is looked up once.
        """
        if activity not in self._found:
            here = self.usable & (self.activity == activity)
            direct = here & ~self.indirect
            here = np.where(direct.any(axis=1, keepdims=True), direct, here)
            self._found[activity] = here, np.where(here, self.hours, 0.0).sum(axis=1)
        return self._found[activity]


def _layout(ready: Prepared) -> list[tuple[int, str]]:
    """Return (phase, kind) of the segments in order; kind: plain, first, second, turn."""
    kinds = {"crossover": ("first", "second"), "rotation": ("turn",)}
    return [
        (j, kind)
        for j, phase in enumerate(ready.chains.session.phases)
        for kind in kinds.get(phase.kind, ("plain",))
    ]


def _usable(ready: Prepared) -> Bools:
    """Return in which phases a unit may stand for an activity at all, shape (K, P)."""
    chains = ready.chains
    barred = np.zeros(chains.length_h.shape, dtype=bool)
    for flag in NOT_TYPICAL:
        barred |= ready.flags[flag]
    status = ready.status["true_charge"].astype(str)
    with np.errstate(invalid="ignore"):
        brief = (chains.exposure_h < SHORT_EXPOSURE_H) | (
            ready.drains["displayed"].start_pct < LITTLE_CHARGE_PCT
        )
    split = ready.flags["split"]
    whole = np.isin(status, ("measured", "split"))
    # a phase that ended in the power-off has a drain only if its start was read
    read = ~np.isnan(ready.drains["true_charge"].drain_pp)
    cut = (status == "died") & read & chains.timed & ~brief & ~split
    return np.asarray((whole | cut) & ~barred, dtype=bool)


@dataclass(kw_only=True)
class _Draft:
    """The arrays of the segments while they are being filled."""

    activity: Texts
    usable: Bools
    hours: Floats
    base: Floats
    plain_rate: Floats


def _fill_crossover(ready: Prepared, swaps: Swaps, draft: _Draft, s: int, phase: int,
                    kind: str) -> None:  # fmt: skip
    middle = swaps.column[phase]
    begin, end = (2 * phase, middle) if kind == "first" else (middle, 2 * phase + 1)
    draft.base[:, s, begin], draft.base[:, s, end] = 1.0, -1.0
    draft.usable[:, s] &= swaps.states.valid[:, middle]
    for unit in range(ready.chains.units):
        plan = swaps.plans[unit, phase]
        name = plan.first if kind == "first" else plan.second
        draft.activity[unit, s] = name
        draft.hours[unit, s] = plan.exposure[name]


def _fill_turn(ready: Prepared, draft: _Draft, s: int, phase: int) -> None:
    chains = ready.chains
    spec = chains.session.phases[phase]
    name, other = spec.parts or UNNAMED_PARTS
    turn_h = np.nan if spec.turn_min is None else spec.turn_min / 60.0
    every = [turns(chains.session, number, spec) for number in chains.runs]
    for unit, (run, k) in enumerate(
        zip(chains.unit_run.tolist(), chains.unit_device.tolist(), strict=True)
    ):
        logged, device = every[run], chains.devices[k]
        own = [done_h(t, turn_h) for t in logged.get(device, ()) if t.activity == name]
        hours = float(sum(own)) if own else (0.0 if logged else planned_h(spec, device))
        plain = plain_phase(ready, unit, phase, other)
        draft.activity[unit, s] = name
        draft.hours[unit, s] = hours
        draft.usable[unit, s] &= plain >= 0
        if plain < 0:
            continue
        rho = (float(chains.exposure_h[unit, phase]) - hours) / chains.length_h[unit, plain]
        draft.base[unit, s, [2 * phase, 2 * phase + 1]] += [1.0, -1.0]
        draft.base[unit, s, [2 * plain, 2 * plain + 1]] -= [rho, -rho]
        draft.plain_rate[unit, s] = ready.drains["displayed"].rate_pp_per_h[unit, plain]


def segments(ready: Prepared, *, coverage: float = 0.95) -> Segments:
    """Return the segments of a session.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    coverage
        Probability, for what a repeated reference phase says about the gauge.

    Examples
    --------
    >>> from kit.drain.phases import prepare
    >>> from tests.helpers.builders import make_session
    >>> ready = prepare(make_session(phases={"map": 60, "photo": 30}, timed=False,
    ...                              readings={"a": [90, 78, 72]}))
    >>> found = segments(ready)
    >>> found.activity.tolist(), found.hours.tolist(), found.plain.tolist()
    ([['map', 'photo']], [[1.0, 0.5]], [True, True])
    >>> here, hours = found.standing_for("photo")
    >>> here.tolist(), hours.tolist()
    ([[False, True]], [0.5])
    """
    chains = ready.chains
    swaps = with_swaps(ready)
    now = swaps.states
    layout = _layout(ready)
    phase = np.array([j for j, _ in layout], dtype=np.int64)
    k, s_total, b = chains.units, len(layout), now.level.shape[1]
    dying = (phase[None, :] == chains.death[:, None]) & (chains.length_h.shape[1] > 0)
    names = np.array([p.activity for p in chains.session.phases], dtype=object)
    draft = _Draft(
        activity=np.tile(names[phase], (k, 1)) if s_total else np.empty((k, 0), dtype=object),
        usable=_usable(ready)[:, phase],
        hours=chains.exposure_h[:, phase].copy(),
        base=np.zeros((k, s_total, b)),
        plain_rate=np.zeros((k, s_total)),
    )
    for s, (j, kind) in enumerate(layout):
        if kind == "plain":
            draft.base[:, s, 2 * j] = 1.0
            draft.base[:, s, 2 * j + 1] = np.where(dying[:, s], 0.0, -1.0)
        elif kind == "turn":
            _fill_turn(ready, draft, s, j)
        else:
            _fill_crossover(ready, swaps, draft, s, j, kind)
    true, shown = ready.drains["true_charge"], ready.drains["displayed"]
    with np.errstate(divide="ignore", invalid="ignore"):
        hold = np.where(dying, 1.0, (true.drain_pp / shown.drain_pp)[:, phase])
    hold = np.where(np.isfinite(hold) & (phase == 0), hold, 1.0)
    value = np.nan_to_num(now.value)
    drain = np.maximum((draft.base @ value[:, :, None])[:, :, 0] * hold, 0.0)
    rate_ok = draft.usable & (draft.hours > 0.0)
    middle = value[:, 2 * phase] - drain / 2.0
    counts = charge_share(ready, coverage)
    start = np.nan_to_num(true.variance["full_start"])
    if "full_hold" in true.variance:
        start = start + np.nan_to_num(true.variance["full_hold"])
    return Segments(
        swaps=swaps,
        activity=draft.activity,
        usable=rate_ok,
        phase=phase,
        plain=np.array([kind == "plain" for _, kind in layout], dtype=bool),
        indirect=np.array([kind == "turn" for _, kind in layout], dtype=bool),
        hours=draft.hours,
        base=draft.base * hold[:, :, None],
        dying=dying,
        drain_pp=np.where(rate_ok, drain, np.nan),
        beta=charge_excess(middle),
        share=counts.share[:, None],
        share_half_width=counts.half_width[:, None],
        plain_rate=draft.plain_rate,
        length_u_h=np.where(dying, chains.off_u_h[:, None], chains.length_u_h[:, phase]),
        start_variance=start[:, phase] * (np.array([k != "second" for _, k in layout])),
        wake_pp=np.sqrt(3.0 * np.nan_to_num(true.variance["wake"][:, phase])),
        gauge=gauge_covariance(chains, now),
    )
