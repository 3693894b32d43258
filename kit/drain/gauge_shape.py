"""The shape of a gauge under a constant load, from the changes of its display within phases.

Under a constant load the display of a gauge that counts energy falls evenly; that of one that
counts charge falls faster towards empty. Every stretch between two changes of a display is a
measurement of its rate at that level; all phases of a device are taken together, each with a
rate of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.drain.gauge import charge_excess
from kit.drain.reference_repeats import LEAST_EFFECT, share_verdict
from kit.frames import frame_of_rows, no_rows
from kit.stats.uncertainty import coverage_factor

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.dense_ticks import PhaseTicks
    from kit.drain.phases import Prepared
    from kit.results import Settings

    Floats = NDArray[np.float64]

__all__ = ["fitted_share", "gauge_shape", "rate_by_level"]

MIN_STRETCHES = 5
"""Fewer stretches between changes than this in a phase say nothing of its shape (own choice)."""

BAND_PCT = 10.0
MIN_IN_BAND = 3
"""Width of a band of levels, and the stretches between changes that it needs for a rate (own
choice: two rates a reader can compare, and a scatter to judge them by)."""

CURVE_HALF_WIDTH = 0.5
"""Half-width of a share, relative to it, for what is not known of the cell: at constant power two
published cells show 0.67 to 1.6 of the effect taken here, by the levels that were passed
(tests/reference/test_discharge_curves.py)."""

_ROUNDS = 4
_FLAGS = ("saver", "rises", "charged", "warm_up")


def _usable(ready: Prepared, ticks: Sequence[PhaseTicks]) -> list[PhaseTicks]:
    """Return the phases that may be one load: enough changes, no saver, nothing charged."""
    return [
        one
        for one in ticks
        if one.t.size > MIN_STRETCHES
        and (np.diff(one.t) > 0.0).all()
        and not any(ready.flags[flag][one.unit, one.phase] for flag in _FLAGS)
    ]


def fitted_share(phases: Sequence[PhaseTicks], coverage: float) -> tuple[float, float, float]:
    """Return the share of the level effect that a gauge shows, its u and its half-width.

    Parameters
    ----------
    phases
        Of one unit.
    coverage
        Probability of the interval.

    Notes
    -----
    The time for one percentage point at level L is ``a_p/(1 + s β(L))`` with a_p of its phase and
    one s for all. Least squares in s and the a_p, each stretch relative to the mean of its phase;
    u from the scatter about the fit with n − phases − 1 degrees of freedom, half-width by t. An
    error of a change counts in the stretches on both sides with opposite sign, which the scatter
    overstates: the interval is on the wide side. Derived in docs/measurement.md.

    Examples
    --------
    One point a minute at every level: nothing of the effect. In 1/(1 + β/2) minutes: half of it. No
    stretch lies off such a curve, so nothing is uncertain:

    >>> from kit.drain.dense_ticks import PhaseTicks
    >>> level = np.arange(95.0, 19.0, -1.0)
    >>> for share in (0.0, 0.5):
    ...     minutes = 1.0 / (1.0 + share * charge_excess((level[1:] + level[:-1]) / 2.0))
    ...     log = PhaseTicks(unit=0, phase=0, t=np.cumsum([0.0, *minutes]) / 60.0,
    ...                      u=np.zeros(76), level=level)
    ...     print([abs(round(v, 4)) for v in fitted_share([log], 0.95)])
    [0.0, 0.0, 0.0]
    [0.5, 0.0, 0.0]
    """
    beta = [charge_excess(one.middles) for one in phases]
    time = [one.per_pp / one.per_pp.mean() for one in phases]
    share = 0.0
    for _ in range(_ROUNDS):
        shape = [1.0 / (1.0 + share * b) for b in beta]
        scale = [float((z * f).sum() / (f * f).sum()) for z, f in zip(time, shape, strict=True)]
        left = np.concatenate([z - a * f for z, a, f in zip(time, scale, shape, strict=True)])
        slope = [-a * b * f * f for a, b, f in zip(scale, beta, shape, strict=True)]
        # what a phase's own scale takes up is no evidence of a shape
        free = np.concatenate(
            [g - f * (g * f).sum() / (f * f).sum() for g, f in zip(slope, shape, strict=True)]
        )
        weight = float((free * free).sum())
        share += float((free * left).sum()) / weight
    dof = left.size - len(phases) - 1
    u = float(np.sqrt((left * left).sum() / dof / weight))
    return share, u, coverage_factor(coverage, dof) * u


def gauge_shape(ready: Prepared, settings: Settings, ticks: Sequence[PhaseTicks]) -> pd.DataFrame:
    """Return for each device with dense readings what its gauge counts, under a constant load.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    settings
        The coverage probability.
    ticks
        From `kit.drain.dense_ticks.phase_ticks`.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["gauge_shape"]``. ``share``: 0 for a gauge that counts
        energy, 1 for one that counts charge. Only devices whose changes span levels that differ
        by 3 % in effect at least. The interval has in it that cells differ. A load that grows or
        fades within its phase looks like a shape.

    Examples
    --------
    A display that falls by one point every minute from 95 to 20 % counts energy; one that takes
    1/(1 + β) minutes at each level, β that of a gauge counting charge, counts charge:

    >>> from kit.drain.dense_ticks import PhaseTicks
    >>> from kit.drain.phases import prepare
    >>> from kit.results import Settings
    >>> from tests.helpers.builders import BARE, make_session
    >>> s = make_session(phases={"p1": 80}, readings={"a": [95, 20]}, assumptions=BARE,
    ...                  conditions={"power_saver": "off"})
    >>> level = np.arange(95.0, 19.0, -1.0)
    >>> for share in (0.0, 1.0):
    ...     minutes = 1.0 / (1.0 + share * charge_excess((level[1:] + level[:-1]) / 2.0))
    ...     log = PhaseTicks(unit=0, phase=0, t=np.cumsum([0.0, *minutes]) / 60.0,
    ...                      u=np.zeros(76), level=level)
    ...     row = gauge_shape(prepare(s), Settings(), [log]).iloc[0]
    ...     print(abs(round(float(row["share"]), 3)), row["verdict"])
    0.0 energy
    1.0 charge
    """
    n = len(ready.chains.devices)
    units: dict[int, list[PhaseTicks]] = {}
    for one in _usable(ready, ticks):
        units.setdefault(one.unit, []).append(one)
    rows = []
    for unit in sorted(units):
        phases = units[unit]
        span = max(float(np.ptp(charge_excess(one.middles))) for one in phases)
        if span < LEAST_EFFECT:
            continue
        share, u, half = fitted_share(phases, settings.coverage)
        half += CURVE_HALF_WIDTH * abs(share)
        run, place = divmod(unit, n)
        rows.append(
            (
                ready.chains.runs[run], ready.chains.devices[place], len(phases),
                sum(one.t.size for one in phases),
                max(float(one.level[0]) for one in phases),
                min(float(one.level[-1]) for one in phases),
                share, u, share - half, share + half, share_verdict(share - half, share + half),
            )
        )  # fmt: skip
    return frame_of_rows("gauge_shape", rows) if rows else no_rows("gauge_shape")


def rate_by_level(ready: Prepared, settings: Settings, ticks: Sequence[PhaseTicks]) -> pd.DataFrame:
    """Return the rate of the display by level, in bands of ten percentage points.

    Parameters
    ----------
    ready, settings, ticks
        As for `gauge_shape`.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["rate_by_level"]``: phases in which a display changed
        in two bands at least. ``relative`` is the rate over that of all bands of the phase;
        ``relative_if_charge`` what a gauge that counts charge would show under a constant load.

    Notes
    -----
    u from the scatter of the stretches about the rates of their bands, s/√m for m stretches.

    Examples
    --------
    One point in 2 minutes down to 80 %, in 1 minute below: 30 and 60 pp/h. All ten together take
    1.5 minutes a point, 40 pp/h, so relatively 0.75 and 1.5:

    >>> from kit.drain.dense_ticks import PhaseTicks
    >>> from kit.drain.phases import prepare
    >>> from kit.results import Settings
    >>> from tests.helpers.builders import BARE, make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [90, 70]}, assumptions=BARE)
    >>> log = PhaseTicks(unit=0, phase=0, t=np.cumsum([0.0] + [2.0] * 5 + [1.0] * 5) / 60,
    ...                  u=np.zeros(11), level=np.arange(85.0, 74.0, -1.0))
    >>> found = rate_by_level(prepare(s), Settings(), [log])
    >>> found[["level_low_pct", "rate_pp_per_h", "relative"]].round(2).values.tolist()
    [[80.0, 30.0, 0.75], [70.0, 60.0, 1.5]]
    """
    chains = ready.chains
    n = len(chains.devices)
    rows = []
    for one in _usable(ready, ticks):
        per_pp, level = one.per_pp, one.middles
        band = np.floor(level / BAND_PCT).astype(np.int64)
        bands = [b for b in np.unique(band)[::-1].tolist() if (band == b).sum() >= MIN_IN_BAND]
        kept = np.isin(band, bands)
        dof = int(kept.sum()) - len(bands)
        if len(bands) < 2 or dof < 1:
            continue
        mean = {b: float(per_pp[band == b].mean()) for b in bands}
        scatter = np.concatenate([per_pp[band == b] / mean[b] - 1.0 for b in bands])
        s = float(np.sqrt((scatter**2).sum() / dof))
        whole = float(per_pp[kept].mean())
        expected = 1.0 / (1.0 + charge_excess(level))
        factor = coverage_factor(settings.coverage, dof)
        run, place = divmod(one.unit, n)
        for b in bands:
            m = int((band == b).sum())
            relative = whole / mean[b]
            u = s * float(np.sqrt(1.0 / m - 1.0 / kept.sum()))
            rows.append(
                (
                    chains.runs[run], chains.phases[one.phase], chains.devices[place],
                    (b + 1) * BAND_PCT, b * BAND_PCT, m,
                    1.0 / mean[b], s / np.sqrt(m) / mean[b], relative,
                    relative * (1.0 - factor * u), relative * (1.0 + factor * u),
                    float(expected[kept].mean() / expected[band == b].mean()),
                )
            )  # fmt: skip
    return frame_of_rows("rate_by_level", rows) if rows else no_rows("rate_by_level")
