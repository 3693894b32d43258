"""When each phase ran for each unit, and the unlogged time whose place is not known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.session import columns_of

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import NDArray

    from kit.session import Session

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = ["PhaseTimes", "UnplacedGaps", "boundary_resolution", "phase_times", "unplaced_gaps"]

_LENGTH_U_MIN = 0.41
"""u of a phase length whose ends were noted to the minute, 1/√6 (min)."""

_LOCATED = ("clock", "elapsed")


@dataclass(frozen=True, kw_only=True)
class PhaseTimes:
    """Times of the phases per unit (device × run), shape (K, P); minutes, NaN for not known.

    Parameters
    ----------
    start, end, length, length_u
        Since the run's start; length and its standard uncertainty.
    resolution
        Step to which the times were noted.
    start_located, end_located
        Whether the boundary was noted, and not just planned.
    """

    start: Floats
    end: Floats
    length: Floats
    length_u: Floats
    resolution: Floats
    start_located: Bools
    end_located: Bools


def phase_times(session: Session) -> PhaseTimes:
    """Return the times of the phases as the record has them.

    Parameters
    ----------
    session
        A record that passed its checks.
    """
    names = (
        "run", "phase", "start_min", "end_min", "duration_min", "duration_u_min",
        "t_resolution_min", "start_source", "end_source",
    )  # fmt: skip
    frame = dict(zip(names, columns_of(session.spans, *names), strict=True))
    runs = {run.number: i for i, run in enumerate(session.runs)}
    phases = {phase.id: i for i, phase in enumerate(session.phases)}
    shape = len(runs), len(phases)
    rows = [
        (runs[r], phases[p], i)
        for i, (r, p) in enumerate(zip(frame["run"].tolist(), frame["phase"].tolist(), strict=True))
        if r in runs and p in phases
    ]
    where = tuple(np.array(rows, dtype=np.int64).reshape(-1, 3).T)
    n = len(session.devices)

    def spread(column: str) -> Floats:
        values = np.full(shape, np.nan)
        values[where[0], where[1]] = np.asarray(frame[column], dtype=np.float64)[where[2]]
        return np.repeat(values, n, axis=0)

    def located(column: str) -> Bools:
        known = np.zeros(shape, dtype=bool)
        sources = frame[column].tolist()
        known[where[0], where[1]] = [sources[i] in _LOCATED for i in where[2].tolist()]
        return np.repeat(known, n, axis=0)

    start, end, length = spread("start_min"), spread("end_min"), spread("duration_min")
    u = spread("duration_u_min")
    stated = session.assumptions.phase_length_u_min
    return PhaseTimes(
        start=start,
        end=end,
        length=np.where(np.isnan(length), end - start, length),
        length_u=np.where(np.isnan(u), _LENGTH_U_MIN, u) if stated is None
        else np.full(u.shape, stated),
        resolution=np.nan_to_num(spread("t_resolution_min"), nan=1.0),
        start_located=located("start_source"),
        end_located=located("end_source"),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class UnplacedGaps:
    """Gaps of which only the total is known, shape (K, P); minutes.

    Parameters
    ----------
    gap, gap_u
        Before each phase.
    shift, shift_u
        By how much they move the start of each phase.
    """

    gap: Floats
    gap_u: Floats
    shift: Floats
    shift_u: Floats


def unplaced_gaps(session: Session, spans: PhaseTimes) -> UnplacedGaps:
    """Return the gaps where only their total is known.

    Parameters
    ----------
    session, spans
        The record and its `phase_times`.

    Notes
    -----
    With T min shared by m places, each is T/m with u = T√((m − 1)/(m²(m + 1))), and j of them
    together are jT/m with u = T√(j(m − j)/(m²(m + 1))).
    """
    n = len(session.devices)
    gap, gap_u, shift, shift_u = (np.zeros(spans.start.shape) for _ in range(4))
    for i, run in enumerate(session.runs):
        k = slice(i * n, (i + 1) * n)
        total = run.stop_min if run.stop_min is not None else run.stated_elapsed_min
        start, end, length = spans.start[i * n], spans.end[i * n], spans.length[i * n]
        places = ~spans.start_located[i * n]
        places[:1] = False
        m, phases = int(places.sum()), length.size
        open_ended = np.isnan(length).any() or bool(spans.end_located[i * n, -1:].all())
        if total is None or m == 0 or open_ended:
            continue
        rest = total - (end[-1] - start[0])
        if not rest > 3.0 * np.sqrt(phases / 12.0 + 1.0 / 6.0):
            continue
        gap[k, places] = rest / m
        gap_u[k, places] = rest * np.sqrt((m - 1) / (m**2 * (m + 1)))
        before = np.cumsum(places)
        shift[k] = rest * before / m
        shift_u[k] = rest * np.sqrt(before * (m - before) / (m**2 * (m + 1)))
    return UnplacedGaps(gap=gap, gap_u=gap_u, shift=shift, shift_u=shift_u)


def boundary_resolution(session: Session, spans: PhaseTimes) -> tuple[Floats, Floats]:
    """Return the steps (min) to which boundaries were noted, and to which the run's start was.

    Parameters
    ----------
    session, spans
        The record and its `phase_times`.

    Returns
    -------
    own, start
        Shape (K, 2P). A boundary that was noted has its own step, and 0 in ``start``. One that was
        not follows from the start of the run, whose step is in ``start``: the same error for all
        boundaries.
    """
    starts = [0.0 if run.start is None else _clock_step(run.start) for run in session.runs]
    of_run = np.repeat(np.array(starts), len(session.devices))[:, None]
    shape = (spans.start.shape[0], 2 * spans.start.shape[1])
    located = np.empty(shape, dtype=bool)
    located[:, 0::2], located[:, 1::2] = spans.start_located, spans.end_located
    own = np.where(located, np.repeat(spans.resolution, 2, axis=1), 0.0)
    return own, np.where(located, 0.0, of_run)


def _clock_step(t: datetime) -> float:
    """Return the step to which a clock time was noted (min)."""
    return 1.0 / 60.0 if t.second or t.microsecond else 1.0
