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

__all__ = ["CHARGED", "charged_rows", "order_of", "runtime_pairs", "runtime_tables", "runtimes"]

_MIN_PER_H = 60.0


CHARGED = "charged during the run"
"""How ``basis`` ends where a device was charged: such a runtime is compared with no other."""


def charged_rows(runtimes: pd.DataFrame) -> Flags:
    """Return which rows of `runtimes` are of a device that was charged in that run.

    Examples
    --------
    >>> from tests.helpers.builders import make_session, seen
    >>> s = make_session(devices=["a", "b"], phases={"p1": 900},
    ...     charges=[{"run": 1, "device": "b", "start_min": 60.0, "end_min": 90.0}],
    ...     power_offs={"a": seen(300, 303), "b": seen(350, 352)})
    >>> charged_rows(runtimes(s)).tolist()
    [False, True]
    """
    return np.array(
        [str(text).endswith(CHARGED) for text in runtimes["basis"].tolist()], dtype=bool
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


def _placed(run: OffTimes) -> tuple[list[float], list[float], list[str], list[float]]:
    """Return best and worst rank, letters and P(longest), of those that may be compared.

    Without a place and without letters: who was charged, and who would be alone but for those.
    """
    _, above = order_of(run)
    n = run.charged.size
    them = np.flatnonzero(~run.charged)
    if them.size < min(n, 2):
        them = them[:0]
    best, worst, longest = (np.full(n, np.nan) for _ in range(3))
    letters = np.full(n, "", dtype=object)
    if them.size:
        above = above[np.ix_(them, them)]
        best[them], worst[them] = rank_intervals(above)
        letters[them] = tie_letters(above)
        longest[them] = p_longest(
            run.order_low[them], run.order_high[them], tail=run.tail[them], ramp=run.ramp[them]
        )
    first, last = ((r.astype(np.int64) if them.size == n else r).tolist() for r in (best, worst))
    return first, last, letters.tolist(), longest.tolist()


def _runtime_rows(session: Session, run: OffTimes) -> list[tuple[object, ...]]:
    best, worst, letters, longest = _placed(run)
    low, high, u = run.runtime_low, run.runtime_high, np.sqrt(run.variance)
    censored, nothing = np.isinf(high), np.isnan(low)
    with np.errstate(invalid="ignore"):
        middle = np.where(nothing, np.nan, np.where(censored, low, (low + high) / 2.0))
    ids = [device.id for device in session.devices]
    basis = [
        f"{text}; {CHARGED}" if charged else text
        for charged, text in zip(run.charged.tolist(), run.basis, strict=True)
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
            best,
            worst,
            letters,
            longest,
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
    rows: list[tuple[object, ...]] = []
    pairs: list[tuple[object, ...]] = []
    for run in off_times(session) if offs is None else offs:
        rows += _runtime_rows(session, run)
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
        ``rank_best``, ``rank_worst``, ``tie_group`` (letters) and ``p_longest`` place it among
        those that were not charged during the run, of two at least; else NaN and no letter.

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
        ``both_still_on``, or ``unknown`` where a device was lost sight of, or was charged.

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
