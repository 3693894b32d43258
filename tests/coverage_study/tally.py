"""Hits and trials by name, and how far a share of them may be off by chance."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

__all__ = ["STANDARD_ERRORS", "Tally"]

STANDARD_ERRORS = 3.0
"""A share that is further than this from what is promised is not by chance."""


def _counts() -> dict[str, int]:
    return defaultdict(int)


@dataclass
class Tally:
    """Counts of one world: hits and trials per figure, session by session.

    Results of one session hang together (the intervals of one device share readings), sessions do
    not: what a share may be off by chance is taken from its scatter from session to session.
    """

    hits: dict[str, int] = field(default_factory=_counts)
    trials: dict[str, int] = field(default_factory=_counts)
    sessions: dict[str, int] = field(default_factory=_counts)
    squares: dict[str, tuple[int, int, int]] = field(default_factory=dict)
    """Figure → sums over sessions of hits², hits × trials and trials²."""
    _open: dict[str, tuple[int, int]] = field(default_factory=dict)

    def add(self, name: str, good: NDArray[np.bool_] | bool) -> None:
        """Count an array of outcomes, or one, of the session at hand."""
        outcomes = np.atleast_1d(good)
        self.count(name, int(np.count_nonzero(outcomes)), outcomes.size)

    def count(self, name: str, hits: int, trials: int) -> None:
        """Count so many hits in so many trials of the session at hand."""
        self.hits[name] += hits
        self.trials[name] += trials
        before = self._open.get(name, (0, 0))
        self._open[name] = (before[0] + hits, before[1] + trials)

    def close(self) -> None:
        """End the session at hand."""
        for name, (h, t) in self._open.items():
            if t:
                hh, ht, tt = self.squares.get(name, (0, 0, 0))
                self.squares[name] = (hh + h * h, ht + h * t, tt + t * t)
                self.sessions[name] += 1
        self._open.clear()

    def include(self, others: Iterable[Tally]) -> Tally:
        """Add the closed sessions of other tallies; return this one."""
        for other in others:
            for name, trials in other.trials.items():
                self.hits[name] += other.hits[name]
                self.trials[name] += trials
                self.sessions[name] += other.sessions[name]
            for name, sums in other.squares.items():
                before = self.squares.get(name, (0, 0, 0))
                a, b, c = (x + y for x, y in zip(before, sums, strict=True))
                self.squares[name] = (a, b, c)
        return self

    def percent(self, name: str) -> float:
        """Return hits per hundred trials; NaN without trials."""
        return 100.0 * self.hits[name] / self.trials[name] if self.trials[name] else float("nan")

    def together(self, name: str) -> float:
        """Return how much larger the variance of a share is than if all trials were independent.

        ``Σ(h − p·t)²·m/(m − 1)`` over the m sessions, against ``n·p·(1 − p)`` of the binomial
        distribution; never less than 1.

        Examples
        --------
        Two sessions of two trials, all hits in one: p = ½, Σ(h − p·t)² = 1 + 1, times 2: 4
        against 4 × ¼ = 1.

        >>> tally = Tally()
        >>> for hits in (2, 0):
        ...     tally.count("x", hits, 2)
        ...     tally.close()
        >>> tally.together("x")
        4.0
        """
        n, m = self.trials[name], self.sessions[name]
        p = self.hits[name] / n if n else 0.0
        if m < 2 or not 0.0 < p < 1.0:
            return 1.0
        hh, ht, tt = self.squares[name]
        return max((hh - 2.0 * p * ht + p * p * tt) * m / (m - 1) / (n * p * (1.0 - p)), 1.0)

    def margin(self, name: str, expected: float) -> float:
        """Return `STANDARD_ERRORS` (percent) of a share whose true value is ``expected`` percent.

        Examples
        --------
        10 000 independent trials at 94 %: 3 × √(0.94 × 0.06/10 000) = 0.71 %.

        >>> tally = Tally()
        >>> tally.count("x", 9400, 10_000)
        >>> round(tally.margin("x", 94.0), 2)
        0.71
        """
        n, p = self.trials[name], expected / 100.0
        if not n:
            return float("nan")
        return 100.0 * STANDARD_ERRORS * math.sqrt(p * (1.0 - p) * self.together(name) / n)
