"""Devices over several runs: all pairs compared, and what a run as a whole added.

Devices of one session run side by side. What they share in a run (room, network, content)
drops out of differences within runs, which is why pairs are compared run by run.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from kit.frames import frame_of_rows
from kit.results import Settings
from kit.runtime.replicates import RUNTIME, is_replicated, quantities
from kit.stats.scatter import Difference, additive_fit, runs_needed, tukey_factor, welch
from kit.stats.uncertainty import coverage_factor, trapezoid_half_width

if TYPE_CHECKING:
    import pandas as pd

    from kit.runtime.replicates import Quantity
    from kit.session import Session
    from kit.stats.scatter import AdditiveFit

__all__ = ["replicate_pairs", "run_effects"]


def _fit(quantity: Quantity) -> AdditiveFit | None:
    """Return devices and runs separated, or None where that cannot be done."""
    value = np.where(quantity.at_least, np.nan, quantity.value)
    try:
        return additive_fit(value)
    except ValueError:
        return None


def _surely(quantity: Quantity, i: int, j: int) -> tuple[int, int]:
    """Return in how many runs i surely had more than j, and the other way round."""
    low = quantity.value - np.where(quantity.at_least, 0.0, quantity.half_width)
    high = np.where(quantity.at_least, np.inf, quantity.value + quantity.half_width)
    with np.errstate(invalid="ignore"):
        more = low[:, i] >= high[:, j]
        less = low[:, j] >= high[:, i]
    return int(more.sum()), int(less.sum())


def _pair_resolution(quantity: Quantity, i: int, j: int, coverage: float) -> float:
    """Return the half-width that two results' resolution gives to their difference."""
    a = float(np.nanmax(quantity.half_width[:, i]))
    b = float(np.nanmax(quantity.half_width[:, j]))
    if quantity.name == RUNTIME:
        return float(trapezoid_half_width(a, b, coverage))
    return float(np.hypot(a, b))


def _own_runs(quantity: Quantity, i: int, j: int) -> Difference | None:
    a = quantity.value[~np.isnan(quantity.value[:, i]), i]
    b = quantity.value[~np.isnan(quantity.value[:, j]), j]
    if min(a.size, b.size) < 2 or (a.std() == 0.0 and b.std() == 0.0):
        return None
    return welch(
        float(a.mean()), float(a.std(ddof=1)), a.size, float(b.mean()), float(b.std(ddof=1)), b.size
    )


def _paired(quantity: Quantity, i: int, j: int) -> tuple[Difference, float] | None:
    """Return the mean difference within runs, and the standard deviation of the differences."""
    both = quantity.value[:, i] - quantity.value[:, j]
    both = both[~np.isnan(both)]
    if both.size < 2:
        return None
    s = float(both.std(ddof=1))
    u = s / float(np.sqrt(both.size))
    return Difference(difference=float(both.mean()), u=u, dof=both.size - 1), s


def _verdict(low: float, high: float) -> str:
    return "a" if low > 0.0 else "b" if high < 0.0 else "too_close"


