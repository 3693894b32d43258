"""The readings of a session as sorted arrays, with the phases' times beside them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from kit.session import Session

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Flags = NDArray[np.bool_]

__all__ = ["END", "INSIDE", "START", "Observed", "Spans", "codes", "observed", "spans"]

START, INSIDE, END = 0, 1, 2
"""Where in its phase a reading was made, in order of time."""

NOTED = ("clock", "elapsed")
"""Sources of a phase's end that are observations; ``planned`` is not."""


def codes(column: pd.Series[str], ids: Sequence[str]) -> Ints:
    """Return for each row the place of its id in ``ids``, −1 for another id or none.

    Examples
    --------
    >>> codes(pd.Series(["b", "a", "", "b"]), ["a", "b"]).tolist()
    [1, 0, -1, 1]
    >>> codes(pd.Series(["b", "a", "", "b"], dtype="category"), ["a", "b"]).tolist()
    [1, 0, -1, 1]
    """
    place = {name: i for i, name in enumerate(ids)}
    if isinstance(column.dtype, pd.CategoricalDtype):
        found, names = column.cat.codes.to_numpy(dtype=np.int64), column.cat.categories
    else:
        found, names = pd.factorize(column)
    table = np.array([*(place.get(name, -1) for name in names), -1], dtype=np.int64)
    return table[found]


@dataclass(frozen=True, kw_only=True)
class Spans:
    """Times of the phases; every array has shape (runs, phases), times in minutes.

    Parameters
    ----------
    start, end
        As recorded, or from the plan; NaN if unknown.
    start_noted, end_noted
        Whether that time was noted and not taken from the plan.
    length
        Length of the phase, however it is known; NaN if it is not.
    planned
        Planned length; NaN if none.
    resolution
        Step of the noted times.
    line
        Line of the phase in the log; 0 if it is known from the setup file alone.
    """

    start: Floats
    end: Floats
    start_noted: Flags
    end_noted: Flags
    length: Floats
    planned: Floats
    resolution: Floats
    line: Ints


def spans(session: Session) -> Spans:
    """Return the times of all phases of all runs as arrays."""
    frame = session.spans
    runs = [run.number for run in session.runs]
    shape = (len(runs), len(session.phases))
    row = {number: i for i, number in enumerate(runs)}
    r = np.array([row.get(int(n), -1) for n in frame["run"].tolist()], dtype=np.int64)
    p = codes(frame["phase"], [phase.id for phase in session.phases])
    known = (r >= 0) & (p >= 0)
    at = (r[known], p[known])

    def grid(column: str) -> Floats:
        values = np.full(shape, np.nan)
        values[at] = frame[column].to_numpy(dtype=np.float64)[known]
        return values

    def noted(column: str) -> Flags:
        values = np.zeros(shape, dtype=np.bool_)
        values[at] = frame[column].isin(NOTED).to_numpy()[known]
        return values

    start, end = grid("start_min"), grid("end_min")
    plan = [np.nan if q.planned_min is None else float(q.planned_min) for q in session.phases]
    planned = np.broadcast_to(np.array(plan, dtype=np.float64), shape)
    length = grid("duration_min")
    length = np.where(np.isnan(length), end - start, length)
    resolution = grid("t_resolution_min")
    line = np.zeros(shape, dtype=np.int64)
    line[at] = frame["line"].to_numpy(dtype=np.int64)[known]
    return Spans(
        start=start,
        end=end,
        start_noted=noted("start_source") & ~np.isnan(start),
        end_noted=noted("end_source") & ~np.isnan(end),
        length=np.where(np.isnan(length), planned, length),
        planned=planned,
        resolution=np.where(np.isnan(resolution), 1.0, resolution),
        line=line,
    )


