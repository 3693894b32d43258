"""Coverage intervals of drains and rates, by the closed form."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.stats.uncertainty import Resolution

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from kit.drain.model import Drains

    Floats = NDArray[np.float64]

__all__ = ["interval", "intervals"]


def interval(found: Drains, coverage: float) -> tuple[Floats, Floats, Floats, Floats]:
    """Return ends of the coverage intervals: drain low and high (pp), rate low and high (pp/h).

    Parameters
    ----------
    found
        From `kit.drain.model.drains`.
    coverage
        Probability of the intervals.

    Notes
    -----
    Clipped at 0, below which no drain can lie, unless the percentage rose.

    Examples
    --------
    90 to 78 % in an hour: 12 pp; the difference of two errors of rounding is triangular, ±1 at
    most, 95 % of it within 1 − √0.05 = 0.776, with the guard of 3 % 0.80. So are 6 pp in half an
    hour, whose rate has twice that:

    >>> from kit.drain.chains import build_chains
    >>> from kit.drain.model import drains
    >>> from tests.helpers.builders import BARE, make_session
    >>> s = make_session(phases={"p1": 60, "p2": 30}, readings={"a": [90, 78, 72]},
    ...                  assumptions=BARE)
    >>> ends = interval(drains(build_chains(s))["displayed"], 0.95)
    >>> [end.round(2).tolist() for end in ends]
    [[[11.2, 5.2]], [[12.8, 6.8]], [[11.2, 10.4]], [[12.8, 13.6]]]
    """
    return intervals([found], coverage)[0]


def intervals(
    found: Sequence[Drains], coverage: float
) -> list[tuple[Floats, Floats, Floats, Floats]]:
    """Return what `interval` does for each of several measurands, from one calculation.

    Examples
    --------
    As for `interval`; of true charge the gauge's deviation counts as well,
    u² = 2·3·(1 − exp(−12²/98)) = 4.62, and 12 + √(0.80² + 2²·4.62) = 16.37:

    >>> from kit.drain.chains import build_chains
    >>> from kit.drain.model import drains
    >>> from kit.session import Assumptions
    >>> from tests.helpers.builders import make_session
    >>> exact = Assumptions(reading_delay_min=0, phase_length_u_min=0, gauge_error_pp=3)
    >>> s = make_session(phases={"p1": 60}, readings={"a": [90, 78]}, assumptions=exact)
    >>> found = drains(build_chains(s))
    >>> both = intervals([found["displayed"], found["true_charge"]], 0.95)
    >>> [round(float(ends[1][0, 0]), 2) for ends in both]
    [12.8, 16.37]
    """
    u = np.stack([one.u_other_pp for one in found])
    length = np.sqrt(np.stack([one.variance["phase_length"] for one in found]))
    halves = Resolution.stacked([one.resolution for one in found]).expanded(
        np.stack((u, np.hypot(u, length))), coverage,
        bound=np.stack([one.bound_pp for one in found]),
    )  # fmt: skip
    ends = []
    for one, half, half_rate in zip(found, *halves, strict=True):
        floor, drain = np.where(one.rises, -np.inf, 0.0), one.drain_pp
        ends.append(
            (
                np.maximum(drain - half, floor),
                np.maximum(drain + half, floor),
                np.maximum(drain - half_rate, floor) / one.exposure_h,
                np.maximum(drain + half_rate, floor) / one.exposure_h,
            )
        )
    return ends
