"""Rates on mixes of activities from the draws of one unit: what its phases, halves, turns add."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
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
    """The mixes of one unit.

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
        """Fill in the rates on the mixes: sums of drains over sums of hours, by activity."""
        used = sorted({int(s) for p in self.parts if p for _, stands in p for s in stands})
        drawn = {s: self._segment(rng, s, at, z, out) for s in used}
        for i, lines in enumerate(self.parts):
            out.mix_rate[i] = np.nan if lines is None else 0.0
            for share, stands in lines or ():
                drain = sum(drawn[s][0] for s in stands.tolist())
                hours = sum(drawn[s][1] for s in stands.tolist())
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
        base = found.base[k, s]
        drain = np.zeros(m, dtype=np.float32)
        for b in np.flatnonzero(base).tolist():
            drain += np.float32(base[b]) * at[b]
        weights = (base @ self.unit.found.swaps.states.matrix[k])[
            self.unit.nodes
        ] @ self.unit.gauge_root
        drain += weighted_sum(weights, z)
        if found.start_variance[k, s] > 0.0:
            drain += spread(rng, m, 0.0, sqrt(found.start_variance[k, s]))
        drain += spread(rng, m, 0.0, float(found.wake_pp[k, s]) / sqrt(3.0))
        hours = spread(rng, m, float(found.hours[k, s]), float(found.length_u_h[k, s]))
        return single(drain / per_energy), hours
