"""What all rules need to know about a session, worked out once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.checks.observations import END, INSIDE, START, Observed, Spans, observed, spans
from kit.checks.text import clock
from kit.drain.off_times import off_times

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Literal

    from numpy.typing import NDArray

    from kit.drain.off_times import OffTimes
    from kit.session import Session

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Flags = NDArray[np.bool_]

__all__ = ["Facts", "OffNote", "gather"]

NEAR_BOUNDARY_MIN = 1.5
"""A reading without a named point stands for a boundary at most this long after it (min)."""


@dataclass(frozen=True, kw_only=True)
class OffNote:
    """The power-off row of one device in one run, times in minutes, NaN if not noted."""

    still_on: bool
    phase: int
    noted: float
    last_on: float
    first_off: float
    resolution: float
    soc: float
    cause: str
    line: int

    @property
    def off(self) -> float:
        """Return the minute noted off: first seen off, else the minute noted."""
        return self.noted if np.isnan(self.first_off) else self.first_off


@dataclass(frozen=True, kw_only=True)
class Facts:
    """A session as arrays; (R, P, D) stands for runs × phases × devices, in session order.

    Parameters
    ----------
    log_file, setup_file
        Names for the findings; the same where there is no setup file.
    readings, spans
        See `Observed` and `Spans`.
    start_pct, end_pct
        Shape (R, P, D). Percentage at the start and end of each phase; the start is that of the
        phase before where it has no reading of its own. NaN: no reading, or not on any more.
    own_start
        Shape (R, P, D). Whether the start has a reading of its own.
    start_line, end_line
        Shape (R, P, D). Their lines; 0 if there is none.
    drain, rate
        Shape (R, P, D). Displayed drain (pp) and rate (pp/h); NaN where there is none.
    busiest, quietest
        Shape (R, D). Highest and lowest of the device's rates in that run (pp/h); NaN if none.
    off_notes
        (run position, device position) → the power-off row.
    windows
        Bounds of the power-offs, one per run.
    """

    session: Session
    log_file: str
    setup_file: str
    devices: tuple[str, ...]
    phases: tuple[str, ...]
    runs: tuple[int, ...]
    readings: Observed
    spans: Spans
    start_pct: Floats
    end_pct: Floats
    own_start: Flags
    start_line: Ints
    end_line: Ints
    drain: Floats
    rate: Floats
    busiest: Floats
    quietest: Floats
    off_notes: Mapping[tuple[int, int], OffNote]
    windows: tuple[OffTimes, ...]

    def at(self, run: int, t_min: float) -> str:
        """Return a time of one run (by position) as text."""
        return clock(t_min, self.session.runs[run].start)

    def window(self, run: int, device: int) -> str:
        """Return a power-off window as text, ends outwards to the minute."""
        window = self.windows[run]
        low, high = float(np.floor(window.low[device])), float(np.ceil(window.high[device]))
        return f"between {self.at(run, low)} and {self.at(run, high)}"

    def column(self, device: int) -> str:
        """Return the column in which a percentage of this device stands."""
        return self.devices[device] if self.session.form == "wide" else "soc_pct"

    def time_column(self, run: int) -> str:
        """Return the column in which times of this run stand."""
        return "elapsed_min" if self.session.runs[run].start is None else "clock"

    def off_column(self, run: int, device: int) -> str:
        """Return the column in which the power-off time of this device stands."""
        wide = self.session.form == "wide"
        return self.devices[device] if wide else self.time_column(run)

    def phase_place(self, run: int, phase: int) -> tuple[Literal["log", "setup"], int | None, str]:
        """Return place, line and column of a phase's times."""
        line = int(self.spans.line[run, phase])
        if line or not self.session.has_setup:
            return "log", line or None, self.time_column(run) if line else ""
        return "setup", None, f"phases[{phase + 1}]"

    def condition(self, key: str, device: int | None = None) -> object:
        """Return a condition, the exception of one device first; ``None`` if not recorded."""
        from kit.units import NOT_RECORDED, recorded

        own = self.session.devices[device].conditions if device is not None else {}
        value = own.get(key, self.session.conditions.get(key))
        return None if recorded(value) == NOT_RECORDED else value

    def rate_text(self, run: int, hours: float) -> tuple[float, str]:
        """Return the most that ``hours`` without record can cost any device (pp), and whose."""
        rates = self.busiest[run]
        if np.isnan(rates).all():
            return float("nan"), ""
        worst = int(np.nanargmax(rates))
        factor = self.session.assumptions.gap_rate_factor
        cost = hours * factor * float(rates[worst])
        text = f"'{self.devices[worst]}', {factor:g} × {rates[worst]:.1f} pp/h × {hours:.2f} h"
        return cost, text


def _file_names(session: Session) -> tuple[str, str]:
    names = [source.name for source in session.sources]
    setup = next((n for n in names if n.lower().endswith(".toml")), "")
    log = next((n for n in names if not n.lower().endswith(".toml")), "log.csv")
    return log, setup or log


def _off_notes(
    session: Session, devices: tuple[str, ...], phases: tuple[str, ...], runs: tuple[int, ...]
) -> dict[tuple[int, int], OffNote]:
    frame = session.power_offs
    names = ("run", "device", "phase", "still_on", "noted_min", "last_on_min", "first_off_min",
             "t_resolution_min", "soc_pct", "cause", "line")  # fmt: skip
    notes: dict[tuple[int, int], OffNote] = {}
    for run, device, phase, still, noted, on, off, step, soc, cause, line in zip(
        *(frame[name].tolist() for name in names), strict=True
    ):
        if run in runs and device in devices:
            notes[runs.index(run), devices.index(device)] = OffNote(
                still_on=bool(still),
                phase=phases.index(phase) if phase in phases else -1,
                noted=noted,
                last_on=on,
                first_off=off,
                resolution=1.0 if np.isnan(step) else step,
                soc=soc,
                cause=str(cause),
                line=int(line),
            )
    return notes


