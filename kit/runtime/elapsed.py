"""Stated elapsed time against summed phases, and which of the two the drains fit.

When the operator's total is longer than the phases add up to, the missing minutes either were
spent in a phase that ran longer than logged, or were no phase time at all (a break, a set-up).
A device that powers off within a phase tells the two apart: its percentage at the start of the
phase, and the rate that its neighbours' drains in the same phase let expect of it, say how far
into the phase it can have come.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.frames import frame_of_rows
from kit.stats.scatter import additive_fit

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from kit.session import Run, Session

    Floats = NDArray[np.float64]

__all__ = ["elapsed_fit"]

_LEAST_DRAIN_PP = 2.0
"""Smaller drains are too coarse for a comparison of ratios (pp)."""

_LEAST_SCATTER = 0.05
_FEW_SCATTER = 0.12
"""Least relative scatter of a device's drain about what device and phase let expect, with three
degrees of freedom or more, and with fewer (assumptions)."""

_FACTOR = 2.0


class _Totals(NamedTuple):
    stated: float
    summed: float
    tolerance: float

    @property
    def missing(self) -> float:
        return self.stated - self.summed


class _Share(NamedTuple):
    """How far into its phase a device came: estimate and relative standard uncertainty."""

    share: float
    u_log: float


def _totals(session: Session, run: Run) -> _Totals | None:
    if run.stated_elapsed_min is None:
        return None
    spans = session.spans[session.spans["run"] == run.number]
    lengths = spans["duration_min"].to_numpy(dtype=np.float64)
    # each length noted to the nearest minute, the total from two noted minutes
    tolerance = 3.0 * float(np.sqrt(lengths.size / 12.0 + 1.0 / 6.0))
    return _Totals(run.stated_elapsed_min, float(lengths.sum()), tolerance)


def _log_drains(session: Session, rows: pd.DataFrame) -> Floats:
    """Return ln(drain) of complete phases, shape (phases, devices), NaN elsewhere."""
    phases = {p.id: i for i, p in enumerate(session.phases)}
    devices = {d.id: j for j, d in enumerate(session.devices)}
    logs = np.full((len(phases), len(devices)), np.nan)
    for phase, device, status, drain in zip(
        rows["phase"], rows["device"], rows["status"], rows["drain_pp"], strict=True
    ):
        if status == "measured" and drain >= _LEAST_DRAIN_PP:
            logs[phases[phase], devices[device]] = np.log(drain)
    return logs


def _expected_log_drain(logs: Floats, phase: int, device: int) -> tuple[float, float] | None:
    """Return ln of the drain that a complete phase would have had, and its u."""
    have = ~np.isnan(logs)
    phases, devices = np.flatnonzero(have.any(axis=1)), np.flatnonzero(have.any(axis=0))
    if phase not in phases or device not in devices:
        return None
    try:
        fit = additive_fit(logs[np.ix_(phases, devices)])
    except ValueError:
        return None
    least = _LEAST_SCATTER if fit.dof >= 3 else _FEW_SCATTER
    row, column = int(np.searchsorted(phases, phase)), int(np.searchsorted(devices, device))
    value, spread = fit.predict(row, column)
    return value, spread * max(fit.s, least)


def _share(session: Session, start_pct: float, expected: tuple[float, float]) -> _Share:
    """Return how far into the phase a device came that had ``start_pct`` left at its start."""
    given = session.assumptions
    alike = np.exp(-((start_pct / given.gauge_correlation_pp) ** 2))
    # display: one reading and its unknown rounding; gauge: known only at empty
    variance = 1.0 / 4.0 + given.gauge_error_pp**2 / 3.0 * (1.0 - alike)
    log_drain, u = expected
    share = float(np.exp(np.log(start_pct) - log_drain))
    return _Share(share, float(np.hypot(np.sqrt(variance) / start_pct, u)))


class _Exposure(NamedTuple):
    """Minutes in the phase before the power-off, if one or the other total holds."""

    stated: float
    summed: float
    u: float


def _exposure(
    session: Session, run: Run, phase: int, off: tuple[float, float], totals: _Totals
) -> _Exposure:
    spans = session.spans[session.spans["run"] == run.number]
    row = spans.iloc[phase]
    low, high = off
    middle, u = (low + high) / 2.0, (high - low) / float(np.sqrt(12.0))
    since_start = middle - float(row["start_min"])
    if row["start_source"] in ("clock", "elapsed"):
        # the start was noted: the record counts real time, breaks included
        return _Exposure(since_start + totals.missing, since_start, u)
    # the start is the sum of the lengths before: the power-off counts breaks, the start does not
    return _Exposure(since_start, since_start - totals.missing, u)


def _fits(exposure: float, length: float, u: float, share: _Share) -> bool:
    if exposure <= 0.0 or length <= 0.0:
        return False
    spread = float(np.hypot(share.u_log, u / exposure))
    return bool(abs(np.log(exposure / length / share.share)) <= _FACTOR * spread)


def _verdict(totals: _Totals, length: float, exposure: _Exposure, share: _Share) -> tuple[str, str]:
    missing = abs(totals.missing)
    if missing <= totals.tolerance:
        return "both", f"stated and summed times agree within {totals.tolerance:.1f} min"
    # if the stated total is phase time, this phase was longer by what is missing
    stated = _fits(exposure.stated, length + totals.missing, exposure.u, share)
    summed = _fits(exposure.summed, length, exposure.u, share)
    if stated and not summed:
        return "stated", f"{missing:.0f} min that the phase lengths lack were phase time"
    if summed and not stated:
        return "summed", f"{missing:.0f} min of the stated time were not phase time"
    if stated:
        return "both", "the power-off fits either: the percentages cannot tell them apart"
    return "neither", "the power-off fits neither: check the stated time and this phase's length"


def _row(
    session: Session,
    run: Run,
    totals: _Totals,
    died: tuple[str, str, float],
    logs: Floats,
    off: tuple[float, float],
) -> tuple[object, ...]:
    device, phase_id, start_pct = died
    phase = [p.id for p in session.phases].index(phase_id)
    place = [d.id for d in session.devices].index(device)
    nan = float("nan")
    head = (run.number, device, phase_id, totals.stated, totals.summed, totals.missing)
    spans = session.spans[session.spans["run"] == run.number]
    length = float(spans["duration_min"].iloc[phase])
    blank = (nan, nan, nan, nan, nan, "cannot_be_said")
    if np.isnan(totals.summed):
        return (*head, *blank, "a phase of unknown length leaves no sum to compare")
    if np.isnan(off[0]) or np.isnan(off[1]):
        return (*head, *blank, "the time of this power-off was not recorded")
    if not start_pct > 0.0:
        return (*head, *blank, "no percentage at the start of the phase")
    expected = _expected_log_drain(logs, phase, place)
    if expected is None:
        return (*head, *blank, "no neighbour completed the phase, or too few phases to compare")
    share = _share(session, start_pct, expected)
    exposure = _exposure(session, run, phase, off, totals)
    spread = float(np.exp(_FACTOR * share.u_log))
    fit = share.share * length
    verdict, reason = _verdict(totals, length, exposure, share)
    return (
        *head, exposure.stated, exposure.summed, fit, fit / spread, fit * spread, verdict, reason,
    )  # fmt: skip


def elapsed_fit(
    session: Session, phase_drain: pd.DataFrame, runtimes: pd.DataFrame
) -> pd.DataFrame:
    """Return whether power-offs within a phase fit the stated elapsed time or the summed phases.

    Parameters
    ----------
    session
        A record; runs without a stated elapsed time have no rows.
    phase_drain
        Frame of the drain modules; the true-charge rows are used.
    runtimes
        Frame of `kit.runtime.runtimes`: windows of the power-offs.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["elapsed_fit"]``; one row per run and device that powered off within a
        phase. ``exposure_stated_min``: minutes in the phase before the power-off if the stated
        total is all phase time (the phase then was longer than logged);
        ``exposure_summed_min``: if the logged lengths hold; ``exposure_fit_min`` with its 95 %
        bounds: what the neighbours' drains let expect for the logged length. ``verdict``:
        ``stated``, ``summed``, ``both``, ``neither`` or ``cannot_be_said``.

    Notes
    -----
    ln(drain) = device + phase + scatter, by least squares over the complete phases, gives the
    drain d that a complete phase would have had; the device came D/d of the phase's length with
    D left at its start. ``u² = (u_D/D)² + u(ln d)²``, u_D from the display and the gauge (known
    at empty only). A time fits if its share of the phase lies within a factor exp(±2u).
    Derived in docs/runtimes.md.
    """
    rows: list[tuple[object, ...]] = []
    for run in session.runs:
        totals = _totals(session, run)
        if totals is None:
            continue
        mine = phase_drain[
            (phase_drain["run"] == run.number) & (phase_drain["measurand"] == "true_charge")
        ]
        logs = _log_drains(session, mine)
        offs = runtimes[runtimes["run"] == run.number].set_index("device")
        for device, phase, start_pct in (
            mine[mine["status"] == "died"][["device", "phase", "start_pct"]].to_numpy().tolist()
        ):
            off = (float(offs["off_low_min"][device]), float(offs["off_high_min"][device]))
            rows.append(
                _row(session, run, totals, (str(device), str(phase), float(start_pct)), logs, off)
            )
    return frame_of_rows("elapsed_fit", rows)
