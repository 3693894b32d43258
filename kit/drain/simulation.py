"""The drains again, by Monte Carlo: every error drawn, nothing linearised.

The closed form of `kit.drain.model` is the one that a report can always afford; this module is
its check. Readings, delays, gaps, the start, the power-off and the length of the phases are
drawn from the distributions that the budget states, and the drain is computed from them as if
they were what happened.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.model import HELD_FULL_HALF_WIDTH_PP, full_hold_moments
from kit.drain.phases import MEASURANDS
from kit.drain.readings import UNEVEN
from kit.stats.monte_carlo import block_size, sorted_interval, tolerance

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.results import Measurand

    Floats = NDArray[np.float64]
    Draws = NDArray[np.float32]

__all__ = ["Simulated", "simulate_drains", "simulate_to_digits"]

CHUNK = 50_000
"""Draws made at a time: a few arrays of this length stay in the processor's cache."""

_UNTOLD_PP = 0.03
"""What uneven rates near a boundary make less than this (pp) is not drawn."""

_PASSES = 2
"""Rates need the states and the states need the rates; each pass shrinks what is left by the
share of a delay in a phase."""


@dataclass(frozen=True, kw_only=True)
class Simulated:
    """What the draws say; arrays of shape (K, P) per measurand, NaN where there is no drain.

    Parameters
    ----------
    stable_digits
        Significant digits of u to which all figures are stable, ``None``: not looked at, 0: not
        even one.
    u
        Standard deviation of the drain (pp).
    low, high
        Ends of the symmetric coverage interval of the drain (pp).
    rate_low, rate_high
        The same of the rate (pp/h).
    """

    draws: int
    coverage: float
    stable_digits: int | None = None
    u: Mapping[Measurand, Floats]
    low: Mapping[Measurand, Floats]
    high: Mapping[Measurand, Floats]
    rate_low: Mapping[Measurand, Floats]
    rate_high: Mapping[Measurand, Floats]


