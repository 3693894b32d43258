"""Whether a device drained evenly within a phase, where a log is dense enough to tell.

The changes of the display divide a phase into stretches of equal charge. The rates of its first
and second half are compared; a phase in which they differ was not one constant load, or the
gauge is not straight there, or a power saver began.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.drain.phases import prepare
from kit.drain.readings import observed
from kit.drain.ticks import find_ticks
from kit.frames import frame_of_rows, no_rows
from kit.stats.line_fit import straight_line
from kit.stats.uncertainty import normal_factor

if TYPE_CHECKING:
    import pandas as pd

    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Session

__all__ = ["WITHIN_COLUMNS", "within_phase"]

WITHIN_COLUMNS = (
    "run", "phase", "device", "ticks", "rate_pp_per_h", "rate_u_pp_per_h",
    "rate_first_pp_per_h", "rate_first_u_pp_per_h", "rate_second_pp_per_h",
    "rate_second_u_pp_per_h", "ratio", "ratio_low", "ratio_high",
    "verdict",
)  # fmt: skip
"""``verdict``: even | faster | slower | too_few."""

MIN_TICKS = 5
"""Fewer changes of the display than this in a phase do not divide it into halves."""

STEP_SPREAD = 0.1
"""Relative standard uncertainty of the size of one displayed step: steps of a gauge are not
exactly alike (assumption, no source)."""


def within_phase(
    session: Session, settings: Settings, *, prepared: Prepared | None = None
) -> pd.DataFrame:
    """Return the rates of the first and second half of every phase that shows enough changes.

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
        Columns `WITHIN_COLUMNS`, one row per run, phase and device with at least one change of
        the display in that phase; phases in which devices did different things are left out.

    Notes
    -----
    With changes at t₀ < … < t_n and m = n // 2, each q percent apart: ``r₁ = mq/(t_m − t₀)``
    and ``r₂ = (n − m)q/(t_n − t_m)``. u of each comes from the moments of its two ends and from
    the steps' own spread, ``0.1/√m``. The verdict is *even* when the interval of r₂/r₁ holds 1.
    ``rate_pp_per_h`` is the slope of a line through all changes, u from their scatter about it.
    """
    ready = prepare(session) if prepared is None else prepared
    chains = ready.chains
    obs = observed(session)
    k_factor = normal_factor(settings.coverage)
    n_devices = len(chains.devices)
    rows = []
    timed = ~np.isnan(obs.t)
    for unit in np.unique(obs.unit[timed & ((obs.point == 2) | obs.tick)]).tolist():
        mine = np.flatnonzero(timed & (obs.unit == unit))
        mine = mine[np.argsort(obs.t[mine], kind="stable")]
        step = float(chains.observations.step[unit])
        ticks = find_ticks(
            obs.t[mine], obs.soc[mine], obs.resolution[mine], obs.tick[mine], obs.row[mine], step
        )
        run, place = divmod(unit, n_devices)
        for j, phase in enumerate(session.phases):
            start = chains.start_h[unit, j] * 60.0
            end = start + chains.exposure_h[unit, j] * 60.0
            inside = np.flatnonzero((ticks.t >= start) & (ticks.t <= end))
            if phase.is_split or not inside.size:
                continue
            t, u, level = ticks.t[inside] / 60.0, ticks.u[inside] / 60.0, ticks.level[inside]
            cells = _halves(t, u, level, k_factor) if t.size >= MIN_TICKS else _TOO_FEW
            rows.append((chains.runs[run], phase.id, chains.devices[place], int(t.size), *cells))
    if not rows:
        return no_rows("within_phase")
    frame = frame_of_rows("within_phase", rows)
    order = {p: i for i, p in enumerate(chains.phases)}
    return frame.sort_values(
        ["run", "phase"], key=lambda c: c.map(order) if c.name == "phase" else c, kind="stable"
    ).reset_index(drop=True)


_TOO_FEW: tuple[object, ...] = (*(float("nan"),) * 9, "too_few")


def _halves(t: np.ndarray, u: np.ndarray, level: np.ndarray, k_factor: float) -> tuple[object, ...]:
    """Return the cells from ``rate_pp_per_h`` on for changes at times ``t`` (h)."""
    n = t.size - 1
    m = n // 2
    if not t[0] < t[m] < t[n]:
        return _TOO_FEW
    first, second = (level[0] - level[m]) / (t[m] - t[0]), (level[m] - level[n]) / (t[n] - t[m])
    own = [STEP_SPREAD / np.sqrt(m), STEP_SPREAD / np.sqrt(n - m)]
    time = [np.hypot(u[0], u[m]) / (t[m] - t[0]), np.hypot(u[m], u[n]) / (t[n] - t[m])]
    relative = [float(np.hypot(a, b)) for a, b in zip(own, time, strict=True)]
    ratio = float(second / first)
    # the middle change counts in both halves with opposite sign, which widens the ratio
    shared = 2.0 * u[m] ** 2 / ((t[m] - t[0]) * (t[n] - t[m]))
    spread = float(np.sqrt(relative[0] ** 2 + relative[1] ** 2 + shared))
    low, high = ratio * (1.0 - k_factor * spread), ratio * (1.0 + k_factor * spread)
    verdict = "even" if low <= 1.0 <= high else ("faster" if ratio > 1.0 else "slower")
    line = straight_line(t, level)
    return (
        -line.slope, line.slope_u, float(first), float(first) * relative[0], float(second),
        float(second) * relative[1],
        ratio, low, high, verdict,
    )  # fmt: skip
