"""Who drained less in a phase: pairs of devices, margins, and the order they allow.

Three rules. *Single*: one pair in one phase, as if nothing else were looked at. *Table*: all pairs
in all phases looked at together, so that a session in which all devices are equal makes a false
claim in at most 1 − coverage of cases. *Declared*: the same for all comparisons of the one pair
that was declared before the session. A phase that one of the two did not complete, or in which it
cannot be ranked, is left out of the comparison.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.drain.declared import declared_comparisons, declared_margin, declared_pair
from kit.drain.margins import margins
from kit.drain.phases import MEASURANDS, prepare
from kit.frames import result_frame
from kit.stats.uncertainty import Resolution

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Session

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = ["drain_pairs"]

_VERDICTS = np.array(["tie", "a", "b", "not_compared"], dtype=object)
"""Which of the two drained less (``a`` or ``b``)."""


def _verdicts(difference: Floats, margin: Floats, compared: Bools) -> NDArray[np.object_]:
    with np.errstate(invalid="ignore"):
        less = np.where(difference > margin, 2, np.where(difference < -margin, 1, 0))
    return np.asarray(_VERDICTS[np.where(compared, less, 3)])


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
        ``not_compared``. The family of the table rule is all pairs compared in one run, that of
        the declared pair all comparisons of the two in the session (`kit.drain.declared`); of
        other pairs ``margin_declared_pp`` is NaN and ``verdict_declared`` empty.

    Examples
    --------
    12 and 10 pp in an hour: 2 pp apart. One pair by itself needs more than 1.14, so b drained less;
    the table rule needs more than 2, the most that what four readings do not show can make:

    >>> from kit.results import Settings
    >>> from tests.helpers.builders import BARE, make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [90, 78], "b": [90, 80]},
    ...                  assumptions=BARE)
    >>> row = drain_pairs(s, Settings()).iloc[0]
    >>> [round(float(row[c]), 2) for c in ("difference_pp", "margin_single_pp", "margin_table_pp")]
    [2.0, 1.14, 2.0]
    >>> row["verdict_single"], row["verdict_table"]
    ('b', 'tie')
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
    u_other = sides([one.u_other_pp for one in found])
    width = margins(
        shown[:, :, first] + shown[:, :, second],
        np.hypot(*u_other),
        bound_a + bound_b,
        coverage,
        compared.sum(axis=(1, 2))[:, None, None],
    )
    own = np.full(width.table.shape, np.nan)
    pair = declared_pair(chains.session)
    if pair is not None:
        (here,) = np.flatnonzero((first == min(pair)) & (second == max(pair)))
        own[:, :, here] = declared_margin(
            shown[:, :, pair[0]] + shown[:, :, pair[1]],
            np.hypot(*(each[:, :, here] for each in u_other)),
            (bound_a + bound_b)[:, :, here],
            coverage,
            declared_comparisons(ready, ready.places, pair),
            width.table[:, :, here],
        )
    difference, single, table, own = (
        values.swapaxes(2, 3) for values in (drain_a - drain_b, width.single, width.table, own)
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
        "margin_declared_pp": own + blank,
        "verdict_declared": np.where(
            np.isnan(own).all(axis=(0, 1, 2)), "", _verdicts(difference, own, compared)
        ).astype(object),
    }
