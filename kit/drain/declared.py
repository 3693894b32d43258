"""The one pair of devices declared before the session: its family of comparisons, its margin.

Chosen beforehand, the pair needs no allowance for all the others. It is still compared more than
once: its drains in every phase, by the display and by the charge, and what is left after every
phase, in every run. All of these are one family.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.drain.margins import single_margin, table_margin

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.drain.places import Places
    from kit.session import Session
    from kit.stats.uncertainty import Resolution

    Floats = NDArray[np.float64]

__all__ = ["declared_comparisons", "declared_margin", "declared_pair", "each_coverage"]

_MEASURANDS = 2
"""Drains are compared by the display and by the charge."""

_GUARD = 1.04
"""Far out in the tails, roundings and a normal part added in quadrature are up to 4 % too narrow:
for up to 100 comparisons, at every ratio of the two (tests/drain/test_declared.py). Three
comparisons or fewer need nothing beyond the guard of `kit.stats.uncertainty`."""
_FEW = 3


def declared_pair(session: Session) -> tuple[int, int] | None:
    """Return the positions of the two devices declared beforehand; ``None``: none were.

    Examples
    --------
    >>> from tests.helpers.builders import make_session
    >>> declared_pair(make_session(devices=["a", "b", "c"], declared_comparison=("c", "a")))
    (2, 0)
    >>> declared_pair(make_session(devices=["a", "b"], declared_comparison=("a", "gone"))) is None
    True
    """
    if session.declared_comparison is None:
        return None
    places = {device.id: k for k, device in enumerate(session.devices)}
    a, b = (places.get(name, -1) for name in session.declared_comparison)
    return (a, b) if a >= 0 and b >= 0 and a != b else None


def declared_comparisons(ready: Prepared, found: Places, pair: tuple[int, int]) -> int:
    """Return how often the declared pair is compared in the session.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    found
        From `kit.drain.places.places`, of all units.
    pair
        From `declared_pair`.

    Returns
    -------
    int
        Phases in which both may be ranked, twice, and phases after which both have a state
        and neither has been charged.

    Examples
    --------
    Two phases: drains as displayed and of true charge in each, and who had more left after each:

    >>> from kit.drain.phases import prepare
    >>> from tests.helpers.builders import make_session
    >>> ready = prepare(make_session(phases={"p1": 60, "p2": 60},
    ...                              readings={"a": [90, 78, 66], "b": [90, 80, 70]}))
    >>> declared_comparisons(ready, ready.places, (0, 1))
    6
    """
    shape = (len(ready.chains.runs), len(ready.chains.devices), ready.chains.length_h.shape[1])
    of_pair = list(pair)
    drains = ready.ranked.reshape(shape)[:, of_pair].all(axis=1)
    stands = (found.on & ~found.charged).reshape(shape)[:, of_pair].all(axis=1)
    return _MEASURANDS * int(drains.sum()) + int(stands.sum())


def each_coverage(coverage: float, comparisons: int) -> float:
    """Return the probability with which each of several comparisons has to hold (Bonferroni).

    Examples
    --------
    Eight phases: 16 drains and 8 standings, 1 − 0.05/24:

    >>> round(each_coverage(0.95, 24), 5)
    0.99792
    """
    return 1.0 - (1.0 - coverage) / max(comparisons, 1)


def declared_margin(
    shown: Resolution,
    u_other: Floats,
    bound: Floats,
    coverage: float,
    comparisons: int,
    table: Floats,
) -> Floats:
    """Return what a difference between the declared pair has to exceed (pp).

    Parameters
    ----------
    shown, u_other, bound
        Of both devices together, as for `kit.drain.margins.margins`.
    coverage
        Probability that none of the comparisons of the pair is claimed falsely.
    comparisons
        From `declared_comparisons`.
    table
        What the table rule asks for, which holds for this pair as for any other (pp).

    Notes
    -----
    Where the unknown roundings of the two displays cancel: the margin of a single pair, at the
    probability of `each_coverage`, times a guard. The roundings are the same every time, so that
    what they add cannot be averaged over the phases: where they do not cancel, the table rule,
    over the comparisons of the pair alone.

    Examples
    --------
    One phase between readings, 24 comparisons, nothing but whole percentages: instead of the hard
    bound, 2, what four of them add up to in all but 5 % / 24 of cases,
    (2 − x)⁴/12 = 0.05/24, x = 1.602, times 1.04:

    >>> from kit.stats.uncertainty import resolution
    >>> inner = resolution([1, -1]) + resolution([1, -1])
    >>> zero = np.float64(0)
    >>> round(float(declared_margin(inner, zero, zero, 0.95, 24, np.float64(2.0))), 2)
    1.67
    """
    each = each_coverage(coverage, comparisons)
    guard = _GUARD if comparisons > _FEW else 1.0
    single = guard * single_margin(shown, u_other, bound, each)
    own = table_margin(shown, u_other, bound, coverage, comparisons)
    best = np.minimum(own, table)
    return np.asarray(np.where(shown.common_bound > 0.0, best, np.minimum(single, best)))
