"""All results again, by Monte Carlo: what the draws of `kit.drain.draws` say.

The closed form is what a report can always afford; this is its check, and what is stated where it
reaches further.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.drawn import Drawn
from kit.drain.draws import UnitDraws
from kit.drain.mix_draws import MixDraws
from kit.drain.phases import MEASURANDS
from kit.drain.power_drain import level_effect
from kit.drain.projections import NEXT_TO_NOTHING
from kit.drain.segments import segments
from kit.frames import frame_of_rows
from kit.stats.monte_carlo import block_size, blocks_until_stable, sorted_interval

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.drain.segments import Segments
    from kit.results import Settings

    Floats = NDArray[np.float64]
    Draws = NDArray[np.float32]

__all__ = [
    "OF_PHASES",
    "Figures",
    "Simulated",
    "enough_draws",
    "monte_carlo",
    "simulate",
    "simulate_to_digits",
]

CHUNK = 50_000
"""Draws made at a time: a few arrays of this length stay in the processor's cache."""

LEAST_DRAWS = 100
"""Of fewer draws that can be no figure is stated (common practice, no source)."""

OF_PHASES = (
    *(f"{m}_{what}" for what in ("drain", "rate") for m in MEASURANDS),
    "total_drain", "hours", "energy", "power",
)  # fmt: skip
"""Results that there is one of in every phase."""

RECIPROCAL_U = 0.2
"""Relative u of a rate up to which its reciprocal has a standard deviation worth stating: beyond,
rates near 0 make it whatever the number of draws makes it (derived in docs/measurement.md)."""


@dataclass(frozen=True, kw_only=True)
class Figures:
    """What the draws say of one kind of result; arrays of one shape, NaN where there is none.

    Parameters
    ----------
    u
        Standard deviation.
    low, high
        Ends of the symmetric coverage interval.
    """

    u: Floats
    low: Floats
    high: Floats

    @classmethod
    def unknown(cls, *shape: int) -> Figures:
        """Return figures of a shape, none of them known."""
        return cls(
            u=np.full(shape, np.nan), low=np.full(shape, np.nan), high=np.full(shape, np.nan)
        )

    def put(self, place: tuple[int, ...], found: tuple[float, float, float]) -> None:
        """Enter u and both ends of one result."""
        self.u[place], self.low[place], self.high[place] = found

    @property
    def stack(self) -> Floats:
        """Return u, low and high, flat, one below the other."""
        return np.stack([self.u.ravel(), self.low.ravel(), self.high.ravel()])


@dataclass(frozen=True, kw_only=True)
class Simulated:
    """All results by Monte Carlo; K units, P phases.

    Parameters
    ----------
    draws, coverage
        Draws of each unit, and the probability of the intervals.
    stable_digits
        Significant digits of u to which all figures are stable, ``None``: not looked at, 0: not
        even one.
    phases
        Name of `OF_PHASES` → shape (K, P), in pp, pp/h, h, Wh and W.
    runtime
        Shape (K,), in h.
    mixes
        Name of a mix → hours on it, shape (K,).
    parts
        Rate by the display in each half and turn (pp/h), shape (K, S) of the segments that are no
        whole phase.
    """

    draws: int
    coverage: float
    stable_digits: int | None = None
    phases: Mapping[str, Figures]
    runtime: Figures
    mixes: Mapping[str, Figures]
    parts: Figures

    @property
    def all_figures(self) -> Iterator[Figures]:
        """Yield the figures of every kind of result."""
        yield from self.phases.values()
        yield self.runtime
        yield from self.mixes.values()
        yield self.parts


def _kept(draws: Draws, least: float) -> Draws | None:
    """Return the draws in order without those below ``least``; ``None``: too few, or not known."""
    draws.sort()
    kept = draws[int(np.searchsorted(draws, np.float32(least))) :]
    return None if kept.size < LEAST_DRAWS or kept[-1] != kept[-1] else kept


def _figures(draws: Draws, coverage: float, least: float = 0.0) -> tuple[float, float, float]:
    """Return standard deviation and interval; draws below ``least`` cannot be and are dropped."""
    kept = _kept(draws, least)
    if kept is None:
        return float("nan"), float("nan"), float("nan")
    low, high = sorted_interval(kept, coverage)
    return float(kept.std()), low, high


def _hours(rate: Draws, coverage: float) -> tuple[float, float, float]:
    """Return u and interval of 100/rate, from the draws of the rate (pp/h)."""
    kept = _kept(rate, 0.0)
    if kept is None or not kept[-1] > 0.0:
        return float("nan"), float("nan"), float("nan")
    slow, fast = sorted_interval(kept, coverage)
    sharp = float(kept.std()) <= RECIPROCAL_U * float(kept.mean()) and kept[0] > 0.0
    u = float((np.float32(100.0) / kept).std()) if sharp else float("nan")
    return (
        u,
        100.0 / fast if fast > 0.0 else float("inf"),
        (100.0 / slow if slow > max(0.0, NEXT_TO_NOTHING * fast) else float("inf")),
    )


