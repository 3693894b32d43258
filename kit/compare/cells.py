"""One number for a device in a session: the logarithm of its runtime, runs pooled.

Whatever a day does to all runtimes (a warmer room, busier content) it does in proportion, so
differences between devices are differences of logarithms: ratios of runtimes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.stats.scatter import additive_fit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from kit.compare.members import Member

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["Cells", "RunScatter", "cells_of", "pooled_run_scatter"]


@dataclass(frozen=True, kw_only=True)
class Cells:
    """The devices of one session; arrays of shape (devices,), NaN where there is no runtime.

    Parameters
    ----------
    value
        Mean of ln(runtime in h) over the runs; for ``at_least`` a lower bound.
    half_width
        Half-width of the window of one power-off, in the same terms; not divided by runs.
    at_least
        A run was not seen to its end.
    runs
        Runs that the value is from.
    unscaled
        Shape (devices, devices). Covariance of the values from the scatter between runs, divided
        by its variance; 0 for a session of one run.
    rss, dof
        Sum of squares that device and run leave over, and its degrees of freedom.
    """

    value: Floats
    half_width: Floats
    at_least: Flags
    runs: NDArray[np.int64]
    unscaled: Floats
    rss: float = 0.0
    dof: int = 0


@dataclass(frozen=True, kw_only=True)
class RunScatter:
    """Relative standard deviation between runs, pooled over sessions, and its dof (0: none)."""

    s: float
    dof: int


def _grids(member: Member) -> tuple[Floats, Floats, Flags]:
    """Return ln of the middle and half-width, and what is a lower bound; (runs, devices)."""
    session, frame = member.session, member.runtimes
    runs = {r.number: i for i, r in enumerate(session.runs)}
    places = {d.id: j for j, d in enumerate(session.devices)}
    shape = (len(runs), len(places))
    value, half = np.full(shape, np.nan), np.zeros(shape)
    at_least = np.zeros(shape, dtype=bool)
    rows = zip(
        frame["run"].tolist(), frame["device"].tolist(), frame["runtime_h_low"].tolist(),
        frame["runtime_h_high"].tolist(), frame["right_censored"].tolist(), strict=True,
    )  # fmt: skip
    aside = member.set_aside
    for run, device, low, high, censored in rows:
        if device in aside or not low > 0.0:
            continue
        i, j = runs[run], places[device]
        value[i, j] = np.log(low) if censored else (np.log(low) + np.log(high)) / 2.0
        half[i, j] = 0.0 if censored else (np.log(high) - np.log(low)) / 2.0
        at_least[i, j] = censored
    return value, half, at_least


def cells_of(member: Member) -> Cells:
    """Return the runtimes of a session, runs pooled.

    Parameters
    ----------
    member
        Devices that were charged during a run, or shut down by heat, have no runtime here.

    Notes
    -----
    By the rules of `kit.runtime.replicates`: the mean over runs; where runs are missing, the
    device means of ``value = device + run + scatter``; the window of a power-off is not divided
    by √n; the mean of lower bounds is a lower bound of the mean.
    """
    value, half, at_least = _grids(member)
    have = ~np.isnan(value)
    runs = have.sum(axis=0)
    censored = (at_least & have).any(axis=0)
    with np.errstate(invalid="ignore"):
        mean = np.where(runs > 0, np.nansum(value, axis=0) / np.maximum(runs, 1), np.nan)
    size = value.shape[1]
    unscaled = np.zeros((size, size))
    rss, dof = 0.0, 0
    if value.shape[0] > 1:
        np.fill_diagonal(unscaled, 1.0 / np.maximum(runs, 1))
        whole = np.flatnonzero((runs > 0) & ~censored)
        try:
            fit = additive_fit(value[:, whole])
        except ValueError:
            pass
        else:
            mean[whole] = fit.device_mean
            # the part that all devices share drops out with the session as a whole
            unscaled[np.ix_(whole, whole)] = fit.unscaled[: whole.size, : whole.size]
            rss, dof = fit.s**2 * fit.dof, fit.dof
    return Cells(
        value=mean,
        half_width=half.max(axis=0) if half.size else np.zeros(size),
        at_least=np.asarray(censored, dtype=bool),
        runs=runs.astype(np.int64),
        unscaled=unscaled,
        rss=rss,
        dof=dof,
    )


def pooled_run_scatter(cells: Sequence[Cells]) -> RunScatter:
    """Return the scatter between runs, pooled over the sessions that have several.

    Notes
    -----
    s² = Σ rss / Σ dof: one variance of all devices, as in the analysis of one session.
    """
    dof = sum(c.dof for c in cells)
    total = sum(c.rss for c in cells)
    return RunScatter(s=float(np.sqrt(total / dof)) if dof else 0.0, dof=dof)
