"""Hours that a full charge would last at the rate of one phase.

The reciprocal of a rate is skewed: the interval is that of the rate, turned over, and its ends
are stated, never "±". Where the rate may be 0, only the lower end is known: "at least".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.flags import SMALL_DRAIN_PP, join_flags
from kit.drain.phases import frame_keys, methods, prepare, reached
from kit.drain.power_drain import power_drains
from kit.frames import result_frame

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike, NDArray

    from kit.drain.phases import Prepared
    from kit.drain.simulation import Simulated
    from kit.results import Settings
    from kit.session import Session

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = [
    "NEXT_TO_NOTHING",
    "SECOND_ORDER",
    "Projected",
    "hours_from_rate",
    "hours_u",
    "project",
    "projections",
]

SECOND_ORDER = 8.0
"""Factor of ρ⁴ in the relative variance of the reciprocal of a normal quantity."""

NEXT_TO_NOTHING = 0.01
"""A low end of a rate below this share of its high end counts as 0: hours have no upper end then
(common practice, no source)."""


def hours_from_rate(
    rate: ArrayLike, rate_low: ArrayLike, rate_high: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Return projected hours with both ends: 100/r, 100/r_high, 100/r_low.

    Parameters
    ----------
    rate, rate_low, rate_high
        Rate and ends of its interval (pp/h).

    Returns
    -------
    hours, low, high
        In h; ``high = inf`` where the low end of the rate is 0 or next to nothing; hours NaN where
        the rate is 0.

    Notes
    -----
    100/r is the median of the hours, not their mean: for a drain of 2 pp in one hour, read in
    whole percent, 50.0 h and 52.3 h.

    Examples
    --------
    12.0 pp/h, 11.2 to 12.8: 8.33 h, 7.81 to 8.93 h; and a rate of 0 to 1.6 pp/h, at least 62.5 h:

    >>> [round(float(v), 2) for v in hours_from_rate(12.0, 11.2, 12.8)]
    [8.33, 7.81, 8.93]
    >>> [float(v) for v in hours_from_rate(0.0, 0.0, 1.6)]
    [nan, 62.5, inf]

    From 0.02 to 24 pp/h they are not 5000 h at the longest: nobody knows how long.

    >>> [round(float(v), 2) for v in hours_from_rate(12.0, 0.02, 24.0)]
    [8.33, 4.17, inf]
    """
    middle, low, high = (np.asarray(v, dtype=np.float64) for v in (rate, rate_low, rate_high))
    with np.errstate(divide="ignore", invalid="ignore"):
        hours = np.where(middle > 0.0, 100.0 / middle, np.nan)
        some = (low > 0.0) & (low >= NEXT_TO_NOTHING * high)
        longest = np.where(some, 100.0 / low, np.where(np.isnan(low), np.nan, np.inf))
        shortest = np.where(high > 0.0, 100.0 / high, np.where(np.isnan(high), np.nan, np.inf))
    return hours, shortest, longest


def hours_u(hours: ArrayLike, relative_u: ArrayLike) -> Floats:
    """Return u of hours 100/r from the relative u of the rate r.

    Parameters
    ----------
    hours
        100/r (h).
    relative_u
        u(r)/r.

    Notes
    -----
    ``u² = hours² (ρ² + 8ρ⁴)`` with ρ = u(r)/r, for a rate that is normally distributed: the
    straight line and the next terms, ½f″² + f′f‴ = 2 + 6.

    References
    ----------
    JCGM 100:2008 (GUM), 5.1.2 with its note (from memory).

    Examples
    --------
    8 h with 10 %: 0.8 √1.08 = 0.831 h:

    >>> round(float(hours_u(8.0, 0.1)), 3)
    0.831
    """
    share = np.asarray(relative_u, dtype=np.float64)
    return np.asarray(np.asarray(hours) * share * np.sqrt(1.0 + SECOND_ORDER * share**2))


@dataclass(frozen=True, kw_only=True)
class Projected:
    """Hours from 100 % to 0 at the rate of each phase, by the closed form; shapes (K, P).

    Parameters
    ----------
    hours, u, low, high
        In h; NaN where there is none, ``hours`` and ``u`` also where only the low end is known.
    at_least
        Whether only the low end is known.
    usable
        Whether the phase has a projection at all.
    gauge_curve
        Whether what the gauge counts makes it uncertain.
    """

    hours: Floats
    u: Floats
    low: Floats
    high: Floats
    at_least: Bools
    usable: Bools
    gauge_curve: Bools