def _phase_figures(
    ready: Prepared, unit: UnitDraws, drawn: Drawn, coverage: float, out: Mapping[str, Figures]
) -> None:
    """Put what the draws of one unit say of its phases into ``out``; sorts the draws."""
    k = unit.k
    beta = level_effect(ready)[k]
    rises = ready.flags["rises"][k]
    known = {m: ~np.isnan(ready.drains[m].drain_pp[k]) for m in MEASURANDS}
    runs = ready.chains.timed[k]
    for i, p in enumerate(unit.phases.tolist()):
        at, least = (k, p), -np.inf if rises[p] else 0.0
        shown, true, hours = drawn.displayed[i], drawn.true[i], drawn.exposure[i]
        if known["true_charge"][p] and not rises[p]:
            energy = true / (1 + drawn.counts * np.float32(beta[p]))
            if runs[p]:
                out["hours"].put(at, _hours(energy / hours, coverage))
            if drawn.rated_wh[0] == drawn.rated_wh[0]:
                energy *= drawn.rated_wh * np.float32(0.01)
                if runs[p]:
                    out["power"].put(at, _figures(energy / hours, coverage))
                out["energy"].put(at, _figures(energy, coverage))
        if not np.isnan(drawn.total[i, 0]):
            out["total_drain"].put(at, _figures(drawn.total[i], coverage, -np.inf))
        for m, drain in zip(MEASURANDS, (shown, true), strict=True):
            if known[m][p]:
                if runs[p]:
                    out[f"{m}_rate"].put(at, _figures(drain / hours, coverage, least))
                out[f"{m}_drain"].put(at, _figures(drain, coverage, least))


def simulate(
    ready: Prepared,
    *,
    draws: int,
    seed: int,
    coverage: float,
    found: Segments | None = None,
    mixes: Mapping[str, Mapping[str, float]] | None = None,
) -> Simulated:
    """Return all results with their intervals by Monte Carlo.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    draws
        Draws per unit; 20 000 fix the ends of a drain to about 0.01 pp, 0 leaves everything NaN.
    seed
        Every unit has a generator of its own, from this seed and its place.
    coverage
        Probability of the intervals.
    found
        From `kit.drain.segments.segments`, if made already.
    mixes
        Weights of each mix by activity.

    Returns
    -------
    Simulated

    References
    ----------
    JCGM 101:2008, 7.2 to 7.7 (from memory).

    Examples
    --------
    90 to 78 % in an hour: the difference of two rounded numbers is triangular about 12, u = 0.41,
    95 % of it within 1 − √0.05 = 0.78:

    >>> from kit.drain.phases import prepare
    >>> from tests.helpers.builders import BARE, make_session
    >>> ready = prepare(make_session(phases={"p1": 60}, readings={"a": [90, 78]}, assumptions=BARE))
    >>> drain = simulate(ready, draws=20_000, seed=1, coverage=0.95).phases["displayed_drain"]
    >>> [round(float(v[0, 0]), 1) for v in (drain.u, drain.low, drain.high)]
    [0.4, 11.2, 12.8]
    """
    chains = ready.chains
    k_all, p_all = chains.length_h.shape
    names = mixes or {}
    phases = {name: Figures.unknown(k_all, p_all) for name in OF_PHASES}
    runtime = Figures.unknown(k_all)
    of_mixes = {name: Figures.unknown(k_all) for name in names}
    stretches = segments(ready, coverage=coverage) if found is None else found
    rates = Figures.unknown(k_all, int((~stretches.plain).sum()))
    if draws:
        seeds = np.random.SeedSequence(seed).spawn(k_all)
        for k in range(k_all):
            here = np.flatnonzero(~np.isnan(ready.drains["displayed"].drain_pp[k]))
            unit = UnitDraws(ready, stretches, k, here)
            on_mixes = MixDraws(unit, tuple(names.values()))
            rng = np.random.Generator(np.random.SFC64(seeds[k]))
            drawn = Drawn.empty(here.size, rates.u.shape[1], len(names), draws)
            for begin in range(0, draws, CHUNK):
                part = drawn.part(begin, min(begin + CHUNK, draws))
                on_mixes.draw(rng, *unit.draw(rng, part), part)
            _phase_figures(ready, unit, drawn, coverage, phases)
            if not np.isnan(drawn.runtime[0]):
                runtime.put((k,), _figures(drawn.runtime, coverage))
            for s, rate in enumerate(drawn.part_rate):
                rates.put((k, s), _figures(rate, coverage, -np.inf))
            for rate, figures in zip(drawn.mix_rate, of_mixes.values(), strict=True):
                figures.put((k,), _hours(rate, coverage))
    return Simulated(
        draws=draws, coverage=coverage, phases=phases, runtime=runtime, mixes=of_mixes, parts=rates
    )


