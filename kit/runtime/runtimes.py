"""Runtimes and their order in one session: facts of these units on this day.

A runtime is known as far as its power-off was: between two looks at the device, or only from
below when it was not seen off. What may be said of the *kind* of device is another matter; see
:mod:`kit.runtime.replicates` and :mod:`kit.claims`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.drain.off_times import OffTimes, off_times
from kit.frames import frame_of_rows
from kit.session import columns_of
from kit.stats.order import (
    p_longest,
    pair_verdict,
    rank_intervals,
    tie_letters,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.session import Session

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["order_of", "runtime_pairs", "runtime_tables", "runtimes"]

_MIN_PER_H = 60.0


def _charged(session: Session) -> set[tuple[int, str]]:
    """Return the (run, device) pairs that were charged during the run."""
    if session.charges.empty:
        return set()
    return set(
        zip(*(c.tolist() for c in columns_of(session.charges, "run", "device")), strict=True)
    )


def order_of(run: OffTimes) -> tuple[Floats, Flags]:
    """Return P(i ran longer than j) and which pairs are claimed, both of shape (n, n).

    Parameters
    ----------
    run
        From :func:`kit.drain.off_times.off_times`.

    Notes
    -----
    A pair is claimed where the bounds of the two power-offs leave no other order
    (``run.later``), never because it is probable: P takes the power-offs for independent within
    their windows, which devices that go off together on one walk are not. Derived in
    docs/runtimes.md.

    Examples
    --------
    a off in [300, 304), b in [303, 307), c in [310, 313): c ran longer than both, whatever was. a
    and b share the minute from 303 on. Each look was made somewhere in its minute, so the density
    falls from 1/3 to 0 over the last minute of a, (1 − x)/3, and rises over the first of b, y/3;
    a ran longer with P = ∫ (1 − x)/3 · x²/6 dx = 1/216 = 0.0046:

    >>> from tests.helpers.builders import make_session, seen
    >>> s = make_session(devices=["a", "b", "c"], phases={"p1": 900}, power_offs={
    ...     "a": seen(300, 303), "b": seen(303, 306), "c": seen(310, 312)})
    >>> p, claimed = order_of(off_times(s)[0])
    >>> claimed.tolist()
    [[False, False, False], [False, False, False], [True, True, False]]
    >>> round(float(p[0, 1]), 4), float(p[2, 0])
    (0.0046, 1.0)
    """
    return run.p_longer, run.later


def _runtime_rows(
    session: Session, run: OffTimes, charged: set[tuple[int, str]]
) -> list[tuple[object, ...]]:
    _, above = order_of(run)
    best, worst = rank_intervals(above)
    longest = p_longest(run.order_low, run.order_high, tail=run.tail, ramp=run.ramp)
    low, high, u = run.runtime_low, run.runtime_high, np.sqrt(run.variance)
    censored, nothing = np.isinf(high), np.isnan(low)
    with np.errstate(invalid="ignore"):
        middle = np.where(nothing, np.nan, np.where(censored, low, (low + high) / 2.0))
    ids = [device.id for device in session.devices]
    basis = [
        f"{text}; charged during the run" if (run.run, device) in charged else text
        for device, text in zip(ids, run.basis, strict=True)
    ]
    return list(
        zip(
            [run.run] * len(ids),
            ids,
            run.status,
            (middle / _MIN_PER_H).tolist(),
            (np.where(censored | nothing, np.nan, u) / _MIN_PER_H).tolist(),
            (low / _MIN_PER_H).tolist(),
            (np.where(censored, np.nan, high) / _MIN_PER_H).tolist(),
            censored.tolist(),
            run.low.tolist(),
            np.where(censored, np.nan, run.high).tolist(),
            run.last_soc.tolist(),
            best.tolist(),
            worst.tolist(),
            tie_letters(above),
            longest.tolist(),
            basis,
            strict=True,
        )
    )


def _pair_rows(session: Session, run: OffTimes) -> list[tuple[object, ...]]:
    low, high = run.order_low, run.order_high
    p, above = order_of(run)
    with np.errstate(invalid="ignore"):
        # a device lost sight of before the other's window began: not close, but open
        lost = np.isinf(high)[:, None] & (low[:, None] < low[None, :])
    first, second = np.triu_indices(len(session.devices), k=1)
    gap_low, gap_high = run.least_lead[first, second], -run.least_lead[second, first]
    columns = (
        first, second, p[first, second], np.where(np.isfinite(gap_low), gap_low, np.nan),
        np.where(np.isfinite(gap_high), gap_high, np.nan), above[first, second],
        above[second, first], lost[first, second] | lost[second, first],
    )  # fmt: skip
    return [
        (
            run.run, session.devices[i].id, session.devices[j].id, chance, shortest, longest,
            pair_verdict(
                chance, run.status[i], run.status[j], ahead=ahead, behind=behind,
                comparable=not open_pair,
            ),
        )
        for i, j, chance, shortest, longest, ahead, behind, open_pair in zip(
            *(column.tolist() for column in columns), strict=True
        )
    ]  # fmt: skip


def runtime_tables(
    session: Session, *, offs: Sequence[OffTimes] | None = None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the runtimes and the verdicts on all pairs, from one pass over the record.

    Parameters
    ----------
    session
        A record that passed its checks.
    offs
        From :func:`kit.drain.off_times.off_times`, if they were computed already.

    Returns
    -------
    runtimes, runtime_pairs : DataFrame
        As :func:`runtimes` and :func:`runtime_pairs`.

    Examples
    --------
    a off in [300, 304), b in [310, 313) min: b ran longer, by 310 − 304 to 313 − 300 minutes:

    >>> from tests.helpers.builders import make_session, seen
    >>> s = make_session(devices=["a", "b"], phases={"p1": 900},
    ...                  power_offs={"a": seen(300, 303), "b": seen(310, 312)})
    >>> times, pairs = runtime_tables(s)
    >>> (times["runtime_h_low"] * 60).round(3).tolist(), (times["runtime_h_high"] * 60).tolist()
    ([299.0, 309.0], [304.0, 313.0])
    >>> pairs[["difference_min_low", "difference_min_high", "verdict"]].values.tolist()
    [[-13.0, -6.0, 'b']]
    """
    charged = _charged(session)
    rows: list[tuple[object, ...]] = []
    pairs: list[tuple[object, ...]] = []
    for run in off_times(session) if offs is None else offs:
        rows += _runtime_rows(session, run, charged)
        pairs += _pair_rows(session, run)
    return frame_of_rows("runtimes", rows), frame_of_rows("runtime_pairs", pairs)


