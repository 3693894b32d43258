"""What lies between two noted times of a run, and by how much lengths may differ from it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kit.checks.facts import Facts

__all__ = ["Stretch", "length_tolerance", "stretches"]

COVERAGE_SIGMAS = 3.0
"""The tolerance of a sum of lengths is this many standard uncertainties."""


def length_tolerance(phases: int, *, rounding: str) -> float:
    """Return by how much a sum of phase lengths may differ from the clock (min).

    Parameters
    ----------
    phases
        How many lengths are added, each noted to the minute.
    rounding
        ``clock_rounding`` of the assumptions; ``unknown`` allows for truncated lengths.

    Notes
    -----
    n lengths rounded to the nearest minute and two clock minutes:
    ``u² = n/12 + 2/12``, tolerance ``3 u``; truncated lengths are short by n/2 in the mean.
    Derived in docs/measurement.md.

    Examples
    --------
    n = 4: 3 √(4/12 + 1/6) = 3 √0.5 = 2.12; with n/2 more: 4.12.

    >>> round(length_tolerance(4, rounding="floor"), 2)
    2.12
    >>> round(length_tolerance(4, rounding="unknown"), 2)
    4.12
    """
    tolerance = COVERAGE_SIGMAS * sqrt(phases / 12.0 + 1.0 / 6.0)
    return tolerance + phases / 2.0 if rounding == "unknown" else tolerance


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """What lies between two noted times that follow each other, in one run.

    Parameters
    ----------
    begin, end
        Positions of the two times: 2p is the start of phase p, 2p + 1 its end; 2P is the stop.
    t_begin, t_end
        The two times (min).
    inside
        Phases that lie between them and whose own ends were not noted.
    unlogged
        Time between them that no phase accounts for (min); NaN if a length is unknown.
    tolerance
        What the rounding of the noted times explains (min).
    """

    begin: int
    end: int
    t_begin: float
    t_end: float
    inside: tuple[int, ...]
    unlogged: float
    tolerance: float

    @property
    def next_phase(self) -> int:
        """Return the phase at whose start, or at whose end, the stretch ends."""
        return self.end // 2

    @property
    def is_gap(self) -> bool:
        """Whether nothing but a gap lies between the two times."""
        return not self.inside


def stretches(facts: Facts, run: int) -> tuple[Stretch, ...]:
    """Return the stretches of one run (by position) between noted times, in order.

    The start of the session counts as the start of the first phase unless that was noted; the
    stop counts as the end of the last phase unless that was noted or ran until empty. A phase
    with both ends noted is no stretch.
    """
    spans, session = facts.spans, facts.session
    n = len(facts.phases)
    times: dict[int, float] = {}
    for p in range(n):
        if spans.start_noted[run, p]:
            times[2 * p] = float(spans.start[run, p])
        if spans.end_noted[run, p]:
            times[2 * p + 1] = float(spans.end[run, p])
    stop = session.runs[run].stop_min
    if n and stop is not None and 2 * n - 1 not in times:
        times[2 * n] = stop
    if n:
        times.setdefault(0, 0.0)
    places = sorted(times)
    found = []
    for i, j in pairwise(places):
        inside = tuple(p for p in range(n) if i <= 2 * p and 2 * p + 1 <= j)
        if i % 2 == 0 and j == i + 1:
            continue
        length = float(sum(spans.length[run, p] for p in inside))
        steps = [float(spans.resolution[run, min(k // 2, n - 1)]) for k in (i, j)]
        rounding = session.assumptions.clock_rounding
        tolerance = length_tolerance(len(inside), rounding=rounding) if inside else max(steps)
        found.append(
            Stretch(
                begin=i,
                end=j,
                t_begin=times[i],
                t_end=times[j],
                inside=inside,
                unlogged=times[j] - times[i] - length,
                tolerance=tolerance,
            )
        )
    return tuple(found)