def _pair_row(
    quantity: Quantity,
    fit: AdditiveFit | None,
    devices: tuple[tuple[int, str], tuple[int, str]],
    declared: frozenset[str],
    coverage: float,
) -> tuple[object, ...]:
    (i, a), (j, b) = devices
    nan = float("nan")
    together = ~np.isnan(quantity.value[:, [i, j]]).any(axis=1)
    runs = int(together.sum())
    wins = _surely(quantity, i, j)
    tail = (*wins, nan, quantity.unit)
    nothing = (a, b, quantity.name, "", runs, *[nan] * 5, "unknown")
    if quantity.at_least[:, [i, j]].any():
        return (*nothing, *tail, "lower_bound")
    paired = _paired(quantity, i, j)
    is_declared = frozenset((a, b)) == declared
    if fit is not None and not is_declared:
        result, s_pair, method = fit.difference(i, j), fit.s * float(np.sqrt(2.0)), "tukey"
        factor = tukey_factor(coverage, quantity.value.shape[1], fit.dof)
    elif paired is not None:
        result, s_pair, method = *paired, "paired"
        factor = coverage_factor(coverage, result.dof)
    elif (own := _own_runs(quantity, i, j)) is not None:
        result, s_pair, method = own, nan, "welch"
        factor = coverage_factor(coverage, own.dof)
    else:
        return (*nothing, *tail, "too_few_runs")
    wide = float(np.hypot(_pair_resolution(quantity, i, j, coverage), factor * result.u))
    low, high = result.difference - wide, result.difference + wide
    needed = None
    if method != "welch" and s_pair > 0.0:
        needed = runs_needed(result.difference, s_pair, design="paired", coverage=coverage)
    return (
        a, b, quantity.name, method, runs, result.difference, result.u, float(result.dof),
        low, high, _verdict(low, high), *wins, nan if needed is None else float(needed),
        quantity.unit, "declared" if is_declared else "",
    )  # fmt: skip


def replicate_pairs(
    session: Session,
    runtimes: pd.DataFrame,
    phase_drain: pd.DataFrame,
    settings: Settings | None = None,
) -> pd.DataFrame:
    """Compare all pairs of devices over their runs.

    Parameters
    ----------
    session, runtimes, phase_drain, settings
        As for :func:`replicates`.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["replicate_pairs"]``; A − B. ``method`` ``tukey``: devices ran side by
        side, run effects are taken out, and all pairs of a quantity hold together with the
        chosen probability. ``paired``: differences within runs, t, for the one pair that was
        declared beforehand (or where too few runs are complete). ``welch``: runs of their own.
        ``runs_a_longer``, ``runs_b_longer``: runs in which A surely had more, or B.
        ``runs_needed``: runs of both that would separate a true difference of this size with
        80 % power in one comparison, NaN where that has no answer.

    Notes
    -----
    ``U = √(X² + (f·u)²)`` with f = q/√2 or t and X the resolution of one pair of results.
    """
    chosen = settings or Settings()
    if not is_replicated(session):
        return frame_of_rows("replicate_pairs", [])
    declared = frozenset(session.declared_comparison or ())
    rows = []
    for quantity in quantities(session, runtimes, phase_drain):
        fit = _fit(quantity)
        for (i, a), (j, b) in combinations(enumerate(session.devices), 2):
            if np.isnan(quantity.half_width[:, i]).all() and not quantity.at_least[:, i].any():
                continue
            if np.isnan(quantity.half_width[:, j]).all() and not quantity.at_least[:, j].any():
                continue
            pair = ((i, a.id), (j, b.id))
            rows.append(_pair_row(quantity, fit, pair, declared, chosen.coverage))
    return frame_of_rows("replicate_pairs", rows)


def run_effects(
    session: Session,
    runtimes: pd.DataFrame,
    phase_drain: pd.DataFrame,
    settings: Settings | None = None,
) -> pd.DataFrame:
    """Return what each run as a whole added to every device.

    Parameters
    ----------
    session, runtimes, phase_drain, settings
        As for :func:`replicates`.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["run_effects"]``; the effects of a quantity sum to 0. A quantity for
        which devices and runs cannot be separated has no rows.
    """
    chosen = settings or Settings()
    rows: list[tuple[object, ...]] = []
    if is_replicated(session):
        for quantity in quantities(session, runtimes, phase_drain):
            fit = _fit(quantity)
            if fit is None:
                continue
            t = coverage_factor(chosen.coverage, fit.dof)
            rows += [
                (
                    run.number,
                    quantity.name,
                    float(e),
                    float(u),
                    float(e - t * u),
                    float(e + t * u),
                    quantity.unit,
                )
                for run, e, u in zip(session.runs, fit.run_effect, fit.run_effect_u, strict=True)
            ]
    return frame_of_rows("run_effects", rows)
