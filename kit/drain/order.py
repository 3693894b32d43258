"""Who drained less in a phase: pairs of devices, margins, and the order they allow.

Two rules. *Single*: one pair that was chosen before the session. *Table*: all pairs in all
phases looked at together, so that a session in which all devices are equal makes a false claim
in at most 1 − coverage of cases. A phase that one of the two did not complete, or in which it
cannot be ranked, is left out of the comparison.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.drain.phases import MEASURANDS, prepare
from kit.frames import result_frame
from kit.stats.uncertainty import Resolution, normal_factor

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Session

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = [
    "Margins",
    "drain_pairs",
    "family_factor",
    "margins",
    "single_margin",
    "table_margin",
]

Verdict = Literal["a", "b", "tie", "not_compared"]
"""Which of the two drained less (``a`` or ``b``)."""


def family_factor(coverage: float, comparisons: int | NDArray[np.int64]) -> float | Floats:
    """Return the two-sided normal factor for each of several comparisons (Bonferroni).

    Parameters
    ----------
    coverage
        Probability that no comparison of the family is claimed falsely.
    comparisons
        Size of the family; 0 counts as 1. Several: an array of factors.

    Examples
    --------
    15 pairs in 8 phases, Φ⁻¹(1 − 0.025/120) = 3.53:

    >>> round(family_factor(0.95, 120), 2)
    3.53
    """
    if np.ndim(comparisons) == 0:
        return _one_family_factor(coverage, int(comparisons))
    from scipy.special import ndtri

    return np.asarray(ndtri(1.0 - (1.0 - coverage) / 2.0 / np.maximum(comparisons, 1)))


@lru_cache(maxsize=1024)
def _one_family_factor(coverage: float, comparisons: int) -> float:
    from scipy.special import ndtri

    return float(ndtri(1.0 - (1.0 - coverage) / 2.0 / max(comparisons, 1)))


@dataclass(frozen=True, kw_only=True)
class Margins:
    """Half-widths that a difference between two devices has to exceed; arrays of one shape.

    Parameters
    ----------
    single
        For one pair chosen beforehand; also the half-width of the coverage interval (pp).
    table
        For the whole table (pp).
    """

    single: Floats
    table: Floats


def margins(
    shown: Resolution,
    u_other: Floats,
    bound: Floats,
    coverage: float,
    comparisons: int | NDArray[np.int64],
) -> Margins:
    """Return the margins of differences between devices.

    Parameters
    ----------
    shown
        Resolution of both devices together (the sum of the two).
    u_other
        u of everything else of both devices together (pp).
    bound
        Sum of the half-widths that are added linearly (pp).
    coverage
        Probability, of one interval and of the family.
    comparisons
        Number of comparisons in the family; of several families, an array that broadcasts to
        the others.

    Notes
    -----
    Single: ``√(X² + k²u²) + b``, X for 95 %; where neither display's rounding is known and
    both matter (two devices from full), X is that of the worst pair of roundings, one
    truncating and one rounding up. Table: ``√(X² + z²u²) + b`` with the hard bound for X and z
    from `family_factor`, and never less than the bound of the roundings plus the one-sided
    width of the rest. Derived in docs/measurement.md.

    Examples
    --------
    One phase, two devices, nothing but the resolution: 1.14 pp (so 1 pp is a tie and 2 pp are
    not), and 2.0 pp for the table (so 3 pp are needed). Both from a full charge: 1.80.

    >>> from kit.stats.uncertainty import resolution
    >>> inner = resolution([1, -1]) + resolution([1, -1])
    >>> full = resolution([-1]) + resolution([-1])
    >>> m = margins(inner, np.float64(0), np.float64(0), 0.95, 120)
    >>> round(float(m.single), 2), round(float(m.table), 2)
    (1.14, 2.0)
    >>> round(float(margins(full, np.float64(0), np.float64(0), 0.95, 120).single), 2)
    1.8
    """
    return Margins(
        single=single_margin(shown, u_other, bound, coverage),
        table=table_margin(shown, u_other, bound, coverage, comparisons),
    )


def single_margin(shown: Resolution, u_other: Floats, bound: Floats, coverage: float) -> Floats:
    """Return the margins for pairs chosen beforehand alone; as `margins`."""
    k = normal_factor(coverage)
    x, at_worst = shown.half_widths(coverage)
    worst = np.minimum(at_worst, shown.hard_bound)
    both_free = shown.common_bound > 0.75 * shown.bound
    at_worst = np.where(both_free, np.hypot(worst, k * u_other), 0.0)
    return np.asarray(np.maximum(shown.expanded(u_other, coverage, half_width=x), at_worst) + bound)


def table_margin(
    shown: Resolution,
    u_other: Floats,
    bound: Floats,
    coverage: float,
    comparisons: int | NDArray[np.int64],
) -> Floats:
    """Return the margins of the whole table alone; as `margins`."""
    z = np.maximum(family_factor(coverage, comparisons), normal_factor(coverage))
    one_sided = family_factor(2.0 * coverage - 1.0, comparisons)
    apart = shown.common_bound + np.hypot(shown.bound, one_sided * u_other)
    return np.asarray(np.maximum(np.hypot(shown.hard_bound, z * u_other), apart) + bound)


def _verdicts(difference: Floats, margin: Floats, compared: Bools) -> NDArray[np.object_]:
    with np.errstate(invalid="ignore"):
        found = np.select(
            [~compared, difference > margin, difference < -margin],
            ["not_compared", "b", "a"],
            default="tie",
        )
    return found.astype(object)


def drain_pairs(
    session: Session, settings: Settings, *, prepared: Prepared | None = None
) -> pd.DataFrame:
    """Return the comparison of every pair of devices in every phase, in both measurands.

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
        Columns ``kit.results.RESULT_COLUMNS["drain_pairs"]``. ``difference_pp`` is drain of a
        minus drain of b; a verdict is ``a`` or ``b`` for the one that drained less, ``tie``, or
        ``not_compared``. The family of the table rule is all pairs compared in one run.
    """
    ready = prepare(session) if prepared is None else prepared
    chains = ready.chains
    n_runs, n, n_phases = len(chains.runs), len(chains.devices), len(chains.phases)
    first, second = np.triu_indices(n, k=1)
    n_pairs = first.size
    rows = n_runs * n_phases * n_pairs
    ranked = ready.ranked.reshape(n_runs, n, n_phases)
    compared = (ranked[:, first] & ranked[:, second]).transpose(0, 2, 1)
    figures = _compare(ready, first, second, compared, settings.coverage)
    labels = np.array(chains.devices, dtype=object)
    data: dict[str, NDArray[np.generic]] = {
        "run": np.repeat(np.array(chains.runs, dtype=np.int64), n_phases * n_pairs * 2),
        "phase": np.tile(np.repeat(np.array(chains.phases, dtype=object), n_pairs * 2), n_runs),
        "device_a": np.tile(np.repeat(labels[first], 2), n_runs * n_phases),
        "device_b": np.tile(np.repeat(labels[second], 2), n_runs * n_phases),
        "measurand": np.tile(np.array(MEASURANDS, dtype=object), rows),
        **{name: np.moveaxis(both, 0, -1).ravel() for name, both in figures.items()},
    }
    return result_frame("drain_pairs", data)


def _compare(
    ready: Prepared,
    first: NDArray[np.int64],
    second: NDArray[np.int64],
    compared: Bools,
    coverage: float,
) -> dict[str, NDArray[np.generic]]:
    """Return the columns of the comparisons, each of shape (measurands, runs, phases, pairs)."""
    chains, found = ready.chains, [ready.drains[m] for m in MEASURANDS]
    shape = (len(found), len(chains.runs), len(chains.devices), len(chains.phases))

    def sides(values: list[Floats]) -> tuple[Floats, Floats]:
        both = np.stack(values).reshape(shape)
        return both[:, :, first], both[:, :, second]

    shown = Resolution.stacked([one.resolution for one in found]).reshaped(shape)
    drain_a, drain_b = sides([one.drain_pp for one in found])
    bound_a, bound_b = sides([one.bound_pp for one in found])
    width = margins(
        shown[:, :, first] + shown[:, :, second],
        np.hypot(*sides([one.u_other_pp for one in found])),
        bound_a + bound_b,
        coverage,
        compared.sum(axis=(1, 2))[:, None, None],
    )
    difference, single, table = (
        values.swapaxes(2, 3) for values in (drain_a - drain_b, width.single, width.table)
    )
    blank = np.where(compared, 0.0, np.nan)
    return {
        "difference_pp": difference + blank,
        "difference_pp_low": difference - single + blank,
        "difference_pp_high": difference + single + blank,
        "margin_single_pp": single + blank,
        "margin_table_pp": table + blank,
        "verdict_single": _verdicts(difference, single, compared),
        "verdict_table": _verdicts(difference, table, compared),
    }
