"""By how much other units on other days would change the runtime of a kind of device."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.stats.components import mean_of_kind
from kit.stats.factors import coverage_factor
from kit.units import count

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["NOTHING", "UNITS_ENOUGH", "Part", "Scatter", "days_between", "expanded", "scatter_of"]

UNITS_ENOUGH = 4
"""Units from which their scatter stands by itself, however small it comes out. Of fewer, it is
taken as no less than the stated one: two units come out within a fifth of it of each other in one
of nine cases (kit's own choice, counted in tests/claims/test_claims_kind_scatter.py)."""


class Part(NamedTuple):
    """One source of uncertainty: u (min), degrees of freedom, and the assumption behind it."""

    u: float
    dof: float = math.inf
    assumed: str = ""

    def times(self, factor: float) -> Part:
        """Return the same of a runtime times a factor."""
        return self._replace(u=self.u * factor)


NOTHING = Part(0.0)


class Scatter(NamedTuple):
    """What another unit and another day would change.

    Parameters
    ----------
    measured
        What was measured, in words.
    units
        By the scatter between units, measured or stated.
    days
        By what a day does to all units alike, as far as it is not in ``units``.
    stated
        u of the runtime by the stated scatter alone.
    by_run
        Run and mean over the units, where all units took part in all of two runs or more and were
        seen to their end; else nothing.
    """

    measured: str
    units: Part
    days: Part
    stated: Part
    by_run: tuple[tuple[int, float], ...] = ()

    def at_least_as_stated(self) -> Scatter:
        """Return the same with no less than the stated scatter, and no runs to compare by.

        For a kind that was seen to its end because it ended before the others were stopped.
        """
        return self._replace(days=_filled(self.days, self.units, self.stated), by_run=())


def scatter_of(values: Floats, runs: tuple[int, ...], cv: float, *, at_least: bool) -> Scatter:
    """Return what another unit and another day would change in the mean of a kind.

    Parameters
    ----------
    values
        Shape (runs, units). Runtimes (min), NaN where a unit has none; a value in each row and
        column.
    runs
        Numbers of the runs.
    cv
        The stated relative scatter between runs and units together, ``run_unit_cv``.
    at_least
        Whether a run was still on: its value is only a lower bound, and no scatter is taken from
        such values.

    Notes
    -----
    One unit: the stated scatter, and that between its runs where there are several. Two or more:
    u = s(unit means)/√p with p − 1 degrees of freedom, of fewer than `UNITS_ENOUGH` no less than
    the stated scatter/√p; and what units that shared runs shared in them (`mean_of_kind`). Where
    they shared one day only, what another day would change is stated, not measured: as much of the
    stated scatter as is not in the scatter between units.

    Examples
    --------
    600 and 620 min on one day, 3 % stated: s/√2 = 10 min, stated 18.3/√2 = 12.9, which is more;
    with what another day would change √(18.3² − 12.9²) = 12.9, 18.3 min in all.

    >>> found = scatter_of(np.array([[600.0, 620.0]]), (1,), 0.03, at_least=False)
    >>> round(found.units.u, 1), round(found.days.u, 1), found.measured
    (12.9, 12.9, 'two units on one day')
    """
    there = ~np.isnan(values)
    p = values.shape[1]
    means = values.mean(axis=0) if there.all() else np.nanmean(values, axis=0)
    words = f"{100.0 * cv:g} % scatter between runs and units"
    stated = Part(cv * float(means.mean()), assumed=words)
    shared = stated.times(1.0 / math.sqrt(p))
    count_runs = int(there.sum())
    if at_least:
        # runs that were stopped are alike because they were stopped: they show no scatter
        ran = f"{count(count_runs, 'run')} of {count(p, 'unit')}"
        beside = bool((there.sum(axis=1) > 1).any())
        return Scatter(
            f"{ran}, not all seen to their end" if count_runs > 1 else "one unit, one run",
            shared, _filled(NOTHING, shared, stated) if beside else NOTHING, stated,
        )  # fmt: skip
    by_run = tuple(zip(runs, values.mean(axis=1).tolist(), strict=True))
    if p == 1:
        if count_runs == 1:
            return Scatter("one unit, one run", stated, NOTHING, stated)
        repeat = Part(float(values.std(ddof=1)) / math.sqrt(count_runs), count_runs - 1)
        return Scatter(f"{count(count_runs, 'run')} of one unit", stated, repeat, stated, by_run)
    found = mean_of_kind(values)
    units = Part(found.u_units, found.dof_units)
    if p < UNITS_ENOUGH and units.u < shared.u:
        units = shared
    if math.isnan(found.u_runs):
        days = _filled(NOTHING, units, stated)
        return Scatter(f"{count(p, 'unit')} on one day", units, days, stated)
    days = Part(found.u_runs, found.dof_runs) if found.u_runs > 0.0 else NOTHING
    complete = bool(there.all()) and len(runs) > 1
    return Scatter(count(p, "unit"), units, days, stated, by_run if complete else ())


def _filled(days: Part, units: Part, stated: Part) -> Part:
    """Return what days change if that and the units are to be no less than what is stated."""
    lacking = stated.u**2 - units.u**2
    return stated._replace(u=math.sqrt(lacking)) if lacking > days.u**2 else days


def days_between(a: Scatter, b: Scatter, factors: tuple[float, float]) -> tuple[Part, ...]:
    """Return what other days would change in the difference of two kinds, times ``factors``.

    Where both ran side by side in the same runs, what a day does to both alike drops out.

    Examples
    --------
    600 and 640 min against 580 and 616: by themselves √2·20 and 18 min, the difference 20 and 24:

    >>> a, b = (Scatter("", NOTHING, Part(u, 1), NOTHING, runs) for u, runs in (
    ...     (20.0, ((1, 600.0), (2, 640.0))), (18.0, ((1, 580.0), (2, 616.0)))))
    >>> [(round(part.u, 6), part.dof) for part in days_between(a, b, (1.0, 1.0))]
    [(2.0, 1)]
    """
    runs = [run for run, _ in a.by_run]
    if runs and runs == [run for run, _ in b.by_run]:
        first, second = (
            np.array([value for _, value in kind.by_run]) * factor
            for kind, factor in zip((a, b), factors, strict=True)
        )
        s = float((first - second).std(ddof=1))
        return (Part(s / math.sqrt(len(runs)), len(runs) - 1),)
    return a.days.times(factors[0]), b.days.times(factors[1])


def expanded(parts: Iterable[Part], coverage: float) -> float:
    """Return U = √Σ(t·u)², each t with its own degrees of freedom.

    It covers at least so often, whatever the shares of the parts are; a single t with effective
    degrees of freedom (Welch–Satterthwaite) does not where one part rests on two values
    (docs/runtimes.md).

    Examples
    --------
    t = 12.71 with one degree of freedom: √((12.71·1)² + (1.96·10)²) = 23.4

    >>> round(expanded([Part(1.0, 1), Part(10.0)], 0.95), 1)
    23.4
    """
    return math.sqrt(sum((coverage_factor(coverage, part.dof) * part.u) ** 2 for part in parts))
