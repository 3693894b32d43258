"""Whether a device drained evenly within a phase, where a log is dense enough to tell.

The changes of the display divide a phase into stretches of equal charge. The rates of its first
and second half are compared; a phase in which they differ was not one constant load, or the
gauge is not straight there, or a power saver began.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.drain.dense_ticks import phase_ticks
from kit.drain.phases import prepare
from kit.frames import frame_of_rows, no_rows
from kit.stats.line_fit import straight_line
from kit.stats.uncertainty import coverage_factor, normal_factor

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from kit.drain.dense_ticks import PhaseTicks
    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Session

__all__ = ["within_phase"]

MIN_TICKS = 5
"""Fewer changes of the display than this in a phase do not divide it into halves."""

STEP_SPREAD = 0.1
"""Relative standard uncertainty of the size of one displayed step: steps of a gauge are not
exactly alike (assumption, no source). Used where there are too few steps to see it."""

MIN_SCATTER = 12
"""Steps from which on their own scatter is used: ten degrees of freedom, t = 2.2 (own choice)."""


def within_phase(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    ticks: Sequence[PhaseTicks] | None = None,
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
    ticks
        From `kit.drain.dense_ticks.phase_ticks`, if they were found already.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["within_phase"]``, one row per run, phase and device
        with at least one change of the display in that phase; phases in which devices did
        different things are left out.

    Notes
    -----
    With changes at t₀ < … < t_n and m = n // 2, each q percent apart: ``r₁ = mq/(t_m − t₀)``
    and ``r₂ = (n − m)q/(t_n − t_m)``. From 12 steps on u of each is s/√m with s the relative
    scatter of the steps about the rates of their halves (n − 2 degrees of freedom, t factor; an
    error of a change counts in two steps with opposite sign, so that is on the wide side); with
    fewer it comes from the moments of its two ends and an assumed spread of the steps, ``0.1/√m``.
    The verdict is *even* when the interval of r₂/r₁ holds 1.
    ``rate_pp_per_h`` is the slope of a line through all changes, u from their scatter about it.

    Examples
    --------
    Changes from 89.5 to 83.5 %, three points of 10 minutes each, then three of 5: 6 and 12 pp/h,
    the second half twice as fast:

    >>> from kit.results import Settings
    >>> from tests.helpers.builders import BARE, make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [90, 83]}, assumptions=BARE,
    ...     more_readings=[{"device": "a", "phase": "p1", "kind": "tick", "t_min": t, "soc_pct": n}
    ...                    for n, t in zip(range(89, 82, -1), (5, 15, 25, 35, 40, 45, 50))])
    >>> row = within_phase(s, Settings()).iloc[0]
    >>> [round(float(row[c]), 3) for c in ("rate_first_pp_per_h", "rate_second_pp_per_h", "ratio")]
    [6.0, 12.0, 2.0]
    >>> row["verdict"]
    'faster'
    """
    ready = prepare(session) if prepared is None else prepared
    chains = ready.chains
    rows = []
    for one in phase_ticks(ready) if ticks is None else ticks:
        run, place = divmod(one.unit, len(chains.devices))
        cells = _halves(one, settings.coverage) if one.t.size >= MIN_TICKS else _TOO_FEW
        rows.append(
            (chains.runs[run], chains.phases[one.phase], chains.devices[place], one.t.size, *cells)
        )
    return frame_of_rows("within_phase", rows) if rows else no_rows("within_phase")


_TOO_FEW: tuple[object, ...] = (*(float("nan"),) * 9, "too_few")


def _halves(ticks: PhaseTicks, coverage: float) -> tuple[object, ...]:
    """Return the cells from ``rate_pp_per_h`` on."""
    t, u, level = ticks.t, ticks.u, ticks.level
    n = t.size - 1
    m = n // 2
    if not t[0] < t[m] < t[n]:
        return _TOO_FEW
    first, second = (level[0] - level[m]) / (t[m] - t[0]), (level[m] - level[n]) / (t[n] - t[m])
    ratio = float(second / first)
    if n >= MIN_SCATTER:
        per_pp = ticks.per_pp
        apart = np.concatenate([per_pp[:m] * first - 1.0, per_pp[m:] * second - 1.0])
        step = float(np.sqrt((apart**2).sum() / (n - 2)))
        relative = [step / np.sqrt(m), step / np.sqrt(n - m)]
        spread, factor = float(np.hypot(*relative)), coverage_factor(coverage, n - 2)
    else:
        own = [STEP_SPREAD / np.sqrt(m), STEP_SPREAD / np.sqrt(n - m)]
        time = [np.hypot(u[0], u[m]) / (t[m] - t[0]), np.hypot(u[m], u[n]) / (t[n] - t[m])]
        relative = [float(np.hypot(a, b)) for a, b in zip(own, time, strict=True)]
        # the middle change counts in both halves with opposite sign, which widens the ratio
        shared = 2.0 * u[m] ** 2 / ((t[m] - t[0]) * (t[n] - t[m]))
        spread = float(np.sqrt(relative[0] ** 2 + relative[1] ** 2 + shared))
        factor = normal_factor(coverage)
    low, high = ratio * (1.0 - factor * spread), ratio * (1.0 + factor * spread)
    verdict = "even" if low <= 1.0 <= high else ("faster" if ratio > 1.0 else "slower")
    line = straight_line(t, level)
    return (
        -line.slope, line.slope_u, float(first), float(first) * relative[0], float(second),
        float(second) * relative[1],
        ratio, low, high, verdict,
    )  # fmt: skip