def simulate_to_digits(
    ready: Prepared,
    *,
    digits: int,
    seed: int,
    coverage: float,
    max_draws: int = 2_000_000,
    found: Segments | None = None,
    mixes: Mapping[str, Mapping[str, float]] | None = None,
) -> Simulated:
    """Return all results by as many draws as it takes for their figures to be stable.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    digits
        Significant digits of u that must not change from one half of the draws to the other.
    seed, coverage, found, mixes
        As for `simulate`.
    max_draws
        Limit; reached, ``stable_digits`` is 0.

    Notes
    -----
    Blocks of ``kit.stats.monte_carlo.block_size`` draws are made until, for u and both ends of
    every result that has a u, twice the standard deviation of the mean over the blocks is below δ.
    The result is then computed from that number of draws together.

    References
    ----------
    JCGM 101:2008, 7.9.4 (from memory).

    Examples
    --------
    u = 0.41 to one digit, 0.4: 0.05 pp either way is soon reached.

    >>> from kit.drain.phases import prepare
    >>> from tests.helpers.builders import BARE, make_session
    >>> ready = prepare(make_session(phases={"p1": 60}, readings={"a": [90, 78]}, assumptions=BARE))
    >>> found = simulate_to_digits(ready, digits=1, seed=1, coverage=0.95)
    >>> found.stable_digits, found.draws < 100_000
    (1, True)
    """
    size = block_size(coverage)
    seeds = np.random.SeedSequence(seed)

    def figures(_: int) -> Floats:
        own = int(seeds.spawn(1)[0].generate_state(1)[0])
        one = simulate(ready, draws=size, seed=own, coverage=coverage, found=found, mixes=mixes)
        return np.concatenate([part.stack for part in one.all_figures], axis=1)

    blocks, stable = blocks_until_stable(figures, digits=digits, most=max_draws // size)
    total = blocks * size
    whole = simulate(ready, draws=total, seed=seed, coverage=coverage, found=found, mixes=mixes)
    return replace(whole, stable_digits=digits if stable else 0)


def enough_draws(
    ready: Prepared,
    settings: Settings,
    *,
    found: Segments | None = None,
    mixes: Mapping[str, Mapping[str, float]] | None = None,
) -> Simulated:
    """Return all results with as many draws as it takes, ``settings.draws`` at most.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    settings
        Coverage, seed, digits and the most draws.
    found, mixes
        As for `simulate`.

    Returns
    -------
    Simulated
        ``stable_digits``: significant digits of u to which u and both ends of every result stand,
        those asked for, or 0 if the draws did not suffice for it.

    Examples
    --------
    Two thousand draws are too few to watch their figures settle: so many are made, nothing is said
    of their digits. 90 to 78 % has u = √(2/12) = 0.41 pp:

    >>> from kit.drain.phases import prepare
    >>> from kit.results import Settings
    >>> from tests.helpers.builders import BARE, make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [90, 78]}, assumptions=BARE)
    >>> found = enough_draws(prepare(s), Settings(draws=2000))
    >>> found.draws, found.stable_digits, round(float(found.phases["displayed_drain"].u[0, 0]), 1)
    (2000, None, 0.4)
    """
    if settings.draws < 2 * block_size(settings.coverage):
        return simulate(
            ready, draws=settings.draws, seed=settings.seed, coverage=settings.coverage,
            found=found, mixes=mixes,
        )  # fmt: skip
    return simulate_to_digits(
        ready, digits=settings.digits, seed=settings.seed, coverage=settings.coverage,
        max_draws=settings.draws, found=found, mixes=mixes,
    )  # fmt: skip


def monte_carlo(simulated: Simulated, settings: Settings) -> pd.DataFrame:
    """Return the one row that says how many draws were made and how far their figures stand.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["monte_carlo"]``.

    Examples
    --------
    >>> from kit.results import Settings
    >>> none = Figures.unknown(1)
    >>> found = Simulated(draws=40_000, coverage=0.95, stable_digits=1, phases={}, runtime=none,
    ...                   mixes={}, parts=none)
    >>> monte_carlo(found, Settings()).iloc[0].tolist()
    [40000, 100000, 1]
    """
    row = (simulated.draws, settings.draws, simulated.stable_digits)
    return frame_of_rows("monte_carlo", [row])
