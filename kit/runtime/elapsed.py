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
from kit.results import Settings
from kit.stats.scatter import additive_fit
from kit.stats.uncertainty import coverage_factor, effective_dof

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd
    from numpy.typing import NDArray

    from kit.session import Run, Session

    Floats = NDArray[np.float64]

__all__ = ["OPEN_END", "elapsed_fit"]

_NOTED = ("clock", "elapsed")
"""Sources of a time that was noted, not added up."""

OPEN_END = (
    "the last phase was filled up to the stop, so the phases add up to the stated time whatever "
    "lay between them"
)

_LEAST_DRAIN_PP = 2.0
"""Smaller drains are too coarse for a comparison of ratios (pp)."""

_LEAST_SCATTER = 0.05
_FEW_SCATTER = 0.12
"""Least relative scatter of a device's drain about what device and phase let expect, with three
degrees of freedom or more, and with fewer (assumptions)."""


class _Totals(NamedTuple):
    """Stated and summed minutes of a run; ``open_phase``: position of one filled to the stop."""

    stated: float
    summed: float
    tolerance: float
    open_phase: int | None = None

    @property
    def missing(self) -> float:
        return float("nan") if self.open_phase is not None else self.stated - self.summed


class _Share(NamedTuple):
    """How far into its phase a device came: estimate and relative half-width ``U`` of its ln."""

    share: float
    u_log: float
    factor: float

    @property
    def bounds(self) -> tuple[float, float]:
        spread = float(np.exp(self.factor * self.u_log))
        return self.share / spread, self.share * spread


class _Died(NamedTuple):
    """A power-off: where it was logged, the percentage at the start there, its window (min)."""

    device: str
    phase: int
    start_pct: float
    off: tuple[float, float]


class _Expected(NamedTuple):
    """ln of the drain that a complete phase would have had, its u and degrees of freedom."""

    log_drain: float
    u: float
    dof: float


def _filled(session: Session, spans: pd.DataFrame) -> int | None:
    """Return the position of a phase of no planned length, its start summed, its end the stop.

    Such a phase takes up whatever the lengths before it lack, so the sum says nothing.
    """
    for place, (phase, start, length) in enumerate(
        zip(session.phases, spans["start_source"], spans["duration_min"], strict=True)
    ):
        summed = place > 0 and start not in _NOTED
        if phase.planned_min is None and summed and not np.isnan(length):
            return place
    return None


def _totals(session: Session, run: Run) -> _Totals | None:
    if run.stated_elapsed_min is None:
        return None
    spans = session.spans[session.spans["run"] == run.number]
    lengths = spans["duration_min"].to_numpy(dtype=np.float64)
    # each length noted to the nearest minute, the total from two noted minutes
    tolerance = 3.0 * float(np.sqrt(lengths.size / 12.0 + 1.0 / 6.0))
    filled = _filled(session, spans)
    summed = float("nan") if filled is not None else float(lengths.sum())
    return _Totals(run.stated_elapsed_min, summed, tolerance, filled)


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


def _expected_log_drain(logs: Floats, phase: int, device: int) -> _Expected | None:
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
    assumed = fit.s <= least
    return _Expected(value, spread * max(fit.s, least), np.inf if assumed else float(fit.dof))


def _share(session: Session, start_pct: float, expected: _Expected, coverage: float) -> _Share:
    """Return how far into the phase a device came that had ``start_pct`` left at its start."""
    given = session.assumptions
    alike = np.exp(-((start_pct / given.gauge_correlation_pp) ** 2))
    # display: one reading and its unknown rounding; gauge: known only at empty
    variance = 1.0 / 4.0 + given.gauge_error_pp**2 / 3.0 * (1.0 - alike)
    read = float(np.sqrt(variance)) / start_pct
    share = float(np.exp(np.log(start_pct) - expected.log_drain))
    dof = expected.dof
    if np.isfinite(dof):
        dof = effective_dof([read, expected.u], [np.inf, dof])
    return _Share(share, float(np.hypot(read, expected.u)), coverage_factor(coverage, dof))


class _Exposure(NamedTuple):
    """Minutes in the phase before the power-off, if one or the other total holds."""

    stated: float
    summed: float
    u: float


def _exposure(spans: pd.DataFrame, died: _Died, totals: _Totals) -> _Exposure:
    row = spans.iloc[died.phase]
    low, high = died.off
    middle, u = (low + high) / 2.0, (high - low) / float(np.sqrt(12.0))
    since_start = middle - float(row["start_min"])
    if row["start_source"] in _NOTED:
        # the start was noted: the record counts real time, breaks included
        return _Exposure(since_start + totals.missing, since_start, u)
    # the start is the sum of the lengths before: the power-off counts breaks, the start does not
    return _Exposure(since_start, since_start - totals.missing, u)


def _fits(exposure: float, length: float, u: float, share: _Share) -> bool:
    if exposure <= 0.0 or length <= 0.0:
        return False
    spread = float(np.hypot(share.u_log, u / exposure))
    return bool(abs(np.log(exposure / length / share.share)) <= share.factor * spread)


def _verdict(totals: _Totals, length: float, exposure: _Exposure, share: _Share) -> tuple[str, str]:
    missing = abs(totals.missing)
    if missing <= totals.tolerance:
        return "agree", f"stated and summed times agree within {totals.tolerance:.1f} min"
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


