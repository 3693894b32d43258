"""Devices over several runs: all pairs compared, and what a run as a whole added.

Devices of one session run side by side. What they share in a run (room, network, content)
drops out of differences within runs, which is why pairs are compared run by run.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from kit.runtime.open_pairs import compare_open, runs_used
from kit.runtime.replicates import RUNTIME, over_runs
from kit.stats.more_runs import Planned, more_runs, tukey_factors
from kit.stats.scatter import Difference, additive_fit, tukey_factor, welch
from kit.stats.uncertainty import coverage_factor, trapezoid_half_width

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from kit.runtime.replicates import Quantity, Repeats
    from kit.session import Session
    from kit.stats.scatter import AdditiveFit

    Row = tuple[object, ...]
    Plan = Literal["with_more_runs", "verdicts_only"]

__all__ = ["pairs_of", "replicate_pairs", "run_effects"]


class _Fitted(NamedTuple):
    """Devices and runs separated, over the devices at ``places``."""

    fit: AdditiveFit
    places: tuple[int, ...]

    def difference(self, i: int, j: int) -> Difference:
        """Return device i − device j, by their places in the record."""
        return self.fit.difference(self.places.index(i), self.places.index(j))


def _fitted(quantity: Quantity) -> _Fitted | None:
    """Return devices and runs separated, or None where that cannot be done.

    A device with a run that was not seen to its end is left out altogether: its other runs are its
    shorter ones.
    """
    usable = ~np.isnan(quantity.value).all(axis=0) & ~quantity.at_least.any(axis=0)
    places = tuple(np.flatnonzero(usable).tolist())
    try:
        return _Fitted(additive_fit(quantity.value[:, places]), places)
    except ValueError:
        return None


def _surely(quantity: Quantity, i: int, j: int) -> tuple[int, int]:
    """Return in how many runs i surely had more than j, and the other way round."""
    low, high = quantity.least, quantity.most
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


class _Judged(NamedTuple):
    """A difference by the rule that gives the verdict, now and after more runs of both."""

    difference: Difference
    method: str
    factor: float
    planned: Callable[[int], Planned]


def _own_runs(quantity: Quantity, i: int, j: int, error: float) -> _Judged | None:
    """Return the difference of two devices that ran on their own, by Welch's t."""
    a, b = (v[~np.isnan(v)] for v in (quantity.value[:, i], quantity.value[:, j]))
    if min(a.size, b.size) < 2 or (a.std() == 0.0 and b.std() == 0.0):
        return None
    scatter = float(a.std(ddof=1)), float(b.std(ddof=1))

    def with_more(k: int) -> Difference:
        return welch(
            float(a.mean()), scatter[0], a.size + k, float(b.mean()), scatter[1], b.size + k
        )

    def planned(k: int) -> Planned:
        then = with_more(k)
        return Planned(then.u, then.dof, coverage_factor(1.0 - error, then.dof))

    now = with_more(0)
    return _Judged(now, "welch", coverage_factor(1.0 - error, now.dof), planned)


def _paired(quantity: Quantity, i: int, j: int, error: float) -> _Judged | None:
    """Return the mean difference within runs, by t."""
    both = quantity.value[:, i] - quantity.value[:, j]
    both = both[~np.isnan(both)]
    n = both.size
    if n < 2:
        return None
    s = float(both.std(ddof=1))

    def planned(k: int) -> Planned:
        dof = n - 1 + k
        return Planned(s / float(np.sqrt(n + k)), dof, coverage_factor(1.0 - error, dof))

    now = planned(0)
    result = Difference(difference=float(both.mean()), u=now.u, dof=n - 1)
    return _Judged(result, "paired", now.factor, planned)


def _verdict(low: float, high: float) -> str:
    return "a" if low > 0.0 else "b" if high < 0.0 else "too_close"