@dataclass(frozen=True, kw_only=True)
class Observed:
    """Readings with a percentage, by run and device, in order of time.

    Parameters
    ----------
    unit
        Shape (n,). Run position × number of devices + device position; ascending.
    phase
        Shape (n,). Position of the phase, −1 if unknown.
    point
        Shape (n,). ``START``, ``INSIDE`` or ``END``.
    t
        Shape (n,). Minute of the reading: as noted, else that of its boundary, else NaN.
    timed
        Shape (n,). Whether the time was noted.
    resolution
        Shape (n,). Step of the noted time (min); 0 if none was noted.
    soc
        Shape (n,). Displayed percentage.
    line
        Shape (n,).
    first
        Shape (units + 1,). The readings of unit ``i`` are ``first[i]:first[i + 1]``.
    """

    unit: Ints
    phase: Ints
    point: Ints
    t: Floats
    timed: Flags
    resolution: Floats
    soc: Floats
    line: Ints
    first: Ints

    def of(self, unit: int) -> slice:
        """Return where the readings of one unit are."""
        return slice(int(self.first[unit]), int(self.first[unit + 1]))


def _phase_by_time(phase: Ints, run: Ints, t: Floats, times: Spans) -> Ints:
    """Return ``phase`` with the unknown ones found by their time, where that is possible."""
    missing = (phase < 0) & ~np.isnan(t)
    if not missing.any():
        return phase
    found = phase.copy()
    for r in range(times.start.shape[0]):
        known = np.flatnonzero(~np.isnan(times.start[r]))
        mine = np.flatnonzero(missing & (run == r))
        if not known.size or not mine.size:
            continue
        order = known[np.argsort(times.start[r][known], kind="stable")]
        place = np.searchsorted(times.start[r][order], t[mine], side="right") - 1
        guess = order[np.maximum(place, 0)]
        end = np.where(np.isnan(times.end[r]), np.inf, times.end[r])
        found[mine] = np.where((place >= 0) & (t[mine] <= end[guess]), guess, -1)
    return found


def _by_time(unit: Ints, t: Floats, logical: Ints, line: Ints) -> Ints:
    """Return the order of rows by unit and time; equal or unknown times by their boundary."""
    order = np.argsort(unit.astype(np.int16 if unit.size and unit.max() < 2**15 else np.int64),
                       kind="stable")  # fmt: skip
    step = np.diff(t[order])
    same = np.diff(unit[order]) == 0
    sorted_now = ~same | (step > 0) | ((step == 0) & (np.diff(logical[order]) >= 0))
    if bool(sorted_now.all()):
        return order
    if np.isnan(t).any():
        return np.lexsort((line, t, logical, unit))
    return np.lexsort((line, logical, t, unit))


def observed(session: Session, times: Spans) -> Observed:
    """Return the readings of a session, sorted; rows of unknown devices or runs are left out."""
    frame = session.readings
    n_devices = len(session.devices)
    row = {run.number: i for i, run in enumerate(session.runs)}
    numbers, run_names = pd.factorize(frame["run"])
    table = np.array([*(row.get(int(n), -1) for n in run_names), -1], dtype=np.int64)
    run = table[numbers]
    device = codes(frame["device"], [d.id for d in session.devices])
    soc = frame["soc_pct"].to_numpy(dtype=np.float64)
    keep = (run >= 0) & (device >= 0) & ~np.isnan(soc)
    phase = codes(frame["phase"], [p.id for p in session.phases])
    point = codes(frame["point"], ["start", "inside", "end"])
    point[point < 0] = INSIDE
    noted = frame["t_min"].to_numpy(dtype=np.float64)
    resolution = frame["t_resolution_min"].to_numpy(dtype=np.float64)
    line = frame["line"].to_numpy(dtype=np.int64)
    if not keep.all():
        run, device, soc, phase, point, noted, resolution, line = (
            a[keep] for a in (run, device, soc, phase, point, noted, resolution, line)
        )
    phase = _phase_by_time(phase, run, noted, times)
    t = noted.copy()
    untimed = np.isnan(noted)
    for place, boundary in ((START, times.start), (END, times.end)):
        mine = untimed & (point == place) & (phase >= 0)
        t[mine] = boundary[run[mine], phase[mine]]
    unit = run * n_devices + device
    order = _by_time(unit, t, 3 * phase + point, line)
    sorted_unit = unit[order]
    return Observed(
        unit=sorted_unit,
        phase=phase[order],
        point=point[order],
        t=t[order],
        timed=~untimed[order],
        resolution=np.where(untimed | np.isnan(resolution), 0.0, resolution)[order],
        soc=soc[order],
        line=line[order],
        first=np.searchsorted(sorted_unit, np.arange(len(row) * n_devices + 1)),
    )