def _before_an_open_end(
    spans: pd.DataFrame, died: _Died, length: float, share: _Share
) -> tuple[float, str, str]:
    """Return minutes in the phase by the summed lengths, verdict and reason.

    For a power-off before a phase that was filled up to the stop: the totals cannot differ, but
    the power-off may lie elsewhere than the lengths before it put its phase.
    """
    exposure = _exposure(spans, died, _Totals(0.0, 0.0, 0.0))
    if _fits(exposure.summed, length, exposure.u, share):
        return exposure.summed, "cannot_be_said", OPEN_END
    low, high = (exposure.summed - length * bound for bound in reversed(share.bounds))
    later = high > 0.0
    least, most = (max(low, 0.0), high) if later else (-high, -low)
    return (
        exposure.summed,
        "neither",
        (
            f"{OPEN_END}; but by its drain the phase began {least:.0f} to {most:.0f} min "
            f"{'later' if later else 'earlier'} than the lengths before it add up to, or was "
            "itself not as long as noted"
        ),
    )


def _row(
    session: Session,
    run: Run,
    totals: _Totals,
    died: _Died,
    logs: Floats,
    coverage: float,
) -> tuple[object, ...]:
    nan = float("nan")
    phase_id = session.phases[died.phase].id
    place = [d.id for d in session.devices].index(died.device)
    head = (run.number, died.device, phase_id, totals.stated, totals.summed, totals.missing)
    spans = session.spans[session.spans["run"] == run.number]
    length = float(spans["duration_min"].iloc[died.phase])

    def blank(reason: str) -> tuple[object, ...]:
        return (*head, *[nan] * 5, "cannot_be_said", reason, *[nan] * 5)

    if totals.open_phase is not None and died.phase >= totals.open_phase:
        return blank(OPEN_END)
    if np.isnan(length) or (totals.open_phase is None and np.isnan(totals.summed)):
        return blank("a phase of unknown length leaves no sum to compare")
    if np.isnan(died.off[0]) or np.isnan(died.off[1]):
        return blank("the time of this power-off was not recorded")
    if not died.start_pct > 0.0:
        return blank("no percentage at the start of the phase")
    expected = _expected_log_drain(logs, died.phase, place)
    if expected is None:
        return blank("no neighbour completed the phase, or too few phases to compare")
    share = _share(session, died.start_pct, expected, coverage)
    if totals.open_phase is not None:
        summed, verdict, reason = _before_an_open_end(spans, died, length, share)
        stated, whole = nan, nan
    else:
        exposure = _exposure(spans, died, totals)
        verdict, reason = _verdict(totals, length, exposure, share)
        stated, summed, whole = exposure.stated, exposure.summed, length + totals.missing
    low, high = share.bounds
    return (
        *head, stated, summed, share.share * length, low * length, high * length, verdict, reason,
        share.share, low, high, stated / whole if whole > 0.0 else nan,
        summed / length if length > 0.0 else nan,
    )  # fmt: skip


def _deaths(session: Session, run: Run, rows: pd.DataFrame, offs: pd.DataFrame) -> Iterator[_Died]:
    """Yield the power-offs of a run, each in the phase in which it was logged, else where it lies.

    Where starts of phases are sums of lengths, the phase that was logged is what is known.
    """
    places = {p.id: i for i, p in enumerate(session.phases)}
    noted = session.power_offs[
        (session.power_offs["run"] == run.number) & ~session.power_offs["still_on"].astype(bool)
    ]
    logged = dict(zip(noted["device"].tolist(), noted["phase"].tolist(), strict=True))
    for device, mine in rows.groupby("device", sort=False):
        died = mine[mine["status"] == "died"]
        phase = logged.get(device, "")
        if phase not in places or not (mine["phase"] == phase).any():
            if died.empty:
                continue
            phase = str(died["phase"].iloc[0])
        elif died.empty and mine[mine["phase"] == phase]["start_pct"].isna().all():
            continue
        start_pct = float(mine[mine["phase"] == phase]["start_pct"].iloc[0])
        off = (float(offs["off_low_min"][device]), float(offs["off_high_min"][device]))
        yield _Died(str(device), places[phase], start_pct, off)


def elapsed_fit(
    session: Session,
    phase_drain: pd.DataFrame,
    runtimes: pd.DataFrame,
    settings: Settings | None = None,
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
    settings
        ``coverage``: probability with which a time that is right is found to fit.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["elapsed_fit"]``; one row per run and device that powered off within a
        phase. ``share_fit`` with its bounds: how far into the phase it came, as the neighbours'
        drains let expect; ``share_stated``: if the stated total is all phase time (the phase then
        was longer than logged); ``share_summed``: if the logged lengths hold; ``exposure_*_min``:
        the same as minutes, ``exposure_fit_min`` for the logged length. ``verdict``: ``stated``,
        ``summed``, ``both``, ``neither``, ``agree`` (the two times do not differ) or
        ``cannot_be_said``.

    Notes
    -----
    ln(drain) = device + phase + scatter, by least squares over the complete phases, gives the
    drain d that a complete phase would have had; the device came D/d of the phase's length with
    D left at its start. ``u² = (u_D/D)² + u(ln d)²``, u_D from the display and the gauge (known
    at empty only). A time fits if its share of the phase lies within a factor exp(±k u), k by
    Student's t with the effective degrees of freedom. Derived in docs/runtimes.md.

    A last phase that has no length of its own and was not noted to begin is filled up to the stop:
    then the sum is the stated time whatever lay between the phases, and only a power-off that
    cannot lie where the lengths put its phase tells that they do not hold.
    """
    coverage = (settings or Settings()).coverage
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
        for died in _deaths(session, run, mine, offs):
            rows.append(_row(session, run, totals, died, logs, coverage))
    return frame_of_rows("elapsed_fit", rows)
