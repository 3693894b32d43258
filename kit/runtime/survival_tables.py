"""Survival curves and restricted means of devices that were run several times."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.frames import frame_of_rows
from kit.results import Settings
from kit.runtime.replicates import is_replicated
from kit.stats.interval_censored import turnbull
from kit.stats.survival import product_limit, restricted_mean

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from kit.session import Session
    from kit.stats.survival import ProductLimit

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["RunWindows", "restricted_means", "run_windows", "survival_curves"]


class RunWindows(NamedTuple):
    """Runs of one device: bounds of the runtimes (h), ``high = inf`` if right-censored."""

    device: str
    low: Floats
    high: Floats

    @property
    def seen(self) -> Flags:
        """Return which runs were seen to their end."""
        return np.isfinite(self.high)

    @property
    def middle(self) -> Floats:
        """Return the middle of each window (h); the lower bound where the end was not seen."""
        high = np.where(self.seen, self.high, self.low)
        return np.asarray((self.low + high) / 2.0)

    @property
    def curve(self) -> ProductLimit:
        """Return the product-limit curve, each power-off at the middle of its window."""
        return product_limit(self.middle, self.seen)


def run_windows(session: Session, runtimes: pd.DataFrame) -> list[RunWindows]:
    """Return the windows of every device with two runs or more; none for one run.

    Parameters
    ----------
    session
        The record.
    runtimes
        Frame of `kit.runtime.runtimes`.
    """
    if not is_replicated(session):
        return []
    groups = []
    for device in session.devices:
        rows = runtimes[(runtimes["device"] == device.id) & runtimes["runtime_h_low"].notna()]
        if len(rows) > 1:
            high = rows["runtime_h_high"].to_numpy(dtype=np.float64)
            censored = rows["right_censored"].to_numpy(dtype=bool)
            low = rows["runtime_h_low"].to_numpy(dtype=np.float64)
            groups.append(RunWindows(device.id, low, np.where(censored, np.inf, high)))
    return groups


def _curve_rows(group: RunWindows, coverage: float) -> list[tuple[object, ...]]:
    places = turnbull(group.low, group.high)
    inside = (group.low[:, None] <= places.low) & (places.high <= group.high[:, None])
    seen = np.isfinite(group.high)
    ends = np.isfinite(places.high)
    left = 1.0 - places.mass[ends].cumsum()
    nan = float("nan")
    if (inside[seen].sum(axis=1) != 1).any():
        # windows overlap: the shares are still estimable, their Greenwood errors are not
        return [
            (group.device, float(a), float(b), nan, nan, float(max(s, 0.0)), nan, nan, nan)
            for a, b, s in zip(places.low[ends], places.high[ends], left, strict=True)
        ]
    # one place per power-off: the product-limit estimate over places in their order
    last_before = (places.high[None, :] <= group.low[:, None]).sum(axis=1) - 0.5
    curve = product_limit(np.where(seen, inside.argmax(axis=1), last_before), seen)
    low, high = curve.bands(coverage=coverage)
    at = curve.time.astype(np.int64)
    return [
        (
            group.device,
            float(places.low[k]),
            float(places.high[k]),
            float(n),
            float(d),
            float(s),
            float(se),
            float(a),
            float(b),
        )
        for k, n, d, s, se, a, b in zip(
            at,
            curve.at_risk,
            curve.events,
            curve.survival,
            curve.survival_se,
            low,
            high,
            strict=True,
        )
    ]


def survival_curves(
    session: Session, runtimes: pd.DataFrame, settings: Settings | None = None
) -> pd.DataFrame:
    """Return the share of runs still on, for every device with two runs or more.

    Parameters
    ----------
    session
        A record with several runs; with one run the frame is empty.
    runtimes
        Frame of `kit.runtime.runtimes`.
    settings
        ``coverage`` of the pointwise confidence intervals.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["survival"]``. One row per window (h) in which the share drops:
        ``share_on`` is the share after it; where inside the window it drops is not known. Where
        windows of several runs overlap there is no ``at_risk``, ``events`` or interval.

    Notes
    -----
    Windows and right-censored runs by the self-consistent estimate
    (`kit.stats.interval_censored.turnbull`), which is the product-limit estimate when the windows
    of different runs are apart; standard errors by Greenwood.
    """
    chosen = settings or Settings()
    rows: list[tuple[object, ...]] = []
    for group in run_windows(session, runtimes):
        rows += _curve_rows(group, chosen.coverage)
    return frame_of_rows("survival", rows)


def restricted_means(session: Session, runtimes: pd.DataFrame) -> pd.DataFrame:
    """Return the mean runtime up to a horizon that every device's runs reach, or end before.

    Parameters
    ----------
    session, runtimes
        As for :func:`survival_curves`.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["restricted_means"]``; one row per device with two runs or more.
        ``horizon_h`` is common to all rows, so that they can be compared; runs that were still
        on count up to it. ``median_h`` is NaN where more than half were still on.

    Notes
    -----
    Area under the product-limit curve, each power-off at the middle of its window.
    """
    groups = run_windows(session, runtimes)
    curves = [g.curve for g in groups]
    open_ends = [c.last_time for c in curves if not (c.survival.size and c.survival[-1] <= 1e-12)]
    horizon = min(open_ends, default=max((c.last_time for c in curves), default=0.0))
    rows: list[tuple[object, ...]] = []
    for group, curve in zip(groups, curves, strict=True):
        mean, u = restricted_mean(curve, horizon=horizon)
        seen = int(np.isfinite(group.high).sum())
        rows.append((group.device, group.low.size, seen, horizon, mean, u, curve.median))
    return frame_of_rows("restricted_means", rows)