@dataclass(frozen=True, kw_only=True)
class _Boundaries:
    start: Floats
    end: Floats
    own: Flags
    start_line: Ints
    end_line: Ints


def _fill_from_time(seen: Observed, unit: int, times: Floats, values: Floats, lines: Ints) -> None:
    """Fill boundaries that no reading names with the last inner reading shortly before them."""
    rows = seen.of(unit)
    inner = (seen.point[rows] == INSIDE) & seen.timed[rows]
    wanted = np.flatnonzero(np.isnan(values) & ~np.isnan(times))
    if not wanted.size or not inner.any():
        return
    t = seen.t[rows][inner]
    place = np.searchsorted(t, times[wanted], side="right") - 1
    near = (place >= 0) & (times[wanted] - t[place] <= NEAR_BOUNDARY_MIN)
    values[wanted[near]] = seen.soc[rows][inner][place[near]]
    lines[wanted[near]] = seen.line[rows][inner][place[near]]


def _boundaries(session: Session, seen: Observed, times: Spans) -> _Boundaries:
    n_runs, n_phases = times.start.shape
    n_devices = len(session.devices)
    shape = (n_runs, n_phases, n_devices)
    values = {point: np.full(shape, np.nan) for point in (START, END)}
    lines = {point: np.zeros(shape, dtype=np.int64) for point in (START, END)}
    for point, boundary in ((START, times.start), (END, times.end)):
        rows = np.flatnonzero((seen.point == point) & (seen.phase >= 0))
        run, device = np.divmod(seen.unit[rows], n_devices)
        values[point][run, seen.phase[rows], device] = seen.soc[rows]
        lines[point][run, seen.phase[rows], device] = seen.line[rows]
        for unit in range(n_runs * n_devices):
            r, d = divmod(unit, n_devices)
            _fill_from_time(seen, unit, boundary[r], values[point][r, :, d], lines[point][r, :, d])
    return _Boundaries(
        start=values[START],
        end=values[END],
        own=~np.isnan(values[START]),
        start_line=lines[START],
        end_line=lines[END],
    )


def _off_at(
    times: Floats, windows: tuple[OffTimes, ...], notes: Mapping[tuple[int, int], OffNote], at: int
) -> Flags:
    """Return (R, P, D): whether a device was certainly off at that boundary of each phase.

    ``at`` is 0 for the ends and 1 for the starts: off in phase p means off at its end, and at
    the start of the next; it counts only where no time of the power-off was noted.
    """
    high = np.stack([w.high for w in windows])
    off = np.asarray(times[:, :, None] >= high[:, None, :])
    for (run, device), note in notes.items():
        if not note.still_on and np.isnan(note.off) and note.phase >= 0:
            off[run, note.phase + at :, device] = True
    return off


def _inherited(values: _Boundaries) -> tuple[Floats, Ints]:
    """Return the start percentages, those of the phase before where there is no own one."""
    start, line = values.start.copy(), values.start_line.copy()
    start[:, 1:] = np.where(values.own[:, 1:], start[:, 1:], values.end[:, :-1])
    line[:, 1:] = np.where(values.own[:, 1:], line[:, 1:], values.end_line[:, :-1])
    return start, line


def _extreme(rate: Floats, *, sign: float) -> Floats:
    """Return the highest (``sign`` = 1) or lowest (−1) rate of each device in each run."""
    worst = np.where(np.isnan(rate), -np.inf, sign * rate).max(axis=1, initial=-np.inf)
    return np.where(np.isinf(worst), np.nan, sign * worst)


def gather(session: Session) -> Facts:
    """Return the facts of a session.

    Parameters
    ----------
    session
        A session as read; nothing in it is changed.

    Examples
    --------
    >>> from kit.session import Device, Phase, Run, Session, empty_frames
    >>> facts = gather(Session(id="s", title="S", devices=(Device(id="a", label="A"),),
    ...     phases=(Phase(id="p", label="P"),), runs=(Run(number=1),), **empty_frames()))
    >>> facts.rate.shape, facts.log_file
    ((1, 1, 1), 'log.csv')
    """
    devices = tuple(d.id for d in session.devices)
    phases = tuple(p.id for p in session.phases)
    runs = tuple(r.number for r in session.runs)
    times = spans(session)
    seen = observed(session, times)
    notes = _off_notes(session, devices, phases, runs)
    windows = off_times(session)
    values = _boundaries(session, seen, times)
    start_pct, start_line = _inherited(values)
    end_pct = np.where(_off_at(times.end, windows, notes, 0), np.nan, values.end)
    start_pct = np.where(_off_at(times.start, windows, notes, 1), np.nan, start_pct)
    drain = start_pct - end_pct
    length = np.where(times.length > 0, times.length, np.nan)
    rate = drain / length[:, :, None] * 60.0
    log_file, setup_file = _file_names(session)
    return Facts(
        session=session,
        log_file=log_file,
        setup_file=setup_file,
        devices=devices,
        phases=phases,
        runs=runs,
        readings=seen,
        spans=times,
        start_pct=start_pct,
        end_pct=end_pct,
        own_start=values.own,
        start_line=start_line,
        end_line=values.end_line,
        drain=drain,
        rate=rate,
        busiest=_extreme(rate, sign=1.0),
        quietest=_extreme(rate, sign=-1.0),
        off_notes=notes,
        windows=windows,
    )
