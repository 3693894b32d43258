"""What may have happened to one unit, drawn many times: every error from its distribution.

Readings, delays, gaps, the start, the power-off, the lengths of phases, what the gauge counts and
the energy of the battery are drawn from the distributions that the budget states, and everything
is computed from them as if they were what happened. Nothing is linearised but the deviation of the
gauge and the swap within a phase.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.boundary_search import UNEVEN
from kit.drain.drawn import centred, single, spread, uniform
from kit.drain.model import HELD_FULL_HALF_WIDTH_PP, full_hold_moments
from kit.drain.rated_energy import rated_energy
from kit.stats.monte_carlo import triangular_root, weighted_sum

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.drawn import Drawn
    from kit.drain.phases import Prepared
    from kit.drain.segments import Segments
    from kit.drain.states import States

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Draws = NDArray[np.float32]

__all__ = ["UnitDraws"]

_UNTOLD_PP = 0.03
"""What uneven rates near a boundary make less than this (pp) is not drawn: beside the 0.289 pp of
one reading it makes u larger by ½ · (0.03/0.289)², half a per cent."""

_LEAST_EXPOSURE_H = 1e-3
"""A drawn time to a power-off below this (3.6 s) is taken as this: no division by nothing. Times
that are not known well enough for a rate (`Chains.timed`) do not come here."""

_PASSES = 2
"""Rates need the states and the states need the rates; each pass shrinks what is left by the
share of a delay in a phase."""


@dataclass(frozen=True)
class UnitDraws:
    """Everything that the draws of one unit need.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    found
        From `kit.drain.segments.segments`.
    k
        The unit.
    phases
        Positions of the phases in which it has a displayed drain.
    """

    ready: Prepared
    found: Segments
    k: int
    phases: Ints

    def draw(self, rng: np.random.Generator, out: Drawn) -> tuple[dict[int, Draws], Draws]:
        """Fill ``out`` with draws, but for the mixes.

        Returns
        -------
        at, z
            The percentage at every boundary and swap, and the standard normal draws, (nodes, m),
            from which the gauge's deviations at the readings are made.
        """
        chains = self.ready.chains
        k, p = self.k, self.phases
        m = out.counts.size
        common = self._rounding(rng, m)
        read = self._readings(rng, m, common)
        late = self._moments(rng, m)
        length, off = self._lengths(rng, m)
        gaps = self._gaps(rng, m, late)
        uneven = self._uneven(rng, m)
        b_plain = chains.observations.level.shape[1]
        at = {b: read[n] for b, n in enumerate(self._now.node[k, :b_plain].tolist()) if n >= 0}
        for _ in range(_PASSES):
            rates = self._rates(at, length, off)
            at = {b: self._state(b, read, late, rates, gaps, uneven) for b in at}
        if chains.full[k]:
            at[0] = np.full(m, 100.0, dtype=np.float32)
        dying = chains.death[k]
        end_true: Draws | None = None
        for i, phase in enumerate(p.tolist()):
            out.total[i] = np.nan
            if phase == dying:
                end_true = uniform(rng, m, *chains.off_pct[k])
                np.subtract(at[2 * phase], end_true, out=out.displayed[i])
                out.exposure[i] = off
            else:
                np.subtract(at[2 * phase], at[2 * phase + 1], out=out.displayed[i])
                out.exposure[i] = length.get(phase, np.nan)
                if 0 in at:
                    np.subtract(at[0], at[2 * phase + 1], out=out.total[i])
        wake = np.sqrt(3.0 * self.ready.drains["displayed"].variance["wake"][k, p])
        for i in np.flatnonzero(wake > 0.0).tolist():
            out.displayed[i] += centred(rng, m) * np.float32(2.0 * wake[i])
        z = rng.standard_normal((self.nodes.size, m), dtype=np.float32)
        for i, weights in enumerate(self._gauge_weights):
            np.add(out.displayed[i], weighted_sum(weights, z), out=out.true[i])
        if end_true is not None:
            out.true[p == dying] += end_true
        self._full_start(rng, m, out)
        share, half = (float(v[k, 0]) for v in (self.found.share, self.found.share_half_width))
        out.counts[:] = uniform(rng, m, share - half, share + half)
        out.rated_wh[:] = self._rated(rng, m)
        out.runtime[:] = self._runtime(rng, m)
        self._swaps(rng, m, at, read)
        return at, z

    @property
    def _now(self) -> States:
        """Return the states with one more for each swap within a phase."""
        return self.found.swaps.states

    @cached_property
    def nodes(self) -> Ints:
        """Return the boundaries whose readings are used."""
        node = self._now.node[self.k]
        return np.unique(node[node >= 0])

    def _full_start(self, rng: np.random.Generator, m: int, out: Drawn) -> None:
        """Put what is not known of a full start into the true drain of the first phase."""
        chains = self.ready.chains
        if not self.phases.size or self.phases[0] != 0 or not chains.full[self.k]:
            return
        hold = chains.session.assumptions.full_hold_max_min / 60.0
        if hold > 0.0 and chains.timed[self.k, 0]:
            out.true[0] *= out.exposure[0] / (out.exposure[0] - uniform(rng, m, 0.0, hold))
        if np.nan_to_num(self.ready.drains["true_charge"].variance["full_start"])[self.k, 0] > 0.0:
            out.true[0] += uniform(rng, m, -HELD_FULL_HALF_WIDTH_PP, HELD_FULL_HALF_WIDTH_PP)

    def _held(self, phases: Ints) -> Floats:
        """Return the factor for a display held at 100 %, which the variances have in them."""
        chains, hold = self.ready.chains, self.ready.chains.session.assumptions.full_hold_max_min
        if hold <= 0.0 or not chains.full[self.k]:
            return np.ones(phases.shape)
        mean, _ = full_hold_moments(
            self.ready.drains["displayed"].exposure_h[self.k, phases], hold / 60.0
        )
        return np.where((phases == 0) & np.isfinite(mean), mean, 1.0)

    # --- the gauge --------------------------------------------------------------------------

    @cached_property
    def gauge_root(self) -> Floats:
        """Return R with R Rᵀ = the covariance of the gauge's deviations at the readings."""
        covariance = self.found.gauge[self.k][np.ix_(self.nodes, self.nodes)]
        return triangular_root(covariance)

    @cached_property
    def _gauge_weights(self) -> Floats:
        """Return what standard normal draws at the readings add to each drain, (P, nodes).

        A phase in which the unit powered off has a deviation of its own, since the charge is 0
        there: the same errors, scaled to that.
        """
        b = self.ready.states.node.shape[1]
        inside = self.nodes[self.nodes < b]
        found = self.ready.drains["true_charge"]
        weights = np.zeros((self.phases.size, self.nodes.size))
        weights[:, : inside.size] = found.coefficients[self.k][np.ix_(self.phases, inside)]
        weights = weights @ self.gauge_root
        spread = np.sqrt(np.nan_to_num(found.variance["gauge"][self.k, self.phases]))
        own = np.sqrt((weights**2).sum(axis=1))
        held = self._held(self.phases)
        scale = np.where(own > 0.0, spread / held / np.where(own > 0.0, own, 1.0), 0.0)
        return np.asarray(weights * scale[:, None])

    # --- what was read, and when ---------------------------------------------------------------

    def _rounding(self, rng: np.random.Generator, m: int) -> Draws:
        """Return the offset that all readings of the display share (pp)."""
        chains, k = self.ready.chains, self.k
        if not chains.offset_variance[k] > 0.0:
            return np.zeros(m, dtype=np.float32)
        choice = rng.integers(-1, 2, size=m, dtype=np.int8)
        return choice.astype(np.float32) * np.float32(chains.observations.step[k] / 2.0)

    def _readings(self, rng: np.random.Generator, m: int, common: Draws) -> dict[int, Draws]:
        """Return the true percentage at the moment of each reading."""
        k = self.k
        step = np.float32(self.ready.chains.observations.step[k])
        read = {}
        for b in self.nodes.tolist():
            value = common + np.float32(self._now.level[k, b])
            if self.found.swaps.weights[k, b] > 0.0:
                value += centred(rng, m) * step
            read[b] = value
        return read

    def _moments(self, rng: np.random.Generator, m: int) -> dict[int, Draws]:
        """Return the time from the boundary to each reading (h)."""
        obs, k = self.ready.chains.observations, self.k
        late = {}
        used = self.nodes[self.nodes < obs.level.shape[1]].tolist()
        started = None
        if obs.start_u[k, used].any():
            started = uniform(rng, m, -(3.0**0.5), 3.0**0.5)
        for b in used:
            middle, u = obs.late[k, b] / 60.0, obs.late_u[k, b] / 60.0
            # two noted minutes, of the boundary and of the reading: a triangle
            half = u * 1.5**0.5
            late[b] = uniform(rng, m, middle - half, middle + half)
            if half > 0.0:
                late[b] += centred(rng, m) * np.float32(2.0 * half)
            if started is not None and obs.start_u[k, b] > 0.0:
                late[b] += started * np.float32(obs.start_u[k, b] / 60.0)
        return late

    def _uneven(self, rng: np.random.Generator, m: int) -> dict[int, Draws]:
        """Return by what factor the rate near a boundary differs from its phase's."""
        now, k = self.ready.states, self.k
        known = (now.node[k] >= 0) & (now.rate_phase[k] >= 0)
        told = known & (now.extra_variance[k] >= _UNTOLD_PP**2)
        share = np.float32(UNEVEN)
        return {
            b: 1 + share * rng.standard_normal(m, dtype=np.float32)
            for b in np.flatnonzero(told).tolist()
        }

    # --- how long it took ----------------------------------------------------------------------

    def _lengths(self, rng: np.random.Generator, m: int) -> tuple[dict[int, Draws], Draws]:
        """Return the lengths of the phases, and the time from the last start to the power-off."""
        chains, k = self.ready.chains, self.k
        length = {}
        dying = chains.death[k]
        for p in range(chains.length_h.shape[1]):
            value, u = chains.length_h[k, p], chains.length_u_h[k, p]
            if value > 0.0 and (p == dying or chains.timed[k, p]):
                length[p] = spread(rng, m, value, u)
        off = np.zeros(m, dtype=np.float32)
        if dying >= 0 and chains.timed[k, dying]:
            off = spread(rng, m, chains.exposure_h[k, dying], chains.off_u_h[k])
        return length, off

    def _runtime(self, rng: np.random.Generator, m: int) -> Draws:
        """Return the runtime: power-off and start anywhere in their windows (h)."""
        run, i = divmod(self.k, len(self.ready.chains.devices))
        offs = self.ready.chains.off_times[run]
        if not np.isfinite(offs.high[i]):
            return np.full(m, np.nan, dtype=np.float32)
        off = uniform(rng, m, offs.low[i] / 60.0, offs.high[i] / 60.0)
        start = uniform(rng, m, offs.start_low[i] / 60.0, offs.start_high[i] / 60.0)
        return single(np.maximum(off - start, 0))

    # --- boundaries ----------------------------------------------------------------------------

    def _gaps(self, rng: np.random.Generator, m: int, late: dict[int, Draws]) -> dict[int, Draws]:
        """Return what drained between reading and boundary where no known activity ran (pp)."""
        chains, now, k = self.ready.chains, self.ready.states, self.k
        most = float(chains.busiest[k])
        drained: dict[int, Draws] = {}
        for b, node in enumerate(now.node[k].tolist()):
            if node < 0:
                continue
            gap = float(chains.gap_h[k, b // 2]) if b % 2 == 0 else 0.0
            back = float(chains.end_gap_h[k, b // 2]) if b % 2 == 1 else 0.0
            if gap > 0.0:
                left = spread(rng, m, gap, float(chains.gap_u_h[k, b // 2])) - late[node]
                drained[b] = single(-np.maximum(left, 0) * uniform(rng, m, 0.0, most))
            elif now.rate_phase[k, b] < 0:
                drained[b] = single(np.maximum(late[node], 0) * uniform(rng, m, 0.0, most))
            if back > 0.0:
                more = np.float32(back) * uniform(rng, m, 0.0, most)
                drained[b] = single(drained.get(b, np.float32(0.0)) + more)
        return drained

    def _rates(
        self, at: dict[int, Draws], length: dict[int, Draws], off: Draws
    ) -> dict[int, Draws]:
        """Return the rate of each phase whose two ends are known (pp/h)."""
        chains, k = self.ready.chains, self.k
        rates: dict[int, Draws] = {}
        for p in range(chains.length_h.shape[1]):
            pinned = p == 0 and bool(chains.full[k])
            if (2 * p not in at and not pinned) or chains.charged[k, p]:
                continue
            start = np.float32(100.0) if pinned else at[2 * p]
            if not chains.timed[k, p]:
                continue
            if p == chains.death[k]:
                rates[p] = single(start / np.maximum(off, np.float32(_LEAST_EXPOSURE_H)))
            elif p in length and 2 * p + 1 in at:
                rates[p] = single((start - at[2 * p + 1]) / length[p])
        return rates

    def _state(
        self, b: int, read: dict[int, Draws], late: dict[int, Draws], rates: dict[int, Draws],
        gaps: dict[int, Draws], uneven: dict[int, Draws],
    ) -> Draws:  # fmt: skip
        """Return the true percentage at one boundary."""
        now, k = self.ready.states, self.k
        node = int(now.node[k, b])
        phase = int(now.rate_phase[k, b])
        value = read[node]
        if phase >= 0:
            fell = late[node] * rates[phase]
            value = single(value + (fell * uneven[b] if b in uneven else fell))
        return single(value + gaps[b]) if b in gaps else value

    def _swaps(
        self, rng: np.random.Generator, m: int, at: dict[int, Draws], read: dict[int, Draws]
    ) -> None:
        """Put the states at the swaps within phases into ``at``, linear in the time of the look."""
        now, k = self._now, self.k
        for phase, b in self.found.swaps.column.items():
            if not now.valid[k, b]:
                continue
            own = np.float32(now.matrix[k, b, b])
            moved = spread(rng, m, 0.0, float(now.time_u_h[k, b])) * np.float32(now.rate[k, b])
            at[b] = single(own * read[b] + (1 - own) * at[2 * phase + 1] + moved)

    # --- energy ------------------------------------------------------------------------

    def _rated(self, rng: np.random.Generator, m: int) -> Draws:
        """Return the energy of a full charge (Wh)."""
        chains = self.ready.chains
        known = rated_energy(chains.session.devices[int(chains.unit_device[self.k])])
        if known is None:
            return np.full(m, np.nan, dtype=np.float32)
        rated = spread(rng, m, 1.0, known.tolerance_u)
        if "health_unknown" in known.flags:
            health = spread(rng, m, 1.0, known.health_u)
        else:
            health = 1 + rng.standard_normal(m, dtype=np.float32) * np.float32(known.health_u)
        return single(rated * health * np.float32(known.energy_wh))
