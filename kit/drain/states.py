"""States of charge at the phase boundaries, as linear functions of the readings.

Everything that the kit computes from percentages is a linear combination of boundary states,
and every boundary state is a linear combination of readings: `states` carries the coefficients, so
that errors belong to readings and cancel where they are shared. Derived in docs/measurement.md.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.boundary_search import UNEVEN
from kit.drain.gauge import error_covariance

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.chains import Chains

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

_MOST_OF_A_PHASE = 0.5
"""A reading further from its boundary than this share of the phase is not corrected by its rate."""

__all__ = ["States", "gauge_covariance", "states", "time_variance"]


@dataclass(frozen=True, kw_only=True)
class States:
    """State of charge at every phase boundary as a linear function of readings.

    Shapes: K units, B = 2·phases boundaries.

    Parameters
    ----------
    valid
        (K, B). Whether the state is known at all.
    transfer
        (K, B, B). Effect on the states of anything that is added at a boundary.
    matrix
        (K, B, B). Coefficients of the readings (by boundary of the reading).
    level
        (K, B). Readings with the stated rounding taken into account (%), 0 where none.
    value
        (K, B). The states (%).
    rate
        (K, B). Rate at the moment of the reading (pp/h), 0 where it is not known.
    rate_phase
        (K, B). Phase whose rate holds then, −1: unknown.
    time_u_h, start_u_h
        (K, B). u of the moment of the reading (h), and of the run's start where that counts: one
        error for all readings.
    extra_variance
        (K, B). Variance (pp²) of what drained between boundary and reading, because the activity
        then is unknown, or did not run at the mean rate of its phase.
    bound, gap_variance
        (K, B). Half-width (pp) and variance (pp²) of the drain in an unlogged gap.
    node
        (K, B). Boundary of the reading, −1 for none or a known full charge.
    """

    valid: Bools
    transfer: Floats
    matrix: Floats
    level: Floats
    value: Floats
    rate: Floats
    rate_phase: Ints
    time_u_h: Floats
    start_u_h: Floats
    extra_variance: Floats
    bound: Floats
    gap_variance: Floats
    node: Ints

    def bounds(self, base: Floats) -> Floats:
        """Return the half-width from gaps for sums of states with coefficients ``base``."""
        effect = np.abs(base @ self.transfer)
        return np.asarray((effect @ self.bound[:, :, None])[:, :, 0])

    def gap_variances(self, base: Floats) -> Floats:
        """Return the variance from gaps for sums of states with coefficients ``base``."""
        effect = (base @ self.transfer) ** 2
        return np.asarray((effect @ self.gap_variance[:, :, None])[:, :, 0])

    def unit(self, k: int) -> States:
        """Return the states of one unit, with the first dimension kept."""
        return States(**{f.name: getattr(self, f.name)[k : k + 1] for f in fields(self)})


def _rate_rows(chains: Chains, known: Bools) -> tuple[Floats, Bools]:
    """Return for each phase its rate as coefficients of the states (K, P, B), and validity."""
    k, p = chains.length_h.shape
    dying = np.arange(p) == chains.death[:, None]
    length = np.where(dying, chains.exposure_h, chains.length_h)
    ok = known[:, 0::2] & (known[:, 1::2] | dying) & chains.timed & ~chains.charged
    inverse = np.where(ok, 1.0 / np.where(ok, length, 1.0), 0.0)
    rows = np.zeros((k, p, 2 * p))
    phases = np.arange(p)
    rows[:, phases, 2 * phases] = inverse
    rows[:, phases, 2 * phases + 1] = np.where(dying, 0.0, -inverse)
    return rows, ok


def _rate_phases(chains: Chains, late: Floats, ok: Bools) -> tuple[Ints, Bools]:
    """Return the phase whose rate holds at each reading (−1: unknown), and gap-borrowed starts."""
    k, b = late.shape
    n_phases = b // 2
    phase = np.broadcast_to(np.arange(b) // 2, (k, b))
    start = np.broadcast_to(np.arange(b) % 2 == 0, (k, b))
    own = chains.observations.node == np.arange(b)
    before = np.repeat(chains.pause_h > 0.0, 2, axis=1)
    after = np.concatenate([before[:, 2:], np.ones((k, min(b, 2)), dtype=bool)], axis=1)
    over_gap = start & ~own & (np.repeat(chains.gap_h, 2, axis=1) > 0.0)
    chosen = np.where(
        start,
        np.where(late >= 0.0, phase, np.where(before, -1, phase - 1)),
        np.where(late < 0.0, phase, np.where(after & own, -1, phase + 1)),
    )
    chosen = np.where((chosen < 0) | (chosen >= n_phases), -1, chosen)
    usable = np.take_along_axis(ok, np.maximum(chosen, 0), axis=1)
    return np.where(usable, chosen, -1), over_gap


def states(chains: Chains) -> States:
    """Return the state of charge at every boundary of every unit.

    Parameters
    ----------
    chains
        From `kit.drain.chains.build_chains`.

    Notes
    -----
    A reading D made a time δ after its boundary, while the device drains at rate r, stands for
    ``D + r·δ`` at the boundary. r is itself the difference of two states over a length, so the
    states are the solution of linear equations, ``s = D + δ·R s``, and the correction is in the
    coefficients of the readings. Across an unlogged gap of length g in which the device drained
    at anything from 0 to R, the state at its end is ``D − gR/2 ± gR/2``.

    Examples
    --------
    90 and 78 %, each read 6 minutes late on average. What the device did after the end is not
    known: at most its busiest rate, 12 × 1.15 = 13.8 pp/h, half of it on average, so the end was at
    78 + 13.8 × 0.1/2 = 78.69 %. The start had x with x = 90 + 0.1 (x − 78.69), that is
    (90 − 7.869)/0.9 = 91.257 %:

    >>> from kit.drain.chains import build_chains
    >>> from kit.session import Assumptions
    >>> from tests.helpers.builders import make_session
    >>> late = Assumptions(reading_delay_min=12)
    >>> s = make_session(phases={"p1": 60}, readings={"a": [90, 78]}, assumptions=late)
    >>> states(build_chains(s)).value.round(3).tolist()
    [[91.257, 78.69]]
    """
    obs = chains.observations
    k, b = obs.level.shape
    index = np.arange(b)
    full0 = chains.full[:, None] & (index == 0)
    known = (obs.node >= 0) | full0
    shift = (chains.offset * obs.step)[:, None]
    level = np.where(np.isnan(obs.level), 0.0, np.minimum(obs.level + shift, 100.0))
    rows, ok = _rate_rows(chains, known)
    safe = np.maximum(obs.node, 0)
    late = np.where(known, np.take_along_axis(obs.late, safe, axis=1), 0.0) / 60.0
    late_u = np.where(known, np.take_along_axis(obs.late_u, safe, axis=1), 0.0) / 60.0
    phase, over_gap = _rate_phases(chains, late, ok)
    free = known & ~full0
    moved = free & ~over_gap
    mu = np.where(moved, late, 0.0)
    pick = np.maximum(phase, 0)
    steep = np.abs(mu) * np.take_along_axis(np.abs(rows).max(axis=2, initial=0.0), pick, axis=1)
    in_phase = moved & (phase >= 0) & (steep <= _MOST_OF_A_PHASE)
    own = np.where(in_phase, mu, 0.0)[:, :, None]
    system = np.eye(b) - own * np.take_along_axis(rows, pick[:, :, None], axis=1)
    transfer = np.asarray(np.linalg.inv(system), dtype=np.float64)
    reading = np.zeros((k, b, b))
    np.put_along_axis(reading, safe[:, :, None], free[:, :, None].astype(np.float64), axis=2)
    matrix = transfer @ reading
    most = chains.busiest[:, None]
    aside = moved & ~in_phase
    after = np.where(aside, np.maximum(mu, 0.0), 0.0)
    gap = np.where(over_gap, np.maximum(np.repeat(chains.gap_h, 2, axis=1) - late, 0.0), 0.0)
    gap_u = np.where(over_gap, np.repeat(chains.gap_u_h, 2, axis=1), 0.0)
    back = np.repeat(chains.end_gap_h, 2, axis=1) * (index % 2 == 1)
    fixed = np.where(full0, 100.0, most * (after + back - gap) / 2.0)
    read = (reading @ level[:, :, None])[:, :, 0]
    value = (transfer @ (read + fixed)[:, :, None])[:, :, 0]
    rates = (rows @ value[:, :, None])[:, :, 0]
    rate = np.where(in_phase, np.take_along_axis(rates, pick, axis=1), 0.0)
    spread = np.where(aside, (after**2 + late_u**2) / 3.0 - after**2 / 4.0, 0.0) * most**2
    return States(
        valid=known,
        transfer=transfer,
        matrix=matrix,
        level=level,
        value=np.where(known, value, np.nan),
        rate=rate,
        rate_phase=np.where(in_phase, phase, -1),
        time_u_h=np.where(moved, late_u, 0.0),
        start_u_h=np.where(moved, np.take_along_axis(obs.start_u, safe, axis=1), 0.0) / 60.0,
        extra_variance=spread + (UNEVEN * rate * mu) ** 2,
        bound=most * ((gap + back) / 2.0 + 2.0 * gap_u),
        gap_variance=most**2 * ((gap + back) ** 2 / 12.0 + gap_u**2 / 4.0),
        node=np.where(free, obs.node, -1),
    )


def gauge_covariance(chains: Chains, now: States) -> Floats:
    """Return the covariance of the gauge's deviations at the readings, shape (K, B, B), pp².

    Examples
    --------
    At 90 and at 78 %: 3²/3 = 3, and 3 exp(−12²/98) = 0.690 in common:

    >>> from kit.drain.chains import build_chains
    >>> from tests.helpers.builders import make_session
    >>> chains = build_chains(make_session(phases={"p1": 60}, readings={"a": [90, 78]}))
    >>> gauge_covariance(chains, states(chains)).round(3).tolist()
    [[[3.0, 0.69], [0.69, 3.0]]]
    """
    given = chains.session.assumptions
    return error_covariance(
        now.level, given.gauge_error_pp, given.gauge_correlation_pp, full=chains.full
    )


def time_variance(now: States, base: Floats) -> Floats:
    """Return the variance from the moments of the readings, for sums of states.

    Parameters
    ----------
    now
        The states.
    base
        Shape (K, n, B). Coefficients of the states in each of n results.

    Returns
    -------
    array
        Shape (K, n), in the square of the unit of the results.

    Examples
    --------
    30 pp in every ten hours, readings 0 to 2 min late: an end is uncertain by 3 × 2/60/√12 =
    0.0289 pp, and by 0.1 × 3/60 = 0.005 pp since no rate is quite even; both ends of the middle
    phase together √(2 × (0.0289² + 0.005²)) = 0.0414 pp. Carrying a reading back over a delay of
    1/600 of its phase multiplies it by 1 + 1/600, that of the end twice: 0.0415:

    >>> from kit.drain.chains import build_chains
    >>> from tests.helpers.builders import make_session
    >>> now = states(build_chains(make_session(phases={"p1": 600, "p2": 600, "p3": 600},
    ...                                        readings={"a": [95, 65, 35, 5]})))
    >>> middle = np.array([[[0.0, 0.0, 1.0, -1.0, 0.0, 0.0]]])
    >>> bool(abs(time_variance(now, middle)[0, 0] ** 0.5 - 0.0415) < 0.0001)
    True
    """
    k, p, b = base.shape
    reach = base @ now.transfer
    effect = reach * now.rate[:, None, :]
    at_node = np.zeros((k, p, b))
    target = np.broadcast_to(np.maximum(now.node, 0)[:, None, :], base.shape)
    units, outputs = np.arange(k)[:, None, None], np.arange(p)[None, :, None]
    np.add.at(at_node, (units, outputs, target), effect)
    u = np.zeros((k, b))
    np.put_along_axis(u, np.maximum(now.node, 0), now.time_u_h, axis=1)
    own = (at_node**2 * u[:, None, :] ** 2).sum(axis=2)
    common = (effect * now.start_u_h[:, None, :]).sum(axis=2) ** 2
    return np.asarray(own + common + (reach**2 * now.extra_variance[:, None, :]).sum(axis=2))