class _Family(NamedTuple):
    """The comparisons of one quantity, which hold together with the chosen probability.

    Parameters
    ----------
    quantity, fitted
        Values, and devices and runs separated where they can be.
    error
        Probability of error of the declared pair, and of all the others together.
    others
        Number of pairs besides the declared one.
    together
        How many of them are compared all at once by the studentized range.
    """

    quantity: Quantity
    fitted: _Fitted | None
    error: float
    others: int
    together: int

    @classmethod
    def of(
        cls, quantity: Quantity, pairs: list[tuple[int, int]], declared: set[int], coverage: float
    ) -> _Family:
        """Return the family of some pairs of devices, given by their places."""
        fitted = _fitted(quantity)
        others = [pair for pair in pairs if set(pair) != declared]
        places = set(fitted.places if fitted else ())
        together = sum(set(pair) <= places for pair in others)
        return cls(quantity, fitted, 1.0 - coverage, len(others), together)

    def fit_of(self, i: int, j: int) -> _Fitted | None:
        """Return the fit that holds both devices of a pair, or None."""
        fitted = self.fitted
        return fitted if fitted is not None and {i, j} <= set(fitted.places) else None

    @property
    def each(self) -> float:
        """Return the probability of error of one pair by itself, besides the declared one."""
        return self.error / max(self.others, 1)

    def by_range(self, fitted: _Fitted, i: int, j: int) -> _Judged:
        """Return a difference by the studentized range, for the share of its pairs in the error."""
        error = self.error * self.together / max(self.others, 1)
        m, fit, now = len(fitted.places), fitted.fit, fitted.difference(i, j)
        # of runs that hold both: u² = 2 s²/n
        runs = 2.0 * (fit.s / now.u) ** 2 if now.u > 0.0 else 1.0

        def planned(k: int) -> Planned:
            dof = fit.dof + (m - 1) * k
            factor = tukey_factors(1.0 - error, m, fit.dof + m - 1)(dof)
            return Planned(fit.s * float(np.sqrt(2.0 / (runs + k))), dof, factor)

        return _Judged(now, "tukey", tukey_factor(1.0 - error, m, fit.dof), planned)

    def judged(self, i: int, j: int, *, declared: bool) -> _Judged | None:
        """Return the difference of a pair whose runs were seen to their end, if it has any."""
        fitted, error = self.fit_of(i, j), self.error if declared else self.each
        if fitted is not None and not declared:
            return self.by_range(fitted, i, j)
        return _paired(self.quantity, i, j, error) or _own_runs(self.quantity, i, j, error)


def _pair_row(
    family: _Family, a: tuple[int, str], b: tuple[int, str], *, declared: bool, plan: Plan
) -> Row:
    quantity, nan = family.quantity, float("nan")
    (i, first), (j, second) = a, b
    runs = int((~np.isnan(quantity.value[:, [i, j]])).all(axis=1).sum())
    head, wins = (first, second, quantity.name), _surely(quantity, i, j)
    flags = ("declared",) if declared else ()
    if _is_open(quantity, i, j):
        found = compare_open(quantity, i, j, error=family.error if declared else family.each)
        return (
            *head, found.method, runs, found.difference, found.u, found.dof, found.low, found.high,
            found.verdict, *wins, nan, quantity.unit, ";".join((*found.flags, *flags)),
            found.p_exact, found.p_least, found.runs_least, nan,
        )  # fmt: skip
    judged = family.judged(i, j, declared=declared)
    if judged is None:
        return (
            *head, "", runs, *[nan] * 5, "unknown", *wins, nan, quantity.unit,
            ";".join(("too_few_runs", *flags)), *[nan] * 4,
        )  # fmt: skip
    result, resolution = judged.difference, _pair_resolution(quantity, i, j, 1.0 - family.error)
    wide = result.half_width_by(judged.factor, resolution=resolution)
    low, high = result.difference - wide, result.difference + wide
    verdict, more = _verdict(low, high), nan
    if plan == "with_more_runs":
        more = _more(judged, resolution) if verdict == "too_close" else 0.0
    total = nan if judged.method == "welch" else runs + more
    return (
        *head, judged.method, runs, result.difference, result.u, float(result.dof), low, high,
        verdict, *wins, total, quantity.unit, ";".join(flags), nan, nan, nan, more,
    )  # fmt: skip