def runtimes(session: Session) -> pd.DataFrame:
    """Return the runtime of every device in every run, with its place in the order.

    Parameters
    ----------
    session
        A record that passed its checks.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["runtimes"]``; one row per run and device. ``status`` ``observed``:
        ``runtime_h_low`` and ``runtime_h_high`` (h) are hard bounds, ``runtime_h`` their middle
        and ``runtime_h_u`` from uniform windows. ``still_on`` and ``not_recorded``:
        ``runtime_h`` = ``runtime_h_low`` is a lower bound, there is no upper one and no u.
        ``off_low_min``, ``off_high_min`` (min since start as noted) bound the power-off;
        ``rank_best``, ``rank_worst``, ``tie_group`` (letters) and ``p_longest`` place it.

    Notes
    -----
    Runtime = power-off − start, each uniform over its window, so u² = (w_off² + w_start²)/12
    [GUM 4.3.7, from memory] and the bounds hold always, not in 95 % of cases only. A start
    common to all devices cancels in the order but not in the minutes.

    Examples
    --------
    Seen on at 300 and off at 303, both by a digital clock, as the start was: 299 to 304 min, the
    middle 301.5, u = √((4² + 1²)/12) = 1.19 min:

    >>> from tests.helpers.builders import make_session, seen
    >>> row = runtimes(make_session(devices=["a"], power_offs={"a": seen(300, 303)})).iloc[0]
    >>> [round(60 * float(row[c]), 2) for c in ("runtime_h", "runtime_h_u", "runtime_h_low")]
    [301.5, 1.19, 299.0]
    """
    return runtime_tables(session)[0]


def runtime_pairs(session: Session) -> pd.DataFrame:
    """Return the verdict on every pair of devices in every run.

    Parameters
    ----------
    session
        A record that passed its checks.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["runtime_pairs"]``. ``difference_min_low`` and ``_high`` bound A − B
        (min; NaN: no bound on that side). ``verdict``: ``a`` or ``b`` ran longer, whatever the
        notes leave open; ``too_close`` where the windows of the power-offs share a moment, however
        probable ``p_a_longer`` makes an order (it takes power-offs for independent);
        ``both_still_on``, or ``unknown`` where a device was lost sight of.

    Examples
    --------
    a off in [300, 304), b in [303, 307): a moment in common, so no order, however probable:

    >>> from tests.helpers.builders import make_session, seen
    >>> row = runtime_pairs(make_session(devices=["a", "b"], power_offs={
    ...     "a": seen(300, 303), "b": seen(303, 306)})).iloc[0]
    >>> row["verdict"], float(row["difference_min_low"]), float(row["difference_min_high"])
    ('too_close', -7.0, 1.0)
    """
    return runtime_tables(session)[1]