@dataclass(frozen=True, kw_only=True)
class _Unit:
    """Everything that the draws of one unit need, as plain numbers by phase and boundary."""

    ready: Prepared
    k: int
    phases: NDArray[np.int64]

    def draw(self, rng: np.random.Generator, m: int) -> tuple[Draws, Draws, Draws]:
        """Return displayed drain, true-charge drain and exposure, each (phases, m)."""
        chains = self.ready.chains
        k, p = self.k, self.phases
        read = self._readings(rng, m)
        late = self._moments(rng, m)
        length, off = self._lengths(rng, m)
        gaps = self._gaps(rng, m, late)
        uneven = self._uneven(rng, m)
        at = {b: read[int(n)] for b, n in enumerate(self.ready.states.node[k]) if n >= 0}
        for _ in range(_PASSES):
            rates = self._rates(at, length, off)
            at = {b: self._state(b, read, late, rates, gaps, uneven) for b in at}
        if chains.full[k]:
            at[0] = np.full(m, 100.0, dtype=np.float32)
        dying = chains.death[k]
        displayed = np.empty((p.size, m), dtype=np.float32)
        exposure = np.empty((p.size, m), dtype=np.float32)
        end_true = np.zeros((p.size, m), dtype=np.float32)
        for i, phase in enumerate(p.tolist()):
            if phase == dying:
                shown = _uniform(rng, m, *chains.off_pct[k])
                displayed[i] = at[2 * phase] - shown
                end_true[i] = shown
                exposure[i] = off
            else:
                displayed[i] = at[2 * phase] - at[2 * phase + 1]
                exposure[i] = length.get(phase, np.nan)
        wake = np.sqrt(3.0 * self.ready.drains["displayed"].variance["wake"][k, p])
        if wake.any():
            displayed += _centred(rng, (p.size, m)) * (2.0 * wake[:, None]).astype(np.float32)
        true = displayed + end_true
        variance = self.ready.drains["true_charge"].variance
        spread = np.sqrt(np.nan_to_num(variance["gauge"][k, p]))
        gauge = (spread / self._held(p)).astype(np.float32)
        if gauge.any():
            true += rng.standard_normal((p.size, m), dtype=np.float32) * gauge[:, None]
        if p.size and p[0] == 0 and chains.full[k]:
            hold = chains.session.assumptions.full_hold_max_min / 60.0
            if hold > 0.0:
                true[0] *= exposure[0] / (exposure[0] - _uniform(rng, m, 0.0, hold))
            if np.nan_to_num(variance["full_start"][k, 0]) > 0.0:
                true[0] += _uniform(rng, m, -HELD_FULL_HALF_WIDTH_PP, HELD_FULL_HALF_WIDTH_PP)
        return displayed, true, exposure

    def _held(self, phases: NDArray[np.int64]) -> Floats:
        """Return the factor for a display held at 100 %, which the variances have in them."""
        chains, hold = self.ready.chains, self.ready.chains.session.assumptions.full_hold_max_min
        if hold <= 0.0 or not chains.full[self.k]:
            return np.ones(phases.shape)
        mean, _ = full_hold_moments(chains.exposure_h[self.k, phases], hold / 60.0)
        return np.where((phases == 0) & np.isfinite(mean), mean, 1.0)

    def _readings(self, rng: np.random.Generator, m: int) -> dict[int, Draws]:
        """Return the true percentage at the moment of each reading."""
        chains, now, k = self.ready.chains, self.ready.states, self.k
        obs = chains.observations
        step = np.float32(obs.step[k])
        if chains.offset_variance[k] > 0.0:
            choice = rng.integers(-1, 2, size=m, dtype=np.int8)
            common = choice.astype(np.float32) * (step / np.float32(2.0))
        else:
            common = np.zeros(m, dtype=np.float32)
        used = np.unique(now.node[k][now.node[k] >= 0])
        read = {}
        for b in used.tolist():
            value = common + np.float32(now.level[k, b])
            if obs.weight[k, b] > 0.0:
                value += _centred(rng, m) * step
            read[b] = value
        return read

    def _moments(self, rng: np.random.Generator, m: int) -> dict[int, Draws]:
        """Return the time from the boundary to each reading (h)."""
        obs, k = self.ready.chains.observations, self.k
        node = self.ready.states.node[k]
        late = {}
        used = np.unique(node[node >= 0]).tolist()
        started = None
        if obs.start_u[k, used].any():
            started = _uniform(rng, m, -(3.0**0.5), 3.0**0.5)
        for b in used:
            middle, u = obs.late[k, b] / 60.0, obs.late_u[k, b] / 60.0
            # two noted minutes, of the boundary and of the reading: a triangle
            half = u * 1.5**0.5
            late[b] = _uniform(rng, m, middle - half, middle + half)
            if half > 0.0:
                late[b] += _centred(rng, m) * np.float32(2.0 * half)
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

    def _lengths(self, rng: np.random.Generator, m: int) -> tuple[dict[int, Draws], Draws]:
        """Return the lengths of the phases, and the time from the last start to the power-off."""
        chains, k = self.ready.chains, self.k
        length = {}
        for p in range(chains.length_h.shape[1]):
            value, u = chains.length_h[k, p], chains.length_u_h[k, p]
            if value > 0.0:
                half = u * 3.0**0.5
                length[p] = _uniform(rng, m, value - half, value + half)
        off = np.zeros(m, dtype=np.float32)
        dying = chains.death[k]
        if dying >= 0 and np.isfinite(chains.off_u_h[k]):
            half = chains.off_u_h[k] * 3.0**0.5
            middle = chains.exposure_h[k, dying]
            off = _uniform(rng, m, middle - half, middle + half)
        return length, off

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
                half = float(chains.gap_u_h[k, b // 2]) * 3.0**0.5
                left = np.maximum(_uniform(rng, m, gap - half, gap + half) - late[node], 0)
                drained[b] = _single(-left * _uniform(rng, m, 0.0, most))
            elif now.rate_phase[k, b] < 0:
                drained[b] = _single(np.maximum(late[node], 0) * _uniform(rng, m, 0.0, most))
            if back > 0.0:
                more = np.float32(back) * _uniform(rng, m, 0.0, most)
                drained[b] = _single(drained.get(b, np.float32(0.0)) + more)
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
            if p == chains.death[k]:
                rates[p] = _single(start / np.maximum(off, np.float32(1e-3)))
            elif p in length and 2 * p + 1 in at:
                rates[p] = _single((start - at[2 * p + 1]) / length[p])
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
            value = _single(value + (fell * uneven[b] if b in uneven else fell))
        return _single(value + gaps[b]) if b in gaps else value


def _single(values: NDArray[np.floating]) -> Draws:
    return np.asarray(values, dtype=np.float32)


def _centred(rng: np.random.Generator, size: int | tuple[int, int]) -> Draws:
    return rng.random(size, dtype=np.float32) - np.float32(0.5)


def _uniform(rng: np.random.Generator, m: int, low: float, high: float) -> Draws:
    if high == low:
        return np.full(m, low, dtype=np.float32)
    return np.float32(low) + rng.random(m, dtype=np.float32) * np.float32(high - low)


def _figures(draws: Draws, coverage: float, least: float) -> tuple[float, float, float]:
    """Return standard deviation and interval; draws below ``least`` cannot be and are dropped."""
    draws.sort()
    first = int(np.searchsorted(draws, np.float32(least)))
    kept = draws[first:]
    if kept.size < 100:
        return float("nan"), float("nan"), float("nan")
    low, high = sorted_interval(kept, coverage)
    return float(kept.std(dtype=np.float64)), low, high


def simulate_drains(ready: Prepared, *, draws: int, seed: int, coverage: float) -> Simulated:
    """Return drains and rates with their intervals by Monte Carlo.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    draws
        Draws per unit; 20 000 fix the ends to about 0.01 pp, 0 leaves everything NaN.
    seed
        Every unit has a generator of its own, from this seed and its place.
    coverage
        Probability of the intervals.

    Returns
    -------
    Simulated

    References
    ----------
    JCGM 101:2008, 7.2 to 7.7 (from memory).
    """
    chains = ready.chains
    shape = chains.length_h.shape
    out = {
        name: {m: np.full(shape, np.nan) for m in MEASURANDS}
        for name in ("u", "low", "high", "rate_low", "rate_high")
    }
    seeds = np.random.SeedSequence(seed).spawn(chains.units)
    rises = ready.flags["rises"]
    for k in range(chains.units if draws else 0):
        phases = np.flatnonzero(~np.isnan(ready.drains["displayed"].drain_pp[k]))
        if not phases.size:
            continue
        unit = _Unit(ready=ready, k=k, phases=phases)
        rng = np.random.Generator(np.random.SFC64(seeds[k]))
        found = np.empty((2, phases.size, draws), dtype=np.float32)
        exposure = np.empty((phases.size, draws), dtype=np.float32)
        for begin in range(0, draws, CHUNK):
            part = slice(begin, min(begin + CHUNK, draws))
            shown, true, ran = unit.draw(rng, part.stop - begin)
            found[0, :, part], found[1, :, part], exposure[:, part] = shown, true, ran
        for j, measurand in enumerate(MEASURANDS):
            for i, p in enumerate(phases.tolist()):
                if np.isnan(ready.drains[measurand].drain_pp[k, p]):
                    continue
                least = -np.inf if rises[k, p] else 0.0
                if chains.exposure_h[k, p] > 0.0:
                    rate = found[j, i] / exposure[i]
                    _, out["rate_low"][measurand][k, p], out["rate_high"][measurand][k, p] = (
                        _figures(rate, coverage, least)
                    )
                figures = _figures(found[j, i], coverage, least)
                for name, value in zip(("u", "low", "high"), figures, strict=True):
                    out[name][measurand][k, p] = value
    return Simulated(
        draws=draws, coverage=coverage, u=out["u"], low=out["low"], high=out["high"],
        rate_low=out["rate_low"], rate_high=out["rate_high"],
    )  # fmt: skip


def simulate_to_digits(
    ready: Prepared, *, digits: int, seed: int, coverage: float, max_draws: int = 2_000_000
) -> Simulated:
    """Return drains by as many draws as it takes for their figures to be stable.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    digits
        Significant digits of u that must not change from one half of the draws to the other.
    seed, coverage
        As for `simulate_drains`.
    max_draws
        Limit; reached, ``stable_digits`` is 0.

    Notes
    -----
    Blocks of ``kit.stats.monte_carlo.block_size`` draws are made until, for u and both ends of
    every drain, twice the standard deviation of the mean over the blocks is below δ. The result is
    then computed from that number of draws together.

    References
    ----------
    JCGM 101:2008, 7.9.4 (from memory).
    """
    block = block_size(coverage)
    seeds = np.random.SeedSequence(seed)
    figures: list[Floats] = []
    stable = False
    while not stable and (len(figures) + 1) * block <= max_draws:
        own = int(seeds.spawn(1)[0].generate_state(1)[0])
        found = simulate_drains(ready, draws=block, seed=own, coverage=coverage)
        figures.append(
            np.stack([part[m] for m in MEASURANDS for part in (found.u, found.low, found.high)])
        )
        if len(figures) < 2:
            continue
        stack = np.stack(figures)
        spread = np.std(stack, axis=0, ddof=1) / np.sqrt(len(figures))
        u = stack.mean(axis=0)[[0, 0, 0, 3, 3, 3]]
        with np.errstate(invalid="ignore"):
            moving = 2.0 * spread >= tolerance(u, digits)
        stable = not bool(moving.any())
    total = max(len(figures), 1) * block
    found = simulate_drains(ready, draws=total, seed=seed, coverage=coverage)
    return replace(found, stable_digits=digits if stable else 0)