def _more(judged: _Judged, resolution: float) -> float:
    """Return how many more runs would separate the two; NaN: no number of them."""
    found = more_runs(judged.difference.difference, judged.planned, resolution=resolution)
    return float("nan") if found is None else float(found)


def _is_open(quantity: Quantity, i: int, j: int) -> bool:
    """Return whether a run that the comparison rests on was not seen to its end."""
    used = runs_used(quantity, i, j)
    if used is None:
        return bool(quantity.at_least[:, [i, j]].any())
    return bool(quantity.at_least[used[0], i].any() or quantity.at_least[used[1], j].any())


@over_runs("replicate_pairs")
def replicate_pairs(repeats: Repeats) -> Iterator[Row]:
    """Compare all pairs of devices over their runs; called as `OverRuns`.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["replicate_pairs"]``; A − B. ``method`` ``tukey``: devices ran side by
        side, run effects are taken out. ``paired``: differences within runs, t, for the one pair
        that was declared beforehand (or where too few runs are complete). ``welch``: runs of
        their own. Where a run was not seen to its end, ``signed_rank``, ``rank_sum`` or
        ``seen_scatter`` (`kit.runtime.open_pairs`): ``difference`` and the interval are then
        bounds, NaN on the open side; ``p_exact`` is p of the runs counted, ``p_least`` the least
        that so many runs can give, and ``runs_least`` how many runs counting takes.
        ``runs_a_longer``, ``runs_b_longer``: runs in which A surely had more, or B.
        ``runs_more``: how many more runs of both would, with 80 % probability, separate a true
        difference of this size by the rule and among the pairs of this verdict; 0 where it is
        separated, NaN where no number of runs would or no rule applied. ``runs_needed``: the runs
        in all, where both took part in them.

    Notes
    -----
    ``U = √(X² + (f·u)²)`` with f = q/√2 or t and X the resolution of one pair of results. The
    pairs of a quantity other than the declared one hold together with the chosen probability: each
    of the M pairs may err with a probability of (1 − coverage)/M, those by Tukey's range with
    that of all of them together (Bonferroni).
    """
    for quantity in repeats.quantities:
        yield from pairs_of(quantity, repeats.session, repeats.coverage, plan="with_more_runs")


def pairs_of(
    quantity: Quantity, session: Session, coverage: float, *, plan: Plan = "verdicts_only"
) -> Iterator[Row]:
    """Yield the rows of `replicate_pairs` on one quantity.

    Parameters
    ----------
    quantity
        Values of all runs and devices.
    session
        Names the devices and the declared pair.
    coverage
        As for `replicate_pairs`.
    plan
        Whether to find out how many more runs it would take.
    """
    devices = session.devices
    declared = set(session.declared_comparison or ())
    there = np.flatnonzero(~np.isnan(quantity.value).all(axis=0)).tolist()
    known = [(k, devices[k].id) for k in there]
    places = [(a[0], b[0]) for a, b in combinations(known, 2)]
    pair = {k for k, d in known if d in declared}
    family = _Family.of(quantity, places, pair, coverage)
    for a, b in combinations(known, 2):
        yield _pair_row(family, a, b, declared={a[1], b[1]} == declared, plan=plan)


@over_runs("run_effects")
def run_effects(repeats: Repeats) -> Iterable[Row]:
    """Return what each run as a whole added to every device; called as `OverRuns`.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["run_effects"]``; the effects of a quantity sum to 0. A quantity for
        which devices and runs cannot be separated has no rows; a device with a run that was not
        seen to its end is not in it.
    """
    for quantity in repeats.quantities:
        fitted = _fitted(quantity)
        if fitted is None:
            continue
        fit = fitted.fit
        t = coverage_factor(repeats.coverage, fit.dof)
        for run, e, u in zip(
            repeats.session.runs, fit.run_effect.tolist(), fit.run_effect_u.tolist(), strict=True
        ):
            yield run.number, quantity.name, e, u, e - t * u, e + t * u, quantity.unit