def project(ready: Prepared, coverage: float) -> Projected:
    """Return the projections of every unit and phase.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    coverage
        Probability of the intervals.

    Notes
    -----
    The ends are those of the rate, turned over; below 3 pp of drain, or where the rate may be next
    to nothing, only the low end is known.

    Examples
    --------
    12 pp in an hour, nothing uncertain but the resolution (±0.80): 100/12 = 8.33 h, 100/12.8 to
    100/11.2 h. In the second hour 1 pp: too little, at least 100/1.8 = 55.6 h:

    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import BARE, make_session
    >>> a = Device(id="a", label="a", gauge=Gauge(counts="energy"))
    >>> s = make_session(devices=[a], phases={"p1": 60, "p2": 60}, readings={"a": [90, 78, 77]},
    ...                  assumptions=BARE)
    >>> found = project(prepare(s), 0.95)
    >>> [v.round(2).tolist() for v in (found.hours, found.low, found.high)]
    [[[8.33, nan]], [[7.81, 55.56]], [[8.93, inf]]]
    """
    found = power_drains(ready, coverage)
    half = found.half_width_pp(coverage)
    usable = np.isin(ready.status["true_charge"].astype(str), ("measured", "died"))
    usable &= ~ready.flags["split"] & ~ready.flags["rises"] & ready.chains.timed
    blank = np.where(usable, 0.0, np.nan)
    low = np.maximum(found.drain_pp - half, 0.0) / found.exposure_h + blank
    high = (found.drain_pp + half) / found.exposure_h + blank
    hours, shortest, longest = hours_from_rate(found.drain_pp / found.exposure_h + blank, low, high)
    with np.errstate(divide="ignore", invalid="ignore"):
        at_least = usable & ((found.drain_pp < SMALL_DRAIN_PP) | np.isinf(longest))
        u = hours_u(hours, np.hypot(found.u_pp, found.length_u_pp) / found.drain_pp)
    return Projected(
        hours=np.where(at_least, np.nan, hours),
        u=np.where(at_least, np.nan, u),
        low=shortest,
        high=np.where(at_least, np.inf, longest),
        at_least=at_least,
        usable=usable,
        gauge_curve=usable & (found.gauge_bound_pp > 0.0),
    )


def projections(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    simulated: Simulated | None = None,
) -> pd.DataFrame:
    """Return the hours from 100 % to 0 at the rate of each phase, for this unit.

    Parameters
    ----------
    session
        A record that passed its checks.
    settings
        The coverage probability.
    prepared
        From `kit.drain.phases.prepare`, if it was made already.
    simulated
        From `kit.drain.simulation.simulate`; as for `kit.drain.phases.phase_drain`.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["projections"]``, as of `project`. A phase in which
        devices did different things has no figure here; see `kit.drain.split_phases`.
        ``ranked``: the device may be compared in this phase.

    Examples
    --------
    >>> from kit.results import Settings
    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import BARE, make_session
    >>> a = Device(id="a", label="a", gauge=Gauge(counts="energy"))
    >>> s = make_session(devices=[a], phases={"p1": 60}, readings={"a": [90, 78]}, assumptions=BARE)
    >>> row = projections(s, Settings()).iloc[0]
    >>> round(float(row["hours"]), 2), row["method"]
    (8.33, 'gum')
    """
    ready = prepare(session) if prepared is None else prepared
    chains = ready.chains
    found = project(ready, settings.coverage)
    low, high, drawn = reached(
        found.low, found.high, None if simulated is None else simulated.phases["hours"], u=found.u
    )
    codes = {**ready.flags, "gauge_curve": found.gauge_curve, "monte_carlo": drawn}
    flags = join_flags(codes, chains.length_h.shape)
    order = chains.in_frame_order
    n = len(chains.devices)
    run, phase, device = frame_keys(chains)
    activity = np.array([ph.activity for ph in session.phases], dtype=object)
    data: dict[str, NDArray[np.generic]] = {
        "run": run,
        "phase": phase,
        "device": device,
        "activity": np.tile(np.repeat(activity, n), len(chains.runs)),
        "hours": order(found.hours),
        "hours_u": order(found.u),
        "hours_low": order(low),
        "hours_high": order(high),
        "at_least": order(found.at_least),
        "ranked": order(ready.ranked & found.usable),
        "method": order(methods(found.usable, drawn)),
        "flags": order(flags),
    }
    return result_frame("projections", data)
