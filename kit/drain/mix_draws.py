"""Rates in halves and turns, and on mixes of activities, from the draws of one unit."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, reduce
from math import sqrt
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.drawn import single, spread
from kit.stats.monte_carlo import weighted_sum

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from kit.drain.drawn import Drawn
    from kit.drain.draws import UnitDraws

    Ints = NDArray[np.int64]
    Draws = NDArray[np.float32]

__all__ = ["MixDraws"]


@dataclass(frozen=True)
class MixDraws:
    """Halves, turns and mixes of one unit.

    Parameters
    ----------
    unit
        Whose phases, halves and turns they are made of.
    mixes
        Weights of each mix by activity.
    """

    unit: UnitDraws
    mixes: Sequence[Mapping[str, float]]

    @cached_property
    def parts(self) -> list[list[tuple[float, Ints]] | None]:
        """Return of every mix the shares of time with the segments that stand for them."""
        parts: list[list[tuple[float, Ints]] | None] = []
        for weights in self.mixes:
            total = sum(weights.values())
            lines = []
            for activity, weight in weights.items():
                if weight > 0.0:
                    here, _ = self.unit.found.standing_for(activity)
                    lines.append((weight / total, np.flatnonzero(here[self.unit.k])))
            parts.append(lines if all(stands.size for _, stands in lines) else None)
        return parts

    def draw(self, rng: np.random.Generator, at: Mapping[int, Draws], z: Draws, out: Drawn) -> None:
        """Fill in the rates of halves and turns, and on the mixes.

        A mix is made of sums of drains over sums of hours, by activity.
        """
        found = self.unit.found
        for i, s in enumerate(np.flatnonzero(~found.plain).tolist()):
            out.part_rate[i] = np.nan
            if found.usable[self.unit.k, s]:
                drain, hours = self._split(rng, s, at, out)
                out.part_rate[i] = drain / hours
        used = sorted({int(s) for p in self.parts if p for _, stands in p for s in stands})
        drawn = {s: self._segment(rng, s, at, z, out) for s in used}
        for i, lines in enumerate(self.parts):
            out.mix_rate[i] = np.nan if lines is None else 0.0
            for share, stands in lines or ():
                drain, hours = (
                    reduce(np.add, [drawn[s][what] for s in stands.tolist()]) for what in (0, 1)
                )
                out.mix_rate[i] += np.float32(share) * drain / hours

    def _segment(
        self, rng: np.random.Generator, s: int, at: Mapping[int, Draws], z: Draws, out: Drawn
    ) -> tuple[Draws, Draws]:
        """Return the drain of a segment as a measure of energy (pp), and its length (h)."""
        found, k, m = self.unit.found, self.unit.k, out.counts.size
        per_energy = 1 + out.counts * np.float32(found.beta[k, s])
        if found.plain[s]:
            i = int(np.flatnonzero(self.unit.phases == found.phase[s])[0])
            return single(out.true[i] / per_energy), out.exposure[i]
        drain, hours = self._split(rng, s, at, out)
        weights = (found.base[k, s] @ self.unit.found.swaps.states.matrix[k])[
            self.unit.nodes
        ] @ self.unit.gauge_root
        drain += weighted_sum(weights, z)
        if found.start_variance[k, s] > 0.0:
            drain += spread(rng, m, 0.0, sqrt(found.start_variance[k, s]))
        return single(drain / per_energy), hours

    def _split(
        self, rng: np.random.Generator, s: int, at: Mapping[int, Draws], out: Drawn
    ) -> tuple[Draws, Draws]:
        """Return the drain of a half or turn by the display (pp), and its length (h)."""
        found, k, m = self.unit.found, self.unit.k, out.counts.size
        base, length = found.base[k, s], float(found.hours[k, s])
        drain = np.zeros(m, dtype=np.float32)
        for b in np.flatnonzero(base).tolist():
            drain += np.float32(base[b]) * at[b]
        hours = spread(rng, m, length, float(found.length_u_h[k, s]))
        if found.indirect[s]:  # a turn that took longer leaves less to be taken off
            drain += (hours - np.float32(length)) * np.float32(found.plain_rate[k, s])
        return drain + spread(rng, m, 0.0, float(found.wake_pp[k, s]) / sqrt(3.0)), hours
