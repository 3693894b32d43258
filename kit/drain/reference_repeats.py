"""A reference phase done early and again late: what it says about a device's gauge.

The same activity at a lower state of charge should take as much energy as before. What the
display fell more (or less) is the shape of the gauge: at constant power one that counts charge
falls faster towards empty, one that counts energy does not. Where the readings are sharp enough,
the device's own answer replaces the half-way assumption in statements about power.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.gauge import charge_excess
from kit.drain.states import time_variance
from kit.frames import frame_of_rows, no_rows
from kit.stats.uncertainty import Resolution, resolution

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Session

    Floats = NDArray[np.float64]

__all__ = [
    "LEAST_EFFECT",
    "ChargeShare",
    "charge_share",
    "reference_repeats",
    "share_verdict",
]

LEAST_EFFECT = 0.03
"""Two phases whose levels differ by less than this in effect say nothing about the gauge."""

_ASSUMED_SHARE = 0.5


@dataclass(frozen=True, kw_only=True)
class ChargeShare:
    """Share s of the level effect that a gauge shows: 0 counts energy, 1 counts charge.

    Parameters
    ----------
    share, half_width
        Shape (K,). ½ ± ½ where nothing is known; 0 ± 0 for a gauge stated to count energy;
        otherwise what the device's own repeated phase says, if that is sharper.
    """

    share: Floats
    half_width: Floats


@dataclass(frozen=True, kw_only=True)
class _Repeat:
    unit: int
    activity: str
    first: int
    last: int
    level_first: float
    level_last: float
    ratio: float
    ratio_u: float
    half_width: float
    effect: float


def _usable(ready: Prepared) -> NDArray[np.bool_]:
    plain = np.array([not p.is_split for p in ready.chains.session.phases], dtype=bool)
    good = (ready.status["displayed"] == "measured") & plain
    for flag in ("saver", "rises", "charged", "saturated", "start_saturated"):
        good &= ~ready.flags[flag]
    return np.asarray(good, dtype=bool)


def _repeats(ready: Prepared, coverage: float) -> list[_Repeat]:
    """Return for each unit and activity its first and last usable phase, where they differ."""
    chains, now = ready.chains, ready.states
    found = ready.drains["displayed"]
    names = [p.activity for p in chains.session.phases]
    repeated = {a for a in names if a and names.count(a) > 1}
    if not repeated:
        return []
    usable = _usable(ready)
    result = []
    b = now.level.shape[1]
    for unit in range(chains.units):
        for activity in dict.fromkeys(a for a in names if a in repeated):
            here = [j for j, a in enumerate(names) if a == activity and usable[unit, j]]
            if len(here) < 2 or not found.drain_pp[unit, here[0]] > 0.0:
                continue
            i, j = here[0], here[-1]
            levels = found.start_pct[unit, [i, j]] + found.end_pct[unit, [i, j]]
            middle = [float(v) / 2.0 for v in levels]
            beta = charge_excess(middle)
            rate_i, rate_j = found.rate_pp_per_h[unit, i], found.rate_pp_per_h[unit, j]
            ratio = float(rate_j / rate_i)
            # d ratio = (d rate_j − ratio · d rate_i)/rate_i, in drains
            base = np.zeros((1, 1, b))
            base[0, 0, [2 * j, 2 * j + 1]] += np.array([1.0, -1.0]) / chains.length_h[unit, j]
            base[0, 0, [2 * i, 2 * i + 1]] -= np.array([ratio, -ratio]) / chains.length_h[unit, i]
            base /= rate_i
            shown: Resolution = resolution(
                base[0] @ now.matrix[unit],
                weights=chains.observations.weight[unit],
                step=float(chains.observations.step[unit]),
                convention_variance=float(chains.offset_variance[unit]),
            )
            relative = (chains.length_u_h / chains.length_h)[unit, [i, j]]
            other2 = time_variance(now.unit(unit), base)[0, 0] + (ratio * relative**2).sum()
            bound = float(now.unit(unit).bounds(base)[0, 0])
            half = shown.expanded(other2**0.5, coverage, bound=bound)[0]
            result.append(
                _Repeat(
                    unit=unit, activity=activity, first=i, last=j, level_first=middle[0],
                    level_last=middle[1], ratio=ratio,
                    ratio_u=float(np.sqrt(shown.u[0] ** 2 + other2 + bound**2 / 3.0)),
                    half_width=float(half), effect=float((1 + beta[1]) / (1 + beta[0]) - 1.0),
                )
            )  # fmt: skip
    return result


def charge_share(ready: Prepared, coverage: float = 0.95) -> ChargeShare:
    """Return for each unit how much of the level effect its gauge shows.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    coverage
        Probability of the interval that has to be sharper than the assumption.

    Notes
    -----
    With ρ the ratio of the rates, last to first, and e the ratio less 1 that a gauge counting
    charge would show: ``s = (ρ − 1)/e``, held to 0 … 1.5, and used where its half-width is below
    ½. A change of room temperature or of the activity itself would look the same; the report says
    so.

    Examples
    --------
    ½ ± ½ where nothing is known, 0 ± 0 for a gauge stated to count energy:

    >>> from kit.drain.phases import prepare
    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import make_session
    >>> units = [Device(id="a", label="a"), Device(id="b", label="b", gauge=Gauge(counts="energy"))]
    >>> found = charge_share(prepare(make_session(devices=units, phases={"p1": 60},
    ...                                           readings={"a": [90, 78], "b": [90, 80]})))
    >>> found.share.tolist(), found.half_width.tolist()
    ([0.5, 0.0], [0.5, 0.0])
    """
    chains = ready.chains
    counts = [d.gauge.counts for d in chains.session.devices]
    energy = np.array([c == "energy" for c in counts], dtype=bool)[chains.unit_device]
    share = np.where(energy, 0.0, _ASSUMED_SHARE)
    half = share.copy()
    for repeat in _repeats(ready, coverage):
        k = repeat.unit
        if energy[k] or repeat.effect < LEAST_EFFECT:
            continue
        own = repeat.half_width / repeat.effect
        if own < half[k]:
            share[k] = float(np.clip((repeat.ratio - 1.0) / repeat.effect, 0.0, 1.5))
            half[k] = own
    return ChargeShare(share=share, half_width=half)


def share_verdict(low: float, high: float) -> str:
    """Return what the interval of the share allows: 1 charge, 0 energy.

    Examples
    --------
    >>> [share_verdict(*ends) for ends in ((0.6, 1.3), (-0.2, 0.4), (-0.2, 1.3), (0.2, 0.8))]
    ['charge', 'energy', 'cannot_tell', 'neither']
    """
    charge, energy = low <= 1.0 <= high, low <= 0.0 <= high
    if charge and energy:
        return "cannot_tell"
    if charge or energy:
        return "charge" if charge else "energy"
    return "neither"


def reference_repeats(
    session: Session, settings: Settings, *, prepared: Prepared | None = None
) -> pd.DataFrame:
    """Return what every repeated activity says about the gauge of each device.

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
        Columns ``kit.results.RESULT_COLUMNS["reference_repeats"]``: the first and the last usable
        phase of an activity that a device did more than once, the ratio of its displayed rates
        (last to first) with interval,
        the ratio that a gauge counting charge would show at constant power, and the share of
        that effect.

    Examples
    --------
    Reading from 90 to 70 % and again from 30 to 8 %, an hour each: 22/20 = 1.10 times as fast. At
    80 and at 19 % a gauge that counts charge shows 0.955 and 1.0465 of the mean rate, 1.096 times:

    >>> from kit.results import Settings
    >>> from kit.session import Phase
    >>> from tests.helpers.builders import BARE, make_session
    >>> phases = [Phase(id=name, label=name, activity=what, planned_min=60)
    ...           for name, what in (("p1", "read"), ("p2", "game"), ("p3", "read"))]
    >>> s = make_session(phases=phases, readings={"a": [90, 70, 30, 8]}, assumptions=BARE,
    ...                  conditions={"power_saver": "off", "dimming": "off"})
    >>> row = reference_repeats(s, Settings()).iloc[0]
    >>> row["phase_first"], row["phase_last"], round(float(row["ratio"]), 2)
    ('p1', 'p3', 1.1)
    >>> round(float(row["ratio_if_charge"]), 3)
    1.096
    """
    from kit.drain.phases import prepare

    ready = prepare(session) if prepared is None else prepared
    chains = ready.chains
    rows = []
    for r in _repeats(ready, settings.coverage):
        run, place = divmod(r.unit, len(chains.devices))
        tells = abs(r.effect) >= LEAST_EFFECT
        share = [(r.ratio + t * r.half_width - 1.0) / r.effect if tells else np.nan
                 for t in (0.0, -1.0, 1.0)]  # fmt: skip
        low, high = min(share[1:]), max(share[1:])
        rows.append(
            (chains.runs[run], chains.devices[place], r.activity, chains.phases[r.first],
             chains.phases[r.last], r.level_first, r.level_last, r.ratio, r.ratio_u,
             r.ratio - r.half_width, r.ratio + r.half_width, 1.0 + r.effect, share[0], low, high,
             share_verdict(low, high) if tells else "cannot_tell")
        )  # fmt: skip
    return frame_of_rows("reference_repeats", rows) if rows else no_rows("reference_repeats")
