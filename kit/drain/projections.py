"""Hours that a full charge would last at the rate of one phase.

The reciprocal of a rate is skewed: the interval is that of the rate, turned over, and its ends
are stated, never "±". Where the rate may be 0, only the lower end is known: "at least".
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.drain.flags import SMALL_DRAIN_PP, join_flags
from kit.drain.phases import frame_keys, prepare
from kit.drain.power_drain import power_drains

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike, NDArray

    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Session

    Floats = NDArray[np.float64]

__all__ = ["hours_from_rate", "projections"]


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
        In h; ``high = inf`` where the low end of the rate is 0; hours NaN where the rate is 0.

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
    """
    middle, low, high = (np.asarray(v, dtype=np.float64) for v in (rate, rate_low, rate_high))
    with np.errstate(divide="ignore", invalid="ignore"):
        hours = np.where(middle > 0.0, 100.0 / middle, np.nan)
        longest = np.where(low > 0.0, 100.0 / low, np.where(np.isnan(low), np.nan, np.inf))
        shortest = np.where(high > 0.0, 100.0 / high, np.where(np.isnan(high), np.nan, np.inf))
    return hours, shortest, longest


def projections(
    session: Session, settings: Settings, *, prepared: Prepared | None = None
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

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["projections"]``. Below 3 pp of drain, or where the
        rate may be 0, ``at_least`` is true, ``hours`` NaN and ``hours_high`` infinite. A phase
        in which devices did different things has no figure here; see `kit.drain.split_phases`.
        ``hours_u`` is 100/r² u_r (GUM 5.1.2); the ends are those of the rate, turned over.
        ``ranked``: the device may be compared in this phase.
    """
    import pandas as pd

    from kit.results import RESULT_COLUMNS

    ready = prepare(session) if prepared is None else prepared
    chains = ready.chains
    found = power_drains(ready, settings.coverage)
    half = found.half_width_pp(settings.coverage)
    usable = np.isin(ready.status["true_charge"].astype(str), ("measured", "died"))
    usable &= ~ready.flags["split"] & ~ready.flags["rises"]
    blank = np.where(usable, 0.0, np.nan)
    low = np.maximum(found.drain_pp - half, 0.0) / found.exposure_h + blank
    high = (found.drain_pp + half) / found.exposure_h + blank
    hours, shortest, longest = hours_from_rate(found.drain_pp / found.exposure_h + blank, low, high)
    with np.errstate(divide="ignore", invalid="ignore"):
        at_least = usable & ((found.drain_pp < SMALL_DRAIN_PP) | ~(low > 0.0))
        spread = np.hypot(found.u_pp, found.length_u_pp) / found.drain_pp
    flags = join_flags(
        {**ready.flags, "gauge_curve": usable & (found.gauge_bound_pp > 0.0)}, chains.length_h.shape
    )
    order = chains.in_frame_order
    n = len(chains.devices)
    run, phase, device = frame_keys(chains)
    activity = np.array([ph.activity for ph in session.phases], dtype=object)
    data: dict[str, NDArray[np.generic]] = {
        "run": run,
        "phase": phase,
        "device": device,
        "activity": np.tile(np.repeat(activity, n), len(chains.runs)),
        "hours": order(np.where(at_least, np.nan, hours)),
        "hours_u": order(np.where(at_least, np.nan, hours * spread)),
        "hours_low": order(shortest),
        "hours_high": order(np.where(at_least, np.inf, longest)),
        "at_least": order(at_least),
        "ranked": order(ready.ranked & usable),
        "flags": order(flags),
    }
    return pd.DataFrame({name: data[name] for name in RESULT_COLUMNS["projections"]})
